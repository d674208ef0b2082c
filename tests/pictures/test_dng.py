"""A DNG without a preview is developed: colours, orientation once, bounds, and what is said without rawpy.

The files are made here, by the DNG Specification (tags) and TIFF 6.0 (layout), so that the light on
every cell of the mosaic is known.
"""

from __future__ import annotations

import re
import struct
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from evidence.errors import BadPicture, LibraryMissing, TooManyPixels
from evidence.pictures import decode_bytes, dng, kind_of, read_exif_bytes, shown_by
from evidence.words import FileKind
from tests.pictures.made_up import jpeg, scene, tiff
from tests.pictures.test_pixels import STORED

TO_LINEAR_SRGB = (
    (3.2404542, -1.5371385, -0.4985314),
    (-0.9692660, 1.8760108, 0.0415560),
    (0.0556434, -0.2040259, 1.0572252),
)
"""XYZ to linear sRGB for a white of D65 (IEC 61966-2-1): a camera that sees exactly in sRGB."""

PATCHES = {
    "grey": (0.18, 0.18, 0.18),
    "red": (0.5, 0.05, 0.05),
    "green": (0.05, 0.4, 0.05),
    "blue": (0.04, 0.06, 0.45),
}


def encoded(linear: float) -> float:
    """IEC 61966-2-1, as a level of 255."""
    return 255 * (12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055)


def patches(size: int = 64) -> NDArray[np.float64]:
    """Four flat patches: grey and red above, green and blue below. Shape (2 size, 2 size, 3), linear."""
    light = np.zeros((2 * size, 2 * size, 3))
    for n, colour in enumerate(PATCHES.values()):
        light[n // 2 * size : (n // 2 + 1) * size, n % 2 * size : (n % 2 + 1) * size] = colour
    return light


def a_dng(
    light: NDArray[np.float64],
    orientation: int = 1,
    *,
    claims: tuple[int, int] | None = None,
    preview: bytes = b"",
) -> bytes:
    """Write a DNG of one directory: 16 bits, uncompressed, mosaic red-green over green-blue."""
    height, width = light.shape[:2]
    down, across = np.indices((height, width))
    channel = down % 2 + across % 2
    cells = np.take_along_axis(light, channel[..., None], axis=2)[..., 0]
    values = (cells * 65535 + 0.5).astype("<u2").tobytes()
    w, h = claims or (width, height)
    matrix = b"".join(struct.pack("<ii", round(v * 10000), 10000) for row in TO_LINEAR_SRGB for v in row)
    rows = [
        (0x00FE, 4, 1, struct.pack("<I", 0)),
        (0x0100, 4, 1, struct.pack("<I", w)),
        (0x0101, 4, 1, struct.pack("<I", h)),
        (0x0102, 3, 1, struct.pack("<H", 16)),
        (0x0103, 3, 1, struct.pack("<H", 1)),
        (0x0106, 3, 1, struct.pack("<H", 32803)),
        (0x010F, 2, 5, b"Wren\0"),
        (0x0110, 2, 3, b"F2\0"),
        (0x0111, 4, 1, b"\0\0\0\0"),
        (0x0112, 3, 1, struct.pack("<H", orientation)),
        (0x0115, 3, 1, struct.pack("<H", 1)),
        (0x0116, 4, 1, struct.pack("<I", h)),
        (0x0117, 4, 1, struct.pack("<I", len(values))),
        (0x828D, 3, 2, struct.pack("<HH", 2, 2)),
        (0x828E, 1, 4, bytes([0, 1, 1, 2])),
        (0xC612, 1, 4, bytes([1, 4, 0, 0])),
        (0xC614, 2, 8, b"Wren F2\0"),
        (0xC61D, 4, 1, struct.pack("<I", 65535)),
        (0xC621, 10, 9, matrix),
        (0xC628, 5, 3, struct.pack("<6I", 1, 1, 1, 1, 1, 1)),
        (0xC65A, 3, 1, struct.pack("<H", 21)),
    ]
    head = tiff(rows)
    head += b"\0" * (len(head) % 2)
    at = head.index(struct.pack("<HHI", 0x0111, 4, 1)) + 8
    return head[:at] + struct.pack("<I", len(head)) + head[at + 4 :] + values + preview


def test_it_is_a_raw_file_and_a_dng_by_its_content() -> None:
    data = a_dng(patches())

    assert kind_of("ABCD0001.DNG", data) is FileKind.RAW
    assert dng.is_dng(data)
    assert not dng.is_dng(data.replace(struct.pack("<HHI", 0xC612, 1, 4), struct.pack("<HHI", 0xC611, 1, 4)))
    assert read_exif_bytes(data).model == "F2"


def test_its_colours_are_those_of_the_light_on_the_sensor() -> None:
    """IEC 61966-2-1 gives the level of each patch; two levels are left for the library's rounding."""
    pytest.importorskip("rawpy")

    rgb = decode_bytes(a_dng(patches()))

    assert rgb.shape == (128, 128, 3)
    for n, colour in enumerate(PATCHES.values()):
        patch = rgb[n // 2 * 64 + 16 : n // 2 * 64 + 48, n % 2 * 64 + 16 : n % 2 * 64 + 48]
        assert np.abs(patch.reshape(-1, 3).mean(0) - [encoded(v) for v in colour]).max() < 2


@pytest.mark.parametrize("orientation", range(1, 9))
def test_it_is_turned_upright_once(orientation: int) -> None:
    """CIPA DC-008, Orientation: the picture that LibRaw gives is compared with NumPy's own turns."""
    pytest.importorskip("rawpy")

    stored = np.ascontiguousarray(STORED[orientation](patches()[:, :96]))
    plain = decode_bytes(a_dng(patches()[:, :96]))

    upright = decode_bytes(a_dng(stored, orientation))

    assert upright.shape == plain.shape
    assert np.abs(upright[8:56:8, 8:56:8].astype(int) - plain[8:56:8, 8:56:8]).max() <= 3
    assert np.abs(upright[72:120:8, 8:56:8].astype(int) - plain[72:120:8, 8:56:8]).max() <= 3


def test_a_large_preview_is_shown_and_a_small_one_only_where_developing_is_not_possible(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pytest.importorskip("rawpy")
    large, small = jpeg(scene(1600, 1200)), jpeg(scene(96, 64))

    assert decode_bytes(a_dng(patches(), preview=large)).shape == (1200, 1600, 3)
    assert decode_bytes(a_dng(patches(), preview=small)).shape == (128, 128, 3)
    monkeypatch.setitem(sys.modules, "rawpy", None)
    assert decode_bytes(a_dng(patches(), preview=small)).shape == (64, 96, 3)


def test_it_is_said_whether_a_preview_is_shown_or_who_developed_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    rawpy = pytest.importorskip("rawpy")
    small = jpeg(scene(96, 64))
    (tmp_path / "A.DNG").write_bytes(a_dng(patches(), preview=small))
    (tmp_path / "B.JPG").write_bytes(small)

    assert shown_by(tmp_path / "A.DNG") == f"the raw file, developed by rawpy {rawpy.__version__}"
    assert shown_by(tmp_path / "B.JPG") == ""
    monkeypatch.setitem(sys.modules, "rawpy", None)
    assert shown_by(tmp_path / "A.DNG") == "the preview in the raw file, 96 x 64 pixels"


def test_without_the_library_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "rawpy", None)

    with pytest.raises(LibraryMissing, match=re.escape("evidence-appendix[dng]")):
        decode_bytes(a_dng(patches()))


def test_pixels_are_counted_before_it_is_developed() -> None:
    pytest.importorskip("rawpy")

    with pytest.raises(TooManyPixels, match="pixels"):
        decode_bytes(a_dng(patches(), claims=(30_000, 30_000)))


@pytest.mark.parametrize("cut", [0.02, 0.5])
def test_a_cut_off_one_is_refused_in_a_sentence(cut: float) -> None:
    pytest.importorskip("rawpy")
    data = a_dng(patches())

    with pytest.raises(BadPicture, match=r"^[A-Z].*\.$"):
        decode_bytes(data[: 600 + int(len(data) * cut)])


def test_half_the_size_is_developed_where_that_will_do() -> None:
    pytest.importorskip("rawpy")

    assert decode_bytes(a_dng(patches()), 64).shape == (64, 64, 3)
