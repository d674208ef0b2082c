"""Lay one picture's view over another's, so that points of the one are found in the other.

Hides the matching of keypoints and the robust fit; says where, how large and how turned the one
lies in the other. What then still differs is left to ``changes``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.likeness.prints import Likeness, plane_size

Points = NDArray[np.float64]
"""Shape (n, 2): x and y on a plane of :func:`~evidence.likeness.prints.plane_size`."""

Size = tuple[float, float]
"""Height and width of such a plane."""

MATCHES = 12
"""Fewer matched keypoints prove nothing; unlike scenes were seen to give up to 116 matches, mostly none."""

FAR_BITS = 64
"""Descriptors of 256 bits that differ in more are not the same spot (Rublee et al. 2011, figure 4)."""

NEAR_PX = 3.0
"""A match this close to the fitted plane lies on it."""

_LOOSE = 0.04
"""Error allowed in the first, similar fit, in half widths: parallax and lean are still in it."""

_TIGHTER = (0.05, 0.025, 0.0125, 0.008)
"""Scale of the robust weights in the fits that follow, in half widths."""

_SHEAR, _LEAN = 0.03, 0.05
"""How far a retake by hand leaves a similarity: stretch and shear, and perspective for each half width.

Four degrees of lean at a focal length of 0.9 widths give 0.04. Without this the plane of one small
thing decides the perspective of the whole picture.
"""


@dataclass(frozen=True, slots=True)
class Alignment:
    """How the second view lies on the first.

    Attributes
    ----------
    homography
        Shape (3, 3), from the first plane to the second.
    here, there
        Matched keypoints of the first and of the second view.
    error_px
        How far each match lies from the plane, in pixels of the second plane.
    overlap
        Share of the pictures that both show, 0..1: the smaller of the two shares.
    within
        The larger of the two shares: 1 where one picture lies wholly inside the other.
    scale
        How much larger things are in the second view, for its width.
    turn_deg
        How far it is turned, clockwise positive.
    spread
        Cells of an 8 x 6 grid over the closer view that hold a match on the plane.
    """

    homography: NDArray[np.float64]
    here: Points
    there: Points
    error_px: NDArray[np.float64]
    overlap: float
    within: float
    scale: float
    turn_deg: float
    spread: int

    def enlarged(self, by: float) -> NDArray[np.float64]:
        """Give the homography between views so many times as large as the planes."""
        larger = np.diag([by, by, 1.0])
        return np.asarray(larger @ self.homography @ np.linalg.inv(larger), np.float64)

    @property
    def on_plane(self) -> int:
        """How many matches lie on the fitted plane."""
        return int((self.error_px < NEAR_PX).sum())


def alignments(a: Likeness, b: Likeness) -> Iterator[Alignment]:
    """Give how ``b`` may lie on ``a``: by most of what agrees, then by most of what is left.

    Where a large thing was moved or turned over, more of what agrees may lie on that thing than on the
    room around it; then the second is how the pictures lie.

    Parameters
    ----------
    a, b
        The descriptions.

    Yields
    ------
    At most two; none where too little agrees.

    Notes
    -----
    Mutual nearest descriptors; a similarity by RANSAC (Fischler and Bolles 1981; OpenCV's has a fixed
    seed of its own); from there a homography by reweighted Gauss-Newton with Cauchy weights of falling
    scale (Holland and Welsch 1977), held near a similarity as far as the matches allow it. The second is
    found among the matches that the first does not even loosely explain (sequential RANSAC).
    """
    here, there = _matched(a, b)
    first, second = plane_size(a), plane_size(b)
    to_unit, from_unit = _unit(first), np.linalg.inv(_unit(second))
    p, q = _through(to_unit, here), _through(np.linalg.inv(from_unit), there)
    left = np.ones(len(here), np.bool_)
    for _ in range(2):
        fitted = _plane(p[left], q[left])
        if fitted is None:
            return
        homography = from_unit @ fitted @ to_unit
        if not np.isfinite(homography).all() or abs(homography[2, 2]) < 1e-9:
            return
        homography = homography / homography[2, 2]
        error = np.linalg.norm(_through(homography, here) - there, axis=1)
        overlap, within, turn = _placing(homography, first, second)
        scale = _scale(homography, here[error < NEAR_PX]) * first[1] / second[1]
        closer, size = (there, second) if scale > 1.0 else (here, first)
        spread = _cells(closer[error < NEAR_PX], size)
        yield Alignment(homography, here, there, error, overlap, within, scale, turn, spread)
        left &= np.linalg.norm(_through(fitted, p) - q, axis=1) > _LOOSE


def align(a: Likeness, b: Likeness) -> Alignment | None:
    """Find how ``b`` lies on ``a`` by most of what agrees, or None where too little does."""
    return next(alignments(a, b), None)


def _plane(p: Points, q: Points) -> NDArray[np.float64] | None:
    """Fit a homography to most of the matches, in half widths; None where too few agree."""
    if len(p) < MATCHES:
        return None
    similar, kept = cv2.estimateAffinePartial2D(
        p.astype(np.float32),
        q.astype(np.float32),
        method=cv2.RANSAC,
        ransacReprojThreshold=_LOOSE,
        maxIters=2000,
        confidence=0.999,
    )
    if similar is None or int(kept.sum()) < MATCHES - 4:
        return None
    return _fitted(p, q, np.vstack([similar, [0.0, 0.0, 1.0]]))


def _scale(homography: NDArray[np.float64], points: Points) -> float:
    """Tell how much larger things come out where most of the points lie; 1 without points."""
    if len(points) == 0:
        return 1.0
    x, y = np.median(points, axis=0)
    below = homography[2] @ (x, y, 1.0)
    # The determinant of the map's derivative is that of the matrix over the third power of its divisor.
    return float(np.sqrt(abs(np.linalg.det(homography) / below**3)))


def _cells(points: Points, size: Size) -> int:
    return len({(int(8 * x / size[1]), int(6 * y / size[0])) for x, y in points})


def _matched(a: Likeness, b: Likeness) -> tuple[Points, Points]:
    """Pair keypoints that are each other's nearest."""
    none = np.zeros((0, 2))
    if min(len(a.marks), len(b.marks)) < MATCHES:
        return none, none
    bits, nearest = cv2.batchDistance(
        a.marks, b.marks, cv2.CV_32S, normType=cv2.NORM_HAMMING, K=1, crosscheck=True
    )
    left = np.nonzero((nearest[:, 0] >= 0) & (bits[:, 0] <= FAR_BITS))[0]
    return a.points[left].astype(np.float64), b.points[nearest[left, 0]].astype(np.float64)


def _unit(size: Size) -> NDArray[np.float64]:
    """Give the map from pixels to half widths about the middle, in which all fits are made."""
    half = size[1] / 2
    return np.array([[1 / half, 0, -1], [0, 1 / half, -size[0] / (2 * half)], [0, 0, 1.0]])


def _through(homography: NDArray[np.float64], points: Points) -> Points:
    moved = points @ homography[:, :2].T + homography[:, 2]
    return np.asarray(moved[:, :2] / moved[:, 2:], np.float64)


def _fitted(p: Points, q: Points, start: NDArray[np.float64]) -> NDArray[np.float64]:
    """Bring a homography to fit most matches closely, from a similarity that fits them roughly."""
    h = start.ravel()[:8].copy()
    held = np.zeros((4, 8))
    held[0, [0, 4]] = (1 / _SHEAR, -1 / _SHEAR)
    held[1, [1, 3]] = 1 / _SHEAR
    held[2, 6] = held[3, 7] = 1 / _LEAN
    one, none = np.ones(len(p)), np.zeros((len(p), 3))
    for scale in _TIGHTER:
        for _ in range(3):
            below = p @ h[6:8] + 1.0
            x, y = (p @ h[0:2] + h[2]) / below, (p @ h[3:5] + h[5]) / below
            off_x, off_y = q[:, 0] - x, q[:, 1] - y
            weight = 1.0 / (1.0 + (off_x**2 + off_y**2) / scale**2)
            flat = np.column_stack([p, one])
            by_x = np.hstack([flat, none, -x[:, None] * p]) / below[:, None]
            by_y = np.hstack([none, flat, -y[:, None] * p]) / below[:, None]
            trust = (0.5 * scale) ** 2
            normal = (by_x.T * weight) @ by_x + (by_y.T * weight) @ by_y + trust * held.T @ held
            slope = by_x.T @ (weight * off_x) + by_y.T @ (weight * off_y) - trust * held.T @ (held @ h)
            h = h + np.linalg.solve(normal + 1e-9 * np.eye(8), slope)
    return np.append(h, 1.0).reshape(3, 3)


def _placing(homography: NDArray[np.float64], first: Size, second: Size) -> tuple[float, float, float]:
    """Give the smaller and the larger share that both show, 0..1, and the turn in degrees."""
    high, wide = first
    corners = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float64)
    moved = _through(homography, corners).astype(np.float32)
    if not np.isfinite(moved).all() or not cv2.isContourConvex(moved):
        return 0.0, 0.0, 0.0
    area, whole = cv2.contourArea(moved), float(second[0] * second[1])
    if area <= 0.0:
        return 0.0, 0.0, 0.0
    frame = np.array([[0, 0], [second[1], 0], [second[1], second[0]], [0, second[0]]], np.float32)
    shared, _ = cv2.intersectConvexConvex(moved, frame)
    side = moved[1] - moved[0]
    turn = float(np.degrees(np.arctan2(side[1], side[0])))
    return float(shared / max(area, whole)), float(shared / min(area, whole)), turn
