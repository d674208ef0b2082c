"""Marks: kept as shapes, counted from 1, undone; nothing outside the picture or too small to see."""

from __future__ import annotations

import pytest

from evidence.desk import Desk
from evidence.errors import UnknownPicture, WrongUsage
from evidence.steps import mark
from evidence.words import Mark, Shape

RING = Mark(Shape.RING, 0.2, 0.3, 0.5, 0.6)
ARROW = Mark(Shape.ARROW, 0.9, 0.9, 0.5, 0.5)


def marks(desk: Desk, frame: int) -> tuple[Mark, ...]:
    found = desk.state().picture(frame)
    assert found is not None
    return found.marks


def test_marks_are_added_counted_and_taken_off_again(desk: Desk) -> None:
    mark.add(desk, 2, [RING])
    mark.add(desk, 2, [ARROW])
    assert marks(desk, 2) == (RING, ARROW)

    mark.take_off(desk, 2, 1)
    assert marks(desk, 2) == (ARROW,)
    desk.undo()
    assert marks(desk, 2) == (RING, ARROW)
    mark.take_off(desk, 2)
    assert marks(desk, 2) == ()


def test_corners_may_be_given_in_any_order_but_an_arrow_keeps_its_head() -> None:
    assert mark.checked(Mark(Shape.BOX, 0.5, 0.6, 0.2, 0.3)) == Mark(Shape.BOX, 0.2, 0.3, 0.5, 0.6)
    assert mark.checked(ARROW) == ARROW


@pytest.mark.parametrize(
    "bad",
    [Mark(Shape.RING, -0.1, 0, 0.5, 0.5), Mark(Shape.BOX, 0.2, 0.2, 0.2, 0.9), Mark(Shape.ARROW, 0, 0, 0, 0)],
)
def test_a_mark_that_nobody_could_see_is_refused(desk: Desk, bad: Mark) -> None:
    with pytest.raises(WrongUsage):
        mark.add(desk, 2, [RING, bad])

    assert marks(desk, 2) == ()


def test_there_is_no_third_mark_and_no_such_picture(desk: Desk) -> None:
    mark.add(desk, 2, [RING])
    with pytest.raises(WrongUsage):
        mark.take_off(desk, 2, 3)
    with pytest.raises(UnknownPicture):
        mark.add(desk, 999, [RING])
