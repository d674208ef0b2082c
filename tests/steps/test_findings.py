"""Findings: numbered for good, put in order by room, by system or by hand, warned of when lacking."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from evidence.desk import Desk
from evidence.errors import BadTable, UnknownFinding, WrongUsage
from evidence.report import csv
from evidence.report.contents import PrintSize
from evidence.steps import attach, findings, rooms
from evidence.steps.gaps import GapKind, of_findings
from evidence.words import Distance, Finding
from tests.report import made_up


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


def from_table(desk: Desk, tmp_path: Path, text: str) -> list[Finding]:
    table = tmp_path / "findings.csv"
    table.write_text(text, "utf-8")
    return findings.from_csv(desk, table)


def test_a_cell_of_several_lines_becomes_one_with_a_space_between(desk: Desk, tmp_path: Path) -> None:
    (made,) = from_table(desk, tmp_path, 'Seen,ROOM\r\n"Loose\r\nhandrail, worn",Stairs\r\n')

    assert (made.seen, made.room) == ("Loose handrail, worn", "Stairs")


def test_no_in_a_table_makes_an_urgent_standard_finding_not_urgent(desk: Desk, tmp_path: Path) -> None:
    urgent = next(row.id for row in desk.catalogue.rows if row.urgent)

    made = from_table(desk, tmp_path, f"from,urgent\n{urgent},No\n{urgent},\n{urgent},YES\n")

    assert [one.urgent for one in made] == [False, True, True]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("seen,urgent\nLoose,yes\nWorn,maybe\n", "line 3: “maybe” under urgent is neither yes nor no"),
        ("seen,room\nLoose,Stairs\nWorn, by the door,Hall\n", "line 3: a cell stands under no heading"),
        ("seen,\nLoose,Stairs\n", "line 2: a cell stands under no heading"),
        ('seen\n"two\nlines"\n"never closed\n', "line 4: it cannot be read as a table"),
        ("seen\n" + "a" * 131_073, "line 2: it cannot be read as a table"),
        ("", "holds no finding"),
        ("seen,room\n\n,\n", "holds no finding"),
        ("seen,Seen\na,b\n", "two columns “seen”"),
        ("seen,colour\na,b\n", "has a column “colour”"),
    ],
)
def test_a_table_that_would_lose_text_is_refused_by_its_line(
    desk: Desk, tmp_path: Path, text: str, said: str
) -> None:
    with pytest.raises(WrongUsage, match=said):
        from_table(desk, tmp_path, text)

    assert desk.state().findings == ()


def test_the_schedule_of_an_edition_is_read_back_as_it_was_issued(desk: Desk, tmp_path: Path) -> None:
    parts = {"seen": "Loose handrail", "why": "May give way", "do": "Fasten it", "who": "a carpenter"}
    first = findings.add(desk, {**parts, "room": "Stairs", "limits": "-- the far end", "urgent": True})
    schedule = tmp_path / "schedule.csv"
    issued = replace(made_up.house(1), findings=(first,))
    csv.write(issued, made_up.printer, PrintSize(240, 70), schedule)

    (again,) = findings.from_csv(desk, schedule)

    assert again == replace(first, number=2)


def test_a_part_that_is_edited_is_on_one_line_as_a_new_one_is(desk: Desk) -> None:
    written(desk)

    assert findings.edit(desk, 1, {"why": " line one\n\ttwo\x07 "}).why == "line one two"
    assert findings.add(desk, {"seen": "line one\n\ttwo\x07 "}).seen == "line one two"


def test_an_order_that_names_a_finding_twice_is_refused(desk: Desk) -> None:
    written(desk)

    with pytest.raises(WrongUsage, match="named once"):
        findings.order(desk, [1, 1, 2])
