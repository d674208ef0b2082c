"""Pictures on findings, and the gap list that tells what they lack."""

from __future__ import annotations

import pytest

from evidence import arrange
from evidence.desk import Desk
from evidence.errors import EmptyFinding, UnknownFinding, UnknownPicture, WrongUsage
from evidence.state import Arrangement
from evidence.steps import attach, findings, gaps, picture, rooms
from evidence.words import Distance, FrameNumber


def seen(desk: Desk, text: str = "A drain leaks.") -> int:
    return findings.add(desk, {"seen": text}).number


def test_pictures_are_printed_in_the_order_attached_and_leave_when_taken_off(desk: Desk) -> None:
    number = seen(desk)
    attach.attach(desk, number, [4, 2], distance=Distance.CLOSE_UP)
    attach.attach(desk, number, [7], distance=Distance.OVERALL)

    assert [(a.frame, a.rank) for a in desk.state().attached_to(number)] == [(4, 0), (2, 1), (7, 2)]
    attach.take_off(desk, number, [4])
    assert [a.frame for a in desk.state().attached_to(number)] == [2, 7]


def test_the_proposal_prints_what_was_seen_and_supports_it_with_where(desk: Desk) -> None:
    """Close-up and mid-range belong together: the distances of evidence photography (common practice)."""
    number = seen(desk)
    attach.attach(desk, number, [2], distance=Distance.CLOSE_UP)
    attach.attach(desk, number, [5], distance=Distance.MID_RANGE)

    proposal = attach.take_proposal(desk, number)

    assert [one.frame for one in proposal.picks] == [2, 5]
    assert [(a.frame, a.distance) for a in desk.state().attached_to(number)] == [
        (2, Distance.CLOSE_UP),
        (5, Distance.MID_RANGE),
    ]


@pytest.fixture
def retaken(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> tuple[FrameNumber, FrameNumber]:
    """Two pictures of one view: the one in front and the one behind it."""
    pair = Arrangement(sets=((FrameNumber(2), FrameNumber(3)),))
    monkeypatch.setattr(arrange, "VERSION", "as proposed here")
    monkeypatch.setattr(arrange, "propose", lambda *_, **__: (pair, ()))
    alike = desk.state().look_alikes[0]
    return alike.front, alike.others[0]


def test_a_better_take_of_what_was_attached_shows_it_from_the_distance_said_of_that(
    desk: Desk, retaken: tuple[FrameNumber, FrameNumber]
) -> None:
    """Look-alikes are pictures of one view (docs/methods/likeness.md): so it is from as far away."""
    front, behind = retaken
    number = seen(desk)
    attach.attach(desk, number, [behind], distance=Distance.CLOSE_UP)

    proposal = attach.take_proposal(desk, number)

    assert proposal.printed is not None
    assert proposal.printed.reason.startswith("shows what was seen; ")
    assert proposal.remark.startswith("no picture shows where it is")
    assert [(a.frame, a.distance) for a in desk.state().attached_to(number)] == [(front, Distance.CLOSE_UP)]


def test_what_the_inspector_put_in_front_is_proposed_for_a_finding_too(
    desk: Desk, retaken: tuple[FrameNumber, FrameNumber]
) -> None:
    """README: the program proposes, and the inspector decides."""
    front, behind = retaken
    picture.in_front(desk, behind)

    picks = attach.propose(desk, seen(desk), [front]).picks

    assert [(one.frame, one.reason) for one in picks] == [(behind, "chosen by the inspector")]


def test_a_distance_given_with_the_best_holds_of_all_of_them(desk: Desk) -> None:
    number = seen(desk)
    attach.attach(desk, number, [2], distance=Distance.OVERALL)

    proposal = attach.take_proposal(desk, number, [2, 5], distance=Distance.CLOSE_UP)

    assert {a.distance for a in desk.state().attached_to(number)} == {Distance.CLOSE_UP}
    assert proposal.remark.startswith("no picture shows where it is")


def test_a_picture_that_may_show_where_is_named_though_another_finding_does_not_say_from_how_far(
    desk: Desk,
) -> None:
    rooms.name(desk, {1: "Kitchen"})
    first, second, third = (findings.add(desk, {"seen": "A stain.", "room": "Kitchen"}).number for _ in "123")
    attach.attach(desk, first, [3], distance=Distance.OVERALL)
    attach.attach(desk, second, [3])
    attach.attach(desk, second, [3], distance="")
    attach.attach(desk, third, [2], distance=Distance.CLOSE_UP)

    assert "picture 3 of the same room may do" in attach.propose(desk, third).remark


def test_a_finding_number_is_never_used_again(desk: Desk) -> None:
    first = seen(desk)
    findings.withdraw(desk, first)

    assert seen(desk, "A vent is loose.") == first + 1
    assert [f.number for f in desk.state().findings] == [first + 1]


def test_a_finding_must_say_what_was_seen(desk: Desk) -> None:
    with pytest.raises(EmptyFinding):
        findings.add(desk, {"why": "It matters."})
    number = seen(desk)
    with pytest.raises(EmptyFinding):
        findings.edit(desk, number, {"seen": " "})


def test_what_does_not_exist_is_refused_by_its_number(desk: Desk) -> None:
    number = seen(desk)

    with pytest.raises(UnknownFinding, match="finding 9"):
        attach.attach(desk, 9, [1])
    with pytest.raises(UnknownPicture, match="picture 99"):
        attach.attach(desk, number, [99])
    with pytest.raises(WrongUsage, match="not attached"):
        attach.take_off(desk, number, [1])
    with pytest.raises(WrongUsage, match="no picture to choose from"):
        attach.propose(desk, number)


def test_the_gap_list_names_a_finding_without_picture_then_without_a_wide_view(desk: Desk) -> None:
    number = seen(desk)
    assert gaps.GapKind.NO_PICTURE in {g.kind for g in gaps.gaps(desk)}

    attach.attach(desk, number, [3], distance=Distance.CLOSE_UP)

    kinds = {g.kind for g in gaps.gaps(desk) if g.about == str(number)}
    assert gaps.GapKind.NO_WHERE in kinds
    assert gaps.GapKind.NO_PICTURE not in kinds


def test_findings_come_from_a_table_all_or_none(desk: Desk, tmp_path: object) -> None:
    from pathlib import Path  # noqa: PLC0415

    table = Path(str(tmp_path)) / "findings.csv"
    table.write_text("seen,room,urgent\nA step is loose.,Hall,yes\n,Attic,\n")

    with pytest.raises(EmptyFinding, match="line 3"):
        findings.from_csv(desk, table)

    assert desk.state().findings == ()
