"""How a camera lays out its card: DCF (CIPA DC-009, facts as in the trade's summary, from memory)."""

from __future__ import annotations

import os
from dataclasses import replace
from itertools import accumulate
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evidence.card import (
    CardFile,
    in_order_shot,
    natural,
    numbered,
    parts,
    read_card,
    turned,
    where_a_job_card_may_be,
)
from evidence.errors import CardMissing
from evidence.words import Digest, FileKind, FrameNumber, Original, Taken


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


def test_a_file_in_place_of_a_card_is_told_to_be_one(tmp_path: Path) -> None:
    (tmp_path / "ABCD0001.JPG").touch()

    with pytest.raises(CardMissing, match="is a file"):
        read_card(tmp_path / "ABCD0001.JPG")


def test_a_card_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(CardMissing, match="nowhere"):
        read_card(tmp_path / "nowhere")


@given(st.integers(1, 9999), st.integers(1, 400), st.sets(st.integers(1, 9999), max_size=60))
def test_a_run_of_shots_comes_out_in_the_order_it_was_taken(first: int, shots: int, lost: set[int]) -> None:
    """A run wherever the counter stood, with some shots deleted, but not 9999 and 0001 themselves."""
    run = [(first + n - 1) % 9999 + 1 for n in range(shots)]
    taken = [n for n in run if n not in lost - {1, 9999}]

    assert turned(taken) == taken


@given(st.permutations(range(9)))
def test_whatever_order_files_were_taken_in_they_come_as_their_card_was_shot(order: list[int]) -> None:
    """The order in which a card read whole is listed: DC-009's numbers, a counter turned over, then names."""
    as_listed = [
        "top.txt",
        "DCIM/999ABCDE/ABCD9998.JPG",
        "DCIM/999ABCDE/ABCD9998.DNG",
        "DCIM/999ABCDE/ABCD9999.JPG",
        "DCIM/100ABCDE/ABCD9990.JPG",
        "DCIM/100ABCDE/ABCD0001.JPG",
        "DCIM/100ABCDE/notes.txt",
        "MISC/img9.jpg",
        "MISC/img10.jpg",
    ]
    rows = [of_card(name) for name in as_listed]

    found = in_order_shot([rows[at] for at in order], lambda row: row)

    assert [row.name_on_card for row in found] == as_listed


def test_odd_names_come_in_one_order_from_the_card_and_from_what_was_noted(tmp_path: Path) -> None:
    odd = [
        "\u202egpj.JPG",
        "u\u0308.JPG",
        "x.JPG",
        "tab\t.JPG",
        os.fsdecode(b"\xff.JPG"),
        "\x1b.JPG",
        "a\\b.JPG",
    ]
    for name in odd:
        (tmp_path / name).write_bytes(b"")
    listed = names(tmp_path)

    found = in_order_shot([of_card(name) for name in reversed(listed)], lambda row: row)

    assert [row.name_on_card for row in found] == listed


@pytest.mark.parametrize(
    ("name", "known"),
    [
        ("DCIM/100ABCDE/ABCD0001.JPG", True),
        ("export/IMG_0001.HEIC", True),
        ("0C9F6A2E-7D55.JPG", False),
        ("DCIM/Camera/IMG_20261118_091020.jpg", False),
    ],
)
def test_only_a_number_that_a_camera_gave_out_tells_when_a_picture_was_shot(name: str, known: bool) -> None:
    """DC-009: four free letters and four digits."""
    assert numbered(of_card(name)) is known


def test_cards_come_as_they_were_taken_in_and_a_late_file_with_its_own_card() -> None:
    rows = [of_card("ABCD0002.JPG", "100ABCDE"), of_card("1.JPG", "A"), of_card("ABCD0001.JPG", "100ABCDE")]

    found = in_order_shot(rows, lambda row: row)

    assert [row.name_on_card for row in found] == ["ABCD0001.JPG", "ABCD0002.JPG", "1.JPG"]


def of_card(name: str, source: str = "EOS") -> Taken:
    original = Original(Digest(name), 1, f"{source}/{name}")
    return Taken(original, FileKind.PICTURE, FrameNumber(1), source, name, "", name)


def test_natural_order_puts_nine_before_ten() -> None:
    assert sorted(["a10", "A9", "a1b2", "a1B10", "a"], key=natural) == ["a", "a1b2", "a1B10", "A9", "a10"]


def shots(*minutes: float, first: int = 1) -> list[CardFile]:
    """Shots of one camera's card with the file times given."""
    return [
        CardFile(
            Path(f"/card/DCIM/100ABCDE/ABCD{n:04d}.JPG"),
            f"DCIM/100ABCDE/ABCD{n:04d}.JPG",
            1000,
            int((1_795_000_000 + minute * 60) * 1e9),
            f"DCIM/100ABCDE/{n:04d}",
        )
        for n, minute in enumerate(minutes, start=first)
    ]


def begins(files: list[CardFile], **how: set[str]) -> list[tuple[int, str]]:
    """Index of each part's first shot, and why it is thought to begin there."""
    return [(files.index(part.shots[0]), part.why) for part in parts(files, **how)]


def test_another_job_may_begin_after_a_long_pause() -> None:
    """Three quarters of an hour, by our own choice; a minute less is within one job."""
    assert begins(shots(0, 10, 54, 99, 100)) == [(0, ""), (3, "after a pause of 45 min")]
    assert begins(shots(0, 10, 54, 98.9, 100)) == [(0, "")]
    assert begins(shots(0, 200))[1] == (1, "after a pause of 3 h 20 min")
    assert begins(shots(0, 3000))[1] == (1, "after a pause of 2 d 2 h")


def test_another_job_may_begin_with_a_job_card() -> None:
    files = shots(*range(0, 12))

    assert begins(files, job_cards={files[8].name}) == [(0, ""), (8, "begins with a job card")]
    assert begins(files, job_cards={files[8].name, files[9].name}) == [(0, ""), (8, "begins with a job card")]


def test_a_job_card_soon_after_a_border_is_of_that_border() -> None:
    files = shots(0, 1, 2, 3, 100, 101, 102)

    assert begins(files, job_cards={files[1].name, files[6].name}) == [
        (0, ""),
        (4, "after a pause of 1 h 37 min"),
    ]


def test_a_job_begins_where_the_inspector_says_so() -> None:
    files = shots(*range(0, 12))

    assert begins(files, begins={files[2].name}) == [(0, ""), (2, "as told")]


def test_a_sound_note_spoken_much_later_stays_with_its_picture() -> None:
    """CIPA DC-009: files of one number are one object."""
    (shot,) = shots(0)
    note = replace(shot, path=shot.path.with_suffix(".WAV"), name=shot.name[:-3] + "WAV", changed_ns=2**62)

    assert len(parts([shot, note])) == 1


def test_the_parts_of_a_card_hold_every_file_and_what_is_no_shot_is_in_each(tmp_path: Path) -> None:
    lay(tmp_path, *(f"DCIM/100ABCDE/ABCD{n:04d}.JPG" for n in range(1, 5)), "MISC/x.txt")
    for n, minute in enumerate((0, 1, 200, 201), start=1):
        at = 1_795_000_000 + minute * 60
        os.utime(tmp_path / f"DCIM/100ABCDE/ABCD{n:04d}.JPG", (at, at))

    found = parts(read_card(tmp_path).files)

    assert [[file.path.name for file in part.files] for part in found] == [
        ["ABCD0001.JPG", "ABCD0002.JPG", "x.txt"],
        ["ABCD0003.JPG", "ABCD0004.JPG", "x.txt"],
    ]
    assert [len(part.shots) for part in found] == [2, 2]


@given(st.lists(st.floats(-100, 200), max_size=30), st.sets(st.integers(0, 30)), st.sets(st.integers(0, 30)))
def test_however_a_card_is_parted_each_shot_is_in_exactly_one_part(
    steps: list[float], carded: set[int], told: set[int]
) -> None:
    files = shots(*accumulate(steps))

    found = parts(
        files,
        {file.name for n, file in enumerate(files) if n in carded},
        {file.name for n, file in enumerate(files) if n in told},
    )

    assert [shot for part in found for shot in part.shots] == files
    assert all(part.shots for part in found) or not files


def test_job_cards_are_looked_for_first_thing_and_after_every_pause() -> None:
    """Five minutes, five shots: our own choice; a clock that goes back counts as a pause."""
    files = shots(*range(0, 20), *range(25, 45), *range(3, 23))

    looked = [files.index(file) for file in where_a_job_card_may_be(files)]

    assert looked == [*range(0, 5), *range(20, 25), *range(40, 45)]


def test_job_cards_are_looked_for_everywhere_where_the_file_times_say_nothing() -> None:
    files = shots(*(n / 100 for n in range(50)))

    assert where_a_job_card_may_be(files) == files


def test_an_empty_card_has_one_empty_part() -> None:
    assert [part.files for part in parts([])] == [()]
    assert where_a_job_card_may_be([]) == []
