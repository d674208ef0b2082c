"""Taking a card in and reading it, the one while the other goes on."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from evidence import run, study
from evidence.desk import Desk
from evidence.steps import attach, findings, light, read, rooms
from evidence.steps.start import start
from evidence.store import Answer
from evidence.words import Distance


def test_every_picture_has_every_answer_after_the_intake(desk: Desk) -> None:
    assert desk.store.unanswered(study.VERSIONS) == {}
    assert [p.frame for p in desk.state().pictures] == [1, 2, 3, 4, 5, 6, 7, 8]


def test_reading_again_reads_nothing(desk: Desk) -> None:
    with ThreadPoolExecutor(1) as pool:
        assert read.read(desk, executor=pool).answered == 0


def test_a_text_named_as_a_picture_is_kept_and_named_with_its_reason(card: Path, tmp_path: Path) -> None:
    (tmp_path / "odd" / "DCIM" / "100OSTRE").mkdir(parents=True)
    (tmp_path / "odd" / "DCIM" / "100OSTRE" / "OSTR0001.JPG").write_text("not a picture")
    start(tmp_path / "job", {}).close()

    with Desk.open(tmp_path / "job") as desk, ThreadPoolExecutor(1) as pool:
        read.take_in(desk, [tmp_path / "odd", card], executor=pool)
        broken = read.damaged(desk)

        assert [one.place.rsplit("/", 1)[-1] for one in broken] == ["OSTR0001.JPG"]
        assert broken[0].reason
        assert len([p for p in desk.state().pictures if p.usable]) == 8


def test_the_database_can_be_thrown_away(desk: Desk, tmp_path: Path) -> None:
    before = desk.store.dump()
    folder = desk.job.folder
    desk.store.close()
    desk.job.close()
    (folder / "job.sqlite").unlink()

    with Desk.open(folder) as again, ThreadPoolExecutor(1) as pool:
        read.read(again, executor=pool)
        again.state()

        assert again.store.dump() == before or _without_proposals(again.store.dump()) == _without_proposals(
            before
        )


def test_a_new_version_of_one_method_measures_that_alone_and_every_decision_outlives_it(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = findings.add(desk, {"seen": "A drain leaks."}).number
    attach.attach(desk, number, [4, 2], distance=Distance.CLOSE_UP)
    light.set_light(desk, [3], light.AS_TAKEN)
    rooms.name(desk, {1: "Kitchen"})
    lines, state = desk.job.lines, desk.state()
    likeness, quality = desk.store.answers("likeness"), desk.store.answers("quality")
    asked: list[frozenset[str]] = []

    def spied(path: Path, parts: frozenset[str]) -> dict[str, Answer]:
        asked.append(parts)
        return study.study(path, parts)

    versions = {**study.VERSIONS, "quality": "a later one"}
    monkeypatch.setattr(study, "WORK", run.Work(versions, spied))
    with ThreadPoolExecutor(1) as pool:
        first = read.read(desk, executor=pool)
        second = read.read(desk, executor=pool)

    after = desk.state()
    assert (first.answered, second.answered) == (8, 0)
    assert set(asked) == {frozenset({"quality"})}
    assert desk.store.answers("likeness") == likeness
    assert desk.store.answers("quality").keys() == quality.keys()
    assert desk.job.lines == lines
    assert (after.findings, after.attachments, after.rooms) == (
        state.findings,
        state.attachments,
        state.rooms,
    )
    assert [p.light_decided for p in after.pictures] == [p.light_decided for p in state.pictures]


def _without_proposals(dump: str) -> str:
    return dump.split('"proposals"', maxsplit=1)[0]
