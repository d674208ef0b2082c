"""Estimate the noise of a picture, then take it out without inventing anything.

Hides a sliding 8 x 8 cosine-like transform, gone through twice: small coefficients are first drawn
towards zero, each by what noise alone would put there; what that leaves then says of every
coefficient of the picture as taken what share of it is picture (Wiener's weights). All sums are of
whole numbers below 2**24, so they are exact in single precision in whatever order a machine adds
them; the few roundings are single IEEE 754 operations. Hence the same pixels everywhere.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.words import Rgb

Real = NDArray[np.float32]

BASIS: Real = np.array(
    [
        [8, 8, 8, 8, 8, 8, 8, 8],
        [12, 10, 6, 3, -3, -6, -10, -12],
        [8, 4, -4, -8, -8, -4, 4, 8],
        [10, -3, -12, -6, 6, 12, 3, -10],
        [8, -8, -8, 8, 8, -8, -8, 8],
        [6, -12, 3, 10, -10, -3, 12, -6],
        [4, -8, 8, -4, -4, 8, -8, 4],
        [3, -6, 10, -12, 12, -10, 6, -3],
    ],
    np.float32,
)
"""Whole-number cosine transform of length 8 (ITU-T H.264, from memory); rows at right angles."""

NORM = np.sqrt((BASIS.astype(np.float64) ** 2).sum(1))

LUMA_SHAPE = np.array([2.15, 2.1, 2.0, 1.8, 1.6, 1.4, 1.3, 1.2])
CHROMA_SHAPE = np.array([2.2, 2.0, 1.5, 1.2, 1.0, 1.0, 1.0, 1.0])
"""Noise by frequency along one side, after mosaic and JPEG, over its spread.

Measured on grey fields; the high ends are raised, for noise that no mosaic has smoothed and for the false
colours that a mosaic leaves at edges, which also scored better.
"""

LUMA_K = 1.8
CHROMA_K = 2.2
"""Coefficients below this many deviations vanish at first (non-negative garrote); docs/methods/light.md."""

LUMA_POWER = 0.65
CHROMA_POWER = 1.6
"""Power of the noise in the second pass, over the estimated one; tuned, docs/methods/light.md."""

VIVID = 1.5
"""Deviations of the colour noise beyond which dark colour is no longer taken for noise."""

LUMA_BAND = (2, 4)
CHROMA_BAND = (1, 2)
"""Frequencies (sum of the two places) at which noise is measured."""

LUMA_LEAST, CHROMA_LEAST, MOST = 0.9375, 0.5, 6.0
"""Spreads are held between these: JPEG hides less, texture fakes more.

A sensor of 3,000-8,000 electrons at white gives 0.9-1.6 codes at every brightness (measured on
grey fields).
"""

FRACTION = 11
"""Binary places of a pixel on its way back: the most for which no sum can reach 2**24."""

PLACES = 8
"""Binary places kept until the curve is applied."""

GUIDE = 4
"""Binary places of the first pass's result: the most for which the second's sums stay below 2**24."""

BAND, MARGIN = 192, 32
"""Rows worked on at once, to stay in the cache, and rows around them that reach into them."""

STRIP = 64
FIRST = ((0, 0), (4, 4))
SECOND = ((2, 2), (6, 6))
"""Grids of blocks of both passes; different ones gain 0.05 dB more than the same twice."""


def estimate(rgb: Rgb) -> tuple[float, float]:
    """Estimate the spread of the noise in brightness and in colour.

    Parameters
    ----------
    rgb
        The picture as taken.

    Returns
    -------
    Two numbers in codes, multiples of 1/16, at most ``MOST``.

    Notes
    -----
    Noise shows where the picture is smoothest: in each block the middle frequencies, which JPEG
    keeps and texture hardly reaches, are compared with what unit noise would put there; the
    lowest fiftieth of all blocks is taken, and set right for being the lowest fiftieth of a chi-square
    spread with that many freedoms (Wilson and Hilferty 1931). Blocks near black and white count
    not for brightness: what is cut off there looks clean.
    """
    tiles = _sample(rgb)
    planes = cv2.split(cv2.cvtColor(tiles, cv2.COLOR_RGB2YCrCb))
    luma = _spread(np.asarray(planes[0], np.float32), LUMA_SHAPE, LUMA_BAND)
    colours = [
        _spread(_halved(np.asarray(plane, np.float32)) / np.float32(4), CHROMA_SHAPE, CHROMA_BAND)
        for plane in planes[1:]
    ]
    luma = float(np.clip(luma, LUMA_LEAST, MOST))
    return luma, float(np.clip(max(colours), CHROMA_LEAST, luma))


def _sample(rgb: Rgb) -> Rgb:
    """Take tiles of 16 x 16 on a grid, at most 32 a side, stacked into one column of rows."""
    rows, columns = (max(1, side // 16) for side in rgb.shape[:2])
    down, across = -(-rows // 32), -(-columns // 32)
    if min(rgb.shape[:2]) < 16:
        return np.asarray(cv2.copyMakeBorder(rgb, 0, 16, 0, 16, cv2.BORDER_REPLICATE)[:16, :16], np.uint8)
    tiles = rgb[: rows * 16, : columns * 16].reshape(rows, 16, columns, 16, 3)[::down, :, ::across]
    return np.ascontiguousarray(tiles).reshape(tiles.shape[0] * 16, -1, 3)


def _spread(plane: Real, shape: NDArray[np.float64], band: tuple[int, int]) -> float:
    height, width = plane.shape
    cut = plane[: height // 8 * 8, : width // 8 * 8]
    blocks = _forth(cut).reshape(height // 8, 8, -1, 8).transpose(0, 2, 1, 3).reshape(-1, 8, 8)
    level = blocks[:, 0, 0] / BASIS[0].sum() ** 2
    order = np.add.outer(np.arange(8), np.arange(8))
    chosen = (order >= band[0]) & (order <= band[1])
    unit = (np.outer(shape, shape) / shape[0] * np.outer(NORM, NORM))[chosen]
    power = np.mean((blocks[:, chosen] / unit) ** 2, axis=1)
    power = power[np.abs(level - 128) < 126] if shape is LUMA_SHAPE else power
    if power.size < 16:
        return 0.0
    freedoms = int(chosen.sum())
    fiftieth = (1 - 2 / (9 * freedoms) - 2.0537 * np.sqrt(2 / (9 * freedoms))) ** 3
    spread = np.sqrt(np.quantile(power, 0.02) / fiftieth)
    return float(min(np.rint(spread * 16) / 16, MOST))


def reduce(rgb: Rgb, table: NDArray[np.uint8], luma: float, chroma: float, keep: NDArray[np.uint16]) -> Rgb:
    """Take the noise out of a picture as taken, hold its colour down where told, then lift it.

    Parameters
    ----------
    rgb
        The picture as taken.
    table
        Shape (65536,): output code for each 1/256 of a code.
    luma, chroma
        Spread of the noise, in codes.
    keep
        Share of colour kept for each brightness code as taken, 0..256.
    """
    height = rgb.shape[0]
    out = np.empty_like(rgb)
    for top in range(0, height, BAND):
        begin, end = max(0, top - MARGIN), min(height, top + BAND + MARGIN)
        clean = _cleaned(rgb[begin:end], luma, chroma, keep)
        rows = slice(top - begin, min(height, top + BAND) - begin)
        np.take(table, clean[rows], out=out[top : top + BAND], mode="clip")
    return out


def _cleaned(rgb: Rgb, luma: float, chroma: float, keep: NDArray[np.uint16]) -> NDArray[np.uint16]:
    """Take the noise out of a band of whole rows; in 1/256 of a code."""
    height, width = rgb.shape[:2]
    even = cv2.copyMakeBorder(rgb, 0, height % 2, 0, width % 2, cv2.BORDER_REPLICATE)
    planes = [np.asarray(plane, np.float32) for plane in cv2.split(cv2.cvtColor(even, cv2.COLOR_RGB2YCrCb))]
    bright = _cleared(planes[0], _noise(LUMA_SHAPE, luma), (LUMA_K, LUMA_POWER), 1)
    out = [np.clip(bright, 0, 255 << PLACES).astype(np.uint16)]
    level = np.rint(_halved(bright) / (4 << PLACES))
    kept = cv2.LUT(np.clip(level, 0, 255).astype(np.uint8), keep).astype(np.float32)
    colours = [
        _cleared(
            _halved(plane) - np.float32(4 * 128),
            _noise(CHROMA_SHAPE, 4 * chroma),
            (CHROMA_K, CHROMA_POWER),
            4,
        )
        for plane in planes[1:]
    ]
    kept = _vivid_kept(colours, kept, chroma)
    for colour in colours:
        held = np.rint(colour * kept / 256)
        wide = cv2.resize(held, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)
        out.append(np.clip(np.rint(wide) + (128 << PLACES), 0, 65535).astype(np.uint16))
    both = cv2.cvtColor(cv2.merge(out), cv2.COLOR_YCrCb2RGB)
    return np.asarray(both[:height, :width], np.uint16)


def _vivid_kept(colours: Sequence[Real], kept: Real, chroma: float) -> Real:
    """Keep all of a colour that stands out of the noise, however dark; 0..256."""
    bound = np.float32((VIVID * chroma * 2**PLACES) ** 2)
    strength = colours[0] * colours[0]
    strength += colours[1] * colours[1]
    share = bound / np.maximum(strength, np.maximum(bound, 1))
    return np.asarray(256 - (256 - kept) * share, np.float32)


def _noise(shape: NDArray[np.float64], spread: float) -> NDArray[np.float64]:
    """Give the deviation that noise alone puts into each coefficient; none for the mean of the block."""
    deviation = np.asarray(np.outer(shape, shape) / shape[0] * spread * np.outer(NORM, NORM), np.float64)
    deviation[0, 0] = 0
    return deviation


def _halved(plane: Real) -> Real:
    """Add each 2 x 2 pixels of a plane with even sides."""
    half = (plane.shape[1] // 2, plane.shape[0] // 2)
    return np.asarray(4 * cv2.resize(plane, half, interpolation=cv2.INTER_AREA), np.float32)


def _cleared(plane: Real, noise: NDArray[np.float64], strength: tuple[float, float], unit: int) -> Real:
    """Clear a plane in two passes; 1/256 of a code, as whole numbers.

    Parameters
    ----------
    noise
        Shape (8, 8): deviation of the noise in each coefficient, in the plane's own steps.
    strength
        Deviations below which a coefficient vanishes at first; power of the noise in the second pass.
    unit
        Steps of the plane in a code.
    """
    bound = np.rint(strength[0] * noise).astype(np.float32)
    first = _slid((plane,), bound, FIRST, unit, _garrote)
    top = np.float32(255 << GUIDE)
    guide = np.clip(np.rint(first / np.float32(2 ** (PLACES - GUIDE))), -top, top)
    power = (strength[1] * (noise * (2**GUIDE / unit)) ** 2).astype(np.float32)
    return _slid((plane, guide), power, SECOND, unit, _wiener)


def _slid(
    planes: Sequence[Real],
    table: Real,
    shifts: Sequence[tuple[int, int]],
    unit: int,
    shrink: Callable[..., Real],
) -> Real:
    """Shrink the first plane's blocks on several grids, and give the mean in 1/256 of a code."""
    height, width = planes[0].shape
    margins = (8, 16 - height % 8, 8, 16 - width % 8)
    wide = [
        np.asarray(cv2.copyMakeBorder(plane, *margins, cv2.BORDER_REPLICATE), np.float32) for plane in planes
    ]
    total = np.zeros_like(wide[0])
    back = (np.outer(1 / NORM**2, 1 / NORM**2) * 2.0**FRACTION / unit).astype(np.float32)
    for down, across in shifts:
        rows, columns = (total.shape[0] - down) // 8 * 8, (total.shape[1] - across) // 8 * 8
        told, scaled = (np.tile(each, (1, columns // 8)) for each in (table, back))
        for top in range(down, down + rows, STRIP):
            place = (slice(top, min(top + STRIP, down + rows)), slice(across, across + columns))
            both = shrink(*(_forth(plane[place]) for plane in wide), told)
            both *= scaled
            np.rint(both, out=both)
            total[place] += _back(both)
    scale = np.float32(1 / (len(shifts) * 2 ** (FRACTION - PLACES)))
    return np.asarray(np.rint(total[8 : 8 + height, 8 : 8 + width] * scale), np.float32)


def _garrote(both: Real, bound: Real) -> Real:
    """Draw coefficients to zero: all of what is below the bound, little of what is far above."""
    share = bound / np.maximum(np.abs(both), np.maximum(bound, 1))
    share *= share
    np.subtract(1, share, out=share)
    both *= share
    return both


def _wiener(both: Real, guide: Real, power: Real) -> Real:
    """Keep of each coefficient the share that is picture, by the guide's."""
    guide *= guide
    np.maximum(guide, 1, out=guide)
    guide += power
    np.divide(power, guide, out=guide)
    np.subtract(1, guide, out=guide)
    both *= guide
    return both


def _forth(strip: Real) -> Real:
    """Transform a strip of whole blocks: shape (rows / 8, 8, columns).

    Row by row, since the matrix library shares one long product out among threads, which then cost
    a hundred times what they save.
    """
    rows, columns = strip.shape
    along = np.ascontiguousarray(strip).reshape(rows, -1, 8) @ BASIS.T
    return np.asarray(BASIS @ along.reshape(rows // 8, 8, columns), np.float32)


def _back(both: Real) -> Real:
    """Transform it back."""
    count, _, columns = both.shape
    along = BASIS.T @ both
    return np.asarray((along.reshape(8 * count, -1, 8) @ BASIS).reshape(-1, columns), np.float32)
