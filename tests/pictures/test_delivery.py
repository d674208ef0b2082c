"""JPEGs rewritten for delivery."""

import io
import struct
import sys
from datetime import datetime
from pathlib import Path
from xml.etree import ElementTree

import exifread
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from PIL import Image, JpegImagePlugin

from evidence.errors import BadPicture
from evidence.pictures import Caption, delivered_jpeg, read_exif, read_exif_bytes
from evidence.words import CameraTime, Capture, TimeSource
from tests.pictures.made_up import exif, jpeg, scene

SECRETS = [
    b"SN-4711-SECRET",
    b"MAKERNOTE-SECRET",
    b"OWNER-SECRET",
    b"COMMENT-SECRET",
    b"THUMB-SECRET",
    b"TAIL-SECRET",
    b"XMP-SECRET",
    b"IPTC-SECRET",
]
NAMES = {
    "dc": "http://purl.org/dc/elements/1.1/",
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "core": "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/",
    "mm": "http://ns.adobe.com/xap/1.0/mm/",
    "ref": "http://ns.adobe.com/xap/1.0/sType/ResourceRef#",
}
CAPTURE = Capture(
    time=CameraTime(datetime(2026, 11, 25, 9, 30, 15, 50_000), -300, TimeSource.TAKEN),  # noqa: DTZ001
    subsec="05",
    make="Wren",
    model="W1",
    orientation=6,
    serial="SN-4711-SECRET",
)


def segment(marker: int, body: bytes) -> bytes:
    return bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body


def telling() -> bytes:
    """A JPEG that carries everything it should not, each known by a word planted in it."""
    deeper = {
        0x9003: "2026:11:25 09:30:15",
        0xA431: "SN-4711-SECRET",
        0x927C: b"MAKERNOTE-SECRET",
        0xA430: "OWNER-SECRET",
    }
    place = {1: "N", 2: (51.0, 30.0, 12.25), 3: "W", 4: (1.0, 15.0, 7.5)}
    data = jpeg(exif=exif({0x010F: "Wren", 0x0112: 6}, deeper, place), comment=b"COMMENT-SECRET")
    thumbnail = b"JFXX\0\x10" + jpeg(scene(16, 16), comment=b"THUMB-SECRET")
    extra = (
        segment(0xE0, thumbnail)
        + segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0XMP-SECRET")
        + segment(0xED, b"Photoshop 3.0\0IPTC-SECRET")
    )
    return data[:2] + extra + data[2:] + b"TAIL-SECRET"


def pixels(data: bytes) -> np.ndarray:
    return np.asarray(JpegImagePlugin.JpegImageFile(io.BytesIO(data)))  # opening by guess warns of MPOs


def described(data: bytes) -> ElementTree.Element:
    """Find the XMP packet by its own marks and parse it with the standard library."""
    start, end = data.index(b"<x:xmpmeta"), data.index(b"</x:xmpmeta>")
    found = ElementTree.fromstring(data[start : end + 12].decode()).find(".//rdf:Description", NAMES)
    assert found is not None
    return found


def test_nothing_planted_goes_out_and_the_pixels_are_the_same() -> None:
    original = telling()
    assert all(word in original for word in SECRETS)
    place = struct.pack("<2I", 1225, 100)

    out = delivered_jpeg(original, CAPTURE, Caption("rust in pan"))

    assert [word for word in SECRETS if word in out] == []
    assert place not in out
    assert b"GPS" not in out
    assert np.array_equal(pixels(out), pixels(original))


def test_an_independent_reader_finds_what_may_be_known() -> None:
    """Reader: ExifRead; the writer is Pillow."""
    tags = exifread.process_file(io.BytesIO(delivered_jpeg(telling(), CAPTURE)))

    assert {name: str(tag) for name, tag in tags.items() if name != "Image ExifOffset"} == {
        "Image Make": "Wren",
        "Image Model": "W1",
        "Image Orientation": "Rotated 90 CW",
        "EXIF ExifVersion": "0232",
        "EXIF DateTimeOriginal": "2026:11:25 09:30:15",
        "EXIF SubSecTimeOriginal": "05",
        "EXIF OffsetTimeOriginal": "-05:00",
    }


@pytest.mark.parametrize(
    ("source", "tag"),
    [
        (TimeSource.TAKEN, "EXIF DateTimeOriginal"),
        (TimeSource.DIGITIZED, "EXIF DateTimeDigitized"),
        (TimeSource.CHANGED, "Image DateTime"),
        (TimeSource.FILE_SYSTEM, None),
        (TimeSource.CONTAINER, None),
    ],
)
def test_a_time_goes_out_only_under_the_name_it_came_by(source: TimeSource, tag: str | None) -> None:
    """Never a time of change as the time taken, nor one of a file system at all."""
    time = CameraTime(datetime(2026, 11, 25, 9, 30, 15), None, source)  # noqa: DTZ001

    tags = exifread.process_file(io.BytesIO(delivered_jpeg(jpeg(), Capture(time=time))))

    assert [name for name in tags if "Date" in name or "Time" in name] == ([tag] if tag else [])


def test_the_caption_is_read_by_an_xml_parser() -> None:
    """IPTC Photo Metadata 2025.1 for the names, ISO 16684-1 for the form."""
    caption = Caption('Rust & "scale" <pan>', "A rusted pan", "ab" * 32)

    found = described(delivered_jpeg(jpeg(), None, caption))

    assert found.findtext("dc:description/rdf:Alt/rdf:li", namespaces=NAMES) == caption.text
    assert found.findtext("core:AltTextAccessibility/rdf:Alt/rdf:li", namespaces=NAMES) == "A rusted pan"
    assert found.findtext("mm:DerivedFrom/ref:documentID", namespaces=NAMES) == "sha256:" + "ab" * 32


@settings(max_examples=200, deadline=1000)
@given(st.text(max_size=200), st.text(max_size=200))
def test_any_caption_gives_a_packet_that_parses(text: str, alternative: str) -> None:
    """XML 1.0, 2.2: some letters may not stand in XML at all; those are dropped."""
    found = described(delivered_jpeg(jpeg(), None, Caption(text, alternative, "x")))

    kept = found.findtext("dc:description/rdf:Alt/rdf:li", default="", namespaces=NAMES)
    assert kept.replace("\n", "").isprintable() or len(kept) <= len(text)


def test_the_longest_captions_fit() -> None:
    Image.open(io.BytesIO(delivered_jpeg(jpeg(), CAPTURE, Caption("😀" * 20_000, "&" * 20_000)))).load()


def test_the_open_datas_jpegs_keep_their_pixels_or_are_refused(open_data: Path) -> None:
    """Reference: Pillow's decode of every JPEG of the open data before and after.

    Prints the figures of docs/methods/metadata.md with: pytest -s -k open_datas tests/pictures
    """
    same, refused, differ = 0, [], []
    for path in sorted([*open_data.rglob("*.[jJ][pP]*[gG]"), *open_data.rglob("*.mpo")]):
        data = path.read_bytes()
        try:
            before = pixels(data)
        except (OSError, SyntaxError):
            continue
        try:
            out = delivered_jpeg(data, read_exif(path), Caption("a"))
        except BadPicture as reason:
            refused.append(f"{path.name}: {reason}")
            continue
        if np.array_equal(pixels(out), before):
            same += 1
        else:
            differ.append(path.name)
        serial = read_exif_bytes(data).serial.encode()
        assert not serial or serial not in out
        left = read_exif_bytes(out)
        assert (left.position, left.serial, left.direction_deg) == (None, "", None)

    sys.stdout.write(
        f"identical {same}, refused {len(refused)}, different {len(differ)}\n" + "\n".join(refused) + "\n"
    )
    assert differ == []
    assert same >= 150
    assert len(refused) <= 5


def test_the_profile_and_the_coding_of_colours_stay() -> None:
    profile = b"profile " * 20_000  # three pieces

    out = delivered_jpeg(jpeg(icc_profile=profile))
    four = jpeg(mode="CMYK")

    assert Image.open(io.BytesIO(out)).info["icc_profile"] == profile
    assert np.array_equal(pixels(delivered_jpeg(four)), pixels(four))


def test_rewriting_twice_is_rewriting_once() -> None:
    once = delivered_jpeg(telling(), CAPTURE, Caption("a"))

    assert delivered_jpeg(once, CAPTURE, Caption("a")) == once


@pytest.mark.parametrize(
    ("broken", "reason"),
    [
        (lambda data: data[:-2], "breaks off"),
        (lambda data: data[:2] + b"junk" + data[2:], "between its parts"),
        (lambda data: data[:2] + segment(0x33, b"odd") + data[2:], "no camera writes"),
        (lambda data: data[:2] + b"\xff\xd3" + data[2:], "between its parts"),
        (lambda data: data[:2] + b"\xff\x01" + data[2:], "no camera writes"),
        (lambda data: data.replace(b"\xff\xc0", b"\xff\xc9"), "not every program"),
        (lambda data: b"GIF89a" + data, "not a JPEG"),
    ],
)
def test_a_stream_that_is_not_plainly_a_jpeg_is_refused(broken: object, reason: str) -> None:
    with pytest.raises(BadPicture, match=reason):
        delivered_jpeg(broken(jpeg()))  # type: ignore[operator]


@settings(max_examples=500, deadline=2000)
@given(st.lists(st.tuples(st.floats(0, 1), st.binary(min_size=1, max_size=3)), max_size=4))
@example([(0.078125, b"\xda")])  # an Exif segment turned into a scan; found by hypothesis
def test_no_flipped_byte_lets_a_planted_word_out(flips: list[tuple[float, bytes]]) -> None:
    """Outside the picture's own segments, which go out as they are."""
    data = bytearray(telling())
    limit = data.index(b"\xff\xdb")
    for share, noise in flips:
        at = int(share * (limit - 4))
        data[at : at + len(noise)] = noise
    try:
        out = delivered_jpeg(bytes(data), CAPTURE)
    except BadPicture:
        return
    assert [word for word in SECRETS if word in out] == []
