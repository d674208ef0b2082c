"""A job laid open: what was compared once is kept, and every core gives the same answer."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path

import pytest

from evidence import desk as desks
from evidence import study
from evidence.desk import Desk
from evidence.likeness import Likeness, Pair, compare_all
from evidence.steps import read


@pytest.fixture
def job(taken_in: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(taken_in, tmp_path / "job"))


def test_a_changed_clock_looks_only_at_pairs_that_were_never_compared(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[int] = []

    def counted(likenesses: Sequence[Likeness], pairs: Sequence[tuple[int, int]]) -> list[Pair]:
        asked.append(len(pairs))
        return compare_all(likenesses, pairs)

    monkeypatch.setattr(desks, "_compare_all", counted)
    with Desk.open(job) as desk:
        before = desk.state()
        asked.clear()
        camera = before.pictures[0].capture.camera
        desk.decide("clock", camera, {"add_s": 60.0, "reason": "a test", "offset_min": None})
        after = desk.state()

    assert sum(asked) == 0
    assert [s.others for s in after.look_alikes] == [s.others for s in before.look_alikes]
    assert after.pictures[0].seconds == before.pictures[0].seconds + 60


def test_pictures_described_anew_are_compared_anew(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another size of the same pixels describes them otherwise, with every method's version as it was."""
    asked: list[int] = []

    def counted(likenesses: Sequence[Likeness], pairs: Sequence[tuple[int, int]]) -> list[Pair]:
        asked.append(len(pairs))
        return compare_all(likenesses, pairs)

    monkeypatch.setattr(desks, "_compare_all", counted)
    with Desk.open(job) as desk:
        desk.state()
        first = sum(asked)
        monkeypatch.setattr(study, "VERSIONS", {**study.VERSIONS, "likeness": "2/other sizes"})
        desk.forget()
        desk.state()

    assert first > 0
    assert sum(asked) == 2 * first


def test_more_cores_give_the_same_arrangement(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Desk.open(job) as desk:
        alone = desk.state()
    (job / "job.sqlite").unlink()
    monkeypatch.setattr(desks, "WORTH_A_POOL", 1)
    with Desk.open(job) as desk:
        read.read(desk)
        assert desk.state() == alone
