"""Room cards: read in bad conditions, never read where there is none, printed so that they read."""

from __future__ import annotations

import itertools
from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from evidence import roomcards
from evidence.roomcards import Page
from evidence.words import Rgb
from tests.bench import drawn_cards


@pytest.fixture(scope="module")
def walls() -> list[Rgb]:
    return drawn_cards.backgrounds(7, 4000, (800, 600))


@pytest.mark.parametrize("condition", drawn_cards.CONDITIONS)
def test_a_card_is_read_under_bad_conditions(condition: str, walls: list[Rgb]) -> None:
    """Ten drawn shots each; the thousand are in bench_roomcards. Truth: the id that was drawn."""
    for number in range(10):
        rng = np.random.default_rng((41, number))
        card = int(rng.integers(100))
        shot = drawn_cards.any_shot(rng, condition)
        if condition == "blurred":  # 4 pixels of a picture twice as wide
            shot = replace(shot, blur_px=2.0)

        assert roomcards.read(drawn_cards.shoot(card, shot, walls[number % 7], rng)) == [card]


@pytest.mark.parametrize("kind", drawn_cards.CLUTTER)
def test_nothing_else_is_taken_for_a_card(kind: str, walls: list[Rgb]) -> None:
    """Ten pictures each, markers of other families among them; the two thousand are in bench_roomcards."""
    for number in range(10):
        rng = np.random.default_rng((42, number))

        assert roomcards.read(drawn_cards.clutter(kind, walls[number % 7], rng)) == []


def test_two_cards_in_one_picture_are_both_read_once_and_in_order(walls: list[Rgb]) -> None:
    picture = np.full((600, 800, 3), 120, np.uint8)
    for card, left in ((31, 60), (4, 330), (31, 570)):
        pattern = np.kron(np.pad(~roomcards.marker(card), 1, constant_values=True), np.ones((20, 20)))
        picture[200:380, left : left + 180] = (pattern * 215 + 20)[..., None]

    assert roomcards.read(picture) == [4, 31]


def test_the_reading_does_not_depend_on_how_the_camera_was_held(walls: list[Rgb]) -> None:
    rng = np.random.default_rng(43)
    picture = drawn_cards.shoot(77, drawn_cards.any_shot(rng, "plain"), walls[0], rng)

    for turns in range(4):
        assert roomcards.read(np.ascontiguousarray(np.rot90(picture, turns))) == [77]


@pytest.mark.parametrize("shape", [(0, 0, 3), (1, 900, 3), (20, 20, 3), (21, 21, 3), (8, 4000, 3)])
def test_a_picture_too_small_for_a_card_holds_none(shape: tuple[int, int, int]) -> None:
    assert roomcards.read(np.zeros(shape, np.uint8)) == []


@pytest.mark.parametrize("bad", [np.zeros((40, 40), np.uint8), np.zeros((40, 40, 3), np.float32)])
def test_what_is_no_picture_is_refused(bad: NDArray[np.uint8]) -> None:
    with pytest.raises(ValueError, match="uint8"):
        roomcards.read(bad)


def test_a_marker_is_the_pattern_of_the_published_dictionary() -> None:
    """OpenCV's DICT_5X5_100, marker 0: bytes 162, 217, 94, 0 hold its 25 bits, row by row, 1 = white.

    From opencv/modules/objdetect/src/aruco/predefined_dictionaries.hpp (DICT_5X5_1000_BYTES), from memory.
    """
    bits = [*np.unpackbits(np.array([162, 217, 94], np.uint8)).tolist(), 0]

    pattern = roomcards.marker(0)

    assert pattern.shape == (7, 7)
    assert pattern[[0, -1]].all()
    assert pattern[:, [0, -1]].all()
    assert (~pattern[1:-1, 1:-1]).astype(int).ravel().tolist() == bits
    with pytest.raises(ValueError, match="0 to 99"):
        roomcards.marker(100)


def printed(page: Page, per_mm: int = 5) -> Rgb:
    """The page's boxes as pixels; the words are left out."""
    paper = np.full((round(page.height_mm * per_mm), round(page.width_mm * per_mm)), 255, np.uint8)
    for box in page.boxes:
        left, top = round(box.x_mm * per_mm), round(box.y_mm * per_mm)
        right, bottom = round((box.x_mm + box.width_mm) * per_mm), round((box.y_mm + box.height_mm) * per_mm)
        paper[top:bottom, left:right] = 0
    return np.dstack([paper] * 3)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_printed_sheet_reads_as_the_cards_it_names(paper: str) -> None:
    cards = [*roomcards.CARD_NAMES.items(), *((card, "") for card in roomcards.BLANK_CARDS)]

    pages = roomcards.sheet(cards, paper)

    read = [card for page in pages for card in roomcards.read(printed(page))]
    assert read == [card for card, _ in cards]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_everything_on_a_sheet_lies_on_the_paper(paper: str) -> None:
    """A letter is taken as 0.56 of its size wide on average; what is wider is shrunk when drawn."""
    pages = [
        *roomcards.sheet(
            [*roomcards.CARD_NAMES.items(), (60, ""), (61, "Heating and air conditioning room")], paper
        ),
        roomcards.job_card("1408 North Alder Court, Springfield", "25 November 2026", paper),
    ]
    for page in pages:
        for box in page.boxes:
            assert 0 <= box.x_mm <= box.x_mm + box.width_mm <= page.width_mm + 1e-9
            assert 0 <= box.y_mm <= box.y_mm + box.height_mm <= page.height_mm + 1e-9
        for words in page.words:
            wide = 0.56 * len(words.text) * words.size_pt * 25.4 / 72
            assert words.x_mm + words.width_mm <= page.width_mm
            assert wide <= words.width_mm * 1.001 or not words.bold
            assert 5 < words.y_mm < page.height_mm - 3
        for upper, lower in itertools.pairwise(sorted(page.words, key=lambda words: words.y_mm)):
            assert lower.y_mm - upper.y_mm > 0.25 * lower.size_pt * (lower.x_mm == upper.x_mm)


def test_the_job_card_has_its_own_marker_and_room_for_address_date_and_watch() -> None:
    blank, filled = roomcards.job_card(), roomcards.job_card("14 Alder Court", "25 November 2026")

    assert roomcards.read(printed(blank)) == [roomcards.JOB_CARD]
    assert [w for w in ("Address", "Date") if w in {words.text for words in blank.words}] == [
        "Address",
        "Date",
    ]
    assert any("watch" in words.text for words in blank.words)
    assert "14 Alder Court" in {words.text for words in filled.words}
    assert roomcards.JOB_CARD not in roomcards.CARD_NAMES
    assert not set(roomcards.BLANK_CARDS) & set(roomcards.CARD_NAMES)


def test_an_unknown_paper_is_refused() -> None:
    with pytest.raises(KeyError):
        roomcards.sheet([(1, "Hall")], "a9")


def test_reading_uses_the_library_as_its_makers_do() -> None:
    """A marker drawn by the library's own function, on white, is read by our reader."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    for card in (0, 49, 99):
        drawn = np.asarray(cv2.aruco.generateImageMarker(family, card, 280))
        assert roomcards.read(np.dstack([np.pad(drawn, 60, constant_values=255)] * 3)) == [card]
