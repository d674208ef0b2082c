"""Kills, full disks, pulled cards, read-only folders, on the whole way from the card to the edition.

What each step does under its own faults is in its own tests. Here the way is gone from one end to
the other, and what comes out must equal an undisturbed run's, byte for byte.
"""

from __future__ import annotations

import os
import random
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
    CardGone,
    DigestMismatch,
    DiskFull,
    ExitCode,
    JobHeld,
)
from evidence.job import Job
from evidence.progress import Silent
from evidence.settings import details
from evidence.steps import issue, read, status
from evidence.steps.start import start
from evidence.store import Answer
from tests import saboteurs
from tests.bench import flip_bits as flips
from tests.bench import kill_whole_way as way
from tests.conftest import draw


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
    job: Path
    state: dict[str, str]


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> Undisturbed:
    home = tmp_path_factory.mktemp("undisturbed")
    usual = way.Way(way.drawn_card(home / "card", 4))
    usual.go(home / "work")
    state = way.state_of(home / "work")
    assert state["faults"] == "[]"
    return Undisturbed(usual, home / "work" / "job", state)


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


@pytest.mark.parametrize("room", [0, 16, 24, 60, 100, 140, 200, 300, 350, 380])
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


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[saboteurs.SmallDisk]:
    """A real disk of 4 MB."""
    with saboteurs.SmallDisk(tmp_path / "disk", 4_000_000) as small:
        yield small


def test_a_second_copy_s_full_disk_costs_the_second_copy_alone(
    disk: saboteurs.SmallDisk, undisturbed: Undisturbed, tmp_path: Path
) -> None:
    (tmp_path / "work").mkdir()
    (tmp_path / "work" / "second").symlink_to(disk.folder)
    disk.fill(70_000)

    undisturbed.way.go(tmp_path / "work")

    job = tmp_path / "work" / "job"
    assert verify.verify(job).sound
    code, said = by_command("intake", job, undisturbed.way.card, "--second-copy", disk.folder)
    assert (code, "The disk is full" in said, "may be erased" in said) == (0, True, False)
    disk.free()
    code, said = by_command("intake", job, undisturbed.way.card, "--second-copy", disk.folder)
    assert (code, "the card may be erased" in said) == (0, True)


@pytest.mark.parametrize("command", ["intake", "findings", "issue", "light"])
def test_on_a_full_disk_each_command_says_one_sentence_and_looking_still_works(
    command: str, disk: saboteurs.SmallDisk, taken_in: Path, card: Path, tmp_path: Path
) -> None:
    job = Path(shutil.copytree(taken_in, disk.folder / "job"))
    with Desk.open(job) as desk:
        desk.decide_all(way.DECISIONS)
    new = tmp_path / "card"
    shutil.copytree(card, new)
    draw(new / "DCIM" / "100OSTRE" / "OSTR0099.JPG", 99, way.now())
    if command == "light":
        (job / "job.sqlite").unlink()
    words = {
        "intake": ["intake", job, new],
        "findings": ["findings", job, "--add", "A drain leaks. " * 400],
        "issue": ["issue", job, "--unlooked", "a test"],
        "light": ["light", job],
    }[command]
    before = (job / "record.jsonl").read_bytes()
    disk.fill()

    code, said = by_command(*words)

    assert code == ExitCode.CANNOT_WRITE
    assert "The disk is full" in said
    assert "Make room on the disk and run the same command again" in said
    assert len(said.splitlines()) <= 3
    assert (job / "record.jsonl").read_bytes() == before
    assert by_command("verify", job)[0] == 0
    assert by_command("status", job)[0] == 0
    disk.free()
    assert by_command(*words)[0] == 0
    assert by_command("verify", job)[0] == 0


def test_a_read_only_disk_is_looked_at_and_checked_and_told_when_written(
    disk: saboteurs.SmallDisk, taken_in: Path, card: Path
) -> None:
    """A real read-only mount, which stops root too."""
    job = Path(shutil.copytree(taken_in, disk.folder / "job"))
    with Desk.open(job) as desk:
        desk.decide_all(way.DECISIONS)
        issued(desk)
    disk.read_only(on=True)
    try:
        for looking in (["status"], ["status", "--pictures"], ["rooms"], ["findings"], ["verify"]):
            code, said = by_command(looking[0], job, *looking[1:])
            assert (code, "read-only" in said) == (0, False), said
        for writing in (
            ["intake", job, card],
            ["findings", job, "--add", "x"],
            ["issue", job, "--unlooked", "a test"],
            ["undo", job],
        ):
            code, said = by_command(*writing)
            assert code == ExitCode.CANNOT_WRITE, writing
            assert "read-only file system" in said
            assert "Make the folder writable, or copy the job to a disk that is." in said
    finally:
        disk.read_only(on=False)
    assert by_command("issue", job, "--unlooked", "a test")[0] == 0


@pytest.mark.parametrize("reading", [1, 2, 4, 5, 7, 8])
def test_a_card_pulled_anywhere_and_put_back_costs_nothing(
    reading: int, undisturbed: Undisturbed, tmp_path: Path
) -> None:
    card = Path(shutil.copytree(undisturbed.way.card, tmp_path / "card"))
    interrupted = way.Way(card)
    saboteur = saboteurs.PulledCard(card, reading)

    with saboteurs.at_work(saboteur), pytest.raises(CardGone, match="went away"):
        interrupted.go(tmp_path / "work")

    assert way.half_state(tmp_path / "work" / "job") == []
    saboteur.put_back()
    interrupted.go(tmp_path / "work")
    assert way.state_of(tmp_path / "work") == undisturbed.state


def test_a_card_really_pulled_between_two_files_is_told_and_goes_on(
    disk: saboteurs.SmallDisk, undisturbed: Undisturbed, tmp_path: Path
) -> None:
    """A real disk, unmounted while the intake reads it; then mounted again with the same files."""

    class Hand(Silent):
        files = 0

        def begin(self, label: str, total: int) -> None:
            self.files = 0 if label == "copying" else -99

        def step(self, done: int = 1, note: str = "") -> None:
            self.files += 1
            if self.files == 2:
                disk.pull()

    shutil.copytree(undisturbed.way.card, disk.folder, dirs_exist_ok=True)
    start(tmp_path / "job", way.DETAILS).close()
    with Desk.open(tmp_path / "job") as desk, ThreadPoolExecutor(1) as pool:
        with pytest.raises(CardGone, match="went away") as told:
            read.take_in(desk, [disk.folder], executor=pool, progress=Hand())
        assert told.value.remedy.startswith("Put the card back")
        assert len(desk.job.taken()) == 2
        assert verify.verify(desk.job.folder).sound

        shutil.copytree(undisturbed.way.card, disk.folder, dirs_exist_ok=True)
        read.take_in(desk, [disk.folder], executor=pool)

        assert [one.frame for one in desk.job.taken()] == [1, 2, 3, 4]
        assert desk.store.unanswered(study.VERSIONS) == {}
        assert verify.verify(desk.job.folder).sound


def test_an_original_that_changed_since_is_not_printed(decided: Desk) -> None:
    victim = decided.job.original(decided.job.taken()[0].original.place)
    before = victim.read_bytes()
    saboteurs.flip_a_bit(victim, random.Random(1))

    with pytest.raises(DigestMismatch, match=r"Nothing was issued: .*OSTR0001\.JPG is not what was taken in"):
        issued(decided)

    assert list(decided.job.issued.glob("*")) == []
    victim.write_bytes(before)
    assert issued(decided).edition == 1


def test_a_computer_s_clock_set_back_is_told_everywhere_and_changes_nothing(
    card: Path, tmp_path: Path
) -> None:
    """The record's order is its numbers; only dates that are printed hang on the clock."""
    clock, folder = saboteurs.clock_set_back(), tmp_path / "job"
    Job.create(folder, details(way.DETAILS), now=clock).close()
    with Desk.open(folder, now=clock) as desk, ThreadPoolExecutor(1) as pool:
        result = read.take_in(desk, [card], executor=pool)
        desk.decide_all(way.DECISIONS)
        made = issue.issue(
            desk, issue.Wanted(("html",), unlooked_reason="a test"), progress=Silent(), now=clock
        )
        now, state = status.status(desk, clock().date()), desk.state()

    said = "This computer's clock says 2025-11-25 09:"
    (caution,) = result.cautions
    assert all(sentence.startswith(said) for sentence in (caution, made.said, *now.unfinished))
    assert now.unfinished
    assert [p.frame for p in state.pictures] == [1, 2, 3, 4, 5, 6, 7, 8]
    report = verify.verify(folder)
    assert report.sound
    assert sum("clock was set back before line 2" in remark for remark in report.remarks) == 1


def test_two_intakes_at_once_the_one_works_and_the_other_is_told(card: Path, tmp_path: Path) -> None:
    """Two real programs, started together; whichever comes second may also find the job free again."""
    folder = tmp_path / "job"
    start(folder, way.DETAILS).close()
    command = [sys.executable, "-m", "evidence", "intake", str(folder), str(card)]
    both = [
        subprocess.Popen(
            command, cwd=saboteurs.HOME, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        for _ in range(2)
    ]
    told = [program.communicate(timeout=300) for program in both]

    codes = sorted(program.returncode for program in both)
    assert codes in ([0, 0], [0, int(ExitCode.JOB_HELD)]), told
    for program, (_, said) in zip(both, told, strict=True):
        if program.returncode:
            assert "Another run is writing job." in said
            assert "Wait until it ends" in said
    with Job.open(folder) as job:
        assert [one.frame for one in job.taken()] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert verify.verify(folder).sound


def test_a_thousand_flipped_bits_in_a_job_of_the_real_steps_are_all_found_and_named(
    undisturbed: Undisturbed, tmp_path: Path
) -> None:
    told = flips.flip(undisturbed.job, tmp_path, 1000, seed=3)

    assert (told.trials, told.found) == (1000, 1000), told.missed
    assert told.named == 1000, told.unnamed
