"""Room cards: printed, photographed, read, and kept out of the appendix."""

from __future__ import annotations

import subprocess
from pathlib import Path
from shutil import which

import numpy as np
import pikepdf
import pytest
from PIL import Image

from evidence import roomcards
from evidence.desk import Desk
from evidence.errors import AlreadyThere, WrongUsage
from evidence.state import card_names
from evidence.steps import room_cards, rooms

needs_poppler = pytest.mark.skipif(not which("pdftoppm"), reason="pdftoppm (poppler-utils) is not installed")


def drawn(pdf: Path) -> list[np.ndarray]:
    """Every page as the renderer of poppler draws it, 60 pixels an inch."""
    subprocess.run(["pdftoppm", "-r", "60", "-png", pdf, pdf.with_suffix("")], check=True)
    return [np.asarray(Image.open(page).convert("RGB")) for page in sorted(pdf.parent.glob("*.png"))]


@needs_poppler
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_printed_page_reads_back_as_the_cards_it_should_hold(tmp_path: Path, paper: str) -> None:
    cards = room_cards.print_cards(tmp_path / "cards.pdf", blanks=2, paper=paper)

    read = [roomcards.read(page) for page in drawn(tmp_path / "cards.pdf")]

    ids = [card for card, _ in cards]
    assert read == [[roomcards.JOB_CARD], *(sorted(ids[i : i + 2]) for i in range(0, len(ids), 2))]


def test_pages_have_the_paper_s_size_in_points(tmp_path: Path) -> None:
    room_cards.print_cards(tmp_path / "a4.pdf", paper="a4")
    room_cards.print_cards(tmp_path / "letter.pdf", paper="letter")

    for name, size in (("a4", (595.28, 841.89)), ("letter", (612.0, 792.0))):  # ISO 216; ANSI/ASME Y14.1
        with pikepdf.open(tmp_path / f"{name}.pdf") as document:
            box = [float(edge) for edge in document.pages[0].MediaBox]
        assert box[2:] == pytest.approx(size, abs=0.02)


@pytest.mark.skipif(not which("pdftotext"), reason="pdftotext (poppler-utils) is not installed")
def test_the_job_card_carries_the_job_s_address(desk: Desk, tmp_path: Path) -> None:
    room_cards.print_cards(tmp_path / "cards.pdf", rooms=["Kitchen"], desk=desk)

    text = subprocess.run(["pdftotext", tmp_path / "cards.pdf", "-"], capture_output=True, check=True).stdout
    for word in (desk.job.details.address, "My watch shows", "Kitchen"):
        assert word in text.decode()


def test_a_room_without_a_standard_card_is_known_to_its_job(desk: Desk, tmp_path: Path) -> None:
    first = room_cards.print_cards(tmp_path / "1.pdf", rooms=["Sun room", "Kitchen"], blanks=0, desk=desk)
    again = room_cards.print_cards(tmp_path / "2.pdf", rooms=["sun  room"], blanks=0, desk=desk)

    assert again == first[:1]
    assert card_names(desk.decisions)[first[0][0]] == "Sun room"
    assert roomcards.CARD_NAMES[first[1][0]] == "Kitchen"


def test_without_a_job_only_standard_rooms_have_cards(tmp_path: Path) -> None:
    with pytest.raises(WrongUsage, match="Sun room"):
        room_cards.print_cards(tmp_path / "cards.pdf", rooms=["Sun room"])

    assert not (tmp_path / "cards.pdf").exists()


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "cards.pdf").write_text("mine")

    with pytest.raises(AlreadyThere):
        room_cards.print_cards(tmp_path / "cards.pdf")

    assert (tmp_path / "cards.pdf").read_text() == "mine"


def test_a_blank_card_takes_the_name_written_on_it(desk: Desk) -> None:
    rooms.name_cards(desk, {60: "Sun room"})

    assert card_names(desk.decisions)[60] == "Sun room"
    desk.undo()
    assert 60 not in card_names(desk.decisions)


@pytest.mark.parametrize(("number", "name"), [(60, " "), (roomcards.JOB_CARD, "Kitchen")])
def test_a_card_that_cannot_be_named_is_refused(desk: Desk, number: int, name: str) -> None:
    with pytest.raises(WrongUsage):
        rooms.name_cards(desk, {number: name})
