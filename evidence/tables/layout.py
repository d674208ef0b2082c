"""Lay out one table, and the words that every table shares: times, counts, runs of numbers, JSON.

Hides widths, alignment and letters that could move the cursor. What a table says is left to its room.
"""

from __future__ import annotations

import json
import textwrap
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from itertools import zip_longest
from typing import TYPE_CHECKING

from evidence.words import CameraTime, Light, in_stops

if TYPE_CHECKING:
    from evidence.record import Json

WIDTH = 100
"""Columns where no terminal tells how many it has: in a file, a pipe, a test."""
LEAST = 60
"""A terminal of fewer columns folds the lines itself: cut further, no name would be known again."""
LEAST_COLUMN = 8
LONGEST = 36
"""The widest a column grows beside the wide one; names that cameras and phones give have up to 30 letters."""


_columns: ContextVar[int] = ContextVar("columns", default=WIDTH)


@contextmanager
def laid_out_for(columns: int) -> Iterator[None]:
    """Lay out what is said meanwhile for a terminal of so many columns."""
    before = _columns.set(max(LEAST, columns))
    try:
        yield
    finally:
        _columns.reset(before)


def as_json(result: object) -> str:
    """Give any result as indented JSON with the names of its fields."""
    return json.dumps(_plain(result), indent=2, ensure_ascii=False)


def _plain(value: object) -> Json:
    plain: Json
    if is_dataclass(value) and not isinstance(value, type):
        plain = {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    elif isinstance(value, Mapping):
        plain = {str(key): _plain(one) for key, one in value.items()}
    elif isinstance(value, (list, tuple, frozenset, set)):
        plain = [_plain(one) for one in value]
    elif isinstance(value, (datetime, date)):
        plain = value.isoformat()
    elif value is None or isinstance(value, (bool, int, float)):
        plain = value
    else:
        plain = str(value)
    return plain


def clean(text: str) -> str:
    """Keep letters from a card from moving the cursor or turning the line round."""
    return "".join(c if unicodedata.category(c)[0] != "C" else "�" for c in text)


def table(heads: Sequence[str], rows: Iterable[Sequence[object]], wide: int = -1) -> str:
    """Lay rows out in columns; the column ``wide`` is cut where the line would grow too long.

    In the others a long name is cut in the middle: its beginning and its end tell it from its neighbours.
    On a narrow terminal they are folded, first between words; numbers never are.
    """
    cells = [[clean(str(cell)) for cell in row] for row in rows]
    wide %= len(heads)
    whole = [max(len(head), *(len(row[i]) for row in cells), 0) for i, head in enumerate(heads)]
    widths = [min(width, LONGEST) for width in whole]
    room = _columns.get() - 2 * (len(heads) - 1)
    widths[wide] = max(12, min(whole[wide], room - sum(widths) + widths[wide]))
    numeric = [bool(cells) and all(row[i].isdecimal() for row in cells) for i in range(len(heads))]
    cut = tuple(widths)
    words = [[word for row in (heads, *cells) for word in row[i].split()] for i in range(len(heads))]
    for leasts in ([max(map(len, column), default=1) for column in words], [LEAST_COLUMN] * len(heads)):
        spare = [0 if numeric[i] else max(0, widths[i] - leasts[i]) for i in range(len(heads))]
        while sum(widths) > room and any(spare):
            widest = max(range(len(heads)), key=lambda i: (spare[i] > 0, widths[i]))
            widths[widest] -= 1
            spare[widest] -= 1

    def lines(row: Sequence[str]) -> Iterator[str]:
        folded = []
        for i, cell in enumerate(row):
            text = _fit(cell, cut[i], tail=0 if i == wide else LONGEST // 2)
            folded.append([text] if len(text) <= widths[i] else textwrap.wrap(text, widths[i]))
        for parts in zip_longest(*folded, fillvalue=""):
            aligned = (
                part.rjust(widths[i]) if numeric[i] else part.ljust(widths[i]) for i, part in enumerate(parts)
            )
            yield "  ".join(aligned).rstrip()

    laid = (heads, ["-" * width for width in widths], *cells)
    return "\n".join(line for row in laid for line in lines(row))


def _fit(text: str, width: int, *, tail: int) -> str:
    if len(text) > width:
        text = text[: width - tail - 1] + "…" + text[len(text) - tail :]
    return text


def clean_lines(lines: Iterable[str]) -> str:
    """Join lines that are long sentences, folded to the width of the screen, or to one that can be read."""
    width = min(WIDTH, _columns.get())
    return "\n".join(textwrap.fill(clean(one), width, subsequent_indent="  ") for one in lines)


def runs(frames: Sequence[int]) -> str:
    """Write frame numbers as runs: 1-4, 9."""
    found: list[list[int]] = []
    for frame in sorted(frames):
        if found and frame == found[-1][1] + 1:
            found[-1][1] = frame
        else:
            found.append([frame, frame])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in found)


def clock_text(time: CameraTime | None) -> str:
    """Write a camera time for a table; the zone as recorded."""
    if time is None:
        return "no camera time"
    return f"{time.moment:%Y-%m-%d %H:%M:%S}{offset_text(time.offset_min)}"


def offset_text(offset_min: int | None) -> str:
    """Write a distance from UTC, "" when it is not known."""
    if offset_min is None:
        return ""
    return f"{'-' if offset_min < 0 else '+'}{abs(offset_min) // 60:02d}:{abs(offset_min) % 60:02d}"


def clock_of(seconds: float) -> str:
    """Write a moment of the job's line of time as a time of the day."""
    whole = int(round(seconds, 6) % 86_400)
    return f"{whole // 3600:02}:{whole // 60 % 60:02}:{whole % 60:02}"


def light_text(light: Light | None, decided: str | float | None = None) -> str:
    """Say in two or three words how a picture is brightened."""
    if isinstance(decided, float):
        return f"{lift_text(decided)}, by hand"
    if decided is not None:
        return "as taken, by hand"
    if light is None:
        return "not measured"
    if light.hopeless:
        return "too dark"
    if light.too_bright:
        return "too bright"
    return "as taken" if light.left_alone else lift_text(light.stops)


def lift_text(stops: float) -> str:
    """Write a lift with its sign and unit."""
    return f"{'-' if stops < 0 else '+'}{in_stops(abs(stops))} stops"
