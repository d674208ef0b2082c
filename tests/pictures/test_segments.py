"""A JPEG taken apart."""

import io
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from PIL import Image

from evidence.errors import BadPicture
from evidence.pictures import segments
from tests.pictures.made_up import jpeg

SMALL = jpeg(progressive=True)


def test_size_and_components_are_what_pillow_reads(open_data: Path) -> None:
    """Reference: Pillow, on every JPEG of the open data that it opens."""
    compared = 0
    for path in sorted((open_data / "exif").rglob("*.jp*g")):
        data = path.read_bytes()
        try:
            image = Image.open(io.BytesIO(data), formats=["JPEG"])
        except OSError:
            continue
        stream = segments.walk(data)
        assert (stream.width, stream.height) == image.size
        assert stream.components == len(image.getbands())
        compared += 1

    assert compared >= 80


def test_segments_lie_end_to_end() -> None:
    """ITU-T T.81, B.1.1: a stream is marker segments and entropy-coded data, nothing between."""
    stream = segments.walk(SMALL)

    assert stream.segments[0].start == 2
    for before, after in zip(stream.segments, stream.segments[1:], strict=False):
        assert before.end == after.start
    assert stream.segments[-1].end + 2 == stream.end == len(SMALL)


def test_stuffed_zeros_and_restart_markers_do_not_end_a_scan() -> None:
    """ITU-T T.81, B.1.1.5 and F.1.2.3."""
    head = SMALL[: SMALL.index(b"\xff\xda")]
    scan = b"\xff\xda\x00\x08\x01\x01\x00\x00\x3f\x00" + b"ab\xff\x00cd\xff\xd0ef\xff\xd7gh"

    stream = segments.walk(head + scan + b"\xff\xd9rest")

    assert stream.end == len(head + scan) + 2


def test_a_stream_without_its_end_has_none() -> None:
    assert segments.walk(SMALL[:-2]).end is None


@pytest.mark.parametrize("length", [0, 1, 2, 3, 20, 200])
def test_a_stream_that_breaks_off_before_its_picture_is_refused(length: int) -> None:
    with pytest.raises(BadPicture):
        segments.walk(SMALL[:length])


def test_more_scans_than_a_camera_writes_are_refused_before_a_decoder_pays_for_them() -> None:
    end = SMALL.rindex(b"\xff\xda")
    with pytest.raises(BadPicture, match="more parts"):
        segments.walk(SMALL[:-2] + SMALL[end:-2] * 200)


def test_a_profile_in_pieces_is_joined_in_order() -> None:
    """ICC.1:2022, B.4: number of the piece, number of pieces."""

    def piece(number: int, text: bytes) -> bytes:
        body = b"ICC_PROFILE\0" + bytes([number, 2]) + text
        return b"\xff\xe2" + (len(body) + 2).to_bytes(2, "big") + body

    data = SMALL[:2] + piece(2, b"world") + piece(1, b"hello ") + SMALL[2:]

    assert segments.profile(data, segments.walk(data)) == b"hello world"


@settings(max_examples=300, deadline=1000)
@given(st.binary(max_size=400), st.integers(0, len(SMALL)), st.booleans())
@example(b"\xff" * 300, 2, True)
def test_any_bytes_are_taken_apart_or_refused(noise: bytes, at: int, inside: bool) -> None:
    data = SMALL[:at] + noise + SMALL[at:] if inside else b"\xff\xd8" + noise
    try:
        stream = segments.walk(data)
    except BadPicture:
        return
    assert all(0 <= part.start <= part.body <= part.end <= len(data) for part in stream.segments)
