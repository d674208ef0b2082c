"""The line of time: pictures without a time, clocks corrected, what was shown kept."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from evidence.timeline import Facts, timeline
from evidence.words import Taken
from tests.test_state import decided, facts, shot, taken


def test_a_picture_without_time_stands_beside_its_neighbour_on_the_card() -> None:
    pictures = timeline(facts(None, shot(5), None, shot(1)), {})

    assert [p.frame for p in pictures] == [4, 1, 2, 3]
    assert [p.seconds_assumed for p in pictures] == [False, True, False, True]


def test_card_files_times_serve_only_where_a_whole_card_has_none() -> None:
    rows = [taken(1, file_time="2026-03-04T10:00:00+00:00"), taken(2, file_time="2026-03-04T09:00:00+00:00")]

    assert [p.frame for p in timeline(Facts(rows), {})] == [2, 1]


def test_a_clock_correction_moves_one_camera_and_keeps_what_was_shown() -> None:
    phone = shot(2, 40, make="Lumi")
    found = facts(shot(1), phone, shot(2, 10))
    clock = decided(1, "clock", "Lumi F2", {"add_s": -40.0, "reason": "by the watch"})

    pictures = timeline(found, clock)

    moved = next(p for p in pictures if p.frame == 2)
    assert [p.frame for p in pictures] == [1, 2, 3]
    assert moved.capture.time == phone.time
    assert moved.corrected is not None
    assert (moved.corrected.moment.second, moved.correction) == (0, "by the watch")


def test_a_correction_from_one_shot_on_leaves_those_before_it() -> None:
    step = decided(1, "clock from", "2", {"add_s": 3600.0, "reason": "set back an hour"})

    pictures = timeline(facts(shot(1), shot(2), shot(3)), step)

    assert [p.corrected is not None for p in pictures] == [False, True, True]


def test_a_card_without_camera_times_stands_on_the_local_clock_beside_the_others() -> None:
    """Truth: a picture at 9:02 on a clock six hours west of UTC, whose files the system gave in UTC."""
    rows = [taken(1, "eos"), taken(2, "eos"), taken(3, "scope", file_time="2026-03-04T15:02:00+00:00")]
    camera = {rows[0].original.digest: shot(0), rows[1].original.digest: shot(5)}
    found = Facts(rows, captures=camera, zone="America/Chicago")

    pictures = timeline(found, {})

    assert [p.frame for p in pictures] == [1, 3, 2]
    (scope,) = [p for p in pictures if p.frame == 3]
    assert (scope.seconds_assumed, scope.corrected, scope.capture.time) == (True, None, None)
    assert scope.by_file is not None
    assert f"{scope.by_file.moment:%H:%M} {scope.by_file.source}" == "09:02 file system"
    assert scope.assumed == "read in the house's zone"


@pytest.mark.parametrize("about", ["scope", "camera not recorded"])
def test_the_clock_of_a_card_without_camera_times_can_be_set(about: str) -> None:
    """Under the name that all such cards had between them, too: older jobs did not tell them apart."""
    rows = [taken(n, "scope", file_time=f"2026-03-04T15:0{n}:00+00:00") for n in (1, 2)]
    still = timeline(Facts(rows), {})

    moved = timeline(Facts(rows), decided(1, "clock", about, {"add_s": -60.0, "reason": "by the watch"}))
    stepped = timeline(Facts(rows), decided(1, "clock from", "2", {"add_s": 60.0, "reason": "slow"}))

    assert [p.seconds for p in moved] == [p.seconds - 60.0 for p in still]
    assert [p.seconds for p in stepped] == [still[0].seconds, still[1].seconds + 60.0]
    assert all(p.seconds_assumed and p.corrected is None for p in moved)


def test_two_cards_whose_cameras_were_not_recorded_have_a_clock_each() -> None:
    rows = [taken(1, "scope"), taken(2, "drone")]
    named = {row.original.digest: replace(shot(1), make="", model="") for row in rows}

    moved = timeline(
        Facts(rows, captures=named), decided(1, "clock", "drone", {"add_s": 60.0, "reason": "slow"})
    )

    assert [p.frame for p in moved if p.corrected] == [2]


def test_a_file_taken_in_late_stands_where_the_camera_numbered_it() -> None:
    """A file that was set aside at first has the last number of the job, and was shot second."""
    rows = [on_card(1, "0001"), on_card(2, "0003"), on_card(3, "0002")]
    found = Facts(rows, captures={r.original.digest: shot(0, 1) for r in rows})

    from_the_third = timeline(found, decided(1, "clock from", "2", {"add_s": 60.0, "reason": "slow"}))
    from_the_late = timeline(found, decided(1, "clock from", "3", {"add_s": 60.0, "reason": "slow"}))

    assert [p.frame for p in timeline(found, {})] == [1, 3, 2]
    assert {p.frame for p in from_the_third if p.corrected} == {2}
    assert {p.frame for p in from_the_late if p.corrected} == {3, 2}


def test_a_late_file_without_a_time_stands_beside_its_neighbour_on_the_card() -> None:
    rows = [on_card(1, "0001"), on_card(2, "0003"), on_card(3, "0002")]
    found = Facts(rows, captures={r.original.digest: shot(r.frame or 0) for r in rows[:2]})

    late = next(p for p in timeline(found, {}) if p.frame == 3)

    assert (late.seconds, late.seconds_assumed) == (timeline(found, {})[0].seconds, True)


def on_card(frame: int, number: str) -> Taken:
    name = f"DCIM/100ABCDE/ABCD{number}.JPG"
    return replace(taken(frame), name_on_card=name, thing=f"DCIM/100ABCDE/{number}")


@pytest.mark.parametrize("add_s", [1e12, -1e11, 1e30, float("inf"), float("nan")])
def test_a_correction_out_of_the_calendar_costs_that_correction_and_never_the_job(add_s: float) -> None:
    """Recorded by a version that took any number of seconds."""
    clock = decided(1, "clock", "Ostrel F2", {"add_s": add_s, "reason": "a slip"})

    (picture,) = timeline(facts(shot(1)), clock)

    assert picture.corrected is None
    assert picture.capture.time is not None
    assert picture.seconds == picture.capture.time.seconds
    assert picture.correction.startswith("not corrected by")


def test_a_clock_at_the_calendars_end_stays_there() -> None:
    late = shot(1)
    assert late.time is not None
    late = replace(late, time=replace(late.time, moment=datetime(9999, 12, 31, 23, 30)))  # noqa: DTZ001

    found = timeline(
        facts(late, shot(2)), decided(1, "clock", "Ostrel F2", {"add_s": 3600.0, "reason": "slow"})
    )

    assert [(p.frame, p.corrected is None) for p in found] == [(2, False), (1, True)]


def test_utc_is_a_zone_like_any_other() -> None:
    clock = decided(1, "clock", "Ostrel F2", {"add_s": 0.0, "reason": "set to UTC", "offset_min": 0})

    (picture,) = timeline(facts(shot(1)), clock)

    assert picture.corrected is not None
    assert picture.corrected.offset_min == 0


def test_only_reasons_that_were_given_are_joined() -> None:
    clock = decided(1, "clock", "Ostrel F2", {"add_s": 5.0, "reason": "by the watch"})
    step = decided(2, "clock from", "1", {"add_s": 60.0, "reason": ""})

    (picture,) = timeline(facts(shot(1)), clock | step)

    assert picture.correction == "by the watch"
