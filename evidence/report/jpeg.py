"""What must be known of a JPEG to lay it into a document without decoding it."""

from __future__ import annotations

from dataclasses import dataclass

from evidence.errors import BadPicture

_STANDALONE = frozenset({0x01, *range(0xD0, 0xD8)})
_FRAMES = frozenset({0xC0, 0xC1, 0xC2})
"""Baseline, extended and progressive Huffman; the kinds PDF 1.7 (ISO 32000-1, 7.4.8) can show."""
_DROPPED = frozenset({0xFE, *range(0xE1, 0xEE), 0xEF})
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
    """Drop all metadata from a JPEG, and read its size and channels.

    Position, serial number and maker's notes live in application segments (Exif: APP1), so no
    delivered file can carry them whatever the printer left in.

    Raises
    ------
    BadPicture
        It is no JPEG that a PDF can show: not 8 bits, not grey or three channels, or broken.

    Notes
    -----
    Segments as in ITU-T T.81 (ISO/IEC 10918-1), annex B.
    """
    if data[:2] != b"\xff\xd8":
        raise BadPicture("a printed copy is not a JPEG")
    kept = [data[:2]]
    size: tuple[int, int, int] | None = None
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xFF or marker in _STANDALONE:
            at += 1 if marker == 0xFF else 2
            continue
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        segment = data[at : at + 2 + length]
        if marker in _FRAMES and len(segment) >= 10 and segment[4] == 8:
            size = (
                int.from_bytes(segment[7:9], "big"),
                int.from_bytes(segment[5:7], "big"),
                segment[9],
            )
        if marker == 0xDA:
            kept.append(data[at:])
            break
        if marker not in _DROPPED:
            kept.append(segment)
        at += 2 + length
    else:
        raise BadPicture("a printed copy ends before its picture begins")
    if size is None or size[2] not in (1, 3) or 0 in size:
        raise BadPicture("a printed copy is neither grey nor of three channels at 8 bits")
    return Jpeg(b"".join(kept), *size)
