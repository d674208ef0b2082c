"""Make a picture smaller before it is judged, where which pixels are averaged decides how long that takes."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Codes = NDArray[np.uint8]


def by_parts(picture: Codes, part: int) -> Codes:
    """Average squares of ``part`` pixels a side; what fills none at the right and below is left off.

    Parameters
    ----------
    picture
        Shape (height, width) or (height, width, channels), uint8.
    part
        1 or more; a picture with a side shorter than that is averaged over that side.

    Examples
    --------
    >>> by_parts(np.array([[1, 3, 9], [5, 7, 9]], np.uint8), 2)
    array([[4]], dtype=uint8)
    """
    height, width = picture.shape[:2]
    rows, columns = max(1, height // part), max(1, width // part)
    cut = picture[: rows * part, : columns * part]
    return np.asarray(cv2.resize(cut, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)


def to_length(grey: Codes, longest: int) -> Codes:
    """Bring a grey picture's longer side down to ``longest`` pixels; a smaller one is given back as it is.

    Parameters
    ----------
    grey
        Shape (height, width), uint8.
    longest
        1 or more.

    Notes
    -----
    To more than half of the size by linear interpolation, which leaves no pixel out there and takes a
    sixth of the time of averaging by area; to less by area.

    Examples
    --------
    >>> to_length(np.zeros((30, 40), np.uint8), 32).shape
    (24, 32)
    """
    height, width = grey.shape
    share = longest / max(height, width)
    if share >= 1:
        return grey
    size = (max(1, round(width * share)), max(1, round(height * share)))
    way = cv2.INTER_LINEAR if share > 0.5 else cv2.INTER_AREA
    return np.asarray(cv2.resize(grey, size, interpolation=way), np.uint8)
