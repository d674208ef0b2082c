"""Progress on a terminal, and silence elsewhere."""

from __future__ import annotations

import io

from evidence.progress import Line, Silent


def test_a_line_is_rewritten_in_place_and_ends_with_a_newline() -> None:
    screen = io.StringIO()
    line = Line(screen)

    line.begin("copying", 2)
    line.step(note="A.JPG")
    line.step(note="B.JPG")
    line.end()

    assert screen.getvalue().split("\r")[-1] == "copying 2/2 B.JPG\n"


def test_a_line_never_grows_wider_than_a_narrow_terminal() -> None:
    screen = io.StringIO()
    line = Line(screen)

    line.begin("copying", 1)
    line.step(note="x" * 500)

    assert max(map(len, screen.getvalue().split("\r"))) <= Line.WIDTH


def test_silence_says_nothing() -> None:
    silent = Silent()

    silent.begin("copying", 1)
    silent.step()
    silent.end()
