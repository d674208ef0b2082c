"""A job laid open: what was read or compared once is kept, and every core gives the same answer."""

from __future__ import annotations

import os
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from evidence import arrange, study
from evidence import desk as desks
from evidence.desk import Desk
from evidence.likeness import Likeness, Pair, compare_all
from evidence.memory import Memory
from evidence.steps import read
from evidence.store import Answer, Store

if TYPE_CHECKING:
    from evidence.state import State
    from evidence.words import Digest


@pytest.fixture
def job(taken_in: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(taken_in, tmp_path / "job"))


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many pairs each comparing was asked for, from now on."""
    asked: list[int] = []

    def counted(likenesses: Sequence[Likeness], pairs: Sequence[tuple[int, int]]) -> list[Pair]:
        asked.append(len(pairs))
        return compare_all(likenesses, pairs)

    monkeypatch.setattr(desks, "compare_on_every_core", counted)
    return asked


def test_a_changed_clock_looks_only_at_pairs_that_were_never_compared(job: Path, asked: list[int]) -> None:
    with Desk.open(job) as desk:
        before = desk.state()
        asked.clear()
        camera = before.pictures[0].capture.camera
        desk.decide("clock", camera, {"add_s": 60.0, "reason": "a test", "offset_min": None})
        after = desk.state()

    assert sum(asked) == 0
    assert [s.others for s in after.look_alikes] == [s.others for s in before.look_alikes]
    assert after.pictures[0].seconds == before.pictures[0].seconds + 60


def test_pictures_described_anew_are_compared_anew(
    job: Path, asked: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another size of the same pixels describes them otherwise, with every method's version as it was."""
    with Desk.open(job) as desk:
        desk.state()
        first = sum(asked)
        described = desk.store.answers("likeness")
        monkeypatch.setattr(study, "VERSIONS", {**study.VERSIONS, "likeness": "2/other sizes"})
        for digest, answer in described.items():
            desk.store.put_answers(study.VERSIONS, digest, {"likeness": answer})
        desk.forget()
        desk.state()

    assert first > 0
    assert sum(asked) == 2 * first


@pytest.mark.parametrize("part", desks.ARRANGED_BY)
def test_a_day_arranged_while_pictures_waited_is_arranged_again_once_they_are_measured(
    part: str, job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A command that decides before anything is measured anew must not cost the day its proposals."""
    with Desk.open(job) as desk:
        before = desk.state()
        measured = desk.store.answers(part)
        monkeypatch.setattr(study, "VERSIONS", {**study.VERSIONS, part: "a later one"})
        desk.forget()
        desk.decide("light", 1, "as taken")
        desk.state()

        for digest, answer in measured.items():
            desk.store.put_answers(study.VERSIONS, digest, {part: answer})
        desk.forget()
        after = desk.state()

    assert (after.joints, after.visits) == (before.joints, before.visits)
    assert (after.look_alikes, after.changed) == (before.look_alikes, before.changed)


@pytest.mark.parametrize("part", sorted(study.VERSIONS.keys() - set(desks.ARRANGED_BY)))
def test_a_day_is_not_arranged_anew_for_what_it_does_not_rest_on(
    part: str, job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Desk.open(job) as desk:
        desk.state()
        monkeypatch.setattr(study, "VERSIONS", {**study.VERSIONS, part: "a later one"})
        monkeypatch.setattr(arrange, "propose", lambda *_, **__: pytest.fail("arranged anew"))
        desk.forget()
        desk.state()


def test_more_cores_give_the_same_arrangement(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Desk.open(job) as desk:
        alone = desk.state()
    (job / "job.sqlite").unlink()
    monkeypatch.setattr(desks, "WORTH_A_POOL", 1)
    with Desk.open(job) as desk:
        read.read(desk)
        assert desk.state() == alone


def settled(job: Path) -> None:
    """Let the database lie as if nobody had written it for a minute."""
    path = job / "job.sqlite"
    past = path.stat().st_mtime - 60
    os.utime(path, (past, past))


def afresh(job: Path) -> State:
    with Desk.open(job, write=False) as desk:
        return desk.state()


def test_a_desk_that_remembers_says_what_a_fresh_one_says_whatever_is_decided(job: Path) -> None:
    """Every kind of decision that moves, makes or describes a picture, an undo, and a film's kinds aside."""
    memory = Memory()
    decided: list[tuple[str, str, Any]] = [
        ("room", "1", "Attic"),
        ("clock", "Ostrel F2", {"add_s": 60.0, "reason": "a test"}),
        ("begins", "3", True),
        ("clock from", "5", {"add_s": -30.0, "reason": "a test"}),
        ("light", "2", "as taken"),
        ("looked", "2", True),
        ("front", "4", True),
        ("marks", "6", [{"shape": "ring", "x0": 0.1, "y0": 0.1, "x1": 0.3, "y1": 0.3}]),
        ("finding", "1", {"seen": "A step is loose."}),
        ("attached", "1/6", {"distance": "close-up", "rank": 0}),
    ]
    for what, about, value in decided:
        settled(job)
        with Desk.open(job, memory=memory) as desk:
            desk.state()
            desk.decide(what, about, value)
            assert desk.state() == afresh(job), what
    settled(job)
    with Desk.open(job, memory=memory) as desk:
        desk.undo(desk.job.lines[-9].n)
        assert desk.state() == afresh(job)
        assert desk.state().pictures[0].corrected is None


def test_a_desk_that_remembers_notices_what_others_did_to_the_job(job: Path) -> None:
    memory = Memory()
    settled(job)
    with Desk.open(job, memory=memory) as desk:
        first = desk.state()
    with Desk.open(job) as other:
        other.decide("room", "1", "Cellar")
        digest = first.pictures[0].taken.original.digest
        other.store.put_answers(study.VERSIONS, digest, {"quality": Answer(None, "It broke meanwhile.")})

    with Desk.open(job, write=False, memory=memory) as desk:
        now = desk.state()

    assert (now.visits[0].room, now.pictures[0].fault) == ("Cellar", "It broke meanwhile.")
    assert now == afresh(job)


def test_a_desk_that_remembers_reads_no_answer_twice(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    memory = Memory()
    for _ in range(2):  # the first time, proposals are made and kept
        settled(job)
        with Desk.open(job, memory=memory) as desk:
            desk.state()
    monkeypatch.setattr(Store, "answers", lambda *_: pytest.fail("the database was read again"))

    with Desk.open(job, memory=memory) as desk:
        desk.decide("room", "1", "Attic")
        assert desk.state().visits[0].room == "Attic"


def test_a_database_that_was_just_written_is_read_again(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two changes within one step of a file's time cannot be told apart by it (as in an index of git)."""
    memory = Memory()
    os.utime(job / "job.sqlite")
    with Desk.open(job, write=False, memory=memory) as desk:
        desk.state()
    asked: list[str] = []
    answers = Store.answers

    def counted(self: Store, part: str) -> dict[Digest, Answer]:
        asked.append(part)
        return answers(self, part)

    monkeypatch.setattr(Store, "answers", counted)
    with Desk.open(job, write=False, memory=memory) as desk:
        desk.state()

    assert "quality" in asked
