"""Better evidence scores higher: against pictures spoiled in known ways.

The pictures are scikit-image's and scikit-learn's samples (../shared/data/good) and drawn blocks; what
was done to them is known, so the order is.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from evidence import quality
from evidence.words import Rgb

NAMES = (
    "astronaut.png",
    "chelsea.png",
    "coffee.png",
    "motorcycle_left.png",
    "rocket.jpg",
    "sklearn_china.jpg",
)


def blurred(rgb: Rgb, sigma: float) -> Rgb:
    return np.asarray(cv2.GaussianBlur(rgb, (0, 0), sigma), np.uint8)


def shaken(rgb: Rgb, length: int) -> Rgb:
    return np.asarray(cv2.filter2D(rgb, -1, np.full((1, length), 1 / length, np.float32)), np.uint8)


def noisy(rgb: Rgb, sigma: float) -> Rgb:
    grain = np.random.default_rng(1).normal(0, sigma, rgb.shape)
    return np.clip(rgb + grain, 0, 255).astype(np.uint8)


def darker(rgb: Rgb, stops: float) -> Rgb:
    return np.asarray((255 * (rgb / 255.0) ** 2.2 * 2.0**-stops).clip(0, 255), np.uint8)


SPOILED: dict[str, Callable[[Rgb], Rgb]] = {
    "out of focus": lambda rgb: blurred(rgb, 2.0),
    "shaken": lambda rgb: shaken(rgb, 9),
    "noisy": lambda rgb: noisy(rgb, 25),
    "out of focus and noisy": lambda rgb: noisy(blurred(rgb, 2.5), 12),
    "four stops under": lambda rgb: darker(rgb, 4),
}


@pytest.mark.parametrize("share", [0.8, 0.5, 0.25])
def test_a_picture_of_fewer_pixels_scores_lower_than_the_whole_and_is_less_sharp(
    share: float, open_data: Path
) -> None:
    """Reduced by area it holds nothing finer than its pixels (sampling theorem, Shannon 1949)."""
    for name in NAMES:
        bgr = cv2.imread(str(open_data / "good" / name))
        assert bgr is not None
        few = cv2.resize(bgr, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)

        whole, reduced = (
            quality.measure(np.ascontiguousarray(one[:, :, ::-1], np.uint8)) for one in (bgr, few)
        )

        assert reduced.score < whole.score, name
        assert reduced.sharpness < whole.sharpness, name


def test_fewer_pixels_are_better_than_many_far_out_of_focus(open_data: Path) -> None:
    """Down to 420 pixels: about a quarter of what is judged, as far as it was measured."""
    for name in NAMES:
        bgr = cv2.imread(str(open_data / "good" / name))
        assert bgr is not None
        whole: Rgb = np.ascontiguousarray(bgr[:, :, ::-1], np.uint8)
        share = 420 / max(whole.shape)
        few = np.asarray(cv2.resize(whole, None, fx=share, fy=share, interpolation=cv2.INTER_AREA), np.uint8)

        assert quality.measure(few).score > quality.measure(blurred(whole, 4.0)).score, name


@pytest.mark.parametrize("how", sorted(SPOILED))
def test_a_spoiled_picture_scores_lower_than_the_picture(how: str, open_data: Path) -> None:
    for name in NAMES:
        bgr = cv2.imread(str(open_data / "good" / name))
        assert bgr is not None
        good: Rgb = np.ascontiguousarray(bgr[:, :, ::-1])

        assert quality.measure(SPOILED[how](good)).score < quality.measure(good).score, name


def test_noise_does_not_pass_for_sharpness(open_data: Path) -> None:
    """Variance of the Laplacian, the usual measure, prefers the noisy blurred picture; ours must not."""
    bgr = cv2.imread(str(open_data / "good" / "coffee.png"))
    assert bgr is not None
    good: Rgb = np.ascontiguousarray(bgr[:, :, ::-1])
    spoiled = noisy(blurred(good, 2.5), 20)

    def laplacian(rgb: Rgb) -> float:
        return float(cv2.Laplacian(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), cv2.CV_64F).var())

    assert laplacian(spoiled) > laplacian(good)
    assert quality.measure(spoiled).score < quality.measure(good).score


def test_a_black_frame_has_no_sharpness() -> None:
    black = quality.measure(np.zeros((240, 320, 3), np.uint8))

    assert black.dark_share == 1.0
    assert black.bare
    assert not black.blurred


def test_a_bare_wall_is_ranked_by_its_noise_and_not_by_what_chance_draws_on_it() -> None:
    """Gaussian noise on one grey: nothing is sharp in either, so the less noisy one is the better."""
    wall: Rgb = np.full((600, 800, 3), 120, np.uint8)

    grades = [quality.measure(noisy(wall, sigma)) for sigma in (2, 5, 10, 20)]

    assert [grade.score for grade in grades] == sorted((grade.score for grade in grades), reverse=True)
    assert max(grade.sharpness for grade in grades) < 0.01
    assert all(grade.bare and not grade.blurred for grade in grades)


def test_a_picture_out_of_focus_is_blurred_and_not_bare(open_data: Path) -> None:
    for name in NAMES:
        bgr = cv2.imread(str(open_data / "good" / name))
        assert bgr is not None
        soft = quality.measure(blurred(np.ascontiguousarray(bgr[:, :, ::-1]), 6.0))

        assert soft.blurred, name
        assert not soft.bare, name


def test_noise_is_read_as_it_was_added() -> None:
    """White noise in grey of known deviation beside an edge; its square is taken for a tenth too much."""
    room = np.full((600, 800), 90, np.float32)
    room[:, 400:] = 170
    for sigma in (3.0, 8.0):
        grain = np.random.default_rng(2).normal(0, sigma, room.shape)
        grey = np.clip(np.rint(room + grain), 0, 255).astype(np.uint8)

        assert quality.measure(np.repeat(grey[..., None], 3, 2)).noise == pytest.approx(sigma, rel=0.12)
