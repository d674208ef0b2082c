"""Hours that exist twice or not at all, told to the inspector and settled by a zone."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from evidence import tables
from evidence.desk import Desk
from evidence.steps import clock

# The IANA time zone database: Chicago 2026-03-08 and 2026-11-01, Berlin 2026-03-29 and 2026-10-25.
CASES = [
    ("America/Chicago", "2026-11-01T01:30:00", "twice"),
    ("America/Chicago", "2026-03-08T02:30:00", "never"),
    ("America/Chicago", "2026-11-01T03:30:00", ""),
    ("Europe/Berlin", "2026-10-25T02:30:00", "twice"),
    ("Europe/Berlin", "2026-03-29T02:30:00", "never"),
    ("Europe/Berlin", "2026-03-08T02:30:00", ""),
]


@pytest.mark.parametrize(("zone", "shown", "told"), CASES)
def test_an_hour_that_exists_twice_or_not_at_all_is_told(
    desk: Desk, zone: str, shown: str, told: str
) -> None:
    desk.job.set_details(replace(desk.job.details, zone=zone))
    first = next(p for p in desk.state().pictures if p.capture.time and p.capture.time.offset_min is None)
    taken = first.capture.time
    assert taken is not None
    add_s = (datetime.fromisoformat(shown) - taken.moment).total_seconds()
    clock.correct(desk, first.capture.camera, add_s, "a test")

    camera = next(c for c in clock.cameras(desk) if c.name == first.capture.camera)

    assert (first.frame in camera.twice, first.frame in camera.never) == (told == "twice", told == "never")
    said = tables.cameras([camera])
    assert ("put back" in said, "skip" in said) == (bool(camera.twice), bool(camera.never))


def test_a_zone_given_by_hand_settles_it(desk: Desk) -> None:
    desk.job.set_details(replace(desk.job.details, zone="America/Chicago"))
    first = next(p for p in desk.state().pictures if p.capture.time and p.capture.time.offset_min is None)
    assert first.capture.time is not None
    add_s = (datetime(2026, 11, 1, 1, 30) - first.capture.time.moment).total_seconds()  # noqa: DTZ001
    clock.correct(desk, first.capture.camera, add_s, "a test", offset_min=-300)

    camera = next(c for c in clock.cameras(desk) if c.name == first.capture.camera)

    assert camera.twice == ()


def test_a_zone_and_the_seconds_told_before_or_after_it_stand_together(desk: Desk) -> None:
    """`clock` itself asks for a zone alone, of pictures from an hour that exists twice."""
    first = next(p for p in desk.state().pictures if p.capture.time and p.capture.time.offset_min is None)
    assert first.capture.time is not None
    name = first.capture.camera
    watch = (first.capture.time.moment + timedelta(minutes=8)).strftime("%H:%M:%S")

    clock.correct(desk, name, None, "the zone of the house", offset_min=-300)
    clock.by_watch(desk, first.frame, watch)
    clock.correct(desk, name, None, "the zone of the house", offset_min=-360)

    camera = next(c for c in clock.cameras(desk) if c.name == name)
    (picture,) = (p for p in desk.state().pictures if p.frame == first.frame)
    assert picture.corrected is not None
    assert picture.corrected.offset_min == camera.zone_min == -360
    assert f"{picture.corrected.moment:%H:%M:%S}" == watch
    assert camera.reason.startswith("set by the watch")
    assert "+480 s, zone -06:00: set" in tables.cameras([camera])

    clock.by_watch(desk, first.frame, watch)
    again = desk.state().picture(first.frame)
    assert again is not None
    assert again.corrected is not None
    assert again.corrected.offset_min == -360
