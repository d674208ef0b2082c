"""Make the copies that are shown and printed; originals are never touched.

Hides encoding and where copies are kept until somebody empties that folder.
"""

from __future__ import annotations

import os
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np

from evidence import files
from evidence.errors import BadPicture, CannotWrite
from evidence.pictures import delivery, pixels

if TYPE_CHECKING:
    from collections.abc import Callable

    from evidence.words import Capture, Digest, Rgb

_LONGEST_SIDE: Final = 65_500
"""libjpeg's bound (JPEG_MAX_DIMENSION); the format itself ends at 65,535."""


def upright_jpeg(rgb: Rgb, quality: int = 88) -> bytes:
    """Encode upright pixels as a JPEG without any metadata.

    Parameters
    ----------
    rgb
        Shape (height, width, 3), uint8, sRGB.
    quality
        1..100, as libjpeg counts it.

    Raises
    ------
    BadPicture
        A side is longer than a JPEG may be.
    """
    if max(rgb.shape[:2]) > _LONGEST_SIDE:
        raise BadPicture(f"A side of {max(rgb.shape[:2])} pixels is longer than a JPEG may have.")
    bgr = cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR)
    _, coded = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.asarray(coded, np.uint8).tobytes()


SMALL_PX: Final = 320
"""Longest side of the copy that stands for a picture in a line of them."""
SMALL_VERSION: Final = 1
"""Rises with every change that alters a byte of :func:`small_jpeg` from the same pixels."""


def small_jpeg(rgb: Rgb) -> bytes:
    """Make the small copy of a picture.

    Parameters
    ----------
    rgb
        As taken: the smaller of :func:`evidence.pictures.study_sizes`, so that the copy made in the study
        and the one made when it is wanted are the same, byte for byte.
    """
    return upright_jpeg(pixels.shrink(rgb, SMALL_PX), 80)


def print_jpeg(
    rgb: Rgb,
    longest_px: int,
    quality: int = 88,
    *,
    capture: Capture | None = None,
    caption: delivery.Caption | None = None,
) -> bytes:
    """Encode a corrected, marked or otherwise new copy for print, with what may be said of it.

    Parameters
    ----------
    rgb
        Shape (height, width, 3), uint8, sRGB, upright.
    longest_px
        Longest side of the copy; a smaller picture is not enlarged.
    quality
        1..100, as libjpeg counts it.
    capture, caption
        As for :func:`evidence.pictures.delivered_jpeg`; the copy is upright whatever the
        original's orientation.

    Raises
    ------
    BadPicture
        A side is longer than a JPEG may be.
    """
    coded = upright_jpeg(pixels.shrink(rgb, longest_px), quality)
    return delivery.delivered_jpeg(coded, capture, caption, upright=True)


def kept_copy(
    folder: Path, digest: Digest, name: str, make: Callable[[], bytes], *, spare: Path | None = None
) -> Path:
    """Give the path of a copy made once of an original's content, making it if it is not there.

    Parameters
    ----------
    folder
        The job's ``copies``; anything in it may vanish at any time.
    digest
        The original's.
    name
        Which copy, such as "256"; letters, digits and hyphens. It must change when the copy would.
    make
        Gives the JPEG.
    spare
        A folder to keep it in where the first cannot be written, as that of an archive.

    Raises
    ------
    CannotWrite, DiskFull
        The copy could not be written; nothing half-written is left.

    Notes
    -----
    Written beside and renamed, not synced: after a pulled plug the copy is whole, missing, or so
    visibly broken that it is made again.
    """
    within = Path(digest[:2], f"{digest}-{name}.jpg")
    for kept in (folder, spare):
        if kept and _whole(kept / within):
            return kept / within
    data = make()
    try:
        return _written(folder / within, data)
    except CannotWrite:
        if spare is None:
            raise
        return _written(spare / within, data)


def _written(path: Path, data: bytes) -> Path:
    beside = path.with_name(f".{path.stem}.{os.getpid()}-{threading.get_ident()}.part")
    with files.writing(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            beside.write_bytes(data)
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)
    return path


def _whole(path: Path) -> bool:
    """Tell whether a file is there that begins and ends as a JPEG does."""
    try:
        with path.open("rb") as file:
            begins = file.read(2) == b"\xff\xd8"
            file.seek(-2, os.SEEK_END)
            return begins and file.read() == b"\xff\xd9"
    except OSError:
        return False
