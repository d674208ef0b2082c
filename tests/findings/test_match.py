"""From words to findings: misspelt ones, phrases that several share, the room that decides."""

from __future__ import annotations

from dataclasses import replace

import pytest

from evidence.findings import Catalogue, packaged, search, suggest


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("releif pipe too hihg", "PLB-03"),
        ("double tapped breaker", "ELE-02"),
        ("the flue has come apart above the water heater", "HVC-04"),
        ("no handrale on the stairs", "EXT-09"),
        ("S trap under the sink", "PLB-09"),
        ("condensor not levle", "HVC-18"),
        ("efflorescense in the basment", "STR-12"),
        ("vermiculight", "INS-09"),
        ("polybutelene", "PLB-14"),
        ("the mould under the sink", "INT-06"),
        ("a knock out is missing", "ELE-05"),
        ("waterheater leaking", "PLB-05"),
        # Common practice: what the trade calls these things.
        ("fusebox", "ELE-10"),
        ("eavestrough hanging", "ROF-12"),
        ("tuckpointing", "EXT-04"),
        ("lally column", "STR-06"),
        ("loadcenter no labels", "ELE-06"),
        ("TPRV", "PLB-01"),
    ],
)
def test_the_right_row_is_among_the_first_three(words: str, expected: str) -> None:
    assert expected in [found.id for found in suggest(words)]


@pytest.mark.parametrize(
    ("words", "room", "expected"),
    [
        ("standing water", "Yard", "SIT-07"),
        ("standing water", "Crawl space", "STR-12"),
        ("leaning wall", "Yard", "SIT-04"),
        ("leaning wall", "Basement", "STR-02"),
        ("growth", "Attic", "ATT-09"),
        ("growth", "Bathroom", "INT-06"),
        ("no trap", "Kitchen", "PLB-09"),
        ("no trap", "Garage", "PLB-22"),
        ("no ground", "Bedroom", "ELE-20"),
        ("ponding", "Flat roof", "ROF-15"),
        ("ponding", "Yard", "SIT-07"),
    ],
)
def test_the_room_decides_between_findings_that_share_a_phrase(words: str, room: str, expected: str) -> None:
    assert suggest(words, room)[0].id == expected


def test_where_the_room_cannot_decide_all_are_offered() -> None:
    """Both belong in a crawl space: the inspector chooses."""
    assert {one.id for one in suggest("wet crawl", "Crawl space")} >= {"STR-12", "LIM-02"}


def test_a_phrase_that_several_share_says_so_and_offers_them_all() -> None:
    found = suggest("no trap", limit=5)

    assert {"PLB-09", "PLB-22", "HVC-03"} <= {one.id for one in found}
    assert "said of several things" in found[0].reason


def test_words_that_mean_nothing_offer_nothing() -> None:
    assert suggest("zzz qqq xxx") == []
    assert suggest("") == []
    assert suggest("uh okay so um yeah") == []


def test_a_row_is_found_by_its_id() -> None:
    assert search(" att-06 ")[0].id == "ATT-06"


def test_every_row_is_found_by_what_it_says() -> None:
    rows = packaged().rows

    assert [row.id for row in rows if row.id != suggest(row.seen)[0].id] == []


def test_an_inspectors_own_row_is_offered() -> None:
    own = packaged().under(
        "[[finding]]\nid='OWN-1'\nsystem='roof'\nseen='Moss grows.'\nwhy='It holds water.'\ndo='Remove it.'\n"
        "who='roofer'\nkeywords=['moss on the roof']",
        "mine.toml",
    )

    assert suggest("there is moss up there", among=own)[0].id == "OWN-1"
    assert "OWN-1" not in [one.id for one in suggest("there is moss up there")]


def test_two_words_written_as_one_are_found_in_the_very_first_phrase_too() -> None:
    known = packaged().by_id
    rows = replace(known["ELE-10"], keywords=("fuse box",)), replace(known["FIR-06"], keywords=("firebox",))

    assert search("fusebox", among=Catalogue(rows))[0].id == "ELE-10"


def test_a_very_long_sentence_and_strange_letters_do_no_harm() -> None:
    assert suggest("gutter " * 5000)[0].id == "ROF-12"
    assert suggest("x" * 100) == []
    assert suggest("gutter" * 50_000 + " gutter")[0].id == "ROF-12"
    assert suggest("ガス漏れ 🏠 \x00 ﷽") == []


def test_a_reason_names_words_as_they_are_written() -> None:
    """Plurals and synonyms are matched by stems, which nobody reads; common practice."""
    (collar, *_) = suggest("The rubber collar round the vent pipe is split.")

    assert collar.reason == "shares the words around, collar, cracked, pipe, rubber, vent"
