"""Read the tags of a TIFF block twice, by two libraries that share no code, in one common form.

Hides how Pillow and ExifRead give values and fail. Before either sees a block it is walked once,
and one that would cost them hours or gigabytes is not handed over.
"""

from __future__ import annotations

import io
import math
import struct
from enum import IntEnum
from typing import TYPE_CHECKING, Final

import exifread
from PIL import Image

from evidence.pictures.quiet import quietly

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping


class Tag(IntEnum):
    """The tags we ask for, under the standard's names (CIPA DC-008-2023; DNG for the last)."""

    GPS_LATITUDE_REF = 0x0001
    GPS_LATITUDE = 0x0002
    GPS_LONGITUDE_REF = 0x0003
    GPS_LONGITUDE = 0x0004
    GPS_ALTITUDE_REF = 0x0005
    GPS_ALTITUDE = 0x0006
    GPS_TIME_STAMP = 0x0007
    GPS_IMG_DIRECTION = 0x0011
    GPS_DATE_STAMP = 0x001D
    IMAGE_WIDTH = 0x0100
    IMAGE_LENGTH = 0x0101
    MAKE = 0x010F
    MODEL = 0x0110
    ORIENTATION = 0x0112
    DATE_TIME = 0x0132
    EXPOSURE_TIME = 0x829A
    F_NUMBER = 0x829D
    ISO = 0x8827
    DATE_TIME_ORIGINAL = 0x9003
    DATE_TIME_DIGITIZED = 0x9004
    OFFSET_TIME = 0x9010
    OFFSET_TIME_ORIGINAL = 0x9011
    OFFSET_TIME_DIGITIZED = 0x9012
    FLASH = 0x9209
    FOCAL_LENGTH = 0x920A
    SUB_SEC_TIME = 0x9290
    SUB_SEC_TIME_ORIGINAL = 0x9291
    SUB_SEC_TIME_DIGITIZED = 0x9292
    PIXEL_X_DIMENSION = 0xA002
    PIXEL_Y_DIMENSION = 0xA003
    BODY_SERIAL_NUMBER = 0xA431
    CAMERA_SERIAL_NUMBER = 0xC62F

    @property
    def title(self) -> str:
        """The name as the standard writes it, such as DateTimeOriginal."""
        return "".join(word if word == "GPS" else word.title() for word in self.name.split("_"))


Value = str | tuple[float, ...]
"""Text cut at its first NUL and trimmed, or numbers; a ratio over zero is NaN."""

_WANTED: Final = frozenset(Tag)
_EXIF_IFD, _GPS_IFD, _INTEROP_IFD = 0x8769, 0x8825, 0xA005
_MOST_ENTRIES: Final = 5_000
_MOST_VALUES: Final = 200_000
_MOST_BYTES: Final = 64_000_000
"""Our own bounds. A camera's file has under 500 entries; ExifRead takes a microsecond a value and
follows every pointer as often as it is written, so that 64 KB could keep it busy for hours."""
_SIZES: Final = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}


def twice(
    block: bytes, *, of_position: bool = False
) -> tuple[dict[Tag, Value], dict[Tag, Value], tuple[str, ...]]:
    """Read a TIFF block by both libraries.

    Parameters
    ----------
    block
        From its byte order mark on.
    of_position
        The block's main directory is the GPS directory (as CR3 splits them).

    Returns
    -------
    What Pillow found, what ExifRead found, and sentences about what kept either from reading.
    """
    if not _affordable(block):
        return {}, {}, ("the metadata claim more than a camera writes and were not read",)
    remarks = []
    found: list[dict[Tag, Value]] = []
    for name, read in (("Pillow", _by_pillow), ("ExifRead", _by_exifread)):
        try:
            found.append(_merged(*read(block), of_position=of_position))
        except Exception as odd:  # noqa: BLE001 - both let a dozen types out on bad blocks
            found.append({})
            remarks.append(f"{name} could not read the metadata: {type(odd).__name__}")
    return found[0], found[1], tuple(remarks)


def orientation(block: bytes) -> int:
    """Read the orientation of a TIFF block, 1..8; 0 when it has none that is valid."""
    try:
        found = _merged(*_by_pillow(block)) if _affordable(block) else {}
    except Exception:  # noqa: BLE001 - a broken block has no orientation
        return 0
    value = found.get(Tag.ORIENTATION)
    return int(value[0]) if isinstance(value, tuple) and value and value[0] in range(1, 9) else 0


_Groups = tuple[dict[int, object], dict[int, object], dict[int, object]]
"""The GPS directory, the main one and the Exif one, as a library gives them."""


def _by_pillow(block: bytes) -> _Groups:
    with quietly():
        exif = Image.Exif()
        exif.load(block)
        main: dict[int, object] = {tag: exif[tag] for tag in _WANTED if tag in exif}
        return exif.get_ifd(_GPS_IFD), main, exif.get_ifd(_EXIF_IFD)


def _by_exifread(block: bytes) -> _Groups:
    tags = exifread.process_file(io.BytesIO(block), details=False, extract_thumbnail=False)
    groups: dict[str, dict[int, object]] = {"Image": {}, "EXIF": {}, "GPS": {}}
    for name, tag in tags.items():
        group = name.split(" ", 1)[0]
        if group in groups and hasattr(tag, "values"):
            groups[group][tag.tag] = tag.values
    return groups["GPS"], groups["Image"], groups["EXIF"]


def _merged(
    position: Mapping[int, object],
    main: Mapping[int, object],
    deeper: Mapping[int, object],
    *,
    of_position: bool = False,
) -> dict[Tag, Value]:
    """Bring three directories into one; a tag of the Exif directory may stand in the main one.

    The numbers of GPS tags mean other things in other directories (in RW2, the sensor's size).
    """
    found: dict[Tag, Value] = {}
    for group, is_position in ((position, True), (main, of_position), (deeper, False)):
        for number in group.keys() & _WANTED:
            tag = Tag(number)
            value = _value(tag, group[number])
            if (tag <= Tag.GPS_DATE_STAMP) == is_position and value != ():
                found[tag] = value
    return found


def _value(tag: Tag, value: object) -> Value:
    """Bring a library's value to our form."""
    if isinstance(value, bytes | bytearray):
        return tuple(map(float, value[:1])) if tag is Tag.GPS_ALTITUDE_REF else _text(bytes(value))
    if isinstance(value, str):
        try:
            return _text(value.encode("latin-1"))  # Pillow reads every text as Latin-1
        except UnicodeEncodeError:
            return _text(value.encode())
    several: Iterable[object] = value if isinstance(value, list | tuple) else (value,)
    return tuple(_number(one) for one in several)


def _text(raw: bytes) -> str:
    """Cut at the first NUL, decode as UTF-8 or else Latin-1, drop what does not print, trim."""
    raw = raw.split(b"\0", 1)[0]
    try:
        text = raw.decode()
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return "".join(letter for letter in text if letter.isprintable()).strip()


def _number(value: object) -> float:
    if isinstance(value, tuple):  # ExifRead leaves a float field as a tuple of one
        value = value[0] if value else math.nan
    try:
        return float(value)  # type: ignore[arg-type]  # anything unfit raises and is no number
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return math.nan


def _affordable(block: bytes) -> bool:
    """Tell whether reading this block stays within our bounds, by walking it as the readers would."""
    if len(block) < 8:
        return False
    order = "<" if block[:2] == b"II" else ">"
    values = size = 0
    for entries, (kind, count) in enumerate(_entries(block, order)):
        values += min(count, 1000)
        size += min(count * _SIZES.get(kind, 1), len(block))
        if entries > _MOST_ENTRIES or values > _MOST_VALUES or size > _MOST_BYTES:
            return False
    return True


def _entries(block: bytes, order: str) -> Iterator[tuple[int, int]]:
    """Give type and count of every entry in the chain of directories and those they point to."""
    (first,) = struct.unpack_from(order + "I", block, 4)
    chain, seen = [(first, 0)], 0
    while chain and seen <= _MOST_ENTRIES:
        start, depth = chain.pop()
        if start + 2 > len(block):
            continue
        (count,) = struct.unpack_from(order + "H", block, start)
        for at in range(start + 2, start + 2 + 12 * count, 12):
            if at + 12 > len(block):
                break
            seen += 1
            tag, kind, many, target = struct.unpack_from(order + "HHII", block, at)
            yield kind, many
            if tag in {_EXIF_IFD, _GPS_IFD, _INTEROP_IFD} and depth < 4:
                chain.append((target, depth + 1))
        after = start + 2 + 12 * count
        if depth == 0 and after + 4 <= len(block):
            (following,) = struct.unpack_from(order + "I", block, after)
            seen += 1
            if following:
                chain.append((following, 0))
