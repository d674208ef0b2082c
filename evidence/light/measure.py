"""Tell how dark a picture is, and by how much it should be lifted.

Works on a picture of 256 pixels and answers from its histogram alone, in whole numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.light import curve
from evidence.words import Rgb

TARGET = 0.44
"""Mean in code, of full scale, that lifted pictures are brought to; fitted to real exposure brackets."""

KNEE = 0.4
GAIN_LEAST = 2.0
HOPELESS_SHARE = 0.60
HOPELESS_CODE = 2


@dataclass(frozen=True, slots=True)
class Darkness:
    """What the histogram says.

    Attributes
    ----------
    gain
        Factor on linear light, 1..20, from the ladder of :mod:`curve`.
    knee
        See :func:`curve.lift`.
    left_alone
        The picture is as it should be.
    hopeless
        Most of it holds no signal.
    """

    gain: float
    knee: float
    left_alone: bool
    hopeless: bool


def thumbnail(rgb: Rgb) -> Rgb:
    """Average the picture down to at most 256 pixels a side; smaller ones stay as they are."""
    height, width = rgb.shape[:2]
    step = max(height, width) // 256
    if step < 2:
        return rgb
    rows, columns = height // step, width // step
    cut = rgb[: rows * step, : columns * step]
    return np.asarray(cv2.resize(cut, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)


def darkness(rgb: Rgb) -> Darkness:
    """Measure a picture of any size."""
    small = thumbnail(rgb)
    codes = np.bincount(small.reshape(-1), minlength=256)
    grey = np.bincount(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY).reshape(-1), minlength=256)
    hopeless = bool(grey[: HOPELESS_CODE + 1].sum() > HOPELESS_SHARE * grey.sum())
    gain = gain_to(codes, TARGET, KNEE)
    left_alone = gain < GAIN_LEAST
    return Darkness(1.0 if left_alone else gain, KNEE, left_alone, hopeless)


def gain_to(codes: NDArray[np.int64], target: float, knee: float) -> float:
    """Find the least gain of the ladder whose curve brings the mean code to a target share."""
    wanted = int(target * 255 * int(codes.sum()))
    low, high = 0, int(np.log2(curve.GAIN_MAX) * curve.STEPS_PER_STOP)
    while low < high:
        middle = (low + high) // 2
        lifted = curve.lift(2.0 ** (middle / curve.STEPS_PER_STOP), knee).astype(np.int64)
        if int(lifted @ codes) >= wanted:
            high = middle
        else:
            low = middle + 1
    return float(2.0 ** (low / curve.STEPS_PER_STOP))
