"""Originals as a BagIt folder: valid to any checker, whole after any kill."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
from dataclasses import asdict
from datetime import date
from pathlib import Path

import bagit
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evidence import files, verify
from evidence.bag import (
    MANIFEST,
    Admission,
    Bag,
    escape,
    manifest_text,
    read_info,
    read_manifest,
    scan_manifest,
    seal_folder,
    unescape,
)
from evidence.errors import AlreadyThere, CannotWrite, DigestMismatch, NotAJob
from evidence.words import Digest
from tests import saboteurs

DAY = date(2026, 11, 25)


def put(bag: Bag, places: dict[str, bytes], note: str = "noted") -> None:
    """Stage and prove files as an intake does, and admit them."""
    staging = bag.staging()
    batch = []
    for n, (place, data) in enumerate(places.items()):
        (staging / str(n)).write_bytes(data)
        batch.append(Admission(str(n), place, files.digest_of(staging / str(n)), len(data)))
    bag.admit(batch, note, DAY)
    bag.settle()
    bag.close()


@pytest.fixture
def bag(tmp_path: Path) -> Bag:
    made = Bag.create(tmp_path / "originals", "14 Alder Court (0123456789ab)", DAY)
    put(made, {"EOS/DCIM/100ABCDE/ABCD0001.JPG": b"one", "EOS/Küche 屋根.jpg": b"two", "EOS/b": b""})
    return made


def test_an_independent_checker_finds_it_valid(bag: Bag) -> None:
    """The Library of Congress's `bagit` package, which implements RFC 8493."""
    outside = bagit.Bag(str(bag.folder))
    assert outside.validate()
    assert outside.info["Payload-Oxum"] == f"{len(b'onetwo')}.3"
    assert outside.info["External-Identifier"] == "14 Alder Court (0123456789ab)"


def test_it_is_valid_again_when_it_has_grown(bag: Bag) -> None:
    """The `bagit` package."""
    put(bag, {"EOS/c": b"four"})

    outside = bagit.Bag(str(bag.folder))

    assert outside.validate()
    assert outside.info["Payload-Oxum"] == "10.4"


def test_an_empty_bag_is_valid_too(tmp_path: Path) -> None:
    """RFC 8493 does not ask for a payload file; checked by the `bagit` package."""
    Bag.create(tmp_path / "bag", "x", DAY)

    assert bagit.Bag(str(tmp_path / "bag")).validate()


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="sha256sum is not installed here")
@pytest.mark.parametrize("name", [MANIFEST, "tagmanifest-sha256.txt"])
def test_sha256sum_proves_it(bag: Bag, name: str) -> None:
    """GNU coreutils; --strict refuses a line it cannot read."""
    done = subprocess.run(
        ["sha256sum", "--strict", "-c", name], cwd=bag.folder, capture_output=True, text=True, check=False
    )

    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count(": OK") == 3


def test_line_ends_and_percent_signs_in_names_are_escaped_as_the_standard_says() -> None:
    """RFC 8493, 2.1.3: CR as %0D, LF as %0A, percent as %25, nothing else."""
    assert escape("a\rb\nc%d e\t") == "a%0Db%0Ac%25d e\t"


@given(st.text(min_size=1))
def test_escaping_goes_both_ways(place: str) -> None:
    assert unescape(escape(place)) == place
    assert not set(escape(place)) & {"\r", "\n"}


def test_a_manifest_of_hard_names_reads_the_same_here_and_outside(tmp_path: Path) -> None:
    """The `bagit` package reads the manifest we write. Not tried here: a percent sign, which its
    version 1.9 does not unescape as RFC 8493 asks; an intake gives no such name."""
    bag = Bag.create(tmp_path / "bag", "x", DAY)
    put(bag, {"of it/\rname\n.jpg": b"hard", "e\u0301.jpg": b"form D"})

    outside = bagit.Bag(str(bag.folder))

    assert outside.validate()
    assert read_manifest(bag.folder / MANIFEST, inside="data/") == bag.entries


@pytest.mark.parametrize(
    "line",
    [
        "0" * 63 + "  data/a",
        "G" * 64 + "  data/a",
        "0" * 64 + " data/a",
        "0" * 64 + "  /etc/passwd",
        "0" * 64 + "  data/../../a",
        "0" * 64 + "  elsewhere/a",
        "",
    ],
)
def test_a_manifest_line_that_is_none_is_told_and_never_followed(line: str, tmp_path: Path) -> None:
    (tmp_path / MANIFEST).write_text(f"{'a' * 64}  data/good\n{line}\n")

    entries, faults = scan_manifest(tmp_path / MANIFEST, inside="data/")

    assert list(entries) == ["good"]
    assert faults == ["Line 2 of manifest-sha256.txt is not a digest and a path."]


def test_a_manifest_that_breaks_off_or_repeats_is_told(tmp_path: Path) -> None:
    line = f"{'a' * 64}  data/good\n"
    (tmp_path / MANIFEST).write_text(line + line + line[:-1])

    _, faults = scan_manifest(tmp_path / MANIFEST)

    assert len(faults) == 2


@pytest.mark.parametrize("call", ["open", "write", "fsync"])
def test_a_batch_that_fails_anywhere_can_be_finished(call: str, tmp_path: Path) -> None:
    """Each call of one kind fails in turn; afterwards the batch is wholly in or wholly out."""
    n, happened = 0, True
    while happened:
        n += 1
        bag = Bag.create(tmp_path / str(n), "x", DAY)
        put(bag, {"old/a": b"a"})
        saboteur = saboteurs.NthCallFails(call, n)
        staging = bag.staging()
        (staging / "1").write_bytes(b"b")
        batch = [Admission("1", "new/b", files.digest_of(staging / "1"), 1)]
        try:
            with saboteurs.at_work(saboteur):
                bag.admit(batch, ["the note"], DAY)
        except CannotWrite:
            pass
        happened = saboteur.happened

        again = Bag(tmp_path / str(n))
        note = again.unsettled()
        again.settle()
        again.staging()
        again.close()

        assert note in (None, ["the note"])
        assert bagit.Bag(str(again.folder)).validate()
        assert list(again.entries) == (["old/a"] if note is None else ["old/a", "new/b"])
        assert not (again.folder / "incoming").exists()
    assert n > 3


def test_lists_that_were_changed_are_not_sealed_over(bag: Bag) -> None:
    manifest = bag.folder / MANIFEST
    manifest.write_bytes(manifest.read_bytes().replace(b"b\n", b"B\n"))

    with pytest.raises(DigestMismatch, match="manifest-sha256"):
        Bag(bag.folder).unsettled()


@pytest.mark.parametrize("name", [MANIFEST, "bagit.txt", "incoming/commit.json"])
def test_nor_are_lists_that_were_changed_while_a_batch_was_cut_short(
    name: str, bag: Bag, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed right after the plan was written; then someone swaps an original and its line."""
    (bag.staging() / "1").write_bytes(b"new")
    batch = [Admission("1", "EOS/new.jpg", files.digest_of(bag.staging_name("1")), 3)]
    monkeypatch.setattr(bag, "_carry_out", lambda *_: None)
    bag.admit(batch, None, DAY)
    assert verify.verify(bag.folder).sound
    changed = (bag.folder / name).read_bytes()
    if name == MANIFEST:
        bag.payload("EOS/b").chmod(0o644)
        bag.payload("EOS/b").write_bytes(b"swapped")
        swapped = files.digest_of(bag.payload("EOS/b")).encode()
        changed = changed.replace(hashlib.sha256().hexdigest().encode(), swapped)
    (bag.folder / name).write_bytes(changed if name == MANIFEST else b"[1]")

    assert name != MANIFEST or not verify.verify(bag.folder).sound
    with pytest.raises(DigestMismatch, match=name):
        Bag(bag.folder).unsettled()


def test_a_file_that_nobody_listed_is_not_overwritten(bag: Bag) -> None:
    bag.payload("EOS/mine.jpg").write_bytes(b"a person's")
    staging = bag.staging()
    (staging / "1").write_bytes(b"new")

    with pytest.raises(AlreadyThere):
        bag.admit([Admission("1", "EOS/mine.jpg", files.digest_of(staging / "1"), 3)], None, DAY)

    assert bag.payload("EOS/mine.jpg").read_bytes() == b"a person's"


def test_a_plan_that_outlived_its_work_does_nothing_again(bag: Bag) -> None:
    """As after a power cut that brought back the removed plan, beside a new run's first copy."""
    staging = bag.staging()
    (staging / "0").write_bytes(b"another run's")
    plan = {"batch": [asdict(Admission("0", "EOS/b", Digest("0" * 64), 13))], "day": "2026-11-25", "note": 1}
    (staging / "commit.json").write_text(json.dumps(plan))

    again = Bag(bag.folder)

    assert again.unsettled() == 1
    assert again.payload("EOS/b").read_bytes() == b""
    assert bagit.Bag(str(bag.folder)).validate()


@pytest.mark.parametrize("name", [MANIFEST, "tagmanifest-sha256.txt"])
def test_a_list_that_is_gone_is_told(name: str, bag: Bag) -> None:
    (bag.folder / name).unlink()

    with pytest.raises(DigestMismatch, match=name):
        Bag(bag.folder).unsettled()


def test_a_batch_whose_copy_is_gone_is_told(bag: Bag) -> None:
    bag.staging()

    with pytest.raises(DigestMismatch, match="is gone"):
        bag.admit([Admission("1", "EOS/lost.jpg", Digest("0" * 64), 3)], None, DAY)


def test_a_folder_of_another_job_is_not_taken_for_ours(bag: Bag) -> None:
    with pytest.raises(AlreadyThere, match="14 Alder Court"):
        Bag.create(bag.folder, "another", DAY)


def test_a_folder_that_is_no_bag_is_told(tmp_path: Path) -> None:
    with pytest.raises(NotAJob, match=r"bagit\.txt"):
        Bag(tmp_path)


@pytest.mark.parametrize("missing", ["bag-info.txt", MANIFEST, "bagit.txt", "tagmanifest-sha256.txt"])
def test_a_making_that_was_cut_short_is_finished(missing: str, tmp_path: Path) -> None:
    order = ["bag-info.txt", MANIFEST, "bagit.txt", "tagmanifest-sha256.txt"]
    Bag.create(tmp_path / "bag", "x", DAY)
    for name in order[order.index(missing) :]:
        (tmp_path / "bag" / name).unlink()

    Bag.create(tmp_path / "bag", "x", DAY)

    assert bagit.Bag(str(tmp_path / "bag")).validate()


def test_bag_info_reads_lines_that_go_on(tmp_path: Path) -> None:
    """RFC 8493, 2.2.2: a value may go on in lines that begin with space."""
    (tmp_path / "bag-info.txt").write_text("Source-Organization: A\n  B\nContact-Name: C: D\n")

    assert read_info(tmp_path / "bag-info.txt") == {"Source-Organization": "A B", "Contact-Name": "C: D"}


def test_an_edition_is_listed_whole(tmp_path: Path) -> None:
    (tmp_path / "media").mkdir()
    (tmp_path / "appendix.pdf").write_bytes(b"%PDF")
    (tmp_path / "media" / "1.jpg").write_bytes(b"jpg")

    digest = seal_folder(tmp_path)

    assert digest == files.digest_of(tmp_path / MANIFEST)
    assert list(read_manifest(tmp_path / MANIFEST)) == ["appendix.pdf", "media/1.jpg"]


def test_a_manifest_grows_only_at_its_end(bag: Bag) -> None:
    before = (bag.folder / MANIFEST).read_bytes()

    put(bag, {"AAA/first-by-name.jpg": b"x"})

    assert (bag.folder / MANIFEST).read_bytes().startswith(before)
    assert manifest_text(bag.entries, inside="data/") == (bag.folder / MANIFEST).read_bytes()
