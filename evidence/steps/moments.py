"""Read the times that a person types: of the day, and within a recording."""

from __future__ import annotations

import re
from datetime import UTC, datetime, time
from typing import TYPE_CHECKING

from evidence.errors import WrongUsage

if TYPE_CHECKING:
    from evidence.desk import Desk

_WITHIN = re.compile(r"(?:(?:(\d{1,4}):)?(\d{1,2}):)?(\d{1,8}(?:\.\d+)?)")


def within(text: str) -> float:
    """Read a time within a recording, such as 1:12.5, 0:01:12 or 72.5; seconds.

    Raises
    ------
    WrongUsage
        It is none.

    Examples
    --------
    >>> within("1:01:12.5"), within("72")
    (3672.5, 72.0)
    """
    match = _WITHIN.fullmatch(text.strip())
    if not match or (match[2] and float(match[3]) >= 60):
        raise WrongUsage(f"“{text}” is no time in a recording such as 1:12.5 or 72.5.")
    return int(match[1] or 0) * 3600 + int(match[2] or 0) * 60 + float(match[3])


def of_the_day(desk: Desk, text: str) -> float:
    """Read a time of the day of the inspection, such as 14:05:30; seconds on the job's line of time.

    Raises
    ------
    WrongUsage
        It is none, or nothing tells the day.
    """
    try:
        clock = time.fromisoformat(text.strip())
    except ValueError:
        raise WrongUsage(f"“{text}” is no time of the day such as 14:05:30.") from None
    if clock.tzinfo:
        raise WrongUsage("Give the time of the day as the house's clocks showed it, without a zone.")
    day = desk.job.details.inspected
    if day is None:
        known = [p.seconds for p in desk.state().pictures if not p.seconds_assumed]
        if not known:
            raise WrongUsage("Nothing tells the day; fill in “inspected” in job.toml.")
        day = datetime.fromtimestamp(known[0], UTC).date()
    return datetime.combine(day, clock, UTC).timestamp()
