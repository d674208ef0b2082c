"""Take a JPEG stream apart into its segments without decoding a pixel.

Hides markers, fill bytes, stuffed zeros and restart markers (ITU-T T.81, Annex B); of what
the segments say it knows the frame header, the Exif block and the colour profile.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from evidence.errors import BadPicture

if TYPE_CHECKING:
    from collections.abc import Iterator

EOI: Final = 0xD9
SOS: Final = 0xDA
DQT: Final = 0xDB
DRI: Final = 0xDD
DHT: Final = 0xC4
COM: Final = 0xFE
APP0, APP1, APP2, APP14, APP15 = 0xE0, 0xE1, 0xE2, 0xEE, 0xEF
BASELINE: Final = frozenset({0xC0, 0xC1})
PROGRESSIVE: Final = 0xC2

_FRAMES: Final = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_TEM: Final = 0x01
_MARKER: Final = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")
_MOST_SEGMENTS: Final = 2000
_MOST_SCANS: Final = 100
"""Our own bounds: a camera's progressive picture has about ten scans, and each one costs the
decoder a pass over the whole picture, so that a small hostile file could keep it busy for hours."""


@dataclass(frozen=True, slots=True)
class Segment:
    """One marker segment: ``data[start:end]`` with its marker, ``data[body:stop]`` without.

    Only of a start of scan are ``stop`` and ``end`` not the same: its entropy-coded data lie between.
    """

    marker: int
    start: int
    body: int
    stop: int
    end: int


@dataclass(frozen=True, slots=True)
class Stream:
    """A JPEG stream taken apart.

    Attributes
    ----------
    segments
        In order, from the one after SOI to the one before EOI.
    frame
        Marker of the frame header: 0xC0 baseline, 0xC2 progressive, 0xC3 lossless.
    precision, width, height, components
        As the frame header says.
    end
        Offset just after EOI, or None when the stream ends without one.
    """

    segments: tuple[Segment, ...]
    frame: int
    precision: int
    width: int
    height: int
    components: int
    end: int | None


def walk(data: bytes, start: int = 0) -> Stream:
    """Take apart the JPEG stream that begins at ``start``.

    Returns
    -------
    Its segments and frame header; ``end`` is None when it breaks off after its first scan began.

    Raises
    ------
    BadPicture
        There is no JPEG stream, it breaks off before its first scan, or it has more segments or
        scans than any camera writes.

    Examples
    --------
    >>> walk(bytes.fromhex("ffd8ffd9"))
    Traceback (most recent call last):
    evidence.errors.BadPicture: The JPEG breaks off before its picture begins.
    """
    if data[start : start + 2] != b"\xff\xd8":
        raise BadPicture("This is not a JPEG: it does not begin as one.")
    segments: list[Segment] = []
    header: tuple[int, int, int, int, int] | None = None
    end = None
    scans = 0
    for segment in each(data, start):
        if segment.marker == EOI:
            end = segment.end
            break
        if segment.marker in _FRAMES and header is None:
            header = _frame(data, segment)
        scans += segment.marker == SOS
        segments.append(segment)
        if len(segments) > _MOST_SEGMENTS or scans > _MOST_SCANS:
            raise BadPicture("The JPEG has more parts than any camera writes.")
    if header is None or not scans:
        raise BadPicture("The JPEG breaks off before its picture begins.")
    return Stream(tuple(segments), *header, end)


def each(data: bytes, start: int = 0) -> Iterator[Segment]:
    """Give segment after segment of the stream that begins at ``start``, to EOI or to where it breaks off."""
    at = start + 2
    while match := _MARKER.search(data, at):
        marker, body = data[match.end() - 1], match.end()
        if marker in {EOI, _TEM}:
            at = body
            yield Segment(marker, match.start(), body, body, body)
            if marker == EOI:
                return
            continue
        length = int.from_bytes(data[body : body + 2], "big")
        if length < 2 or body + length > len(data):
            return
        at = stop = body + length
        if marker == SOS:
            following = _MARKER.search(data, at)
            at = following.start() if following else len(data)
        yield Segment(marker, match.start(), body + 2, stop, at)


def exif_block(data: bytes, segments: tuple[Segment, ...]) -> bytes:
    """Give the TIFF block of the first Exif segment that holds one, b"" when there is none (CIPA DC-008)."""
    for segment in segments:
        if segment.marker == APP1 and data[segment.body : segment.body + 5] == b"Exif\0":
            block = data[segment.body + 6 : segment.end]
            if block[:2] in {b"II", b"MM"}:
                return block
    return b""


def profile(data: bytes, stream: Stream) -> bytes:
    """Join the pieces of the embedded colour profile, b"" when there is none (ICC.1:2022, B.4)."""
    head = b"ICC_PROFILE\0"
    pieces = {
        data[segment.body + 12]: data[segment.body + 14 : segment.end]
        for segment in stream.segments
        if segment.marker == APP2
        and segment.end - segment.body > 14
        and data[segment.body : segment.body + 12] == head
    }
    return b"".join(pieces[number] for number in sorted(pieces))


def _frame(data: bytes, segment: Segment) -> tuple[int, int, int, int, int]:
    """Read marker, precision, width, height and number of components of a frame header."""
    body = data[segment.body : segment.end]
    if len(body) < 6:
        raise BadPicture("The JPEG's frame header is too short.")
    height, width = int.from_bytes(body[1:3], "big"), int.from_bytes(body[3:5], "big")
    if not height or not width or not body[5]:
        raise BadPicture("The JPEG's frame header gives no size.")
    return segment.marker, body[0], width, height, body[5]
