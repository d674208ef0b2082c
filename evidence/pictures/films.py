"""Read what a film's container says of when, where and with what it was taken.

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
_IDIT: Final = re.compile(rb"IDIT....([\x20-\x7e]{19,30})", re.DOTALL)


def is_film(head: bytes) -> bool:
    """Tell whether these first bytes begin a film or a sound note that :func:`read` can read."""
    row = formats.format_of("", head)
    return row is not None and row.name in {"QuickTime", "MP4", "M4A", "AVI"}


def read(file: BinaryIO) -> Capture:
    """Read a film's metadata.

    Returns
    -------
    Time with :attr:`TimeSource.CONTAINER`: the recorded local date with its zone when there is one,
    else the container's time, which should be UTC and with many cameras is local: it has no zone,
    and a remark says so. Width and height as stored, before any turning.
    """
    file.seek(0)
    head = file.read(12)
    if head[:4] == b"RIFF":
        return _avi(file)
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
    width, height = _size(file, moov)
    return Capture(
        time=time,
        make=_clean(texts.get("make", "")),
        model=_clean(texts.get("model", "")),
        position=_place(texts.get("location.ISO6709", "")),
        width=width,
        height=height,
        remarks=tuple(remarks),
    )


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


def _size(file: BinaryIO, moov: boxes.Box) -> tuple[int, int]:
    """Read width and height of the first track that has a picture (``tkhd``, 16.16 numbers at its end)."""
    for track in boxes.boxes(file, moov.body, moov.end):
        header = boxes.body(file, boxes.find(file, track, b"tkhd")) if track.type == b"trak" else b""
        width, height = int.from_bytes(header[-8:-6], "big"), int.from_bytes(header[-4:-2], "big")
        if len(header) >= 84 and width and height:
            return width, height
    return 0, 0


def _clean(text: str) -> str:
    return "".join(letter for letter in text.split("\0", 1)[0] if letter.isprintable()).strip()


def _avi(file: BinaryIO) -> Capture:
    """Read the date chunk IDIT that cameras write into AVI (common practice, as C's asctime gives it)."""
    file.seek(0)
    match = _IDIT.search(file.read(1_000_000))
    if match:
        text = re.sub(rb"\s+", b" ", match[1]).decode().strip()
        for form in ("%a %b %d %H:%M:%S %Y", "%Y:%m:%d %H:%M:%S", "%Y-%m-%d %H:%M:%S"):
            try:
                moment = datetime.strptime(text, form)  # noqa: DTZ007 - camera times are naive
            except ValueError:
                continue
            return Capture(time=CameraTime(moment, None, TimeSource.CONTAINER))
    return Capture(remarks=("The film records no time.",))
