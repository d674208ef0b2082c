"""Films, sound notes and what was said, on the line of time."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from evidence.record import Decision
from evidence.recordings import Recording, Still, moment, place_recordings, written
from evidence.words import CameraTime, Capture, Digest, FileKind, Original, Taken, TimeSource

NINE = datetime(2026, 3, 4, 9, 0, tzinfo=UTC).timestamp()
AHEAD = 7200.0
"""The card's file times are two hours behind its camera's clock, as a card read in another zone's are."""


def row(kind: FileKind, name: str, ended_s: float | None) -> Taken:
    time = "" if ended_s is None else datetime.fromtimestamp(ended_s - AHEAD, UTC).isoformat()
    return Taken(Original(Digest(name), 9, f"card/{name}"), kind, None, "card", name, time, name)


def stills(*seconds: float, camera: str = "Ostrel F2") -> list[Still]:
    return [Still("card", camera, at, at - AHEAD, None) for at in seconds]


def decided(what: str, about: str, value: Any) -> dict[tuple[str, str], Decision]:  # noqa: ANN401 - a record's
    return {(what, about): Decision(1, "", "", what, about, value, None, "", "")}


def placed(taken: Taken, capture: Capture, near: list[Still], **more: Any) -> Recording:  # noqa: ANN401
    decisions = more.pop("decisions", {})
    (found,) = place_recordings([taken], {taken.original.digest: capture}, decisions, near, **more)
    return found


def shown(at_s: float, offset_min: int | None = None, length_s: float = 60.0, make: str = "") -> Capture:
    when = datetime.fromtimestamp(at_s, UTC).replace(tzinfo=None)
    return Capture(time=CameraTime(when, offset_min, TimeSource.CONTAINER), length_s=length_s, make=make)


def test_a_sound_note_without_a_time_stands_by_its_file_and_is_assumed() -> None:
    """Truth: it ran from 9:01:00 to 9:01:20; its file time is its end, two hours behind like the stills'."""
    found = placed(
        row(FileKind.SOUND, "A0001.WAV", NINE + 80), Capture(length_s=20.0), stills(NINE, NINE + 300)
    )

    assert found.starts == NINE + 60
    assert found.assumed
    assert "file's own time" in found.how


@pytest.mark.parametrize("began", ["9990-01-01T00:00:00", "0005-01-01T00:00:00"])
def test_a_film_that_would_leave_the_calendar_by_its_own_length_has_no_reading(began: str) -> None:
    """A damaged header: ISO/IEC 14496-12, 8.2.2, gives 64 bits to the time and to the length."""
    found = placed(
        row(FileKind.FILM, "A0001.MP4", None),
        shown(moment(began), length_s=12 * 366 * 86_400.0),
        stills(NINE),
    )

    assert (found.starts, found.readings) == (None, ())


def test_a_recorded_local_date_with_its_zone_is_taken_as_it_is() -> None:
    found = placed(row(FileKind.FILM, "A0001.MOV", None), shown(NINE + 30, -360), stills(NINE, NINE + 300))

    assert (found.starts, found.assumed, found.offset_min) == (NINE + 30, False, -360)


@pytest.mark.parametrize(
    ("stamp_s", "reading"),
    [(NINE + 30 + 6 * 3600, "UTC at the start"), (NINE + 90 + 6 * 3600, "UTC at the end")],
)
def test_the_camera_takes_no_still_while_it_films_which_tells_start_from_end(
    stamp_s: float, reading: str
) -> None:
    """Truth: it ran from 9:00:30 to 9:01:30; the same camera's stills stand close on both sides."""
    own = stills(NINE, NINE + 20, NINE + 29, NINE + 91, NINE + 100, camera="Ostrel")
    taken = row(FileKind.FILM, "A0001.MP4", None)

    found = placed(taken, shown(stamp_s, make="Ostrel"), own, zone="America/Chicago")

    assert (found.starts, found.readings) == (NINE + 30, ())
    assert reading in found.how
    assert found.offset_min == -360


def test_what_the_inspector_says_of_a_camera_or_a_film_comes_first() -> None:
    taken, near = row(FileKind.FILM, "A0001.MP4", None), stills(NINE, NINE + 900)
    capture = shown(NINE + 300)
    assert [name for name, _ in placed(taken, capture, near).readings] == [
        "local time at the start",
        "local time at the end",
    ]

    camera = decided("film time", "card", "local time at the end")
    assert placed(taken, capture, near, decisions=camera).starts == NINE + 240
    one = decided("film time", "card/A0001.MP4", {"starts": written(NINE + 5), "how": "as you said"})
    assert placed(taken, capture, near, decisions={**camera, **one}).starts == NINE + 5


def test_a_clock_correction_of_the_camera_moves_its_films() -> None:
    near = stills(NINE, NINE + 300)
    clock = decided("clock", "Ostrel", {"add_s": -40.0, "reason": "fast"})

    found = placed(
        row(FileKind.FILM, "A0001.MOV", None), shown(NINE + 70, 0, make="Ostrel"), near, decisions=clock
    )

    assert (found.starts, found.add_s, found.correction) == (NINE + 30, -40.0, "fast")
    time = found.time_at(2.5)
    assert time
    assert time.seconds == NINE + 72.5


def test_a_film_that_nothing_tells_of_has_no_start() -> None:
    found = placed(row(FileKind.FILM, "A0001.MP4", None), Capture(), [])

    assert (found.starts, found.assumed, found.time_at(1)) == (None, True, None)


def test_moments_are_written_to_the_millisecond_and_read_back() -> None:
    assert written(NINE + 0.25) == "2026-03-04T09:00:00.250"
    assert moment(written(NINE + 0.25)) == NINE + 0.25


@pytest.mark.parametrize("add_s", [1e12, -1e11, 1e30])
def test_a_correction_out_of_the_calendar_leaves_a_film_where_it_was(add_s: float) -> None:
    clock = decided("clock", "Ostrel", {"add_s": add_s, "reason": "a slip"})
    capture = shown(NINE + 30, -360, make="Ostrel")

    found = placed(row(FileKind.FILM, "A0001.MOV", None), capture, stills(NINE), decisions=clock)

    assert (found.starts, found.add_s, found.corrected) == (NINE + 30, 0.0, False)
    assert found.correction.startswith("not corrected by")
    time = found.time_at(2.0)
    assert time is not None
    assert time.seconds == NINE + 32


def test_a_film_among_stills_at_the_calendars_ends_is_placed() -> None:
    near = stills(-62_135_596_800.0, NINE, 253_402_300_799.0)

    found = placed(row(FileKind.FILM, "A0001.MP4", None), shown(NINE + 30), near, zone="America/Chicago")

    assert found.starts == NINE + 30
