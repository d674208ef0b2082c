"""Sum up a picture as a place: its colours, tones and textures, whatever the camera looks at.

Hides the descriptor; to everyone else it is a vector, and two pictures of one room lie closer
together than two of different rooms. A picture too dark to tell is the zero vector.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.words import Rgb

VERSION = 2
"""Version of the method; vectors made by different versions cannot be compared."""

SPREAD = 5.33
"""Brings the spread of one room's pictures to that of twelve independent numbers of variance 1, which
is what the weights are learned for; measured on the drawn houses set apart for tuning."""

_DARK = 3.0
"""Mean sRGB code of the 90th percentile below which nothing can be told."""


def appearance(rgb: Rgb) -> NDArray[np.float32]:
    """Sum up a picture as a place.

    Parameters
    ----------
    rgb
        Shape (height, width, 3), uint8, sRGB-encoded, any size.

    Returns
    -------
    A vector of fixed length; all zero when the picture is too dark to tell. Pictures of one room lie
    about as far apart as twelve independent numbers of variance 1 do.

    Raises
    ------
    ValueError
        The array is not a colour picture of 8-bit values, or has no pixel.
    """
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8 or rgb.size == 0:
        message = f"a picture of shape (height, width, 3) and uint8 is needed, not {rgb.shape} {rgb.dtype}"
        raise ValueError(message)
    small = cv2.resize(rgb, (96, 72), interpolation=cv2.INTER_AREA).astype(np.float32) / 255.0
    linear = small**2.2
    bright = float(np.percentile(linear.max(axis=2), 90))
    if bright < (_DARK / 255.0) ** 2.2:
        return np.zeros(_LENGTH, np.float32)
    lit = np.clip(linear * (0.7 / bright), 0, 1) ** (1 / 2.2)
    lab = cv2.cvtColor(lit.astype(np.float32), cv2.COLOR_RGB2Lab)
    colours = _histogram(lab[..., 1:].reshape(-1, 2) / 8.0 + 4.0, 9)
    tones = np.histogram(lab[..., 0], bins=8, range=(0, 100))[0]
    tones = np.sqrt(tones / tones.sum())
    grey = lab[..., 0]
    gx = cv2.Sobel(grey, cv2.CV_32F, 1, 0)
    gy = cv2.Sobel(grey, cv2.CV_32F, 0, 1)
    size = np.hypot(gx, gy)
    angle = (np.arctan2(gy, gx) % np.pi) / np.pi * 8
    turns = np.bincount(np.minimum(angle.astype(int), 7).ravel(), weights=size.ravel(), minlength=8)
    turns = np.sqrt(turns / max(turns.sum(), 1e-6))
    return (SPREAD * np.concatenate((colours, 0.5 * tones, 0.5 * turns))).astype(np.float32)


_LENGTH = 81 + 8 + 8


def too_dark(vector: NDArray[np.float32]) -> bool:
    """Tell whether this vector comes from a picture too dark to tell its place."""
    return not bool(np.any(vector))


def _histogram(points: NDArray[np.float32], bins: int) -> NDArray[np.float64]:
    """Square root of a two-dimensional histogram with linear shares between bins."""
    points = np.clip(points, 0, bins - 1.001)
    low = np.floor(points).astype(int)
    part = points - low
    counts = np.zeros(bins * bins)
    for dx in (0, 1):
        for dy in (0, 1):
            share = np.abs(1 - dx - part[:, 0]) * np.abs(1 - dy - part[:, 1])
            cell = np.minimum(low[:, 0] + dx, bins - 1) * bins + np.minimum(low[:, 1] + dy, bins - 1)
            counts += np.bincount(cell, weights=share, minlength=bins * bins)
    return np.asarray(np.sqrt(counts / counts.sum()), np.float64)
