"""What must be known of a JPEG to lay it into a document without decoding it."""

from __future__ import annotations

from dataclasses import dataclass

from evidence.errors import BadPicture
from evidence.pictures import segments

_FRAMES = frozenset({*segments.BASELINE, segments.PROGRESSIVE})
"""Baseline, extended and progressive Huffman; the kinds PDF 1.7 (ISO 32000-1, 7.4.8) can show."""
_DROPPED = frozenset({segments.COM, segments.APP15, *range(segments.APP1, segments.APP14)})
"""Comments and application segments but JFIF (APP0) and Adobe's colour transform (APP14)."""


@dataclass(frozen=True, slots=True)
class Jpeg:
    """A JPEG without metadata, ready to be embedded.

    Attributes
    ----------
    data
        The bytes; the scan is as it came.
    width, height
        Pixels.
    channels
        1 grey, 3 colour.
    """

    data: bytes
    width: int
    height: int
    channels: int


def bare(data: bytes) -> Jpeg:
    """Drop all metadata from a JPEG and whatever follows its picture; read its size and channels.

    Position, serial number and maker's notes live in application segments (Exif: APP1), so no
    delivered file can carry them whatever the printer left in.

    Raises
    ------
    BadPicture
        It is no JPEG that a PDF can show: not 8 bits, not grey or three channels, or broken.
    """
    stream = segments.walk(data)
    if stream.frame not in _FRAMES or stream.precision != 8 or stream.components not in (1, 3):
        raise BadPicture("A printed copy is neither grey nor of three channels at 8 bits.")
    kept = [data[part.start : part.end] for part in stream.segments if part.marker not in _DROPPED]
    bare_data = b"".join((data[:2], *kept, b"\xff\xd9"))
    return Jpeg(bare_data, stream.width, stream.height, stream.components)
