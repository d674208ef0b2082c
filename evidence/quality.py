"""Measure how well a picture serves as evidence: sharpness that noise cannot fake, exposure, flash spot.

Hides the bands, the blocks and the weights. Scores rank pictures of one view; what makes a picture
fit to print, and in which words that is said, is left to ``choice``.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.words import Quality, Rgb

VERSION = 3
"""Rises with every change that moves a score."""

LONG_SIDE = 1600
"""Pixels of the longer side at which a picture is judged: about what is printed of it."""

_STRIP = 8
"""Rows of blocks filtered at a time, so that the planes stay in the cache."""
_REACH = 4
"""Rows beyond a strip that its filters look at."""
_WHITE_GAIN = 0.0581
"""The band's energy when every pixel has noise of its own of variance 1: the filter's squares, summed."""
_MEAN = 0.44
"""Mean sRGB value of a well-exposed picture, as in ``light``."""

Floats = NDArray[np.float32]

_BLOCK = 16
"""Side of a block in pixels: some hold nothing but noise, others an edge."""
_EDGES = 60
"""Sharpness is read where the coarse band is strongest: in the blocks above this percentile."""
_FLAT = 5
"""Blocks at this percentile of a band's energy are taken to hold nothing but noise."""
_FLAT_SHARE = 1.2
"""By so much the mean noise lies above that of the flattest blocks."""
_BLURRED = (0.04, 0.35)
"""Below both in the two ratios a picture shows no detail: half of those 4 pixels out of focus, all at 8."""
_CLIPPED = (8.0, 245.0)
"""Blocks darker or brighter than this show no noise because it was clipped away."""


def measure(rgb: Rgb) -> Quality:
    """Measure a picture; compare scores only between pictures of one view.

    Parameters
    ----------
    rgb
        Shape (height, width, 3), uint8, sRGB-encoded, upright; larger ones are averaged down to 1600
        pixels first.

    Notes
    -----
    Our own, measured in docs/methods/quality.md. A blurred edge keeps its coarse band (structure of 12 to
    24 pixels) and loses its fine one (3 to 6 pixels), whatever its contrast and exposure: sharpness is the
    ratio of the two energies where the coarse band is strong. What noise adds to a band is read
    off the picture's own flattest blocks in that same band, so that it may be correlated in any way
    by demosaicing and compression. All filters are binomial and exact on whole numbers.
    """
    grey = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8)
    scale = LONG_SIDE / max(grey.shape)
    if scale < 1:
        size = (max(1, round(grey.shape[1] * scale)), max(1, round(grey.shape[0] * scale)))
        grey = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8)
    side = min(_BLOCK, *grey.shape)
    rows, columns = grey.shape[0] // side, grey.shape[1] // side
    grey = np.ascontiguousarray(grey[: rows * side, : columns * side])
    level = _blocks(grey, rows, columns)
    codes = np.asarray(cv2.calcHist([grey], [0], None, [256], [0, 256])).ravel() / grey.size

    half = _halved(grey)
    quarter = _halved(half)
    lit = (level > _CLIPPED[0]) & (level < _CLIPPED[1])
    if not lit.any():
        lit[:] = True
    fine, grain = _energy(grey, rows, columns, lit)
    middle, _ = _energy(half, rows, columns, lit)
    coarse, _ = _energy(quarter, rows, columns, lit)
    edges = coarse >= np.percentile(coarse, _EDGES)
    structure = float(coarse[edges].mean()) + 1.0
    sharpness, detail = float(fine[edges].mean()) / structure, float(middle[edges].mean()) / structure

    dark, bright = float(codes[:6].sum()), float(codes[250:].sum())
    mean = float(codes @ np.arange(256)) / 255
    noise = float(np.sqrt(_FLAT_SHARE * grain / _WHITE_GAIN))
    exposure = -2 * abs(mean - _MEAN) / _MEAN - 12 * bright - 6 * dark
    sharp = (2 * np.log2(sharpness + 1e-3) + np.log2(detail + 1e-3)) / 3
    return Quality(
        version=VERSION,
        score=float(sharp + exposure - 0.3 * np.log2(1 + noise / 1.5)),
        sharpness=sharpness,
        noise=noise,
        exposure=exposure,
        dark_share=dark,
        bright_share=bright,
        flash_spot=bright if bright > 0.01 else 0.0,
        blurred=sharpness < _BLURRED[0] and detail < _BLURRED[1],
    )


def _halved(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    height, width = max(1, grey.shape[0] // 2), max(1, grey.shape[1] // 2)
    return np.asarray(cv2.resize(grey, (width, height), interpolation=cv2.INTER_AREA), np.uint8)


def _energy(grey: NDArray[np.uint8], rows: int, columns: int, lit: NDArray[np.bool_]) -> tuple[Floats, float]:
    """Give a band's energy in each block without its noise, and that noise; codes squared.

    The band lies between binomials of variance 0.5 and 2 pixels squared.
    """
    side = grey.shape[0] // rows
    strips = []
    for top in range(0, rows, _STRIP):
        first, last = top * side, min(top + _STRIP, rows) * side
        begin = max(0, first - _REACH)
        squares = _squares(grey[begin : last + _REACH])[first - begin : last - begin]
        strips.append(_blocks(squares, (last - first) // side, columns))
    energy = np.concatenate(strips)
    flat = float(np.percentile(energy[lit], _FLAT))
    return np.maximum(energy - np.float32(_FLAT_SHARE * flat), 0.0), flat


def _squares(grey: NDArray[np.uint8]) -> Floats:
    """Give the square of the band at every pixel; whole numbers up to the difference."""
    exact = grey.astype(np.uint16) << 8
    narrow = cv2.GaussianBlur(exact, (3, 3), 0)
    wide = cv2.GaussianBlur(cv2.GaussianBlur(exact, (5, 5), 0), (5, 5), 0)
    band = np.subtract(narrow, wide, dtype=np.float32)
    return np.asarray(cv2.multiply(band, band, scale=2.0**-16), np.float32)


def _blocks(plane: NDArray[np.uint8] | Floats, rows: int, columns: int) -> Floats:
    return np.asarray(cv2.resize(plane, (columns, rows), interpolation=cv2.INTER_AREA), np.float32)
