"""Make two aligned views comparable: the same tones, the same fall of light, the same sharpness.

So that a longer exposure, a flash, a darker corner or a shaken hand does not count as something
that changed.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.float32]
"""Shape (height, width), codes 0..255."""

Mask = NDArray[np.bool_]

_BLURS_PX = (0.8, 1.2, 1.7, 2.4, 3.4, 4.8, 6.8, 9.6)
_PRE_BLUR_PX = 0.7
"""Both views are smoothed by so much first: they were compressed."""


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
    like: NDArray[np.uint8], view: NDArray[np.uint8], seen: Mask, rough: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Give the 256 values again, from pixels that correspond: the median partner of each tone.

    Made to rise by pooling (Ayer et al. 1955). ``rough`` comes back where there are too few pixels.
    """
    some, to_some = view[::2, ::2][seen[::2, ::2]], like[::2, ::2][seen[::2, ::2]]
    order = np.argsort(some, kind="stable")
    of, to = some[order], to_some[order]
    edges = np.searchsorted(of, np.arange(0, 257, 8))
    at: list[float] = []
    pools: list[tuple[float, int, int]] = []
    for low, high in pairwise(edges.tolist()):
        if high - low < 40:
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
    """Fill a table of 256 from known places, going on evenly beyond both ends."""
    codes = np.arange(256)
    table = np.interp(codes, of, to)
    low, high = codes < of[0], codes > of[-1]
    table[low] = to[0] + (codes[low] - of[0])
    table[high] = to[-1] + (codes[high] - of[-1])
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
    share = cv2.resize(seen.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    inside = share > 0.95
    if int(inside.sum()) < 60:
        return view
    want = cv2.resize(like, size, interpolation=cv2.INTER_AREA)[inside]
    have = cv2.resize(partner, size, interpolation=cv2.INTER_AREA)[inside]
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


def equally_sharp(one: Grey, two: Grey, seen: Mask) -> tuple[Grey, Grey]:
    """Blur the sharper of two views until both have the same strength of fine detail."""
    one, two = _blurred(one, _PRE_BLUR_PX), _blurred(two, _PRE_BLUR_PX)
    detail_one, detail_two = _detail(one, seen), _detail(two, seen)
    sharp, dull = (two, detail_one) if detail_one < detail_two else (one, detail_two)
    best = sharp
    for width in _BLURS_PX:
        tried = _blurred(sharp, width)
        if _detail(tried, seen) < 1.02 * dull:
            break
        best = tried
    return (one, best) if detail_one < detail_two else (best, two)


def _blurred(view: Grey, width: float) -> Grey:
    return np.asarray(cv2.GaussianBlur(view, (0, 0), width), np.float32)


def _detail(view: Grey, seen: Mask) -> float:
    across = view[:, 1:] - view[:, :-1]
    return float(np.mean(across[seen[:, 1:]] ** 2))
