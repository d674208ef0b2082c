"""How a job stands on one screen: nothing that is kept, damaged or left on the card goes unsaid."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from evidence import tables
from evidence.desk import Desk
from evidence.pictures import kind_of
from evidence.steps import light, read
from evidence.steps.start import start
from evidence.steps.status import Status, beside, status
from evidence.words import FileKind
from tests import saboteurs
from tests.pictures.made_up import exif, jpeg, scene

SHOTS = "DCIM/100OSTRE"
DAY = date(2026, 3, 5)


@pytest.fixture
def odd(card: Path, tmp_path: Path) -> Iterator[Desk]:
    """Eight pictures; beside them sound notes, a sidecar, foreign files, a damaged picture, a bad sector."""
    made = Path(shutil.copytree(card, tmp_path / "OSTREL"))
    for name, data in {
        "SND_0003.WAV": b"RIFF\x24\0\0\0WAVEfmt spoken",
        "SND_0300.WAV": b"RIFF\x24\0\0\0WAVEfmt of no picture",
        "OSTR0003.XMP": b"<x/>",
        "OSTR0009.JPG": b"Dear Sir",
    }.items():
        (made / SHOTS / name).write_bytes(data)
    (made / "MISC").mkdir()
    for n in range(6):
        (made / "MISC" / f"note{n}.txt").write_bytes(b"foreign" + bytes([n]))
    start(tmp_path / "job", {"inspector": "A. Wren"}).close()
    with Desk.open(tmp_path / "job") as desk, ThreadPoolExecutor(2) as pool:
        with saboteurs.at_work(saboteurs.BadSector("OSTR0008.JPG", 500)):
            read.take_in(desk, [made], executor=pool)
        yield desk


def shown(desk: Desk) -> tuple[Status, str]:
    now = status(desk, DAY)
    return now, tables.status(now)


def test_a_sound_note_is_of_the_picture_of_its_number(odd: Desk) -> None:
    """CIPA DC-009: files of one number are one object, whatever their letters."""
    now, screen = shown(odd)

    frame = next(p.frame for p in odd.state().pictures if p.taken.original.name == "OSTR0003.JPG")
    notes = [one for one in now.beside if one.kind is FileKind.SOUND]
    assert [(one.place.rsplit("/", 1)[-1], one.frame) for one in notes] == [
        ("SND_0003.WAV", frame),
        ("SND_0300.WAV", None),
    ]
    assert f"SND_0003.WAV (picture {frame}), SND_0300.WAV (no picture has its number)" in screen
    assert "sound note SND_0003.WAV" in tables.pictures(odd.state(), now.beside)


def test_sidecars_and_foreign_files_are_listed(odd: Desk) -> None:
    now, screen = shown(odd)

    kinds = {one.place.rsplit("/", 1)[-1]: one.kind for one in now.beside}
    assert kinds["OSTR0003.XMP"] is FileKind.SIDECAR
    assert [kinds[f"note{n}.txt"] for n in range(6)] == [FileKind.OTHER] * 6
    assert "OSTR0003.XMP, note0.txt, note1.txt, note2.txt and 3 more: evidence status JOB --files" in screen
    listed = tables.files(now)
    assert all(name in listed for name in kinds)


def test_a_transcript_is_called_one_in_jobs_of_earlier_versions_too(odd: Desk) -> None:
    note = next(one for one in odd.job.taken() if one.original.name == "note0.txt")

    def named(name: str, kind: FileKind) -> FileKind:
        original = replace(note.original, place=f"narration/{name}")
        (one,) = beside([replace(note, original=original, kind=kind)])
        return one.kind

    assert kind_of("walk.vtt", b"WEBVTT") is FileKind.TRANSCRIPT
    assert named("walk.vtt", FileKind.TRANSCRIPT) is FileKind.TRANSCRIPT
    assert named("walk.SRT", FileKind.SIDECAR) is FileKind.TRANSCRIPT
    assert named("walk.xmp", FileKind.SIDECAR) is FileKind.SIDECAR
    assert named("walk.vtt", FileKind.FILM) is FileKind.FILM


def test_a_file_that_could_not_be_read_off_the_card_is_told_with_its_reason(odd: Desk) -> None:
    now, screen = shown(odd)

    ((name, reason),) = now.set_aside
    assert name == f"OSTREL/{SHOTS}/OSTR0008.JPG"
    assert "past byte 500" in reason
    assert f"Set aside, only on the card: {name}: {reason}" in screen


def test_a_damaged_picture_is_told_with_its_reason(odd: Desk) -> None:
    _, screen = shown(odd)

    (line,) = [line for line in screen.splitlines() if line.startswith("Cannot be shown")]
    assert f"{SHOTS}/OSTR0009.JPG: " in line
    assert len(line) > len(f"Cannot be shown: OSTREL/{SHOTS}/OSTR0009.JPG: ")


def test_a_job_of_nothing_but_pictures_says_so(desk: Desk) -> None:
    now, screen = shown(desk)

    assert now.beside == ()
    assert "Sound notes" not in screen
    assert tables.files(now) == "Every original is a picture."


def test_odd_metadata_is_told_and_told_in_full_for_the_picture(card: Path, tmp_path: Path) -> None:
    """CIPA DC-008 (Exif 3.0), 4.6.6: an unknown date is written as blanks."""
    made = Path(shutil.copytree(card, tmp_path / "OSTREL"))
    blank = jpeg(scene(320, 240), exif=exif({}, {0x9003: "    :  :     :  :  "}))
    (made / SHOTS / "OSTR0077.JPG").write_bytes(blank)
    start(tmp_path / "job", {"inspector": "A. Wren"}).close()

    with Desk.open(tmp_path / "job") as desk, ThreadPoolExecutor(2) as pool:
        read.take_in(desk, [made], executor=pool)
        now, screen = shown(desk)
        state = desk.state()

    picture = next(p for p in state.pictures if p.taken.original.name == "OSTR0077.JPG")
    assert now.odd == (picture.frame,)
    assert f"Odd metadata in picture {picture.frame};" in screen
    told = tables.described([picture], state)
    assert "OSTR0077.JPG, no camera time" in told
    assert "DateTimeOriginal is blank" in told


def test_what_the_inspector_lifts_counts_as_brightened_and_what_stays_as_taken_does_not(desk: Desk) -> None:
    """The plan: what is shown is the decision where there is one, else the proposal."""
    assert status(desk, DAY).brightened == 0

    light.set_light(desk, [1, 2], 1.5)
    light.set_light(desk, [3], 0.0)
    light.set_light(desk, [4], light.AS_TAKEN)

    assert status(desk, DAY).brightened == 2
