"""Tell what would be taken back next, and do again what was taken back last, by further lines of the record.

Hides which act that is: undoing and doing again leave lines of their own, which are no new decisions.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from evidence.errors import WrongUsage
from evidence.record import FACTS, UNDO, undone

if TYPE_CHECKING:
    from collections.abc import Sequence

    from evidence.desk import Desk
    from evidence.record import Line


def redo(desk: Desk) -> Line:
    """Do again what was taken back last.

    Returns
    -------
    The decision that is in force again.

    Raises
    ------
    WrongUsage
        Nothing was taken back, or something was decided since.
    """
    n = last_undo(desk.job.lines)
    if not n:
        raise WrongUsage("There is nothing to do again.")
    desk.take_back(n)
    return undone_by(desk.job.lines, n)


def undone_by(lines: Sequence[Line], n: int) -> Line:
    """Give the line that the undoing of line ``n`` took back."""
    return lines[int(lines[n - 1].about) - 1]


def last_decision(lines: Sequence[Line]) -> int:
    """Number the line that :meth:`evidence.desk.Desk.undo` takes back, 0 when there is none."""
    gone = undone(lines)
    return next((line.n for line in reversed(lines) if _is_decision(line) and line.n not in gone), 0)


def last_undo(lines: Sequence[Line]) -> int:
    """Number the undoing that :func:`redo` takes back; 0 when a new decision has been made since."""
    gone = undone(lines)
    for line in reversed(lines):
        if _is_decision(line):
            return 0  # taken back and done again, it was still decided after what was taken back before it
        if line.what == UNDO and line.n not in gone and _is_decision(undone_by(lines, line.n)):
            return line.n
    return 0


def _is_decision(line: Line) -> bool:
    return line.what != UNDO and line.what not in FACTS
