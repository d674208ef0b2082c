"""Marks on pictures: kept as shapes, drawn on copies at printing; an original is never touched."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evidence.errors import WrongUsage
from evidence.steps.rooms import picture_of, showable
from evidence.words import Mark, Shape

if TYPE_CHECKING:
    from collections.abc import Iterable

    from evidence.desk import Desk
    from evidence.record import Json

LEAST = 0.005
"""Share of the picture's side below which a shape cannot be seen on paper; our own choice."""


def add(desk: Desk, frame: int, marks: Iterable[Mark]) -> tuple[Mark, ...]:
    """Draw further marks on a picture.

    Raises
    ------
    UnknownPicture, WrongUsage
        There is no such picture, it cannot be shown at all, or a shape lies outside it or is too small to
        be seen.
    """
    (picture,) = showable(desk.state(), [frame])
    before = picture.marks
    after = (*before, *(checked(mark) for mark in marks))
    _decide(desk, frame, before, after)
    return after


def take_off(desk: Desk, frame: int, number: int | None = None) -> tuple[Mark, ...]:
    """Take one mark off a picture, counted from 1, or all of them.

    Raises
    ------
    UnknownPicture, WrongUsage
        There is no such picture or mark.
    """
    before = picture_of(desk.state(), frame).marks
    if number is not None and not 1 <= number <= len(before):
        raise WrongUsage(f"Picture {frame} has no mark {number}; it has {len(before)}.")
    after = () if number is None else before[: number - 1] + before[number:]
    _decide(desk, frame, before, after)
    return after


def checked(mark: Mark) -> Mark:
    """Give the mark, its corners in order; refuse one that nobody could see.

    Raises
    ------
    WrongUsage
        It lies outside the picture or is too small.
    """
    if not all(0 <= share <= 1 for share in (mark.x0, mark.y0, mark.x1, mark.y1)):
        raise WrongUsage("A mark lies between 0,0 (top left of the picture) and 1,1 (bottom right).")
    wide, tall = abs(mark.x1 - mark.x0), abs(mark.y1 - mark.y0)
    seen = max(wide, tall) if mark.shape is Shape.ARROW else min(wide, tall)
    if seen < LEAST:
        raise WrongUsage("The mark is too small to be seen on paper.")
    if mark.shape is Shape.ARROW:
        return mark
    return Mark(
        mark.shape,
        min(mark.x0, mark.x1),
        min(mark.y0, mark.y1),
        max(mark.x0, mark.x1),
        max(mark.y0, mark.y1),
    )


def _decide(desk: Desk, frame: int, before: tuple[Mark, ...], after: tuple[Mark, ...]) -> None:
    desk.decide("marks", frame, _rows(after) or None, _rows(before) or None)


def _rows(marks: tuple[Mark, ...]) -> list[Json]:
    return [
        {"shape": str(mark.shape), "x0": mark.x0, "y0": mark.y0, "x1": mark.x1, "y1": mark.y1}
        for mark in marks
    ]
