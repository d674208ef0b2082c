"""Card files' own times, made local for cards whose pictures tell no time."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evidence.filetimes import reading

NINE = datetime(2026, 3, 4, 9, 0, tzinfo=UTC).timestamp()
HOUR = 3600.0


def walk(computer_h: float, delay_s: float = 2.0, step_s: float = 300.0) -> list[tuple[float, float]]:
    """Ten shots of a camera and their file times on a FAT card, read on a computer of that zone."""
    shown = [NINE + step_s * n for n in range(10)]
    return [(at, at + delay_s - computer_h * HOUR) for at in shown]


@given(quarters=st.integers(-48, 56), delay_s=st.floats(0, 60))
def test_another_cards_files_tell_the_zone_of_the_computer_that_read_them(
    quarters: int, delay_s: float
) -> None:
    """Truth: a FAT card keeps local time, so the same zone that moved one card's times moved the other's."""
    read_by = reading(walk(quarters / 4, delay_s), "America/Chicago", [])

    assert read_by.local(NINE - quarters * HOUR / 4) == NINE
    assert "other pictures lie" in read_by.how


@pytest.mark.parametrize(
    "told",
    [
        [],
        [(at, NINE + 40 * HOUR) for at, _ in walk(-6)],
        [(at, NINE + 3 * HOUR) for at, _ in walk(-6, step_s=20)],
        [(at - 1e8, written) for at, written in walk(-6)],
    ],
    ids=["no picture tells both", "copied in one go", "few, copied in one go", "a clock that was reset"],
)
def test_where_other_cards_tell_nothing_the_house_s_zone_serves(told: list[tuple[float, float]]) -> None:
    """America/Chicago lies 6 hours west of UTC in winter and 5 in summer (IANA time zone database)."""
    read_by = reading(told, "America/Chicago", [60])

    assert read_by.local(NINE) == NINE - 6 * HOUR
    assert read_by.local(NINE + 120 * 86_400) == NINE + 120 * 86_400 - 5 * HOUR
    assert "house's zone" in read_by.how


def test_without_it_the_zone_that_other_pictures_recorded_and_last_of_all_utc() -> None:
    recorded, nothing = reading([], "", [-360, -360, 0]), reading([], "", [])

    assert recorded.local(NINE) == NINE - 6 * HOUR
    assert nothing.local(NINE) == NINE
    assert "as UTC" in nothing.how
