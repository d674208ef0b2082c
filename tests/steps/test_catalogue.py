"""An inspector's own findings: where they lie, which file wins, what a bad one says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from evidence import own
from evidence.desk import Desk
from evidence.errors import AlreadyThere, BadCatalogue, CannotWrite, WrongUsage
from evidence.findings import packaged
from evidence.settings import JOB_FILE, Details, written
from evidence.steps import catalogue, findings

MOSS = """
[[finding]]
id = "OWN-01"
system = "roof"
seen = "Moss covers the roof."
why = "It holds water."
do = "Have it removed."
who = "roofing contractor"
hazard = "falling moss"
keywords = ["moss"]
"""


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A person's settings that are nobody's."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    return tmp_path / "settings"


def test_the_usual_place_follows_the_xdg_specification() -> None:
    """XDG Base Directory Specification 0.8: $XDG_CONFIG_HOME, else ~/.config; a relative one is ignored."""
    place = own.usual_place

    assert place("linux", {"HOME": "/h"}) == Path("/h/.config/evidence/findings.toml")
    assert place("linux", {"HOME": "/h", "XDG_CONFIG_HOME": "/c"}) == Path("/c/evidence/findings.toml")
    assert place("linux", {"HOME": "/h", "XDG_CONFIG_HOME": "c"}) == Path("/h/.config/evidence/findings.toml")
    assert place("win32", {"HOME": "/h", "APPDATA": "/a"}) == Path("/a/evidence/findings.toml")


def test_a_folder_of_settings_that_is_none_is_said_to_be_unwritable(home: Path) -> None:
    home.write_text("a file where the folder should be")

    with pytest.raises(CannotWrite, match="cannot be written"):
        catalogue.begin()


def test_a_file_begun_changes_nothing_until_a_row_is_taken_into_use() -> None:
    before = own.in_use()

    catalogue.begin()

    assert own.in_use().rows == before.rows
    with pytest.raises(AlreadyThere, match="left as it is"):
        catalogue.begin()


def test_every_row_of_the_begun_file_can_be_used_as_it_stands() -> None:
    rows = [line.removeprefix("# ") for line in catalogue.BEGUN.splitlines() if "=" in line or "[[" in line]
    place = own.usual_place()
    place.parent.mkdir(parents=True)
    place.write_text("\n".join(rows), "utf-8")

    assert "insured" in own.in_use().standard("ROF-08").do
    assert own.in_use().standard("OWN-01").system == "roof"


def test_the_file_a_job_names_goes_before_the_usual_one(desk: Desk, tmp_path: Path, home: Path) -> None:
    (home / "evidence").mkdir(parents=True)
    (home / "evidence" / "findings.toml").write_text(MOSS.replace("Moss", "Lichen"), "utf-8")
    (desk.job.folder / "mine.toml").write_text(MOSS, "utf-8")

    usual = own.in_use(desk.job.folder)
    named = own.in_use(desk.job.folder, replace(Details(), own_findings="mine.toml"))

    assert usual.standard("OWN-01").seen == "Lichen covers the roof."
    assert named.standard("OWN-01").seen == "Moss covers the roof."


def test_a_finding_is_made_from_an_own_row_and_found_by_its_words(desk: Desk, home: Path) -> None:
    (home / "evidence").mkdir(parents=True)
    (home / "evidence" / "findings.toml").write_text(MOSS, "utf-8")

    made = findings.add(desk, {}, standard="own-01")

    assert made.seen == "Moss covers the roof."
    assert findings.search("moss on the roff")[0].id == "OWN-01"
    assert findings.suggest(desk, "there is moss up here", "Roof")[0].id == "OWN-01"
    assert catalogue.caution(made).startswith("Keep away")


def test_a_changed_file_is_read_anew(home: Path) -> None:
    place = home / "evidence" / "findings.toml"
    place.parent.mkdir(parents=True)
    place.write_text(MOSS, "utf-8")
    assert own.in_use() is own.in_use()

    place.write_text(MOSS.replace("Moss", "Lichen"), "utf-8")

    assert own.in_use().standard("OWN-01").seen == "Lichen covers the roof."


def test_a_file_that_is_named_and_missing_is_said(tmp_path: Path) -> None:
    (tmp_path / JOB_FILE).write_text(written(replace(Details(), own_findings="gone.toml")), "utf-8")

    with pytest.raises(BadCatalogue, match=r"gone\.toml"):
        own.in_use(tmp_path)


def test_a_file_that_is_no_text_is_said(home: Path) -> None:
    (home / "evidence").mkdir(parents=True)
    (home / "evidence" / "findings.toml").write_bytes(b"\xff\xfe\x00")

    with pytest.raises(BadCatalogue, match="are not UTF-8 text in line 1; save them as UTF-8"):
        own.in_use()


def test_a_finding_by_hand_does_not_need_the_catalogue(desk: Desk, home: Path) -> None:
    (home / "evidence").mkdir(parents=True)
    (home / "evidence" / "findings.toml").write_text("nonsense", "utf-8")

    assert findings.add(desk, {"seen": "A step is loose."}).seen == "A step is loose."
    with pytest.raises(BadCatalogue):
        findings.add(desk, {}, standard="ATT-06")


def test_references_are_shown_on_request_only() -> None:
    assert {row.reference for row in catalogue.shown()} == {""}
    assert {row.reference_source for row in findings.search("relief pipe")} == {""}
    assert "P2804" in catalogue.shown(name="PLB-02", references=True)[0].reference


def test_an_unknown_part_of_the_house_is_named() -> None:
    with pytest.raises(WrongUsage, match="cellar"):
        catalogue.shown(system="cellar")


def test_a_bad_own_file_hides_no_job_and_is_said(desk: Desk, home: Path) -> None:
    (home / "evidence").mkdir(parents=True)
    (home / "evidence" / "findings.toml").write_text("nonsense", "utf-8")

    rows, fault = own.for_offers(desk.job.folder, desk.job.details)

    assert rows is packaged()
    assert "findings.toml cannot be read as TOML" in fault
    assert desk.state().pictures


def test_a_findings_reference_stays_out_of_it_unless_asked_for(desk: Desk) -> None:
    plain = findings.add(desk, {}, standard="PLB-02")
    asked = findings.add(desk, {"reference": findings.reference_of(desk, "PLB-02")}, standard="PLB-02")

    assert plain.reference == ""
    assert "P2804.6.1" in asked.reference
    with pytest.raises(WrongUsage, match="No reference is known for ELE-09"):
        findings.reference_of(desk, "ELE-09")
