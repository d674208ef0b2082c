"""Measure how well a picture serves as evidence: sharpness that noise cannot fake, exposure, flash spot.

Hides the bands, the blocks and the weights. Scores rank pictures of one view; what makes a picture
fit to print, and in which words that is said, is left to ``choice``.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.smaller import by_parts, to_length
from evidence.words import Quality, Rgb

VERSION = 7
"""Rises with every change of what the same pixels are given."""

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
_FLAT = 5
"""Blocks at this percentile of a band's energy are taken to hold nothing but noise."""
_FLAT_SHARES = (1.43, 1.8, 2.7)
"""By so much the noise of a block lies above that of the flattest blocks, finest band first: the mean is
1.3, 1.65 and 2.7 times that percentile in flat noise (the fewer pixels, the more it scatters), and a tenth
is added to the two that are read as detail, so that noise is rather taken for too much than for detail."""
_TONES = 8
"""Noise is read in so many classes of brightness, equal in blocks and of at least 40."""
_FEWER = (1.25, 1.6)
"""By so much the score, and by this power of its length the sharpness, of a picture shorter than the judged
length is lower than its own pixels say: for each halving, as if it had been enlarged to that length
(docs/methods/quality.md)."""
_STRUCTURE = 10.0
"""Squared codes of the coarse band in a tenth of the blocks, below which there is nothing to be sharp."""
_BLURRED = 0.04
"""Below this sharpness a picture shows no detail: half of those 4 pixels out of focus, all at 8."""
_BARE = 0.2
"""With less than this share of the least structure nothing tells sharp from blurred: bare walls under noise
of up to 20 codes reach it, a view 8 pixels out of focus has twice as much (docs/methods/quality.md)."""
_BLACK = 6
"""Codes below this are near-black, where there is no noise."""
_LIFTED = 0.6
"""Black whose noise is cut off at code 0 has a mean of 0.4 deviations of each channel's noise (the mean of
the half of a normal law), and each channel deviates by 1.5 times what grey does."""
_FLOOR = 0.02
"""Ratios much below this are all the same: nothing is sharp."""
_CLIPPED = (16.0, 245.0)
"""Blocks darker or brighter than this show no noise because it was clipped away."""


def measure(rgb: Rgb) -> Quality:
    """Measure a picture; compare scores only between pictures of one view.

    Parameters
    ----------
    rgb
        Shape (height, width, 3), uint8, sRGB-encoded, upright; larger ones are brought down to 1600
        pixels first, smaller ones judged by what they would show enlarged to that.

    Notes
    -----
    Our own, measured in docs/methods/quality.md. A blurred edge keeps its coarse band (structure of 12 to
    24 pixels) and loses its fine one (3 to 6 pixels), whatever its contrast and exposure: sharpness is the
    ratio of the two energies where the coarse band rises above its noise. What noise adds to a band is
    read off the picture's own flattest blocks in that same band and of the same brightness, so that it may
    be correlated in any way by demosaicing and compression. All filters are binomial and exact on whole
    numbers.
    """
    grey = to_length(np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8), LONG_SIDE)
    side = min(_BLOCK, *grey.shape)
    rows, columns = grey.shape[0] // side, grey.shape[1] // side
    grey = np.ascontiguousarray(grey[: rows * side, : columns * side])
    level = _blocks(grey, rows, columns)
    lit = (level > _CLIPPED[0]) & (level < _CLIPPED[1])
    if not lit.any():
        lit[:] = True

    half = by_parts(grey, 2)
    energies = np.array([_energy(plane, rows, columns) for plane in (grey, half, by_parts(half, 2))])
    noises = _noises(energies, level, lit)
    noise = float(np.sqrt(np.median(noises[0]) / _WHITE_GAIN))

    # Averaged over four pixels, for noise carries black and white ones across the limits.
    codes = np.asarray(cv2.calcHist([half], [0], None, [256], [0, 256])).ravel() / half.size
    black = min(round(_BLACK + _LIFTED * noise), 32)
    dark, bright = float(codes[:black].sum()), float(codes[250:].sum())
    mean = float(codes @ np.arange(256)) / 255
    exposure = -2 * abs(mean - _MEAN) / _MEAN - 12 * bright - 6 * dark

    fine, middle, coarse = energies - noises
    weight = np.maximum(coarse, 0.0) / np.maximum(energies[2], 1e-6)
    found = float((weight * coarse).sum())
    least = _STRUCTURE * min(mean / _MEAN, 1.0) ** 2 * coarse.size / 10 + 1e-6
    structure = found + least
    own = max(0.0, float((weight * fine).sum())) / structure
    detail = max(0.0, float((weight * middle).sum())) / structure
    sharp = (2 * np.log2(own + _FLOOR) + np.log2(detail + _FLOOR)) / 3
    halvings = max(0.0, float(np.log2(LONG_SIDE / max(rgb.shape[:2]))))
    bare = own < _BLURRED and found < _BARE * least
    return Quality(
        version=VERSION,
        score=float(sharp + exposure - 0.4 * np.log2(1 + noise / 1.5)) - _FEWER[0] * halvings,
        sharpness=own * 2 ** (-_FEWER[1] * halvings),
        noise=noise,
        exposure=exposure,
        dark_share=dark,
        bright_share=bright,
        flash_spot=bright if bright > 0.01 else 0.0,
        blurred=own < _BLURRED and not bare,  # few pixels are no want of focus
        bare=bare,
    )


def _energy(grey: NDArray[np.uint8], rows: int, columns: int) -> Floats:
    """Give a band's energy in each block, codes squared.

    The band lies between binomials of variance 0.5 and 2 pixels squared.
    """
    side = grey.shape[0] // rows
    strips = []
    for top in range(0, rows, _STRIP):
        first, last = top * side, min(top + _STRIP, rows) * side
        begin = max(0, first - _REACH)
        squares = _squares(grey[begin : last + _REACH])[first - begin : last - begin]
        strips.append(_blocks(squares, (last - first) // side, columns))
    return np.concatenate(strips)


def _noises(energies: Floats, level: Floats, lit: NDArray[np.bool_]) -> Floats:
    """Give what noise adds to each band in each block: a share of the flattest blocks of its brightness.

    A sensor's noise grows more slowly than light does, and the sRGB curve flattens it further: in codes
    it never rises with brightness. Where a class of brightness has no flat block, a darker one bounds it.
    """
    order = np.argsort(level[lit], kind="stable")
    levels = level[lit][order]
    classes = np.array_split(np.arange(len(levels)), max(1, min(_TONES, len(levels) // 40)))
    centres = [float(levels[places].mean()) for places in classes]
    of_lit = energies[:, lit][:, order]
    flattest = np.array([np.percentile(of_lit[:, places], _FLAT, axis=1) for places in classes])
    bounded = np.minimum.accumulate(flattest).T
    return np.array(
        [
            share * np.interp(level, centres, band).astype(np.float32)
            for share, band in zip(_FLAT_SHARES, bounded, strict=True)
        ]
    )


def _squares(grey: NDArray[np.uint8]) -> Floats:
    """Give the square of the band at every pixel; whole numbers up to the difference."""
    exact = grey.astype(np.uint16) << 8
    narrow = cv2.GaussianBlur(exact, (3, 3), 0)
    wide = cv2.GaussianBlur(cv2.GaussianBlur(exact, (5, 5), 0), (5, 5), 0)
    band = np.subtract(narrow, wide, dtype=np.float32)
    return np.asarray(cv2.multiply(band, band, scale=2.0**-16), np.float32)


def _blocks(plane: NDArray[np.uint8] | Floats, rows: int, columns: int) -> Floats:
    return np.asarray(cv2.resize(plane, (columns, rows), interpolation=cv2.INTER_AREA), np.float32)
