"""Results laid out for a narrow terminal."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from evidence import tables
from evidence.tables.layout import clock_of
from evidence.words import Mark, Shape


@given(rows=st.lists(st.tuples(st.text(max_size=200), st.text(max_size=200)), max_size=6))
def test_no_line_is_longer_than_the_terminal_and_none_is_lost(rows: list[tuple[str, str]]) -> None:
    lines = tables.table(("A", "B"), [(a[:20], b) for a, b in rows]).split("\n")

    assert len(lines) == len(rows) + 2
    assert max(map(len, lines)) <= tables.WIDTH


@given(st.text(max_size=100))
def test_a_name_cannot_move_the_cursor_or_turn_the_line(name: str) -> None:
    """Control and format characters are Unicode's general category C (Unicode Standard, chapter 4.5)."""
    hostile = "\x1b[2J\u202e\r\n" + name

    assert not any(c in tables.clean(hostile) for c in "\x1b\u202e\r\n\x9b")


def test_a_time_of_the_day_is_written_of_any_moment() -> None:
    assert [clock_of(at) for at in (33_020.9, 59.9999999, -0.5, 3.6e14)] == [
        "09:10:20",
        "00:01:00",
        "23:59:59",
        "16:00:00",
    ]


def test_json_gives_the_names_of_the_fields() -> None:
    found = json.loads(
        tables.as_json({"mark": Mark(Shape.BOX, 0, 0, 1, 1), "on": date(2026, 3, 4), "at": Path("a")})
    )

    assert found["mark"]["shape"] == "box"
    assert (found["on"], found["at"]) == ("2026-03-04", "a")


def test_a_word_is_counted_in_the_singular_and_the_plural() -> None:
    assert [tables.count(n, "visit") for n in (0, 1, 2)] == ["0 visits", "1 visit", "2 visits"]
