"""The job folder: made once, written by one, readable by all, provable without us."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from evidence import job as jobs
from evidence.errors import AlreadyThere, CannotWrite, JobHeld, NewerJob, NotAJob, RecordBroken
from evidence.job import Job
from evidence.settings import Details
from evidence.steps.intake import intake
from tests import saboteurs

HOLDS_IT = """
import sys
from pathlib import Path
from evidence.job import Job
with Job.open(Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


def test_a_new_job_has_every_place_of_the_design(job: Job) -> None:
    have = {path.relative_to(job.folder).as_posix() for path in job.folder.rglob("*")}

    assert have == {
        ".lock",
        "HOW-TO-CHECK.txt",
        "job.toml",
        "originals",
        "originals/bag-info.txt",
        "originals/bagit.txt",
        "originals/data",
        "originals/manifest-sha256.txt",
        "originals/tagmanifest-sha256.txt",
        "record.jsonl",
    }


def test_what_was_typed_is_there_when_it_is_opened_again(job: Job) -> None:
    job.close()

    with Job.open(job.folder) as again:
        assert again.details == job.details
        assert [line.what for line in again.lines] == ["start"]
        assert again.unfinished == ()


def test_a_job_is_not_made_over_another(job: Job) -> None:
    job.close()

    with pytest.raises(AlreadyThere, match="14 Alder Court"):
        Job.create(job.folder, Details())


def test_files_of_a_person_in_the_folder_stay(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")

    Job.create(tmp_path, Details()).close()

    assert (tmp_path / "notes.txt").read_text() == "mine"


def test_a_making_that_failed_anywhere_goes_on_when_called_again(tmp_path: Path) -> None:
    """Each writing fails in turn (EIO)."""
    n, happened = 0, True
    while happened:
        n += 1
        saboteur = saboteurs.NthCallFails("fsync", n)
        try:
            with saboteurs.at_work(saboteur):
                Job.create(tmp_path / str(n), Details(address="x")).close()
        except CannotWrite:
            if not (tmp_path / str(n) / "job.toml").exists():  # else only its last sync failed
                with pytest.raises(NotAJob):
                    Job.open(tmp_path / str(n))
                Job.create(tmp_path / str(n), Details(address="x")).close()
        happened = saboteur.happened
        with Job.open(tmp_path / str(n)) as made:
            assert [line.what for line in made.lines] == ["start"]
            assert made.bag().identifier == made.identifier
    assert n > 10


def test_a_pulled_plug_takes_nothing_of_a_job_once_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger = saboteurs.Ledger(lambda doing, path: None)
    ledger.watch(monkeypatch)

    Job.create(tmp_path / "job", Details()).close()

    assert ledger.unsafe_below(tmp_path) == []


def test_two_openings_in_one_program_cannot_both_write(job: Job) -> None:
    with pytest.raises(JobHeld):
        Job.open(job.folder)

    with Job.open(job.folder, write=False) as reader:
        assert not reader.writable
        with pytest.raises(CannotWrite, match="reading only"):
            reader.record("room", 1, "hall")


def test_another_program_cannot_write_until_the_first_is_gone_even_if_killed(job: Job) -> None:
    job.close()
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDS_IT, str(job.folder)],
        cwd=saboteurs.HOME,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with holder:
        assert holder.stdout
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(JobHeld, match="Another run"):
            Job.open(job.folder)
        assert len(Job.open(job.folder, write=False).lines) == 1
        os.kill(holder.pid, signal.SIGKILL)
        holder.wait()

    Job.open(job.folder).close()


def test_a_closed_job_can_be_opened_again(job: Job) -> None:
    job.close()
    job.close()

    Job.open(job.folder).close()


@pytest.mark.parametrize("spoil", ["no folder", "no job.toml", "a file"])
def test_a_folder_that_is_no_job_is_told(spoil: str, tmp_path: Path) -> None:
    path = tmp_path / "x"
    if spoil == "no job.toml":
        path.mkdir()
    elif spoil == "a file":
        path.write_text("x")

    with pytest.raises(NotAJob, match="is not a job"):
        Job.open(path)


def test_a_job_of_a_newer_form_is_left_as_it_is(job: Job) -> None:
    job.close()
    text = (job.folder / "job.toml").read_text()
    (job.folder / "job.toml").write_text(text.replace("format = 1", "format = 2"))

    with pytest.raises(NewerJob, match="form 2"):
        Job.open(job.folder)


@pytest.mark.parametrize("how", ["gone", "empty"])
def test_a_job_without_its_record_is_not_opened(how: str, job: Job) -> None:
    job.close()
    (job.folder / "record.jsonl").unlink()
    if how == "empty":
        (job.folder / "record.jsonl").touch()

    with pytest.raises(RecordBroken, match="missing or empty"):
        Job.open(job.folder)


def test_a_read_only_job_can_be_read_and_is_told_when_written(
    job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    job.close()
    monkeypatch.setattr(jobs, "os", saboteurs.ReadOnlyDisk(job.folder))

    with pytest.raises(CannotWrite, match="read-only"):
        Job.open(job.folder)
    assert Job.open(job.folder, write=False).details.address == "14 Alder Court"


def test_a_disk_that_cannot_lock_is_told_from_a_job_that_is_held(
    job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    """ENOLCK is what Linux says when a network share has no locks (fcntl(2))."""
    job.close()

    def no_locks(_: int) -> None:
        raise OSError(37, "No locks available")

    monkeypatch.setattr(jobs, "_take", no_locks)

    with pytest.raises(CannotWrite, match="cannot lock"):
        Job.open(job.folder)


def test_a_moved_job_is_the_same_job(job: Job, camera_card: Path, tmp_path: Path) -> None:
    intake(job, [camera_card])
    identifier, places = job.identifier, [one.original.place for one in job.taken()]
    job.close()
    moved = shutil.move(job.folder, tmp_path / "another name")

    with Job.open(Path(moved)) as again:
        assert again.identifier == identifier
        assert [one.original.place for one in again.taken()] == places
        assert all(again.original(place).is_file() for place in places)
        assert intake(again, [camera_card]).taken == ()


def test_decisions_bear_the_inspector_s_name(job: Job) -> None:
    assert job.record("room", 1, "hall").by == "A. Wren"

    job.set_details(Details(address="14 Alder Court", inspector="B. Finch"))

    assert job.record("room", 1, "bath").by == "B. Finch"
    assert job.undo(3).by == "B. Finch"


def test_the_next_frame_number_follows_the_highest_ever_given(job: Job, camera_card: Path) -> None:
    assert job.next_frame() == 1
    intake(job, [camera_card])
    assert job.next_frame() == 7

    job.record("lifted", "film", {"frame": 7})

    assert job.next_frame() == 8


@pytest.mark.parametrize(("system", "tool"), [("Linux", "sha256sum"), ("macOS", "shasum")])
def test_the_commands_in_how_to_check_prove_the_job_without_the_program(
    system: str, tool: str, job: Job, camera_card: Path
) -> None:
    """The very lines of the text, by GNU coreutils and by Perl's shasum, in a shell that finds no
    Python. The lines for Windows were written from memory and not tried."""
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed here")
    intake(job, [camera_card])
    text = (job.folder / "HOW-TO-CHECK.txt").read_text()
    block = re.search(rf"^{system}:\n((?:    .*\n)+)", text, re.MULTILINE)
    assert block
    commands = "set -e\n" + block[1]

    def run() -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            ["/bin/sh", "-c", commands],
            cwd=job.folder,
            env={"PATH": "/usr/bin:/bin", "LC_ALL": "C"},
            capture_output=True,
            text=True,
            check=False,
        )

    done = run()
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert len(lines) == 9 + 3
    assert all(line.endswith(": OK") for line in lines)

    victim = job.original("EOSTREL/DCIM/100ABCDE/ABCD0004.JPG")
    victim.chmod(0o644)
    victim.write_bytes(b"another picture")
    assert run().returncode != 0


def test_no_file_of_a_job_tells_where_it_lay(job: Job, camera_card: Path, tmp_path: Path) -> None:
    """Paths are relative, so that a job can be handed on."""
    intake(job, [camera_card])

    for path in job.folder.rglob("*"):
        if path.is_file():
            assert str(tmp_path).encode() not in path.read_bytes(), path.name
