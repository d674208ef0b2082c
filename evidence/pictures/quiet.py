"""Open pictures with Pillow without its warnings reaching anybody.

Pillow warns on stderr about files; we say what is wrong with a file once, in our own words.
"""

from __future__ import annotations

import io
import logging
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

from PIL import Image, UnidentifiedImageError

from evidence import errors

_LOCK = threading.RLock()
for _name in ("exifread", "PIL"):
    logging.getLogger(_name).addHandler(logging.NullHandler())


@contextmanager
def pillow() -> Iterator[None]:
    """Keep warnings away; one thread at a time, for Python's warning filters are global."""
    with _LOCK, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


def open_image(data: bytes) -> Image.Image:
    """Open a picture without decoding it.

    Raises
    ------
    BadPicture
        No decoder knows it.
    TooManyPixels
        It claims more pixels than Pillow's own bound allows.
    """
    if data[4:8] == b"ftyp" and data[8:12] not in {b"avif", b"avis"}:
        _register_heif()
    try:
        return Image.open(io.BytesIO(data))
    except Image.DecompressionBombError as bomb:
        raise errors.TooManyPixels(f"it claims too many pixels: {bomb}") from bomb
    except UnidentifiedImageError as unknown:
        raise errors.BadPicture("its content is not a picture that can be decoded") from unknown
    except Exception as odd:  # noqa: BLE001 - Pillow's openers raise a dozen types on bad files
        raise errors.BadPicture(f"its header is broken: {odd}") from odd


def _register_heif() -> None:
    try:
        import pi_heif  # noqa: PLC0415 - optional and heavy
    except ImportError as missing:
        raise errors.LibraryMissing("HEIC pictures need the library pi-heif") from missing
    pi_heif.register_heif_opener()
