"""Sum up a picture as a place: its colours, tones and textures, whatever the camera looks at.

Hides the description, the small learned map behind it and what counts as too dark. To everyone else
the result is a vector: two pictures of one room lie closer together than two of different rooms.
"""

from __future__ import annotations

import functools
import importlib.resources
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.smaller import by_parts
from evidence.words import Rgb

VERSION = 5
"""Version of the method; vectors made by different versions cannot be compared."""

LENGTH = 32
"""Elements of the vector."""

Floats = NDArray[np.float32]

_PIXELS = 128 * 96
"""A picture is looked at in about this many pixels, its shape kept."""
_TOO_DARK = 0.0009
"""Linear light (0..1) of the 90th percentile below which nothing can be told: sRGB code 3."""
_BRIGHT = 0.6
"""Linear light to which the 90th percentile is brought before colours are compared."""
_CODES = np.arange(256) / 255.0
_LINEAR = np.where(_CODES <= 0.04045, _CODES / 12.92, ((_CODES + 0.055) / 1.055) ** 2.4).astype(np.float32)
"""IEC 61966-2-1, decoding."""
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
"""IEC 61966-2-1."""
_BINS = (4, 9, 9)
"""Steps of lightness and of the two colour axes."""


def appearance(rgb: Rgb) -> Floats:
    """Sum up a picture as a place.

    Parameters
    ----------
    rgb
        Shape (height, width, 3), uint8, sRGB-encoded, any size.

    Returns
    -------
    Shape (32,), float32, scaled so that an element varies by about 1 inside a room; compare by
    Euclidean distance. All zero when the picture is too dark to tell.

    Raises
    ------
    ValueError
        The array is not a colour picture of 8-bit values, or has no pixel.

    Notes
    -----
    Colour histogram in CIELAB, colour layout, edge orientations at three scales, local binary patterns
    (Ojala et al. 2002) and statistics of patches (Tuzel et al. 2006), through a map with one hidden
    layer learned on drawn rooms (supervised contrastive loss after Khosla et al. 2020); the figures are
    in docs/methods/rooms.md.
    """
    told = description(rgb)
    if told is None:
        return np.zeros(LENGTH, np.float32)
    return packaged().of(told)


def too_dark(vector: Floats) -> bool:
    """Tell whether this vector comes from a picture too dark to tell its place."""
    return not bool(np.any(vector))


def description(rgb: Rgb) -> Floats | None:
    """Describe a picture in numbers that mean something, before the learned map.

    Returns
    -------
    Float32, or None when the picture is too dark to tell.

    Raises
    ------
    ValueError
        The array is not a colour picture of 8-bit values, or has no pixel.
    """
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8 or rgb.size == 0:
        message = f"a picture of shape (height, width, 3) and uint8 is needed, not {rgb.shape} {rgb.dtype}"
        raise ValueError(message)
    nearly = by_parts(rgb, max(1, round((rgb.shape[0] * rgb.shape[1] / (16 * _PIXELS)) ** 0.5)))
    linear = _reduced(np.asarray(cv2.LUT(nearly, _LINEAR), np.float32))
    level = float(np.percentile(linear @ _LUMINANCE, 90))
    if level < _TOO_DARK:
        return None
    lit = np.clip(linear * (_BRIGHT / level), 0.0, 1.0)
    lab = np.asarray(cv2.cvtColor(lit, cv2.COLOR_RGB2Lab), np.float32)
    lightness = np.ascontiguousarray(lab[..., 0])
    return np.concatenate(
        (_colours(lab), _layout(lab), _edges(lightness), _patterns(lightness), _patches(lab))
    )


def _reduced(picture: Floats) -> Floats:
    """Reduce to about ``_PIXELS``, never enlarge."""
    height, width = picture.shape[:2]
    share = (_PIXELS / (height * width)) ** 0.5
    if share >= 1.0:
        return picture
    size = (max(1, round(width * share)), max(1, round(height * share)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float32)


def _colours(lab: Floats) -> Floats:
    """Shares of the picture in each step of lightness and colour, neutral colours told apart most finely."""
    colour = np.sign(lab[..., 1:]) * np.sqrt(np.abs(lab[..., 1:]))
    steps = np.concatenate((lab[..., :1] * 0.03, colour * 0.4 + 4.0), axis=2).reshape(-1, 3)
    steps = np.clip(steps, 0.0, np.array(_BINS, np.float32) - 1.001)
    low = steps.astype(np.int32)
    light, red, yellow = (steps - low).T
    cell = np.ravel_multi_index(tuple(low.T), _BINS)
    shares = np.zeros(int(np.prod(_BINS)))
    for up, first in ((0, 1.0 - light), (_BINS[1] * _BINS[2], light)):
        for across, second in ((0, first * (1.0 - red)), (_BINS[2], first * red)):
            for along, weight in ((0, second * (1.0 - yellow)), (1, second * yellow)):
                shares += np.bincount(cell + (up + across + along), weight, minlength=shares.size)
    # The exponent keeps a small patch of a rare colour from vanishing beside a wall.
    return np.asarray((shares / len(steps)) ** 0.35, np.float32)


def _layout(lab: Floats) -> Floats:
    """Mean colour in three rows of four."""
    coarse = cv2.resize(lab, (4, 3), interpolation=cv2.INTER_AREA)
    return np.asarray(coarse * np.array([0.5, 1.0, 1.0]) / 40.0, np.float32).ravel()


def _edges(lightness: Floats) -> Floats:
    """Edge directions and strengths at three scales."""
    found: list[Floats] = []
    for _ in range(3):
        across = np.asarray(cv2.Sobel(lightness, cv2.CV_32F, 1, 0, scale=0.125))
        down = np.asarray(cv2.Sobel(lightness, cv2.CV_32F, 0, 1, scale=0.125))
        strength = np.hypot(across, down).ravel()
        way = ((np.arctan2(down, across) % np.pi) * (8 / np.pi)).astype(np.int32).ravel() % 8
        ways = np.bincount(way, strength, minlength=8)
        steps = np.clip(np.log2(strength + 0.25) + 2.0, 0.0, 6.999)
        low = steps.astype(np.int32)
        strengths = np.bincount(low, 1 - (steps - low), 8) + np.bincount(low + 1, steps - low, 8)
        found += [np.sqrt(ways / max(ways.sum(), 1e-6)), np.sqrt(strengths / strengths.sum())]
        lightness = np.asarray(cv2.pyrDown(lightness), np.float32)
    return np.concatenate(found).astype(np.float32)


def _patterns(lightness: Floats) -> Floats:
    """Uniform local binary patterns of the eight neighbours at two scales."""
    found: list[Floats] = []
    for _ in range(2):
        around = np.pad(lightness, 1, mode="edge")
        height, width = lightness.shape
        ring = ((0, 0), (0, 1), (0, 2), (1, 2), (2, 2), (2, 1), (2, 0), (1, 0))
        above = np.array([around[y : y + height, x : x + width] > lightness + 1.0 for y, x in ring])
        turns = np.sum(above != np.roll(above, 1, axis=0), axis=0)
        pattern = np.where(turns <= 2, above.sum(axis=0), 9)
        found.append(np.sqrt(np.bincount(pattern.ravel(), minlength=10) / pattern.size))
        lightness = np.asarray(cv2.pyrDown(lightness), np.float32)
    return np.concatenate(found).astype(np.float32)


def _patches(lab: Floats) -> Floats:
    """Spread of what small patches show, and how it goes together: which colour has which texture.

    Percentiles over the patches of mean colour, its deviation and edge energy in four directions at
    three scales, then their covariances (Tuzel et al. 2006), roots taken with their signs kept.
    """
    shown = [lab[..., 0] / 25, lab[..., 1] / 8, lab[..., 2] / 8]
    means = [_pooled(channel) for channel in shown]
    squares = [_pooled(channel * channel) for channel in shown]
    spreads = [
        np.sqrt(np.maximum(square - mean * mean, 0)) for square, mean in zip(squares, means, strict=True)
    ]
    found: list[NDArray[Any]] = [*means, *spreads]
    height, width = lab.shape[:2]
    lightness = np.ascontiguousarray(lab[..., 0])
    for _ in range(3):
        across = np.asarray(cv2.Sobel(lightness, cv2.CV_32F, 1, 0, scale=0.125))
        down = np.asarray(cv2.Sobel(lightness, cv2.CV_32F, 0, 1, scale=0.125))
        for way in (across, down, (across + down) * 0.7, (across - down) * 0.7):
            energy = np.asarray(cv2.resize(np.abs(way), (width, height), interpolation=cv2.INTER_LINEAR))
            found.append(0.5 * np.log2(_pooled(energy) + 0.1))
        lightness = np.asarray(cv2.pyrDown(lightness), np.float32)
    patches = np.array(found, np.float64)
    shares = np.percentile(patches, (10, 50, 90), axis=1)
    together = np.cov(patches, bias=True)[np.triu_indices(len(patches))]
    return np.concatenate((shares.ravel(), np.sign(together) * np.sqrt(np.abs(together)))).astype(np.float32)


def _pooled(channel: NDArray[Any]) -> Floats:
    """Means of patches of 16 by 16, one every 8 pixels, in a row."""
    mean = cv2.blur(channel, (16, 16), borderType=cv2.BORDER_REFLECT)
    height, width = mean.shape
    return np.asarray(mean[min(8, height // 2) :: 8, min(8, width // 2) :: 8], np.float32).ravel()


# ------------------------------------------------------------------------------ learned map


@dataclass(frozen=True, slots=True)
class Map:
    """From a description to a vector: scale, one hidden layer, vector.

    Attributes
    ----------
    mean, scale
        Shape (description,): taken off, and divided by.
    first, first_bias, second, second_bias
        Shapes (description, hidden), (hidden,), (hidden, LENGTH), (LENGTH,).
    """

    mean: Floats
    scale: Floats
    first: Floats
    first_bias: Floats
    second: Floats
    second_bias: Floats

    def of(self, told: Floats) -> Floats:
        """Map one description, or one a row."""
        hidden = np.maximum((told - self.mean) / self.scale @ self.first + self.first_bias, 0.0)
        return np.asarray(hidden @ self.second + self.second_bias, np.float32)


@functools.cache
def packaged() -> Map:
    """The packaged map, made by ``python -m tests.bench.learn_rooms``."""
    file = importlib.resources.files("evidence.rooms").joinpath("places.npz")
    with file.open("rb") as opened, np.load(opened, allow_pickle=False) as held:
        return Map(*(held[name].astype(np.float32) for name in Map.__slots__))
