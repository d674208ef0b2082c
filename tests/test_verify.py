"""Checking: any change is found and named, all faults before anything is said, with Python alone."""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from evidence.bag import MANIFEST, seal_folder
from evidence.errors import DiskFull, NothingToCheck, WrongUsage
from evidence.files import digest_of
from evidence.job import Job
from evidence.record import Json
from evidence.settings import Details
from evidence.steps.intake import intake
from evidence.verify import FaultKind, Report, verify
from tests import saboteurs
from tests.conftest import make_card

SHOT = "originals/data/EOSTREL/DCIM/100ABCDE/ABCD0002.JPG"


def issue(job: Job, number: int) -> Path:
    """Lay down an edition the way the issue step does: contents, files, list, line in the record."""
    folder = job.issued / f"edition-{number}"
    folder.mkdir(parents=True)
    contents = {
        "record_digest": job.last_hash,
        "manifest_digest": digest_of(job.originals / MANIFEST),
        "photos": [{"number": 1, "frame": 2, "digest": job.taken()[1].original.digest}],
    }
    (folder / "contents.json").write_text(json.dumps(contents))
    (folder / "appendix.pdf").write_bytes(b"%PDF-1.7 edition " + bytes([number]) * 500)
    job.record("issue", str(number), {"manifest": seal_folder(folder), "files": ["appendix.pdf"]})
    return folder


@pytest.fixture(scope="module")
def issued(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with two intakes and two editions; to be copied, never changed."""
    home = tmp_path_factory.mktemp("verify")
    card = make_card(home / "EOSTREL")
    with Job.create(home / "14 Alder Court", Details(address="14 Alder Court", inspector="A. Wren")) as job:
        intake(job, [card])
        job.record("room", 2, "attic", "closet")
        issue(job, 1)
        (card / "late.jpg").write_bytes(b"\xff\xd8\xfflate")
        intake(job, [card])
        issue(job, 2)
    return job.folder


@pytest.fixture
def folder(issued: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(issued, tmp_path / "job"))


def kinds(report: Report) -> set[FaultKind]:
    return {fault.kind for fault in report.faults}


def test_a_sound_job_is_said_to_be_so_and_what_that_does_not_show(issued: Path) -> None:
    report = verify(issued)

    assert report.sound
    assert (report.originals, report.editions) == (10, 2)
    assert report.sentences[0].startswith("Everything checked is as it was recorded: 10 originals, ")
    assert "not when or where a picture was taken" in report.sentences[-1]
    assert json.loads(json.dumps(report.as_json()))["sound"] is True


def test_any_flipped_bit_in_originals_record_or_editions_is_found_and_its_file_named(issued: Path) -> None:
    """300 flips drawn at random: a file first, then a bit of it, so that small files have their turn."""
    chance = random.Random(20261125)
    victims = [
        path
        for path in sorted(issued.rglob("*"))
        if path.is_file() and path.name not in {"job.toml", "HOW-TO-CHECK.txt", ".lock"}
    ]
    assert len(victims) == 10 + 4 + 1 + 2 * 3

    for _ in range(300):
        victim = chance.choice(victims)
        before = victim.read_bytes()
        at, bit = saboteurs.flip_a_bit(victim, chance)
        report = verify(issued)
        victim.write_bytes(before)

        where = victim.relative_to(issued).as_posix()
        assert report.faults, (where, at, bit)
        if not victim.name.endswith("manifest-sha256.txt"):  # a list's fault may show at what it lists
            assert where in {fault.where for fault in report.faults}, (where, at, bit)
    assert verify(issued).sound


def test_all_faults_are_collected_before_anything_is_said(folder: Path) -> None:
    (folder / SHOT).chmod(0o644)
    (folder / SHOT).write_bytes(b"changed")
    (folder / SHOT).with_name("ABCD0003.JPG").unlink()
    (folder / SHOT).with_name("ABCD0099.JPG").write_bytes(b"slipped in")
    (folder / "issued" / "edition-1" / "appendix.pdf").write_bytes(b"%PDF of another day")
    text = (folder / "record.jsonl").read_text()
    (folder / "record.jsonl").write_text(text.replace('"attic"', '"bath!"'))

    report = verify(folder)

    assert kinds(report) >= {FaultKind.CHANGED, FaultKind.MISSING, FaultKind.EXTRA, FaultKind.RECORD}
    said = " ".join(report.sentences)
    for name in ("ABCD0002.JPG has changed", "ABCD0003.JPG is missing", "ABCD0099.JPG is not in the list"):
        assert name in said
    assert "edition-1/appendix.pdf has changed" in said
    assert report.sentences[0].startswith("5 faults were found")


def test_a_file_and_its_list_changed_together_are_found_by_the_record(folder: Path) -> None:
    """Someone who knows BagIt can make the bag agree with itself; the record still disagrees."""
    (folder / SHOT).chmod(0o644)
    (folder / SHOT).write_bytes(b"another picture")
    originals = folder / "originals"
    listed = (originals / MANIFEST).read_text().splitlines(keepends=True)
    (originals / MANIFEST).write_text(
        "".join(
            f"{digest_of(folder / SHOT)}{line[64:]}" if line.endswith("ABCD0002.JPG\n") else line
            for line in listed
        )
    )
    tags = [f"{digest_of(originals / name)}  {name}\n" for name in ("bagit.txt", "bag-info.txt", MANIFEST)]
    (originals / "tagmanifest-sha256.txt").write_text("".join(tags))

    report = verify(folder)

    assert kinds(report) == {FaultKind.LIST, FaultKind.EDITION}
    assert any("one digest in the record and another in the list" in f.sentence for f in report.faults)


def test_an_original_that_vanished_with_its_line_is_found_by_the_record(folder: Path) -> None:
    originals = folder / "originals"
    (folder / SHOT).unlink()
    listed = (originals / MANIFEST).read_text().splitlines(keepends=True)
    (originals / MANIFEST).write_text("".join(line for line in listed if "ABCD0002.JPG" not in line))

    report = verify(folder)

    assert any("in the record and not in the list" in fault.sentence for fault in report.faults)


def test_an_edition_issued_and_gone_is_missed(folder: Path) -> None:
    shutil.rmtree(folder / "issued" / "edition-1")

    report = verify(folder)

    assert [fault.sentence for fault in report.faults] == [
        "issued/edition-1 is missing; the record says that it was issued."
    ]


def test_an_edition_replaced_whole_is_found_by_the_record(folder: Path) -> None:
    edition = folder / "issued" / "edition-1"
    (edition / "appendix.pdf").write_bytes(b"%PDF forged")
    seal_folder(edition)

    assert any("not the list that was issued" in fault.sentence for fault in verify(folder).faults)


def test_an_edition_nobody_issued_is_told(folder: Path) -> None:
    shutil.copytree(folder / "issued" / "edition-1", folder / "issued" / "edition-3")

    assert any("knows no issue of edition-3" in fault.sentence for fault in verify(folder).faults)


def test_an_edition_with_a_picture_that_is_no_original_is_told(folder: Path) -> None:
    edition = folder / "issued" / "edition-1"
    contents = json.loads((edition / "contents.json").read_text())
    contents["photos"][0]["digest"] = "ab" * 32
    (edition / "contents.json").write_text(json.dumps(contents))

    assert any("prints a picture (abababababab…)" in fault.sentence for fault in verify(folder).faults)


def test_a_draft_is_no_edition(folder: Path) -> None:
    (folder / "issued" / "draft").mkdir()
    (folder / "issued" / "draft" / "appendix.pdf").write_bytes(b"%PDF")

    assert verify(folder).sound


def test_an_edition_is_checked_alone_and_with_its_job(folder: Path, tmp_path: Path) -> None:
    alone = shutil.copytree(folder / "issued" / "edition-1", tmp_path / "sent")

    inside, outside = verify(folder / "issued" / "edition-1"), verify(alone)

    assert inside.sound
    assert outside.sound
    assert any("originals are not beside it" in remark for remark in outside.remarks)


def test_a_bag_alone_is_checked(folder: Path) -> None:
    assert verify(folder / "originals").sound
    (folder / SHOT).unlink()
    assert kinds(verify(folder / "originals")) == {FaultKind.MISSING}


@pytest.fixture
def zipped(folder: Path) -> Path:
    return Path(shutil.make_archive(str(folder), "zip", folder.parent, folder.name))


def test_a_zipped_job_is_checked(zipped: Path) -> None:
    report = verify(zipped)

    assert report.sound
    assert (report.subject, report.originals) == ("zipped job", 10)


def test_flipped_bits_in_a_zip_file_s_contents_are_found(folder: Path, tmp_path: Path) -> None:
    """Drawn from the bytes of the originals, stored without packing: a flip in packed bytes may give
    the same file again."""
    chance = random.Random(7)
    plain = tmp_path / "plain.zip"
    with zipfile.ZipFile(plain, "w", zipfile.ZIP_STORED) as archive:
        for path in folder.rglob("*"):
            archive.write(path, path.relative_to(tmp_path))
    data = plain.read_bytes()
    with zipfile.ZipFile(plain) as archive:
        spans = [
            (info.header_offset + 30 + len(info.filename), info.compress_size)
            for info in archive.infolist()
            if "originals/data/" in info.filename and info.file_size
        ]
    bad = tmp_path / "bad.zip"
    for _ in range(20):
        start, length = chance.choice(spans)
        flipped = bytearray(data)
        flipped[start + chance.randrange(length)] ^= 1 << chance.randrange(8)
        bad.write_bytes(flipped)

        assert not verify(bad).sound


def test_a_zip_file_cannot_write_outside(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "evil.zip", "w") as archive:
        archive.writestr("../../escaped.txt", "x")
        archive.writestr("job/bagit.txt", "x")

    verify(tmp_path / "evil.zip")

    assert not list(tmp_path.rglob("escaped.txt"))
    assert not (tmp_path.parent / "escaped.txt").exists()


def test_a_disk_too_full_to_unpack_is_not_taken_for_damage(
    zipped: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(zipfile.ZipFile, "extract", full)

    with pytest.raises(DiskFull):
        verify(zipped)


def test_an_empty_zip_file_is_told(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "a.zip", "w"):
        pass

    with pytest.raises(NothingToCheck):
        verify(tmp_path / "a.zip")


def test_a_zip_file_that_was_cut_off_is_damaged(zipped: Path) -> None:
    zipped.write_bytes(zipped.read_bytes()[:4000])

    report = verify(zipped)

    assert kinds(report) == {FaultKind.UNREADABLE}
    assert "job.zip is damaged" in report.sentences[1]


def test_a_delivered_file_is_found_in_its_job_or_not(folder: Path, tmp_path: Path) -> None:
    sent = tmp_path / "Appendix for client.pdf"
    shutil.copy(folder / "issued" / "edition-1" / "appendix.pdf", sent)
    report = verify(sent, job=folder)
    assert report.sound
    assert "is appendix.pdf of edition-1, byte for byte" in " ".join(report.sentences)

    sent.write_bytes(sent.read_bytes() + b"\n")
    report = verify(sent, job=folder)

    assert [fault.kind for fault in report.faults] == [FaultKind.EDITION]


def test_a_delivered_file_in_its_place_finds_its_job(folder: Path) -> None:
    assert verify(folder / "issued" / "edition-2" / "appendix.pdf").sound


def test_a_delivered_file_that_is_a_zip_file_inside_is_a_delivered_file(folder: Path) -> None:
    """A DOCX is (ISO/IEC 29500-2, Open Packaging Conventions)."""
    edition = folder / "issued" / "edition-1"
    document = edition / "appendix.docx"
    with zipfile.ZipFile(document, "w") as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
    assert kinds(verify(document)) == {FaultKind.EDITION}

    with Job.open(folder) as job:
        job.record("issue", "1", {"manifest": seal_folder(edition), "files": ["appendix.docx"]})

    assert verify(document).sound


def test_a_delivered_file_is_not_vouched_for_by_a_list_that_another_hand_wrote(folder: Path) -> None:
    document = folder / "issued" / "edition-1" / "appendix.pdf"
    document.write_bytes(b"%PDF-1.7 another")
    seal_folder(document.parent)

    report = verify(document)

    assert kinds(report) == {FaultKind.CHANGED}
    assert "issued/edition-1/manifest-sha256.txt is not the list that was issued." in report.sentences


def test_a_delivered_file_is_looked_for_where_an_editions_list_is_gone(folder: Path) -> None:
    (folder / "issued" / "edition-1" / MANIFEST).unlink()

    report = verify(folder / "issued" / "edition-2" / "appendix.pdf")

    assert [fault.where for fault in report.faults] == [f"issued/edition-1/{MANIFEST}"]
    assert "appendix.pdf is appendix.pdf of edition-2, byte for byte." in report.sentences


def test_a_single_original_is_found_among_those_of_its_job(folder: Path, tmp_path: Path) -> None:
    """As it is handed over for a finding, years later."""
    handed = tmp_path / "picture.jpg"
    shutil.copy(folder / SHOT, handed)

    report = verify(handed, job=folder)

    assert report.sound
    place = SHOT.removeprefix("originals/data/")
    assert f"picture.jpg is original {place}, byte for byte." in report.sentences

    handed.chmod(0o644)
    handed.write_bytes(handed.read_bytes() + b"\n")

    assert kinds(verify(handed, job=folder)) == {FaultKind.EDITION}


@pytest.mark.parametrize("name", ["appendix.pdf", "job.zip"])
def test_a_single_file_that_cannot_be_read_is_a_fault_and_no_end(
    name: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / name).write_bytes(b"x")

    def closed(path: object, *_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("zipfile.ZipFile", closed)
    monkeypatch.setattr("evidence.files.digest_of", closed)

    report = verify(folder / name)

    assert [fault.kind for fault in report.faults] == [FaultKind.UNREADABLE]
    assert "Permission denied" in report.faults[0].sentence


def test_a_draft_is_checked_and_is_no_edition_that_the_record_lacks(folder: Path) -> None:
    draft = folder / "issued" / "draft"
    shutil.copytree(folder / "issued" / "edition-1", draft)

    report = verify(draft)

    assert report.sound
    assert report.editions == 0
    assert "This is a draft and no edition: the record does not vouch for it." in report.sentences

    (draft / "appendix.pdf").write_bytes(b"%PDF another")

    assert kinds(verify(draft)) == {FaultKind.CHANGED}


def test_a_folder_that_holds_a_copy_is_told_which_to_name(folder: Path) -> None:
    """Such as the folder given as --second-copy."""
    with pytest.raises(NothingToCheck, match="It holds job: name that"):
        verify(folder.parent)


def test_what_cannot_be_checked_is_told(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "x.pdf").write_bytes(b"%PDF")
    (tmp_path / "none").mkdir()

    with pytest.raises(WrongUsage, match="There is no"):
        verify(tmp_path / "gone")
    with pytest.raises(WrongUsage, match="name the job"):
        verify(tmp_path / "x.pdf")
    with pytest.raises(NothingToCheck, match="neither a job"):
        verify(tmp_path / "none")
    with pytest.raises(NothingToCheck):
        verify(tmp_path / "x.pdf", job=tmp_path / "none")


def test_a_list_that_is_no_text_any_more_is_told(folder: Path) -> None:
    """Found by flipping bits: a name that is no UTF-8 once stopped the check itself."""
    manifest = folder / "originals" / MANIFEST
    manifest.write_bytes(manifest.read_bytes().replace(b"ABCD0002", b"\xc1BCD\x00002"))

    report = verify(folder)

    assert FaultKind.MISSING in kinds(report)
    assert "\\xc1BCD" in " ".join(report.sentences)
    "\n".join(report.sentences).encode()


@pytest.mark.parametrize("photos", [None, {}, ["x"], [{"digest": 1}], [{"digest": "\ud800"}]])
def test_contents_of_another_form_are_told(photos: object, folder: Path) -> None:
    edition = folder / "issued" / "edition-1"
    contents = json.loads((edition / "contents.json").read_text())
    (edition / "contents.json").write_text(json.dumps({**contents, "photos": photos}))

    said = verify(folder).sentences

    assert "contents.json prints a picture" in " ".join(said)
    "\n".join(said).encode()


def test_lists_with_names_that_lead_outside_are_not_followed(folder: Path) -> None:
    with (folder / "originals" / MANIFEST).open("a") as file:
        file.write(f"{'0' * 64}  ../../../../etc/passwd\n")

    report = verify(folder)

    assert FaultKind.LIST in kinds(report)
    assert not any("passwd" in fault.where for fault in report.faults)


def test_a_link_in_place_of_an_original_is_not_followed(folder: Path, tmp_path: Path) -> None:
    shutil.move(folder / SHOT, tmp_path / "away.jpg")
    (folder / SHOT).symlink_to(tmp_path / "away.jpg")

    assert FaultKind.MISSING in kinds(verify(folder))


def test_a_folder_of_originals_that_is_only_a_link_is_told_once_for_itself(
    folder: Path, tmp_path: Path
) -> None:
    shots = (folder / SHOT).parent
    shutil.move(shots, tmp_path / "away")
    shots.symlink_to(tmp_path / "away")

    said = verify(folder).sentences

    assert f"{SHOT} is missing: {SHOT.rpartition('/')[0]} is only a link." in said
    assert f"{SHOT.rpartition('/')[0]} is not in the list of originals" in " ".join(said)


def test_a_link_that_slipped_into_the_originals_is_told(folder: Path) -> None:
    (folder / "originals" / "data" / "elsewhere").symlink_to(folder.parent)

    faults = verify(folder).faults

    assert [(fault.kind, fault.where) for fault in faults] == [(FaultKind.EXTRA, "originals/data/elsewhere")]


@pytest.mark.parametrize("where", ["NOTES.TXT", "tags/more.txt"])
def test_what_lies_beside_the_lists_is_told_and_is_no_fault(where: str, folder: Path) -> None:
    """A bag may hold tag files that no list names (RFC 8493, 2.2.4)."""
    path = folder / "originals" / where
    path.parent.mkdir(exist_ok=True)
    path.write_text("left here")

    report = verify(folder)

    assert report.sound
    assert f"originals/{where} is in no list; the intake did not put it there." in report.remarks


def sealed(body: bytes) -> bytes:
    """End a line of the record as one that is as it was written."""
    return body + b',"hash":"' + hashlib.sha256(body).hexdigest().encode() + b'"}\n'


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"{ nonsense", "is no line of a record"),
        (b'{"n":' + b"[" * 100_000, "is no line of a record"),
        (b'{"n":14', "is no line of a record"),
        (b"7", "is no line of a record"),
    ],
)
def test_a_line_that_is_sealed_and_is_no_line_is_told(body: bytes, said: str, folder: Path) -> None:
    with (folder / "record.jsonl").open("ab") as file:
        file.write(sealed(body))

    report = verify(folder)

    assert FaultKind.RECORD in kinds(report)
    assert said in " ".join(report.sentences)


@pytest.mark.parametrize("what", ["intake", "issue"])
@pytest.mark.parametrize("value", [None, {}, {"digest": [1], "manifest": [1]}])
def test_a_line_that_names_no_digest_is_told(what: str, value: Json, folder: Path) -> None:
    with Job.open(folder) as job:
        job.record(what, "3", value)

    report = verify(folder)

    assert f"of kind {what}, names no digest" in " ".join(report.sentences)


@pytest.mark.parametrize("text", ['{"record_digest": [1], "manifest_digest": {}}', "[" * 100_000])
def test_contents_that_another_hand_wrote_do_not_stop_the_check(text: str, folder: Path) -> None:
    (folder / "issued" / "edition-1" / "contents.json").write_text(text)

    assert {fault.where for fault in verify(folder).faults} == {"issued/edition-1/contents.json"}


def test_checking_changes_nothing(folder: Path) -> None:
    def seen() -> list[tuple[str, int]]:
        return sorted((str(path), path.stat().st_mtime_ns) for path in folder.rglob("*"))

    before = seen()

    verify(folder)

    assert seen() == before


def test_one_original_that_the_record_lacks_is_told_in_the_singular(folder: Path) -> None:
    lines = (folder / "record.jsonl").read_bytes().splitlines(keepends=True)
    late = next(n for n, line in enumerate(lines) if b"late.jpg" in line)
    (folder / "record.jsonl").write_bytes(b"".join(lines[:late]))

    remarks = verify(folder).remarks

    assert any(one.startswith("1 original has no line in the record yet") for one in remarks)


def test_a_record_cut_short_is_remarked_and_no_fault(folder: Path) -> None:
    with (folder / "record.jsonl").open("a") as file:
        file.write('{"n":99,"when":"2026')

    report = verify(folder)

    assert report.sound
    assert any("cut short" in remark for remark in report.remarks)


def test_it_runs_on_python_alone(folder: Path) -> None:
    """-S leaves site-packages out: no NumPy, no database, no picture library can be found."""
    command = [sys.executable, "-S", "-m", "evidence.verify", str(folder)]
    alone = {**os.environ, "PYTHONPATH": str(saboteurs.HOME), "PYTHONDONTWRITEBYTECODE": "1"}

    good = subprocess.run(command, env=alone, capture_output=True, text=True, check=False)
    (folder / SHOT).unlink()
    bad = subprocess.run(command, env=alone, capture_output=True, text=True, check=False)
    none = subprocess.run([*command[:-1], "/nowhere"], env=alone, capture_output=True, text=True, check=False)

    assert (good.returncode, bad.returncode, none.returncode) == (0, 4, 2), good.stderr
    assert "Everything checked" in good.stdout
    assert "ABCD0002.JPG is missing" in bad.stdout


def test_a_screen_that_cannot_show_every_letter_still_gets_the_report(folder: Path) -> None:
    (folder / SHOT).chmod(0o644)
    (folder / SHOT).write_bytes(b"changed")
    plain = {**os.environ, "PYTHONPATH": str(saboteurs.HOME), "PYTHONIOENCODING": "ascii"}

    done = subprocess.run(
        [sys.executable, "-m", "evidence.verify", str(folder)],
        env=plain,
        capture_output=True,
        text=True,
        check=False,
    )

    assert (done.returncode, done.stderr) == (4, "")
    assert "recorded was" in done.stdout
