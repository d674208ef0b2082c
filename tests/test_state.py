"""How the job stands: decision over proposal, pictures on one line of time."""

from __future__ import annotations

from datetime import datetime

from evidence.record import Decision
from evidence.state import Arrangement, stand
from evidence.timeline import Facts
from evidence.words import (
    CameraTime,
    Capture,
    Digest,
    FileKind,
    FrameNumber,
    Joint,
    Original,
    Quality,
    Taken,
    TimeSource,
)

GOOD = Quality(1, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0, blurred=False)


def taken(frame: int, source: str = "card", file_time: str = "") -> Taken:
    original = Original(Digest(f"{frame:064x}"), 1, f"{source}/{frame}.JPG")
    return Taken(
        original, FileKind.PICTURE, FrameNumber(frame), source, f"{frame}.JPG", file_time, str(frame)
    )


def shot(minute: int, second: int = 0, make: str = "Ostrel", offset_min: int | None = None) -> Capture:
    moment = datetime(2026, 3, 4, 9, minute, second)  # noqa: DTZ001 - a camera's clock has no zone
    return Capture(time=CameraTime(moment, offset_min, TimeSource.TAKEN), make=make, model="F2")


def facts(*captures: Capture | None) -> Facts:
    rows = [taken(n) for n in range(1, len(captures) + 1)]
    return Facts(
        rows,
        captures={r.original.digest: c for r, c in zip(rows, captures, strict=True) if c},
        qualities={r.original.digest: GOOD for r in rows},
    )


def decided(n: int, what: str, about: str, value: object) -> dict[tuple[str, str], Decision]:
    return {(what, about): Decision(n, "", "", what, about, value, None, "", "")}


def test_the_inspectors_joint_outlives_the_proposal() -> None:
    proposal = Arrangement(
        joints=(Joint(0, 60, 2.0, boundary=True, doubt=0.1), Joint(1, 60, -2.0, False, 0.1))
    )
    found = facts(shot(1), shot(2), shot(3))

    before = stand(found, proposal, {})
    after = stand(
        found, proposal, decided(1, "begins", "2", value=False) | decided(2, "begins", "3", value=True)
    )

    assert [v.frames for v in before.visits] == [(1,), (2, 3)]
    assert [v.frames for v in after.visits] == [(1, 2), (3,)]
    assert after.decided_joints == {2, 3}


def test_a_room_card_names_a_visit_until_the_inspector_does() -> None:
    carded = Arrangement(cards=((FrameNumber(1), 25),))  # the standard card of the attic
    found = facts(shot(1), shot(2))

    assert stand(found, carded, {}).visits[0].named_by == "room card"
    named = stand(found, carded, decided(1, "room", "2", "Attic, north")).visits[0]
    assert (named.room, named.named_by) == ("Attic, north", "inspector")


def test_a_blank_room_card_names_its_visits_once_the_inspector_says_what_stands_on_it() -> None:
    carded = Arrangement(cards=((FrameNumber(1), 60),))
    found = facts(shot(1), shot(2))

    assert stand(found, carded, {}).visits[0].room == ""
    assert stand(found, carded, {}).pictures[0].card == 60
    named = stand(found, carded, decided(1, "card", "60", "Sun room"))
    assert (named.visits[0].room, named.visits[0].named_by) == ("Sun room", "room card")


def test_the_job_card_names_no_room() -> None:
    found = stand(facts(shot(1), shot(2)), Arrangement(cards=((FrameNumber(1), 99),)), {})

    assert (found.visits[0].room, found.pictures[0].card_says) == ("", "Job card")


def test_a_picture_set_apart_leaves_its_look_alikes_and_a_chosen_one_stands_in_front() -> None:
    alike = Arrangement(sets=((FrameNumber(1), FrameNumber(2), FrameNumber(3)),))
    found = facts(shot(1), shot(1, 5), shot(1, 9))

    chosen = stand(found, alike, decided(1, "front", "3", value=True) | decided(2, "apart", "1", value=True))

    assert [(s.front, s.others) for s in chosen.look_alikes] == [(3, (2,))]
    assert chosen.look_alikes[0].reason == "chosen by the inspector"
    assert chosen.alike == ((3, 1),), "it is of their view all the same"


def test_pictures_taken_out_of_a_set_of_two_are_still_told_as_of_one_view() -> None:
    alike = Arrangement(sets=((FrameNumber(1), FrameNumber(2)),))
    found = facts(shot(1), shot(1, 5))

    one = stand(found, alike, decided(1, "apart", "2", value=True))
    both = stand(found, alike, decided(1, "apart", "2", value=True) | decided(2, "apart", "1", value=True))

    assert (one.look_alikes, one.alike) == ((), ((1, 2),))
    assert (both.look_alikes, both.alike) == ((), ((1, 2),))


def test_no_picture_is_lost_whatever_the_proposals_say() -> None:
    empty = stand(facts(shot(1), None, shot(3)), Arrangement(), {})

    assert sorted(f for v in empty.visits for f in v.frames) == [1, 2, 3]
