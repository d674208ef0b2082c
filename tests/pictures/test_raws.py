"""Raw files and the previews inside them.

No open raw file of a maker is at hand that still holds its sensor's values, so these are made by
the layouts that TIFF/EP and the makers' files share; see docs/methods/metadata.md.
"""

import io
import struct

import numpy as np
import pytest
from PIL import Image

from evidence.errors import BadPicture
from evidence.pictures import decode_bytes, kind_of, raws, read_exif_bytes
from evidence.words import FileKind
from tests.pictures.made_up import box, exif, jpeg, scene, tiff


def raw(order: str = "<", orientation: int = 1, previews: tuple[bytes, ...] = ()) -> bytes:
    """A TIFF/EP file: one directory that says CFA, then noise and previews one after the other."""
    rng = np.random.default_rng(7)
    block = tiff(
        [
            (0x0100, 4, 1, struct.pack(order + "I", 6000)),
            (0x0106, 3, 1, struct.pack(order + "H", 32803)),
            (0x010F, 2, 5, b"Wren\0"),
            (0x0112, 3, 1, struct.pack(order + "H", orientation)),
        ],
        order,
    )
    noise = rng.integers(0, 256, 5000, np.uint8).tobytes()
    return block + noise + b"".join(preview + noise for preview in previews)


@pytest.mark.parametrize("order", ["<", ">"])
def test_a_raw_file_is_known_by_its_mosaic_and_shown_by_its_largest_preview(order: str) -> None:
    small, large = jpeg(scene(48, 32)), jpeg(scene(192, 128), quality=95)

    data = raw(order, previews=(small, large, small))

    assert raws.is_raw(data)
    assert kind_of("ABCD0001.DNG", data) is FileKind.RAW
    assert np.array_equal(decode_bytes(data), np.asarray(Image.open(io.BytesIO(large))))
    capture = read_exif_bytes(data)
    assert (capture.make, capture.width, capture.height) == ("Wren", 192, 128)


def test_a_preview_is_turned_by_the_raw_files_orientation_once() -> None:
    """A preview without its own tag is stored as the sensor lay; one with its own has the last word."""
    plain = jpeg(scene(96, 64))
    tagged = jpeg(scene(96, 64), exif=exif({0x0112: 6}))

    assert decode_bytes(raw(orientation=6, previews=(plain,))).shape == (96, 64, 3)
    assert decode_bytes(raw(orientation=6, previews=(tagged,))).shape == (96, 64, 3)
    assert decode_bytes(raw(orientation=1, previews=(plain,))).shape == (64, 96, 3)


def test_a_raw_file_without_a_preview_says_so() -> None:
    with pytest.raises(BadPicture, match="no preview"):
        decode_bytes(raw(previews=(jpeg()[:-40],)))


def test_a_plain_tiff_is_no_raw_file() -> None:
    kept = io.BytesIO()
    Image.fromarray(scene()).save(kept, "TIFF")

    assert not raws.is_raw(kept.getvalue())


@pytest.mark.parametrize("magic", [0x55, 0x4F52, 0x5352])
def test_makers_own_marks_are_read_as_tiff(magic: int) -> None:
    """RW2 "IIU", ORF "IIRO" and "IIRS" (common practice)."""
    data = tiff([(0x010F, 2, 5, b"Wren\0"), (0x0002, 3, 1, b"\x10\0")], magic=magic) + jpeg()

    capture = read_exif_bytes(data)

    assert capture.make == "Wren"
    assert capture.position is None
    assert capture.width == 96


def test_a_cr3_is_read_from_its_three_blocks() -> None:
    """CMT1, CMT2 and CMT4 in a uuid box of moov (from memory; the format has no standard)."""
    main = tiff([(0x010F, 2, 5, b"Wren\0"), (0x0112, 3, 1, b"\x08\0")])
    taken = tiff([(0x9003, 2, 20, b"2026:11:25 09:30:15\0")])
    place = tiff(
        [
            (1, 2, 2, b"N\0"),
            (2, 5, 3, struct.pack("<6I", 51, 1, 30, 1, 0, 1)),
            (3, 2, 2, b"W\0"),
            (4, 5, 3, struct.pack("<6I", 1, 1, 15, 1, 0, 1)),
        ]
    )
    blocks = box(b"CMT1", main) + box(b"CMT2", taken) + box(b"CMT4", place)
    data = (
        box(b"ftyp", b"crx \0\0\0\1") + box(b"moov", box(b"uuid", b"u" * 16 + blocks)) + box(b"mdat", jpeg())
    )

    capture = read_exif_bytes(data)

    assert capture.time
    assert str(capture.time.moment) == "2026-11-25 09:30:15"
    assert capture.position
    assert (capture.position.latitude_deg, capture.position.longitude_deg) == (51.5, -1.25)
    assert decode_bytes(data).shape == (96, 64, 3)


def test_a_raf_is_read_from_its_preview() -> None:
    """Offset and length of the JPEG at bytes 84 and 88, big-endian (common practice)."""
    inside = jpeg(exif=exif({0x010F: "Wren", 0x0112: 3}))
    data = b"FUJIFILMCCD-RAW ".ljust(84, b"0") + struct.pack(">II", 200, len(inside))
    data = data.ljust(200, b"\0") + inside

    assert read_exif_bytes(data).make == "Wren"
    assert decode_bytes(data).shape == (64, 96, 3)
