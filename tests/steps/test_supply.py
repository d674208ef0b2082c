"""Originals handed over: a bag that any checker proves, with a statement; nothing else of the job."""

from __future__ import annotations

import os
import signal
import subprocess
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from shutil import which

import bagit
import pytest

from evidence import files, tables
from evidence.desk import Desk
from evidence.errors import AlreadyThere, DigestMismatch, UnknownFinding, WrongUsage
from evidence.files import digest_of
from evidence.progress import Silent
from evidence.steps import findings, issue, read, supply
from evidence.steps.attach import attach
from evidence.steps.start import start
from evidence.verify import verify
from tests import saboteurs
from tests.pictures.made_up import jpeg, scene
from tests.pictures.test_raws import raw

NOW = datetime(2026, 3, 6, 9, 0, tzinfo=UTC)


def with_findings(desk: Desk) -> None:
    for frames in ([2, 3], [5]):
        made = findings.add(desk, {"seen": f"Stain seen in picture {frames[0]}"})
        attach(desk, made.number, frames)


def test_what_is_handed_over_is_proved_by_others_and_is_all_there_is(desk: Desk, tmp_path: Path) -> None:
    """Checked by the reference implementation of RFC 8493, the Library of Congress's bagit."""
    with_findings(desk)

    made = supply.supply(desk, [1], tmp_path / "handed over", NOW, progress=Silent())

    bagit.Bag(str(made.folder)).validate()
    checked = verify(made.folder)
    assert (checked.sound, checked.remarks) == (True, [])
    copied = {
        p.relative_to(made.folder / "data").as_posix()
        for p in made.folder.rglob("*")
        if p.is_file() and p.is_relative_to(made.folder / "data")
    }
    frames = {p.taken.original.place for p in desk.state().pictures if p.frame in {2, 3}}
    assert copied == frames == set(made.originals)
    for place in copied:
        assert digest_of(made.folder / "data" / place) == digest_of(desk.job.original(place))


@pytest.mark.skipif(not which("sha256sum"), reason="sha256sum (coreutils) is not installed")
def test_the_statement_names_a_command_that_works(desk: Desk, tmp_path: Path) -> None:
    with_findings(desk)
    made = supply.supply(desk, [2, 1], tmp_path / "out", NOW, progress=Silent())

    text = (made.folder / supply.STATEMENT).read_text("utf-8")
    assert "sha256sum -c manifest-sha256.txt" in text
    subprocess.run(
        ["sha256sum", "-c", "manifest-sha256.txt"], cwd=made.folder, check=True, capture_output=True
    )
    for place, digest in made.originals.items():
        assert f"data/{place}" in text
        assert digest in text
    assert made.manifest in text
    assert next(line for line in desk.job.lines if line.what == "supply").value["manifest"] == made.manifest


def test_the_statement_is_vouched_for_too(desk: Desk, tmp_path: Path) -> None:
    """RFC 8493, 2.2.1: the tag manifest lists tag files; checked by bagit and by our own check."""
    with_findings(desk)
    made = supply.supply(desk, [1], tmp_path / "out", NOW, progress=Silent())
    told = made.folder / supply.STATEMENT

    told.write_text(told.read_text("utf-8").replace("Finding 1", "Finding 7"), "utf-8")

    with pytest.raises(bagit.BagValidationError, match=supply.STATEMENT):
        bagit.Bag(str(made.folder)).validate()
    assert [fault.where for fault in verify(made.folder).faults] == [supply.STATEMENT]


def test_the_raw_file_beside_a_picture_is_handed_over_and_the_sound_note_is_not(tmp_path: Path) -> None:
    """DCF (CIPA DC-009): files of one number are one object."""
    shots = tmp_path / "OSTREL" / "DCIM" / "100OSTRE"
    shots.mkdir(parents=True)
    for number in (1, 2):
        shown = jpeg(scene(320, 240 + number))
        (shots / f"OSTR000{number}.JPG").write_bytes(shown)
        (shots / f"OSTR000{number}.DNG").write_bytes(raw(previews=(shown,)))
    (shots / "OSTR0001.WAV").write_bytes(b"RIFF\x24\0\0\0WAVEfmt ")
    start(tmp_path / "job", {"inspector": "A. Wren", "address": "14 Alder Court"}).close()
    with Desk.open(tmp_path / "job") as desk, ThreadPoolExecutor(1) as pool:
        read.take_in(desk, [tmp_path / "OSTREL"], executor=pool)
        attach(desk, findings.add(desk, {"seen": "Stain"}).number, [1])

        made = supply.supply(desk, [1], tmp_path / "out", NOW, progress=Silent())

    bagit.Bag(str(made.folder)).validate()
    assert {place.rsplit("/", 1)[-1] for place in made.originals} == {"OSTR0001.JPG", "OSTR0001.DNG"}
    text = (made.folder / supply.STATEMENT).read_text("utf-8")
    assert "Its raw file: data/" in text
    for digest in made.originals.values():
        assert digest in text


def original_of(desk: Desk, frame: int) -> Path:
    place = next(p.taken.original.place for p in desk.state().pictures if p.frame == frame)
    return desk.job.original(place)


@pytest.mark.parametrize("gone", [True, False])
def test_without_a_sound_original_there_is_no_bag_and_the_next_try_makes_it(
    gone: bool, desk: Desk, tmp_path: Path
) -> None:
    with_findings(desk)
    original = original_of(desk, 2)
    original.chmod(0o644)
    before = original.read_bytes()
    original.unlink()
    if not gone:
        original.write_bytes(before[:-1] + b"!")

    with pytest.raises(DigestMismatch, match=original.name):
        supply.supply(desk, [1], tmp_path / "there" / "out", NOW, progress=Silent())

    assert list((tmp_path / "there").iterdir()) == []
    assert not any(line.what == "supply" for line in desk.job.lines)
    original.write_bytes(before)
    assert verify(supply.supply(desk, [1], tmp_path / "there" / "out", NOW, progress=Silent()).folder).sound


def test_a_damaged_original_of_another_finding_is_not_in_the_way(desk: Desk, tmp_path: Path) -> None:
    with_findings(desk)
    original_of(desk, 5).unlink()

    assert verify(supply.supply(desk, [1], tmp_path / "out", NOW, progress=Silent()).folder).sound


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the killing needs fork")
@pytest.mark.parametrize("n", [60, 110, 150, 190, 215])
def test_what_a_kill_leaves_is_no_sound_bag_and_the_next_try_makes_one(
    n: int, desk: Desk, tmp_path: Path
) -> None:
    """SIGKILL before the n-th doing on the disk of some two hundred."""
    with_findings(desk)
    job, target = desk.job.folder, tmp_path / "handed" / "out"
    desk.store.close()
    desk.job.close()

    def hand_over() -> None:
        with Desk.open(job) as opened:
            supply.supply(opened, [1], target, NOW, progress=Silent())

    def killed() -> None:
        files.os = saboteurs.KillsItself(n)  # type: ignore[assignment, attr-defined]
        hand_over()

    assert saboteurs.in_a_child(killed) == -signal.SIGKILL
    assert not target.exists()
    for left in (tmp_path / "handed").glob(".*"):
        assert not (left / "bagit.txt").exists() or not verify(left).sound

    hand_over()

    bagit.Bag(str(target)).validate()
    assert [path.name for path in (tmp_path / "handed").iterdir()] == ["out"]


def test_a_photo_number_is_told_only_when_an_edition_gave_it(desk: Desk, tmp_path: Path) -> None:
    with_findings(desk)
    issue.issue(desk, issue.Wanted(("csv",), unlooked_reason="a test"), progress=Silent())
    attach(desk, 1, [4])
    given = next(line for line in desk.job.lines if line.what == "issue").value["photos"]

    made = supply.supply(desk, [1], tmp_path / "out", NOW, progress=Silent())

    text = (made.folder / supply.STATEMENT).read_text("utf-8")
    assert f"Photo {given['2']} (picture 2 of the job): data/" in text
    assert "Picture 4 of the job, not issued: data/" in text


def test_a_finding_without_a_picture_is_said_to_be_handed_over_without(desk: Desk, tmp_path: Path) -> None:
    with_findings(desk)
    findings.add(desk, {"seen": "Never photographed"})

    made = supply.supply(desk, [1, 3], tmp_path / "out", NOW, progress=Silent())

    text = (made.folder / supply.STATEMENT).read_text("utf-8")
    assert "Finding 3: Never photographed\n  No picture of it is handed over." in text
    assert "of findings 1, 3, each read back equal" in tables.supplied(made)


@pytest.mark.parametrize("inside", ["originals/data", "issued", "copies"])
def test_nothing_is_handed_over_among_the_jobs_own_files(inside: str, desk: Desk) -> None:
    """There verify would rightly call it a fault of the job for good, or it would go with the copies."""
    with_findings(desk)

    with pytest.raises(WrongUsage, match="only the job's own"):
        supply.supply(desk, [1], desk.job.folder / inside / "handed over", NOW, progress=Silent())

    assert verify(desk.job.folder).sound
    assert not (desk.job.folder / inside / "handed over").exists()
    supply.supply(desk, [1], desk.job.folder / "handed over", NOW, progress=Silent())


def test_wrong_askings_make_nothing(desk: Desk, tmp_path: Path) -> None:
    with_findings(desk)
    findings.add(desk, {"seen": "Never photographed"})
    for numbers, error in (([9], UnknownFinding), ([3], WrongUsage)):
        with pytest.raises(error):
            supply.supply(desk, numbers, tmp_path / "out", NOW, progress=Silent())
    assert not (tmp_path / "out").exists()
    (tmp_path / "out").mkdir()
    with pytest.raises(AlreadyThere):
        supply.supply(desk, [1], tmp_path / "out", NOW, progress=Silent())
