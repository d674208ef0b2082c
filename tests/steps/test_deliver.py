"""Deliveries noted with the digests of what was handed over; how long a job is kept."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from evidence import tables
from evidence.desk import Desk
from evidence.errors import DigestMismatch, NotIssuable, WrongUsage
from evidence.files import digest_of
from evidence.progress import Silent
from evidence.steps import deliver, findings, issue
from evidence.steps.status import status

DAY = date(2026, 3, 6)
NOW = datetime(2026, 3, 20, 23, 30, tzinfo=timezone(timedelta(hours=-6)))


@pytest.fixture
def desk(taken_in: Path, tmp_path: Path) -> Iterator[Desk]:
    """The job on a day of its own, whatever day it is."""
    shutil.copytree(taken_in, tmp_path / "job")
    with Desk.open(tmp_path / "job", now=lambda: NOW) as opened:
        yield opened


def issued(desk: Desk) -> None:
    findings.add(desk, {"seen": "Water stain"})
    issue.issue(desk, issue.Wanted(("csv", "html"), unlooked_reason="a test"), progress=Silent())


def test_a_delivery_keeps_the_digest_of_each_document_and_shows_in_the_status(desk: Desk) -> None:
    issued(desk)
    folder = desk.job.issued / "edition-1"
    name = next(path.name for path in folder.iterdir() if path.suffix == ".html")

    noted = deliver.deliver(desk, "R.  Moss", DAY, by="e-mail", names=(name,))

    assert noted.files == {name: digest_of(folder / name)}
    assert status(desk, DAY).delivered == (noted,)
    assert noted.to == "R. Moss"
    desk.undo()
    assert status(desk, DAY).delivered == ()


def test_nothing_can_be_delivered_that_was_not_issued(desk: Desk) -> None:
    with pytest.raises(NotIssuable):
        deliver.deliver(desk, "R. Moss", DAY)
    issued(desk)
    with pytest.raises(WrongUsage, match="no edition 2"):
        deliver.deliver(desk, "R. Moss", DAY, edition=2)
    with pytest.raises(WrongUsage, match=r"other\.pdf"):
        deliver.deliver(desk, "R. Moss", DAY, names=("other.pdf",))
    with pytest.raises(WrongUsage):
        deliver.deliver(desk, " ", DAY)


@pytest.mark.parametrize(
    ("zone", "at", "last"),
    [
        ("", NOW - timedelta(hours=2), 20),
        ("", NOW, 21),
        ("Pacific/Auckland", NOW - timedelta(hours=12), 21),
        ("Pacific/Pago_Pago", NOW - timedelta(hours=2), 20),
        ("", NOW - timedelta(days=40), 21),
    ],
    ids=["today", "a clock a little behind", "tomorrow at the house", "yesterday there", "a clock set back"],
)
def test_a_day_still_to_come_is_refused(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, zone: str, at: datetime, last: int
) -> None:
    """Truth: Auckland lies 13 hours east of UTC in March, Pago Pago 11 west (IANA time zone database).

    A clock set back is known by the record, whose last line is from 23:30.
    """
    issued(desk)
    desk.job.set_details(replace(desk.job.details, zone=zone))
    monkeypatch.setattr(desk.job, "now", lambda: at)
    latest = NOW if at < NOW - timedelta(days=1) else None
    monkeypatch.setattr(deliver, "moment", lambda _: latest)

    with pytest.raises(WrongUsage, match=f"2026-03-{last + 1} is still to come"):
        deliver.deliver(desk, "R. Moss", date(2026, 3, last + 1), names=("appendix.html",))
    assert deliver.deliveries(desk.job) == ()
    assert deliver.deliver(desk, "R. Moss", date(2026, 3, last), names=("appendix.html",)).on.day == last


def test_a_job_is_kept_so_many_years_after_its_last_day(desk: Desk) -> None:
    assert deliver.keep_until(desk.job) is None
    desk.job.set_details(replace(desk.job.details, inspected=date(2024, 2, 29), retention_years=5))
    assert deliver.keep_until(desk.job) == date(2029, 3, 1)


def test_the_status_counts_down_until_the_last_edition_was_delivered(desk: Desk) -> None:
    issued(desk)
    desk.job.set_details(replace(desk.job.details, due=DAY + timedelta(days=2)))
    assert "(in 2 days)" in tables.status(status(desk, DAY))

    deliver.deliver(desk, "R. Moss", DAY)
    assert "(delivered in time)" in tables.status(status(desk, DAY + timedelta(days=9)))

    issued(desk)
    assert "(today; edition 2 not delivered yet)" in tables.status(status(desk, DAY + timedelta(days=2)))
    deliver.deliver(desk, "R. Moss", DAY + timedelta(days=3))
    assert "(delivered late)" in tables.status(status(desk, DAY + timedelta(days=3)))


def test_a_second_delivery_to_the_same_person_stands_beside_the_first(desk: Desk) -> None:
    issued(desk)
    desk.job.set_details(replace(desk.job.details, due=DAY))
    first = deliver.deliver(desk, "R. Moss", DAY, names=("appendix.html",))

    later = deliver.deliver(desk, "R. Moss", DAY + timedelta(days=9), names=("schedule.csv",))
    again = deliver.deliver(desk, "R. Moss", DAY + timedelta(days=9), names=("schedule.csv",))

    assert again == later
    assert deliver.deliveries(desk.job) == (first, later)
    assert "(delivered in time)" in tables.status(status(desk, DAY + timedelta(days=9)))


def test_a_delivery_noted_by_an_earlier_version_is_read(desk: Desk) -> None:
    """Its key alone said to whom, slash or not."""
    issued(desk)
    desk.decide("delivered", "1/Moss c/o Fern", {"on": "2026-03-06", "by": "", "files": {"x.pdf": "0"}})

    (noted,) = deliver.deliveries(desk.job)

    assert (noted.edition, noted.to, noted.on) == (1, "Moss c/o Fern", DAY)


@pytest.mark.parametrize(("days", "odd"), [(-2, True), (0, False)])
def test_a_delivery_from_before_the_edition_was_issued_is_remarked_on(
    desk: Desk, days: int, odd: bool
) -> None:
    issued(desk)
    today = desk.job.now().date()

    noted = deliver.deliver(desk, "R. Moss", today + timedelta(days=days))

    assert ("was issued later than that" in tables.delivered(noted)) is odd


def test_a_document_that_is_not_as_it_was_issued_is_not_noted(desk: Desk) -> None:
    issued(desk)
    name = next(path for path in (desk.job.issued / "edition-1").iterdir() if path.suffix == ".html")
    name.write_bytes(name.read_bytes() + b" ")

    with pytest.raises(DigestMismatch, match="not as it was issued"):
        deliver.deliver(desk, "R. Moss", DAY, names=(name.name,))
    assert deliver.deliveries(desk.job) == ()


def test_the_day_until_which_a_job_is_kept_warns_when_it_is_past_and_deletes_nothing(desk: Desk) -> None:
    desk.job.set_details(replace(desk.job.details, inspected=date(2024, 2, 29), retention_years=1))
    before = sorted(desk.job.folder.rglob("*"))

    assert "Nothing is deleted" not in tables.status(status(desk, date(2025, 3, 1)))
    assert "Nothing is deleted" in tables.status(status(desk, date(2025, 3, 2)))
    assert sorted(desk.job.folder.rglob("*")) == before
