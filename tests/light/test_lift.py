"""The seams of the light room."""

from __future__ import annotations

import hashlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from evidence import light
from evidence.light import curve
from evidence.words import Light, Rgb
from fixtures.house import camera


def scene(brightness: int, height: int = 120, width: int = 160) -> Rgb:
    """A picture of whole numbers only, so that every machine makes the same."""
    rows, columns = np.arange(height)[:, None], np.arange(width)[None, :]
    slope = (rows + 2 * columns) % 64
    grit = (rows * 7919 + columns * 104729 + rows * columns * 31) % 5
    planes = [(slope * brightness // 64 + grit * share) for share in (1, 0, 2)]
    return np.asarray(np.clip(np.dstack(planes), 0, 255), np.uint8)


def test_a_bright_picture_comes_back_as_the_very_same_array() -> None:
    picture = scene(240)

    out, record = light.correct(picture)

    assert out is picture
    assert light.replay(picture, record) is picture
    assert record.left_alone


@pytest.mark.parametrize(("height", "width"), [(120, 160), (64, 64), (301, 77), (400, 533)])
def test_a_dark_picture_is_brightened_and_made_again_from_its_record(height: int, width: int) -> None:
    picture = scene(60, height, width)

    out, record = light.correct(picture)

    assert out.shape == picture.shape
    assert out.mean() > 2 * picture.mean()
    assert np.array_equal(out, light.replay(picture, record))


def test_the_same_record_gives_the_same_pixels_on_every_machine() -> None:
    """Stored on x86-64 with OpenCV 5.0 and NumPy 2.4; a machine that differs breaks the promise of replay."""
    picture = scene(60)
    tone = tuple(int(code) for code in curve.lift(6.0, 0.8))
    keep = tuple(min(256, 64 + 16 * code) for code in range(256))
    record = Light(light.VERSION, 6.0, 2.585, tone, 1.25, 0.75, keep, left_alone=False)

    digest = hashlib.sha256(light.replay(picture, record).tobytes()).hexdigest()

    assert digest == "5bf56d51b0abe7bef22b3e39fa798d0fc16fcab5f2022ddb8e5cf57be9ebed78"


def test_a_record_of_another_version_is_refused() -> None:
    with pytest.raises(ValueError, match="version"):
        light.replay(scene(60), Light(light.VERSION + 1))


@given(st.floats(1, 32), st.floats(0.2, 0.95))
@settings(max_examples=60, deadline=None)
def test_a_curve_never_falls_never_darkens_and_burns_nothing_out(gain: float, knee: float) -> None:
    tone = curve.lift(gain, knee).astype(int)

    assert (np.diff(tone) >= 0).all()
    assert (tone >= np.arange(256)).all()
    assert tone[249] < 250
    assert tone[0] == 0
    assert tone[255] == 255


def test_light_of_known_codes_is_the_standards() -> None:
    """IEC 61966-2-1: code 188 of 255 is 0.5029 of full light, code 10 lies on the straight part."""
    assert curve.LINEAR[188] == pytest.approx(0.5029, abs=5e-4)
    assert curve.LINEAR[10] == pytest.approx(10 / 255 / 12.92)


def test_the_gain_stays_within_five_stops_however_dark() -> None:
    record = light.propose(scene(6))

    assert record.gain <= 32
    assert record.hopeless


def test_a_proposal_from_a_small_copy_is_carried_out_on_the_large_one() -> None:
    large = np.asarray(cv2.resize(scene(60), (640, 480), interpolation=cv2.INTER_CUBIC), np.uint8)
    small = np.asarray(cv2.resize(large, (320, 240), interpolation=cv2.INTER_AREA), np.uint8)

    proposed = light.propose(small)
    out, record = light.correct(large, proposed)

    assert record.curve == proposed.curve
    assert np.array_equal(out, light.replay(large, record))


def test_a_lamps_burnt_disc_does_not_swell() -> None:
    rows, columns = np.mgrid[0:200, 0:300]
    far = np.hypot(rows - 60, columns - 200)
    glow = np.clip(30 + 230 * np.exp(-np.maximum(far - 8, 0) / 6), 0, 255)
    picture = np.repeat(glow[:, :, None], 3, axis=2).astype(np.uint8)

    out, record = light.by_stops(picture, 3.0)

    assert not record.left_alone
    assert int((out.min(axis=2) >= 250).sum()) <= int((picture.min(axis=2) >= 250).sum() * 1.02)


def small_lit_thing(under: float) -> Rgb:
    """A panel in a torch's beam, its rim on a dim wall, the rest of the room black; by the camera model."""
    rows, columns = np.mgrid[0:300, 0:400]
    far = np.hypot(rows - 150, columns - 130)
    light = np.where(far < 34, 0.6, np.where(far < 140, 0.03, 0.0005))
    return photographed(light, under)


def photographed(light: NDArray[np.float64], under: float) -> Rgb:
    """Grey light, 0..1 and shape (300, 400), by the camera model with a plain lens."""
    linear = np.repeat(light[:, :, None], 3, axis=2).astype(np.float32)
    plain = camera.Body(vignette=0.0, barrel=0.0, fringe=0.0)
    return np.asarray(camera.photograph(linear, -under, 2, body=plain, size=(400, 300), gain=1.0), np.uint8)


def test_a_small_lit_thing_in_the_dark_is_left_alone_and_lifted_when_it_came_out_dark() -> None:
    """The known exposure of fixtures/house/camera.py: as meant, and two stops under."""
    meant, dark = small_lit_thing(0.0), small_lit_thing(2.0)

    assert light.correct(meant)[0] is meant
    assert not light.propose(dark).left_alone


@pytest.mark.parametrize("under", [2.0, 3.0])
def test_a_subject_before_a_dark_ground_is_lifted_by_its_own_light(under: float) -> None:
    """The known exposure of fixtures/house/camera.py: what stands near in a beam, nothing behind it."""
    rows, columns = np.mgrid[0:300, 0:400]
    lit = np.where(np.hypot(rows - 150, columns - 200) < 90, 0.3 + columns / 800, 0.01)

    record = light.propose(photographed(lit, under))

    assert abs(record.stops - under) < 0.9


@pytest.mark.parametrize(("over", "said"), [(0.0, False), (2.5, True), (3.5, True)])
def test_an_over_exposed_wall_is_called_too_bright(over: float, said: bool) -> None:
    """The known exposure of fixtures/house/camera.py: a wall in slanting light, metered and overexposed."""
    slope = np.geomspace(0.05, 1.0, 400, dtype=np.float32)
    wall = np.repeat(np.repeat(slope[None, :, None], 300, axis=0), 3, axis=2)
    taken = np.asarray(camera.photograph(wall, over, 1, size=(400, 300)), np.uint8)

    record = light.propose(taken)

    assert record.too_bright is said
    assert record.left_alone


def test_neither_a_white_page_nor_a_window_is_called_too_bright() -> None:
    page = np.full((300, 400, 3), 235, np.uint8)
    window = np.full((300, 400, 3), 60, np.uint8)
    window[50:250, 60:220] = 255

    assert not light.propose(page).too_bright
    assert not light.propose(window).too_bright


def test_the_inspectors_own_lift_is_held_to_its_range() -> None:
    picture = scene(60)

    assert light.by_stops(picture, 0)[0] is picture
    with pytest.raises(ValueError, match="stops"):
        light.by_stops(picture, 5.1)


def test_well_exposed_photographs_are_left_alone(open_data: Path) -> None:
    """scikit-image's and scikit-learn's samples, published as well-exposed photographs."""
    for path in sorted((open_data / "good").glob("*.*g")):
        bgr = None if path.name.startswith("hubble") else cv2.imread(str(path))
        if bgr is not None:
            picture: Rgb = np.ascontiguousarray(bgr[:, :, ::-1])
            assert light.correct(picture)[0] is picture, path.name
