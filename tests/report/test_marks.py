"""Marks on copies."""

from __future__ import annotations

import numpy as np
import pytest

from evidence.report.marks import draw
from evidence.words import Mark, Shape


def ground(level: int) -> np.ndarray:
    return np.full((300, 400, 3), level, np.uint8)


@pytest.mark.parametrize("level", [0, 64, 128, 192, 255])
@pytest.mark.parametrize("shape", [Shape.ARROW, Shape.RING, Shape.BOX])
def test_a_mark_stands_out_by_lightness_alone_on_any_ground(shape: Shape, level: int) -> None:
    """WCAG 2.2, 1.4.11: at least 3:1; luminance of grey as in IEC 61966-2-1."""
    drawn = draw(ground(level), [Mark(shape, 0.2, 0.2, 0.7, 0.7)])

    def luminance(code: int) -> float:
        part = code / 255
        return part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4

    levels = [luminance(int(code)) for code in np.unique(drawn)]
    own = luminance(level)
    assert max((max(other, own) + 0.05) / (min(other, own) + 0.05) for other in levels) >= 3
    assert (drawn[..., 0] == drawn[..., 1]).all()
    assert (drawn[..., 1] == drawn[..., 2]).all()


def test_a_cover_leaves_no_pixel_it_touches() -> None:
    noisy = np.random.default_rng(3).integers(1, 256, (301, 407, 3), dtype=np.uint8)

    covered = draw(noisy, [Mark(Shape.COVER, 0.7301, 0.51, 0.2502, 0.2)])

    assert (covered[60:154, 101:298] == 0).all()
    assert (covered[:60] == noisy[:60]).all()


def test_the_picture_given_is_never_drawn_on() -> None:
    before = ground(90)

    draw(before, [Mark(Shape.RING, -0.5, -0.5, 1.5, 1.5), Mark(Shape.ARROW, 0.5, 0.5, 0.5, 0.5)])

    assert (before == 90).all()
    assert draw(before, []) is before
