"""Read what a file's own metadata says of how it was taken.

Two libraries read every block; where they disagree a remark says so. Hides blank and zero dates,
text after a NUL, ratios over zero, and where each file kind keeps its metadata.
"""

from __future__ import annotations

import io
import math
import re
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, BinaryIO, Final

from evidence.pictures import blocks, films, readers
from evidence.pictures.formats import HEAD_BYTES, kind_of
from evidence.pictures.readers import Tag, Value
from evidence.words import CameraTime, Capture, FileKind, Position, TimeSource

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

EXIF_VERSION: Final = 2
"""Goes up with every change of what is read; the store measures anew what an older one gave."""

_LARGEST_STILL: Final = 1_000_000_000
_TIMES: Final = (
    (TimeSource.TAKEN, Tag.DATE_TIME_ORIGINAL, Tag.SUB_SEC_TIME_ORIGINAL, Tag.OFFSET_TIME_ORIGINAL),
    (TimeSource.DIGITIZED, Tag.DATE_TIME_DIGITIZED, Tag.SUB_SEC_TIME_DIGITIZED, Tag.OFFSET_TIME_DIGITIZED),
    (TimeSource.CHANGED, Tag.DATE_TIME, Tag.SUB_SEC_TIME, Tag.OFFSET_TIME),
)
_MOMENT: Final = re.compile(r"(\d{4})[:/.-](\d\d?)[:/.-](\d\d?)[ T]+(\d\d?):(\d\d?):(\d\d?)")
_OFFSET: Final = re.compile(r"([+-])(\d\d):?(\d\d)$")
_ALIKE: Final = 1e-6


def read_exif(path: Path) -> Capture:
    """Read the metadata of a file; see :func:`read_exif_bytes`. Of a film or sound only the header is."""
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
        if films.is_film(head):
            return _read(file)
        if kind_of(path.name, head) in {FileKind.FILM, FileKind.SOUND}:
            return read_exif_bytes(head)  # of a kind whose container nobody here reads
        if file.seek(0, 2) > _LARGEST_STILL:
            return Capture(remarks=("The file is larger than any still picture and was not read.",))
        file.seek(0)
        return read_exif_bytes(file.read())


def read_exif_bytes(data: bytes) -> Capture:
    """Read what a file's own metadata says of how it was taken.

    Parameters
    ----------
    data
        The whole file, of any kind; of a film its path is cheaper: :func:`read_exif`.

    Returns
    -------
    What was read. What is missing, blank or broken becomes a remark and never an error. The
    orientation is the recorded one; :func:`evidence.pictures.decode` has already obeyed it where
    it counts, so nobody else may.

    Notes
    -----
    CIPA DC-008-2023 (Exif 3.0) for the tags; ``methods.md`` of the trial says why two readers.
    """
    return _read(io.BytesIO(data))


def _read(file: BinaryIO) -> Capture:
    file.seek(0)
    if films.is_film(file.read(HEAD_BYTES)):
        return films.read(file)
    file.seek(0)
    found = blocks.find(file.read())
    remarks = list(found.remarks)
    merged: dict[Tag, Value] = {}
    for block in (*found.blocks, *filter(None, [found.position])):
        first, second, odd = readers.twice(block, of_position=block is found.position)
        remarks += odd
        if not odd:
            remarks += _disagreements(first, second)
        for tag, value in {**second, **first}.items():
            merged.setdefault(tag, value)
    return _Told(merged, remarks).capture(found.width, found.height)


def _disagreements(first: Mapping[Tag, Value], second: Mapping[Tag, Value]) -> list[str]:
    """Say where the two readers differ, a sentence a tag."""
    said = []
    for tag in sorted(first.keys() | second.keys()):
        one, other = first.get(tag), second.get(tag)
        if one is None or other is None:
            said.append(f"{tag.title}: only {'ExifRead' if one is None else 'Pillow'} found it.")
        elif not _alike(one, other):
            said.append(f"{tag.title}: Pillow reads {_shown(one)}, ExifRead reads {_shown(other)}.")
    return said


def _alike(one: Value, other: Value) -> bool:
    if isinstance(one, str) or isinstance(other, str):
        return (one or "") == (other or "")
    pairs = zip(one, other, strict=False)
    same = all(math.isclose(a, b, rel_tol=_ALIKE) or (math.isnan(a) and math.isnan(b)) for a, b in pairs)
    return same and (len(one) == len(other) or 1 in {len(one), len(other)})


def _shown(value: Value) -> str:
    text = value if isinstance(value, str) else ", ".join(f"{number:g}" for number in value)
    return repr(text[:40])


class _Told:
    """The tags of one file, and what is to be remarked on while they are understood."""

    def __init__(self, tags: Mapping[Tag, Value], remarks: list[str]) -> None:
        self._tags = tags
        self._remarks = remarks

    def capture(self, width: int, height: int) -> Capture:
        """Understand the tags."""
        time = self._time()
        flash = self._number(Tag.FLASH)
        direction = self._number(Tag.GPS_IMG_DIRECTION)
        iso = self._positive(Tag.ISO)
        return Capture(
            time=time,
            changed=self._moment(Tag.DATE_TIME, quiet=True),
            subsec=self._subsec(Tag.SUB_SEC_TIME_ORIGINAL),
            make=self._text(Tag.MAKE),
            model=self._text(Tag.MODEL),
            serial=self._text(Tag.BODY_SERIAL_NUMBER) or self._text(Tag.CAMERA_SERIAL_NUMBER),
            orientation=self._orientation(),
            exposure_s=self._positive(Tag.EXPOSURE_TIME),
            f_number=self._positive(Tag.F_NUMBER),
            iso=round(iso) if iso else None,
            focal_mm=self._positive(Tag.FOCAL_LENGTH),
            flash=bool(int(flash) & 1) if flash is not None else None,
            position=self._position(),
            direction_deg=direction if direction is not None and 0 <= direction <= 360 else None,
            gps_utc=self._gps_utc(),
            width=width or self._count(Tag.IMAGE_WIDTH) or self._count(Tag.PIXEL_X_DIMENSION),
            height=height or self._count(Tag.IMAGE_LENGTH) or self._count(Tag.PIXEL_Y_DIMENSION),
            remarks=tuple(dict.fromkeys(self._remarks)),
        )

    def _text(self, tag: Tag) -> str:
        value = self._tags.get(tag, "")
        return value if isinstance(value, str) else ""

    def _numbers(self, tag: Tag) -> tuple[float, ...]:
        value = self._tags.get(tag, ())
        return value if isinstance(value, tuple) else ()

    def _number(self, tag: Tag) -> float | None:
        """Give the first number, None when there is none or it is not finite."""
        value = next(iter(self._numbers(tag)), math.nan)
        return value if math.isfinite(value) else None

    def _positive(self, tag: Tag) -> float | None:
        value = self._number(tag)
        return value if value is not None and value > 0 else None

    def _count(self, tag: Tag) -> int:
        return int(self._positive(tag) or 0)

    def _orientation(self) -> int:
        value = self._number(Tag.ORIENTATION)
        if value is not None and value not in range(1, 9):
            self._remarks.append(f"The orientation {value:g} is none of the eight.")
        return int(value) if value in range(1, 9) and value is not None else 1

    def _subsec(self, tag: Tag) -> str:
        match = re.match(r"\d+", self._text(tag))
        return match[0] if match else ""

    def _moment(self, tag: Tag, *, quiet: bool = False) -> datetime | None:
        """Read a date; blank, zero and impossible ones are remarked on and give None."""
        text = self._text(tag)
        match = _MOMENT.match(text)
        try:
            if match and int(match[1]) > 0:
                return datetime(*(int(part) for part in match.groups()))  # type: ignore[arg-type] # noqa: DTZ001
        except ValueError:
            pass
        if tag in self._tags and not quiet:
            blank = not re.search(r"[1-9]", text)
            self._remarks.append(
                f"{tag.title} is blank." if blank else f"{tag.title} is no date: {text[:40]!r}."
            )
        return None

    def _time(self) -> CameraTime | None:
        """Take the first date there is: taken, digitized, changed."""
        for source, date, subsec, zone in _TIMES:
            moment = self._moment(date)
            if moment is None:
                continue
            digits = self._subsec(subsec)
            moment = moment.replace(microsecond=int(digits[:6].ljust(6, "0")) if digits else 0)
            if (moment.month, moment.day) == (1, 1):
                self._remarks.append("The camera clock shows 1 January: it may have been reset.")
            if source is not TimeSource.TAKEN:
                self._remarks.append(f"No time of taking is recorded; the time is {source}.")
            return CameraTime(moment, self._offset(zone), source)
        return None

    def _offset(self, tag: Tag) -> int | None:
        """Read minutes east of UTC; blank means unknown, and so does more than 15 hours."""
        text = self._text(tag)
        match = _OFFSET.match(text)
        minutes = int(match[1] + "1") * (int(match[2]) * 60 + int(match[3])) if match else None
        if text.strip(" :") and (minutes is None or abs(minutes) > 15 * 60):
            self._remarks.append(f"{tag.title} is no zone: {text[:40]!r}.")
            return None
        return minutes

    def _position(self) -> Position | None:
        latitude = self._degrees(Tag.GPS_LATITUDE, Tag.GPS_LATITUDE_REF, "S")
        longitude = self._degrees(Tag.GPS_LONGITUDE, Tag.GPS_LONGITUDE_REF, "W")
        if latitude is None or longitude is None:
            if Tag.GPS_LATITUDE in self._tags or Tag.GPS_LONGITUDE in self._tags:
                self._remarks.append("A position is recorded, but without numbers.")
            return None
        if abs(latitude) > 90 or abs(longitude) > 180:
            self._remarks.append("The recorded position is nowhere on Earth.")
            return None
        if latitude == 0 and longitude == 0:
            self._remarks.append("The recorded position is 0, 0: the receiver had no fix.")
        altitude = self._number(Tag.GPS_ALTITUDE)
        below = self._number(Tag.GPS_ALTITUDE_REF) == 1
        return Position(latitude, longitude, -altitude if altitude and below else altitude)

    def _degrees(self, tag: Tag, reference: Tag, negative: str) -> float | None:
        parts = self._numbers(tag)[:3]
        total = sum(part / 60**power for power, part in enumerate(parts)) if parts else math.nan
        if not math.isfinite(total):
            return None
        return -total if self._text(reference).upper().startswith(negative) else total

    def _gps_utc(self) -> datetime | None:
        """Join GPS date and time of day; a second of 60 carries over."""
        match = re.match(r"(\d{4})[:/-](\d\d)[:/-](\d\d)", self._text(Tag.GPS_DATE_STAMP))
        clock = self._numbers(Tag.GPS_TIME_STAMP)
        if not match or len(clock) != 3 or not all(0 <= part <= 60 for part in clock):
            return None
        try:
            day = datetime(int(match[1]), int(match[2]), int(match[3]))  # noqa: DTZ001 - naive UTC by its name
            return day + timedelta(hours=clock[0], minutes=clock[1], seconds=clock[2])
        except (ValueError, OverflowError):
            return None
