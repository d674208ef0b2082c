"""Searching a shelf of jobs: all words, anywhere in a job, whatever their case; nothing hidden."""

from __future__ import annotations

from pathlib import Path

import pytest

from evidence.desk import Desk
from evidence.errors import WrongUsage
from evidence.steps import findings
from evidence.steps.search import search
from evidence.steps.start import start


def job(folder: Path, address: str, client: str, seen: str) -> None:
    start(folder, {"address": address, "client": client, "inspected": "2026-03-04"}).close()
    with Desk.open(folder) as desk:
        findings.add(desk, {"seen": seen})


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    job(tmp_path / "2026" / "one", "14 Alder Court", "R. Moss", "The chimney cap is missing.")
    job(tmp_path / "2026" / "two", "9 Birch Lane", "J. Fern", "The chimney leans.")
    return tmp_path


def test_all_words_must_be_found_but_not_in_one_place(shelf: Path) -> None:
    found = search(shelf, "CHIMNEY alder").found

    assert [one.address for one in found] == ["14 Alder Court"]
    assert any("chimney cap" in where for where in found[0].where)
    assert len(search(shelf, "chimney").found) == 2
    assert search(shelf, "chimney elm").found == ()


def test_a_withdrawn_finding_is_not_found(shelf: Path) -> None:
    with Desk.open(shelf / "2026" / "two") as desk:
        findings.withdraw(desk, 1)

    assert [one.client for one in search(shelf, "chimney").found] == ["R. Moss"]


def test_a_job_that_cannot_be_read_is_named_and_costs_no_other(shelf: Path) -> None:
    (shelf / "2026" / "two" / "job.toml").write_text("address = ")

    result = search(shelf, "chimney")

    assert [one.client for one in result.found] == ["R. Moss"]
    assert [folder.name for folder, _ in result.unread] == ["two"]


def test_no_word_and_no_folder_are_refused(shelf: Path) -> None:
    with pytest.raises(WrongUsage):
        search(shelf, "  ")
    with pytest.raises(WrongUsage, match="no folder"):
        search(shelf / "nowhere", "chimney")
