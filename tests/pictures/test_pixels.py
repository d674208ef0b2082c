"""Upright sRGB pixels of a file's bytes."""

import io
import multiprocessing
import re
import struct
import sys
import time
import zlib
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, JpegImagePlugin

from evidence.errors import BadPicture, EvidenceError, LibraryMissing, TooManyPixels
from evidence.pictures import decode, decode_bytes, kind_of, read_exif, shrink, study_sizes
from evidence.words import FileKind, Rgb
from tests import memory
from tests.pictures.made_up import box, exif, jpeg, scene

STORED = {
    1: lambda upright: upright,
    2: lambda upright: upright[:, ::-1],
    3: lambda upright: upright[::-1, ::-1],
    4: lambda upright: upright[::-1],
    5: lambda upright: upright.transpose(1, 0, 2),
    6: lambda upright: np.rot90(upright, 1),
    7: lambda upright: upright[::-1, ::-1].transpose(1, 0, 2),
    8: lambda upright: np.rot90(upright, -1),
}
"""How a picture lies in its file so that it stands upright under each orientation, in NumPy's own
turns: Exif's 6, "row 0 is the visual right side", is stored turned a quarter to the left."""


def saved(rgb: Rgb, kind: str, **options: object) -> bytes:
    kept = io.BytesIO()
    Image.fromarray(rgb).save(kept, kind, **options)
    return kept.getvalue()


def far(one: Rgb, other: Rgb) -> float:
    """Mean distance in levels of 255."""
    return float(np.abs(one.astype(int) - other.astype(int)).mean())


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "AVIF"])
def test_every_orientation_is_obeyed_once_in_every_format(kind: str, orientation: int) -> None:
    """CIPA DC-008-2023, Orientation; the stored picture is turned by NumPy, written by Pillow."""
    stored = np.ascontiguousarray(STORED[orientation](scene()))

    data = saved(stored, kind, exif=exif({0x0112: orientation}))

    upright = decode_bytes(data)
    assert upright.shape == scene().shape
    assert far(upright, scene()) < 6


@pytest.mark.parametrize("shape", ["Landscape", "Portrait"])
def test_the_eight_pictures_of_a_set_look_alike(open_data: Path, shape: str) -> None:
    """Open data: exif/orientation, each picture stored in one of the eight ways."""
    folder = open_data / "exif" / "orientation"
    upright = [shrink(decode(folder / f"{shape}_{n}.jpg", 600), 120) for n in range(1, 9)]

    assert all(far(one, upright[0]) < 3 for one in upright)
    assert (upright[0].shape[1] > upright[0].shape[0]) == (shape == "Landscape")


@pytest.mark.parametrize("quarters", range(4))
def test_a_heif_is_turned_by_its_box_and_never_again_by_its_tag(open_data: Path, quarters: int) -> None:
    """ISO/IEC 23008-12, 6.5.10: irot turns anti-clockwise by quarters; Exif's orientation does not count.

    Open data: a phone's picture whose tag says 6 all the while; its irot box is set to each value.
    """
    pytest.importorskip("pi_heif")
    data = (open_data / "exif" / "mx" / "heic" / "IMG_2927.HEIC").read_bytes()
    at = data.index(b"irot") + 4

    still = decode_bytes(data[:at] + b"\0" + data[at + 1 :], 300)
    turned = decode_bytes(data[:at] + bytes([quarters]) + data[at + 1 :], 300)

    assert far(turned, np.rot90(still, quarters)) < 1.5


@pytest.mark.parametrize(("axis", "flipped"), [(0, np.flipud), (1, np.fliplr)])
def test_a_heif_is_mirrored_by_its_box(open_data: Path, axis: int, flipped: Callable[[Rgb], Rgb]) -> None:
    """ISO/IEC 23008-12:2022, 6.5.12 (from memory): imir 0 swaps top and bottom, 1 left and right.

    Open data: the same picture, tag 6, its irot box made an imir box.
    """
    pytest.importorskip("pi_heif")
    data = (open_data / "exif" / "mx" / "heic" / "IMG_2927.HEIC").read_bytes()
    at = data.index(b"irot")

    still = decode_bytes(data[: at + 4] + b"\0" + data[at + 5 :], 300)
    mirrored = decode_bytes(data[:at] + b"imir" + bytes([axis]) + data[at + 5 :], 300)

    assert far(mirrored, flipped(still)) < 1.5
    assert far(mirrored, still) > 20


def test_a_heif_whose_item_type_is_no_text_is_refused_before_it_ends_the_library(open_data: Path) -> None:
    """Found by fuzzing: pi-heif 1.4.0 dies of a MIME type that is no UTF-8. Open data, one byte changed."""
    data = (open_data / "broken" / "heif" / "heif_other" / "L_xmp_latin1.heic").read_bytes()
    at = data.index(b"application/rdf+xml")

    with pytest.raises(BadPicture, match="not text"):
        decode_bytes(data[:at] + b"\xff" + data[at + 1 :])


def test_a_heif_without_its_library_says_what_to_install(
    open_data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pi_heif", None)

    with pytest.raises(LibraryMissing, match=re.escape("evidence-appendix[heic]")):
        decode(open_data / "exif" / "mx" / "heic" / "IMG_2927.HEIC")


def test_a_four_to_three_picture_is_decoded_small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pillow's draft with a square size does nothing here: 3000 // 1600 is 1."""
    sizes = []
    draft = JpegImagePlugin.JpegImageFile.draft

    def spied(image: JpegImagePlugin.JpegImageFile, mode: str | None, size: tuple[int, int]) -> object:
        done = draft(image, mode, size)
        sizes.append(image.size)
        return done

    monkeypatch.setattr(JpegImagePlugin.JpegImageFile, "draft", spied)
    study = decode_bytes(jpeg(scene(4000, 3000)), 1600)

    assert sizes == [(2000, 1500)]
    assert study.shape == (1200, 1600, 3)


@pytest.mark.parametrize("subsampling", ["4:4:4", "4:2:2", "4:2:0", "4:1:1"])
@pytest.mark.parametrize("progressive", [False, True])
def test_the_larger_study_size_is_what_pillow_decodes_at_a_half(subsampling: str, progressive: bool) -> None:
    """Reference: Pillow's own reduced decoding."""
    data = jpeg(scene(3301, 2203), subsampling=subsampling, progressive=progressive)
    reference = Image.open(io.BytesIO(data))
    reference.draft("RGB", (1650, 1101))

    large, small = study_sizes(data)

    assert np.array_equal(large, np.asarray(reference))
    assert (large.shape, small.shape) == ((1102, 1651, 3), (551, 825, 3))
    assert far(small, np.asarray(reference.crop((0, 0, 1650, 1102)).reduce(2))) < 1


@pytest.mark.parametrize("orientation", range(1, 9))
def test_both_study_sizes_are_upright(orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    data = jpeg(scene(), exif=exif.tobytes())

    large, small = study_sizes(data)

    assert np.array_equal(large, decode_bytes(data))
    assert small.shape[0] >= small.shape[1] or orientation < 5


@pytest.mark.parametrize("mode", ["L", "CMYK"])
def test_a_jpeg_of_other_than_three_colours_is_studied_too(mode: str) -> None:
    kept = io.BytesIO()
    Image.fromarray(scene(400, 300)).convert(mode).save(kept, "JPEG")

    large, small = study_sizes(kept.getvalue())

    assert np.array_equal(large, decode_bytes(kept.getvalue()))
    assert small is large or small.shape == large.shape


def test_a_small_picture_is_not_enlarged() -> None:
    assert decode_bytes(jpeg(), 1600).shape == scene().shape


def test_a_reduced_decode_shows_what_a_full_one_shows() -> None:
    """Reference: full decode by Pillow, reduced by its box filter."""
    data = jpeg(scene(1600, 1200), quality=92)

    reference = Image.open(io.BytesIO(data)).reduce(4)

    assert far(decode_bytes(data, 400), np.asarray(reference)) < 1


def modes() -> Iterator[tuple[str, bytes, Image.Image]]:
    rgb = Image.fromarray(scene())
    yield "grey JPEG", jpeg(mode="L"), rgb.convert("L").convert("RGB")
    yield "CMYK JPEG", jpeg(mode="CMYK", quality=95), rgb
    yield "palette PNG", saved(scene(), "PNG") and _png(rgb.quantize(64)), rgb.quantize(64).convert("RGB")
    yield "1-bit PNG", _png(rgb.convert("1")), rgb.convert("1").convert("RGB")
    deep = np.asarray(rgb.convert("L")).astype(np.uint16) * 257
    yield "16-bit PNG", _png(Image.fromarray(deep)), rgb.convert("L").convert("RGB")
    half = rgb.copy()
    half.putalpha(128)
    on_white = Image.blend(Image.new("RGB", rgb.size, "white"), rgb, 128 / 255)
    yield "alpha on white", _png(half), on_white
    clear = rgb.convert("L")
    yield "grey with one clear tone", _png(clear, transparency=0), clear.convert("RGB")


def _png(image: Image.Image, **options: object) -> bytes:
    kept = io.BytesIO()
    image.save(kept, "PNG", **options)
    return kept.getvalue()


@pytest.mark.parametrize(("name", "data", "expected"), [pytest.param(*row, id=row[0]) for row in modes()])
def test_every_mode_comes_out_in_colour(name: str, data: bytes, expected: Image.Image) -> None:
    """Reference: Pillow's own conversions, and blending with white by its formula."""
    upright = decode_bytes(data)

    assert upright.dtype == np.uint8
    if name == "grey with one clear tone":
        assert tuple(upright[-1, 0]) != (0, 0, 0)
    assert far(upright, np.asarray(expected)) < 3.5


def test_a_wide_gamut_profile_is_converted_to_srgb(open_data: Path) -> None:
    """SMPTE EG 432-1 primaries (Display P3) to IEC 61966-2-1, by the published matrix; our own sum.

    Open data: a phone's picture with the profile "Display P3".
    """
    pi_heif = pytest.importorskip("pi_heif")
    path = open_data / "exif" / "mx" / "heic" / "IMG_1034.heic"
    heif = pi_heif.open_heif(path)
    stored = shrink(np.asarray(heif.to_pillow().convert("RGB")), 400)
    encoded = stored / 255.0
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    matrix = [[1.2249402, -0.2249402, 0.0], [-0.0420570, 1.0420570, 0.0], [-0.0196376, -0.0786361, 1.0982736]]
    changed = np.clip(linear @ np.transpose(matrix), 0, 1)
    expected = np.where(changed <= 0.0031308, changed * 12.92, 1.055 * changed ** (1 / 2.4) - 0.055) * 255

    ours = decode(path, 400)

    assert far(ours, stored) > 0.5
    assert far(ours, expected.round()) < 0.35


def test_an_srgb_profile_under_any_name_changes_nothing() -> None:
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    renamed = icc.replace(b"s\0R\0G\0B", b"w\0r\0e\0n")

    assert np.array_equal(decode_bytes(jpeg(icc_profile=renamed)), decode_bytes(jpeg()))


def test_a_broken_profile_costs_nothing() -> None:
    assert np.array_equal(
        decode_bytes(jpeg(icc_profile=b"\0" * 16 + b"RGB " + b"x" * 200)), decode_bytes(jpeg())
    )


def _png_claiming(width: int, height: int) -> bytes:
    def chunk(kind: bytes, text: bytes) -> bytes:
        return struct.pack(">I", len(text)) + kind + text + struct.pack(">I", zlib.crc32(kind + text))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0" * 1000))
        + chunk(b"IEND", b"")
    )


def _jpeg_claiming(width: int, height: int) -> bytes:
    data = jpeg()
    at = data.index(b"\xff\xc0") + 5
    return data[:at] + struct.pack(">HH", height, width) + data[at + 4 :]


def _heif_claiming(width: int, height: int) -> bytes:
    ispe = box(b"ispe", b"\0\0\0\0" + struct.pack(">II", width, height))
    links = box(b"ipma", b"\0\0\0\0" + struct.pack(">IHBB", 1, 1, 1, 1))
    meta = box(b"pitm", b"\0\0\0\0\0\1") + box(b"iprp", box(b"ipco", ispe) + links)
    return box(b"ftyp", b"heic\0\0\0\0mif1heic") + box(b"meta", b"\0\0\0\0" + meta)


@pytest.mark.parametrize("claiming", [_png_claiming, _jpeg_claiming, _heif_claiming])
@pytest.mark.parametrize("size", [(60_000, 60_000), (16_000, 16_000)])
def test_pixels_are_counted_before_they_are_decoded(
    claiming: Callable[[int, int], bytes], size: tuple[int, int]
) -> None:
    began = time.process_time()

    with pytest.raises(TooManyPixels, match="pixels"):
        decode_bytes(claiming(*size))

    assert time.process_time() - began < 1


@pytest.mark.parametrize("share", [0.25, 0.5, 0.75])
def test_a_cut_off_jpeg_says_at_what_height_it_breaks_off(share: float) -> None:
    """Even noise spreads the bytes evenly over the height, so the share of bytes is that of the height."""
    rng = np.random.default_rng(3)
    noise = cv2.GaussianBlur(rng.integers(0, 256, (800, 600, 3), np.uint8), (0, 0), 2)
    data = jpeg(np.asarray(noise, np.uint8))

    with pytest.raises(BadPicture) as cut:
        decode_bytes(data[: int(len(data) * share)])

    said = re.search(r"after about (\d+)% of its height", str(cut.value))
    assert said
    assert abs(int(said[1]) / 100 - share) < 0.05


def test_a_jpeg_that_lacks_only_its_end_marker_is_shown() -> None:
    assert np.array_equal(decode_bytes(jpeg()[:-2]), decode_bytes(jpeg()))


def test_a_jpeg_whose_tail_is_zeros_is_damaged() -> None:
    """Common practice: what a card's file system leaves of a file whose last clusters are gone."""
    rng = np.random.default_rng(3)
    data = jpeg(rng.integers(0, 256, (400, 400, 3), np.uint8))
    half = len(data) // 2

    with pytest.raises(BadPicture, match="breaks off"):
        decode_bytes(data[:half] + b"\0" * half)


@pytest.mark.parametrize(
    "data", [b"", b"Dear Sir or Madam", b"\xff\xd8\xff", b"GIF89a", b"%!PS-Adobe-3.0 EPSF-3.0\n"]
)
def test_what_is_no_picture_is_refused_in_a_sentence(data: bytes) -> None:
    with pytest.raises(BadPicture, match=r"^[A-Z].*\.$"):
        decode_bytes(data)


def test_threads_decode_side_by_side_without_a_warning() -> None:
    """Python's warning filters are global; pytest turns any that leaks into an error."""
    files = [jpeg(), _png(Image.fromarray(scene())), saved(scene(), "TIFF"), saved(scene(), "GIF")] * 10

    with ThreadPoolExecutor(8) as pool:
        shapes = {rgb.shape for rgb in pool.map(decode_bytes, files)}

    assert shapes == {scene().shape}


def _tried(paths: list[Path]) -> tuple[list[str], int]:
    """Read and decode files; give what was wrong and the most memory this process ever had, in bytes."""
    wrong = []
    for path in paths:
        began = time.process_time()
        try:
            read_exif(path)
            with path.open("rb") as file:
                kind = kind_of(path.name, file.read(4096))
            if kind in {FileKind.PICTURE, FileKind.RAW}:
                study_sizes(path.read_bytes())
        except EvidenceError as expected:
            if not re.fullmatch(r"[A-Z].*\.", str(expected), re.DOTALL):
                wrong.append(f"{path.name}: not a sentence: {expected}")
        except BaseException as other:  # noqa: BLE001 - whatever else comes out is the finding
            wrong.append(f"{path.name}: {type(other).__name__}: {other}")
        if time.process_time() - began > 5:
            wrong.append(f"{path.name}: took {time.process_time() - began:.1f} s")
    return wrong, memory.own_bytes()


@pytest.mark.skipif(sys.platform == "win32", reason="the system does not tell a process's greatest memory")
def test_no_broken_or_fuzzed_file_raises_a_foreign_error_or_costs_5_s_or_1_gb(open_data: Path) -> None:
    """Open data: broken/ (test pictures of Pillow and pillow_heif) and exif/mx, its fuzzing included."""
    paths = sorted(p for part in ("broken", "exif/mx") for p in (open_data / part).rglob("*") if p.is_file())
    paths = [path for path in paths if path.suffix not in {".txt", ".json", ""}]

    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        wrong, most = pool.submit(_tried, paths).result()

    assert len(paths) > 700
    assert wrong == []
    assert most < 1e9


SEEDS = [
    jpeg(),
    jpeg(progressive=True),
    saved(scene(), "PNG"),
    saved(scene(), "TIFF"),
    saved(scene(), "WEBP"),
    saved(scene(), "GIF"),
    saved(scene(), "AVIF"),
]


@settings(max_examples=200, deadline=5000)
@given(
    st.sampled_from(SEEDS),
    st.lists(st.tuples(st.floats(0, 1), st.binary(min_size=1, max_size=4)), max_size=6),
    st.floats(0.05, 1),
)
def test_a_file_with_flipped_bytes_is_shown_or_refused(
    seed: bytes, flips: list[tuple[float, bytes]], kept: float
) -> None:
    data = bytearray(seed)
    for share, noise in flips:
        at = int(share * (len(data) - 1))
        data[at : at + len(noise)] = noise
    try:
        rgb = decode_bytes(bytes(data[: max(1, int(kept * len(data)))]), 64)
    except EvidenceError:
        return
    assert rgb.dtype == np.uint8
    assert max(rgb.shape[:2]) <= 64
