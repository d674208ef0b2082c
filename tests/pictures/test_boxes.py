"""Boxes of HEIF files."""

import io
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evidence.pictures import boxes
from tests.pictures.made_up import box

pi_heif = pytest.importorskip("pi_heif")


def test_size_and_exif_are_what_libheif_reads(open_data: Path) -> None:
    """Reference: pi-heif (libheif) on every HEIF file of the open data that it opens.

    libheif gives the size after turning and cropping, so sides may be swapped, and clipped pictures
    are smaller than the tiles they are made of.
    """
    compared = 0
    for path in sorted([*open_data.rglob("*.hei[cf]"), *open_data.rglob("*.HEIC")]):
        data = path.read_bytes()
        try:
            reference = pi_heif.open_heif(io.BytesIO(data))
        except Exception:  # noqa: BLE001 - broken files are another test's business
            continue
        found = boxes.heif(io.BytesIO(data))
        size = sorted(reference.size)
        assert all(
            ours >= theirs for ours, theirs in zip(sorted((found.width, found.height)), size, strict=True)
        )
        assert found.largest >= found.width * found.height > 0
        exif = reference.info.get("exif") or b""
        assert found.exif == exif.removeprefix(b"Exif\0\0")
        compared += 1

    assert compared >= 30


def test_an_open_ended_and_a_wide_box_are_followed() -> None:
    """ISO/IEC 14496-12, 4.2: size 1 puts a 64-bit size after the type, size 0 runs to the end."""
    wide = b"\0\0\0\1wide" + (16 + 3).to_bytes(8, "big") + b"abc"
    last = b"\0\0\0\0last" + b"defg"
    file = io.BytesIO(wide + last)

    assert [(b.type, boxes.body(file, b)) for b in boxes.boxes(file, 0, len(wide + last))] == [
        (b"wide", b"abc"),
        (b"last", b"defg"),
    ]


def test_a_box_longer_than_its_file_ends_with_the_file() -> None:
    file = io.BytesIO((2**31).to_bytes(4, "big") + b"long" + b"abc")

    assert [boxes.body(file, b) for b in boxes.boxes(file, 0, 11)] == [b"abc"]


@settings(max_examples=300, deadline=1000)
@given(st.binary(max_size=300), st.sampled_from([b"pitm", b"iinf", b"iloc", b"iprp", b"idat"]))
def test_any_bytes_give_a_size_or_none(noise: bytes, kind: bytes) -> None:
    exif = box(b"infe", b"\2\0\0\0\0\1\0\0Exif\0")
    inside = box(b"iinf", b"\0\0\0\0\0\1" + exif) + box(kind, noise)
    data = box(b"ftyp", b"heic\0\0\0\0") + box(b"meta", b"\0\0\0\0" + inside) + noise

    found = boxes.heif(io.BytesIO(data))

    assert found.width >= 0
    assert isinstance(found.exif, bytes)
