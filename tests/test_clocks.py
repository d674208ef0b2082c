"""Camera clocks: faults against the order of shooting, zones, two cameras, hours that exist twice, films."""

from __future__ import annotations

import os
import zoneinfo
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evidence import clocks, pictures
from evidence.clocks import Fault, FaultKind, Film, FilmStamp
from evidence.words import CameraTime, Capture, TimeSource

MX = Path(__file__).parents[2] / "shared" / "data" / "exif" / "mx"
START = datetime(2026, 11, 25, 9, 0, 0)  # noqa: DTZ001 - a camera's clock is naive
CASES = int(os.environ.get("CLOCK_CASES", "100"))
"""Hypothesis cases a property; the count of the one long run stands in docs/methods/clocks.md."""

moments = st.datetimes(datetime(1990, 1, 1), datetime(2060, 1, 1))  # noqa: DTZ001
gaps = st.lists(st.floats(0.0, 900.0), min_size=1, max_size=40)


def corrections(found: Sequence[Fault], count: int) -> list[float]:
    """Add up what the faults propose: seconds to add to each of ``count`` pictures."""
    shifts = [0.0] * count
    for fault in found:
        for index in range(fault.after + 1, count):
            shifts[index] += fault.shift_s
    return shifts


def shown(*seconds: float, offset_min: int | None = None) -> list[CameraTime]:
    return [CameraTime(START + timedelta(seconds=s), offset_min, TimeSource.TAKEN) for s in seconds]


def walk(steps: list[float]) -> list[float]:
    return [float(t) for t in np.concatenate(([0.0], np.cumsum(steps)))]


# ------------------------------------------------------------------------------------ faults


def test_a_clock_that_ran_well_has_no_fault_even_over_lunch() -> None:
    """A pause of 45 minutes is shorter than any step that is asked about (our own threshold)."""
    assert clocks.faults(shown(0, 9, 30, 41, 41 + 2700, 2760, 2775)) == []


def test_a_reset_is_found_at_the_exact_shot_and_called_assumed() -> None:
    """The clock falls to 1 January 2000 when its cell dies: common practice, truth made here."""
    good = shown(0, 10, 20, 30)
    fell = [CameraTime(datetime(2000, 1, 1, 0, 0, s), None, TimeSource.TAKEN) for s in (0, 10, 20)]  # noqa: DTZ001

    (fault,) = clocks.faults(good + fell)

    assert (fault.after, fault.kind, fault.exact) == (3, FaultKind.RESET, False)
    line = [time.seconds + add for time, add in zip(good + fell, corrections([fault], 7), strict=True)]
    assert np.allclose(np.diff(line), 10.0)


def test_an_hour_back_is_repaired_exactly() -> None:
    (fault,) = clocks.faults(shown(0, 10, 20, 32 - 3600, 45 - 3600))

    assert (fault.after, fault.kind, fault.shift_s, fault.exact) == (2, FaultKind.HOURS_BACK, 3600.0, True)


def test_an_hour_forward_is_repaired_exactly() -> None:
    (fault,) = clocks.faults(shown(0, 10, 20, 32 + 3600, 45 + 3600))

    assert (fault.after, fault.kind, fault.shift_s, fault.exact) == (2, FaultKind.HOURS_ON, -3600.0, True)


def test_a_clock_put_right_again_takes_back_what_was_added() -> None:
    fell = [CameraTime(datetime(2000, 1, 1, 0, 0, s), None, TimeSource.TAKEN) for s in (0, 10)]  # noqa: DTZ001
    times = [*shown(0, 10), *fell, *shown(100, 110)]

    found = clocks.faults(times)

    assert [fault.after for fault in found] == [1, 3]
    assert corrections(found, 6)[4:] == [0.0, 0.0]


def test_what_was_added_is_not_taken_back_where_time_would_run_backwards() -> None:
    """Found by the long hypothesis run: an hour of pictures cannot fit into ten minutes."""
    fell = [
        CameraTime(datetime(2000, 1, 1, hour, minute), None, TimeSource.TAKEN)  # noqa: DTZ001
        for hour, minute in ((0, 0), (0, 30), (1, 0))
    ]
    times = [*shown(0, 10), *fell, *shown(600, 610)]

    line = np.add([time.seconds for time in times], corrections(clocks.faults(times), len(times)))

    assert (np.diff(line) >= clocks.BACK_S).all()


def test_a_phone_that_leaves_daylight_saving_time_is_no_fault() -> None:
    """Offsets are recorded with the pictures: the instants go on although the clock goes back an hour."""
    before, after = shown(0, 10, offset_min=-300), shown(20 - 3600, 30 - 3600, offset_min=-360)

    assert clocks.faults(before + after) == []


def test_a_card_taken_in_after_one_that_was_shot_later_makes_no_fault() -> None:
    """Two cards of one camera given in either order, or the cards of two phones of one model."""
    later, earlier = (shown(*(60 * n for n in range(first, first + 9))) for first in (30, 5))
    reset = [time.later(-9000 * 86_400.0) for time in earlier]
    two = ["B"] * 9 + ["A"] * 9

    assert clocks.faults(later + earlier, two) == []
    assert [fault.after for fault in clocks.faults(later + earlier, ["A"] * 18)] == [8]
    assert [fault.after for fault in clocks.faults(later + reset, two)] == [8]


def test_pictures_without_a_time_are_passed_over() -> None:
    one, two, three = shown(0, 10, 20 - 3600)

    (fault,) = clocks.faults([one, None, two, None, three])

    assert fault.after == 2


@settings(max_examples=CASES, deadline=None)
@given(gaps)
def test_a_clock_that_only_goes_on_by_less_than_an_hour_has_no_fault(steps: list[float]) -> None:
    assert clocks.faults(shown(*walk(steps))) == []


@settings(max_examples=CASES, deadline=None)
@given(gaps, gaps, st.integers(1, 12), st.sampled_from((-1, 1)), st.floats(0.0, 200.0))
def test_whole_hours_are_found_at_their_shot_and_repaired(
    before: list[float], after: list[float], hours: int, way: int, gap: float
) -> None:
    """Truth made here; an hour forward needs 20 usual gaps to be told from a pause, so gaps stay small."""
    small = [min(step, 170.0) for step in before]
    later = [min(step, 170.0) for step in after]
    true = walk([*small, gap, *later])
    at = len(small) + 1
    seen = [t + (way * hours * 3600 if i >= at else 0) for i, t in enumerate(true)]

    found = clocks.faults(shown(*seen))

    assert [(fault.after, fault.exact) for fault in found] == [(at - 1, True)]
    repaired = np.add(seen, corrections(found, len(seen)))
    assert np.allclose(repaired, true, atol=1e-3)


@settings(max_examples=CASES, deadline=None)
@given(st.lists(st.floats(-4e8, 4e8), min_size=2, max_size=30))
def test_after_all_corrections_time_goes_on_whatever_the_clock_did(steps: list[float]) -> None:
    seen = walk(steps)

    found = clocks.faults(shown(*seen))

    line = np.add(seen, corrections(found, len(seen)))
    assert (np.diff(line) >= clocks.BACK_S - 1e-3).all()


# ------------------------------------------------------------------------------------- zones


@pytest.mark.skipif(not MX.is_dir(), reason="the open data set exif/mx is not beside the project")
@pytest.mark.parametrize(("name", "offset_min"), [("IMG_1034.heic", 480), ("Sony DSC-HX5V (2).jpg", 120)])
def test_the_zone_of_a_real_picture_comes_from_its_satellite_time(name: str, offset_min: int) -> None:
    """exif/mx (metadata-extractor-images): a phone in China, a camera in central Europe in May.

    The second witness is the position recorded beside the time: 15 degrees of longitude are an hour
    of sun, and clocks keep within two and a half hours of it (IANA time zone database).
    """
    (path,) = [found for found in MX.rglob(name) if found.is_file()]
    capture = pictures.read_exif(path)

    zone = clocks.zone([capture])

    assert zone is not None
    assert zone.offset_min == offset_min
    assert abs(zone.fast_s) < 120
    if capture.position is not None:
        assert abs(capture.position.longitude_deg / 15 - offset_min / 60) < 2.5


def test_no_zone_is_given_where_satellite_time_and_camera_do_not_settle_on_one() -> None:
    def taken(off_s: float) -> Capture:
        return Capture(time=shown(off_s)[0], gps_utc=START)

    assert clocks.zone([]) is None
    assert clocks.zone([Capture(time=shown(0)[0])]) is None
    assert clocks.zone([taken(3600 + 400)]) is None
    assert clocks.zone([taken(-5 * 3600), taken(-5 * 3600 + 500), taken(-5 * 3600 - 700)]) is None
    assert clocks.zone([taken(40 * 3600)]) is None
    assert clocks.zone([taken(5.5 * 3600 + 30)] * 4 + [taken(9e4)]) == clocks.Zone(330, 30.0, 5)


def with_fixes(ahead_s: float, offset_min: int | None, *, fixes: int = 5) -> list[Capture]:
    """Pictures a minute apart, six hours west of UTC, by a clock so far ahead; the last fix is repeated."""
    shots = shown(*(60.0 * n + ahead_s for n in range(5)), offset_min=offset_min)
    seen = [START + timedelta(hours=6, minutes=min(n, fixes - 1)) for n in range(5)]
    return [Capture(time=time, gps_utc=fix) for time, fix in zip(shots, seen, strict=True)]


def test_a_clock_a_quarter_of_an_hour_fast_is_told_where_the_zone_is_known() -> None:
    fast = clocks.Zone(-360, 930.0, 5)

    assert clocks.zone(with_fixes(930.0, -360)) == fast
    assert clocks.zone(with_fixes(930.0, None), "America/Chicago") == fast
    assert clocks.zone(with_fixes(930.0, None)) == clocks.Zone(-345, 30.0, 5), "nothing tells the zone"


def test_a_makers_zone_that_nobody_set_does_not_make_a_right_clock_wrong() -> None:
    """A body that shows the house's time and records +09:00, as it left the factory."""
    assert clocks.zone(with_fixes(5.0, 540)) == clocks.Zone(-360, 5.0, 5)
    assert clocks.zone(with_fixes(5.0, 540), "America/Chicago") == clocks.Zone(-360, 5.0, 5)


def test_an_old_fix_repeated_indoors_does_not_set_a_clock_minutes_off() -> None:
    stale = [
        replace(one, gps_utc=START + timedelta(hours=5, minutes=50)) for one in with_fixes(0.0, -360)[:3]
    ]

    assert clocks.zone(stale) is None


def test_the_calendars_last_hours_are_read_though_utc_lies_beyond_it() -> None:
    (last,) = clocks.readings(datetime(9999, 12, 31, 23, 0), "America/Chicago")  # noqa: DTZ001

    assert last.hour == 23


def test_an_hour_exists_twice_in_autumn_and_not_at_all_in_spring() -> None:
    """Energy Policy Act of 2005, sec. 110: in the USA from the second Sunday of March to the first of
    November; Directive 2000/84/EC: in Europe on the last Sundays of March and October, 01:00 UTC.
    """
    twice = clocks.readings(datetime(2025, 11, 2, 1, 30), "America/Chicago")  # noqa: DTZ001
    assert [reading.utcoffset() for reading in twice] == [timedelta(hours=-5), timedelta(hours=-6)]
    assert twice[1].astimezone(UTC) - twice[0].astimezone(UTC) == timedelta(hours=1)
    assert clocks.readings(datetime(2025, 3, 9, 2, 30), "America/Chicago") == ()  # noqa: DTZ001
    assert clocks.readings(datetime(2025, 3, 30, 1, 30), "Europe/London") == ()  # noqa: DTZ001
    assert len(clocks.readings(datetime(2025, 10, 26, 1, 30), "Europe/London")) == 2  # noqa: DTZ001
    assert len(clocks.readings(START, "America/Chicago")) == 1
    with pytest.raises(ValueError, match="naive"):
        clocks.readings(START.replace(tzinfo=UTC), "UTC")


@settings(max_examples=CASES, deadline=None)
@given(moments, st.sampled_from(("America/Chicago", "Europe/London", "Australia/Lord_Howe", "Asia/Kolkata")))
def test_every_reading_of_a_wall_clock_shows_that_time_on_it(moment: datetime, name: str) -> None:
    """The way to UTC and back through zoneinfo (PEP 615) is the judge."""
    there = zoneinfo.ZoneInfo(name)

    found = clocks.readings(moment, name)

    assert len(found) <= 2
    assert all(r.astimezone(UTC).astimezone(there).replace(tzinfo=None, fold=0) == moment for r in found)
    assert sorted(r.astimezone(UTC) for r in found) == [r.astimezone(UTC) for r in found]


@settings(max_examples=CASES, deadline=None)
@given(st.datetimes(datetime(1990, 1, 1), datetime(2037, 1, 1), timezones=st.just(UTC)))  # noqa: DTZ001
def test_every_instant_is_among_the_readings_of_the_clock_it_shows(instant: datetime) -> None:
    wall = instant.astimezone(zoneinfo.ZoneInfo("America/Chicago")).replace(tzinfo=None, fold=0)

    assert instant in [reading.astimezone(UTC) for reading in clocks.readings(wall, "America/Chicago")]


@settings(max_examples=CASES, deadline=None)
@given(moments, st.floats(-1e8, 1e8), st.floats(-1e8, 1e8))
def test_a_camera_time_moved_twice_is_moved_by_the_sum(moment: datetime, a: float, b: float) -> None:
    """Microseconds are the finest a datetime holds; each move rounds to one."""
    time = CameraTime(moment, None, TimeSource.TAKEN)

    assert abs(time.later(a).later(b).seconds - time.seconds - a - b) < 4e-6
    assert time.later(a).later(-a).seconds == pytest.approx(time.seconds, abs=2e-6)
    assert time.later(a).offset_min is None


# ------------------------------------------------------------------------------- two cameras


def test_two_cameras_are_aligned_by_the_pictures_that_look_alike() -> None:
    """A second camera 41 s slow photographs five of the same things; truth made here."""
    rng = np.random.default_rng(3)
    main = np.cumsum(rng.uniform(5, 60, 120))
    seen = [10, 35, 60, 80, 111]
    other = main[seen] + rng.normal(0, 3, 5) - 41.0
    apart = np.ones((5, 120), np.float32)
    apart[np.arange(5), seen] = 0.1

    found = clocks.align(main.tolist(), other.tolist(), apart)

    assert found is not None
    assert found.sure
    assert found.shift_s == pytest.approx(41.0, abs=10)


def test_look_alikes_that_contradict_each_other_leave_the_cameras_unsure() -> None:
    rng = np.random.default_rng(4)
    main = np.cumsum(rng.uniform(5, 60, 120))

    found = clocks.align(main.tolist(), [100.0, 900.0, 2000.0], rng.random((3, 120)).astype(np.float32))

    assert found is not None
    assert not found.sure
    assert "unsure" in found.reason


def test_one_picture_alone_never_makes_two_cameras_sure() -> None:
    found = clocks.align([0.0], [5.0], np.zeros((1, 1), np.float32))

    assert found is not None
    assert not found.sure


def test_cameras_without_a_picture_that_can_vote_are_not_aligned() -> None:
    assert clocks.align([], [], np.empty((0, 0), np.float32)) is None
    assert clocks.align([1.0], [2.0], np.full((1, 1), np.inf, np.float32)) is None


@settings(max_examples=max(10, CASES // 10), deadline=None)
@given(st.integers(0, 10_000), st.floats(-1e7, 1e7))
def test_an_alignment_moves_with_the_second_clock(seed: int, fast: float) -> None:
    rng = np.random.default_rng(seed)
    main, apart = np.cumsum(rng.uniform(5, 60, 30)), rng.random((4, 30)).astype(np.float32)
    other = main[:4]

    here = clocks.align(main.tolist(), other.tolist(), apart)
    there = clocks.align(main.tolist(), (other + fast).tolist(), apart)

    assert here is not None
    assert there is not None
    assert there.shift_s == pytest.approx(here.shift_s - fast, abs=1e-3)


def test_one_shot_of_the_same_thing_settles_two_cameras() -> None:
    found = clocks.settle(*shown(100.0, 59.5))

    assert (found.shift_s, found.sure, found.confidence) == (40.5, True, None)


@settings(max_examples=CASES, deadline=None)
@given(moments, st.floats(-43_000, 43_000))
def test_a_photographed_watch_tells_how_far_the_camera_is_off(moment: datetime, off: float) -> None:
    watch = moment + timedelta(seconds=off)
    time = CameraTime(moment, None, TimeSource.TAKEN)

    add = clocks.shown_clock(time, watch.hour, watch.minute, watch.second)

    assert add == pytest.approx(off, abs=1.0)


def test_a_time_of_day_that_does_not_exist_is_refused() -> None:
    with pytest.raises(ValueError, match="hour"):
        clocks.shown_clock(shown(0)[0], 25, 0)


# -------------------------------------------------------------------------------------- films


@pytest.mark.parametrize("meaning", list(FilmStamp))
def test_a_film_stamp_is_read_in_the_way_that_fits_the_stills(meaning: FilmStamp) -> None:
    """The same film, 400 s long, stamped in each of the four ways at UTC-5; truth made here."""
    start = START + timedelta(seconds=1000)
    stamp = start
    if "UTC" in meaning.value:
        stamp += timedelta(hours=5)
    if "end" in meaning.value:
        stamp += timedelta(seconds=400)
    film = Film(stamp, 400.0)
    assert clocks.film_start(film, meaning, -300) == start
    stills = [START + timedelta(seconds=s) for s in (0, 500, 990, 1410, 1900)]

    possible = clocks.film_stamps([film], stills, -300, same_camera=stills)

    assert meaning in possible
    assert len({"UTC" in stamp.value for stamp in possible}) == 1


def test_a_camera_takes_no_stills_while_it_films_so_start_and_end_are_told_apart() -> None:
    stills = [START + timedelta(seconds=s) for s in (0, 500, 990, 1410, 1500, 1900)]
    film = Film(START + timedelta(seconds=1400), 400.0)

    assert clocks.film_stamps([film], stills, None, same_camera=stills) == [FilmStamp.LOCAL_STOP]
    assert clocks.film_stamps([film], stills, None) == [FilmStamp.LOCAL_START, FilmStamp.LOCAL_STOP]


def test_a_film_that_fits_nowhere_is_said_to_fit_nowhere() -> None:
    far = Film(START - timedelta(days=400), 60.0)

    assert clocks.film_stamps([far], [START], 60) == []
    assert clocks.film_stamps([], [START], 60) == []


@settings(max_examples=CASES, deadline=None)
@given(moments, st.floats(0, 7200), st.integers(-48, 56), st.sampled_from(list(FilmStamp)))
def test_a_film_starts_its_length_before_its_end_and_its_zone_from_utc(
    stamp: datetime, length_s: float, quarter: int, meaning: FilmStamp
) -> None:
    start = clocks.film_start(Film(stamp, length_s), meaning, quarter * 15)

    expected = {"local time at the start": 0.0, "local time at the end": -length_s}.get(meaning.value)
    if expected is None:
        expected = quarter * 900.0 - (length_s if "end" in meaning.value else 0.0)
    assert (start - stamp).total_seconds() == pytest.approx(expected, abs=1e-5)
