"""What a film's container says."""

import io
import os
import re
import tracemalloc
from datetime import datetime, timedelta
from pathlib import Path
from typing import BinaryIO, cast

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evidence.pictures import films, read_exif
from evidence.words import Position, TimeSource
from tests.pictures.made_up import box

EPOCH = datetime(1904, 1, 1)  # noqa: DTZ001 - ISO/IEC 14496-12, 8.2.2.3
ZONES = {"AEDT": 11, "AEST": 10, "+11:00": 11, "+10:00": 10}


def film(*inside: bytes) -> io.BytesIO:
    return io.BytesIO(
        box(b"ftyp", b"qt  \0\0\0\0qt  ") + box(b"mdat", b"x" * 99) + box(b"moov", b"".join(inside))
    )


def header(moment: datetime, wide: bool = False) -> bytes:
    seconds = int((moment - EPOCH).total_seconds())
    numbers = seconds.to_bytes(8 if wide else 4, "big") * 2
    return box(b"mvhd", bytes([wide, 0, 0, 0]) + numbers + b"\0" * 80)


def keyed(**texts: str) -> bytes:
    """QuickTime metadata: names in ``keys``, values in ``ilst`` (QuickTime File Format, Metadata)."""
    names = b"".join(box(b"mdta", f"com.apple.quicktime.{name}".encode()) for name in texts)
    values = b"".join(
        box(n.to_bytes(4, "big"), box(b"data", b"\0\0\0\1\0\0\0\0" + text.encode()))
        for n, text in enumerate(texts.values(), 1)
    )
    return box(
        b"meta",
        box(b"hdlr", b"\0" * 24)
        + box(b"keys", b"\0" * 4 + len(texts).to_bytes(4, "big") + names)
        + box(b"ilst", values),
    )


def test_container_times_are_those_of_the_dumps(open_data: Path) -> None:
    """Reference: the expected-value dumps beside the films (metadata-extractor-images).

    They give UTC in the zone of whoever made the dump. One film records a local date with its zone
    beside it; that one is checked below.
    """
    compared = 0
    root = open_data / "exif" / "mx"
    for dump in sorted([*root.glob("mov/metadata/java/*.txt"), *root.glob("mp4/metadata/java/*.txt")]):
        line = re.search(
            r"0x0100\] Creation Time = \w+ (\w+ \d+ \S+) (\S+) (\d+)$",
            dump.read_text("utf-8", "replace"),
            re.MULTILINE,
        )
        if not line or dump.name == "with-gps.mov.txt":
            continue
        local = datetime.strptime(f"{line[1]} {line[3]}", "%b %d %H:%M:%S %Y")  # noqa: DTZ007
        expected = local - timedelta(hours=ZONES[line[2]])

        time = read_exif(dump.parents[2] / dump.name[:-4]).time

        if expected == EPOCH:
            assert time is None, dump.name
        else:
            assert time, dump.name
            assert (time.moment, time.source, time.offset_min) == (expected, TimeSource.CONTAINER, None)
        compared += 1

    assert compared >= 7


def test_a_local_date_with_its_zone_counts_more_than_the_containers_clock(open_data: Path) -> None:
    """The dump of with-gps.mov: Creation Date, Make, Model, ISO 6709; Width of its track."""
    capture = read_exif(open_data / "exif" / "mx" / "mov" / "with-gps.mov")

    assert capture.time
    assert capture.time.moment == datetime(2019, 7, 24, 11, 25, 40)  # noqa: DTZ001
    assert capture.time.offset_min == 180
    assert (capture.make, capture.model, capture.width) == ("Apple", "iPhone 6", 568)
    assert capture.position == Position(32.0929, 34.8620, 28.516)


@pytest.mark.parametrize("wide", [False, True])
def test_both_widths_of_the_containers_clock_are_read(wide: bool) -> None:
    moment = datetime(2026, 11, 25, 9, 30, 15)  # noqa: DTZ001

    capture = films.read(film(header(moment, wide)))

    assert capture.time
    assert capture.time.moment == moment
    assert "may be UTC or local" in capture.remarks[0]


def test_a_clock_of_zero_is_no_time() -> None:
    capture = films.read(film(header(EPOCH)))

    assert capture.time is None
    assert capture.remarks == ("The film records no time.",)


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("2026-11-25T09:30:15+0530", 330),
        ("2026-11-25T09:30:15-08:00", -480),
        ("2026-11-25T09:30:15Z", 0),
        ("2026-11-25 09:30:15", None),
    ],
)
def test_zones_of_recorded_dates_are_read(text: str, minutes: int | None) -> None:
    """ISO 8601 forms that cameras write."""
    capture = films.read(film(keyed(creationdate=text, make="Wren", model="W1")))

    assert capture.time
    assert (capture.time.moment.hour, capture.time.offset_min) == (9, minutes)
    assert capture.make == "Wren"


def test_older_user_data_are_read_too() -> None:
    """QuickTime File Format, User Data: 16-bit length, 16-bit language, text."""

    def text(kind: bytes, value: bytes) -> bytes:
        return box(kind, len(value).to_bytes(2, "big") + b"\x15\xc7" + value)

    udta = box(b"udta", text(b"\xa9mak", b"Wren") + text(b"\xa9xyz", b"-33.8688+151.2093/"))

    capture = films.read(film(header(datetime(2026, 1, 2)), udta))  # noqa: DTZ001

    assert capture.make == "Wren"
    assert capture.position == Position(-33.8688, 151.2093)


def test_an_avis_date_is_read() -> None:
    """IDIT as C's asctime writes it (common practice of cameras)."""
    avi = b"RIFF\0\0\0\0AVI LIST\0\0\0\0hdrlIDIT\x1a\0\0\0Wed Nov 25 09:30:15 2026\n\0"

    capture = films.read(io.BytesIO(avi))

    assert capture.time
    assert capture.time.moment == datetime(2026, 11, 25, 9, 30, 15)  # noqa: DTZ001


def test_a_film_cut_off_while_recording_says_so() -> None:
    capture = films.read(io.BytesIO(box(b"ftyp", b"qt  ") + box(b"mdat", b"x" * 50)))

    assert "cut off" in capture.remarks[0]


def test_only_the_header_of_a_film_is_read(tmp_path: Path) -> None:
    """A film of 4 GB (sparse) costs a few kilobytes of reading."""
    path = tmp_path / "ABCD0001.MOV"
    with path.open("wb") as file:
        file.write(box(b"ftyp", b"qt  ") + b"\0\0\0\1mdat" + (4 * 2**30).to_bytes(8, "big"))
        file.seek(12 + 4 * 2**30)
        file.write(box(b"moov", header(datetime(2026, 11, 25))))  # noqa: DTZ001
    read = 0

    class Counted(io.FileIO):
        def read(self, size: int | None = -1, /) -> bytes:
            nonlocal read
            data = super().read(size)
            read += len(data)
            return data

    with Counted(path) as counted:
        assert films.read(cast("BinaryIO", counted)).time  # a raw file reads as a buffered one does
    assert read < 10_000


@settings(max_examples=400, deadline=1000)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([b"mvhd", b"udta", b"meta", b"trak", b"keys", b"ilst", b"tkhd"]),
            st.binary(max_size=120),
        ),
        max_size=4,
    ),
    st.binary(max_size=40),
)
def test_any_boxes_give_a_capture(inside: list[tuple[bytes, bytes]], tail: bytes) -> None:
    boxes = [box(kind, body) for kind, body in inside]

    capture = films.read(io.BytesIO(film(*boxes, box(b"trak", boxes[0] if boxes else b"")).getvalue() + tail))

    assert capture.time is None or capture.time.moment >= EPOCH or capture.time.moment.year > 0


def test_a_films_length_is_its_duration_by_its_time_scale() -> None:
    """ISO/IEC 14496-12, 8.2.2: duration in units of the time scale; all ones means not known."""

    def lasting(scale: int, units: int) -> bytes:
        return box(b"mvhd", bytes(12) + scale.to_bytes(4, "big") + units.to_bytes(4, "big") + bytes(80))

    assert films.read(film(lasting(600, 1500))).length_s == 2.5
    assert films.read(film(lasting(0, 1500))).length_s is None
    assert films.read(film(lasting(600, 2**32 - 1))).length_s is None


def test_an_avis_length_is_its_frames_by_the_time_of_one() -> None:
    """AVI RIFF file reference: ``avih`` begins with microseconds a frame; frames in all stand fifth."""
    numbers = [40_000, 0, 0, 0, 250, 0, 1]
    body = b"".join(n.to_bytes(4, "little") for n in numbers)
    avi = b"RIFF\0\0\0\0AVI LIST\0\0\0\0hdrlavih" + len(body).to_bytes(4, "little") + body

    assert films.read(io.BytesIO(avi)).length_s == 10.0


def wave(*chunks: tuple[bytes, bytes]) -> io.BytesIO:
    body = b"".join(
        kind + len(data).to_bytes(4, "little") + data + b"\0" * (len(data) % 2) for kind, data in chunks
    )
    return io.BytesIO(b"RIFF" + (4 + len(body)).to_bytes(4, "little") + b"WAVE" + body)


def test_a_sound_notes_length_is_its_bytes_by_bytes_a_second() -> None:
    """Multimedia Programming Interface (1991), WAVE: ``fmt`` has the average bytes a second at 8."""
    form = (1).to_bytes(2, "little") + (1).to_bytes(2, "little") + (8000).to_bytes(4, "little")
    form += (16_000).to_bytes(4, "little") + bytes(4)

    capture = films.read(wave((b"fmt ", form), (b"LIST", b"odd"), (b"data", bytes(24_000))))

    assert capture.length_s == 1.5
    assert capture.time is None


def test_a_broadcast_waves_date_is_read() -> None:
    """EBU Tech 3285, 2.4: OriginationDate and OriginationTime stand at 320 and 330 of ``bext``."""
    body = bytes(320) + b"2026-11-25" + b"09:30:15" + bytes(264)

    capture = films.read(wave((b"bext", body)))

    assert capture.time
    assert capture.time.moment == datetime(2026, 11, 25, 9, 30, 15)  # noqa: DTZ001


@settings(max_examples=200, deadline=1000)
@given(st.binary(max_size=200))
def test_any_sound_note_gives_a_capture(data: bytes) -> None:
    capture = films.read(io.BytesIO(b"RIFF\0\0\0\0WAVE" + data))

    assert capture.length_s is None or capture.length_s >= 0


def test_a_sound_note_of_zeros_is_not_gone_through_to_its_end() -> None:
    """Zeros read as empty chunks of eight bytes, 125,000 of them in a million."""

    class Counted(io.BytesIO):
        reads = 0

        def read(self, size: int | None = -1, /) -> bytes:
            self.reads += 1
            return super().read(size)

    file = Counted(b"RIFF\0\0\0\0WAVE" + bytes(1_000_000))

    assert films.read(file).length_s is None
    assert file.reads < 2_000


@pytest.mark.parametrize(
    ("name", "head"),
    [
        ("00001.MTS", b"\0\0\0\0G" + bytes(191) + b"G"),  # ISO/IEC 13818-1: a packet begins with 47
        ("walk.mkv", b"\x1a\x45\xdf\xa3"),  # RFC 8794, 11.2.1
        ("walk.mpg", b"\0\0\1\xba"),
    ],
)
def test_of_a_film_whose_container_nobody_reads_only_the_head_is_read(
    name: str, head: bytes, tmp_path: Path
) -> None:
    """100 MB, most of it a hole."""
    path = tmp_path / name
    path.write_bytes(head)
    os.truncate(path, 100_000_000)
    read_exif(path)
    tracemalloc.start()

    read_exif(path)

    _, most_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most_bytes < 1_000_000
