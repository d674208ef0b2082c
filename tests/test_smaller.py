"""Pictures made smaller: against NumPy's means, and against averaging by area, which leaves nothing out."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from evidence.smaller import by_parts, to_length


def grain(height: int, width: int, *channels: int) -> NDArray[np.uint8]:
    return np.random.default_rng(1).integers(0, 256, (height, width, *channels), np.uint8)


@given(st.integers(1, 40), st.integers(1, 40), st.integers(1, 9), st.sampled_from([(), (3,)]))
def test_parts_are_means_of_their_pixels_and_the_rest_is_left_off(
    height: int, width: int, part: int, channels: tuple[int, ...]
) -> None:
    picture = grain(height, width, *channels)
    rows, columns = max(1, height // part), max(1, width // part)
    cut = picture[: rows * part, : columns * part].astype(float)
    squares = cut.reshape(rows, cut.shape[0] // rows, columns, cut.shape[1] // columns, *channels)

    made = by_parts(picture, part)

    assert made.shape == (rows, columns, *channels)
    assert np.abs(made - squares.mean(axis=(1, 3))).max() <= 0.5 + 1e-6


@pytest.mark.parametrize("longest", [1600, 1400, 1024, 900, 333])
def test_the_longer_side_gets_its_length_and_every_pixel_counts(longest: int) -> None:
    """A single light pixel anywhere must be seen: interpolation to less than half would miss some."""
    for at in range(12):
        dark = np.zeros((1500, 2000), np.uint8)
        dark[700 + at, 900 + at] = 255

        made = to_length(dark, longest)

        assert max(made.shape) == longest
        assert made.max() > 0, at


def test_what_is_small_enough_is_given_back_as_it_is() -> None:
    picture = grain(30, 40)

    assert to_length(picture, 40) is picture


def test_linear_interpolation_stays_close_to_averaging_by_area() -> None:
    """Against OpenCV's own averaging, on a picture without noise."""
    smooth = np.asarray(cv2.GaussianBlur(grain(1500, 2000), (0, 0), 2.0), np.uint8)

    by_area = cv2.resize(smooth, (1600, 1200), interpolation=cv2.INTER_AREA)

    assert np.abs(to_length(smooth, 1600).astype(int) - by_area).max() <= 2
