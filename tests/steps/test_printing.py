"""Printed copies: made once, printed only while they are what was made."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from evidence import pictures
from evidence.desk import Desk
from evidence.files import digest_of
from evidence.progress import Silent
from evidence.report.contents import Photo, PrintSize
from evidence.steps import printing

SIZE = PrintSize(160, 80)


@pytest.fixture
def photo(desk: Desk) -> Photo:
    taken = desk.job.taken()[0]
    assert taken.frame
    return Photo(1, taken.frame, taken.original.place, taken.original.digest, 320, 240)


def kept(desk: Desk) -> list[Path]:
    return sorted((desk.job.copies / "printed").iterdir())


def printed(desk: Desk, photo: Photo) -> bytes:
    printer = printing.Printer(desk.job, Silent())
    printer.prepare([photo], SIZE)
    return printer(photo, SIZE)


def test_a_copy_is_made_once_and_named_by_its_bytes(desk: Desk, photo: Photo) -> None:
    first = printed(desk, photo)
    (copy,) = kept(desk)
    made = copy.stat().st_mtime_ns

    assert printed(desk, photo) == first == copy.read_bytes()
    assert copy.stem.endswith(digest_of(copy))
    assert copy.stat().st_mtime_ns == made


@pytest.mark.parametrize("ahead", [True, False])
def test_a_kept_copy_that_is_not_as_it_was_made_is_made_again(ahead: bool, desk: Desk, photo: Photo) -> None:
    """A whole JPEG of something else in its place; found when prepared ahead, and when asked for."""
    first = printed(desk, photo)
    (copy,) = kept(desk)
    printer = printing.Printer(desk.job, Silent())
    copy.write_bytes(pictures.upright_jpeg(np.zeros((240, 320, 3), np.uint8)))
    if ahead:
        printer.prepare([photo], SIZE)

    assert printer(photo, SIZE) == first
    assert copy.read_bytes() == first


def test_what_of_a_raw_file_is_printed_is_part_of_what_a_copy_is_made_from(desk: Desk, photo: Photo) -> None:
    """A kept preview must not be printed under "developed by"."""
    printed(desk, replace(photo, of_raw="the preview in the raw file, 1024 x 768 pixels"))
    printed(desk, replace(photo, of_raw="the raw file, developed by rawpy 0.25.1"))

    assert len({path.stem.partition("-")[0] for path in kept(desk)}) == 2
