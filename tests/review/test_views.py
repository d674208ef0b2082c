"""What the page lays out of a day, on a job."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from evidence.desk import Desk
from evidence.review.reading import Seen
from evidence.review.views import day, shots
from evidence.state import LookAlikes, PairBoxes
from evidence.words import FrameNumber


def test_a_picture_says_what_it_can_be_unfolded_to(taken_in: Path) -> None:
    """The second stands behind the first; the third is of one view with it and differs from the first."""
    first, second, third = (FrameNumber(n) for n in (1, 2, 3))
    with Desk.open(taken_in, write=False) as desk:
        state = replace(
            desk.state(),
            look_alikes=(LookAlikes(first, (second,), "sharpest of 2"),),
            changed=(PairBoxes(first, third),),
            alike=((second, third),),
        )
        strip = shots.Strip(state)
        shown = day.unfolded(Seen("", desk.job, state, (), {}), third)

    assert [strip.shot(frame).kin for frame in (1, 2, 3, 4)] == [
        "1 alike behind, 1 differs",
        "1 more of this view",
        "1 more of this view, 1 differs",
        "",
    ]
    assert [one.shot.frame for one in shown] == [second, first]
