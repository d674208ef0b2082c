"""Read what a film's or a sound note's container says of when, how long and with what it was taken.

Hides QuickTime's two kinds of metadata, ISO 6709 and the containers' clocks. Frames are not its
business. Reads the few boxes it needs, never the film.
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, BinaryIO, Final

from evidence.pictures import boxes, formats
from evidence.words import CameraTime, Capture, Position, TimeSource

if TYPE_CHECKING:
    from collections.abc import Iterator

_EPOCH: Final = datetime(1904, 1, 1)  # noqa: DTZ001 - camera times are naive; ISO/IEC 14496-12, 8.2.2
_KEYS: Final = "com.apple.quicktime."
_NAMES: Final = {
    b"\xa9mak": "make",
    b"\xa9mod": "model",
    b"\xa9day": "creationdate",
    b"\xa9xyz": "location.ISO6709",
}
"""QuickTime user data by the name that the newer kind of metadata has for the same thing."""
_MOST_KEYS: Final = 1000
_MOST_CHUNKS: Final = 1000
"""A recorder writes some ten; zeros would give an empty one each 8 bytes."""
_IDIT: Final = re.compile(rb"IDIT....([\x20-\x7e]{19,30})", re.DOTALL)


def is_film(head: bytes) -> bool:
    """Tell whether these first bytes begin a film or a sound note that :func:`read` can read."""
    row = formats.format_of("", head)
    return row is not None and row.name in {"QuickTime", "MP4", "M4A", "AVI", "WAV"}


def read(file: BinaryIO) -> Capture:
    """Read a film's metadata.

    Returns
    -------
    Time with :attr:`TimeSource.CONTAINER`: the recorded local date with its zone when there is one,
    else the container's time, which should be UTC and with many cameras is local: it has no zone,
    and a remark says so. Width and height as stored, before any turning; the orientation is that of
    the track's matrix.
    """
    file.seek(0)
    head = file.read(12)
    if head[:4] == b"RIFF":
        return _wave(file) if head[8:12] == b"WAVE" else _avi(file)
    moov = boxes.find(file, boxes.whole(file), b"moov")
    if moov is None:
        return Capture(remarks=("The film has no header: it may have been cut off while recording.",))
    texts = {**dict(_user_data(file, moov)), **dict(_keyed(file, moov))}
    header = boxes.body(file, boxes.find(file, moov, b"mvhd"))
    created = _clock(header)
    time = _dated(texts.get("creationdate", ""))
    remarks = []
    if time is None and created is not None:
        time = CameraTime(created, None, TimeSource.CONTAINER)
        remarks.append(
            "The film's time is its container's: it may be UTC or local, of the start or of the end."
        )
    elif time is None:
        remarks.append("The film records no time.")
    width, height, orientation = _picture_track(file, moov)
    return Capture(
        time=time,
        make=_clean(texts.get("make", "")),
        model=_clean(texts.get("model", "")),
        position=_place(texts.get("location.ISO6709", "")),
        width=width,
        height=height,
        orientation=orientation,
        length_s=_length(header),
        remarks=tuple(remarks),
    )


def _length(header: bytes) -> float | None:
    """Read the length from ``mvhd``: time scale and duration (8.2.2); all ones means not known."""
    wide = 8 if header[:1] == b"\1" else 4
    at = 4 + 2 * wide
    if len(header) < at + 4 + wide:
        return None
    scale = int.from_bytes(header[at : at + 4], "big")
    units = int.from_bytes(header[at + 4 : at + 4 + wide], "big")
    return units / scale if scale and units < 256**wide - 1 else None


def _clock(header: bytes) -> datetime | None:
    """Read the creation time of ``mvhd``, seconds since 1904; 0 means not set."""
    wide = header[:1] == b"\1"
    seconds = int.from_bytes(header[4 : 12 if wide else 8], "big") if len(header) >= 12 else 0
    try:
        return _EPOCH + timedelta(seconds=seconds) if seconds else None
    except OverflowError:
        return None


def _user_data(file: BinaryIO, moov: boxes.Box) -> Iterator[tuple[str, str]]:
    """Give the texts of ``udta``: 16-bit length, 16-bit language, text (QuickTime File Format)."""
    udta = boxes.find(file, moov, b"udta")
    for box in boxes.boxes(file, udta.body, udta.end) if udta else ():
        if box.type in _NAMES:
            text = boxes.body(file, box)
            length = int.from_bytes(text[:2], "big")
            yield _NAMES[box.type], text[4 : 4 + length].decode("utf-8", "replace")


def _keyed(file: BinaryIO, moov: boxes.Box) -> Iterator[tuple[str, str]]:
    """Give the texts of ``meta``: names in ``keys``, values in ``ilst`` under their names' numbers."""
    text = boxes.body(file, boxes.find(file, moov, b"meta", b"keys"))
    names: list[str] = []
    at = 8
    while at + 8 <= len(text) and len(names) < _MOST_KEYS:
        size = int.from_bytes(text[at : at + 4], "big")
        names.append(text[at + 8 : at + size].decode("utf-8", "replace"))
        at += max(size, 8)
    values = boxes.find(file, moov, b"meta", b"ilst")
    for box in boxes.boxes(file, values.body, values.end) if values else ():
        number = int.from_bytes(box.type, "big")
        if 1 <= number <= len(names) and names[number - 1].startswith(_KEYS):
            value = boxes.body(file, boxes.find(file, box, b"data"))
            yield names[number - 1].removeprefix(_KEYS), value[8:].decode("utf-8", "replace")


def _dated(text: str) -> CameraTime | None:
    """Read a date such as ``2019-07-24T11:25:40+0300`` (ISO 8601)."""
    match = re.match(
        r"(\d{4}-\d\d-\d\d)[T ](\d\d:\d\d:\d\d)(?:\.\d+)?(?:([+-])(\d\d):?(\d\d)|Z)?", text.strip()
    )
    if not match:
        return None
    try:
        moment = datetime.fromisoformat(f"{match[1]} {match[2]}")
    except ValueError:
        return None
    zone = match[0].endswith("Z") or match[3]
    minutes = int(match[4] or 0) * 60 + int(match[5] or 0)
    return CameraTime(
        moment, (-minutes if match[3] == "-" else minutes) if zone else None, TimeSource.CONTAINER
    )


def _place(text: str) -> Position | None:
    """Read a place such as ``+32.0929+034.8620+028.516/`` (ISO 6709, Annex H, in degrees)."""
    match = re.match(r"([+-]\d{1,2}(?:\.\d+)?)([+-]\d{1,3}(?:\.\d+)?)([+-]\d+(?:\.\d+)?)?", text)
    if not match or abs(float(match[1])) > 90 or abs(float(match[2])) > 180:
        return None
    return Position(float(match[1]), float(match[2]), float(match[3]) if match[3] else None)


_TURNS: Final = {
    (1, 0, 0, 1): 1,
    (-1, 0, 0, 1): 2,
    (-1, 0, 0, -1): 3,
    (1, 0, 0, -1): 4,
    (0, 1, 1, 0): 5,
    (0, 1, -1, 0): 6,
    (0, -1, -1, 0): 7,
    (0, -1, 1, 0): 8,
}
"""The matrix's a, b, c, d by their signs, and the Exif Orientation that means the same turn: a point of
the stored picture goes to (ax + cy, bx + dy), ISO/IEC 14496-12, 6.2.2 and 8.3.2."""


def _picture_track(file: BinaryIO, moov: boxes.Box) -> tuple[int, int, int]:
    """Read width, height and turn of the first track that has a picture (``tkhd``, from its end)."""
    for track in boxes.boxes(file, moov.body, moov.end):
        header = boxes.body(file, boxes.find(file, track, b"tkhd")) if track.type == b"trak" else b""
        width, height = int.from_bytes(header[-8:-6], "big"), int.from_bytes(header[-4:-2], "big")
        if len(header) >= 84 and width and height:
            a, b, _, c, d = (
                int.from_bytes(header[n : n + 4], "big", signed=True) for n in range(-44, -24, 4)
            )
            return width, height, _TURNS.get((_sign(a), _sign(b), _sign(c), _sign(d)), 1)
    return 0, 0, 1


def _sign(number: int) -> int:
    return (number > 0) - (number < 0)


def _clean(text: str) -> str:
    return "".join(letter for letter in text.split("\0", 1)[0] if letter.isprintable()).strip()


def _avi(file: BinaryIO) -> Capture:
    """Read the date chunk IDIT that cameras write into AVI (common practice, as C's asctime gives it)."""
    file.seek(0)
    head = file.read(1_000_000)
    match = _IDIT.search(head)
    length_s = _avi_length(head)
    if match:
        text = re.sub(rb"\s+", b" ", match[1]).decode().strip()
        for form in ("%a %b %d %H:%M:%S %Y", "%Y:%m:%d %H:%M:%S", "%Y-%m-%d %H:%M:%S"):
            try:
                moment = datetime.strptime(text, form)  # noqa: DTZ007 - camera times are naive
            except ValueError:
                continue
            return Capture(time=CameraTime(moment, None, TimeSource.CONTAINER), length_s=length_s)
    return Capture(length_s=length_s, remarks=("The film records no time.",))


def _avi_length(head: bytes) -> float | None:
    """Read the length from ``avih``: microseconds a frame, and frames (AVI RIFF file reference)."""
    at = head.find(b"avih")
    if at < 0 or len(head) < at + 32:
        return None
    a_frame, frames = (
        int.from_bytes(head[at + 8 : at + 12], "little"),
        int.from_bytes(head[at + 24 : at + 28], "little"),
    )
    return a_frame * frames / 1e6 if a_frame and frames else None


def _wave(file: BinaryIO) -> Capture:
    """Read a sound note: its length, and the date of a Broadcast Wave's ``bext`` (EBU Tech 3285, 2.4)."""
    end, at = file.seek(0, 2), 12
    rate, length_s, time = 0, None, None
    for _ in range(_MOST_CHUNKS):
        if at + 8 > end:
            break
        file.seek(at)
        head = file.read(8)
        size = int.from_bytes(head[4:8], "little")
        if head[:4] == b"fmt ":
            rate = int.from_bytes(file.read(16)[8:12], "little")
        elif head[:4] == b"bext":
            text = file.read(338)[320:338].decode("ascii", "replace")
            time = _dated(f"{text[:10].replace('_', '-').replace(':', '-')} {text[10:].replace('-', ':')}")
        elif head[:4] == b"data":
            length_s = min(size, end - at - 8) / rate if rate else None
        at += 8 + size + size % 2
    remarks = () if time else ("The sound note records no time.",)
    return Capture(time=time, length_s=length_s, remarks=remarks)
