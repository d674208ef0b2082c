"""Visits and rooms: named, joined, split, ordered, undone."""

from __future__ import annotations

import pytest

from evidence.desk import Desk
from evidence.errors import UnknownPicture, UnknownRoom, WrongUsage
from evidence.steps import rooms


def begin_with(desk: Desk, *firsts: int) -> None:
    """Make visits begin with exactly these pictures."""
    for frame in range(2, 9):
        desk.decide("begins", frame, frame in firsts)


def test_a_visit_is_named_and_keeps_its_name_when_another_is_split(desk: Desk) -> None:
    begin_with(desk, 5)
    rooms.name(desk, {1: "Kitchen", 2: "Attic"})

    rooms.split(desk, 7)

    assert [v.room for v in desk.state().visits] == ["Kitchen", "Attic", ""]


def test_joined_visits_carry_the_name_given_last(desk: Desk) -> None:
    begin_with(desk, 5)
    rooms.name(desk, {1: "Kitchen"})
    rooms.name(desk, {2: "Attic"})

    rooms.join(desk, 1, 2)

    assert [v.room for v in desk.state().visits] == ["Attic"]


def test_an_undone_name_gives_way_to_the_one_before(desk: Desk) -> None:
    begin_with(desk, 5)
    rooms.name(desk, {1: "Kitchen"})
    rooms.name(desk, {1: "Bath"})

    desk.undo()

    assert desk.state().visits[0].room == "Kitchen"


def test_two_visits_of_one_name_are_one_room_in_the_order_met_or_given(desk: Desk) -> None:
    begin_with(desk, 3, 5, 7)
    rooms.name(desk, {1: "Hall", 2: "Attic", 3: "Hall", 4: "Roof"})

    assert desk.state().rooms == ("Hall", "Attic", "Roof")
    rooms.order(desk, ["roof", "Attic"])
    assert desk.state().rooms == ("Roof", "Attic", "Hall")


def test_what_does_not_exist_is_refused_and_changes_nothing(desk: Desk) -> None:
    before = desk.job.last_hash

    with pytest.raises(UnknownRoom, match="visit 99"):
        rooms.name(desk, {1: "Kitchen", 99: "Attic"})
    with pytest.raises(UnknownPicture, match="picture 99"):
        rooms.split(desk, 99)
    with pytest.raises(UnknownRoom, match="Cellar"):
        rooms.order(desk, ["Cellar"])
    with pytest.raises(WrongUsage, match="blank"):
        rooms.name(desk, {1: "  "})
    with pytest.raises(WrongUsage, match="follow"):
        rooms.join(desk, 1, 3)

    assert desk.job.last_hash == before


def test_a_joint_is_moved_and_its_visits_keep_their_names(desk: Desk) -> None:
    begin_with(desk, 5)
    rooms.name(desk, {1: "Kitchen", 2: "Attic"})

    rooms.move(desk, 5, 4)

    assert [(v.frames[0], v.room) for v in desk.state().visits] == [(1, "Kitchen"), (4, "Attic")]


def test_a_joint_is_not_moved_across_another(desk: Desk) -> None:
    begin_with(desk, 4, 6)

    for before, after in ((4, 7), (5, 6), (1, 2)):
        with pytest.raises(WrongUsage):
            rooms.move(desk, before, after)


def test_usual_names_are_offered_in_the_order_walked_and_never_twice(desk: Desk) -> None:
    """A house's usual places as the room cards have them; what has been named comes after what has not."""
    begin_with(desk, 3, 5, 7)
    rooms.name(desk, {1: "Garage", 2: "Electrical panel"})

    offered = [name for name, _ in rooms.names_offered(desk, 3)]

    usual = [name for name in offered if name not in {"Garage", "Electrical panel"}]
    assert usual[:3] == ["Porch", "Deck", "Entry"]
    assert len(offered) == len(set(offered))
    assert {"Garage", "Electrical panel", "Kitchen"} <= set(offered)
