"""Find the metadata in a still picture's file: its TIFF blocks, whatever the file around them.

Hides where each file kind keeps its Exif, and which of its sizes is the picture's.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from evidence.errors import BadPicture
from evidence.pictures import boxes, raws, segments

if TYPE_CHECKING:
    from collections.abc import Callable

_LARGEST_CHUNK: Final = 4_000_000
_MOST_CHUNKS: Final = 10_000


@dataclass(frozen=True, slots=True)
class Found:
    """What holds the metadata of one file.

    Attributes
    ----------
    blocks
        TIFF blocks; more than one only where a maker splits them (CR3).
    width, height
        Pixels as stored; 0 when not said outside the blocks.
    remarks
        What was odd.
    """

    blocks: tuple[bytes, ...] = ()
    width: int = 0
    height: int = 0
    remarks: tuple[str, ...] = ()


def find(data: bytes) -> Found:
    """Find the TIFF blocks and the size of a still picture, without decoding it."""
    for head, finder in _FINDERS:
        if data[:16].startswith(head):
            return finder(data)
    return _in_boxes(data) if data[4:8] == b"ftyp" else Found()


def _in_jpeg(data: bytes) -> Found:
    try:
        stream = segments.walk(data)
    except BadPicture as bad:
        parts = tuple(segments.each(data[:1_000_000]))
        block = segments.exif_block(data, parts)
        return Found((block,) if block else (), remarks=(f"{bad}.".capitalize(),))
    block = segments.exif_block(data, stream.segments)
    return Found((block,) if block else (), stream.width, stream.height)


def _in_tiff(data: bytes) -> Found:
    """Take the file itself as the block; makers' own marks are set to TIFF's, for the readers' sake."""
    block = data
    if data[2:4] not in {b"*\0", b"\0*", b"+\0", b"\0+"}:
        block = data[:2] + (b"*\0" if data[:2] == b"II" else b"\0*") + data[4:]
    return _with_preview(data, block) if raws.is_raw(data) else Found((block,))


def _in_raf(data: bytes) -> Found:
    """Take the Exif of the preview, which is all the readable Exif a RAF has."""
    start = int.from_bytes(data[84:88], "big")
    return _in_jpeg(data[start : start + int.from_bytes(data[88:92], "big")])


def _in_png(data: bytes) -> Found:
    """Read IHDR and eXIf (PNG 3rd edition, 11.3.4.4)."""
    size, block, at = (0, 0), b"", 8
    for _ in range(_MOST_CHUNKS):
        length, kind = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        if len(kind) < 4 or length > len(data):
            break
        if kind == b"IHDR":
            size = (
                int.from_bytes(data[at + 8 : at + 12], "big"),
                int.from_bytes(data[at + 12 : at + 16], "big"),
            )
        elif kind == b"eXIf" and length <= _LARGEST_CHUNK:
            block = data[at + 8 : at + 8 + length]
        at += 12 + length
    return Found((block,) if block else (), *size)


def _in_riff(data: bytes) -> Found:
    """Read WebP's EXIF chunk (RFC 9649, 2.7.1.5), which some writers begin with the JPEG's mark."""
    size, block, at = (0, 0), b"", 12
    for _ in range(_MOST_CHUNKS):
        kind, length = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "little")
        if len(kind) < 4 or length > len(data):
            break
        text = data[at + 8 : at + 8 + min(length, _LARGEST_CHUNK)]
        if kind == b"VP8X" and len(text) >= 10:
            size = 1 + int.from_bytes(text[4:7], "little"), 1 + int.from_bytes(text[7:10], "little")
        elif kind == b"VP8 " and text[3:6] == b"\x9d\x01\x2a":
            size = int.from_bytes(text[6:8], "little") & 0x3FFF, int.from_bytes(text[8:10], "little") & 0x3FFF
        elif kind == b"EXIF":
            block = text.removeprefix(b"Exif\0\0")
        at += 8 + length + length % 2
    return Found((block,) if block else (), *size)


def _in_boxes(data: bytes) -> Found:
    """Read HEIF and AVIF items, and the blocks Canon puts into CR3 (from memory; no standard)."""
    file = io.BytesIO(data)
    if data[8:12] != b"crx ":
        found = boxes.heif(file)
        return Found((found.exif,) if found.exif else (), found.width, found.height)
    moov = boxes.find(file, boxes.whole(file), b"moov")
    blocks = []
    for outer in boxes.boxes(file, moov.body, moov.end) if moov else ():
        if outer.type == b"uuid":
            inner = list(boxes.boxes(file, outer.body + 16, outer.end))
            blocks += [boxes.body(file, box) for box in inner if re.fullmatch(rb"CMT[124]", box.type)]
    return _with_preview(data, *blocks)


def _with_preview(data: bytes, *blocks: bytes) -> Found:
    """Give the size of the preview, which is the picture that is shown."""
    try:
        found = raws.preview(data)
    except BadPicture as bad:
        return Found(blocks, remarks=(f"{bad}.".capitalize(),))
    return Found(blocks, found.width, found.height)


_FINDERS: Final[tuple[tuple[bytes, Callable[[bytes], Found]], ...]] = (
    (b"\xff\xd8", _in_jpeg),
    (b"FUJIFILM", _in_raf),
    (b"\x89PNG", _in_png),
    (b"RIFF", _in_riff),
    *(
        (head, _in_tiff)
        for head in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+", b"IIU\0", b"IIRO", b"IIRS", b"MMOR")
    ),
)
