"""Tell what would be taken back next, and do again what was taken back last, by further lines of the record.

Hides which act that is: undoing and doing again leave lines of their own, which are no new decisions.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from evidence.errors import WrongUsage
from evidence.record import FACTS, UNDO, undone
from evidence.steps import deliver

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


def told(line: Line) -> str:
    """Name a decision in a few words.

    Examples
    --------
    >>> from evidence.record import Line
    >>> told(Line(9, "", "", "room", "12", "Attic", None, "", ""))
    'room Attic, picture 12'
    """
    about, value = line.about, line.value
    first, _, rest = about.partition("/")
    name = about.rpartition("/")[2]
    words = {
        "clock": f"clock of {about}",
        "clock from": f"clock from picture {about} on",
        "begins": f"picture {about} {'begins' if value else 'begins no'} visit",
        "room": f"{f'room {value}' if value else 'no room name'}, picture {about}",
        "card": f"room card {about} stands for {value}",
        "weights": f"{'learned' if value else 'packaged'} weights of rooms",
        "order": f"order of {about}",
        "view": f"{'overall' if value else 'no overall'} view, picture {about}",
        "apart": f"picture {about} no look-alike",
        "front": f"picture {about} in front",
        "light": f"light of picture {about}",
        "shown": f"what picture {about} shows",
        "direction": f"direction of picture {about}",
        "distance": f"distance of picture {about}",
        "marks": f"marks on picture {about}",
        "looked": f"{'looked' if value else 'not looked'} at picture {about}",
        "finding": f"finding {about}" + (" withdrawn" if value is None else ""),
        "attached": f"picture {rest} {'off' if value is None else 'on'} finding {first}",
        "delivered": f"edition {first} handed to {deliver.to_whom(about, value)}",
        "not seen": f"{'not seen' if value else 'seen after all'}: {about}",
        "film time": f"film time of {name}",
        "frame": f"picture {about} {'taken out of' if value is None else 'lifted from'} its film",
        "narration": f"narration {name}" + (" taken off" if value is None else ""),
        "said": f"sentence taken as finding {value}",
    }
    return words.get(line.what, f"{line.what}, {about}")


def _is_decision(line: Line) -> bool:
    return line.what != UNDO and line.what not in FACTS
