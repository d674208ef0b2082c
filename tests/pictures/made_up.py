"""Small pictures made on the spot, and TIFF blocks and boxes that no library would write."""

from __future__ import annotations

import io
import struct
from collections.abc import Iterable
from typing import Any

import numpy as np
from PIL import Image

from evidence.words import Rgb

EXIF_IFD, GPS_IFD = 0x8769, 0x8825


def scene(width: int = 96, height: int = 64) -> Rgb:
    """A picture that looks otherwise from each side: a slope of brightness and one red corner."""
    across = np.linspace(0, 200, width)[None, :]
    down = np.linspace(0, 55, height)[:, None]
    grey = (across + down).astype(np.uint8)
    rgb = np.dstack([grey, grey, 255 - grey])
    rgb[: height // 4, : width // 4] = (220, 20, 20)
    return rgb


def jpeg(rgb: Rgb | None = None, *, mode: str = "RGB", **options: Any) -> bytes:  # noqa: ANN401 - Pillow's own
    """Encode with Pillow, an encoder that is not ours."""
    kept = io.BytesIO()
    Image.fromarray(scene() if rgb is None else rgb).convert(mode).save(kept, "JPEG", **options)
    return kept.getvalue()


def exif(
    main: dict[int, Any], deeper: dict[int, Any] | None = None, position: dict[int, Any] | None = None
) -> Image.Exif:
    """Build Exif with Pillow."""
    block = Image.Exif()
    for tag, value in main.items():
        block[tag] = value
    for number, group in ((EXIF_IFD, deeper), (GPS_IFD, position)):
        for tag, value in (group or {}).items():
            block.get_ifd(number)[tag] = value
    return block


def tiff(entries: Iterable[tuple[int, int, int, bytes]], order: str = "<", magic: int = 42) -> bytes:
    """Write a TIFF block of one directory: tag, type, count and the value's bytes (TIFF 6.0)."""
    listed = list(entries)
    at = 8 + 2 + 12 * len(listed) + 4
    rows, values = b"", b""
    for tag, kind, count, value in listed:
        rows += struct.pack(order + "HHI", tag, kind, count)
        if len(value) <= 4:
            rows += value.ljust(4, b"\0")
        else:
            rows += struct.pack(order + "I", at + len(values))
            values += value + b"\0" * (len(value) % 2)
    mark = b"II" if order == "<" else b"MM"
    return mark + struct.pack(order + "HIH", magic, 8, len(listed)) + rows + b"\0" * 4 + values


def with_block(block: bytes) -> bytes:
    """Put a TIFF block into a small JPEG as its Exif segment."""
    body = b"Exif\0\0" + block
    plain = jpeg()
    return plain[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + plain[2:]


def box(kind: bytes, body: bytes) -> bytes:
    """Write a box (ISO/IEC 14496-12, 4.2)."""
    return struct.pack(">I", 8 + len(body)) + kind + body
