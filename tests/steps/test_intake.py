"""Taking cards in: everything, once, proved, and whatever happens."""

from __future__ import annotations

import errno
import os
import random
import shutil
import subprocess
import unicodedata
from contextlib import suppress
from pathlib import Path

import bagit
import pytest

from evidence import verify
from evidence.bag import MANIFEST, read_manifest
from evidence.errors import (
    AlreadyThere,
    CannotWrite,
    CardGone,
    CardMissing,
    DigestMismatch,
    DiskFull,
    NothingOnCard,
    WrongUsage,
)
from evidence.job import Job
from evidence.settings import Details
from evidence.steps import intake as intakes
from evidence.steps.intake import intake
from evidence.words import FileKind, Taken
from tests import saboteurs
from tests.conftest import make_card

SHOTS = "EOSTREL/DCIM/100ABCDE"


def add_shot(card: Path) -> None:
    """A seventh shot, a minute after the sixth."""
    path = card / "DCIM/100ABCDE/ABCD0007.JPG"
    path.write_bytes(b"\xff\xd8\xffseven")
    before = path.with_name("ABCD0006.JPG").stat().st_mtime
    os.utime(path, (before + 60, before + 60))


def sound(folder: Path) -> bool:
    return verify.verify(folder).faults == []


def frames(job: Job) -> dict[str, int | None]:
    return {one.original.place.rsplit("/", 1)[-1]: one.frame for one in job.taken()}


def test_everything_on_the_card_is_in_the_job_byte_for_byte(job: Job, camera_card: Path) -> None:
    """Compared by diff (POSIX)."""
    result = intake(job, [camera_card])

    assert len(result.taken) == 9
    assert not result.set_aside
    done = subprocess.run(
        ["diff", "-r", str(camera_card), str(job.originals / "data" / "EOSTREL")], check=False
    )
    assert done.returncode == 0
    assert sound(job.folder)
    assert bagit.Bag(str(job.originals)).validate()


def test_the_card_is_as_it_was(job: Job, camera_card: Path, tmp_path: Path) -> None:
    def seen() -> list[tuple[str, int, int, int]]:
        return sorted(
            (p.name, p.stat().st_mtime_ns, p.stat().st_size, p.stat().st_mode) for p in camera_card.rglob("*")
        )

    before = seen()

    intake(job, [camera_card], second_copy=tmp_path / "second")

    assert seen() == before


def test_originals_are_read_only(job: Job, camera_card: Path) -> None:
    intake(job, [camera_card])

    modes = {p.stat().st_mode & 0o777 for p in (job.originals / "data").rglob("*") if p.is_file()}
    assert modes == {0o444}


def test_pictures_are_numbered_in_card_order_and_a_raw_beside_its_picture_is_not(
    job: Job, camera_card: Path
) -> None:
    intake(job, [camera_card])

    assert [f for f in frames(job).values() if f] == [1, 2, 3, 4, 5, 6]
    assert frames(job)["ABCD0002.DNG"] is None
    assert frames(job)["ABCD0003.WAV"] is None
    assert frames(job)["notes.txt"] is None


def test_a_raw_alone_is_a_picture(job: Job, tmp_path: Path) -> None:
    shots = tmp_path / "card" / "DCIM" / "100ABCDE"
    shots.mkdir(parents=True)
    (shots / "ABCD0001.DNG").write_bytes(b"II*\0raw")

    intake(job, [tmp_path / "card"])

    assert frames(job) == {"ABCD0001.DNG": 1}


def test_files_of_one_shot_share_their_word(job: Job, camera_card: Path) -> None:
    intake(job, [camera_card])

    things: dict[str, list[str]] = {}
    for one in job.taken():
        things.setdefault(one.thing, []).append(one.original.name)
    assert ["ABCD0002.JPG", "ABCD0002.DNG"] in things.values()
    assert ["ABCD0003.JPG", "ABCD0003.WAV"] in things.values()


def test_the_card_file_s_own_time_is_noted_and_kept_on_the_copy(job: Job, camera_card: Path) -> None:
    intake(job, [camera_card])

    first = job.taken()[0]
    assert first.file_time == "2026-11-18T11:07:40+00:00"  # 1,795,000,060 s, by GNU date -u -d @1795000060
    assert job.original(first.original.place).stat().st_mtime == 1_795_000_060


def test_each_original_is_handed_on_once_it_is_safe_and_in_order(job: Job, camera_card: Path) -> None:
    seen: list[Taken] = []

    def look(taken: Taken) -> None:
        assert job.original(taken.original.place).is_file()
        assert taken.original.place in {line.about for line in job.lines}
        seen.append(taken)

    intake(job, [camera_card], on_original=look)

    assert tuple(seen) == job.taken()


def test_kinds_are_asked_with_name_and_first_bytes(job: Job, camera_card: Path) -> None:
    asked: dict[str, bytes] = {}

    def kind_of(name: str, head: bytes) -> FileKind:
        asked[name] = head
        return FileKind.OTHER

    intake(job, [camera_card], kind_of=kind_of)

    assert asked["ABCD0002.DNG"].startswith(b"II*\0")
    assert job.next_frame() == 1


def test_the_same_card_again_takes_only_what_is_new(job: Job, camera_card: Path) -> None:
    intake(job, [camera_card])
    before = len(job.lines)
    again = intake(job, [camera_card])
    assert (len(again.taken), len(again.known), len(job.lines)) == (0, 9, before)

    add_shot(camera_card)
    third = intake(job, [camera_card])

    assert [(one.original.place, one.frame) for one in third.taken] == [(f"{SHOTS}/ABCD0007.JPG", 7)]
    assert sound(job.folder)


def test_the_same_bytes_under_another_name_are_known_and_noted_once(job: Job, camera_card: Path) -> None:
    shutil.copy(camera_card / "DCIM/100ABCDE/ABCD0001.JPG", camera_card / "copy of it.jpg")

    result = intake(job, [camera_card])
    intake(job, [camera_card])

    assert len(result.taken) == 9
    (known,) = result.known
    noted = [line.value["name_on_card"] for line in job.lines if line.what == "same bytes"]
    assert known.name in {"copy of it.jpg", "DCIM/100ABCDE/ABCD0001.JPG"}
    assert noted == [known.name]
    assert sound(job.folder)


def test_another_card_of_the_same_name_never_overwrites(job: Job, camera_card: Path, tmp_path: Path) -> None:
    intake(job, [camera_card])
    other = make_card(tmp_path / "elsewhere" / "EOSTREL")
    for path in other.rglob("*.JPG"):
        changed = path.stat().st_mtime
        path.write_bytes(b"\xff\xd8\xffanother " + path.name.encode())
        os.utime(path, (changed, changed))

    result = intake(job, [other])

    assert [one.source for one in result.taken] == ["EOSTREL-2"] * 6
    assert [one.frame for one in result.taken] == [7, 8, 9, 10, 11, 12]
    assert {known.place.split("/")[0] for known in result.known} == {"EOSTREL"}
    assert sound(job.folder)
    assert intake(job, [other]).taken == ()


def test_a_file_that_changed_on_the_card_is_kept_beside_the_first(job: Job, camera_card: Path) -> None:
    """Same name, size and time, other bytes: nothing in the folder's list gives it away."""
    intake(job, [camera_card])
    victim = camera_card / "DCIM/100ABCDE/ABCD0004.JPG"
    times = victim.stat()
    victim.write_bytes(b"\xff\xd8\xff\xe1" + b"Z" * 4000)
    os.utime(victim, ns=(times.st_atime_ns, times.st_mtime_ns))

    result = intake(job, [camera_card])

    (new,) = result.taken
    assert new.original.place == "EOSTREL-2/DCIM/100ABCDE/ABCD0004.JPG"
    assert job.original(new.original.place).read_bytes() == victim.read_bytes()
    assert sound(job.folder)


def test_a_fat_card_read_in_another_zone_is_still_the_same_card(job: Job, camera_card: Path) -> None:
    """FAT keeps local times: an hour later after the clocks changed (trade.md b8)."""
    intake(job, [camera_card])
    for path in camera_card.rglob("*.*"):
        os.utime(path, (path.stat().st_mtime + 3600, path.stat().st_mtime + 3600))
    add_shot(camera_card)

    (new,) = intake(job, [camera_card]).taken

    assert new.source == "EOSTREL"


def test_names_that_differ_by_case_or_unicode_form_are_kept_apart(job: Job, tmp_path: Path) -> None:
    """Seen from a disk that ignores both; Unicode forms C and D (UAX 15)."""
    card = tmp_path / "phone"
    card.mkdir()
    composed, parted = "Küche.jpg", unicodedata.normalize("NFD", "Küche.jpg")
    for n, name in enumerate(("Attic.jpg", "ATTIC.JPG", composed, parted)):
        (card / name).write_bytes(b"\xff\xd8\xff" + bytes([n]))
    if len(list(card.iterdir())) < 4:
        pytest.skip("this disk itself cannot keep such names apart")

    result = intake(job, [card])

    folded = [unicodedata.normalize("NFC", one.original.place.casefold()) for one in result.taken]
    assert len(set(folded)) == 4
    assert {one.name_on_card for one in result.taken} == {"Attic.jpg", "ATTIC.JPG", composed, parted}
    assert intake(job, [card]).taken == ()
    assert sound(job.folder)


def test_names_cannot_leave_the_folder_nor_command_a_terminal(job: Job, tmp_path: Path) -> None:
    card = tmp_path / "card"
    card.mkdir()
    for n, name in enumerate(
        ("a\nb.jpg", "x\x1b[2J.jpg", "roof\u202egpj.exe", "100%.jpg", "..\\..\\x", "NUL.jpg")
    ):
        (card / name).write_bytes(bytes([n]))

    intake(job, [card])

    places = [one.original.place for one in job.taken()]
    assert all(place.isprintable() and ".." not in place.split("/") for place in places)
    assert not any(set(place) & set('<>:"\\|?*%') for place in places)
    assert "a\nb.jpg" in {one.name_on_card for one in job.taken()}
    done = subprocess.run(
        ["sha256sum", "--strict", "-c", "--quiet", "manifest-sha256.txt"], cwd=job.originals, check=False
    )
    assert done.returncode == 0


def test_links_on_a_card_are_not_followed(job: Job, camera_card: Path, tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("private")
    (camera_card / "DCIM" / "100ABCDE" / "ABCD0099.JPG").symlink_to(tmp_path / "secret")

    result = intake(job, [camera_card])

    assert [one.name for one in result.left_out] == ["DCIM/100ABCDE/ABCD0099.JPG"]
    assert not any(b"private" in p.read_bytes() for p in job.folder.rglob("*") if p.is_file())


def test_two_cards_come_in_one_after_the_other(job: Job, camera_card: Path, tmp_path: Path) -> None:
    phone = tmp_path / "phone"
    phone.mkdir()
    (phone / "IMG_1.jpg").write_bytes(b"\xff\xd8\xffphone")

    intake(job, [camera_card, phone])

    assert frames(job)["IMG_1.jpg"] == 7
    assert job.taken()[-1].source == "phone"


def test_a_bad_file_costs_only_itself(job: Job, camera_card: Path) -> None:
    with saboteurs.at_work(saboteurs.BadSector("ABCD0003.JPG", 1500)):
        result = intake(job, [camera_card])

    assert len(result.taken) == 8
    (aside,) = result.set_aside
    assert aside.name == "DCIM/100ABCDE/ABCD0003.JPG"
    assert "past byte 1500" in aside.reason
    assert not result.may_erase
    assert list(job.set_aside()) == [f"{SHOTS}/ABCD0003.JPG"]
    assert sound(job.folder)

    intake(job, [camera_card])
    assert job.set_aside() == {}
    assert frames(job)["ABCD0003.JPG"] == 6


@pytest.mark.parametrize("mounted", ["EOSTREL 1", "eostrel"])
def test_a_file_set_aside_and_taken_when_the_card_is_mounted_otherwise_is_no_longer_only_there(
    mounted: str, job: Job, camera_card: Path
) -> None:
    with saboteurs.at_work(saboteurs.BadSector("ABCD0003.JPG", 1500)):
        intake(job, [camera_card])
    again = camera_card.rename(camera_card.with_name(mounted))

    with saboteurs.at_work(saboteurs.BadSector("ABCD0003.JPG", 1500)):
        intake(job, [again])
    assert list(job.set_aside()) == [f"{mounted}/DCIM/100ABCDE/ABCD0003.JPG"]

    intake(job, [again])
    assert job.set_aside() == {}


def test_a_file_set_aside_is_known_again_when_names_come_in_other_letters(
    job: Job, camera_card: Path
) -> None:
    """As a FAT card's short names do, mounted with another option."""
    with saboteurs.at_work(saboteurs.BadSector("ABCD0003.JPG", 1500)):
        intake(job, [camera_card])
    for path in list((camera_card / "DCIM/100ABCDE").iterdir()):
        path.rename(path.with_name(path.name.lower()))

    intake(job, [camera_card])

    assert job.set_aside() == {}


def test_a_file_set_aside_is_not_taken_for_another_cards_of_its_name(
    job: Job, camera_card: Path, tmp_path: Path
) -> None:
    """Both cards hold the same small file; what was shot differs."""
    with saboteurs.at_work(saboteurs.BadSector("ABCD0003.JPG", 1500)):
        intake(job, [camera_card])
    other = make_card(tmp_path / "OTHER")
    for path in (other / "DCIM/100ABCDE").iterdir():
        path.write_bytes(path.read_bytes() + b"another's")

    intake(job, [other])

    assert list(job.set_aside()) == [f"{SHOTS}/ABCD0003.JPG"]


def test_a_file_that_stays_bad_is_noted_once(job: Job, camera_card: Path) -> None:
    with saboteurs.at_work(saboteurs.BadSector("ABCD0003.JPG", 1500)):
        intake(job, [camera_card])
        intake(job, [camera_card])

    assert [line.what for line in job.lines].count("set aside") == 1


@pytest.mark.parametrize("reading", [1, 5, 12])
def test_a_pulled_card_keeps_what_was_copied_and_goes_on_when_put_back(
    reading: int, job: Job, camera_card: Path, tmp_path: Path
) -> None:
    saboteur = saboteurs.PulledCard(camera_card, reading)

    with saboteurs.at_work(saboteur), pytest.raises(CardGone, match="went away"):
        intake(job, [camera_card])

    assert sound(job.folder)
    assert job.set_aside() == {}
    saboteur.put_back()
    intake(job, [camera_card])
    with Job.create(tmp_path / "other", Details()) as undisturbed:
        intake(undisturbed, [camera_card])
        assert undisturbed.taken() == job.taken()


@pytest.mark.parametrize("room", [0, 500, 2_000, 9_000, 25_000, 33_000, 36_000])
def test_a_full_disk_is_told_and_the_same_intake_goes_on(
    room: int, job: Job, camera_card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(intakes, "BATCH_FILES", 3)

    with saboteurs.at_work(saboteurs.FullDisk(room, job.folder)), pytest.raises(DiskFull):
        intake(job, [camera_card])

    unfinished = job.unfinished
    job.close()
    with Job.open(job.folder) as again:
        assert again.unfinished == unfinished
        intake(again, [camera_card])
        assert again.unfinished == ()
        with Job.create(tmp_path / "other", Details()) as undisturbed:
            intake(undisturbed, [camera_card])
            assert undisturbed.taken() == again.taken()
            assert undisturbed.bag().entries == again.bag().entries
    assert sound(job.folder)


def test_a_card_whose_names_come_out_alike_is_known_again(job: Job, camera_card: Path) -> None:
    """What Windows forbids in a name becomes one and the same sign."""
    for n, name in enumerate(("roof?.txt", "roof*.txt")):
        (camera_card / name).write_bytes(b"notes" * (n + 1))
    intake(job, [camera_card])
    lines = len(job.lines)
    add_shot(camera_card)

    intake(job, [camera_card])

    assert job.taken()[-1].original.place == f"{SHOTS}/ABCD0007.JPG"
    assert [line.what for line in job.lines[lines:]].count("intake") == 1


@pytest.mark.parametrize("disk", ["14 Alder Court", "second"])
@pytest.mark.parametrize("fault", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt()])
def test_a_batch_that_stops_between_two_of_its_files_is_finished_by_the_next_intake(
    fault: BaseException, disk: str, job: Job, camera_card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder may need the disk's last block, and Ctrl-C may come at any time."""
    beside = camera_card.parent
    moved: list[Path] = []

    def move(self: Path, target: Path) -> Path:
        if self.is_relative_to(beside / disk) and len(moved) < 4:
            moved.append(self)
            if len(moved) == 4:
                raise fault
        return self.replace(target)

    monkeypatch.setattr(Path, "rename", move)
    with suppress(DiskFull, KeyboardInterrupt):
        assert not intake(job, [camera_card], second_copy=beside / "second").may_erase
    job.close()

    with Job.open(job.folder) as again:
        assert intake(again, [camera_card], second_copy=beside / "second").may_erase
        assert len(again.taken()) == 9
        assert again.unfinished == ()
    assert sound(job.folder)
    assert sound(beside / "second" / job.folder.name)


def test_a_disk_that_reads_back_otherwise_stops_the_intake(job: Job, camera_card: Path) -> None:
    with saboteurs.at_work(saboteurs.FadingDisk("000002")), pytest.raises(DigestMismatch):
        intake(job, [camera_card])
    assert [path.name for path in job.originals.rglob("*.bad")] == ["000002.bad"]

    intake(job, [camera_card])
    assert len(job.taken()) == 9
    assert sound(job.folder)
    assert [path.name for path in job.originals.rglob("*.bad")] == ["000002.bad"]
    assert job.unfinished == ()


def test_a_read_only_job_is_told(job: Job, camera_card: Path) -> None:
    with saboteurs.at_work(saboteurs.ReadOnlyDisk(job.folder)), pytest.raises(CannotWrite, match="read-only"):
        intake(job, [camera_card])

    assert job.taken() == ()


def test_a_job_opened_for_reading_takes_nothing_in(job: Job, camera_card: Path) -> None:
    with pytest.raises(CannotWrite, match="reading only"):
        intake(Job.open(job.folder, write=False), [camera_card])


def test_a_clock_set_back_changes_nothing_but_times(camera_card: Path, tmp_path: Path) -> None:
    with Job.create(tmp_path / "a", Details(), now=saboteurs.clock_set_back()) as job:
        intake(job, [camera_card])
        intake(job, [camera_card])

        assert list(frames(job).values()).count(None) == 3
    assert sound(tmp_path / "a")


def test_changed_lists_are_not_built_on(job: Job, camera_card: Path) -> None:
    intake(job, [camera_card])
    manifest = job.originals / "manifest-sha256.txt"
    manifest.write_bytes(manifest.read_bytes().replace(b"ABCD0001", b"ABCD9001"))
    (camera_card / "new.jpg").write_bytes(b"\xff\xd8\xffnew")

    with pytest.raises(DigestMismatch, match="manifest"):
        intake(job, [camera_card])


def test_nothing_to_take_is_told(job: Job, tmp_path: Path) -> None:
    (tmp_path / "empty" / "DCIM").mkdir(parents=True)

    with pytest.raises(NothingOnCard, match="empty"):
        intake(job, [tmp_path / "empty"])
    with pytest.raises(CardMissing, match="nowhere"):
        intake(job, [tmp_path / "nowhere"])


@pytest.mark.parametrize("where", [".", "originals", ".."])
def test_a_job_is_not_taken_into_itself(where: str, job: Job) -> None:
    with pytest.raises(WrongUsage, match="inside each other"):
        intake(job, [job.folder / where])


class TestSecondCopy:
    """The second copy, and when a card may be erased."""

    def test_without_one_the_card_must_not_be_erased(self, job: Job, camera_card: Path) -> None:
        result = intake(job, [camera_card])

        assert not result.may_erase
        assert any("second copy" in reason for reason in result.why_not_erase)

    def test_it_is_a_bag_of_the_same_originals(self, job: Job, camera_card: Path, tmp_path: Path) -> None:
        """The `bagit` package; manifests compared byte for byte."""
        result = intake(job, [camera_card], second_copy=tmp_path / "second")

        assert result.may_erase
        assert result.second_copy == tmp_path / "second" / job.folder.name
        assert bagit.Bag(str(result.second_copy)).validate()
        name = "manifest-sha256.txt"
        assert (result.second_copy / name).read_bytes() == (job.originals / name).read_bytes()
        assert sound(result.second_copy)

    def test_one_disk_for_both_is_told(self, job: Job, camera_card: Path, tmp_path: Path) -> None:
        result = intake(job, [camera_card], second_copy=tmp_path / "second")

        assert any("one disk" in caution for caution in result.cautions)

    def test_it_can_be_made_later(self, job: Job, camera_card: Path, tmp_path: Path) -> None:
        intake(job, [camera_card])

        result = intake(job, [camera_card], second_copy=tmp_path / "second")

        assert result.taken == ()
        assert result.may_erase
        assert result.second_copy
        assert bagit.Bag(str(result.second_copy)).validate()
        assert len(list((result.second_copy / "data").rglob("*.*"))) == 9

    def test_it_can_be_made_later_of_a_card_with_one_file_twice(
        self, job: Job, camera_card: Path, tmp_path: Path
    ) -> None:
        shutil.copy(camera_card / "DCIM/100ABCDE/ABCD0001.JPG", camera_card / "copy of it.jpg")
        intake(job, [camera_card])

        result = intake(job, [camera_card], second_copy=tmp_path / "second")

        assert result.may_erase
        assert sound(tmp_path / "second" / job.folder.name)

    @pytest.mark.parametrize("room", [0, 3_000, 9_000, 24_000, 32_000])
    def test_when_its_disk_is_full_the_job_is_whole_and_the_card_is_kept(
        self, room: int, job: Job, camera_card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(intakes, "BATCH_FILES", 3)
        (tmp_path / "second").mkdir()
        with saboteurs.at_work(saboteurs.FullDisk(2_000 + room, tmp_path / "second")):
            result = intake(job, [camera_card], second_copy=tmp_path / "second")

        assert len(result.taken) == 9
        assert not result.may_erase
        assert any("disk is full" in reason for reason in result.why_not_erase)
        assert sound(job.folder)

        assert intake(job, [camera_card], second_copy=tmp_path / "second").may_erase
        assert sound(tmp_path / "second" / job.folder.name)

    def test_when_it_reads_back_otherwise_it_is_no_copy(
        self, job: Job, camera_card: Path, tmp_path: Path
    ) -> None:
        fading = saboteurs.FadingDisk("000003", below=tmp_path / "second")

        with saboteurs.at_work(fading):
            result = intake(job, [camera_card], second_copy=tmp_path / "second")

        assert len(result.taken) == 9
        assert not result.may_erase
        assert any("reads back" in reason for reason in result.why_not_erase)
        assert read_manifest(tmp_path / "second" / job.folder.name / MANIFEST) == {}
        assert intake(job, [camera_card], second_copy=tmp_path / "second").may_erase
        (kept,) = (tmp_path / "second").rglob("*.bad")
        assert str(kept) in " ".join(result.why_not_erase)
        report = verify.verify(tmp_path / "second" / job.folder.name)
        assert report.sound
        assert [kept.name in remark for remark in report.remarks] == [True]

    def test_a_bad_file_forbids_erasing(self, job: Job, camera_card: Path, tmp_path: Path) -> None:
        with saboteurs.at_work(saboteurs.BadSector("ABCD0001.JPG", 0)):
            result = intake(job, [camera_card], second_copy=tmp_path / "second")

        assert not result.may_erase

    @pytest.mark.parametrize("which", ["job", "second"])
    def test_a_copy_that_changed_since_forbids_erasing(
        self, which: str, job: Job, camera_card: Path, tmp_path: Path
    ) -> None:
        first = intake(job, [camera_card], second_copy=tmp_path / "second")
        assert first.second_copy
        home = job.originals if which == "job" else first.second_copy
        victim = home / "data" / SHOTS / "ABCD0002.JPG"
        saboteurs.flip_a_bit(victim, random.Random(1))

        result = intake(job, [camera_card], second_copy=tmp_path / "second")

        assert not result.may_erase
        assert any("ABCD0002.JPG" in reason for reason in result.why_not_erase)

    def test_it_gets_the_originals_of_earlier_cards_too(
        self, job: Job, camera_card: Path, tmp_path: Path
    ) -> None:
        phone = tmp_path / "phone"
        phone.mkdir()
        (phone / "IMG_1.jpg").write_bytes(b"\xff\xd8\xffphone")
        intake(job, [camera_card])

        result = intake(job, [phone], second_copy=tmp_path / "second")

        assert result.may_erase
        assert result.second_copy
        assert set(read_manifest(result.second_copy / MANIFEST)) == set(
            read_manifest(job.originals / MANIFEST)
        )
        assert sound(result.second_copy)

    def test_an_original_that_changed_is_not_spread(
        self, job: Job, camera_card: Path, tmp_path: Path
    ) -> None:
        intake(job, [camera_card])
        saboteurs.flip_a_bit(job.original(f"{SHOTS}/ABCD0002.JPG"), random.Random(1))

        result = intake(job, [camera_card], second_copy=tmp_path / "second")

        assert not result.may_erase
        assert not list((tmp_path / "second").rglob("ABCD0002.JPG"))

    def test_another_job_s_second_copy_is_not_mixed_with_ours(
        self, job: Job, camera_card: Path, tmp_path: Path
    ) -> None:
        intake(job, [camera_card], second_copy=tmp_path / "second")
        with (
            Job.create(tmp_path / "elsewhere" / job.folder.name, Details()) as other,
            pytest.raises(AlreadyThere, match="already holds the originals"),
        ):
            intake(other, [camera_card], second_copy=tmp_path / "second")

    @pytest.mark.parametrize("where", ["card", "job"])
    def test_it_must_not_lie_on_the_card_or_in_the_job(self, where: str, job: Job, camera_card: Path) -> None:
        folder = (camera_card if where == "card" else job.folder) / "second"

        with pytest.raises(WrongUsage, match="must not lie inside"):
            intake(job, [camera_card], second_copy=folder)

        assert not folder.exists()

    def test_it_must_not_be_the_job_itself_nor_hold_it(self, job: Job, camera_card: Path) -> None:
        """The folder given is apart from the job; the copy's own folder below it would be the job."""
        before = (job.folder / "record.jsonl").read_bytes()

        with pytest.raises(WrongUsage, match="nor hold it"):
            intake(job, [camera_card], second_copy=job.folder.parent)

        assert (job.folder / "record.jsonl").read_bytes() == before
        assert not (job.folder / "data").exists()

    def test_a_link_that_leads_into_the_job_is_seen_through(
        self, job: Job, camera_card: Path, tmp_path: Path
    ) -> None:
        (tmp_path / "second").mkdir()
        (tmp_path / "second" / job.folder.name).symlink_to(job.originals)

        with pytest.raises(WrongUsage, match="nor hold it"):
            intake(job, [camera_card], second_copy=tmp_path / "second")

    @pytest.mark.parametrize("name", [MANIFEST, "bag-info.txt"])
    def test_a_damaged_one_is_named_and_does_not_keep_the_card_from_the_job(
        self, name: str, job: Job, camera_card: Path, tmp_path: Path
    ) -> None:
        first = intake(job, [camera_card], second_copy=tmp_path / "second")
        assert first.second_copy
        (first.second_copy / name).write_bytes(b"\xff\xfe\n")
        add_shot(camera_card)

        result = intake(job, [camera_card], second_copy=tmp_path / "second")

        assert len(result.taken) == 1
        assert not result.may_erase
        assert any(reason.startswith("The second copy in ") for reason in result.why_not_erase)
        assert sound(job.folder)

    def test_where_it_cannot_be_written_the_job_still_takes_the_card(
        self, job: Job, camera_card: Path, tmp_path: Path
    ) -> None:
        (tmp_path / "second").write_text("a file stands there")

        result = intake(job, [camera_card], second_copy=tmp_path / "second")

        assert len(result.taken) == 9
        assert any("The second copy in " in reason for reason in result.why_not_erase)


def test_a_pulled_plug_takes_nothing_that_a_list_names(
    job: Job, camera_card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is named by manifest or record before it is synced, its folder too; all is at the end."""
    monkeypatch.setattr(intakes, "BATCH_FILES", 3)
    payload, seen = job.originals / "data", {"manifest": 0, "record": 0}

    def told(doing: str, path: Path) -> None:
        if doing == "rename" and path.name == MANIFEST:
            seen["manifest"] += 1
            assert ledger.unsafe_below(payload) == []
        if doing == "write" and path.name == "record.jsonl":
            seen["record"] += 1
            assert [path for path in ledger.unsafe_below(job.originals) if path.name != "incoming"] == []

    ledger = saboteurs.Ledger(told)
    ledger.watch(monkeypatch)
    intake(job, [camera_card])

    assert seen == {"manifest": 3, "record": 3}
    assert [path for path in ledger.unsafe_below(job.folder) if path.exists()] == []


def quick_folder(tmp_path: Path) -> Path:
    """A memory disk if there is one: a kill ends a program there as anywhere, and syncs cost nothing."""
    memory = Path("/dev/shm")
    if not os.access(memory, os.W_OK):
        return tmp_path
    folder = memory / f"evidence-{os.getpid()}-{tmp_path.name}"
    folder.mkdir()
    return folder


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the killing needs fork")
def test_killed_at_any_instant_it_ends_as_if_undisturbed(tmp_path: Path) -> None:
    """SIGKILL of the whole program before 36 doings on the disk, drawn at random; then once more."""
    work = quick_folder(tmp_path)
    try:
        card = make_card(work / "EOSTREL", 20)
        last = saboteurs.doings(card, work / "count")
        instants = random.Random(20261125).sample(range(1, last), 36)

        undisturbed, *killed = saboteurs.killed_and_resumed(card, work / "jobs", [0, *instants])

        assert undisturbed["code"] == 0
        assert sum(one["code"] == -9 for one in killed) >= 30
        for one in killed:
            assert one["again"] == 0
            assert one["half"] == []  # nothing half-accepted even before it goes on
            for what in ("manifest", "second", "noted", "unfinished", "faults"):
                assert one[what] == undisturbed[what], (one["n"], what)
        assert undisturbed["faults"] == []
    finally:
        if work != tmp_path:
            shutil.rmtree(work)


def test_a_turned_bit_in_the_bag_s_own_text_is_named_before_anything_is_taken(
    job: Job, camera_card: Path
) -> None:
    info = job.originals / "bag-info.txt"
    info.write_bytes(info.read_bytes().replace(b"Bagging", b"B\xe1gging"))

    with pytest.raises(DigestMismatch, match=r"bag-info\.txt is not as it was written"):
        intake(job, [camera_card])


def test_what_macos_wrote_beside_a_picture_is_kept_and_gets_no_number(job: Job, camera_card: Path) -> None:
    beside = camera_card / "DCIM/100ABCDE/._ABCD0001.JPG"
    beside.write_bytes(bytes.fromhex("00051607000200004d6163204f532058"))

    intake(job, [camera_card])

    assert [f for f in frames(job).values() if f] == [1, 2, 3, 4, 5, 6]
    assert frames(job)["._ABCD0001.JPG"] is None
    assert [one.kind for one in job.taken() if one.original.name == "._ABCD0001.JPG"] == [FileKind.OTHER]
