"""Turn a file's bytes into upright pixels, small if that is enough.

Hides decoders, orientation, colour profiles and odd pixel modes; bounds pixels before decoding.
"""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from PIL import Image, ImageCms

from evidence import errors
from evidence.pictures import exif, quiet, segments
from evidence.words import Rgb

MOST_PIXELS: Final = 250_000_000
"""Larger than the largest camera sensors sold (about 150 MP); our own bound."""
STUDY_PX: Final = 1600
THUMB_PX: Final = 256


def decode(path: Path, longest: int | None = None) -> Rgb:
    """Decode the picture in a file; see :func:`decode_bytes`."""
    return decode_bytes(path.read_bytes(), longest)


def decode_bytes(data: bytes, longest: int | None = None) -> Rgb:
    """Decode a picture, turned upright exactly once, in sRGB.

    Parameters
    ----------
    data
        The whole file.
    longest
        The longest side wanted, pixels; a smaller picture is not enlarged. None: full size.

    Returns
    -------
    Shape (height, width, 3), uint8.

    Raises
    ------
    BadPicture
        It cannot be decoded, or only in part.
    TooManyPixels
        It claims more than :data:`MOST_PIXELS`.
    LibraryMissing
        It is HEIF and pi-heif is not installed.
    """
    if data[:2] == b"\xff\xd8":
        return _jpeg(data, longest)
    if raw := exif.is_raw(data):
        return _jpeg(_preview(data), longest, orientation=raw and exif.read_exif_bytes(data).orientation)
    return _pillow(data, longest)


def study_sizes(data: bytes) -> tuple[Rgb, Rgb]:
    """Decode once and give the picture about 1600 and about 256 pixels long."""
    study = decode_bytes(data, STUDY_PX)
    return study, shrink(study, THUMB_PX)


def shrink(rgb: Rgb, longest: int) -> Rgb:
    """Make a picture smaller by area averaging; one that is small enough is given back as it is."""
    height, width = rgb.shape[:2]
    scale = longest / max(height, width)
    if scale >= 1:
        return rgb
    size = max(1, round(width * scale)), max(1, round(height * scale))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)


def turn(rgb: Rgb, orientation: int) -> Rgb:
    """Turn stored pixels upright as Exif Orientation 1..8 says (CIPA DC-008, tag 0x0112)."""
    if orientation in {5, 6, 7, 8}:
        rgb = rgb.transpose(1, 0, 2)
    if orientation in {3, 4, 7, 8}:
        rgb = rgb[::-1]
    if orientation in {2, 3, 6, 7}:
        rgb = rgb[:, ::-1]
    return np.ascontiguousarray(rgb)


def _bound(width: int, height: int) -> None:
    if width * height > MOST_PIXELS:
        raise errors.TooManyPixels(f"it claims {width} x {height} pixels, more than any camera makes")


def _jpeg(data: bytes, longest: int | None, orientation: int | None = None) -> Rgb:
    stream = segments.walk(data)
    _bound(stream.width, stream.height)
    if stream.end is None:
        raise errors.BadPicture("the JPEG breaks off before its end")
    if stream.precision != 8 or stream.components not in {1, 3}:
        return _pillow(data, longest)
    factor = 1
    if longest:
        side = max(stream.width, stream.height)
        factor = next((n for n in (8, 4, 2) if side / n >= longest), 1)
    flag = {
        1: cv2.IMREAD_COLOR,
        2: cv2.IMREAD_REDUCED_COLOR_2,
        4: cv2.IMREAD_REDUCED_COLOR_4,
        8: cv2.IMREAD_REDUCED_COLOR_8,
    }[factor]
    bgr = cv2.imdecode(np.frombuffer(data, np.uint8), flag | cv2.IMREAD_IGNORE_ORIENTATION)
    if bgr is None:
        raise errors.BadPicture("the JPEG cannot be decoded")
    rgb = np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), np.uint8)
    if longest:
        rgb = shrink(rgb, longest)
    rgb = to_srgb(rgb, segments.profile(data, stream))
    own = exif.orientation_of(segments.exif_block(data, stream))
    return turn(rgb, own or orientation or 1)


def to_srgb(rgb: Rgb, icc: bytes) -> Rgb:
    """Convert pixels of an embedded RGB profile to sRGB; a broken or sRGB profile changes nothing."""
    if not icc or b"sRGB" in icc or b"s\0R\0G\0B" in icc or icc[16:20] != b"RGB ":
        return rgb
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        done = ImageCms.profileToProfile(
            Image.fromarray(rgb), source, ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        return rgb
    return np.asarray(done, np.uint8)


def _pillow(data: bytes, longest: int | None) -> Rgb:
    with quiet.pillow():
        image = quiet.open_image(data)
        _bound(*image.size)
        upright = image.format in {"TIFF", "HEIF"}
        try:
            orientation = 1 if upright else image.getexif().get(0x0112, 1)
            image.load()
        except Exception as odd:  # noqa: BLE001 - Pillow's decoders raise a dozen types on bad files
            raise errors.BadPicture(f"the {image.format} cannot be decoded: {odd}") from odd
        icc = image.info.get("icc_profile") or b""
        rgb = np.asarray(_plain(image), np.uint8)
    if longest:
        rgb = shrink(rgb, longest)
    return turn(to_srgb(rgb, icc), orientation)


def _plain(image: Image.Image) -> Image.Image:
    """Bring any pixel mode to RGB: alpha onto white, 16 bits to 8."""
    if image.mode.startswith("I") or image.mode == "F":
        values = np.asarray(image, np.float64)
        top = 65535.0 if values.max(initial=0) > 255 else 255.0
        image = Image.fromarray(np.clip(values / top * 255, 0, 255).astype(np.uint8))
    if image.has_transparency_data:
        image = image.convert("RGBA")
        white = Image.new("RGBA", image.size, "white")
        image = Image.alpha_composite(white, image)
    return image.convert("RGB")


def _preview(data: bytes) -> bytes:
    """Give the largest embedded JPEG of a raw file."""
    best = b""
    for match in re.finditer(rb"\xff\xd8\xff[\xc0-\xfe]", data):
        try:
            stream = segments.walk(data, match.start())
        except errors.BadPicture:
            continue
        if stream.end and stream.frame in {0xC0, 0xC1, 0xC2} and stream.end - match.start() > len(best):
            best = data[match.start() : stream.end]
    if not best:
        raise errors.BadPicture("the raw file holds no preview that can be shown")
    return best
