"""Make two aligned views comparable: the same tones, the same fall of light; and say what they cannot tell.

So that a longer exposure, a flash, a darker corner or a burnt-out wall does not count as something
that changed. Sharpness is left to ``blur``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.likeness.prints import BURNT

Grey = NDArray[np.float32]
"""Shape (height, width), codes 0..255."""

Mask = NDArray[np.bool_]

Table = NDArray[np.float32]
"""What each of the 256 codes becomes."""

_BLACK = 4
"""To this code a sensor may have been at its end, as from ``BURNT`` on."""

_BLACK_TO, _BURNT_FROM = 8, 238
"""Its last codes before: what it does not tell lies beyond."""

_ABOUT = 2.0
"""Where a burnt-out place was smoothed, so many deviations about it may have been lighter.

All three our own, found on the made-up house; see docs/methods/likeness.md.
"""


@dataclass(frozen=True, slots=True)
class Taken:
    """A view as taken.

    Attributes
    ----------
    codes
        Shape (height, width), uint8.
    burnt
        Where one of its colours was burnt out, white or not.
    """

    codes: NDArray[np.uint8]
    burnt: Mask


@dataclass(frozen=True, slots=True)
class Evened:
    """One of two views brought to the same tones, light and sharpness.

    Attributes
    ----------
    grey
        Whole codes 0..255.
    least, most
        Between which codes each lies, uint8: where a sensor was burnt out or black it does not tell.
    """

    grey: Grey
    least: NDArray[np.uint8]
    most: NDArray[np.uint8]

    @property
    def codes(self) -> NDArray[np.uint8]:
        """The same as ``grey``, uint8."""
        return self.grey.astype(np.uint8)


def evened(grey: Grey, taken: Taken, table: Table, smoothed_px: float) -> Evened:
    """Tell of an evened view between which codes it lies.

    Parameters
    ----------
    grey
        The view, evened.
    taken
        The same as taken.
    table
        What its codes became, light and sharpness apart.
    smoothed_px
        By how much it was smoothed: about what was burnt out before, it may have been any lighter.
    """
    codes = np.rint(np.clip(grey, 0, 255))
    white, black = taken.codes >= BURNT, taken.codes <= _BLACK
    near = 2 * round(_ABOUT * smoothed_px)
    least = np.where(white, codes * (table[_BURNT_FROM] / max(1.0, float(table[255]))), codes)
    least = np.where(_widened(black, 3 + near), 0, least)
    most = np.where(black, codes + (table[_BLACK_TO] - table[0]), codes)
    # Burnt colours are mapped over their rim in part as it is; wider, dark lines on red would be covered.
    most = np.where(_widened(white, 3 + near) | _widened(taken.burnt, 1 + near), 255, most)
    return Evened(codes, least.astype(np.uint8), np.minimum(most, 255).astype(np.uint8))


def _widened(mask: Mask, side: int) -> Mask:
    """Tell where a window of this side meets the mask."""
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((side, side), np.uint8)) > 0)


def toned(like: NDArray[np.uint8], view: NDArray[np.uint8], seen: Mask) -> NDArray[np.float32]:
    """Give the 256 values that bring the tones of ``view`` to those of ``like``, roughly.

    From the ranks of both within ``seen``; good enough to find corresponding pixels.
    """
    ranks = np.linspace(1, 99, 17)
    some = (slice(None, None, 3), slice(None, None, 3))
    to = np.percentile(like[some][seen[some]], ranks)
    of = np.maximum.accumulate(np.percentile(view[some][seen[some]], ranks) + np.arange(17) * 1e-2)
    return _continued(of, to)


def toned_by_pixels(
    like: NDArray[np.uint8], view: NDArray[np.uint8], known: Mask, told: Mask, rough: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Give the 256 values again, from pixels that correspond: the median partner of each tone.

    Parameters
    ----------
    like, view
        The one whose tones are wanted, and the other brought onto it.
    known
        Where ``view`` is seen and not burnt out.
    told
        Where ``like`` is not either. Half of a tone's partners must be told, or their median is not known;
        leaving out only the others would choose the darker ones (Powell, "Least absolute deviations
        estimation for the censored regression model", Journal of Econometrics 25, 1984).
    rough
        Comes back where there are too few pixels.

    Notes
    -----
    Made to rise by pooling (Ayer et al. 1955).
    """
    some = known[::2, ::2]
    order = np.argsort(view[::2, ::2][some], kind="stable")
    of, to, tells = (part[::2, ::2][some][order] for part in (view, like, told))
    edges = np.searchsorted(of, np.arange(0, 257, 8))
    at: list[float] = []
    pools: list[tuple[float, int, int]] = []
    for low, high in pairwise(edges.tolist()):
        if high - low < 40 or tells[low:high].mean() < 0.5:
            continue
        at.append(float(of[low:high].mean()))
        pools.append((float(np.median(to[low:high])), high - low, 1))
        while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
            (v, n, k), (w, m, j) = pools[-2:]
            pools[-2:] = [((v * n + w * m) / (n + m), n + m, k + j)]
    if len(at) < 2:
        return rough
    return _continued(np.array(at), np.repeat([v for v, _, _ in pools], [k for _, _, k in pools]))


def _continued(of: NDArray[np.float64], to: NDArray[np.float64]) -> NDArray[np.float32]:
    """Fill a table of 256 from known places, and go on: below evenly, above as a longer exposure would."""
    codes = np.arange(256)
    table = np.interp(codes, of, to)
    low, high = codes < of[0], codes > of[-1]
    table[low] = to[0] + (codes[low] - of[0])
    table[high] = codes[high] * to[-1] / max(1.0, of[-1])
    return np.clip(table, 0, 255).astype(np.float32)


@cache
def _surfaces() -> NDArray[np.float32]:
    """Give the six surfaces up to second degree on a 24 x 32 grid."""
    y, x = np.mgrid[-1:1:24j, -1:1:32j].astype(np.float32)
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def lit_alike(like: Grey, view: Grey, partner: Grey, seen: Mask) -> Grey:
    """Take a smooth difference of light out of ``view``: a flash, a lamp, darker corners.

    ``partner`` is ``view`` brought onto ``like``; the factor, of second degree over the picture and 0.6
    to 1.6, is fitted to block means with weights that leave changed things out.
    """
    size = (32, 24)
    share = reduced(seen, size)
    inside = share > 0.95
    if int(inside.sum()) < 60:
        return view
    want = reduced(like, size)[inside]
    have = reduced(partner, size)[inside]
    base = _surfaces()[inside] * have[:, None]
    weight = np.ones(len(want), np.float32)
    shape: NDArray[np.floating] = np.zeros(6)
    for _ in range(5):
        rows = base * weight[:, None]
        shape = np.linalg.solve(rows.T @ rows + 1e-2 * np.eye(6), rows.T @ (want * weight))
        off = np.abs(base @ shape - want)
        usual = max(1.0, 1.48 * float(np.median(off)))
        weight = (1.0 / np.sqrt(1.0 + (off / (2 * usual)) ** 2)).astype(np.float32)
    factor = np.clip(_surfaces() @ shape, 0.6, 1.6).astype(np.float32)
    high, wide = view.shape
    everywhere = cv2.resize(factor, (wide, high), interpolation=cv2.INTER_LINEAR)
    return np.asarray(np.clip(view * everywhere, 0, 255), np.float32)


def applied(table: Table, view: Grey) -> Grey:
    """Bring the tones of a view to others, between whole codes too."""
    fine = np.interp(np.arange(255 * 16 + 1) / 16, np.arange(256), table).astype(np.float32)
    return np.asarray(np.take(fine, np.rint(view * 16).astype(np.int32), mode="clip"), np.float32)


def reduced(values: NDArray[np.generic], size: tuple[int, int]) -> NDArray[np.float32]:
    """Average by area to a width and height."""
    return np.asarray(cv2.resize(values.astype(np.float32, copy=False), size, interpolation=cv2.INTER_AREA))
