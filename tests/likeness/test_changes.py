"""What counts as a change and what does not; see docs/methods/likeness.md."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from evidence import likeness
from evidence.likeness import Verdict
from evidence.words import Rgb
from fixtures.house import camera


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


def _spoiled(rgb: Rgb, blur: camera.Blur, stops: float) -> Rgb:
    light = camera.blurred(camera.decode(rgb), blur) * np.float32(2**stops)
    return np.asarray(np.rint(camera.encode(light) * 255), np.uint8)


SPOILED = [
    pytest.param(name, blur, stops, id=f"{name}-{said}")
    for name in ("coffee.png", "brick.png", "sklearn_flower.jpg")
    for said, blur, stops in (
        ("out of focus", camera.Blur(defocus=3.0), 0.0),
        ("shaken", camera.Blur(shake=7.0, angle=20.0), 0.0),
        ("dark", camera.Blur(), -2.0),
        ("burnt out", camera.Blur(), 1.5),
    )
]
SPOILED.append(pytest.param("grass.png", camera.Blur(), 1.5, id="grass.png-burnt out"))


@pytest.mark.parametrize(("name", "blur", "stops"), SPOILED)
def test_a_picture_taken_again_because_it_was_spoiled_is_the_same(
    open_data: Path, name: str, blur: camera.Blur, stops: float
) -> None:
    """Samples of scikit-image and scikit-learn, spoiled by the camera model: the usual reason to retake."""
    good = np.asarray(Image.open(open_data / "good" / name).convert("RGB"))

    pair = likeness.compare(
        likeness.describe(_framed(_spoiled(good, blur, stops), 4)), likeness.describe(_framed(good, 14))
    )

    assert pair.verdict is Verdict.SAME


@pytest.mark.parametrize(("name", "blur", "stops"), SPOILED)
def test_what_changed_is_told_in_a_spoiled_picture_too(
    open_data: Path, name: str, blur: camera.Blur, stops: float
) -> None:
    """The same, with a number written on it before one was taken (drawn here)."""
    good = np.asarray(Image.open(open_data / "good" / name).convert("RGB"))
    changed = good.copy()
    place = (good.shape[1] // 2 - 30, good.shape[0] // 2)
    cv2.putText(changed, "417", place, cv2.FONT_HERSHEY_SIMPLEX, 1.0, (30, 30, 30), 3, cv2.LINE_AA)

    pair = likeness.compare(
        likeness.describe(_framed(_spoiled(changed, blur, stops), 4)), likeness.describe(_framed(good, 14))
    )

    assert pair.verdict is not Verdict.SAME
