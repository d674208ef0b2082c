"""The noise filter: the same on every machine, true to its bounds, and measured against a known truth."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from evidence import light
from evidence.light import curve, noise
from evidence.words import Rgb
from fixtures.house import camera

ALL_COLOUR = np.full(256, 256, np.uint16)
STRAIGHT = curve.between(np.arange(256, dtype=np.uint8))


def grain(level: int, spread: float, side: int = 256) -> Rgb:
    noise_of_one = np.random.default_rng(5).normal(0, spread, (side, side, 1))
    return np.clip(np.rint(level + noise_of_one + np.zeros(3)), 0, 255).astype(np.uint8)


def test_no_sum_on_the_way_can_reach_the_end_of_exact_whole_numbers() -> None:
    """IEEE 754 binary32 holds every whole number up to 2**24."""
    rows = np.abs(noise.BASIS.astype(np.float64)).sum(1).max()
    forward = 4 * 255 * rows * rows
    energy = 8 * 255 * 2.0**noise.FRACTION / noise.NORM.min() ** 2
    back = 8 * energy * np.abs(noise.BASIS).max() ** 2 + 64 * 0.5 * np.abs(noise.BASIS).max() ** 2

    guide = 255 * 2.0**noise.GUIDE * rows * rows

    assert forward < 2**24
    assert guide < 2**24
    assert back < 2**24


def test_the_transform_is_orthogonal() -> None:
    product = noise.BASIS @ noise.BASIS.T

    assert np.array_equal(product, np.diag(np.diag(product)))


def test_without_bounds_the_picture_comes_back() -> None:
    picture = grain(120, 30)

    out = noise.reduce(picture, STRAIGHT, 0.0, 0.0, ALL_COLOUR)

    assert int(np.abs(out.astype(int) - picture).max()) <= 1


def test_bands_leave_no_trace() -> None:
    picture = grain(90, 6, 500)

    out = noise.reduce(picture, STRAIGHT, 2.0, 1.0, ALL_COLOUR)

    assert np.array_equal(out, STRAIGHT[noise._cleaned(picture, 2.0, 1.0, ALL_COLOUR)])


def test_noise_on_a_flat_wall_falls_well_and_its_level_stays() -> None:
    picture = grain(60, 2.0)

    luma, chroma = noise.estimate(picture)
    out = noise.reduce(picture, STRAIGHT, luma, chroma, ALL_COLOUR)

    assert out.std() < 0.6 * picture.std()
    assert out.mean() == pytest.approx(picture.mean(), abs=0.1)


@pytest.mark.parametrize("level", [12, 60, 200])
@pytest.mark.parametrize("electrons", [800.0, 2000.0])
def test_the_noise_of_a_camera_is_found_at_any_brightness(level: int, electrons: float) -> None:
    """Photon and read noise of fixtures/house/camera.py, its mosaic taken apart by OpenCV."""
    flat = np.full((400, 400, 3), level, np.uint8)
    taken = camera.darken(flat, 0.0, 3, body=camera.Body(electrons=electrons))
    true = cv2.cvtColor(taken, cv2.COLOR_RGB2YCrCb)[..., 0].astype(float).std()

    luma, _ = noise.estimate(taken)

    assert 0.65 * true < luma < 1.35 * true


@pytest.mark.parametrize("true", [(15, 20, 90), (70, 10, 10)], ids=["blue", "red"])
def test_a_vivid_colour_five_stops_under_is_not_taken_for_noise(true: tuple[int, int, int]) -> None:
    """The known exposure of fixtures/house/camera.py: the colour comes back, grey stays grey."""
    flat = np.full((200, 200, 3), true, np.uint8)
    grey = np.full((200, 200, 3), 40, np.uint8)
    taken = [camera.darken(patch, 5.0, 4) for patch in (flat, grey)]

    vivid, plain = (light.by_stops(patch, 5.0)[0].astype(float).mean((0, 1)) for patch in taken)

    assert np.ptp(vivid) > 0.85 * np.ptp(true)
    assert np.ptp(plain) < 4


def test_a_strong_edge_stays() -> None:
    picture = grain(30, 1.0)
    picture[:, 128:] += 90

    out = noise.reduce(picture, STRAIGHT, 1.0, 0.6, ALL_COLOUR)

    assert int(out[:, 128].mean()) - int(out[:, 127].mean()) > 80


def test_opencv_turns_colour_as_the_standards_weights_say() -> None:
    """ITU-R BT.601 weights in OpenCV's documented whole-number form, at 16 bits; a pixel must not differ."""
    codes = np.random.default_rng(0).integers(0, 65536, (64, 64, 3)).astype(np.uint16)
    luma, red, blue = (codes[..., n].astype(np.int64) - (0, 32768, 32768)[n] for n in range(3))
    wanted = np.dstack(
        [
            luma + ((22987 * red + 8192) >> 14),
            luma + ((-11698 * red - 5636 * blue + 8192) >> 14),
            luma + ((29049 * blue + 8192) >> 14),
        ]
    )

    out = cv2.cvtColor(codes, cv2.COLOR_YCrCb2RGB)

    assert np.array_equal(out, np.clip(wanted, 0, 65535))
