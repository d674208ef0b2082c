"""Find the metadata in a still picture's file: its TIFF blocks, whatever the file around them.

Hides where each file kind keeps its Exif, and which of its sizes is the picture's.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from evidence.errors import BadPicture
from evidence.pictures import boxes, raws, segments

if TYPE_CHECKING:
    from collections.abc import Callable

_LARGEST_CHUNK: Final = 4_000_000
_MOST_CHUNKS: Final = 10_000
_CUT_OFF_BYTES: Final = 1_000_000
"""Of a JPEG cut off before its picture, this much is looked through for metadata."""
_CANON: Final = (b"CMT1", b"CMT2", b"CMT4")
"""Boxes that hold the main, the Exif and the GPS directory of a CR3 (from memory; no standard)."""


@dataclass(frozen=True, slots=True)
class Found:
    """What holds the metadata of one file.

    Attributes
    ----------
    blocks
        TIFF blocks; more than one only where a maker splits them (CR3).
    position
        A TIFF block whose main directory is the GPS directory (CR3), or b"".
    width, height
        Pixels as stored; 0 when not said outside the blocks.
    remarks
        What was odd.
    """

    blocks: tuple[bytes, ...] = ()
    position: bytes = b""
    width: int = 0
    height: int = 0
    remarks: tuple[str, ...] = ()


def find(data: bytes) -> Found:
    """Find the TIFF blocks and the size of a still picture, without decoding it."""
    for head, finder in _FINDERS:
        if data[:16].startswith(head):
            return finder(data)
    return _in_boxes(data) if data[4:8] == b"ftyp" else Found()


def raw_block(data: bytes) -> bytes:
    """Give the main TIFF block of a raw file; b"" where only the preview has one (RAF)."""
    if data[4:8] == b"ftyp":
        return _canon(data)[0]
    return _tiff(data) if data[:2] in {b"II", b"MM"} else b""


def _in_jpeg(data: bytes) -> Found:
    try:
        stream = segments.walk(data)
    except BadPicture as bad:
        parts = tuple(segments.each(data[:_CUT_OFF_BYTES]))
        block = segments.exif_block(data, parts)
        return Found((block,) if block else (), remarks=(str(bad),))
    return _one(segments.exif_block(data, stream.segments), stream.width, stream.height)


def _in_tiff(data: bytes) -> Found:
    return _with_preview(data, _tiff(data)) if raws.is_raw(data) else Found((data,))


def _tiff(data: bytes) -> bytes:
    """Take the file itself as the block; makers' own marks are set to TIFF's, for the readers' sake."""
    if data[2:4] in {b"*\0", b"\0*", b"+\0", b"\0+"}:
        return data
    return data[:2] + (b"*\0" if data[:2] == b"II" else b"\0*") + data[4:]


def _in_raf(data: bytes) -> Found:
    """Take the Exif of the preview, which is all the readable Exif a RAF has."""
    start = int.from_bytes(data[84:88], "big")
    return _in_jpeg(data[start : start + int.from_bytes(data[88:92], "big")])


def _in_png(data: bytes) -> Found:
    """Read IHDR and eXIf (PNG 3rd edition, 11.3.4.4)."""
    width = height = 0
    block, at = b"", 8
    for _ in range(_MOST_CHUNKS):
        length, kind = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        if len(kind) < 4 or length > len(data):
            break
        text = data[at + 8 : at + 8 + min(length, _LARGEST_CHUNK)]
        if kind == b"IHDR":
            width, height = int.from_bytes(text[:4], "big"), int.from_bytes(text[4:8], "big")
        elif kind == b"eXIf":
            block = text
        at += 12 + length
    return _one(block, width, height)


def _in_webp(data: bytes) -> Found:
    """Read WebP's EXIF chunk (RFC 9649, 2.7.1.5), which some writers begin with the JPEG's mark."""
    width = height = 0
    block, at = b"", 12
    for _ in range(_MOST_CHUNKS):
        kind, length = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "little")
        if len(kind) < 4 or length > len(data):
            break
        text = data[at + 8 : at + 8 + min(length, _LARGEST_CHUNK)]
        if kind == b"VP8X":
            width, height = (1 + int.from_bytes(text[n : n + 3], "little") for n in (4, 7))
        elif kind == b"VP8 " and text[3:6] == b"\x9d\x01\x2a":
            width, height = (int.from_bytes(text[n : n + 2], "little") & 0x3FFF for n in (6, 8))
        elif kind == b"VP8L" and text[:1] == b"\x2f":
            bits = int.from_bytes(text[1:5], "little")
            width, height = 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
        elif kind == b"EXIF":
            block = text.removeprefix(b"Exif\0\0")
        at += 8 + length + length % 2
    return _one(block, width, height)


def _in_boxes(data: bytes) -> Found:
    """Read HEIF and AVIF items, and the blocks of a CR3."""
    if data[8:12] == b"crx ":
        return _with_preview(data, *_canon(data))
    found = boxes.heif(io.BytesIO(data))
    return _one(found.exif, found.width, found.height)


def _canon(data: bytes) -> tuple[bytes, ...]:
    """Give the main, the Exif and the GPS block of a CR3, b"" for each that is missing."""
    file = io.BytesIO(data)
    moov = boxes.find(file, boxes.whole(file), b"moov")
    blocks: dict[bytes, bytes] = {}
    for outer in boxes.boxes(file, moov.body, moov.end) if moov else ():
        if outer.type == b"uuid":
            inner = list(boxes.boxes(file, outer.body + 16, outer.end))
            blocks |= {box.type: boxes.body(file, box) for box in inner if box.type in _CANON}
    return tuple(blocks.get(name, b"") for name in _CANON)


def _with_preview(data: bytes, main: bytes, deeper: bytes = b"", position: bytes = b"") -> Found:
    """Add the size of the preview, which is the picture that is shown."""
    blocks = tuple(block for block in (main, deeper) if block)
    found = raws.largest_preview(data)
    if found is None:
        return Found(blocks, position, remarks=("The raw file holds no preview.",))
    return Found(blocks, position, found.width, found.height)


def _one(block: bytes, width: int, height: int) -> Found:
    return Found((block,) if block else (), width=width, height=height)


_FINDERS: Final[tuple[tuple[bytes, Callable[[bytes], Found]], ...]] = (
    (b"\xff\xd8", _in_jpeg),
    (b"FUJIFILM", _in_raf),
    (b"\x89PNG", _in_png),
    (b"RIFF", _in_webp),
    *(
        (head, _in_tiff)
        for head in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+", b"IIU\0", b"IIRO", b"IIRS", b"MMOR")
    ),
)
