"""Note which edition was delivered, to whom and when; and for how long the job is to be kept."""

from __future__ import annotations

import zoneinfo
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from evidence import bag, files
from evidence.errors import BadSetting, DigestMismatch, NotIssuable, WrongUsage
from evidence.record import in_force, moment

if TYPE_CHECKING:
    from evidence.desk import Desk
    from evidence.job import Job
    from evidence.record import Json


_CLOCK_SLACK = timedelta(hours=1)
"""A clock may be so far behind without anybody's minding; our own guess."""


@dataclass(frozen=True, slots=True)
class Delivery:
    """One edition handed to somebody.

    Attributes
    ----------
    edition
        Its number.
    to, by
        To whom; by what way, "" when not said.
    on
        The day.
    files
        Name and SHA-256 of each document handed over.
    said
        What is odd about the day, "" usually.
    """

    edition: int
    to: str
    by: str
    on: date
    files: dict[str, str]
    said: str = ""


def deliver(
    desk: Desk, to: str, on: date, *, edition: int | None = None, by: str = "", names: tuple[str, ...] = ()
) -> Delivery:
    """Note a delivery; a further one to the same person stands beside the first.

    Parameters
    ----------
    edition
        Its number; None takes the last one issued.
    names
        Documents of the edition that were handed over; none: its PDF.

    Raises
    ------
    NotIssuable
        No edition was issued yet.
    WrongUsage
        Nobody is named, the day is still to come, or there is no such edition or document of it.
    DigestMismatch
        A document is not as it was issued; nothing is noted.
    """
    to = " ".join(to.split())
    if not to:
        raise WrongUsage("Say to whom the edition was delivered.")
    if on > (today := _today(desk.job)):
        raise WrongUsage(
            f"{on.isoformat()} is still to come, for today is {today.isoformat()} by this computer's clock; "
            "note a delivery once it is made."
        )
    issued = desk.job.editions()
    number = edition or max(issued, default=0)
    if not issued:
        raise NotIssuable("No edition was issued yet; issue one first.")
    if number not in issued:
        raise WrongUsage(f"There is no edition {edition} in this job; the last one is {max(issued)}.")
    folder = desk.job.issued / f"edition-{number}"
    listed = bag.read_manifest(folder / bag.MANIFEST)
    chosen = names or tuple(name for name in listed if name == "appendix.pdf") or tuple(listed)
    if missing := [name for name in chosen if name not in listed]:
        raise WrongUsage(f"Edition {number} has no document {missing[0]}; it has {', '.join(listed)}.")
    for name in chosen:
        if not (folder / name).is_file() or files.digest_of(folder / name) != listed[name]:
            raise DigestMismatch(f"{name} of edition {number} is not as it was issued; nothing was noted.")
    handed = {name: str(listed[name]) for name in chosen}
    way = " ".join(by.split())
    value: dict[str, Json] = {"to": to, "on": on.isoformat(), "by": way, "files": dict(handed)}
    desk.decide("delivered", _free(desk, f"{number}/{to}", value), value)
    return Delivery(number, to, way, on, handed, _odd(desk.job, number, on))


def _today(job: Job) -> date:
    """Give the latest day that it may be: here, where the house stands, or by the record.

    This computer may stand in another zone than the inspector, or its clock have been set back.
    """
    now = max([job.now(), *filter(None, map(moment, job.lines))]) + _CLOCK_SLACK
    days = [now.astimezone(job.now().tzinfo).date()]
    if job.details.zone:
        days.append(now.astimezone(zoneinfo.ZoneInfo(job.details.zone)).date())
    return max(days)


def _free(desk: Desk, about: str, value: Json) -> str:
    """Give a key that no other delivery has; the same one noted again is no second one."""
    key, n = about, 1
    while (noted := desk.decisions.get(("delivered", key))) and noted.value not in (None, value):
        n += 1
        key = f"{about}/{n}"
    return key


def _odd(job: Job, edition: int, on: date) -> str:
    """Say of a day before the edition was issued that it is; clocks of two zones may be a day apart."""
    when = next((line.when for line in job.lines if line.what == "issue" and line.about == str(edition)), "")
    if not when:
        return ""
    issued = datetime.fromisoformat(when)
    if on < min(issued.date(), issued.astimezone().date()):
        return f"By this computer's clock edition {edition} was issued later than that, on {when[:10]}."
    return ""


def to_whom(about: str, value: Json) -> str:
    """Name whom a noted delivery went to: until a second could be noted, its key alone said it."""
    named = about.partition("/")[2]
    return str(value.get("to", named)) if isinstance(value, dict) else named


def deliveries(job: Job) -> tuple[Delivery, ...]:
    """Give the deliveries noted, in order of edition and day."""
    found = []
    for (what, about), decision in in_force(job.lines).items():
        if what == "delivered" and decision.value is not None:
            number = int(about.partition("/")[0])
            value, on = decision.value, date.fromisoformat(decision.value["on"])
            to, said = to_whom(about, value), _odd(job, number, on)
            found.append(Delivery(number, to, value["by"], on, dict(value["files"]), said))
    return tuple(sorted(found, key=lambda one: (one.edition, one.on, one.to)))


def keep_until(job: Job) -> date | None:
    """Say until when the job is to be kept: so many years after it was last issued or inspected.

    Returns
    -------
    None when job.toml does not say for how many years, or there is no day to count from. What comes
    after that day is the inspector's to decide; the program never deletes anything.
    """
    years = job.details.retention_years
    days = [datetime.fromisoformat(line.when).date() for line in job.lines if line.what == "issue"]
    if job.details.inspected:
        days.append(job.details.inspected)
    if years is None or not days:
        return None
    last = max(days)
    try:
        return last.replace(year=last.year + years)
    except ValueError:  # 29 February
        return date(last.year + years, 3, 1)


def parse_day(text: str) -> date:
    """Read a day such as 2026-11-25.

    Raises
    ------
    BadSetting
        It is none.
    """
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadSetting(f"“{text}” is no day such as 2026-11-25.") from None
