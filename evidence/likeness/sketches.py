"""Sketch a kept view by how strongly and which way its edges run, to pass over what cannot be the same view.

A near hash is chance more often than not once there are thousands of pictures. Matching keypoints would
tell, at some two milliseconds a pair; two sketches are told apart by one product of short vectors.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.likeness.prints import Likeness

Sketches = NDArray[np.float32]
"""Shape (n, 192), each row of length 1, or 0 where a view has no edge."""

NEAR = 0.5
"""Sketches whose product is less are of two views: our own, set on the tuning set of
tests/bench/bench_likeness.py, of whose retakes with a near hash 2 in 1,000 fall below."""

_SIDE = 8
_DRAWN_LONG = 64
"""Longer side, in pixels, that a view is sketched at."""
_AT_ONCE = 65_536


def sketches(likenesses: Sequence[Likeness]) -> Sketches:
    """Sketch each view.

    Notes
    -----
    Strength and doubled angle of the edges (so that light against dark and dark against light are one), in
    8 x 8 places that fade into each other; after the orientation histograms of Freeman and Roth (1995).
    """
    made = [_sketch(likeness) for likeness in likenesses]
    return np.array(made, np.float32).reshape(len(made), 3 * _SIDE * _SIDE)


def near(made: Sketches, first: NDArray[np.intp], second: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Tell of each pair of rows whether they may be of one view."""
    told = np.zeros(len(first), np.bool_)
    for start in range(0, len(first), _AT_ONCE):  # 100 MB at once
        part = slice(start, start + _AT_ONCE)
        told[part] = np.einsum("ij,ij->i", made[first[part]], made[second[part]]) >= NEAR
    return told


def _sketch(likeness: Likeness) -> NDArray[np.float32]:
    coded = np.frombuffer(likeness.view, np.uint8)
    # An eighth comes out of the decoder almost for nothing.
    view = np.asarray(cv2.imdecode(coded, cv2.IMREAD_REDUCED_GRAYSCALE_8), np.float32)
    share = _DRAWN_LONG / max(view.shape)
    if share < 1.0 <= min(view.shape) * share:  # a view of a line or two is as small as it can be
        view = np.asarray(
            cv2.resize(view, None, fx=share, fy=share, interpolation=cv2.INTER_AREA), np.float32
        )
    smooth = cv2.GaussianBlur(view, (0, 0), 1.0)
    x, y = cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    strength = np.hypot(x, y) + np.float32(1e-3)
    planes = [
        cv2.GaussianBlur(cv2.resize(plane, (_SIDE, _SIDE), interpolation=cv2.INTER_AREA), (0, 0), 0.5)
        for plane in (strength, (x * x - y * y) / strength, 2 * x * y / strength)
    ]
    planes[0] = planes[0] - planes[0].mean()
    drawn = np.concatenate([plane.ravel() for plane in planes])
    length = float(np.linalg.norm(drawn))
    return np.asarray(drawn / length if length > 1e-2 else np.zeros_like(drawn), np.float32)
