"""Make the copies that are shown and delivered; originals are never touched."""

from __future__ import annotations

import cv2
import numpy as np

from evidence import errors
from evidence.words import Rgb


def upright_jpeg(rgb: Rgb, quality: int = 88) -> bytes:
    """Encode upright pixels as a JPEG without any metadata.

    Parameters
    ----------
    rgb
        Shape (height, width, 3), uint8, sRGB.
    quality
        1..100.
    """
    done, coded = cv2.imencode(
        ".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, quality]
    )
    if not done:
        raise errors.BadPicture("the copy could not be encoded")
    return np.asarray(coded, np.uint8).tobytes()
