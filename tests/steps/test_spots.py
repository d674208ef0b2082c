"""Proposed overall views and things of the day, on a job."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from evidence import arrange, study
from evidence.desk import Desk
from evidence.likeness import Likeness, Pair, Verdict
from evidence.state import Arrangement, LookAlikes, PairBoxes, State
from evidence.steps import rooms, spots
from evidence.words import Attachment, Distance, FrameNumber, Visit
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


def test_what_is_beside_a_folded_picture_is_beside_the_one_in_front() -> None:
    """Only the one in front is attached; a later picture of the view is known all the same."""
    front, behind, later = FrameNumber(3), FrameNumber(1), FrameNumber(9)
    state = State(
        changed=(PairBoxes(behind, later),),
        look_alikes=(LookAlikes(front, (behind,), "sharpest of 2"),),
        attachments=(Attachment(7, front),),
    )

    assert spots.kin_of(state, [later], spots.beside(state)) == [7]


def test_what_is_taken_often_is_known_by_the_pictures_behind_too(desk: Desk) -> None:
    """Picture 3 stands behind 2, and it is 3 that 4 differs from."""
    state = _day(desk, changed=[(3, 4)], visits=[(1, 2, 3, 4)])
    folded = replace(state, look_alikes=(LookAlikes(FrameNumber(2), (FrameNumber(3),), "sharpest of 2"),))

    assert [spot.views for spot in spots.in_order(folded)] == [((2, 4),)]


def test_pictures_of_one_view_in_no_set_together_are_of_one_thing(desk: Desk) -> None:
    """The second agrees with the first and the third, which differ from each other (complete linkage)."""
    first, second, third = (FrameNumber(n) for n in (2, 3, 4))
    made = _arranged(
        desk, {(1, 2): Verdict.SAME, (2, 3): Verdict.SAME, (1, 3): Verdict.CHANGED, (3, 4): Verdict.OTHER}
    )
    state = replace(
        _day(desk, changed=[], visits=[(1, 2, 3, 4)]),
        alike=made.alike,
        look_alikes=(LookAlikes(first, (second,), "sharpest of 2"),),
    )

    assert made.sets == ((first, second),)
    assert made.alike == ((second, third),)
    assert spots.alike(state) == {first: {third}, third: {first}}
    assert [spot.views for spot in spots.in_order(state)] == [((first, third),)]


def test_a_view_is_proposed_from_as_far_as_it_was_called_before(desk: Desk) -> None:
    state = _day(desk, changed=[(2, 3)], visits=[(1, 2, 3, 4)])
    close, scale = (
        replace(state, attachments=(Attachment(1, FrameNumber(2), distance),))
        for distance in (Distance.CLOSE_UP, Distance.WITH_SCALE)
    )

    assert _distances(state)[3] is Distance.MID_RANGE
    assert _distances(close)[3] is Distance.CLOSE_UP
    assert _distances(scale)[3] is Distance.MID_RANGE, "a scale is in one picture, not in its view"


def test_other_pictures_of_the_overall_view_come_after_it_from_any_visit(desk: Desk) -> None:
    state = _day(desk, changed=[(1, 4), (2, 3)], visits=[(1, 2), (3, 4)])
    first, last = state.visits
    views, same = {FrameNumber(1)}, spots.alike(state)

    assert spots.overall_of(state, first, views, same) == [1, 4]
    assert spots.overall_of(state, last, views, same) == []


def _arranged(desk: Desk, verdicts: dict[tuple[int, int], Verdict]) -> Arrangement:
    """Arrange the pictures as if comparing them, by place in time, had given these answers."""

    def compare(_: Sequence[Likeness], pairs: Sequence[tuple[int, int]]) -> Sequence[Pair]:
        return [Pair(a, b, verdicts.get((a, b), Verdict.OTHER), 1.0 - a / 10) for a, b in pairs]

    made, _ = arrange.propose(
        desk.state().pictures,
        study.likenesses(desk.store),
        study.appearances(desk.store),
        study.cards(desk.store),
        compare_them=compare,
    )
    return made


def _day(desk: Desk, *, changed: list[tuple[int, int]], visits: list[tuple[int, ...]]) -> State:
    return replace(
        desk.state(),
        visits=tuple(Visit(tuple(FrameNumber(n) for n in some), f"Room {some[0]}") for some in visits),
        changed=tuple(PairBoxes(FrameNumber(a), FrameNumber(b)) for a, b in changed),
        alike=(),
        nearer=(),
        look_alikes=(),
        attachments=(),
    )


def _distances(state: State) -> dict[int, Distance]:
    return {int(f): d for spot in spots.in_order(state) for f, d in spot.distances.items()}
