"""Which pictures show one thing: the habit it rests on, spelt out.

Evidence photography takes overall, mid-range and close-up views, the last without and with a scale
(common practice); the orders below are such walks, written by hand and not taken from the made-up house.
"""

from __future__ import annotations

from evidence.spots import Kin, overall, spots
from evidence.words import Distance, FrameNumber

MID, CLOSE, SCALE = Distance.MID_RANGE, Distance.CLOSE_UP, Distance.WITH_SCALE


def frames(*numbers: int) -> list[FrameNumber]:
    return [FrameNumber(n) for n in numbers]


def pair(a: int, b: int) -> tuple[FrameNumber, FrameNumber]:
    return FrameNumber(a), FrameNumber(b)


def test_a_wide_view_and_the_close_one_that_follows_it_are_of_one_thing() -> None:
    close = Kin(same=[pair(2, 3), pair(3, 4)])

    found = spots(frames(1, 2, 3, 4, 5), close)

    assert [spot.views for spot in found] == [((1,), (2, 3, 4)), ((5,),)]
    assert list(found[0].distances.values()) == [MID, CLOSE, CLOSE, CLOSE]


def test_look_alikes_behind_a_picture_count_as_taken_again() -> None:
    close = Kin(same=[pair(2, 3)], behind={FrameNumber(2): 1})

    assert [spot.views for spot in spots(frames(1, 2, 3), close)] == [((1,), (2, 3))]


def test_one_wide_view_belongs_to_one_thing_only() -> None:
    twice = Kin(same=[pair(2, 3), pair(3, 4), pair(5, 6), pair(6, 7)])

    assert [spot.views for spot in spots(frames(1, 2, 3, 4, 5, 6, 7), twice)] == [
        ((1,), (2, 3, 4)),
        ((5, 6, 7),),
    ]


def test_a_thing_approached_in_one_view_begins_mid_range() -> None:
    nearer = Kin(nearer=[pair(1, 2), pair(1, 3)])

    assert list(spots(frames(1, 2, 3), nearer)[0].distances.values()) == [MID, CLOSE, CLOSE]


def test_a_scale_is_proposed_only_once_the_inspector_has_worked_with_one() -> None:
    close = Kin(same=[pair(1, 2), pair(2, 3)])

    assert list(spots(frames(1, 2, 3), close)[0].distances.values()) == [CLOSE, CLOSE, CLOSE]
    assert list(spots(frames(1, 2, 3), close, scales=True)[0].distances.values()) == [CLOSE, CLOSE, SCALE]


def test_every_picture_is_in_exactly_one_spot_in_order() -> None:
    tangled = Kin(same=[pair(1, 5), pair(2, 4), pair(3, 4)], nearer=[pair(4, 5)])

    found = spots(frames(1, 2, 3, 4, 5, 6), tangled)

    assert [frame for spot in found for frame in spot.frames] == [1, 2, 3, 4, 5, 6]
    assert spots([], tangled) == ()


def test_the_overall_view_is_the_first_that_is_fit() -> None:
    assert overall(frames(1, 2, 3), {FrameNumber(2), FrameNumber(3)}) == 2
    assert overall(frames(1), set()) is None


def test_the_best_take_of_a_view_that_was_taken_again_is_its_overall() -> None:
    """Common practice: what came out dark is taken again before walking on."""
    fit = set(frames(1, 2, 3, 4))
    pairs = [(FrameNumber(2), FrameNumber(1)), (FrameNumber(3), FrameNumber(4))]
    scores = {FrameNumber(1): -3.4, FrameNumber(2): -2.4, FrameNumber(3): 0.0, FrameNumber(4): 1.0}
    assert overall(frames(1, 2, 3, 4), fit, pairs, scores) == 2
    assert overall(frames(1, 2, 3, 4), fit, pairs) == 1, "unmeasured pictures stay in order of time"
    assert overall(frames(1, 3, 2), fit, pairs, scores) == 1, "another view between them ends the taking"


def test_what_stands_before_look_alikes_is_not_called_the_one_with_a_scale() -> None:
    """Common practice: the scale is laid into one picture; what folds behind it would have to hold it too."""
    pairs = [pair(2, 3)]
    free = spots(frames(1, 2, 3), Kin(pairs, behind={FrameNumber(2): 1}), scales=True)
    covered = spots(frames(1, 2, 3), Kin(pairs, behind={FrameNumber(3): 1}), scales=True)
    assert free[0].distances[FrameNumber(3)] is Distance.WITH_SCALE
    assert covered[0].distances[FrameNumber(3)] is Distance.CLOSE_UP
