"""Issuing: whole or not at all, never changed, numbers kept."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from evidence import verify
from evidence.bag import MAKING
from evidence.desk import Desk
from evidence.errors import DigestMismatch, NoAddress, NotIssuable
from evidence.packing import from_json
from evidence.progress import Silent
from evidence.report import wording
from evidence.report.contents import Contents
from evidence.settings import Details, details
from evidence.steps import attach, findings, gaps, issue, rooms
from evidence.words import Distance
from tests import saboteurs


def now() -> datetime:
    return datetime(2026, 3, 5, 20, 15, tzinfo=UTC)


def issued(desk: Desk, **wanted: object) -> issue.Issued:
    asked = issue.Wanted(**{"unlooked_reason": "a test"} | wanted)  # type: ignore[arg-type]
    return issue.issue(desk, asked, progress=Silent(), now=now)


def contents(made: issue.Issued) -> Contents:
    return from_json((made.folder / issue.CONTENTS).read_bytes(), Contents)


@pytest.fixture
def ready(desk: Desk) -> Desk:
    """A job with two findings, each with a picture, and an overall view."""
    for frame in range(2, 9):
        desk.decide("begins", frame, frame == 5)
    rooms.name(desk, {1: "Kitchen", 2: "Attic"})
    for seen, frame in (("A drain leaks.", 2), ("A rafter is split.", 6)):
        number = findings.add(desk, {"seen": seen}).number
        attach.attach(desk, number, [frame], distance=Distance.CLOSE_UP)
    rooms.overall(desk, [1])
    return desk


def test_an_edition_prints_findings_and_overall_views_and_verifies(ready: Desk) -> None:
    made = issued(ready)

    assert (made.edition, made.photos, made.findings) == (1, 3, 2)
    assert sorted(p.frame for p in contents(made).photos) == [1, 2, 6]
    assert verify.verify(ready.job.folder).sound


def test_the_next_edition_keeps_photo_numbers_and_lists_what_changed(ready: Desk) -> None:
    first = contents(issued(ready))
    attach.attach(ready, 1, [3], distance=Distance.OVERALL)
    findings.withdraw(ready, 2)
    gaps.explain(ready, "Crawl space", "no opening was found")

    second = contents(issued(ready))

    numbers = {p.frame: p.number for p in first.photos}
    assert all(p.number == numbers[p.frame] for p in second.photos if p.frame in numbers)
    assert {p.number for p in second.photos if p.frame == 3} == {4}
    assert "Finding 2 was withdrawn." in second.changes
    assert "Photo 4 was added." in second.changes
    assert "The list of what could not be seen was changed." in second.changes
    assert verify.verify(ready.job.folder).sound


def test_the_same_job_issued_again_says_that_nothing_changed(ready: Desk) -> None:
    issued(ready)

    assert contents(issued(ready)).changes == ("Nothing but the issue itself.",)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"required_text": ["NOTICE: This is not a warranty."]}, "wording of the required texts"),
        ({"language": "en-GB"}, "way of writing dates and numbers"),
        ({"per_page": 4}, "page size or the number of photos"),
        ({"paper": "a4"}, "page size or the number of photos"),
        ({"inspector": "B. Finch"}, "account of who confirmed what"),
    ],
)
def test_a_change_of_what_is_printed_beside_the_findings_is_said(
    ready: Desk, changed: dict[str, object], said: str
) -> None:
    issued(ready, formats=("csv",))
    ready.job.set_details(details(changed, ready.job.details))

    assert any(said in change for change in contents(issued(ready, formats=("csv",))).changes)


def test_findings_put_into_another_order_are_said_to_be(ready: Desk) -> None:
    issued(ready, formats=("csv",))
    findings.order(ready, [2, 1])

    assert contents(issued(ready, formats=("csv",))).changes == ("The order of the findings was changed.",)


def test_a_withdrawn_finding_decides_nothing_about_a_picture_it_shared(ready: Desk) -> None:
    """It was attached first, last in its line and from afar; what stands shows it first and close up."""
    shared = findings.add(ready, {"seen": "A joist is notched."}).number
    attach.attach(ready, 1, [3, 4, 5], distance=Distance.OVERALL)
    attach.attach(ready, shared, [5, 4], distance=Distance.CLOSE_UP)

    findings.withdraw(ready, 1)

    (photo,) = (p for p in contents(issued(ready)).photos if p.frame == 5)
    assert (photo.findings, photo.rank, photo.distance) == ((shared,), 0, Distance.CLOSE_UP)


@pytest.mark.parametrize("draft", [True, False])
def test_an_original_that_is_gone_is_named_and_nothing_is_issued(ready: Desk, draft: bool) -> None:
    place = next(p.taken.original.place for p in ready.state().pictures if p.frame == 2)
    ready.job.original(place).unlink()

    with pytest.raises(DigestMismatch, match=r"Nothing was issued: .*OSTR0002\.JPG cannot be read"):
        issued(ready, draft=draft)

    assert list(ready.job.issued.glob("*")) == []


def test_a_draft_is_no_edition_and_the_next_draft_takes_its_place(ready: Desk) -> None:
    before = ready.job.last_hash

    issued(ready, draft=True)
    made = issued(ready, draft=True)

    assert ready.job.last_hash == before
    assert contents(made).draft
    assert made.folder.name == "draft"
    assert verify.verify(ready.job.folder).sound


def test_killed_before_the_last_move_the_same_issue_is_finished_not_done_twice(ready: Desk) -> None:
    made = issued(ready)
    unfinished = made.folder.with_name(MAKING + made.folder.name)
    made.folder.rename(unfinished)
    half = verify.verify(ready.job.folder)
    assert half.sound
    assert "Edition 1 lacks only its last move" in " ".join(half.remarks)

    again = issued(ready)

    assert (again.edition, again.digest) == (1, made.digest)
    assert made.folder.is_dir()
    assert not unfinished.exists()
    assert sum(line.what == "issue" for line in ready.job.lines) == 1


def test_an_edition_that_lacks_its_last_move_is_checked_like_any(ready: Desk) -> None:
    made = issued(ready)
    unfinished = made.folder.with_name(MAKING + made.folder.name)
    made.folder.rename(unfinished)
    page = unfinished / "appendix.pdf"
    page.write_bytes(page.read_bytes() + b"%")

    (fault,) = verify.verify(ready.job.folder).faults

    assert fault.where == "issued/making-edition-1/appendix.pdf"


def test_every_document_is_on_the_disk_before_the_record_names_the_edition(
    ready: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A plug pulled after the record's line must not leave an edition of empty files."""
    lost: list[list[str]] = []

    def told(doing: str, path: Path) -> None:
        if (doing, path.name) == ("write", "record.jsonl"):
            lost.append(ledger.unsynced_below(ready.job.issued))

    ledger = saboteurs.Ledger(told)
    ledger.watch(monkeypatch)

    made = issued(ready, formats=issue.FORMATS, mail_limit=10_000_000)

    assert lost == [[]]
    assert len(made.files) == len(issue.FORMATS) + 1  # and the PDF that is small enough to mail
    assert ledger.unsynced_below(made.folder) == []
    assert ledger.unsafe_below(made.folder.parent) == []


def test_killed_before_the_record_names_it_an_edition_leaves_nothing(ready: Desk) -> None:
    made = issued(ready, draft=True)
    rest = made.folder.with_name(MAKING + "edition-1")
    shutil.copytree(made.folder, rest)

    issued(ready)

    assert not rest.exists()
    assert verify.verify(ready.job.folder).sound


def test_a_job_without_address_is_not_issued(ready: Desk) -> None:
    ready.job.set_details(Details())

    with pytest.raises(NoAddress, match="address") as told:
        issued(ready)

    assert "job.toml" in told.value.remedy


def test_a_job_with_nothing_to_print_is_not_issued(desk: Desk) -> None:
    with pytest.raises(NotIssuable, match="no finding and no picture"):
        issued(desk)


def test_the_moment_of_issue_is_written_in_the_houses_zone(ready: Desk) -> None:
    """March 5 is before daylight-saving time in Chicago: UTC-06:00 (IANA time zone database)."""
    ready.job.set_details(replace(ready.job.details, zone="America/Chicago"))

    assert contents(issued(ready)).issued_at.isoformat() == "2026-03-05T14:15:00-06:00"


def test_a_picture_not_looked_at_is_named_and_the_reason_recorded(ready: Desk) -> None:
    ready.decide("looked", 1, value=True)

    made = issued(ready, unlooked_reason="looked at on the camera")

    assert made.unlooked == (2, 6)
    line = next(line for line in ready.job.lines if line.what == "issue")
    assert line.value["not looked at"] == [2, 6]
    assert line.value["reason"] == "looked at on the camera"


def test_sha256sum_confirms_an_edition_without_the_program(ready: Desk) -> None:
    """GNU coreutils' sha256sum is the outside reader."""
    made = issued(ready)

    checked = subprocess.run(
        ["sha256sum", "-c", "manifest-sha256.txt"],
        cwd=made.folder,
        capture_output=True,
        text=True,
        check=False,
    )

    assert checked.returncode == 0
    assert "appendix.pdf: OK" in checked.stdout


def test_the_same_contents_give_the_same_bytes(ready: Desk, tmp_path: Path) -> None:
    made = issued(ready, draft=True)
    first = {path.name: path.read_bytes() for path in made.folder.iterdir()}
    shutil.rmtree(ready.job.copies)

    second = {path.name: path.read_bytes() for path in issued(ready, draft=True).folder.iterdir()}

    assert first == second


def test_what_a_finding_could_not_show_is_listed_once_in_every_reader_of_the_contents(ready: Desk) -> None:
    """A limit belongs to its finding and is not recorded a second time."""
    findings.edit(ready, 1, {"limits": "the trap is behind a panel"})
    gaps.explain(ready, "Crawl space", "no opening was found")

    unseen = wording.not_seen(contents(issued(ready)))

    assert [entry.reason for entry in unseen] == ["no opening was found", "the trap is behind a panel"]


def test_a_regulators_text_is_printed_word_for_word_line_for_line(ready: Desk) -> None:
    """The digest is what sha256sum gives of the same bytes (FIPS 180-4)."""
    text = "NOTICE:\n  This is not a  warranty."
    ready.job.set_details(details({"required_text": [text]}, ready.job.details))

    (kept,) = contents(issued(ready)).required_texts

    assert (kept.text, kept.digest) == (text, hashlib.sha256(text.encode()).hexdigest())


def test_an_issue_says_what_a_reader_will_miss_in_its_findings(ready: Desk) -> None:
    """Each part that North Carolina 11 NCAC 08.1103(b)(3) asks for, and a view that shows where."""
    made = issued(ready)

    assert any("Finding 1" in said and "why it matters" in said for said in made.lacking)
    assert any("Finding 1" in said and "where it is" in said for said in made.lacking)
    findings.edit(ready, 1, {"why": "it rots", "do": "mend it", "who": "a plumber", "room": "Kitchen"})
    attach.attach(ready, 1, [3], distance=Distance.OVERALL)
    assert not any("Finding 1" in said for said in issued(ready).lacking)


def test_urgent_findings_come_first_unless_ordered_by_hand(ready: Desk) -> None:
    findings.edit(ready, 2, {"urgent": True})
    assert [f.number for f in contents(issued(ready)).findings] == [2, 1]

    findings.order(ready, [1, 2])
    assert [f.number for f in contents(issued(ready)).findings] == [1, 2]


def test_what_changed_is_listed_by_number(ready: Desk) -> None:
    """A set of 8, 1 and 16 is gone through in this order: as the client read it, without any."""
    before = contents(issued(ready))
    one = before.photos[0]
    photos = tuple(replace(one, number=number) for number in (8, 1, 16))
    after = replace(before, photos=tuple(replace(photo, shown="a drain") for photo in photos))

    said = issue.differences(replace(before, photos=photos), after)

    assert said == tuple(f"Photo {n} or its caption was changed." for n in (1, 8, 16))
