"""Copies that are looked at: made once, and the same whoever makes them."""

from __future__ import annotations

import shutil
from dataclasses import replace

import pytest
from PIL import Image

from evidence import light as method
from evidence import pictures, study
from evidence.desk import Desk
from evidence.light import lift
from evidence.steps import light, show


def test_the_small_copy_of_the_study_is_the_one_made_when_it_is_wanted(desk: Desk) -> None:
    made = study.small_copies(desk.store)
    for picture in desk.state().pictures:
        path = show.shown(desk.job, picture, show.SMALL, show.TAKEN)
        assert path
        assert path.read_bytes() == made[picture.taken.original.digest]


def test_laying_out_needs_no_original_for_what_is_shown_as_taken(desk: Desk) -> None:
    shutil.rmtree(desk.job.copies, ignore_errors=True)
    for picture in desk.state().pictures:
        light.set_light(desk, [picture.frame], light.AS_TAKEN)
        desk.job.original(picture.taken.original.place).rename(desk.job.folder / f"{picture.frame}.away")

    show.warm(desk, lambda: False)

    sizes = []
    for path in desk.job.copies.rglob("*-show-small-taken-*.jpg"):
        with Image.open(path) as copy:
            sizes.append(max(copy.size))
    assert sizes == [show.SIZES[show.SMALL]] * len(desk.state().pictures)


def test_what_is_shown_brightened_is_laid_out_brightened(desk: Desk) -> None:
    light.set_light(desk, [2], 1.5)
    shutil.rmtree(desk.job.copies, ignore_errors=True)
    show.warm(desk, lambda: False)

    digest = next(p.taken.original.digest for p in desk.state().pictures if p.frame == 2)
    (copy,) = desk.job.copies.rglob(f"{digest}*")
    assert copy.name.startswith(f"{digest}-show-small-stops-1-5-")


@pytest.mark.parametrize("name", [show.TAKEN, "stops-1.5"])
def test_a_copy_that_an_earlier_method_made_is_not_shown_for_one_of_today_s(
    name: str, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is made by the very recipe that prints it, and that is of today's method."""
    picture = desk.state().pictures[0]
    of_old = show.shown(desk.job, picture, show.SMALL, name)
    assert of_old
    of_old.write_bytes(b"\xff\xd8 of old \xff\xd9")

    monkeypatch.setattr(*((pictures, "SMALL_VERSION", 99) if name == show.TAKEN else (lift, "VERSION", 99)))
    monkeypatch.setattr(method, "VERSION", lift.VERSION)

    now = show.shown(desk.job, picture, show.SMALL, name)
    assert now
    assert b"of old" not in now.read_bytes()


def test_what_an_earlier_method_proposed_is_shown_as_today_s_method_has_it(desk: Desk) -> None:
    """An archive on a read-only disk is opened for looking, and cannot be read anew (docs/commands.md)."""
    picture = desk.state().pictures[0]
    of_old = replace(light.by_hand(desk.job.original(picture.taken.original.place), 2.0), version=1)
    picture = replace(picture, light_proposed=of_old)

    path = show.shown(desk.job, picture, show.SMALL, show.lights(picture)[0])

    assert path
    today = pictures.small_jpeg(
        pictures.decode(desk.job.original(picture.taken.original.place), show.SIZES[show.SMALL])
    )
    assert path.read_bytes() == today


def test_laying_out_ends_when_it_is_told_to(desk: Desk) -> None:
    shutil.rmtree(desk.job.copies, ignore_errors=True)
    asked = iter([False, False, True])
    show.warm(desk, lambda: next(asked))
    assert len(list(desk.job.copies.rglob("*.jpg"))) == 2
