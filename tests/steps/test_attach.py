"""Pictures on findings, and the gap list that tells what they lack."""

from __future__ import annotations

import pytest

from evidence.desk import Desk
from evidence.errors import EmptyFinding, UnknownFinding, UnknownPicture, WrongUsage
from evidence.steps import attach, findings, gaps
from evidence.words import Distance


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
