"""The database: rows in, rows out, migrations, faults."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

import pytest

from evidence.errors import CannotWrite, NewerJob
from evidence.store import Answer, OriginalRow, Store
from evidence.words import Digest, FileKind, FrameNumber

if TYPE_CHECKING:
    from pathlib import Path


def row(frame: int | None, digest: str) -> OriginalRow:
    number = None if frame is None else FrameNumber(frame)
    return OriginalRow(
        Digest(digest * 64), 10, f"card/{digest}.JPG", FileKind.PICTURE, number, "a", "card", ""
    )


def test_pictures_come_by_frame_number_and_other_files_last(tmp_path: Path) -> None:
    with Store(tmp_path / "job.sqlite") as store:
        store.put_originals([row(None, "c"), row(2, "b"), row(1, "a")])

        assert [r.frame for r in store.originals()] == [1, 2, None]


def test_the_same_original_again_changes_nothing(tmp_path: Path) -> None:
    with Store(tmp_path / "job.sqlite") as store:
        store.put_originals([row(1, "a")])
        before = store.dump()

        store.put_originals([row(1, "a")])

        assert store.dump() == before


def test_only_parts_of_another_version_are_asked_again(tmp_path: Path) -> None:
    with Store(tmp_path / "job.sqlite") as store:
        store.put_originals([row(1, "a")])
        digest = store.originals()[0].digest
        store.put_answers(
            {"light": "1", "quality": "1"}, digest, {"light": Answer(b"x"), "quality": Answer(b"y")}
        )

        assert store.unanswered({"light": "1", "quality": "1"}) == {}
        assert store.unanswered({"light": "2", "quality": "1"}) == {digest: frozenset({"light"})}


def test_a_fault_is_an_answer_and_is_not_asked_for_again(tmp_path: Path) -> None:
    with Store(tmp_path / "job.sqlite") as store:
        store.put_originals([row(1, "a")])
        digest = store.originals()[0].digest

        store.put_answers({"exif": "1"}, digest, {"exif": Answer(None, "It ends half-way.")})

        assert store.unanswered({"exif": "1"}) == {}
        assert store.answers("exif")[digest].fault == "It ends half-way."


def test_a_database_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    Store(tmp_path / "job.sqlite").close()
    with sqlite3.connect(tmp_path / "job.sqlite") as connection:
        connection.execute("insert into migrations values ('from the future')")
    connection.close()

    with pytest.raises(NewerJob, match="from the future"):
        Store(tmp_path / "job.sqlite")


def test_a_place_that_cannot_be_written_is_said_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(CannotWrite, match=r"job\.sqlite"):
        Store(tmp_path / "no such folder" / "job.sqlite")
