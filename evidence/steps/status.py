"""Say on one screen how a job stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from evidence import study
from evidence.pictures import kind_of
from evidence.steps.deliver import Delivery, deliveries, keep_until
from evidence.steps.gaps import gaps
from evidence.steps.parts import unexpected_job_cards
from evidence.steps.read import Damaged, damaged
from evidence.words import OTHERS, FileKind

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from evidence.desk import Desk
    from evidence.timeline import PictureState
    from evidence.words import FrameNumber, Taken


@dataclass(frozen=True, slots=True)
class Beside:
    """An original that is no picture with a number of its own.

    Attributes
    ----------
    place
        Where it lies below ``originals/data``.
    kind
        What sort of file it is.
    bytes
        Its size.
    frame
        The picture whose DCF number it shares, so that a sound note speaks of that picture; None
        when it shares none.
    """

    place: str
    kind: FileKind
    bytes: int
    frame: int | None


@dataclass(frozen=True, slots=True)
class Status:
    """How a job stands.

    Attributes
    ----------
    address
        Of the house, "" when not given.
    originals, bytes
        Files kept and their size in all.
    pictures, films, sounds, others
        Counts by kind.
    beside
        Every original that is no picture: sound notes, raw files beside their JPEG, films,
        transcripts, sidecars, foreign files.
    damaged
        Originals that cannot be shown.
    set_aside
        Card files that could not be read so far, by source and name, with the reason.
    other_jobs
        Where another job seems to begin in the midst of a card, a sentence each.
    odd
        Pictures whose metadata hold something odd: a blank or reset clock, two readers that disagree.
    unread
        Pictures not studied yet, or by an older method.
    brightened, hopeless
        Pictures that will be printed brightened, and pictures too dark for it.
    look_alikes, folded
        Sets of look-alikes, and how many pictures lie behind those in front.
    visits, named
        Visits, and how many of them have a room.
    rooms
        Names in walking order.
    findings, urgent, without_picture
        Findings, how many are urgent, and how many have no picture.
    gaps
        Entries of the gap list.
    editions
        Numbers of the issued editions.
    due, days_left
        Day the appendix is due, and days from today, negative when past; None when not given.
    delivered
        Editions handed over, to whom and when.
    keep_until
        Day until which the job is to be kept, None when nobody said.
    kept_long_enough
        That day is past. Nothing is deleted for it.
    unfinished
        What an earlier run left half done, and whether the computer's clock can be right.
    """

    address: str
    originals: int
    bytes: int
    pictures: int
    films: int
    sounds: int
    others: int
    beside: tuple[Beside, ...]
    damaged: tuple[Damaged, ...]
    set_aside: tuple[tuple[str, str], ...]
    other_jobs: tuple[str, ...]
    odd: tuple[FrameNumber, ...]
    unread: int
    brightened: int
    hopeless: int
    look_alikes: int
    folded: int
    visits: int
    named: int
    rooms: tuple[str, ...]
    findings: int
    urgent: int
    without_picture: int
    gaps: int
    editions: tuple[int, ...]
    due: date | None
    days_left: int | None
    delivered: tuple[Delivery, ...]
    keep_until: date | None
    kept_long_enough: bool
    unfinished: tuple[str, ...]


def status(desk: Desk, today: date) -> Status:
    """Say how a job stands.

    Parameters
    ----------
    today
        For counting down to the day the appendix is due.
    """
    state, taken, details = desk.state(), desk.job.taken(), desk.job.details
    keep = keep_until(desk.job)
    attached = {a.finding for a in state.attachments}
    waiting = desk.store.unanswered(study.VERSIONS)
    return Status(
        address=details.address,
        originals=len(taken),
        bytes=sum(one.original.size_bytes for one in taken),
        pictures=len(state.pictures),
        films=sum(one.kind is FileKind.FILM for one in taken),
        sounds=sum(one.kind is FileKind.SOUND for one in taken),
        others=sum(one.kind in OTHERS for one in taken),
        beside=beside(taken),
        damaged=tuple(damaged(desk)),
        set_aside=tuple(desk.job.set_aside().items()),
        other_jobs=unexpected_job_cards(desk),
        odd=tuple(p.frame for p in state.pictures if p.capture.remarks),
        unread=sum(
            p.usable and (p.quality is None or p.taken.original.digest in waiting) for p in state.pictures
        ),
        brightened=sum(map(_brightened, state.pictures)),
        hopeless=sum(p.hopeless for p in state.pictures),
        look_alikes=len(state.look_alikes),
        folded=sum(len(s.others) for s in state.look_alikes),
        visits=len(state.visits),
        named=sum(bool(visit.room) for visit in state.visits),
        rooms=state.rooms,
        findings=len(state.findings),
        urgent=sum(finding.urgent for finding in state.findings),
        without_picture=sum(finding.number not in attached for finding in state.findings),
        gaps=len(gaps(desk)),
        editions=desk.job.editions(),
        due=details.due,
        days_left=(details.due - today).days if details.due else None,
        delivered=deliveries(desk.job),
        keep_until=keep,
        kept_long_enough=keep is not None and keep < today,
        unfinished=tuple(filter(None, (*desk.job.unfinished, desk.job.clock_doubt))),
    )


def _brightened(picture: PictureState) -> bool:
    """Tell whether a picture will be printed brightened: as decided, else as proposed."""
    if picture.light_decided is not None:
        return isinstance(picture.light_decided, float) and picture.light_decided > 0
    proposed = picture.light_proposed
    return proposed is not None and not proposed.left_alone and not proposed.hopeless


def beside(taken: Iterable[Taken]) -> tuple[Beside, ...]:
    """List the originals that are no pictures, in order of intake, each with the picture it belongs to.

    Files of one DCF object share their number (CIPA DC-009): a sound note is of that picture.
    """
    originals = tuple(taken)
    frames = {(one.source, one.thing): one.frame for one in originals if one.frame is not None}
    return tuple(
        Beside(one.original.place, _kind(one), one.original.size_bytes, frames.get((one.source, one.thing)))
        for one in originals
        if one.frame is None
    )


def _kind(one: Taken) -> FileKind:
    """Tell a transcript from other sidecars in a job whose record does not: earlier versions' notes."""
    named = kind_of(one.original.name, b"") if one.kind is FileKind.SIDECAR else one.kind
    return FileKind.TRANSCRIPT if named is FileKind.TRANSCRIPT else one.kind
