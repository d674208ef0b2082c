"""Read what a file's own metadata says of how it was taken."""

from __future__ import annotations

import math
import re
from datetime import datetime
from pathlib import Path
from typing import Any

from PIL import Image

from evidence import errors
from evidence.pictures import quiet, segments
from evidence.words import CameraTime, Capture, Position, TimeSource

_CFA = (bytes.fromhex("060103000100000023800000"), bytes.fromhex("010600030000000180230000"))


VERSION = 1
"""Version of the readings; raise it when the same bytes give another Capture."""


def is_raw(data: bytes) -> bool:
    """Tell by content whether a file is a raw file of a known make."""
    if data[:4] in {b"IIU\0", b"IIRO", b"IIRS", b"MMOR", b"FUJI", b"FOVb"} or data[4:12] == b"ftypcrx ":
        return True
    return data[:4] in {b"II*\0", b"MM\0*"} and (data[8:10] == b"CR" or any(mark in data for mark in _CFA))


def read_exif(path: Path) -> Capture:
    """Read a file's metadata; see :func:`read_exif_bytes`."""
    return read_exif_bytes(path.read_bytes())


def orientation_of(block: bytes) -> int | None:
    """Give the orientation of a TIFF block, None when it has none that is valid."""
    value = _tags(block).get(0x0112)
    return value if isinstance(value, int) and 1 <= value <= 8 else None


def read_exif_bytes(data: bytes) -> Capture:
    """Read what a file's own metadata says of how it was taken.

    Never raises for what a file holds: what cannot be read becomes a remark.
    """
    width = height = 0
    block = b""
    if data[:2] == b"\xff\xd8":
        try:
            stream = segments.walk(data)
        except errors.BadPicture as bad:
            return Capture(remarks=(str(bad),))
        width, height = stream.width, stream.height
        block = segments.exif_block(data, stream)
        tags = _tags(block)
    elif data[:4] in {b"II*\0", b"MM\0*"}:
        tags = _tags(data)
    else:
        tags = {}
        with quiet.pillow():
            try:
                image = quiet.open_image(data)
                width, height = image.size
                found = image.getexif()
                tags = {**found, **found.get_ifd(0x8769), -1: found.get_ifd(0x8825)}
            except Exception as odd:  # noqa: BLE001
                return Capture(remarks=(str(odd),))
    return _capture(tags, width, height)


def _tags(block: bytes) -> dict[int, Any]:
    if not block:
        return {}
    with quiet.pillow():
        try:
            found = Image.Exif()
            found.load(block)
            return {**found, **found.get_ifd(0x8769), -1: found.get_ifd(0x8825)}
        except Exception:  # noqa: BLE001
            return {}


def _text(value: object) -> str:
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    return str(value).split("\0", 1)[0].strip() if value is not None else ""


def _moment(text: str) -> datetime | None:
    match = re.match(r"(\d{4})[:/-](\d\d)[:/-](\d\d)[ T](\d\d):(\d\d):(\d\d)", text)
    try:
        return datetime(*map(int, match.groups())) if match else None  # type: ignore[arg-type]  # noqa: DTZ001
    except ValueError:
        return None


def _number(value: object) -> float | None:
    if isinstance(value, tuple | list):
        value = value[0] if value else None
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def _capture(tags: dict[int, Any], width: int, height: int) -> Capture:
    time = None
    subsec = _text(tags.get(0x9291))
    offset = re.match(r"([+-])(\d\d):(\d\d)", _text(tags.get(0x9011)))
    for tag, source in (
        (0x9003, TimeSource.TAKEN),
        (0x9004, TimeSource.DIGITIZED),
        (0x0132, TimeSource.CHANGED),
    ):
        if moment := _moment(_text(tags.get(tag))):
            if source is TimeSource.TAKEN and subsec.isdigit():
                moment = moment.replace(microsecond=int(subsec[:6].ljust(6, "0")))
            minutes = int(offset[1] + "1") * (int(offset[2]) * 60 + int(offset[3])) if offset else None
            time = CameraTime(moment, minutes, source)
            break
    orientation = tags.get(0x0112)
    iso = _number(tags.get(0x8827))
    flash = tags.get(0x9209)
    return Capture(
        time=time,
        changed=_moment(_text(tags.get(0x0132))),
        subsec=subsec,
        make=_text(tags.get(0x010F)),
        model=_text(tags.get(0x0110)),
        serial=_text(tags.get(0xA431)),
        orientation=orientation if isinstance(orientation, int) and 1 <= orientation <= 8 else 1,
        exposure_s=_number(tags.get(0x829A)),
        f_number=_number(tags.get(0x829D)),
        iso=int(iso) if iso else None,
        focal_mm=_number(tags.get(0x920A)),
        flash=bool(flash & 1) if isinstance(flash, int) else None,
        position=_position(tags.get(-1) or {}),
        direction_deg=_number((tags.get(-1) or {}).get(0x0011)),
        width=width,
        height=height,
    )


def _position(gps: dict[int, Any]) -> Position | None:
    def degrees(value: object) -> float | None:
        try:
            parts = [float(part) for part in value]  # type: ignore[attr-defined]
        except (TypeError, ValueError, ZeroDivisionError):
            return None
        total = sum(part / 60**power for power, part in enumerate(parts[:3]))
        return total if math.isfinite(total) else None

    latitude, longitude = degrees(gps.get(2)), degrees(gps.get(4))
    if latitude is None or longitude is None:
        return None
    return Position(
        -latitude if _text(gps.get(1)).upper().startswith("S") else latitude,
        -longitude if _text(gps.get(3)).upper().startswith("W") else longitude,
        _number(gps.get(6)),
    )
