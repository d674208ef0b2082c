"""Large changes: what differs over much of a view never makes itself usual; see docs/methods/likeness.md."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from evidence import likeness
from evidence.likeness import Verdict
from evidence.words import Rgb


def _framed(rgb: Rgb, left: int) -> Rgb:
    return np.ascontiguousarray(rgb[8 : rgb.shape[0] - 8, left : rgb.shape[1] - 24 + left])


@pytest.mark.parametrize("share", [0.02, 0.1, 0.25, 0.45])
@pytest.mark.parametrize("name", ["coffee.png", "astronaut.png", "chelsea.png"])
def test_however_much_is_replaced_the_view_is_not_folded(open_data: Path, name: str, share: float) -> None:
    """scikit-image's samples, retaken a few pixels aside, with a part of them mirrored in place."""
    before = np.asarray(Image.open(open_data / "good" / name).convert("RGB"))
    high, wide = (round(size * share**0.5) for size in before.shape[:2])
    top, left = (before.shape[0] - high) // 2, (before.shape[1] - wide) // 2
    after = before.copy()
    after[top : top + high, left : left + wide] = before[top : top + high, left : left + wide][::-1, ::-1]

    retaken = likeness.compare(likeness.describe(_framed(before, 4)), likeness.describe(_framed(before, 14)))
    changed = likeness.compare(likeness.describe(_framed(before, 4)), likeness.describe(_framed(after, 14)))

    assert retaken.verdict is Verdict.SAME
    assert changed.verdict is not Verdict.SAME


@pytest.mark.parametrize("share", [0.02, 0.1, 0.25, 0.45])
@pytest.mark.parametrize("name", ["brick.png", "rocket.jpg"])
def test_however_much_is_darkened_the_view_is_not_folded(open_data: Path, name: str, share: float) -> None:
    """A wet patch that takes a third of the light (drawn here) on scikit-image's brick wall and night sky."""
    before = np.asarray(Image.open(open_data / "good" / name).convert("RGB"))
    high, wide = (round(size * share**0.5) for size in before.shape[:2])
    after = before.copy()
    after[60 : 60 + high, 40 : 40 + wide] = (before[60 : 60 + high, 40 : 40 + wide] * 0.67).astype(np.uint8)

    pair = likeness.compare(likeness.describe(_framed(before, 4)), likeness.describe(_framed(after, 14)))

    assert pair.verdict is not Verdict.SAME
