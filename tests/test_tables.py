"""Results laid out for a narrow terminal."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from evidence import tables
from evidence.tables.layout import clock_of, light_text
from evidence.words import Light, Mark, Shape


@given(rows=st.lists(st.tuples(st.text(max_size=200), st.text(max_size=200)), max_size=6))
def test_no_line_is_longer_than_the_terminal_and_none_is_lost(rows: list[tuple[str, str]]) -> None:
    lines = tables.table(("A", "B"), rows).split("\n")

    assert len(lines) == len(rows) + 2
    assert max(map(len, lines)) <= tables.WIDTH


@given(
    columns=st.integers(20, 200), rows=st.lists(st.lists(st.text("ab", max_size=60), min_size=6, max_size=6))
)
def test_tables_fit_the_terminal_down_to_a_least_width(columns: int, rows: list[list[str]]) -> None:
    """Six columns of eight letters and the gaps between them take 58."""
    with tables.laid_out_for(columns):
        lines = tables.table(
            ["No.", "File", "Time", "Room", "Light", "Remark"], [[str(n), *r[1:]] for n, r in enumerate(rows)]
        )

    assert max(map(len, lines.split("\n"))) <= max(60, columns)


def test_a_wide_terminal_shows_more_and_nothing_stays_of_it() -> None:
    row = ("1", "x" * 150)

    with tables.laid_out_for(200):
        wide = tables.table(("No.", "Remark"), [row])

    assert "x" * 150 in wide
    assert max(map(len, tables.table(("No.", "Remark"), [row]).split("\n"))) == tables.WIDTH


def test_a_long_name_beside_the_wide_column_keeps_its_beginning_and_its_end() -> None:
    row = (f"IMG_{'x' * 300}_17.JPG", "a remark")

    line = tables.table(("File", "Remark"), [row]).split("\n")[-1]

    assert line.startswith("IMG_xxx")
    assert line.endswith("x_17.JPG  a remark")
    assert len(line) <= tables.WIDTH


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


def test_a_lift_by_hand_is_listed_as_it_was_asked_for() -> None:
    assert light_text(None, 0.25) == "+0.25 stops, by hand"
    assert light_text(Light(1, stops=2.137, left_alone=False)) == "+2.1 stops"
