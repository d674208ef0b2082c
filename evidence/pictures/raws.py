"""Know a raw file by its content, and find the preview the camera put inside it.

The sensor's values are not developed here (:mod:`evidence.pictures.dng`): a raw file is kept whole,
and its preview is what is shown. Hides that each maker keeps the preview elsewhere: any place that
holds a whole JPEG will do.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from evidence.errors import BadPicture
from evidence.pictures import segments

_HEADS: Final = (b"IIU\0", b"IIRO", b"IIRS", b"MMOR", b"FUJI", b"FOVb", b"II\x1a\0")
_MOSAIC: Final = re.compile(
    rb"\x06\x01\x03\x00\x01\x00\x00\x00(?:\x23\x80|\x4c\x88)\x00\x00"
    rb"|\x01\x06\x00\x03\x00\x00\x00\x01(?:\x80\x23|\x88\x4c)\x00\x00"
)
"""A TIFF entry PhotometricInterpretation = CFA (32803) or LinearRaw (34892), in both byte orders
(TIFF/EP, ISO 12234-2, and the DNG specification)."""
_MOST_CANDIDATES: Final = 200
_SHOWN: Final = segments.BASELINE | {segments.PROGRESSIVE}


@dataclass(frozen=True, slots=True)
class Preview:
    """An embedded JPEG: ``data[start:end]``, and its size in pixels."""

    start: int
    end: int
    width: int
    height: int


def is_raw(data: bytes) -> bool:
    """Tell by content whether this is a raw file.

    Examples
    --------
    >>> is_raw(b"FUJIFILMCCD-RAW 0201"), is_raw(bytes.fromhex("ffd8ffe1"))
    (True, False)
    """
    if data[:4] in _HEADS or data[4:12] == b"ftypcrx ":
        return True
    return data[:4] in {b"II*\0", b"MM\0*"} and (data[8:10] == b"CR" or bool(_MOSAIC.search(data)))


def largest_preview(data: bytes) -> Preview | None:
    """Find the whole embedded JPEG with the most pixels, None when there is none."""
    best = None
    at = 0
    for _ in range(_MOST_CANDIDATES):
        at = data.find(b"\xff\xd8\xff", at)
        if at < 0:
            break
        found = _at(data, at)
        if found and (best is None or found.width * found.height > best.width * best.height):
            best = found
        at = found.end if found else at + 3
    return best


def _at(data: bytes, start: int) -> Preview | None:
    """Give the preview that begins here, None when this is no whole JPEG of 8 bits."""
    try:
        stream = segments.walk(data, start)
    except BadPicture:
        return None
    if stream.end is None or stream.frame not in _SHOWN or stream.precision != 8:
        return None
    return Preview(start, stream.end, stream.width, stream.height)
