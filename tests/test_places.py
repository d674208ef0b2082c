"""Places in the job for the files of a card, where nobody else stands on any disk."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evidence.card import Card, CardFile
from evidence.files import clean_name
from evidence.places import Places, file_time, place_of
from evidence.words import Digest, FileKind, Original, Taken


def on_card(name: str, size: int = 10, seconds: float = 1e9) -> CardFile:
    return CardFile(Path("/card") / name, name, size, int(seconds * 1e9), name)


def taken(place: str, size: int = 10, seconds: float = 1e9) -> Taken:
    source, name = place.split("/", 1)
    original = Original(Digest("0" * 64), size, place)
    return Taken(original, FileKind.PICTURE, None, source, name, file_time(int(seconds * 1e9)), name)


def free(_: str) -> bool:
    return False


def source_for(already: list[Taken], *files: CardFile) -> str:
    places = Places(already, [one.original.place for one in already])
    return places.source_for(Card(Path("/card"), "EOS", files, ()))


def test_a_card_keeps_its_folder_while_what_is_known_of_it_looks_the_same() -> None:
    known = [taken("EOS/a.jpg"), taken("EOS/b.jpg")]

    assert source_for(known, on_card("a.jpg"), on_card("new.jpg")) == "EOS"


@pytest.mark.parametrize("other", [on_card("a.jpg", size=11), on_card("a.jpg", seconds=1e9 + 60)])
def test_another_card_of_the_name_gets_a_folder_of_its_own(other: CardFile) -> None:
    assert source_for([taken("EOS/a.jpg")], other) == "EOS-2"
    assert source_for([taken("EOS/a.jpg"), taken("EOS-2/a.jpg", 12)], other) == "EOS-3"


@pytest.mark.parametrize("shift", [-3600, 3600, 5 * 3600 + 1800, 20_700, 2, -2, 3598])
def test_times_of_another_zone_are_the_same_times(shift: float) -> None:
    """FAT: local time in 2 s steps (trade.md b8); zones differ by quarters of an hour (+05:45 Nepal)."""
    assert source_for([taken("EOS/a.jpg")], on_card("a.jpg", seconds=1e9 + shift)) == "EOS"


@given(st.lists(st.text("aAbBäÄ./é\u0301%", min_size=1, max_size=4), unique=True, max_size=12))
def test_no_two_files_ever_share_a_place_on_any_disk(names: list[str]) -> None:
    """Folded by str.casefold after NFC, without our own fold; a file is never a folder too."""
    import unicodedata  # noqa: PLC0415 - only here

    places = Places([], [])
    given_out = [
        places.give("EOS", on_card(name), free) for name in names if all(part for part in name.split("/"))
    ]

    folded = [unicodedata.normalize("NFC", place).casefold() for place in given_out]
    assert len(set(folded)) == len(folded)
    assert not any(a != b and b.startswith(a + "/") for a in folded for b in folded)


def test_what_stands_there_unlisted_is_left_alone() -> None:
    stands = {"EOS/a.jpg"}.__contains__

    assert Places([], []).give("EOS", on_card("a.jpg"), stands) == "EOS-2/a.jpg"


def test_a_place_is_the_name_on_the_card_part_by_part_cleaned() -> None:
    assert place_of("EOS", on_card("DCIM/100ABCDE/ABCD0001.JPG")) == "EOS/DCIM/100ABCDE/ABCD0001.JPG"
    assert place_of("EOS", on_card("a/../b")) == f"EOS/a/{clean_name('..')}/b"


def test_a_senseless_time_is_no_time() -> None:
    assert file_time(10**21) == ""
    assert file_time(-1) == "1969-12-31T23:59:59.999999+00:00"
