"""What a file's own metadata says, held to the expected values of an open collection."""

import io
import math
import re
import struct
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import pytest
from PIL import Image

from evidence.pictures import read_exif, read_exif_bytes
from evidence.words import Capture, Position, TimeSource
from tests.pictures.made_up import exif, jpeg, tiff, with_block

TURNS = {
    "Top, left side (Horizontal / normal)": 1,
    "Top, right side (Mirror horizontal)": 2,
    "Bottom, right side (Rotate 180)": 3,
    "Bottom, left side (Mirror vertical)": 4,
    "Left side, top (Mirror horizontal and rotate 270 CW)": 5,
    "Right side, top (Rotate 90 CW)": 6,
    "Right side, bottom (Mirror horizontal and rotate 90 CW)": 7,
    "Left side, bottom (Rotate 270 CW)": 8,
}
UNDEFINED = {("Issue 487.heic", "latitude"), ("Issue 487.heic", "longitude")}
"""Recorded as 0/0: the dump prints 0, which nobody stood at; we give no position and a remark."""


@dataclass(frozen=True)
class Check:
    """One value of one file: what the dump says, and what was read."""

    file: str
    field: str
    expected: object
    read: object

    @property
    def equal(self) -> bool:
        if isinstance(self.expected, float) and isinstance(self.read, float):
            return math.isclose(self.expected, self.read, abs_tol=5e-3 if self.field == "altitude" else 5e-6)
        return self.expected == self.read


def dumped(dump: Path) -> dict[str, str]:
    """Read a dump: the first value of each directory and tag, text cut at its first NUL."""
    found: dict[str, str] = {}
    for line in dump.read_text("utf-8", "replace").split("\n"):
        match = re.match(r"\[(.+?) - (0x[0-9a-f]+)\] .+? = (.*)", line)
        if match:
            found.setdefault(f"{match[1]} {match[2]}", match[3].split("\0", 1)[0].strip())
    return found


def moment(text: str | None) -> datetime | None:
    """Understand a date as a dump prints it; blank, zero and impossible ones are none."""
    digits = [int(part) for part in re.findall(r"\d+", text or "")[:6]]
    try:
        return datetime(*digits) if len(digits) == 6 else None  # type: ignore[arg-type]  # noqa: DTZ001
    except ValueError:
        return None


def degrees(dump: dict[str, str], tag: int, negative: str) -> float | None:
    text = dump.get(f"GPS {tag:#06x}")
    if not text:
        return None
    whole, minutes, seconds = (abs(float(part)) for part in re.findall(r"-?[\d.]+", text))
    total = whole + minutes / 60 + seconds / 3600
    return -total if dump.get(f"GPS {tag - 1:#06x}") == negative else total


def checks(name: str, dump: dict[str, str], capture: Capture) -> Iterator[Check]:
    """Compare every field that a dump speaks of; absence is compared for the identifying ones."""
    taken = capture.time.moment.replace(microsecond=0) if capture.time else None
    original = taken if capture.time and capture.time.source is TimeSource.TAKEN else None
    yield Check(name, "DateTimeOriginal", moment(dump.get("Exif SubIFD 0x9003")), original)
    yield Check(name, "DateTime", moment(dump.get("Exif IFD0 0x0132")), capture.changed)
    yield Check(name, "SubSecTimeOriginal", dump.get("Exif SubIFD 0x9291", ""), capture.subsec)
    yield Check(
        name, "Make", dump.get("Exif IFD0 0x010f", dump.get("QuickTime Metadata 0x051d", "")), capture.make
    )
    yield Check(
        name, "Model", dump.get("Exif IFD0 0x0110", dump.get("QuickTime Metadata 0x051e", "")), capture.model
    )
    if turned := dump.get("Exif IFD0 0x0112"):
        yield Check(name, "Orientation", TURNS[turned], capture.orientation)
    if zone := dump.get("Exif SubIFD 0x9011"):
        minutes = int(zone[0] + "1") * (int(zone[1:3]) * 60 + int(zone[4:6]))
        yield Check(name, "OffsetTimeOriginal", minutes, capture.time and capture.time.offset_min)
    place = capture.position
    for field, expected in (("latitude", degrees(dump, 2, "S")), ("longitude", degrees(dump, 4, "W"))):
        if expected is not None and (name, field) not in UNDEFINED:
            yield Check(name, field, expected, place and getattr(place, f"{field}_deg"))
    if altitude := dump.get("GPS 0x0006"):
        below = "Below" in dump.get("GPS 0x0005", "")
        yield Check(
            name, "altitude", (-1 if below else 1) * float(altitude.split()[0]), place and place.altitude_m
        )
    if iso := dump.get("Exif SubIFD 0x8827"):
        yield Check(name, "ISO", int(iso.split()[0]) or None, capture.iso)  # some makers write 0 for unknown
    if flash := dump.get("Exif SubIFD 0x9209"):
        yield Check(name, "Flash", not flash.startswith("Flash did not"), capture.flash)


def test_every_value_of_the_collection_is_read_as_expected(open_data: Path) -> None:
    """Reference: the dumps beside the files of metadata-extractor-images, fuzzed files included.

    Prints the table of docs/methods/metadata.md with: pytest -s -k every_value tests/pictures
    """
    tried: Counter[str] = Counter()
    wrong = []
    for dump in sorted((open_data / "exif" / "mx").rglob("metadata/java/*.txt")):
        path = dump.parents[2] / dump.name.removesuffix(".txt")
        for check in checks(path.name, dumped(dump), read_exif(path)):
            if check.expected not in (None, ""):
                tried[check.field] += 1
            if not check.equal:
                wrong.append(check)

    for field, count in tried.items():
        sys.stdout.write(f"{field:20} {count - sum(w.field == field for w in wrong):4} of {count}\n")
    assert wrong == []
    assert tried["DateTimeOriginal"] >= 55
    assert tried["Make"] >= 65


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("+02:00", 120), ("-09:30", -570), ("+00:00", 0), ("+13:45", 825), ("   :  ", None), ("", None)],
)
def test_the_zone_is_read_from_files_made_by_another_writer(text: str, minutes: int | None) -> None:
    """Writer: Pillow. CIPA DC-008-2023, OffsetTimeOriginal: blank means unknown."""
    data = jpeg(exif=exif({}, {0x9003: "2026:11:25 09:30:15", 0x9011: text, 0x9291: "05"}))

    time = read_exif_bytes(data).time

    assert time
    assert time.offset_min == minutes
    assert time.moment == datetime(2026, 11, 25, 9, 30, 15, 50_000)  # noqa: DTZ001


@pytest.mark.parametrize(
    ("digits", "microseconds"),
    [("5", 500_000), ("05", 50_000), ("123456789", 123_456), ("80  ", 800_000), ("ab", 0)],
)
def test_a_fraction_is_digits_behind_a_point(digits: str, microseconds: int) -> None:
    """CIPA DC-008-2023, SubSecTime: "5" is .5 s, "05" is .05 s; blanks may follow."""
    time = read_exif_bytes(jpeg(exif=exif({}, {0x9003: "2026:11:25 09:30:15", 0x9291: digits}))).time

    assert time
    assert time.moment.microsecond == microseconds


@pytest.mark.parametrize(
    "text",
    [
        "0000:00:00 00:00:00",
        "    :  :     :  :  ",
        " " * 19,
        "2026:13:25 09:30:15",
        "2026:02:30 09:30:15",
        "yesterday",
    ],
)
def test_a_date_that_is_none_is_remarked_on_and_the_next_one_is_taken(text: str) -> None:
    """CIPA DC-008-2023: an unknown date is blanks or zeros; the rest are made-up faults."""
    capture = read_exif_bytes(jpeg(exif=exif({0x0132: "2026:11:26 10:00:00"}, {0x9003: text})))

    assert capture.time
    assert capture.time.source is TimeSource.CHANGED
    assert capture.time.moment == capture.changed == datetime(2026, 11, 26, 10)  # noqa: DTZ001
    assert any(remark.startswith("DateTimeOriginal is") for remark in capture.remarks)


def test_a_clock_at_1_january_is_remarked_on() -> None:
    """Common practice: cameras whose battery ran out begin again on 1 January of some year."""
    capture = read_exif_bytes(jpeg(exif=exif({}, {0x9003: "2018:01:01 00:03:10"})))

    assert capture.time
    assert any("1 January" in remark for remark in capture.remarks)


def test_an_iso_of_several_values_is_its_first() -> None:
    """CIPA DC-008-2023, PhotographicSensitivity: any count."""
    block = tiff([(0x8827, 3, 2, struct.pack("<2H", 400, 0))])

    assert read_exif_bytes(with_block(block)).iso == 400


def gps(
    latitude: tuple[int, ...] = (33, 1, 52, 1, 8, 1), altitude: tuple[int, int] = (5, 1), below: int = 0
) -> Position | None:
    """Read a position written by Pillow, but for the ratios over zero, which it will not write."""
    main = tiff([(0x8825, 4, 1, struct.pack("<I", 26))])
    inner = tiff(
        [
            (1, 2, 2, b"S\0"),
            (2, 5, 3, struct.pack("<6I", *latitude)),
            (3, 2, 2, b"E\0"),
            (4, 5, 3, struct.pack("<6I", 151, 1, 12, 1, 33, 1)),
            (5, 1, 1, bytes([below])),
            (6, 5, 1, struct.pack("<2I", *altitude)),
        ]
    )
    shifted = bytearray(inner[8:])
    for row in range(6):
        at = 2 + 12 * row
        kind, _, offset = struct.unpack_from("<HII", shifted, at + 2)
        if kind == 5:
            struct.pack_into("<I", shifted, at + 8, offset - 8 + len(main))
    struct.pack_into("<I", (block := bytearray(main)), 8 + 2 + 8, len(main))
    return read_exif_bytes(with_block(bytes(block) + bytes(shifted))).position


def test_a_position_has_its_signs() -> None:
    """A place in Sydney's centre: 33 52 08 S, 151 12 33 E."""
    for below, altitude in ((0, 5.0), (1, -5.0)):
        place = gps(below=below)
        assert place
        assert (place.latitude_deg, place.longitude_deg) == pytest.approx((-33.868889, 151.209167))
        assert place.altitude_m == altitude


def test_an_altitude_of_zero_over_zero_is_none() -> None:
    place = gps(altitude=(0, 0))

    assert place
    assert place.altitude_m is None


@pytest.mark.parametrize("latitude", [(91, 1, 0, 1, 0, 1), (0, 0, 0, 0, 0, 0), (2**32 - 1, 1, 0, 1, 0, 1)])
def test_a_position_off_the_earth_is_none(latitude: tuple[int, ...]) -> None:
    assert gps(latitude=latitude) is None


def test_gps_time_is_joined_from_date_and_time_of_day() -> None:
    """The dump of IMG_1034.heic: 2018:02:05 and 07:11:43.070 UTC; written here by Pillow."""
    data = jpeg(exif=exif({}, None, {0x001D: "2018:02:05", 0x0007: (7.0, 11.0, 43.07), 0x0011: 25.27}))

    capture = read_exif_bytes(data)

    assert capture.gps_utc == datetime(2018, 2, 5, 7, 11, 43, 70_000)  # noqa: DTZ001
    assert capture.direction_deg == pytest.approx(25.27)


def test_a_gps_time_that_is_blank_is_none() -> None:
    assert (
        read_exif_bytes(jpeg(exif=exif({}, None, {0x001D: "0000:00:00", 0x0007: (0.0, 0.0, 0.0)}))).gps_utc
        is None
    )


def test_the_rest_is_read_from_a_file_made_by_another_writer() -> None:
    """Writer: Pillow."""
    deeper = {0x829A: 0.008, 0x829D: 2.8, 0x920A: 4.25, 0x9209: 0x19, 0xA431: "SN-4711"}
    data = jpeg(exif=exif({0x010F: "Wren", 0x0110: "W1", 0x0112: 8}, deeper))

    capture = read_exif_bytes(data)

    assert (capture.make, capture.model, capture.serial) == ("Wren", "W1", "SN-4711")
    assert (capture.exposure_s, capture.f_number, capture.focal_mm) == (0.008, 2.8, 4.25)
    assert capture.flash is True
    assert capture.orientation == 8
    assert (capture.width, capture.height) == (96, 64)
    assert capture.remarks == ()


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF"])
def test_metadata_are_found_in_other_files_too(kind: str) -> None:
    """Writer: Pillow."""
    kept = io.BytesIO()
    block = exif({0x010F: "Wren", 0x0132: "2026:11:25 09:30:15"})
    Image.new("RGB", (96, 64)).save(kept, kind, exif=block)

    capture = read_exif_bytes(kept.getvalue())

    assert capture.changed == datetime(2026, 11, 25, 9, 30, 15)  # noqa: DTZ001
    assert (capture.make, capture.width, capture.height) == ("Wren", 96, 64)


def test_a_jpeg_cut_off_in_its_header_still_gives_what_it_has() -> None:
    data = jpeg(exif=exif({0x010F: "Wren"}))

    capture = read_exif_bytes(data[: data.index(b"\xff\xdb")])

    assert capture.make == "Wren"
    assert capture.remarks == ("The JPEG breaks off before its picture begins.",)


@pytest.mark.parametrize("data", [b"", b"Dear Sir", b"\xff\xd8", b"II*\0", b"RIFF", b"\0" * 1000])
def test_what_holds_no_metadata_gives_none(data: bytes) -> None:
    capture = read_exif_bytes(data)

    assert (capture.time, capture.make, capture.orientation) == (None, "", 1)
