"""Findings: numbered for good, put in order by room, by system or by hand, warned of when lacking."""

from __future__ import annotations

from pathlib import Path

import pytest

from evidence.desk import Desk
from evidence.errors import BadTable, UnknownFinding, WrongUsage
from evidence.steps import attach, findings, rooms
from evidence.steps.gaps import GapKind, of_findings
from evidence.words import Distance


def written(desk: Desk) -> None:
    findings.add(desk, {"seen": "Loose handrail", "room": "Stairs", "system": "interior"})
    findings.add(desk, {"seen": "Scorched breaker", "room": "Garage", "system": "electrical"})
    findings.add(desk, {"seen": "Moss on shingles", "system": "roof"})


def numbers(desk: Desk) -> list[int]:
    return [finding.number for finding in desk.state().findings]


def test_findings_stand_by_number_until_asked_otherwise_and_again_after_an_undo(desk: Desk) -> None:
    written(desk)
    assert numbers(desk) == [1, 2, 3]

    findings.order(desk, [3])
    assert numbers(desk) == [3, 1, 2]

    desk.undo()
    assert numbers(desk) == [1, 2, 3]


def test_by_room_follows_the_walk_and_puts_what_has_no_room_last(desk: Desk) -> None:
    written(desk)
    rooms.split(desk, desk.state().pictures[1].frame)
    rooms.name(desk, {1: "Garage", 2: "Stairs"})

    findings.order(desk, "room")

    assert numbers(desk) == [2, 1, 3]


def test_by_system_follows_the_order_in_which_a_house_is_inspected(desk: Desk) -> None:
    """Outside before inside, roof before electrical: the order of the catalogue (common practice)."""
    written(desk)
    findings.add(desk, {"seen": "Something else"})

    findings.order(desk, "system")

    assert numbers(desk) == [3, 2, 1, 4]


def test_an_order_by_what_nobody_knows_changes_nothing(desk: Desk) -> None:
    written(desk)
    with pytest.raises(WrongUsage, match="not by “colour”"):
        findings.order(desk, "colour")
    with pytest.raises(UnknownFinding):
        findings.order(desk, [2, 9])
    assert numbers(desk) == [1, 2, 3]


def test_a_number_once_given_is_never_given_again(desk: Desk) -> None:
    written(desk)
    findings.withdraw(desk, 3)
    assert findings.add(desk, {"seen": "Another thing"}).number == 4
    desk.undo()
    assert findings.add(desk, {"seen": "A third thing"}).number == 5


def test_a_finding_is_warned_of_until_it_has_every_part_a_picture_and_a_wide_view(desk: Desk) -> None:
    """North Carolina 11 NCAC 08.1103(b)(3) asks for each part (as read for the plan)."""
    findings.add(desk, {"seen": "Loose handrail", "why": "May give way", "do": "Fasten it"})
    lacking = {gap.kind: gap.sentence for gap in of_findings(desk.state())}
    assert "who should do it, its room" in lacking[GapKind.PARTS]
    assert GapKind.NO_PICTURE in lacking

    findings.edit(desk, 1, {"who": "a carpenter", "room": "Stairs"})
    clear = [p.frame for p in desk.state().pictures if p.usable and not p.unsharp and not p.hopeless]
    attach.attach(desk, 1, clear[:1], distance=Distance.CLOSE_UP)
    assert [gap.kind for gap in of_findings(desk.state())] == [GapKind.NO_WHERE]

    attach.attach(desk, 1, clear[:1], distance=Distance.OVERALL)
    assert [gap.kind for gap in of_findings(desk.state())] == [GapKind.NO_CLOSE]

    attach.attach(desk, 1, clear[1:2], distance=Distance.CLOSE_UP)
    assert of_findings(desk.state()) == []


@pytest.mark.parametrize(
    ("data", "said"), [(None, "cannot be read"), (b"seen\nst\xe6rke", "not UTF-8 text from byte 7")]
)
def test_a_table_that_cannot_be_read_is_named_and_adds_nothing(
    desk: Desk, tmp_path: Path, data: bytes | None, said: str
) -> None:
    table = tmp_path / "findings.csv"
    if data is not None:
        table.write_bytes(data)

    with pytest.raises(BadTable, match=f"findings.csv.*{said}"):
        findings.from_csv(desk, table)

    assert desk.state().findings == ()
