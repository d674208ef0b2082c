"""The database: rows in, rows out, migrations, faults."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

import pytest

from evidence.errors import CannotWrite, NewerJob
from evidence.store import Answer, Store
from evidence.words import Digest, FileKind, FrameNumber, Original, Taken

if TYPE_CHECKING:
    from pathlib import Path


def taken(frame: int | None, letter: str) -> Taken:
    number = None if frame is None else FrameNumber(frame)
    original = Original(Digest(letter * 64), 10, f"card/{letter}.JPG")
    return Taken(original, FileKind.PICTURE, number, "card", f"{letter}.JPG", "", letter)


def test_a_file_opened_for_reading_gives_answers_and_takes_none(tmp_path: Path) -> None:
    with Store(tmp_path / "job.sqlite") as store:
        store.put_originals([taken(1, "a")])
        store.put_answers({"exif": "1"}, Digest("a" * 64), {"exif": Answer(b"x")})

    with Store(tmp_path / "job.sqlite", write=False) as store:
        assert store.answers("exif")[Digest("a" * 64)].value == b"x"
        with pytest.raises(CannotWrite, match=r"job\.sqlite"):
            store.put_proposal("arrangement", "key", "value")


def test_pictures_come_by_frame_number_and_other_files_last(tmp_path: Path) -> None:
    with Store(tmp_path / "job.sqlite") as store:
        store.put_originals([taken(None, "c"), taken(2, "b"), taken(1, "a")])

        assert [digest[0] for digest in store.unanswered({"exif": "1"})] == ["a", "b", "c"]


def test_the_same_original_again_changes_nothing(tmp_path: Path) -> None:
    with Store(tmp_path / "job.sqlite") as store:
        store.put_originals([taken(1, "a")])
        before = store.dump()

        store.put_originals([taken(1, "a")])

        assert store.dump() == before


def test_only_parts_of_another_version_are_asked_again(tmp_path: Path) -> None:
    with Store(tmp_path / "job.sqlite") as store:
        store.put_originals([taken(1, "a")])
        digest = Digest("a" * 64)
        store.put_answers(
            {"light": "1", "quality": "1"}, digest, {"light": Answer(b"x"), "quality": Answer(b"y")}
        )

        assert store.unanswered({"light": "1", "quality": "1"}) == {}
        assert store.unanswered({"light": "2", "quality": "1"}) == {digest: frozenset({"light"})}


def test_a_fault_is_an_answer_and_is_not_asked_for_again(tmp_path: Path) -> None:
    with Store(tmp_path / "job.sqlite") as store:
        store.put_originals([taken(1, "a")])
        digest = Digest("a" * 64)

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


def test_a_proposal_is_given_only_for_what_it_was_made_from(tmp_path: Path) -> None:
    with Store(tmp_path / "job.sqlite") as store:
        store.put_proposal("arrangement", "made from these", "[1]")

        assert store.proposal("arrangement", "made from these") == "[1]"
        assert store.proposal("arrangement", "made from others") is None
