"""Develop a DNG that holds no preview large enough to be shown.

Hides LibRaw, an optional library. Other makers' raw files are not developed: only a DNG says in an
open way what its values mean.
"""

from __future__ import annotations

import io
import re
from importlib import metadata
from typing import TYPE_CHECKING, Final

import numpy as np

from evidence.errors import BadPicture, LibraryMissing

if TYPE_CHECKING:
    from collections.abc import Callable

    from evidence.words import Rgb

_VERSION: Final = re.compile(rb"\x12\xc6\x01\x00\x04\x00\x00\x00|\xc6\x12\x00\x01\x00\x00\x00\x04")
"""The TIFF entry DNGVersion (50706, four bytes), in both byte orders (Adobe DNG Specification)."""


def is_dng(data: bytes) -> bool:
    """Tell by content whether a raw file is a DNG."""
    return data[:4] in {b"II*\0", b"MM\0*"} and bool(_VERSION.search(data))


def develop(data: bytes, longest: int | None, bound: Callable[[int, int], None]) -> Rgb:
    """Develop a DNG by its own white balance and colour matrix, and turn it upright.

    Parameters
    ----------
    data
        The whole file.
    longest
        Longest side wanted; when the half will do, mosaic cells are joined and nothing is interpolated.
    bound
        Called with width and height before anything is decoded; raises when they are too many.

    Returns
    -------
    Shape (height, width, 3), uint8, sRGB. Nothing is brightened, sharpened or cleaned.

    Raises
    ------
    LibraryMissing
        rawpy is not installed.
    BadPicture
        It cannot be developed.

    Notes
    -----
    LibRaw's linear way from sensor to sRGB (IEC 61966-2-1). Highlights are clipped, not rebuilt:
    what the sensor did not see is not made up.
    """
    try:
        import rawpy  # noqa: PLC0415 - optional and heavy
    except ImportError as missing:
        raise LibraryMissing(
            "This DNG holds no preview that can be shown, and developing it needs the library rawpy: "
            "pip install 'evidence-appendix[dng]'"
        ) from missing
    try:
        with rawpy.RawPy() as raw:
            raw.open_buffer(io.BytesIO(data))
            bound(raw.sizes.raw_width, raw.sizes.raw_height)
            raw.unpack()
            half = longest is not None and max(raw.sizes.width, raw.sizes.height) >= 2 * longest
            rgb = raw.postprocess(
                use_camera_wb=True,
                no_auto_bright=True,
                output_color=rawpy.ColorSpace.sRGB,
                gamma=(2.4, 12.92),
                highlight_mode=rawpy.HighlightMode.Clip,
                half_size=half,
                output_bps=8,
            )
    except (BadPicture, MemoryError):
        raise
    except Exception as odd:  # LibRaw lets a dozen types out on bad files
        raise BadPicture(f"The DNG cannot be developed: {_said(odd)}.") from odd
    if rgb.ndim != 3 or rgb.shape[2] != 3:
        raise BadPicture("The DNG cannot be developed: it has no colours.")
    return np.ascontiguousarray(rgb)


def developer() -> str:
    """Name the library that develops and its version, such as "rawpy 0.25.1"."""
    return f"rawpy {metadata.version('rawpy')}"


def _said(odd: Exception) -> str:
    text = odd.args[0] if odd.args else ""
    text = text.decode("latin-1") if isinstance(text, bytes) else str(text)
    return text.strip().rstrip(".")[:160] or "its data are damaged"
