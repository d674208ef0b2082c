"""Writing that survives a pulled plug, copying that is read back, names that can do no harm."""

from __future__ import annotations

import errno
import os
import unicodedata
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from evidence import files
from evidence.errors import AlreadyThere, CannotWrite, CardGone, CardUnreadable, DigestMismatch, DiskFull
from tests import saboteurs

FIPS_180_4 = [
    (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
    (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    (
        b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    ),
    (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
]
"""NIST's examples for SHA-256, FIPS 180-4."""


@pytest.mark.parametrize(("data", "digest"), FIPS_180_4)
def test_digests_and_copies_agree_with_the_standard(data: bytes, digest: str, tmp_path: Path) -> None:
    """FIPS 180-4 example vectors; the million letters span several buffers."""
    source = tmp_path / "source"
    source.write_bytes(data)

    copied = files.copy_verified(source, tmp_path / "copy")

    assert files.digest_of(source) == copied == digest
    assert (tmp_path / "copy").read_bytes() == data


@pytest.mark.parametrize("size", [files.BUFFER - 1, files.BUFFER, files.BUFFER + 1, 2 * files.BUFFER])
def test_a_copy_is_whole_around_the_ends_of_the_buffer(size: int, tmp_path: Path) -> None:
    source = tmp_path / "source"
    source.write_bytes(bytes(n % 251 for n in range(size)))

    seen = files.copy_once(source, (tmp_path / "copy",))

    assert (tmp_path / "copy").read_bytes() == source.read_bytes()
    assert (seen.size_bytes, seen.head) == (size, source.read_bytes()[: files.HEAD])


def test_a_copy_is_read_only_and_keeps_the_time_of_change(tmp_path: Path) -> None:
    source = tmp_path / "source"
    source.write_bytes(b"x")

    files.copy_verified(source, tmp_path / "copy")

    made = (tmp_path / "copy").stat()
    assert made.st_mode & 0o222 == 0
    assert made.st_mtime_ns == source.stat().st_mtime_ns


def test_another_file_under_the_name_is_left_as_it_is(tmp_path: Path) -> None:
    source, target = tmp_path / "source", tmp_path / "target"
    source.write_bytes(b"new")
    target.write_bytes(b"old")

    with pytest.raises(AlreadyThere, match="target"):
        files.copy_verified(source, target)

    assert target.read_bytes() == b"old"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["source", "target"]


def test_copying_the_same_bytes_again_changes_nothing(tmp_path: Path) -> None:
    source = tmp_path / "source"
    source.write_bytes(b"same")

    first = files.copy_verified(source, tmp_path / "copy")
    before = (tmp_path / "copy").stat()
    again = files.copy_verified(source, tmp_path / "copy")

    assert first == again
    assert (tmp_path / "copy").stat().st_ino == before.st_ino


def test_a_link_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "secret").write_bytes(b"not on the card")
    (tmp_path / "link").symlink_to(tmp_path / "secret")

    with pytest.raises(CardUnreadable, match="link"):
        files.copy_verified(tmp_path / "link", tmp_path / "copy")

    assert not (tmp_path / "copy").exists()


def test_a_bad_sector_is_told_with_its_byte_and_leaves_nothing_behind(tmp_path: Path) -> None:
    source = tmp_path / "bad.jpg"
    source.write_bytes(bytes(700_000))

    with (
        saboteurs.at_work(saboteurs.BadSector("bad.jpg", 300_000)),
        pytest.raises(CardUnreadable, match="past byte 300000") as told,
    ):
        files.copy_verified(source, tmp_path / "copy", card=tmp_path)

    assert not isinstance(told.value, CardGone)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bad.jpg"]


def test_a_pulled_card_is_told_from_a_bad_file(tmp_path: Path) -> None:
    card = tmp_path / "card"
    card.mkdir()
    (card / "a.jpg").write_bytes(bytes(700_000))

    with saboteurs.at_work(saboteurs.PulledCard(card, 2)), pytest.raises(CardGone, match=r"a\.jpg"):
        files.copy_verified(card / "a.jpg", tmp_path / "copy", card=card)

    assert not (tmp_path / "copy").exists()


@pytest.mark.parametrize("room", [0, 1, 262_144, 262_145, 699_999])
def test_a_full_disk_leaves_nothing_behind(room: int, tmp_path: Path) -> None:
    (tmp_path / "card").mkdir()
    (tmp_path / "job").mkdir()
    source = tmp_path / "card" / "a.jpg"
    source.write_bytes(bytes(700_000))

    with (
        saboteurs.at_work(saboteurs.FullDisk(room, tmp_path / "job")),
        pytest.raises(DiskFull, match="disk is full"),
    ):
        files.copy_verified(source, tmp_path / "job" / "a.jpg")

    assert list((tmp_path / "job").iterdir()) == []


def test_a_copy_that_reads_back_otherwise_is_kept_aside(tmp_path: Path) -> None:
    source = tmp_path / "source"
    source.write_bytes(b"as it was")

    with (
        saboteurs.at_work(saboteurs.FadingDisk(".copy.part")),
        pytest.raises(DigestMismatch, match="other bytes"),
    ):
        files.copy_verified(source, tmp_path / "copy")

    assert not (tmp_path / "copy").exists()
    assert (tmp_path / ".copy.part.bad").read_bytes() == b"as it was"


@pytest.mark.skipif(not hasattr(os, "posix_fadvise"), reason="this system cannot be asked to drop pages")
def test_a_copy_is_synced_and_then_forgotten_before_it_is_read_back(tmp_path: Path) -> None:
    """Linux drops only pages that are on the disk already (posix_fadvise(2))."""
    (tmp_path / "a").write_bytes(b"x")
    ear = saboteurs.Listens()

    with saboteurs.at_work(ear):
        files.prove(tmp_path / "a", files.digest_of(tmp_path / "a"))

    at = {name: ear.calls.index(name) for name in ("fsync", "posix_fadvise")}
    assert at["fsync"] < at["posix_fadvise"] < len(ear.calls) - 1 - ear.calls[::-1].index("read")


@pytest.mark.parametrize("call", ["open", "write", "fsync"])
@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO, errno.EROFS])
def test_a_file_written_anew_is_the_old_one_or_the_new_one(call: str, number: int, tmp_path: Path) -> None:
    path = tmp_path / "list.txt"
    happened = True
    n = 0
    while happened:
        n += 1
        path.write_bytes(b"old")
        saboteur = saboteurs.NthCallFails(call, n, number)
        told = None
        try:
            with saboteurs.at_work(saboteur):
                files.write_whole(path, b"new")
        except CannotWrite as problem:
            told = type(problem)
        happened = saboteur.happened
        assert told is (None if not happened else DiskFull if number == errno.ENOSPC else CannotWrite)
        assert path.read_bytes() in ((b"old", b"new") if happened else (b"new",))
        assert [p.name for p in tmp_path.iterdir()] == ["list.txt"]

    assert n > 1


def test_an_addition_that_does_not_fit_is_cut_off_again(tmp_path: Path) -> None:
    path = tmp_path / "record"
    files.append_durably(path, b"first\n")

    with saboteurs.at_work(saboteurs.FullDisk(4, tmp_path)), pytest.raises(DiskFull):
        files.append_durably(path, b"second\n")

    assert path.read_bytes() == b"first\n"


def test_a_folder_in_the_way_is_told_and_not_touched(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()

    with pytest.raises(CannotWrite, match="there"):
        files.write_whole(tmp_path / "there", b"x")

    assert [p.name for p in tmp_path.iterdir()] == ["there"]


HARD = st.text("a. _~\u0301\u0344é屋%CONnul\u1100\u1161\u202e\0", min_size=1, max_size=230)
"""What once broke the cutting of long names, besides any text."""


@given(st.text(min_size=1, max_size=300) | HARD)
@example("n" * 199 + " n")
def test_a_cleaned_name_can_do_no_harm(name: str) -> None:
    """Windows' forbidden names and characters (Microsoft, "Naming Files, Paths, and Namespaces",
    from memory); Unicode categories C, Zl and Zp (UAX 44) hold what a terminal or page would obey."""
    clean = files.clean_name(name)

    assert clean
    assert clean not in {".", ".."}
    assert not set(clean) & set('<>:"/\\|?*%\0')
    assert not any(unicodedata.category(c) in {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"} for c in clean)
    assert clean[-1] not in ". "
    assert clean[0] not in "~ "
    assert len(clean.encode()) <= files.LONGEST_NAME
    assert files.clean_name(clean) == clean
    assert unicodedata.is_normalized("NFC", clean)


@pytest.mark.parametrize(
    "name", ["ABCD0001.JPG", "_ABC0001.NEF", "Küche (2).jpg", "屋根.jpg", ".hidden", "a b.wav", "-rf.jpg"]
)
def test_an_ordinary_name_stays_as_it_is(name: str) -> None:
    assert files.clean_name(name) == name


@pytest.mark.parametrize("name", ["NUL", "con.txt", "Lpt1.jpg", "COM9"])
def test_a_device_of_windows_is_not_a_name(name: str) -> None:
    """Microsoft, "Naming Files, Paths, and Namespaces" (from memory)."""
    assert files.clean_name(name) == "_" + name


def test_a_long_name_keeps_its_suffix() -> None:
    clean = files.clean_name("屋" * 120 + ".jpeg")

    assert clean.endswith("屋.jpeg")
    assert len(clean.encode()) <= files.LONGEST_NAME


@given(st.text())
def test_shown_text_cannot_command_a_terminal(text: str) -> None:
    shown = files.shown(text)

    assert len(shown) == len(text)
    assert not any(unicodedata.category(c).startswith("C") for c in shown)


@given(st.text(min_size=1))
def test_names_alike_on_some_disk_fold_alike(name: str) -> None:
    """Unicode Standard, 3.13, canonical caseless matching; upper and lower case of ASCII beside it."""
    swapped = "".join(c.swapcase() if c.isascii() else c for c in name)

    assert files.fold(name) == files.fold(unicodedata.normalize("NFD", name))
    assert files.fold(name) == files.fold(unicodedata.normalize("NFC", name))
    assert files.fold(name) == files.fold(swapped)
