"""Read the box structure of HEIF, AVIF, CR3, MOV and MP4 files without trusting a length in it.

Hides 32-bit, 64-bit and open-ended sizes, and where a HEIF file keeps its Exif and its size
(ISO/IEC 14496-12, 23008-12). Reads only the boxes asked for: a film of hours costs a few reads.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, BinaryIO, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

_MOST_BOXES: Final = 10_000
_LARGEST_BODY: Final = 4_000_000
"""Our own bounds: no box whose body we read is larger in a camera's file."""


@dataclass(frozen=True, slots=True)
class Box:
    """One box: its four-letter type, and where its body begins and ends in the file."""

    type: bytes
    body: int
    end: int


@dataclass(frozen=True, slots=True)
class Heif:
    """What a HEIF or AVIF file says of its main picture.

    Attributes
    ----------
    width, height
        Of the main picture before any turning; 0 when not said.
    largest
        Pixels of the largest picture in the file, tiles put together.
    exif
        The TIFF block, b"" when there is none.
    """

    width: int
    height: int
    largest: int
    exif: bytes


def boxes(file: BinaryIO, start: int, end: int) -> Iterator[Box]:
    """Give box after box between two offsets; ends quietly where the structure does."""
    for _ in range(_MOST_BOXES):
        if start + 8 > end:
            return
        file.seek(start)
        head = file.read(16)
        size, header = int.from_bytes(head[:4], "big"), 8
        if size == 1:
            size, header = int.from_bytes(head[8:16], "big"), 16
        elif size == 0:
            size = end - start
        if len(head) < 8 or size < header:
            return
        yield Box(head[4:8], start + header, min(start + size, end))
        start += size


def find(file: BinaryIO, inside: Box, *path: bytes) -> Box | None:
    """Give the first box along a path of types below ``inside``; a ``meta`` box is met in both its forms."""
    for step in path:
        start = inside.body
        if inside.type == b"meta":
            file.seek(start + 4)
            start += 0 if file.read(4) in {b"hdlr", b"mhdr", b"keys"} else 4
        found = next((box for box in boxes(file, start, inside.end) if box.type == step), None)
        if found is None:
            return None
        inside = found
    return inside


def body(file: BinaryIO, box: Box | None) -> bytes:
    """Read the body of a box, b"" for none and for one too large to be what it claims."""
    if box is None or box.end - box.body > _LARGEST_BODY:
        return b""
    file.seek(box.body)
    return file.read(box.end - box.body)


def whole(file: BinaryIO) -> Box:
    """Give the file itself as the outermost box."""
    return Box(b"", 0, file.seek(0, 2))


def heif(file: BinaryIO) -> Heif:
    """Read size and Exif block of a HEIF or AVIF file; what is missing or broken is given as nothing."""
    meta = find(file, whole(file), b"meta")
    if meta is None:
        return Heif(0, 0, 0, b"")
    primary = _integer(body(file, find(file, meta, b"pitm"))[4:])
    sizes = _sizes(file, meta)
    width, height = sizes.get(primary, (0, 0))
    exif = next((item for item, kind in _items(file, meta) if kind == b"Exif"), None)
    block = _item_bytes(file, meta, exif) if exif is not None else b""
    at = 4 + _integer(block[:4])
    return Heif(width, height, max((w * h for w, h in sizes.values()), default=0), block[at:])


def ends_libheif(file: BinaryIO) -> bool:
    """Tell whether a HEIF has an item whose MIME type is no UTF-8, at which pi-heif ends the process.

    Found by fuzzing (docs/methods/metadata.md); ISO/IEC 14496-12, 8.11.6, wants UTF-8.
    """
    meta = find(file, whole(file), b"meta")
    for entry, kind in _entries(file, meta) if meta else ():
        if kind == b"mime":
            try:
                entry[10 if entry[0] == 2 else 12 :].decode()
            except UnicodeDecodeError:
                return True
    return False


def _integer(data: bytes) -> int:
    return int.from_bytes(data, "big")


def _items(file: BinaryIO, meta: Box) -> Iterator[tuple[int, bytes]]:
    """Give number and type of each item."""
    for entry, kind in _entries(file, meta):
        wide = 2 if entry[0] == 2 else 4
        yield _integer(entry[4 : 4 + wide]), kind


def _entries(file: BinaryIO, meta: Box) -> Iterator[tuple[bytes, bytes]]:
    """Give body and item type of each entry of ``iinf`` (``infe`` versions 2 and 3)."""
    info = find(file, meta, b"iinf")
    if info is None:
        return
    file.seek(info.body)
    start = info.body + (6 if file.read(1) == b"\0" else 8)
    for entry in boxes(file, start, info.end):
        text = body(file, entry)
        if entry.type == b"infe" and text[:1] in {b"\2", b"\3"}:
            wide = 2 if text[0] == 2 else 4
            yield text, text[6 + wide : 10 + wide]


def _sizes(file: BinaryIO, meta: Box) -> dict[int, tuple[int, int]]:
    """Give width and height of each item (``ispe`` by way of ``ipma``)."""
    container = find(file, meta, b"iprp", b"ipco")
    links = body(file, find(file, meta, b"iprp", b"ipma"))
    if container is None or len(links) < 8:
        return {}
    spans: dict[int, tuple[int, int]] = {}
    for number, box in enumerate(boxes(file, container.body, container.end), 1):
        if box.type == b"ispe":
            text = body(file, box)
            spans[number] = _integer(text[4:8]), _integer(text[8:12])
    sizes: dict[int, tuple[int, int]] = {}
    item_bytes, link_bytes = (4 if links[0] else 2), (2 if links[3] & 1 else 1)
    at = 8
    while at + item_bytes < len(links):
        item, count = _integer(links[at : at + item_bytes]), links[at + item_bytes]
        at += item_bytes + 1
        for _ in range(count):
            number = _integer(links[at : at + link_bytes]) & (0x7FFF if link_bytes == 2 else 0x7F)
            at += link_bytes
            if number in spans:
                sizes[item] = spans[number]
    return sizes


def _item_bytes(file: BinaryIO, meta: Box, wanted: int) -> bytes:
    """Give the bytes of an item by its place (``iloc`` versions 0 to 2; in the file or in ``idat``)."""
    text = body(file, find(file, meta, b"iloc"))
    if len(text) < 8:
        return b""
    version = text[0]
    offset_n, length_n, base_n = text[4] >> 4, text[4] & 15, text[5] >> 4
    index_n = text[5] & 15 if version else 0
    id_n = 4 if version == 2 else 2
    at = 6 + id_n

    def take(count: int) -> int:
        nonlocal at
        at += count
        return _integer(text[at - count : at])

    for _ in range(_integer(text[6 : 6 + id_n])):
        if at >= len(text):
            break
        item = take(id_n)
        method = take(2) & 15 if version else 0
        take(2)
        base = take(base_n)
        extents = []
        for _ in range(take(2)):
            if at >= len(text):
                break
            take(index_n)
            extents.append((base + take(offset_n), take(length_n)))
        if item == wanted and method in {0, 1}:
            inside = find(file, meta, b"idat") if method else whole(file)
            return _extents(file, inside, extents)
    return b""


def _extents(file: BinaryIO, inside: Box | None, extents: list[tuple[int, int]]) -> bytes:
    """Join an item's pieces, at most :data:`_LARGEST_BODY` in all."""
    joined = b""
    if inside is None:
        return b""
    for offset, length in extents:
        start = inside.body + offset
        size = min(length or inside.end, inside.end - start)
        if size <= 0 or len(joined) + size > _LARGEST_BODY:
            break
        file.seek(start)
        joined += file.read(size)
    return joined
