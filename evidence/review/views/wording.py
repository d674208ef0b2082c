"""Say numbers, sentences and pauses as the page says them."""

from __future__ import annotations

from evidence import tables
from evidence.words import cut


def count(number: int, noun: str, what: str = "") -> str:
    """Say "3 visits nameless", "1 visit nameless"; "" for none.

    Examples
    --------
    >>> count(3, "visit", "nameless"), count(1, "picture"), count(0, "visit")
    ('3 visits nameless', '1 picture', '')
    """
    return f"{tables.count(number, noun)} {what}".rstrip() if number else ""


def short(text: str, longest: int = 72) -> str:
    """Cut a sentence at a word, its full stop left out.

    Examples
    --------
    >>> short("Bath fan hose ends under the roof deck.", 16)
    'Bath fan hose…'
    """
    return cut(text.rstrip("."), longest)


def lasting(seconds: float) -> str:
    """Say how long a pause was.

    Examples
    --------
    >>> lasting(7), lasting(170), lasting(5400)
    ('7 s', '3 min', '1 h 30 min')
    """
    if seconds < 60:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"
