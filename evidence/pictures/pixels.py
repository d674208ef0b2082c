"""Turn a file's bytes into upright sRGB pixels, small if small is enough.

Hides decoders, orientation, colour profiles, odd pixel modes and the preview inside a raw file;
counts pixels before it decodes any.
"""

from __future__ import annotations

import io
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np
from PIL import Image, ImageCms, UnidentifiedImageError

from evidence.errors import BadPicture, LibraryMissing, TooManyPixels
from evidence.pictures import blocks, boxes, dng, raws, readers, segments
from evidence.pictures.quiet import quietly
from evidence.smaller import by_parts

if TYPE_CHECKING:
    from pathlib import Path

    from evidence.words import Rgb

MOST_PIXELS: Final = 250_000_000
"""For a JPEG, which can be decoded small; the largest phone sensors sold give 200 MP."""
MOST_PIXELS_WHOLE: Final = 110_000_000
"""For what must be decoded whole, at up to 7 bytes a pixel in two copies: under 1 GB."""
STUDY_PX: Final = 1600
_GLANCE_PX: Final = 64
"""Enough to learn whether a raw file can be developed."""
SMALL_PX: Final = 800
SIZES_VERSION: Final = 2
"""Rises with every change that moves a pixel of :func:`study_sizes`."""

_FORMATS: Final = ("JPEG", "MPO", "HEIF", "AVIF", "TIFF", "PNG", "WEBP", "GIF", "BMP", "JPEG2000")
"""What Pillow may try. Others of its openers start programs (EPS) or are no camera's."""
_WARNING_FREE: Final = frozenset({"JPEG", "MPO", "HEIF", "AVIF"})
_UPRIGHT: Final = frozenset({"TIFF", "HEIF"})
"""Formats whose decoder has turned the pixels although the tag may still say 6: Pillow's own for
TIFF, libheif for HEIF (where only the file's irot and imir count: ISO/IEC 23008-12, 6.5.10)."""
_REDUCED: Final = {
    1: cv2.IMREAD_COLOR_RGB,
    **{
        n: flag | cv2.IMREAD_COLOR_RGB
        for n, flag in (
            (2, cv2.IMREAD_REDUCED_GRAYSCALE_2),
            (4, cv2.IMREAD_REDUCED_GRAYSCALE_4),
            (8, cv2.IMREAD_REDUCED_GRAYSCALE_8),
        )
    },
}
"""OpenCV's flags for a JPEG at 1/n in the order RGB: IMREAD_REDUCED_GRAYSCALE_n with IMREAD_COLOR_RGB."""
_SAME_LEVELS: Final = 2
"""A profile that moves no test colour by more than this many levels of 255 is sRGB under another name."""


def decode(path: Path, longest: int | None = None) -> Rgb:
    """Decode the picture in a file; see :func:`decode_bytes`."""
    return decode_bytes(path.read_bytes(), longest)


def decode_bytes(data: bytes, longest: int | None = None) -> Rgb:
    """Decode a picture, turned upright exactly once.

    Parameters
    ----------
    data
        The whole file. Of a raw file the embedded preview is decoded; a DNG without one as long as
        :data:`STUDY_PX` is developed where rawpy is installed.
    longest
        Longest side wanted, pixels; a smaller picture is not enlarged. None: full size.

    Returns
    -------
    Shape (height, width, 3), uint8, sRGB. Transparent parts lie on white.

    Raises
    ------
    BadPicture
        It is no picture, or cannot be decoded to its end.
    TooManyPixels
        It claims more than :data:`MOST_PIXELS` (JPEG) or :data:`MOST_PIXELS_WHOLE`.
    LibraryMissing
        It is HEIF, or a DNG without preview, and the optional library is not installed.

    Notes
    -----
    A JPEG is decoded at 1/2, 1/4 or 1/8 by its DCT (Pillow's ``draft``) and then averaged down.
    The size asked for has the picture's own shape: with a square one ``draft`` does nothing on
    4:3 pictures.
    """
    if data[:2] == b"\xff\xd8":
        return _jpeg(data, longest, 1)
    if raws.is_raw(data):
        return _raw(data, longest)[0]
    return _other(data, longest)


def shown_by(path: Path) -> str:
    """Say what of a raw file is shown as its picture; "" for a file that is itself the picture.

    Returns
    -------
    Such as "the preview in the raw file, 1616 x 1080 pixels" or "the raw file, developed by rawpy 0.25.1".

    Raises
    ------
    BadPicture, TooManyPixels, LibraryMissing
        As :func:`decode_bytes`.
    """
    with path.open("rb") as file:
        # Some raw files are told only by a tag deep in their directory, which may lie anywhere.
        if file.read(2) == b"\xff\xd8":
            return ""
        file.seek(0)
        data = file.read()
    return _raw(data, _GLANCE_PX)[1] if raws.is_raw(data) else ""


def study_sizes(data: bytes) -> tuple[Rgb, Rgb]:
    """Decode once, and give the picture in the two sizes it is judged at.

    Returns
    -------
    The larger is 1600 to 3199 pixels long, the smaller 800 to 1599 and a whole-number part of it
    (the last rows and columns that do not fill a part are left off). A picture that is smaller
    itself is not enlarged.

    Raises
    ------
    BadPicture, TooManyPixels, LibraryMissing
        As :func:`decode_bytes`.

    Notes
    -----
    Averaging 2000 pixels down to exactly 1600 takes as long as two thirds of the decoding; to a
    whole-number part it takes a tenth of that, and no judgement needs an exact size.
    """
    large = _reduced(data)
    if large is None:
        large = decode_bytes(data, STUDY_PX)
    return large, by_parts(large, max(1, max(large.shape[:2]) // SMALL_PX))


def shrink(rgb: Rgb, longest: int) -> Rgb:
    """Make a picture smaller by area averaging; one that is small enough is given back as it is.

    Examples
    --------
    >>> shrink(np.zeros((30, 40, 3), np.uint8), 20).shape
    (15, 20, 3)
    """
    height, width = rgb.shape[:2]
    if max(height, width) <= longest:
        return rgb
    return np.asarray(
        cv2.resize(rgb, _fitted(width, height, longest), interpolation=cv2.INTER_AREA), np.uint8
    )


def turn(stored: Rgb, orientation: int) -> Rgb:
    """Turn pixels as stored upright, for an Exif Orientation of 1 to 8 (CIPA DC-008, tag 0x0112).

    Examples
    --------
    >>> turn(np.arange(6, dtype=np.uint8).reshape(2, 3, 1), 6)[..., 0].tolist()
    [[3, 0], [4, 1], [5, 2]]
    """
    upright = stored.transpose(1, 0, 2) if orientation in {5, 6, 7, 8} else stored
    if orientation in {3, 4, 7, 8}:
        upright = upright[::-1]
    if orientation in {2, 3, 6, 7}:
        upright = upright[:, ::-1]
    return np.ascontiguousarray(upright)


def _raw(data: bytes, longest: int | None) -> tuple[Rgb, str]:
    """Show a raw file by its preview; a DNG whose preview is missing or small is developed, if it can be.

    What is shown comes with the words for it.
    """
    found = raws.largest_preview(data)
    if _to_be_developed(data, found):
        try:
            developed = dng.develop(data, longest, lambda w, h: _bound(w, h, MOST_PIXELS_WHOLE))
        except (BadPicture, LibraryMissing):
            if found is None:
                raise
        else:
            said = f"the raw file, developed by {dng.developer()}"
            return (shrink(developed, longest) if longest else developed), said
    if found is None:
        raise BadPicture("The raw file holds no preview that can be shown.")
    preview = _jpeg(data[found.start : found.end], longest, readers.orientation(blocks.raw_block(data)))
    return preview, f"the preview in the raw file, {found.width} x {found.height} pixels"


def _to_be_developed(data: bytes, found: raws.Preview | None) -> bool:
    """Whether the raw file is a DNG whose preview is missing or too small to print."""
    return dng.is_dng(data) and (found is None or max(found.width, found.height) < STUDY_PX)


def _jpeg(data: bytes, longest: int | None, orientation: int) -> Rgb:
    """Decode a JPEG; the orientation given counts when the file says none."""
    stream = segments.walk(data)
    _bound(stream.width, stream.height, MOST_PIXELS)
    if stream.end is None:
        _whole_or_raise(data, stream)
        data += b"\xff\xd9"
    with quietly():
        image = _opened(data)
    if longest and max(image.size) > longest:
        image.draft(None, _fitted(*image.size, longest))
    _load(image)
    block = segments.exif_block(data, stream.segments)
    own = readers.orientation(block) if block else 0
    return _finished(image, segments.profile(data, stream), longest, own or orientation or 1)


def _reduced(data: bytes) -> Rgb | None:
    """Decode a JPEG such as cameras write, reduced by its DCT and by nothing else; None for any other file.

    OpenCV and Pillow hold the same decoder and give the same pixels; OpenCV's way out of it is a third
    shorter. It talks on the process's standard error of damaged scans, so this is for worker processes.
    """
    orientation = 1
    if raws.is_raw(data):
        found = raws.largest_preview(data)
        if found is None or _to_be_developed(data, found):
            return None
        orientation = readers.orientation(blocks.raw_block(data))
        data = data[found.start : found.end]
    if data[:2] != b"\xff\xd8":
        return None
    stream = segments.walk(data)
    _bound(stream.width, stream.height, MOST_PIXELS)
    if stream.end is None or stream.components != 3 or stream.precision != 8:
        return None
    part = next(n for n in (8, 4, 2, 1) if n == 1 or max(stream.width, stream.height) >= n * STUDY_PX)
    flags = _REDUCED[part] | cv2.IMREAD_IGNORE_ORIENTATION
    icc = segments.profile(data, stream)
    try:
        rgb = np.asarray(cv2.imdecode(np.frombuffer(data, np.uint8), flags), np.uint8)
        if change := _change(icc, "RGB") if icc else None:
            rgb = np.asarray(ImageCms.applyTransform(Image.fromarray(rgb), change), np.uint8)
    except (cv2.error, TypeError, ImageCms.PyCMSError):
        return None  # Pillow says what is wrong
    block = segments.exif_block(data, stream.segments)
    own = readers.orientation(block) if block else 0
    return turn(rgb, own or orientation)


def _other(data: bytes, longest: int | None) -> Rgb:
    """Decode anything but a JPEG."""
    if data[4:8] == b"ftyp":
        _bound(boxes.heif(io.BytesIO(data)).largest, 1, MOST_PIXELS_WHOLE)
        if boxes.ends_libheif(io.BytesIO(data)):
            raise BadPicture("Its header is broken: an item's type is not text.")
    with quietly():
        image = _opened(data)
        _bound(*image.size, MOST_PIXELS_WHOLE)
        orientation = 1 if image.format in _UPRIGHT else _tagged(image)
        if image.format not in _WARNING_FREE:
            _load(image)
    _load(image)
    return _finished(image, image.info.get("icc_profile") or b"", longest, orientation)


def _finished(image: Image.Image, icc: bytes, longest: int | None, orientation: int) -> Rgb:
    """Bring a decoded picture to sRGB, to its size and upright; the cheapest order first."""
    change = _change(bytes(icc), image.mode) if icc else None
    try:
        if image.mode == "RGB" and not image.has_transparency_data:
            rgb = np.asarray(image)
            rgb = shrink(rgb, longest) if longest else rgb
            if change:
                rgb = np.asarray(ImageCms.applyTransform(Image.fromarray(rgb), change))
        else:
            rgb = np.asarray(_plain(ImageCms.applyTransform(image, change) or image if change else image))
            rgb = shrink(rgb, longest) if longest else rgb
    except (ImageCms.PyCMSError, ValueError, OSError, MemoryError) as odd:
        raise BadPicture(f"The picture's {image.mode} pixels cannot be shown in colour: {odd}.") from odd
    return turn(rgb, orientation)


def _bound(width: int, height: int, most: int) -> None:
    if width * height > most:
        raise TooManyPixels(
            f"It claims {width * height / 1e6:.0f} million pixels; at most {most / 1e6:.0f} are decoded."
        )


def _fitted(width: int, height: int, longest: int) -> tuple[int, int]:
    """Give the size with the same shape and the longest side wanted; never a side of 0."""
    scale = longest / max(width, height)
    return max(1, int(width * scale + 0.5)), max(1, int(height * scale + 0.5))


def _opened(data: bytes) -> Image.Image:
    """Open a picture with Pillow without decoding it; call it quietly."""
    names = list(_FORMATS)
    if data[4:8] == b"ftyp" and b"avi" not in data[8:64]:
        names = ["HEIF"]
        _register_heif()
    try:
        return Image.open(io.BytesIO(data), formats=[name for name in names if name in _known()])
    except Image.DecompressionBombError as bomb:
        raise TooManyPixels("It claims far more pixels than a camera makes.") from bomb
    except UnidentifiedImageError as unknown:
        said = "Its content is not that of a picture." if data else "The file is empty."
        raise BadPicture(said) from unknown
    except MemoryError:
        raise  # the computer's fault, now, and not the file's
    except Exception as odd:  # Pillow's openers let a dozen types out on bad files
        raise BadPicture(f"Its header is broken: {_said(odd)}.") from odd


def _said(odd: Exception) -> str:
    """Put a library's complaint into plain words where it has none of its own."""
    text = str(odd).strip().rstrip(".")
    if not text or text.startswith(("decoder error", "broken data stream", "unrecognized data stream")):
        return "its data are damaged"
    return text.split("\n", 1)[0][:160]


def _known() -> frozenset[str]:
    Image.init()
    return frozenset(Image.OPEN)


def _register_heif() -> None:
    try:
        import pi_heif  # noqa: PLC0415 - optional and heavy
    except ImportError as missing:
        raise LibraryMissing(
            "A HEIC picture needs the library pi-heif: pip install 'evidence-appendix[heic]'"
        ) from missing
    pi_heif.register_heif_opener()


def _load(image: Image.Image) -> None:
    try:
        image.load()
    except MemoryError:
        raise
    except Exception as odd:  # Pillow's decoders let a dozen types out on bad files
        raise BadPicture(f"The {image.format} cannot be decoded to its end: {_said(odd)}.") from odd


def _tagged(image: Image.Image) -> int:
    """Read the orientation that Pillow gives, 1 when there is none that is valid."""
    try:
        value = image.getexif().get(0x0112)
    except Exception:  # noqa: BLE001 - a broken Exif block must not cost the picture
        return 1
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _whole_or_raise(data: bytes, stream: segments.Stream) -> None:
    """Let a JPEG pass that lacks only its end marker; say of another at what height it breaks off."""
    if stream.frame == segments.PROGRESSIVE:
        raise BadPicture("The JPEG breaks off before its end; only a coarse picture is left.")
    with quietly():
        image = _opened(data + b"\xff\xd9")
    image.draft("RGB", (1, 1))
    _load(image)
    rows = np.asarray(image.convert("RGB"))
    same = (rows == rows[-1:, -1:]).all(axis=(1, 2))[::-1]
    lost = len(same) if same.all() else int(np.argmin(same))
    if lost * 8 > 2 * 16:
        raise BadPicture(f"The JPEG breaks off after about {1 - lost / len(rows):.0%} of its height.")


def _plain(image: Image.Image) -> Image.Image:
    """Bring any pixel mode to RGB: alpha onto white, more than 8 bits to 8."""
    if image.mode.startswith("I") or image.mode == "F":
        values = np.nan_to_num(np.asarray(image, np.float32))
        highest = float(values.max(initial=0))
        top = next((top for top in (1.0, 255.0, 65535.0) if highest <= top), highest)
        if image.mode != "F":
            top = max(top, 65535.0)
        image = Image.fromarray((np.clip(values / top, 0, 1) * 255 + 0.5).astype(np.uint8))
    if image.has_transparency_data:
        clear = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", clear.size, "white"), clear)
    return image.convert("RGB")


@lru_cache(maxsize=16)
def _change(icc: bytes, mode: str) -> ImageCms.ImageCmsTransform | None:
    """Build the change from a profile to sRGB, None when it is sRGB, broken or for another kind of pixel."""
    spaces = {"RGB": b"RGB ", "CMYK": b"CMYK", "L": b"GRAY"}
    if spaces.get(mode) != icc[16:20]:
        return None
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        change = ImageCms.buildTransform(source, ImageCms.createProfile("sRGB"), mode, "RGB")
        if mode == "RGB":
            steps = np.linspace(0, 255, 6).astype(np.uint8)
            colours = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(6, 36, 3)
            moved = np.asarray(ImageCms.applyTransform(Image.fromarray(colours), change), np.int16)
            if np.abs(moved - colours).max() <= _SAME_LEVELS:
                return None
    except (ImageCms.PyCMSError, ValueError, OSError, TypeError):
        return None
    return change
