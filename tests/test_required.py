"""Lists of required pictures: data with their source, and what is missing of them."""

from __future__ import annotations

import pytest

from evidence import required
from evidence.errors import BadSetting
from evidence.required import Required, RequiredList

FULL_WALK = (
    "Front", "East side", "Rear", "Roof", "Attic north", "Crawl space", "Electrical panel", "Service closet",
    "Condenser", "Water heater", "Kitchen", "Bath", "Bedroom 1", "Garage", "Hall and stairs",
)  # fmt: skip


def test_every_packaged_row_has_a_name_words_and_a_source() -> None:
    lists = required.packaged()

    assert {one.name for one in lists} == {"house walk", "four systems", "flood elevation", "building record"}
    for one in lists:
        assert one.source
        assert one.about
        assert len({row.name for row in one.pictures}) == len(one.pictures)
        assert all(row.words and row.source in required.SOURCES for row in one.pictures)


def test_the_four_system_list_asks_for_what_the_form_does() -> None:
    """Insurers' form: sides, slopes, water heater, drains, valves, panel label and inside, cooling."""
    wanted = required.chosen("four systems", required.packaged())

    assert [row.count for row in wanted.pictures[:2]] == [4, 2]
    assert len(wanted.pictures) == 8


def test_a_full_walk_lacks_nothing() -> None:
    assert required.missing(required.chosen("house walk", required.packaged()), FULL_WALK) == ()


@pytest.mark.parametrize(
    ("left_out", "lacking"),
    [
        ({"Roof"}, ["Roof"]),
        ({"Attic north"}, ["Attic"]),
        ({"Crawl space"}, ["Foundation or crawl space"]),
        ({"Electrical panel"}, ["Electrical panel"]),
        ({"East side", "Rear"}, ["Sides of the house"]),
        ({"Garage", "Kitchen"}, ["Kitchen", "Garage"]),
    ],
)
def test_each_planted_gap_is_found_and_no_other(left_out: set[str], lacking: list[str]) -> None:
    named = [name for name in FULL_WALK if name not in left_out]

    found = required.missing(required.chosen("house walk", required.packaged()), named)

    assert [one.required.name for one in found] == lacking


def test_words_are_whole_words_and_counts_are_of_different_names() -> None:
    sides = RequiredList("", "", "", (Required("Sides", ("left", "right", "north side"), 2),))

    assert required.missing(sides, ["Leftovers", "brighter"])[0].have == 0
    assert required.missing(sides, ["LEFT", "left "])[0].have == 1
    assert required.missing(sides, ["Left", "The north  side at noon"]) == ()


def test_words_are_found_however_many_blanks_stand_in_them() -> None:
    (own,) = required.parse("[[list]]\nname='a'\npicture=[{name='b', words=[' crawl  space ']}]", "own.toml")

    assert required.missing(own, ["The crawl space, north"]) == ()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("x", "cannot be read"),
        ("", "holds no list"),
        ("[[list]]\npicture=[]", "needs a name"),
        ("[[list]]\nname='a'", "has no picture"),
        ("[[list]]\nname='a'\npicture=[{name='b'}]", "needs a name and a list of words"),
        ("[[list]]\nname='a'\npicture=[{name=' ', words=['c']}]", "needs a name and a list of words"),
        ("[[list]]\nname='a'\npicture=[{name='b', words=['c'], when=3}]", "may say name"),
        (2 * "[[list]]\nname='a'\npicture=[{name='b', words=['c']}]\n", "two lists are called “a”"),
        ("[[list]]\nname='a'\npicture=[{name='b', words=['c'], count=0}]", "count must be"),
        ("[[list]]\nname='a'\npicture=[{name='b', words=['c'], source='hearsay'}]", "source is one of"),
    ],
)
def test_a_list_that_cannot_be_used_is_refused_with_its_reason(text: str, said: str) -> None:
    with pytest.raises(BadSetting, match=said):
        required.parse(text, "own.toml")


def test_an_unknown_list_names_the_known_ones() -> None:
    with pytest.raises(BadSetting, match="house walk"):
        required.chosen("house wok", required.packaged())
