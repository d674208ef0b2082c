"""Visits and rooms: named, joined, split, ordered, undone."""

from __future__ import annotations

import numpy as np
import pytest

from evidence import arrange, study
from evidence.desk import Desk
from evidence.errors import UnknownPicture, UnknownRoom, WrongUsage
from evidence.steps import rooms
from evidence.words import Joint


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


def test_a_room_with_a_comma_in_its_name_is_known_as_a_whole(desk: Desk) -> None:
    begin_with(desk, 3, 5, 7)
    rooms.name(desk, {1: "Attic", 2: "Attic, north", 3: "Hall", 4: "Halls"})

    found = rooms.in_words(desk.state(), "halls,  attic,  North , Attic,Hall, Cellar,")

    assert found == ["Halls", "Attic, north", "Attic", "Hall", "Cellar"]


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


@pytest.mark.parametrize("to", [4, 6, 7])
def test_both_rooms_keep_their_names_and_pictures_as_their_joint_moves(desk: Desk, to: int) -> None:
    rooms.settle(desk, 5, begins=True)
    rooms.name(desk, {1: "Attic"})
    rooms.name(desk, {2: "Kitchen"})

    rooms.move(desk, 5, to)

    frames = [p.frame for p in desk.state().pictures]
    found = {frame: desk.state().room_of(frame) for frame in frames}
    assert found == {frame: "Attic" if frame < to else "Kitchen" for frame in frames}
    desk.undo()
    assert [(v.frames[0], v.room) for v in desk.state().visits] == [(1, "Attic"), (5, "Kitchen")]


def test_rooms_named_apart_stay_apart_when_their_joint_is_no_longer_proposed(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A later method, or one more card, that sees one visit where the inspector named two."""
    monkeypatch.setattr(arrange, "VERSION", "as two visits")
    monkeypatch.setattr(arrange, "_joints", lambda *_: (Joint(3, 600.0, 1.0, boundary=True, doubt=0.0),))
    rooms.name(desk, {1: "Attic", 2: "Kitchen"})
    before = [(v.frames, v.room) for v in desk.state().visits]

    monkeypatch.setattr(arrange, "VERSION", "as one visit")
    monkeypatch.setattr(arrange, "_joints", lambda *_: ())
    desk.forget()

    assert [(v.frames, v.room) for v in desk.state().visits] == before
    rooms.settle(desk, before[1][0][0], begins=False)
    assert len(desk.state().visits) == 1


def test_a_joint_is_not_moved_across_another(desk: Desk) -> None:
    begin_with(desk, 4, 6)

    for before, after in ((4, 7), (5, 6), (1, 2)):
        with pytest.raises(WrongUsage):
            rooms.move(desk, before, after)


def test_usual_names_are_offered_in_the_order_walked_and_never_twice(desk: Desk) -> None:
    """Common practice: round the house, up, in from the garage; what was named comes after what was not."""
    begin_with(desk, 3, 5, 7)
    rooms.name(desk, {1: "Garage", 2: "Electrical panel"})

    offered = [name for name, _ in rooms.names_offered(desk, 3)]

    usual = [name for name in offered if name not in {"Garage", "Electrical panel"}]
    assert usual[:3] == ["Entry", "Hall", "Stairs"]
    assert len(offered) == len(set(offered))
    assert {"Garage", "Electrical panel", "Kitchen"} <= set(offered)


def test_the_walk_goes_on_from_a_room_named_in_own_words(desk: Desk) -> None:
    """Common practice: behind the bathroom come the bedrooms, round the house its other sides."""
    begin_with(desk, 3, 5, 7)
    rooms.name(desk, {1: "West side", 2: "Guest bath"})

    after_bath, after_side = (
        [name for name, _ in rooms.names_offered(desk, visit) if name not in {"West side", "Guest bath"}]
        for visit in (3, 2)
    )

    assert after_bath[:3] == ["Bathroom 2", "Bathroom 3", "Bedroom 1"]
    assert after_side[:2] == ["Rear outside", "Right side"]
    assert after_bath.index("Electrical panel") < 9


def test_only_a_room_more_likely_than_not_is_offered_as_one_returned_to(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However few rooms have a name, the likest of them is not offered for pictures quite unlike it."""
    begin_with(desk, 4, 7)
    rooms.name(desk, {1: "Cellar"})
    rng = np.random.default_rng(11)
    cellar, elsewhere = rng.normal(0, 3, (2, 12))
    middles = [cellar] * 3 + [elsewhere] * 3 + [cellar] * 2
    looks = {
        p.taken.original.digest: (middle + rng.normal(0, 0.5, 12)).astype(np.float32)
        for p, middle in zip(desk.state().pictures, middles, strict=True)
    }
    monkeypatch.setattr(study, "appearances", lambda _: looks)

    offered = {number: rooms.offers(desk, number) for number in (2, 3)}

    assert offered[2] == []
    assert [name for name, _ in offered[3]] == ["Cellar"]
    assert rooms.names_offered(desk, 3)[0][0] == "Cellar"
    assert rooms.names_offered(desk, 2)[0][0] == "Front outside"
