"""Take a JPEG stream apart into its segments without decoding a pixel.

Hides markers, fill bytes, stuffed zeros and restart markers; knows nothing of what the
segments say beyond the frame header (ITU-T T.81, Annex B).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from evidence import errors

SOI, EOI, SOS, DQT, DHT, COM = 0xD8, 0xD9, 0xDA, 0xDB, 0xC4, 0xFE
APP0, APP1, APP2, APP14 = 0xE0, 0xE1, 0xE2, 0xEE
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_ALONE = frozenset({0x01, *range(0xD0, 0xD8)})
_MARKER = re.compile(rb"\xff+[^\x00\xd0-\xd7\xff]")
_MOST_SEGMENTS = 20_000
"""Our own bound: a progressive scan of a camera has tens of segments, a hostile stream millions."""


@dataclass(frozen=True, slots=True)
class Segment:
    """One marker segment: ``data[start:end]`` with its marker, ``data[body:end]`` without.

    For a start of scan the segment ends where its entropy-coded data end.
    """

    marker: int
    start: int
    body: int
    end: int


@dataclass(frozen=True, slots=True)
class Stream:
    """A JPEG stream taken apart.

    Attributes
    ----------
    segments
        In order, from the one after SOI to the one before EOI.
    frame
        The marker of the frame header: 0xC0 baseline, 0xC2 progressive, 0xC3 lossless, ...
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
    """Take the JPEG stream that begins at ``start`` apart.

    Returns
    -------
    Its segments and frame header. A stream that breaks off after its first scan began is
    given with ``end`` None.

    Raises
    ------
    BadPicture
        There is no JPEG stream, or it breaks off or loses its thread before the first scan.
    """
    if data[start : start + 2] != b"\xff\xd8":
        raise errors.BadPicture("this is not a JPEG: it does not begin with the bytes FF D8")
    segments: list[Segment] = []
    header: tuple[int, int, int, int, int] | None = None
    end = None
    scanned = False
    for segment in _segments(data, start + 2):
        if segment.marker == EOI:
            end = segment.end
            break
        if segment.marker in _FRAMES and header is None:
            header = _frame(data, segment)
        scanned = scanned or segment.marker == SOS
        segments.append(segment)
        if len(segments) > _MOST_SEGMENTS:
            raise errors.BadPicture("the JPEG has more segments than any camera writes")
    if header is None or not scanned:
        raise errors.BadPicture("the JPEG breaks off before its picture begins")
    return Stream(tuple(segments), *header, end)


def _segments(data: bytes, at: int) -> Iterator[Segment]:
    """Give segment after segment, the last one EOI if the stream has one."""
    while match := _MARKER.search(data, at):
        marker = data[match.end() - 1]
        body = match.end()
        if marker == EOI or marker in _ALONE:
            yield Segment(marker, match.end() - 2, body, body)
            at = body
            continue
        length = int.from_bytes(data[body : body + 2], "big")
        if length < 2 or body + length > len(data):
            return
        at = body + length
        if marker == SOS:
            following = _MARKER.search(data, at)
            at = following.start() if following else len(data)
        yield Segment(marker, match.end() - 2, body + 2, at)


def _frame(data: bytes, segment: Segment) -> tuple[int, int, int, int, int]:
    """Read marker, precision, width, height and number of components of a frame header."""
    body = data[segment.body : segment.end]
    if len(body) < 6:
        raise errors.BadPicture("the JPEG's frame header is too short")
    height, width = int.from_bytes(body[1:3], "big"), int.from_bytes(body[3:5], "big")
    if not height or not width or not body[5]:
        raise errors.BadPicture("the JPEG's frame header gives no size")
    return segment.marker, body[0], width, height, body[5]


def profile(data: bytes, stream: Stream) -> bytes:
    """Join the pieces of an embedded colour profile, b"" when there is none.

    Notes
    -----
    ICC.1:2022 Annex B.4: APP2, "ICC_PROFILE" and NUL, number of the piece, number of pieces.
    """
    head = b"ICC_PROFILE\0"
    pieces = {
        data[s.body + 12]: data[s.body + 14 : s.end]
        for s in stream.segments
        if s.marker == APP2 and data.startswith(head, s.body) and s.end - s.body > 14
    }
    return b"".join(pieces[number] for number in sorted(pieces))


def exif_block(data: bytes, stream: Stream) -> bytes:
    """Give the TIFF block of the first Exif segment, b"" when there is none (CIPA DC-008)."""
    for s in stream.segments:
        if s.marker == APP1 and data.startswith(b"Exif\0", s.body):
            return data[s.body + 6 : s.end]
    return b""
