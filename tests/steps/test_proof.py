"""The proof: an edition is issued once every printed picture was looked at, or for a reason."""

from __future__ import annotations

import pytest

from evidence.desk import Desk
from evidence.errors import NotIssuable
from evidence.progress import Silent
from evidence.steps import findings, issue, proof
from evidence.steps.attach import attach


def with_a_finding(desk: Desk) -> None:
    made = findings.add(desk, {"seen": "Water stain", "room": "Attic"})
    attach(desk, made.number, [2, 3])


def test_ticked_pictures_are_no_longer_asked_for_and_a_tick_can_be_taken_back(desk: Desk) -> None:
    with_a_finding(desk)
    assert proof.proof(desk).to_look_at == (2, 3)

    proof.looked(desk, [2])
    assert proof.proof(desk).to_look_at == (3,)
    proof.looked(desk, [2], done=False)
    assert proof.proof(desk).to_look_at == (2, 3)


def test_an_edition_waits_for_the_proof_a_draft_does_not(desk: Desk) -> None:
    with_a_finding(desk)

    with pytest.raises(NotIssuable, match="2 printed pictures"):
        issue.issue(desk, issue.Wanted(("csv",)), progress=Silent())
    issue.issue(desk, issue.Wanted(("csv",), draft=True), progress=Silent())
    proof.looked(desk, [2, 3])
    issue.issue(desk, issue.Wanted(("csv",)), progress=Silent())

    assert [line.about for line in desk.job.lines if line.what == "issue"] == ["1"]


def test_the_reason_for_issuing_without_the_proof_stands_in_the_record(desk: Desk) -> None:
    with_a_finding(desk)

    issue.issue(desk, issue.Wanted(("csv",), unlooked_reason="Client waits at the door"), progress=Silent())

    value = next(line.value for line in desk.job.lines if line.what == "issue")
    assert (value["reason"], value["not looked at"]) == ("Client waits at the door", [2, 3])
