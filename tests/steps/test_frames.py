"""Frames lifted from films become pictures of the job."""

from __future__ import annotations

import base64
import io
import json
import os
import re
import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import bagit
import numpy as np
import pytest
from PIL import Image

from evidence.desk import Desk
from evidence.errors import BadPicture, WrongUsage
from evidence.pictures import frames as lifting
from evidence.progress import Silent
from evidence.steps import attach, clock, findings, frames, issue, lifted, read, supply
from evidence.steps.start import start
from evidence.steps.status import status
from evidence.verify import verify
from evidence.words import Rgb
from tests import saboteurs
from tests.conftest import draw
from tests.pictures.made_up_films import patch_film, write_film

POOL = ThreadPoolExecutor(2)
BEGAN = datetime(2026, 3, 4, 9, 0, 20)  # noqa: DTZ001 - a camera's clock has no zone


def film_frames() -> list[Rgb]:
    """Six seconds of ten frames; those at 2.3 and 4.5 s are sharp, the others grey."""
    detail = (np.random.default_rng(1).random((96, 128, 1)) > 0.5) * 120
    made = []
    for n in range(60):
        grey = np.full((96, 128, 3), 60 + n, np.int16)
        made.append(np.clip(grey + (detail if n in {23, 45} else 0), 0, 255).astype(np.uint8))
    return made


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four stills twenty seconds apart and a film that began with the second, stamped local at its start."""
    root = tmp_path_factory.mktemp("film") / "card"
    for n in range(1, 5):
        draw(root / "DCIM" / "100OSTRE" / f"OSTR{n:04d}.JPG", n, BEGAN + timedelta(seconds=20 * (n - 1)))
    film = write_film(root / "DCIM" / "100OSTRE" / "OSTR0009.MP4", film_frames(), fps=10)
    patch_film(film, matrix=(0, 1, -1, 0), created=BEGAN + timedelta(seconds=20))
    os.utime(film, (film.stat().st_atime, film.stat().st_mtime + 600))  # copied later: no help
    return root


@pytest.fixture(scope="module")
def filmed(card: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("filmed") / "job"
    start(folder, {"address": "14 Alder Court", "inspector": "A. Wren"}).close()
    with Desk.open(folder) as opened:
        read.take_in(opened, [card], executor=POOL)
        frames.say_reading(opened, frames.film_of(opened.state(), "OSTR0009"), "local time at the start")
    return folder


@pytest.fixture
def desk(filmed: Path, tmp_path: Path) -> Iterator[Desk]:
    shutil.copytree(filmed, tmp_path / "job")
    with Desk.open(tmp_path / "job") as opened:
        yield opened


def lift(desk: Desk, **wanted: object) -> list[int]:
    film = frames.film_of(desk.state(), "OSTR0009.MP4")
    return [*frames.lift(desk, film, frames.Wanted(**wanted), executor=POOL)]  # type: ignore[arg-type]


def test_a_film_whose_time_reads_two_ways_is_asked_about_once(card: Path, tmp_path: Path) -> None:
    start(tmp_path / "job", {"address": "14 Alder Court"}).close()
    with Desk.open(tmp_path / "job") as desk:
        read.take_in(desk, [card], executor=POOL)
        film = frames.film_of(desk.state(), "OSTR0009")
        readings = dict(film.readings)

        with pytest.raises(WrongUsage, match="Say once for this camera"):
            frames.lift(desk, film, frames.Wanted(every_s=2), executor=POOL)

    start_s = (BEGAN + timedelta(seconds=20) - datetime(1970, 1, 1)).total_seconds()  # noqa: DTZ001
    assert readings == {"local time at the start": start_s, "local time at the end": start_s - 6}


@pytest.mark.parametrize(
    ("capture", "reading", "said"),
    [
        ({}, "14:05:30", "is no reading; known are"),
        ({}, "UTC at the start", "fill in “zone” in job.toml, or take “local time at the start” or"),
        ({"later_s": 86_400}, "local time at the start", "Read in no way does the time in OSTR0009.MP4 fit"),
        (
            {"later_s": 643},
            "local time at the start",
            "beside no picture of the day; take “local time at the",
        ),
        ({"offset_min": 0}, "local time at the start", "has its zone"),
        ({"time": None}, "local time at the start", "tells no time that could be read"),
    ],
)
def test_a_reading_that_a_film_cannot_have_is_refused_and_not_kept_unused(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, capture: dict[str, int | None], reading: str, said: str
) -> None:
    facts = desk.facts()
    digest = frames.film_of(desk.state(), "OSTR0009").taken.original.digest
    told = facts.captures[digest]
    assert told.time
    moved = told.time.later(capture.get("later_s") or 0)
    time = None if "time" in capture else replace(moved, offset_min=capture.get("offset_min"))
    changed = {**facts.captures, digest: replace(told, time=time)}
    monkeypatch.setattr(Desk, "facts", lambda _: replace(facts, captures=changed))
    desk.forget()
    before = desk.job.last_hash

    with pytest.raises(WrongUsage, match=said):
        frames.say_reading(desk, frames.film_of(desk.state(), "OSTR0009"), reading)

    assert desk.job.last_hash == before


def test_a_reading_may_be_changed_and_said_of_a_film_whose_start_was_told(desk: Desk) -> None:
    film = frames.film_of(desk.state(), "OSTR0009")
    frames.say_reading(desk, film, "local time at the end")
    assert film.starts
    ended = frames.film_of(desk.state(), "OSTR0009")
    assert ended.starts == film.starts - 6

    frames.say_start(desk, ended, film.starts + 100, "as you said")
    frames.say_reading(desk, frames.film_of(desk.state(), "OSTR0009"), "local time at the start")


@pytest.mark.parametrize(("end_s", "began_s"), [(26, 20), (20, 14)])
def test_the_files_own_time_tells_start_from_end(
    card: Path, tmp_path: Path, end_s: int, began_s: int
) -> None:
    """Truth: stills of that card whose file times are their camera times; the film's file ends with it."""
    shutil.copytree(card, tmp_path / "card")
    base = 1_700_000_000
    for n, still in enumerate(sorted((tmp_path / "card").rglob("*.JPG"))):
        os.utime(still, (base + 20 * n, base + 20 * n))
    (film,) = (tmp_path / "card").rglob("*.MP4")
    os.utime(film, (base + end_s, base + end_s))
    start(tmp_path / "job", {"address": "14 Alder Court"}).close()
    with Desk.open(tmp_path / "job") as desk:
        read.take_in(desk, [tmp_path / "card"], executor=POOL)

        found = frames.film_of(desk.state(), "OSTR0009")

    assert not found.readings
    assert found.starts == (BEGAN - datetime(1970, 1, 1)).total_seconds() + began_s  # noqa: DTZ001
    assert "file's own time agrees" in found.how


def test_the_sharpest_frames_become_pictures_with_their_own_numbers_and_times(desk: Desk) -> None:
    numbers = lift(desk, every_s=3.0)

    state = desk.state()
    shown = [p for p in state.pictures if p.lifted]
    assert numbers == [5, 6]
    assert [p.frame for p in shown] == [5, 6]
    assert [p.lifted.at_s for p in shown if p.lifted] == [2.3, 4.5]
    assert [p.capture.time.moment if p.capture.time else None for p in shown] == [
        BEGAN + timedelta(seconds=22.3),
        BEGAN + timedelta(seconds=24.5),
    ]
    assert all(p.quality and not p.fault for p in shown)
    assert [p.frame for p in state.pictures] == [1, 2, 5, 6, 3, 4]
    assert (shown[0].capture.width, shown[0].capture.height) == (96, 128)


def test_numbers_that_an_intake_cut_short_has_given_out_are_not_given_to_frames(
    desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The new stills are in the list of originals; the kill came before their lines in the record."""
    for n in (5, 6):
        draw(tmp_path / "more" / f"OSTR{n:04d}.JPG", n, BEGAN + timedelta(seconds=20 * n))
    with monkeypatch.context() as killed:
        killed.setattr(desk.job, "record_all", saboteurs.interrupted)
        with pytest.raises(KeyboardInterrupt):
            read.take_in(desk, [tmp_path / "more"], executor=POOL)

    numbers = lift(desk, at=(2.3,))

    read.take_in(desk, [tmp_path / "more"], executor=POOL)
    stills = [one.frame for one in desk.job.taken() if one.frame]
    assert (stills, numbers) == ([1, 2, 3, 4, 5, 6], [7])


def test_parts_of_a_film_read_apart_give_the_frames_of_the_whole(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each part is found by a leap, so its frames' pixels must not depend on what was read before."""
    film = next(card.rglob("*.MP4"))
    stretches = [frames.Stretch(n * 0.5, n * 0.5 + 0.499, "a try") for n in range(8)]
    monkeypatch.setattr(frames, "WORTH_A_PROCESS_S", 1.0)
    parts = frames.parted(stretches, 3)

    whole = frames.write_frames(film, tmp_path, stretches)
    apart = [one for part in parts for one in frames.write_frames(film, tmp_path, part)]

    assert len(parts) == 3
    assert [one for part in parts for one in part] == stretches
    assert apart == whole
    assert len(whole) > 1


def test_a_short_film_is_read_by_one_process() -> None:
    few = [frames.Stretch(n, n + 1.0, "a try") for n in range(40)]

    assert [len(part) for part in frames.parted(few, 4)] == [40]
    assert [len(part) for part in frames.parted(few * 3, 2)] == [60, 60]
    assert frames.parted([frames.Stretch(3, 3, "a try", exact=True)], 4) == [
        (frames.Stretch(3, 3, "a try", exact=True),)
    ]


def test_a_time_read_as_utc_has_its_zone(card: Path, tmp_path: Path) -> None:
    """America/Chicago in March before the change: six hours west (IANA time zone database)."""
    shutil.copytree(card, tmp_path / "card")
    (film,) = (tmp_path / "card").rglob("*.MP4")
    patch_film(film, created=BEGAN + timedelta(hours=6, seconds=20))
    start(tmp_path / "job", {"address": "14 Alder Court", "zone": "America/Chicago"}).close()
    with Desk.open(tmp_path / "job") as desk:
        read.take_in(desk, [tmp_path / "card"], executor=POOL)
        frames.say_reading(desk, frames.film_of(desk.state(), "OSTR0009"), "UTC at the start")

        lift(desk, at=(2.3,))

        picture = desk.state().picture(5)
    assert picture
    assert picture.capture.time
    assert picture.capture.time.moment == BEGAN + timedelta(seconds=22.3)
    assert picture.capture.time.offset_min == -360


def test_lifted_frames_draw_no_border_between_visits(desk: Desk) -> None:
    before = [visit.frames[0] for visit in desk.state().visits]

    lift(desk, every_s=0.5)

    assert [visit.frames[0] for visit in desk.state().visits] == before


def test_a_frame_lifted_twice_keeps_its_number(desk: Desk) -> None:
    first = lift(desk, every_s=3.0)

    assert lift(desk, at=(2.3,)) == first[:1]


def test_a_lifted_frame_can_be_taken_out_and_its_number_never_returns(desk: Desk) -> None:
    lift(desk, every_s=3.0)

    frames.take_out(desk, 6)
    assert [p.frame for p in desk.state().pictures if p.lifted] == [5]
    assert lift(desk, at=(1.0,)) == [7]
    with pytest.raises(WrongUsage, match="still"):
        frames.take_out(desk, 1)


def test_frames_follow_a_correction_of_their_cameras_films(desk: Desk) -> None:
    lift(desk, at=(2.3,))
    film = frames.film_of(desk.state(), "OSTR0009")

    frames.say_start(desk, film, film.starts + 10 if film.starts else 0, "by the watch")

    picture = desk.state().picture(5)
    assert picture
    assert picture.seconds == pytest.approx((BEGAN - datetime(1970, 1, 1)).total_seconds() + 32.3)  # noqa: DTZ001


def test_a_frame_of_a_film_is_no_fault_of_its_cameras_clock(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its number follows all stills, its time stands among theirs; a phone names itself in its films too."""
    lift(desk, at=(2.3,))
    facts = desk.facts()
    (still, *_) = (p for p in desk.state().pictures if p.lifted is None)
    film = frames.film_of(desk.state(), "OSTR0009").taken.original.digest
    named = replace(facts.captures[film], make=still.capture.make, model=still.capture.model)
    monkeypatch.setattr(Desk, "facts", lambda _: replace(facts, captures={**facts.captures, film: named}))
    desk.forget()
    frames.say_reading(desk, frames.film_of(desk.state(), "OSTR0009"), "local time at the start")

    (camera,) = clock.cameras(desk)

    assert (camera.pictures, camera.faults) == (5, ())


def test_of_a_film_that_claims_a_century_no_list_of_frames_is_made(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    film = frames.film_of(desk.state(), "OSTR0009")
    century = replace(film, capture=replace(film.capture, length_s=100 * 366 * 86_400.0))
    monkeypatch.setattr(frames, "Stretch", saboteurs.interrupted)

    with pytest.raises(WrongUsage, match="632448001 frames"):
        frames.lift(desk, century, frames.Wanted(every_s=5.0))


def test_a_frame_taken_out_is_no_longer_its_findings_picture_until_it_is_back(desk: Desk) -> None:
    (number,) = lift(desk, at=(2.3,))
    finding = findings.add(desk, {"seen": "The pan is rusty."})
    attach.attach(desk, finding.number, [number])

    frames.take_out(desk, number)

    assert desk.state().attached_to(finding.number) == ()
    assert status(desk, date(2026, 3, 4)).without_picture == 1
    desk.undo()
    assert [a.frame for a in desk.state().attached_to(finding.number)] == [number]


def test_a_vanished_copy_is_made_again_and_is_the_same(desk: Desk) -> None:
    lift(desk, at=(2.3,))
    picture = desk.state().picture(5)
    assert picture
    copy = desk.job.original(picture.taken.original.place)
    before = copy.read_bytes()
    shutil.rmtree(desk.job.copies)

    lifted.restore(desk, desk.lifted())

    assert copy.read_bytes() == before


def test_a_copy_that_shows_other_pixels_is_made_again_before_it_is_printed(desk: Desk) -> None:
    """Plain blue in the place of the frame, a sound PNG in itself: the recorded digest tells it."""
    lift(desk, every_s=3.0)
    finding = findings.add(desk, {"seen": "The pan is rusty.", "room": "Attic"})
    attach.attach(desk, finding.number, [5])
    picture = desk.state().picture(5)
    assert picture
    copy = desk.job.original(picture.taken.original.place)
    before = copy.read_bytes()
    Image.new("RGB", (96, 128), (0, 0, 255)).save(copy)

    made = issue.issue(desk, issue.Wanted(("html",), unlooked_reason="a test"), progress=Silent())

    assert copy.read_bytes() == before
    coded = re.findall(
        r"data:image/jpeg;base64,([^\"']+)", (made.folder / "appendix.html").read_text("utf-8")
    )
    (printed,) = (np.asarray(Image.open(io.BytesIO(base64.b64decode(one))), np.int16) for one in coded)
    assert np.abs(printed[..., 2] - printed[..., 0]).mean() < 8


def test_a_frame_that_decodes_otherwise_is_not_passed_off_as_the_same(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    lift(desk, at=(2.3,))
    shutil.rmtree(desk.job.copies)
    real = lifting.at
    monkeypatch.setattr(lifting, "at", lambda path, at_s: real(path, at_s - 1))

    with pytest.raises(BadPicture, match="other pixels"):
        lifted.restore(desk, desk.lifted())


def test_a_job_without_anything_derived_has_its_frames_again(desk: Desk) -> None:
    """What is derived may be thrown away at any time (docs/architecture.md); a film may be gone by then."""
    lift(desk, every_s=3.0)
    folder, before = desk.job.folder, desk.state().pictures
    desk.store.close()
    desk.job.close()
    film = next((folder / "originals").rglob("*.MP4"))
    film.rename(film.with_suffix(".away"))
    shutil.rmtree(folder / "copies")
    (folder / "job.sqlite").unlink()

    with Desk.open(folder) as again:
        read.read(again, executor=POOL)
        assert [p.fault for p in again.state().pictures if p.lifted] == [
            "Its film cannot be read: no such file or directory."
        ] * 2
        film.with_suffix(".away").rename(film)
        read.read(again, executor=POOL)
        assert again.state().pictures == before


def test_a_job_without_its_database_has_its_frames_again(desk: Desk) -> None:
    lift(desk, every_s=3.0)
    folder = desk.job.folder
    before = desk.state().pictures
    desk.store.close()
    desk.job.close()
    (folder / "job.sqlite").unlink()

    with Desk.open(folder) as again:
        read.read(again, executor=POOL)
        assert again.state().pictures == before


def test_an_edition_prints_the_frame_and_vouches_for_the_film(desk: Desk) -> None:
    lift(desk, every_s=3.0)
    finding = findings.add(desk, {"seen": "The pan is rusty.", "room": "Attic"})
    attach.attach(desk, finding.number, [5])
    film = frames.film_of(desk.state(), "OSTR0009").taken.original

    made = issue.issue(desk, issue.Wanted(("html",), unlooked_reason="a test"), progress=Silent())

    contents = json.loads((made.folder / "contents.json").read_text("utf-8"))
    page = (made.folder / "appendix.html").read_text("utf-8")
    (photo,) = contents["photos"]
    assert (photo["digest"], photo["place"], photo["frame"]) == (film.digest, film.place, 5)
    assert (photo["film"]["at_s"], photo["width"], photo["height"]) == (2.3, 96, 128)
    assert "frame from film OSTR0009.MP4 at 0:00:02.300, OpenCV" in page
    assert f"film's SHA-256 {film.digest[:12]}" in page.replace("&#39;", "'").replace("&#x27;", "'")
    assert verify(desk.job.folder).sound


def test_two_frames_of_a_film_are_handed_over_as_one_film(desk: Desk, tmp_path: Path) -> None:
    """The bag must be valid by an independent checker (bagit), and hold the film once."""
    lift(desk, every_s=3.0)
    finding = findings.add(desk, {"seen": "The pan is rusty.", "room": "Attic"})
    attach.attach(desk, finding.number, [5, 6])
    film = frames.film_of(desk.state(), "OSTR0009").taken.original

    supply.supply(desk, [finding.number], tmp_path / "handed", now=desk.job.now(), progress=Silent())

    handed = bagit.Bag(str(tmp_path / "handed"))
    assert handed.is_valid()
    assert handed.payload_entries() == {f"data/{film.place}": {"sha256": film.digest}}
    text = (tmp_path / "handed" / supply.STATEMENT).read_text("utf-8")
    assert "It is a frame from film OSTR0009.MP4 at 0:00:02.300" in text


def test_a_film_nobody_can_decode_is_said_to_be_one(desk: Desk) -> None:
    film = frames.film_of(desk.state(), "OSTR0009")
    path = desk.job.original(film.taken.original.place)
    path.chmod(0o644)
    path.write_bytes(b"\0\0\0\x18ftypmp42" + bytes(90))

    with pytest.raises(BadPicture, match=r"OSTR0009\.MP4"):
        frames.lift(desk, film, frames.Wanted(at=(1.0,)), executor=POOL)
    assert not [p for p in desk.state().pictures if p.lifted]


@pytest.mark.parametrize(
    ("wanted", "said"),
    [
        (frames.Wanted(), "Say which frames"),
        (frames.Wanted(every_s=0.01), "0.2 seconds"),
        (frames.Wanted(every_s=float("nan")), "0.2 seconds"),
        (frames.Wanted(every_s=float("inf")), "0.2 seconds"),
        (frames.Wanted(at=(1.0, 99.0)), r"is 0:00:06.000 long; no frame of it is shown at 99 s"),
        (frames.Wanted(sentences=(3,)), "no sentence 3"),
        (frames.Wanted(at=(1.0,) * 601), "601 frames"),
    ],
)
def test_what_cannot_be_lifted_is_said(desk: Desk, wanted: frames.Wanted, said: str) -> None:
    with pytest.raises(WrongUsage, match=said):
        frames.lift(desk, frames.film_of(desk.state(), "OSTR0009"), wanted, executor=POOL)
    with pytest.raises(WrongUsage, match="There is no film"):
        frames.film_of(desk.state(), "OSTR0001")
