"""The search for other motions looks only where it must, and finds what a search everywhere finds."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.likeness import changes
from evidence.likeness.parallax import Flow
from evidence.likeness.signs import remapped


def test_what_stays_above_the_floor_is_the_least_over_all_motions_tried_everywhere() -> None:
    """By brute force: every motion over the whole picture, and the least at each pixel."""
    chance = np.random.default_rng(4)
    view = chance.integers(0, 60, (130, 190), np.uint8)
    view[40:70, 50:120] //= 8
    calm = np.asarray(cv2.GaussianBlur(chance.normal(0, 6, (130, 190, 2)), (0, 0), 8), np.float32)
    layers = [np.array([3.0, -2.0], np.float32), np.array([-7.0, 5.0], np.float32)]
    motions = changes._motions(calm, layers)

    def tried(at: Flow, part: changes.Part) -> NDArray[np.uint8]:
        return np.asarray(cv2.blur(remapped(view, at), (5, 5)), np.uint8)

    everywhere = (slice(0, 130), slice(0, 190))
    best = np.asarray(cv2.blur(chance.integers(0, 60, (130, 190), np.uint8), (5, 5)), np.uint8)
    floor = np.full(best.shape, 22.0, np.float32)
    least = np.minimum.reduce([best, *(tried(at, everywhere) for at in motions(everywhere))])

    changes._lower(best, floor, tried, motions)

    above = least > floor
    assert 50 < above.sum() < above.size - 50
    assert np.array_equal(best > floor, above)
    assert np.array_equal(best[above], least[above])
