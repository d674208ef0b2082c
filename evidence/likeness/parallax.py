"""Tell whether one step of the camera explains how things shifted between two pictures of a view.

After the main plane is laid in place, what stands before or behind it may still shift, but only along
lines through one point, and not one thing alone by far the most; anything else has been moved.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.likeness.evening import Grey, Mask, reduced

Flow = NDArray[np.float32]
"""Shape (height, width, 2): how far each pixel's partner lies aside, x and y in pixels."""

MOST_PX = 10.0
"""With more parallax than 2 % of the width hidden strips and moved things are no longer told apart (our own,
set on the tuning set: of its retakes 8 in 100 have more)."""

ALONE = 3.0
"""A thing that shifts so many times as far as three quarters of the rest was moved (our own)."""

ASIDE_PX = 3.5
"""A shift so far off the common line is not the camera's (our own; lens distortion and the flow's own
error stayed below 1.5 on rendered retakes)."""

_SURE = 0.15
_RIM = 4


@dataclass(frozen=True, slots=True)
class Motion:
    """Shifts that can be trusted, at a quarter of the view's size.

    Attributes
    ----------
    places
        Shape (n, 2), pixels of the first view.
    shifts
        Shape (n, 2), pixels.
    """

    places: NDArray[np.float64]
    shifts: NDArray[np.float64]

    @classmethod
    def measured(cls, there: Flow, back: Flow, sure: Grey, agreed: Mask) -> Motion:
        """Keep the shifts that have texture (:func:`sureness`), agree both ways and join equal pixels."""
        size = (agreed.shape[1] // 4, agreed.shape[0] // 4)
        x, y = np.meshgrid(np.arange(size[0], dtype=np.float32), np.arange(size[1], dtype=np.float32))
        away, home = reduced(there, size), reduced(back, size)
        returned = cv2.remap(home, np.dstack([x, y]) + away / 4, None, cv2.INTER_LINEAR)  # type: ignore[call-overload]
        left = np.abs(away + returned)
        trusted = reduced(agreed, size) > 0.7
        trusted &= (left[..., 0] < 1.0) & (left[..., 1] < 1.0) & (sure > _SURE)
        trusted[:_RIM], trusted[-_RIM:], trusted[:, :_RIM], trusted[:, -_RIM:] = False, False, False, False
        rows, columns = np.nonzero(trusted)
        shifts = away[rows, columns]
        places = np.column_stack([columns, rows]) * 4.0 + 2.0
        return cls(places.astype(np.float64), shifts.astype(np.float64))

    @property
    def sizes_px(self) -> NDArray[np.float64]:
        """How far each place shifted."""
        return np.asarray(np.hypot(self.shifts[:, 0], self.shifts[:, 1]), np.float64)

    @property
    def largest_px(self) -> float:
        """The largest shift that more than a speck of places share; 0 when nothing is known."""
        return _largest(self.sizes_px)


def sureness(grey: Grey) -> NDArray[np.float32]:
    """Tell at a quarter of the size how surely a motion can be found there, 0..1.

    From the smaller eigenvalue of the structure tensor (Shi and Tomasi, CVPR 1994).
    """
    size = (grey.shape[1] // 4, grey.shape[0] // 4)
    half = cv2.resize(grey, (grey.shape[1] // 2, grey.shape[0] // 2), interpolation=cv2.INTER_AREA)
    x, y = cv2.Sobel(half, cv2.CV_32F, 1, 0), cv2.Sobel(half, cv2.CV_32F, 0, 1)
    xx, yy, xy = (
        cv2.GaussianBlur(cv2.resize(part, size, interpolation=cv2.INTER_AREA), (0, 0), 1.5)
        for part in (x * x, y * y, x * y)
    )
    smaller = np.maximum((xx + yy) / 2 - np.sqrt(((xx - yy) / 2) ** 2 + xy * xy), 0.0)
    return np.asarray(smaller / (smaller + 400.0) + 1e-4, np.float32)


def strained(motion: Motion, by: float) -> list[tuple[int, int, int, int]]:
    """Give the boxes, in pixels of the first view, that no step of the camera explains; often none.

    Parameters
    ----------
    by
        How many times larger the view is than one whose longer side is 512, for which the bounds stand.

    Notes
    -----
    Plane and parallax: after one plane is aligned the rest moves along lines through the epipole (Irani and
    Anandan, "Parallax geometry of pairs of points for 3D scene analysis", ECCV 1996). The bound on a thing
    that moves alone is our own: along its own line a moved thing looks like a nearer one.
    """
    sizes = motion.sizes_px / by
    largest = _largest(sizes)
    if len(sizes) < 20 or largest <= 1.5:
        return []
    usual = float(np.percentile(sizes, 75)) + 0.5
    if largest > MOST_PX or (largest > 5.0 and largest > ALONE * usual):
        return [_around(motion.places[sizes >= 0.75 * largest])]
    aside = off_the_lines(motion) / by
    if _largest(aside) > ASIDE_PX:
        return [_around(motion.places[aside > ASIDE_PX])]
    return []


def _largest(values: NDArray[np.float64]) -> float:
    """Give a high value that at least eight places, or one in a hundred, reach."""
    count = max(8, len(values) // 100)
    return float(np.sort(values)[-count]) if len(values) >= 20 else 0.0


def _around(places: NDArray[np.float64]) -> tuple[int, int, int, int]:
    low, high = places.min(axis=0), places.max(axis=0)
    return int(low[0]) - 4, int(low[1]) - 4, int(high[0]) + 4, int(high[1]) + 4


def off_the_lines(motion: Motion) -> NDArray[np.float64]:
    """Tell in pixels how far each shift points aside of the line to the point that suits most shifts best."""
    sizes = motion.sizes_px
    clear = np.nonzero(sizes > 1.0)[0]
    if len(sizes) < 30 or len(clear) < 8:
        return np.zeros(len(sizes))
    some = clear[np.linspace(0, len(clear) - 1, min(len(clear), 300)).astype(int)]
    places, shifts = motion.places[some], motion.shifts[some]
    points = _meeting(places, shifts)
    scores = [float(np.minimum(_aside(places, shifts, point), 2.0).sum()) for point in points]
    return _aside(motion.places, motion.shifts, points[int(np.argmin(scores))])


def _meeting(places: NDArray[np.float64], shifts: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give points where lines may meet: 36 directions far away, and where 150 pairs of lines cross."""
    turns = np.arange(36) * np.pi / 36
    far = np.column_stack([np.cos(turns), np.sin(turns), np.zeros(36)])
    one = np.arange(150) * 7 % len(places)
    two = (np.arange(150) * 11 + len(places) // 2) % len(places)
    ones = np.ones(len(places))
    lines = np.cross(np.column_stack([places, ones]), np.column_stack([places + shifts, ones]))
    near = np.cross(lines[one], lines[two])
    length = np.linalg.norm(near, axis=1, keepdims=True)
    return np.vstack([far, (near / np.maximum(length, 1e-12))[length[:, 0] > 1e-9]])


def _aside(
    places: NDArray[np.float64], shifts: NDArray[np.float64], point: NDArray[np.float64]
) -> NDArray[np.float64]:
    toward = point[:2] - places * point[2]
    toward = toward / (np.linalg.norm(toward, axis=1, keepdims=True) + 1e-12)
    return np.asarray(np.abs(shifts[:, 0] * toward[:, 1] - shifts[:, 1] * toward[:, 0]), np.float64)
