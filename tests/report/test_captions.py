"""What stands under a photo."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

from evidence.light import by_stops
from evidence.report import captions
from evidence.words import CameraTime, TimeSource
from tests.report.made_up import house

AT = CameraTime(datetime(2026, 11, 25, 14, 3, 12), None, TimeSource.TAKEN)  # noqa: DTZ001 - a camera's clock


def test_no_part_of_a_caption_is_blank_when_nothing_is_known() -> None:
    """The project's own rule: a caption is never blank, and says what was not recorded."""
    contents = house(1)
    bare = replace(
        contents.photos[0], room="", shown="", findings=(), time=None, distance=None, direction_deg=None
    )

    told = captions.caption(bare, contents)

    assert all((told.photo, told.room, told.shown, *told.facts))
    assert "camera time not recorded" in told.text
    assert "room not recorded" in told.text


def test_a_time_without_zone_says_so_and_one_with_zone_gives_it() -> None:
    """Exif OffsetTimeOriginal (0x9011) is the only place a zone comes from: trade practice, b7."""
    assert "(zone not recorded)" in captions.camera_time(AT, "en-US")
    assert captions.camera_time(replace(AT, offset_min=-360), "en") == "2026-11-25 14:03:12 UTC-06:00"
    assert captions.camera_time(replace(AT, offset_min=-360), "en-GB") == "25 Nov 2026, 14:03:12 UTC-06:00"


@pytest.mark.parametrize(
    ("reason", "said"), [("clock 40 s fast", "clock 40 s fast"), ("", "reason not recorded")]
)
def test_a_corrected_time_is_printed_beside_the_cameras_with_its_reason_or_that_there_is_none(
    reason: str, said: str
) -> None:
    contents = house(1)
    photo = replace(contents.photos[0], time=AT, corrected=AT.later(-40), correction=reason)

    told = captions.caption(photo, contents).text

    assert "camera time Nov 25, 2026, 2:03:12 PM" in told
    assert f"corrected time Nov 25, 2026, 2:02:32 PM (zone not recorded): {said}" in told


def test_a_lift_by_hand_is_printed_as_it_was_asked_for() -> None:
    """A quarter of a stop, one step of the review page's keys, is not 0.2."""
    lifted = by_stops(np.full((60, 80, 3), 40, np.uint8), 0.25)[1]

    assert captions.light_words(lifted).startswith("brightened 0.25 stops")


def test_a_room_that_nobody_confirmed_is_marked_as_proposed() -> None:
    photo = replace(house(1).photos[0], room="Attic", room_confirmed=False)

    assert captions.room_words(photo) == "Attic (proposed)"


@pytest.mark.parametrize(
    ("degrees", "wind"), [(0, "north"), (22.4, "north"), (23, "northeast"), (359.9, "north"), (180, "south")]
)
def test_a_compass_direction_is_named_by_the_nearest_of_eight_winds(degrees: float, wind: str) -> None:
    """Sectors of 45 degrees about each wind: arithmetic of the compass rose."""
    photo = replace(house(1).photos[0], direction="", direction_deg=degrees)

    assert captions.direction_words(photo, "en-US").startswith(f"looking {wind} (")


def test_under_its_photos_a_long_finding_is_cut_and_what_was_typed_of_a_photo_is_not() -> None:
    """The whole finding stands once with its parts, not again under each of its photos."""
    contents = house(12)
    photo = next(photo for photo in contents.photos if photo.findings)
    contents = replace(
        contents,
        findings=tuple(replace(f, seen="Water came in here. " * 60, place="") for f in contents.findings),
    )

    shown = captions.shown_words(photo, contents)

    assert shown.endswith("…")
    assert len(shown) <= 241
    typed = "What this one shows. " * 60
    assert captions.shown_words(replace(photo, shown=typed), contents) == typed.strip()
