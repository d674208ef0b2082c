"""Kills, full disks, pulled cards, read-only folders, on the whole way from the card to the edition.

What each step does under its own faults is in its own tests. Here the way is gone from one end to
the other, and what comes out must equal an undisturbed run's, byte for byte.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import pytest
from typer.testing import CliRunner

from evidence import study, verify
from evidence.cli import app
from evidence.desk import Desk
from evidence.errors import (
    CannotWrite,
    DiskFull,
    ExitCode,
    JobHeld,
)
from evidence.job import Job
from evidence.progress import Silent
from evidence.steps import issue, read
from evidence.steps.start import start
from evidence.store import Answer
from tests import saboteurs
from tests.bench import kill_whole_way as way


def issued(desk: Desk) -> issue.Issued:
    return issue.issue(
        desk, issue.Wanted(("html",), unlooked_reason="a test"), progress=Silent(), now=way.now
    )


@pytest.fixture
def decided(taken_in: Path, tmp_path: Path) -> Iterator[Desk]:
    """A job with everything decided and nothing issued."""
    shutil.copytree(taken_in, tmp_path / "job")
    with Desk.open(tmp_path / "job") as desk:
        desk.decide_all(way.DECISIONS)
        yield desk


@pytest.mark.parametrize("room", [0, 1, 5_000, 20_000])
def test_a_disk_full_while_issuing_leaves_no_edition_and_the_next_try_succeeds(
    decided: Desk, room: int
) -> None:
    folder = decided.job.folder

    with saboteurs.at_work(saboteurs.FullDisk(room, folder)), pytest.raises(CannotWrite) as told:
        issued(decided)

    assert told.value.exit_code == ExitCode.CANNOT_WRITE
    assert not any(line.what == "issue" for line in decided.job.lines)
    assert list(decided.job.issued.glob("*")) == []
    assert issued(decided).edition == 1
    assert verify.verify(folder).sound


def test_a_disk_full_while_deciding_leaves_the_record_as_it_was(decided: Desk) -> None:
    before = decided.job.lines

    with saboteurs.at_work(saboteurs.FullDisk(10, decided.job.folder)), pytest.raises(DiskFull):
        decided.decide("room", "1", "Pantry")

    assert decided.job.lines == before
    decided.decide("room", "1", "Pantry")
    assert verify.verify(decided.job.folder).sound


def test_a_store_without_room_says_so_once_and_is_read_anew_afterwards(decided: Desk) -> None:
    """SQLite's own limit of pages stands for the full disk: the same error (SQLITE_FULL)."""
    connection: sqlite3.Connection = decided.store._db.conn
    pages = connection.execute("pragma page_count").fetchone()[0]
    digest = decided.job.taken()[0].original.digest
    part = next(iter(study.VERSIONS))
    before = decided.store.answers(part)
    large = {part: Answer(bytes(1_000_000))}
    connection.execute(f"pragma max_page_count = {pages}")

    with pytest.raises(DiskFull) as told:
        decided.store.put_answers(study.VERSIONS, digest, large)

    assert told.value.exit_code == ExitCode.CANNOT_WRITE
    assert decided.store.answers(part) == before
    connection.execute("pragma max_page_count = 1073741823")
    decided.store.put_answers(study.VERSIONS, digest, large)
    assert decided.store.answers(part)[digest].value == bytes(1_000_000)


def test_a_folder_made_read_only_refuses_an_edition_and_can_still_be_verified(decided: Desk) -> None:
    folder = decided.job.folder

    with saboteurs.at_work(saboteurs.ReadOnlyDisk(folder)):
        with pytest.raises(CannotWrite):
            issued(decided)
        assert verify.verify(folder).sound

    assert issued(decided).edition == 1


def test_a_second_program_is_told_that_the_job_is_held_and_may_read(decided: Desk) -> None:
    with pytest.raises(JobHeld):
        Desk.open(decided.job.folder)

    with Desk.open(decided.job.folder, write=False) as reader:
        assert reader.state().rooms == decided.state().rooms


def test_a_job_moved_between_deciding_and_issuing_goes_on_where_it_was(decided: Desk, tmp_path: Path) -> None:
    decided.job.close()
    moved = tmp_path / "elsewhere" / "moved"
    moved.parent.mkdir()
    decided.job.folder.rename(moved)

    with Desk.open(moved) as desk:
        assert issued(desk).edition == 1

    assert verify.verify(moved).sound


def test_a_batch_that_a_kill_cut_short_is_read_by_the_intake_that_completes_it(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Found by the kills: completed from its plan, a batch was never studied in that run."""
    folder = tmp_path / "job"
    start(folder, way.DETAILS).close()
    with monkeypatch.context() as broken, ThreadPoolExecutor(1) as pool, Desk.open(folder) as desk:
        broken.setattr(Job, "record_all", _refuse)
        with pytest.raises(CannotWrite):
            read.take_in(desk, [card], executor=pool)

    with ThreadPoolExecutor(1) as pool, Desk.open(folder) as desk:
        read.take_in(desk, [card], executor=pool)
        assert desk.store.unanswered(study.VERSIONS) == {}
        assert len(study.qualities(desk.store)) == 8


def _refuse(*_: object) -> None:
    raise CannotWrite("the record cannot be written")


@dataclass(frozen=True)
class Undisturbed:
    """A whole way that nothing disturbed, and what came of it."""

    way: way.Way
    state: dict[str, str]


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> Undisturbed:
    home = tmp_path_factory.mktemp("undisturbed")
    usual = way.Way(way.drawn_card(home / "card", 4))
    usual.go(home / "work")
    state = way.state_of(home / "work")
    assert state["faults"] == "[]"
    return Undisturbed(usual, state)


def by_command(*words: object) -> tuple[int, str]:
    """Give what a command ends with and all it says; never a traceback."""
    done = CliRunner().invoke(app, [str(word) for word in words])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    assert "Traceback" not in done.output
    assert "does not know" not in done.output
    return done.exit_code, done.output


def memory(tmp_path: Path) -> Path:
    """A memory disk if there is one: a kill ends a program there as anywhere, and syncs cost nothing."""
    return Path("/dev/shm") if os.access("/dev/shm", os.W_OK) else tmp_path


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the killing needs fork")
def test_killed_at_any_instant_moved_or_not_the_way_ends_as_if_undisturbed(tmp_path: Path) -> None:
    """24 of the instants; tests/bench/kill_whole_way.py tries hundreds, and each in turn."""
    words = ["--instants", "24", "--pictures", "4", "--formats", "html,csv"]
    disks = ["--folder", str(memory(tmp_path)), "--elsewhere", str(tmp_path)]
    command = [sys.executable, "-m", "tests.bench.kill_whole_way", *words, *disks]

    done = subprocess.run(
        command, cwd=saboteurs.HOME, capture_output=True, text=True, check=False, timeout=900
    )

    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.endswith("0 things came out otherwise\n")
    assert int(done.stdout.split(" killed by ")[0]) >= 20


@pytest.mark.parametrize("room", [0, 8, 30, 60, 90, 110, 130, 150, 170, 190])
def test_on_a_disk_with_so_little_room_the_way_stops_and_goes_on_when_there_is_more(
    room: int, undisturbed: Undisturbed, tmp_path: Path
) -> None:
    """A real disk (tmpfs) with so many KB; the second copy on another, as it should be."""
    with saboteurs.SmallDisk(tmp_path / "disk", 4_000_000) as disk:
        home = disk.folder
        (tmp_path / "other").mkdir()
        (home / "second").symlink_to(tmp_path / "other")
        disk.fill(room * 1000)

        with pytest.raises(DiskFull, match="full") as told:
            undisturbed.way.go(home)

        assert told.value.exit_code == ExitCode.CANNOT_WRITE
        assert way.half_state(home / "job") == []
        disk.free()
        undisturbed.way.go(home)
        (home / "second").unlink()
        shutil.copytree(tmp_path / "other", home / "second")
        assert way.state_of(home) == undisturbed.state
