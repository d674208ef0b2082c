"""How much more blurred one view is than another; second moments of a disc and of a line from mechanics."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from evidence.likeness import blur
from fixtures.house.camera import Blur, blurred, decode, encode

Grey = NDArray[np.float32]


def _seen(view: Grey) -> NDArray[np.bool_]:
    return np.ones(view.shape, bool)


def _views(path: Path, spoiled: Blur) -> tuple[Grey, Grey]:
    """Give a scikit-image sample as codes, and blurred in light as a lens does."""
    rgb = np.asarray(Image.open(path).convert("RGB"))
    light = decode(rgb).mean(axis=2)
    return tuple(np.asarray(encode(of) * 255, np.float32) for of in (light, blurred(light, spoiled)))  # type: ignore[return-value]


@pytest.mark.parametrize("name", ["coffee.png", "brick.png", "astronaut.png"])
@pytest.mark.parametrize("radius", [2.0, 4.0])
def test_a_view_out_of_focus_is_measured(open_data: Path, name: str, radius: float) -> None:
    """A uniform disc of radius r has a variance of r^2 / 4 each way, with a soft rim a little more."""
    sharp, soft = _views(open_data / "good" / name, Blur(defocus=radius))
    spot = np.zeros((31, 31), np.float32)
    spot[15, 15] = 1
    drawn = float((blurred(spot, Blur(defocus=radius)).sum(axis=0) * (np.arange(31) - 15) ** 2).sum())
    assert drawn == pytest.approx(radius**2 / 4, rel=0.2)

    found = blur.between(sharp, soft, _seen(sharp))

    assert found.variances == pytest.approx([drawn] * 2, rel=0.35)
    assert found.first_px == pytest.approx(drawn**0.5, rel=0.2)
    assert found.second_px == 0.0


@pytest.mark.parametrize("angle", [0.0, 60.0])
def test_a_shaken_view_is_measured_along_its_shake(open_data: Path, angle: float) -> None:
    """A uniform line of length l has a variance of l^2 / 12 along itself, and hardly any across."""
    sharp, shaken = _views(open_data / "good" / "coffee.png", Blur(shake=9.0, angle=angle))

    found = blur.between(sharp, shaken, _seen(sharp))

    assert found.first_px == pytest.approx(9.0 / 12**0.5, rel=0.3)
    assert blur.between(shaken, sharp, _seen(sharp)).second_px == pytest.approx(found.first_px)
    assert abs(found.variances[0]) < 0.25 * found.variances[1]
    along = found.axes[:, 1] * np.sign(found.axes[0, 1])
    assert np.degrees(np.arctan2(along[1], along[0])) == pytest.approx(angle, abs=10)


def test_where_things_lie_does_not_matter(open_data: Path) -> None:
    """So that parallax does not pass for blur: the same view moved by twelve pixels."""
    sharp, soft = _views(open_data / "good" / "coffee.png", Blur(defocus=3.0))
    moved = np.roll(soft, (7, -12), axis=(0, 1))

    found = blur.between(sharp, moved, _seen(sharp))

    assert found.first_px == pytest.approx(blur.between(sharp, soft, _seen(sharp)).first_px, rel=0.1)


def test_smoothing_makes_both_alike(open_data: Path) -> None:
    sharp, soft = _views(open_data / "good" / "coffee.png", Blur(shake=9.0, angle=30.0))

    one, two = blur.equally_sharp(sharp, soft, blur.between(sharp, soft, _seen(sharp)))

    def apart(a: Grey, b: Grey) -> float:
        return float(np.sqrt(np.mean((a - b)[20:-20, 20:-20] ** 2)))

    assert apart(one, two) < 0.25 * apart(sharp, soft)


def test_equally_sharp_views_are_smoothed_alike(open_data: Path) -> None:
    sharp, _ = _views(open_data / "good" / "coffee.png", Blur())
    noisy = sharp + np.random.default_rng(1).normal(0, 1, sharp.shape).astype(np.float32)

    found = blur.between(sharp, noisy, _seen(sharp))

    assert max(found.first_px, found.second_px) < 0.3


@pytest.mark.parametrize("size", [(40, 60), (9, 300), (768, 2), (1, 64)])
def test_any_size_is_measured(size: tuple[int, int]) -> None:
    """Small and narrow views too: nothing is asked of them but that they do not stop the comparison."""
    view = np.random.default_rng(2).uniform(0, 255, size).astype(np.float32)

    found = blur.between(view, np.asarray(cv2.GaussianBlur(view, (0, 0), 1.0), np.float32), _seen(view))
    one, two = blur.equally_sharp(view, view, found)

    assert np.isfinite(found.variances).all()
    assert one.shape == two.shape == size


def test_a_view_without_any_structure_is_left_alone() -> None:
    flat = np.full((96, 128), 90.0, np.float32)

    found = blur.between(flat, flat, _seen(flat))

    assert found.first_px == found.second_px == 0.0
