"""Two readers of one block."""

import math
import struct
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evidence.pictures import read_exif_bytes, readers
from evidence.pictures.readers import Tag
from tests.pictures.made_up import exif, tiff, with_block


def test_both_readers_give_the_same_of_a_plain_block() -> None:
    block = exif({0x010F: "Wren", 0x0112: 6}, {0x829A: 0.008, 0x8827: 400}).tobytes()[6:]

    pillow, exifread, odd = readers.twice(block)

    assert pillow == exifread
    assert pillow[Tag.MAKE] == "Wren"
    assert pillow[Tag.ISO] == (400.0,)
    assert odd == ()


def test_text_ends_at_its_first_nul() -> None:
    """CIPA DC-008, 4.6.2: ASCII is terminated by NUL; makers leave rubbish after it."""
    block = tiff([(0x0110, 2, 16, b"W1\0rubbish 1234\0")])

    assert [found[Tag.MODEL] for found in readers.twice(block)[:2]] == ["W1", "W1"]


@pytest.mark.parametrize(
    ("raw", "text"), [("Ωmega".encode(), "Ωmega"), (b"M\xfcller", "Müller"), (b"a\x1b[2Jb", "a[2Jb")]
)
def test_text_is_utf_8_or_latin_1_and_nothing_unprintable(raw: bytes, text: str) -> None:
    block = tiff([(0x010F, 2, len(raw) + 1, raw + b"\0")])

    assert [found[Tag.MAKE] for found in readers.twice(block)[:2]] == [text, text]


def test_a_ratio_over_zero_is_no_number() -> None:
    block = tiff([(0x829A, 5, 1, struct.pack("<II", 1, 0)), (0x829D, 5, 1, struct.pack("<II", 0, 0))])

    for found in readers.twice(block)[:2]:
        assert all(not math.isfinite(found[tag][0]) for tag in (Tag.EXPOSURE_TIME, Tag.F_NUMBER))  # type: ignore[arg-type]


def test_directories_that_point_to_each_other_cost_nothing() -> None:
    """64 KB in which each of 2,000 GPS pointers leads to 2,000 entries: four million for ExifRead."""
    count = 2000
    rows = struct.pack("<HHII", 0x8825, 4, 1, 8) * count
    block = b"II*\0" + struct.pack("<IH", 8, count) + rows + b"\0" * 4
    began = time.process_time()

    capture = read_exif_bytes(with_block(block))

    assert time.process_time() - began < 1
    assert capture.make == ""
    assert any("more than a camera writes" in remark for remark in capture.remarks)


def test_values_that_claim_gigabytes_cost_nothing() -> None:
    block = tiff([(0x010F, 2, 2**32 - 1, b"\0" * 5), (0x0110, 2, 3, b"W1\0")])
    began = time.process_time()

    capture = read_exif_bytes(with_block(block))

    assert time.process_time() - began < 1
    assert capture.model == "W1"


def test_a_disagreement_is_said() -> None:
    """A text of one character that is no text: a made-up fault at which the two part ways."""
    block = tiff([(0x0112, 3, 2, b"\x06\0\x03\0"), (0x010F, 7, 4, b"Wren")])

    capture = read_exif_bytes(with_block(block))

    assert any("Pillow reads" in remark or "only" in remark for remark in capture.remarks)


@settings(max_examples=400, deadline=2000)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([*Tag, 0x8769, 0x8825, 0xA005]),
            st.integers(0, 16),
            st.integers(0, 9),
            st.binary(max_size=24),
        ),
        max_size=12,
    ),
    st.sampled_from(["<", ">"]),
    st.binary(max_size=60),
)
def test_any_block_is_read_or_remarked_on(
    entries: list[tuple[int, int, int, bytes]], order: str, tail: bytes
) -> None:
    capture = read_exif_bytes(with_block(tiff(entries, order) + tail))

    assert 1 <= capture.orientation <= 8
    assert capture.exposure_s is None or math.isfinite(capture.exposure_s)
    assert all(remark and remark[0].isupper() for remark in capture.remarks)


@settings(max_examples=300, deadline=2000)
@given(
    st.binary(max_size=200),
    st.sampled_from(
        [
            b"II*\0",
            b"MM\0*",
            b"II+\0",
            b"IIU\0",
            b"\x89PNG\r\n\x1a\n",
            b"RIFF",
            b"FUJIFILM",
            b"\0\0\0\x18ftypcrx ",
            b"",
        ]
    ),
)
def test_any_bytes_are_read_or_remarked_on(noise: bytes, head: bytes) -> None:
    assert read_exif_bytes(head + noise).width >= 0
