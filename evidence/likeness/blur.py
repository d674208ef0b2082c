"""Measure how much more blurred one of two aligned views is than the other, and smooth both alike.

So that a picture out of focus or shaken, the usual reason to take it again, does not count as changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.likeness.evening import Grey, Mask, reduced

_PRE_BLUR_PX = 0.7
"""Both views are smoothed by so much first: they were compressed."""

_WIDEST_PX = 9.6
"""No view is smoothed by more."""

_LEAST_BLUR_PX2 = 0.03
"""Below this variance smoothing would change nothing."""

_LOW, _HIGH = 0.012, 0.22
"""Frequencies in cycles a pixel between which the power of both views is compared, in rings and ways."""
_RINGS, _DIRECTIONS = 14, 8

_FIRST_REACH, _LEAST_REACH = 0.06, 0.05
"""Frequencies up to which it is compared at first, and at least."""

_TRUSTED = 1.6
"""Up to where one view's power lies so much (logarithm) below the other's: further on only noise is left."""

_COUNTED = 30
"""So many places of a spectrum tell as much as any more, things in a view being few."""

_OFF = 0.4
"""Rings further off (logarithm) count for less: something changed there.

All of these: our own, found on the made-up house; see docs/methods/likeness.md.
"""


@dataclass(frozen=True, slots=True)
class Blur:
    """By how much the second of two views is more blurred than the first, each way.

    Attributes
    ----------
    variances
        Along both axes in square pixels, float64, shape (2,); negative where the first is the blurred one.
    axes
        Unit columns (x, y): shape (2, 2), float64.
    """

    variances: NDArray[np.float64]
    axes: NDArray[np.float64]

    @property
    def first_px(self) -> float:
        """By how much the first has to be smoothed, at most of all ways; a deviation."""
        return _deviation(self.variances)

    @property
    def second_px(self) -> float:
        """By how much the second has to be smoothed, at most of all ways; a deviation."""
        return _deviation(-self.variances)


def between(one: Grey, two: Grey, seen: Mask) -> Blur:
    """Measure how much more blurred one of two views is, each way: out of focus, or shaken along a line.

    Notes
    -----
    A Gaussian of covariance C lets exp(-4 pi^2 f'Cf) of the power at frequency f through, so the logarithm
    of the ratio of both power spectra is linear in the difference of covariances. Where things lie does
    not matter to it, so parallax does not. Any small blur is near enough to a Gaussian at frequencies it
    lets through. Weights that leave changed things out: as in ``evening``.
    """
    high, wide = one.shape
    half = (max(1, wide // 2), max(1, high // 2))
    share = reduced(seen, half)
    faded = np.sqrt(np.outer(np.hanning(half[1]), np.hanning(half[0])))
    window = cv2.blur(share, (15, 15)) * (share == 1.0) * faded
    of_ring, counts, squares = _rings(half)
    powers = [_power(reduced(view, half), window, of_ring, counts) for view in (one, two)]
    told = np.log(powers[0] / powers[1])
    rows = np.column_stack([squares, np.ones(len(squares))])
    frequency = np.sqrt(squares[:, 0] + squares[:, 1])
    known = np.sqrt(np.minimum(counts, _COUNTED))
    reach, weight = 2 * np.pi * _FIRST_REACH, known
    for _ in range(4):
        weighted = (weight * (frequency <= reach))[:, None]
        xx, yy, xy, level = np.linalg.lstsq(rows * weighted, told * weighted[:, 0])[0]
        variances, axes = np.linalg.eigh([[xx, xy], [xy, yy]])
        most = max(1e-6, float(np.abs(variances).max()))
        reach = float(np.clip(np.sqrt(_TRUSTED / most), 2 * np.pi * _LEAST_REACH, 2 * np.pi * _HIGH))
        off = np.abs(rows @ [xx, yy, xy, level] - told)
        weight = known / np.sqrt(1.0 + (off / _OFF) ** 2)
    return Blur(variances, axes)


def _power(
    view: Grey, window: NDArray[np.floating], of_ring: NDArray[np.int64], counts: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Give the mean power in every ring and direction."""
    mean = float((view * window).sum() / max(1e-6, float(window.sum())))
    found = np.fft.rfft2((view - mean) * window)
    power = (found.real**2 + found.imag**2).ravel()
    return np.bincount(of_ring, power, len(counts) + 1)[:-1] / np.maximum(counts, 1) + 1e-3


@lru_cache(maxsize=8)
def _rings(size: tuple[int, int]) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Tell of a spectrum of a view at half the size which ring and direction each place belongs to.

    Returns
    -------
    That for every place; how many places each has; and of each 4 pi^2 times the means of fx^2, fy^2 and
    2 fx fy, in cycles a pixel of the whole size.
    """
    wide, high = size
    down, right = np.fft.fftfreq(high)[:, None] / 2, np.fft.rfftfreq(wide)[None, :] / 2
    apart = np.maximum(np.hypot(right, down), 1e-6)
    ring = np.floor(np.log(apart / _LOW) / np.log(_HIGH / _LOW) * _RINGS).astype(np.int64)
    turned = np.mod(np.arctan2(down, right) / np.pi + 0.5 / _DIRECTIONS, 1.0)
    way = np.minimum((turned * _DIRECTIONS).astype(np.int64), _DIRECTIONS - 1)
    count = _RINGS * _DIRECTIONS
    of_ring = np.where((ring >= 0) & (ring < _RINGS), ring * _DIRECTIONS + way, count).ravel()
    counts = np.bincount(of_ring, minlength=count + 1)[:-1]

    def mean(values: NDArray[np.float64]) -> NDArray[np.float64]:
        summed = np.bincount(of_ring, np.broadcast_to(values, apart.shape).ravel(), count + 1)[:-1]
        return summed / np.maximum(counts, 1)

    squares = 4 * np.pi**2 * np.column_stack([mean(right**2), mean(down**2), mean(2 * right * down)])
    return of_ring, counts, squares


def equally_sharp(one: Grey, two: Grey, blur: Blur) -> tuple[Grey, Grey]:
    """Smooth two views until both are equally blurred, in light: a lens blurs before codes are made.

    The square of a code stands for light (IEC 61966-2-1 is close to a power of 2.2), whatever factor a
    dark view was raised by.
    """
    smoothed = []
    for view, variances in ((one, blur.variances), (two, -blur.variances)):
        light = np.asarray(cv2.GaussianBlur(view * view, (0, 0), _PRE_BLUR_PX), np.float32)
        smooth = _smoothed(light, _wanted(variances), blur.axes)
        smoothed.append(np.asarray(cv2.sqrt(np.maximum(smooth, 0.0)), np.float32))
    return smoothed[0], smoothed[1]


def _wanted(variances: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give by what variances to smooth the view that has so much less blur; 0 where it has more."""
    return np.clip(variances, 0.0, _WIDEST_PX**2)


def _deviation(variances: NDArray[np.float64]) -> float:
    return float(np.sqrt(_wanted(variances).max()))


def _smoothed(view: Grey, variances: NDArray[np.float64], axes: NDArray[np.float64]) -> Grey:
    """Smooth by a Gaussian of these variances along these axes."""
    if variances.max() < _LEAST_BLUR_PX2:
        return view
    reach = int(np.ceil(3 * np.sqrt(variances.max())))
    places = np.arange(-reach, reach + 1)
    offsets = np.stack(np.meshgrid(places, places), axis=-1) @ axes
    spots = np.exp(-0.5 * (offsets**2 / np.maximum(variances, 0.05)).sum(axis=-1))
    kernel = (spots / spots.sum()).astype(np.float32)
    return np.asarray(cv2.filter2D(view, -1, kernel, borderType=cv2.BORDER_REFLECT), np.float32)
