"""How a camera lays out its card: DCF (CIPA DC-009, facts as in the trade's summary, from memory)."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evidence.card import Pause, long_pauses, natural, parts, read_card, turned
from evidence.errors import CardMissing


def lay(root: Path, *names: str) -> Path:
    for name in names:
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(name.encode())
    return root


def names(root: Path) -> list[str]:
    return [file.name for file in read_card(root).files]


def test_files_come_by_folder_number_then_file_number(tmp_path: Path) -> None:
    """DC-009: folders NNNAAAAA with NNN 100-999, files AAAA0001-9999; the counter goes on in a new folder."""
    lay(tmp_path, "DCIM/101ABCDE/ABCD0001.JPG", "DCIM/100ABCDE/ABCD9999.JPG", "DCIM/100ABCDE/ABCD9998.JPG")

    assert names(tmp_path) == [
        "DCIM/100ABCDE/ABCD9998.JPG",
        "DCIM/100ABCDE/ABCD9999.JPG",
        "DCIM/101ABCDE/ABCD0001.JPG",
    ]


def test_a_counter_that_starts_again_in_its_folder_keeps_the_order_of_shots(tmp_path: Path) -> None:
    """DC-009: after 9999 comes 0001; some cameras stay in the same folder."""
    lay(tmp_path, *(f"DCIM/100ABCDE/ABCD{n:04d}.JPG" for n in (1, 2, 9997, 9998, 9999)))

    assert [name[-8:-4] for name in names(tmp_path)] == ["9997", "9998", "9999", "0001", "0002"]


def test_folder_numbers_start_again_at_100(tmp_path: Path) -> None:
    """DC-009: folder numbers end at 999."""
    lay(tmp_path, "DCIM/100ABCDE/ABCD0001.JPG", "DCIM/999ABCDE/ABCD9999.JPG")

    assert names(tmp_path) == ["DCIM/999ABCDE/ABCD9999.JPG", "DCIM/100ABCDE/ABCD0001.JPG"]


def test_files_of_one_number_are_one_thing_and_the_picture_comes_first(tmp_path: Path) -> None:
    """DC-009: a DCF object is the files of one number; a sound note may bear other letters."""
    lay(
        tmp_path,
        *("DCIM/100ABCDE/" + n for n in ("ABCD0007.ARW", "ABCD0007.JPG", "SND_0007.WAV", "ABCD0008.JPG")),
    )

    found = read_card(tmp_path).files

    assert [f.path.name for f in found] == ["ABCD0007.JPG", "ABCD0007.ARW", "SND_0007.WAV", "ABCD0008.JPG"]
    assert len({f.thing for f in found[:3]}) == 1
    assert found[3].thing != found[0].thing


def test_the_same_number_in_two_folders_is_two_things(tmp_path: Path) -> None:
    lay(tmp_path, "DCIM/100ABCDE/ABCD0007.JPG", "DCIM/101ABCDE/ABCD0007.JPG")

    assert len({file.thing for file in read_card(tmp_path).files}) == 2


def test_a_folder_that_is_no_camera_s_comes_in_natural_order(tmp_path: Path) -> None:
    lay(tmp_path, "IMG_10.jpg", "IMG_9.jpg", "img_9.mov", "b/2.jpg", "b/10.jpg", "a/x.jpg")

    assert names(tmp_path) == ["IMG_9.jpg", "img_9.mov", "IMG_10.jpg", "a/x.jpg", "b/2.jpg", "b/10.jpg"]
    assert read_card(tmp_path).files[0].thing == read_card(tmp_path).files[1].thing


def test_every_regular_file_is_listed_whatever_it_is(tmp_path: Path) -> None:
    wanted = [
        "DCIM/100ABCDE/ABCD0001.JPG",
        "MISC/AUTPRINT.MRK",
        "PRIVATE/AVCHD/a.mts",
        ".hidden",
        "Thumbs.db",
    ]
    lay(tmp_path, *wanted)

    assert sorted(names(tmp_path)) == sorted(wanted)


def test_links_devices_and_litter_are_left_out_and_named(tmp_path: Path) -> None:
    card = lay(tmp_path / "card", "DCIM/100ABCDE/ABCD0001.JPG", ".Trashes/old.jpg", ".Spotlight-V100/x")
    lay(tmp_path / "home", "secret.txt")
    (card / "out.txt").symlink_to(tmp_path / "home" / "secret.txt")
    (card / "up").symlink_to(tmp_path / "home")
    (card / "loop").symlink_to(card)
    os.mkfifo(card / "pipe")

    read = read_card(card)

    assert [file.name for file in read.files] == ["DCIM/100ABCDE/ABCD0001.JPG"]
    assert sorted(one.name for one in read.left_out) == [
        ".Spotlight-V100",
        ".Trashes",
        "loop",
        "out.txt",
        "pipe",
        "up",
    ]
    assert all(one.reason and not one.unreadable for one in read.left_out)


def test_a_name_that_is_no_text_is_written_with_escapes(tmp_path: Path) -> None:
    """Linux names are bytes; Python carries what is no UTF-8 as surrogates (PEP 383)."""
    try:
        (tmp_path / os.fsdecode(b"roof\xff.jpg")).write_bytes(b"x")
    except OSError:
        pytest.skip("this file system takes only text as names")

    (file,) = read_card(tmp_path).files

    assert file.name == "roof\\xff.jpg"
    assert file.path.read_bytes() == b"x"


def test_a_dcim_folder_alone_is_known_by_the_card_it_lies_on(tmp_path: Path) -> None:
    card = lay(tmp_path / "EOSTREL", "DCIM/100ABCDE/ABCD0001.JPG")

    whole, part = read_card(card), read_card(card / "DCIM")

    assert (whole.source, whole.files[0].name) == (part.source, part.files[0].name)


def test_a_card_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(CardMissing, match="nowhere"):
        read_card(tmp_path / "nowhere")


@given(st.integers(1, 9999), st.integers(1, 400), st.sets(st.integers(1, 9999), max_size=60))
def test_a_run_of_shots_comes_out_in_the_order_it_was_taken(first: int, shots: int, lost: set[int]) -> None:
    """A run wherever the counter stood, with some shots deleted, but not 9999 and 0001 themselves."""
    run = [(first + n - 1) % 9999 + 1 for n in range(shots)]
    taken = [n for n in run if n not in lost - {1, 9999}]

    assert turned(taken) == taken


def test_natural_order_puts_nine_before_ten() -> None:
    assert sorted(["a10", "A9", "a1b2", "a1B10", "a"], key=natural) == ["a", "a1b2", "a1B10", "A9", "a10"]


def test_a_long_pause_is_proposed_as_the_border_of_two_jobs(tmp_path: Path) -> None:
    lay(tmp_path, *(f"DCIM/100ABCDE/ABCD{n:04d}.JPG" for n in range(1, 6)))
    for n, minute in enumerate((0, 10, 54, 99, 100), start=1):
        at = 1_795_000_000 + minute * 60
        os.utime(tmp_path / f"DCIM/100ABCDE/ABCD{n:04d}.JPG", (at, at))

    found = long_pauses(read_card(tmp_path).files)

    assert found == (Pause("DCIM/100ABCDE/ABCD0003.JPG", "DCIM/100ABCDE/ABCD0004.JPG", 45.0),)


def test_the_parts_of_a_card_hold_every_file_and_what_is_no_shot_is_in_each(tmp_path: Path) -> None:
    lay(tmp_path, *(f"DCIM/100ABCDE/ABCD{n:04d}.JPG" for n in range(1, 5)), "MISC/x.txt")
    for n, minute in enumerate((0, 1, 200, 201), start=1):
        at = 1_795_000_000 + minute * 60
        os.utime(tmp_path / f"DCIM/100ABCDE/ABCD{n:04d}.JPG", (at, at))

    found = [[file.path.name for file in part] for part in parts(read_card(tmp_path).files)]

    assert found == [["ABCD0001.JPG", "ABCD0002.JPG", "x.txt"], ["ABCD0003.JPG", "ABCD0004.JPG", "x.txt"]]


def test_an_empty_card_has_one_empty_part() -> None:
    assert parts([]) == ((),)
    assert long_pauses([]) == ()
