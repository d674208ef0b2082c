"""Proposed overall views and things of the day, on a job."""

from __future__ import annotations

from evidence.desk import Desk
from evidence.state import PairBoxes, State
from evidence.steps import rooms, spots
from evidence.words import Attachment, FrameNumber
from tests.steps.test_rooms import begin_with


def test_each_room_is_offered_one_overall_view_until_it_has_one(desk: Desk) -> None:
    begin_with(desk, 5)
    proposed = spots.overalls(desk.state())
    rooms.overall(desk, proposed[:1])

    assert len(proposed) == 2
    assert spots.overalls(desk.state()) == proposed[1:]


def test_a_room_that_is_visited_again_needs_no_second_overall_view(desk: Desk) -> None:
    begin_with(desk, 3, 5)
    rooms.name(desk, {1: "Kitchen", 2: "Hall", 3: "Kitchen"})

    state = desk.state()
    assert [state.room_of(frame) for frame in spots.overalls(state)] == ["Kitchen", "Hall"]


def test_no_picture_is_in_two_spots_and_no_overall_view_in_any(desk: Desk) -> None:
    state = desk.state()
    shown = [frame for spot in spots.in_order(state) for frame in spot.frames]

    assert len(shown) == len(set(shown))
    assert not set(shown).intersection(spots.overalls(state))


def test_a_finding_is_told_by_the_views_it_shares() -> None:
    one, two, three = FrameNumber(1), FrameNumber(2), FrameNumber(3)
    state = State(changed=(PairBoxes(one, two),), attachments=(Attachment(7, one),))

    beside = spots.beside(state)
    assert spots.kin_of(state, [two], beside) == [7]
    assert spots.kin_of(state, [three], beside) == []
    assert spots.kin_of(state, [one], beside) == []
