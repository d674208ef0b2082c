"""Whether two pictures show one view, whatever changed in it; see docs/methods/likeness.md."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from evidence import likeness
from evidence.likeness import Verdict
from evidence.likeness.aligning import NEAR_PX, alignments
from evidence.words import Rgb


def _sample(folder: Path, name: str) -> Rgb:
    return np.asarray(Image.open(folder / "good" / name).convert("RGB"))


def _framed(rgb: Rgb, left: int) -> Rgb:
    return np.ascontiguousarray(rgb[8 : rgb.shape[0] - 8, left : rgb.shape[1] - 24 + left])


@pytest.mark.parametrize("name", ["coffee.png", "astronaut.png"])
def test_a_view_of_which_a_quarter_changed_is_still_told_and_boxed(open_data: Path, name: str) -> None:
    """scikit-image's samples, a part of them covered by a brick wall as by a door opened before it."""
    before, bricks = _sample(open_data, name), _sample(open_data, "brick.png")
    high, wide = (size // 2 for size in before.shape[:2])
    after = before.copy()
    after[40 : 40 + high, 60 : 60 + wide] = cv2.resize(bricks, (wide, high))

    pair = likeness.compare(likeness.describe(_framed(before, 4)), likeness.describe(_framed(after, 4)))

    assert pair.verdict is Verdict.CHANGED
    boxed = np.zeros((100, 100), np.bool_)
    for left, top, right, bottom in pair.boxes:
        boxed[round(100 * top) : round(100 * bottom), round(100 * left) : round(100 * right)] = True
    rows, columns = before.shape[0] - 16, before.shape[1] - 24
    top, left = 100 * 32 // rows, 100 * 56 // columns
    part = boxed[top : top + 100 * high // rows, left : left + 100 * wide // columns]
    assert part.mean() > 0.7
    assert boxed.sum() - part.sum() < 0.2 * boxed.size


@pytest.mark.parametrize("name", ["coffee.png", "astronaut.png"])
def test_a_thing_turned_over_that_shows_more_than_the_room_does_not_hide_the_view(
    open_data: Path, name: str
) -> None:
    """scikit-image's samples with their middle, where most keypoints lie, turned upside down."""
    before = _sample(open_data, name)
    high, wide = (round(size * 0.45**0.5) for size in before.shape[:2])
    top, left = (before.shape[0] - high) // 2, (before.shape[1] - wide) // 2
    after = before.copy()
    after[top : top + high, left : left + wide] = before[top : top + high, left : left + wide][::-1, ::-1]
    one, two = likeness.describe(_framed(before, 4)), likeness.describe(_framed(after, 14))

    on_thing, on_room = alignments(one, two)
    pair = likeness.compare(one, two)

    assert abs(on_thing.turn_deg) == pytest.approx(180.0, abs=1.0)
    assert on_room.turn_deg == pytest.approx(0.0, abs=2.0)
    assert on_room.on_plane == (on_room.error_px < NEAR_PX).sum() < on_thing.on_plane
    assert pair.verdict is Verdict.CHANGED


@pytest.mark.parametrize("name", ["coffee.png", "astronaut.png", "chelsea.png", "brick.png"])
def test_a_plain_retake_lies_in_one_way_only(open_data: Path, name: str) -> None:
    before = _sample(open_data, name)
    one, two = likeness.describe(_framed(before, 4)), likeness.describe(_framed(before, 14))

    assert len(list(alignments(one, two))) == 1
    assert likeness.compare(one, two).verdict is Verdict.SAME
