"""The database: rows in, rows out, migrations, faults."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
from pathlib import Path

import pytest

from evidence.errors import CannotWrite, DatabaseDamaged, NewerJob
from evidence.store import DAMAGED, Answer, Store
from evidence.words import Digest, FileKind, FrameNumber, Original, Taken
from tests import saboteurs

A = Digest("a" * 64)


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


def filled(path: Path) -> None:
    with Store(path) as store:
        store.put_originals([taken(1, "a")])
        store.put_answers({"exif": "1"}, A, {"exif": Answer(b"exposure of 1/60 s" * 500)})
        store.put_proposal("arrangement", "key", "[1, 2, 3]")


def test_an_answer_with_a_turned_bit_is_forgotten_and_asked_for_anew(tmp_path: Path) -> None:
    filled(tmp_path / "job.sqlite")
    data = (tmp_path / "job.sqlite").read_bytes()
    (tmp_path / "job.sqlite").write_bytes(data.replace(b"1/60 s", b"1/70 s", 1))

    with Store(tmp_path / "job.sqlite") as store:
        assert store.answers("exif") == {}
        assert store.unanswered({"exif": "1"}) == {A: frozenset({"exif"})}
        store.put_answers({"exif": "1"}, A, {"exif": Answer(b"1/60 s")})
        assert store.answers("exif")[A].value == b"1/60 s"


def test_a_proposal_with_a_turned_bit_is_made_anew(tmp_path: Path) -> None:
    filled(tmp_path / "job.sqlite")
    data = (tmp_path / "job.sqlite").read_bytes()
    (tmp_path / "job.sqlite").write_bytes(data.replace(b"[1, 2, 3]", b"[1, 2, 7]"))

    with Store(tmp_path / "job.sqlite", write=False) as store:
        assert store.proposal("arrangement", "key") is None


def test_no_flipped_bit_in_a_database_becomes_a_fact(tmp_path: Path) -> None:
    """150 flips: what is given afterwards is what was put in, or nothing; never anything else."""
    path, chance = tmp_path / "job.sqlite", random.Random(5)
    filled(path)
    sound = path.read_bytes()
    with Store(path) as store:
        answer, proposal = store.answers("exif")[A], store.proposal("arrangement", "key")
    given = {"as it was": 0, "nothing": 0}
    for _ in range(150):
        path.write_bytes(sound)
        saboteurs.flip_a_bit(path, chance)
        try:
            with Store(path) as store:
                kept = store.answers("exif").get(A), store.proposal("arrangement", "key")
        except NewerJob:  # the name of a migration is another
            continue
        assert kept[0] in {answer, None}
        assert kept[1] in {proposal, None}
        given["nothing" if None in kept else "as it was"] += 1
    assert given["nothing"] > 20


def test_a_file_that_is_no_database_is_set_aside_by_who_may_write_and_told_to_who_reads(
    tmp_path: Path,
) -> None:
    path = tmp_path / "job.sqlite"
    path.write_bytes(b"no database at all" * 100)

    with pytest.raises(DatabaseDamaged, match=r"job\.sqlite is damaged"):
        Store(path, write=False)
    assert path.read_bytes().startswith(b"no database")

    with Store(path) as store:
        store.put_originals([taken(1, "a")])
    assert (tmp_path / f"job.sqlite{DAMAGED}").read_bytes().startswith(b"no database")


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the killing needs fork")
def test_what_a_kill_left_half_written_is_read_as_it_was_and_nothing_on_the_disk_changes(
    tmp_path: Path,
) -> None:
    """SQLite's rollback journal, https://www.sqlite.org/atomiccommit.html (section 4)."""
    path = tmp_path / "job.sqlite"
    with Store(path) as store:
        store.put_originals([taken(1, "a")])
        store.put_answers({"exif": "1"}, A, {"exif": Answer(bytes(500_000))})
    if os.fork() == 0:
        connection = sqlite3.connect(path)
        connection.execute("pragma cache_size = 2")  # pages go to the file before the commit
        connection.execute("update answers set value = zeroblob(400000)")
        os.kill(os.getpid(), signal.SIGKILL)
    os.wait()
    left = {each.name: each.read_bytes() for each in tmp_path.iterdir()}
    assert set(left) == {"job.sqlite", "job.sqlite-journal"}

    with Store(path, write=False) as store:
        assert store.answers("exif")[A].value == bytes(500_000)

    assert {each.name: each.read_bytes() for each in tmp_path.iterdir()} == left
    with Store(path) as store:
        assert store.answers("exif")[A].value == bytes(500_000)


def test_a_database_that_a_kill_left_half_made_is_read_as_empty(tmp_path: Path) -> None:
    sqlite3.connect(tmp_path / "job.sqlite").close()
    (tmp_path / "job.sqlite").touch()

    with Store(tmp_path / "job.sqlite", write=False) as store:
        assert store.answers("exif") == {}


@pytest.mark.parametrize("word", [b"answers", b"version", b"proposals"])
def test_a_turned_bit_in_a_table_s_own_words_is_damage(word: bytes, tmp_path: Path) -> None:
    path = tmp_path / "job.sqlite"
    filled(path)
    path.write_bytes(path.read_bytes().replace(word, b"x" + word[1:]))

    with pytest.raises(DatabaseDamaged):
        Store(path, write=False)
    with Store(path) as store:
        assert store.answers("exif") == {}
