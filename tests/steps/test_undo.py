"""What is done again, and what was given up."""

from __future__ import annotations

import pytest

from evidence.desk import Desk
from evidence.errors import WrongUsage
from evidence.steps import findings, undo


def seen(desk: Desk) -> list[str]:
    return [finding.seen for finding in desk.state().findings]


def test_what_was_taken_back_is_done_again_in_turn(desk: Desk) -> None:
    for words in ("A", "B", "C"):
        findings.add(desk, {"seen": words})
    for _ in range(3):
        desk.undo()

    assert [undo.redo(desk).value["seen"] for _ in range(2)] == ["A", "B"]
    desk.undo()
    assert [undo.redo(desk).value["seen"] for _ in range(2)] == ["B", "C"]
    assert seen(desk) == ["A", "B", "C"]


def test_what_was_given_up_for_a_new_decision_stays_given_up(desk: Desk) -> None:
    findings.add(desk, {"seen": "C"})
    desk.undo()
    findings.add(desk, {"seen": "B"})
    desk.undo()

    assert undo.redo(desk).value["seen"] == "B"
    with pytest.raises(WrongUsage, match="nothing to do again"):
        undo.redo(desk)
    assert seen(desk) == ["B"]
