"""Draw arrows, rings, boxes and covers on a copy, to be seen on dark and on light ground.

Every line is white with a black edge: told by lightness alone, so it survives a black-and-white
printer and any eye. Nothing here touches a file; originals are never drawn on.
"""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.words import Mark, Rgb, Shape

_LINE_SHARE = 1 / 160
"""Width of the white line as a share of the picture's diagonal; about 1.2 mm on a print 160 mm wide.
Our own, by eye."""
_BLACK = (0, 0, 0)
_WHITE = (255, 255, 255)
_FRACTION_BITS = 4
_Point = NDArray[np.float64]


def draw(srgb: Rgb, marks: Iterable[Mark]) -> Rgb:
    """Draw the marks on a copy of the picture.

    Parameters
    ----------
    srgb
        Shape (height, width, 3), uint8.
    marks
        Shapes in shares 0..1 of width and height; what reaches beyond the picture is cut off.
        Covers are laid first, so that no arrow is hidden.

    Returns
    -------
    A new array of the same shape, or the very same array when there are no marks.
    """
    ordered = sorted(marks, key=lambda mark: mark.shape is not Shape.COVER)
    if not ordered:
        return srgb
    canvas = np.ascontiguousarray(srgb).copy()
    height, width = canvas.shape[:2]
    line = max(2.0, float(np.hypot(width, height)) * _LINE_SHARE)
    for mark in ordered:
        start = np.array([mark.x0 * width, mark.y0 * height])
        end = np.array([mark.x1 * width, mark.y1 * height])
        if mark.shape is Shape.COVER:
            _cover(canvas, start, end)
            continue
        lines, head = _outline(mark.shape, start, end, line)
        for colour, thickness in ((_BLACK, line * 2.2), (_WHITE, line)):
            cv2.polylines(canvas, lines, head is None, colour, round(thickness), cv2.LINE_AA, _FRACTION_BITS)
            if head is not None:
                cv2.fillPoly(canvas, head, colour, cv2.LINE_AA, _FRACTION_BITS)
                edge = round(thickness - line)  # only the black pass makes the head larger
                if edge:
                    cv2.polylines(canvas, head, True, colour, edge, cv2.LINE_AA, _FRACTION_BITS)
    return canvas


def _cover(canvas: Rgb, start: _Point, end: _Point) -> None:
    """Blacken a box to the full: every pixel it touches, so nothing shows at its rim."""
    low = np.floor(np.minimum(start, end)).astype(int)
    high = np.ceil(np.maximum(start, end)).astype(int)
    canvas[max(low[1], 0) : max(high[1], 0), max(low[0], 0) : max(high[0], 0)] = 0


def _outline(
    shape: Shape, start: _Point, end: _Point, line: float
) -> tuple[list[NDArray[np.int32]], list[NDArray[np.int32]] | None]:
    """Give a ring's or box's closed line, or an arrow's open shaft and the triangle of its head."""
    if shape is Shape.RING:
        angles = np.linspace(0, 2 * np.pi, 120, endpoint=False)
        circle = np.column_stack([np.cos(angles), np.sin(angles)])
        return _fixed((start + end) / 2 + np.abs(end - start) / 2 * circle), None
    if shape is Shape.BOX:
        return _fixed(np.array([start, (end[0], start[1]), end, (start[0], end[1])])), None
    length = float(np.hypot(*(end - start)))
    along = (end - start) / length if length else np.array([0.0, 1.0])
    across = np.array([-along[1], along[0]])
    long = min(line * 6, max(length * 0.6, line * 2))
    base = end - along * long
    head = np.array([end, base + across * long * 0.45, base - across * long * 0.45])
    return _fixed(np.array([start, base + along * line / 2])), _fixed(head)


def _fixed(points: _Point) -> list[NDArray[np.int32]]:
    """Points in the fixed-point numbers that OpenCV draws sub-pixel positions with."""
    bounded = np.clip(points, -30000, 30000)  # a coordinate beyond would overflow OpenCV's 16.16 numbers
    return [np.round(bounded * (1 << _FRACTION_BITS)).astype(np.int32).reshape(-1, 1, 2)]
