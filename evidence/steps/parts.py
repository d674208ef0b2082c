"""Tell whether a card holds more than one job, and take only the parts that belong to this one.

Hides where job cards are looked for and how a choice made earlier is remembered. Copies nothing.
"""

from __future__ import annotations

import os
from concurrent.futures import BrokenExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from evidence import files, pictures, roomcards, run
from evidence.card import (
    NEAR,
    Card,
    CardFile,
    Part,
    parts,
    times_say_nothing,
    where_a_job_card_may_be,
)
from evidence.errors import EvidenceError, SeveralJobs, WrongUsage
from evidence.places import Places
from evidence.timeline import in_order_shot
from evidence.words import FileKind, FrameNumber, TimeSource

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
    from datetime import date
    from pathlib import Path

    from evidence.desk import Desk
    from evidence.job import Job
    from evidence.progress import Progress
    from evidence.record import Json

SAID = 12
"""So many parts are listed when a card holds more; the latest ones, because a phone keeps years."""

_LOOK_PX = 800
"""Longer side at which a job card is looked for; the reading of markers takes no more anyway."""

_TAKEN = frozenset({TimeSource.TAKEN, TimeSource.DIGITIZED})

_JPEG = b"\xff\xd8\xff"

_EXIF_WITHIN = 128 << 10
"""Bytes at a JPEG's begin: a segment holds 64 kB at most, and Exif is the first or second (CIPA DC-008)."""

_FEW = 24
"""So many JPEGs are looked at sooner than processes for them are started."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the inspector said of a card that may hold several jobs.

    Attributes
    ----------
    numbers
        Parts that belong to this job, counted from 1.
    whole
        All of the card belongs to this job.
    begins
        Names of files with which a job begins for certain, with or without their folder.
    """

    numbers: tuple[int, ...] = ()
    whole: bool = False
    begins: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Offer:
    """One part of a card, as it is put before the inspector.

    Attributes
    ----------
    card, number
        Which part of which card; parts count from 1.
    shots, files
        Files that were shot, and those of them that the job has not yet by name, size and time.
    first, last
        Names on the card.
    began, ended
        By the card's own file times, on this computer's local clock; by the cameras' where those say
        nothing.
    why
        Why it is thought to begin where it does.
    this_day
        It was shot on the day of the inspection.
    """

    card: str
    number: int
    shots: int
    new: int
    first: str
    last: str
    began: datetime
    ended: datetime
    why: str
    this_day: bool

    def __str__(self) -> str:
        same_day = self.ended.date() == self.began.date()
        many = "1 file" if self.shots == 1 else f"{self.shots} files"
        said = [
            f"part {self.number}: {many}, {self.began:%Y-%m-%d %H:%M} to "
            f"{self.ended:{'%H:%M' if same_day else '%Y-%m-%d %H:%M'}}, "
            f"{files.shown(self.first)} to {files.shown(self.last)}"
        ]
        if self.why:
            said.append(self.why)
        if self.new < self.shots:
            said.append(
                f"{self.shots - self.new} of them in this job already" if self.new else "in this job already"
            )
        if self.this_day:
            said.append("of the day of this inspection")
        return "; ".join(said)


@dataclass(frozen=True, slots=True)
class Chosen:
    """What is taken of the cards, and what is left on them for other jobs.

    Attributes
    ----------
    cards
        With only the files that are to be taken.
    left
        Parts that are not taken.
    notes
        A value for the record for each card that was parted, by the card's name.
    """

    cards: tuple[Card, ...]
    left: tuple[Offer, ...] = ()
    notes: tuple[tuple[str, Json], ...] = ()


def choose(
    job: Job,
    cards: Sequence[Card],
    wanted: Wanted,
    *,
    shows_job_card: Callable[[CardFile], bool] | None = None,
    progress: Progress,
) -> Chosen:
    """Take of each card what belongs to this job, or ask.

    Nothing is asked where the job holds shots of every part already: it was settled by an earlier
    intake.

    Raises
    ------
    SeveralJobs
        A card seems to hold several jobs, and nobody said which part is this one's.
    WrongUsage
        There is no such part, or a part was named and several cards given.
    """
    if wanted.numbers and wanted.whole:
        raise WrongUsage("Say --part or --whole, not both.")
    if (wanted.numbers or wanted.begins) and len(cards) != 1:
        raise WrongUsage("A part can be taken of one card at a time: give each card its own intake.")
    holds = Places(job.taken(), ())
    asked: list[Offer] = []
    chosen: list[Card] = []
    left: list[Offer] = []
    notes: list[tuple[str, Json]] = []
    for card in cards:
        source = holds.source_for(card)
        # A file is known again by its own time, whatever it is parted by.
        fresh = {file.name for file in card.files if holds.earlier(source, file) is None}
        timed = card.files if wanted.whole else _timed(card.files, progress)
        job_cards = set() if wanted.whole else _job_cards(timed, shows_job_card, progress)
        found = parts(timed, job_cards, _named(card, wanted.begins))
        offers = [_offer(card, n, part, fresh, job.details.inspected) for n, part in enumerate(found, 1)]
        if len(found) == 1 and not wanted.numbers and not wanted.whole:
            chosen.append(card)
            continue
        if wrong := [n for n in wanted.numbers if not 1 <= n <= len(found)]:
            raise WrongUsage(
                f"{files.shown(card.source)} has {_count(len(found))}; there is no part {wrong[0]}."
            )
        taken = sorted(set(wanted.numbers)) or list(range(1, len(found) + 1))
        if not wanted.numbers and not wanted.whole and any(one.new == one.shots for one in offers):
            asked += offers
            continue
        parted = [found[n - 1] for n in taken]
        keep = {file.name for part in parted for file in part.files}
        chosen.append(replace(card, files=tuple(file for file in card.files if file.name in keep)))
        left += [offer for offer in offers if offer.number not in taken]
        notes.append((source, _note(taken, len(found), job_cards, wanted)))
    if asked:
        raise SeveralJobs(_question(asked), tuple(asked))
    return Chosen(tuple(chosen), tuple(left), tuple(notes))


def unexpected_job_cards(desk: Desk) -> tuple[str, ...]:
    """Say at which pictures of the job another one may begin: a job card in the midst of a card.

    The look before copying passes over most shots; this is what it would have missed. Job cards
    that the inspector knew of when he chose a part, or the whole, are not told again.
    """
    noted = [line for line in desk.job.lines if line.what == "part"]
    whole = {line.about for line in noted if line.value["whole"]}
    known = {name for line in noted for name in (*line.value["job_cards"], *line.value["begins"])}
    said = []
    since: dict[str, int] = {}
    for picture in in_order_shot(desk.state().pictures):
        source, name = picture.taken.source, picture.taken.name_on_card
        before = since.get(source, 0)
        if picture.card == roomcards.JOB_CARD:
            if before >= NEAR and source not in whole and not known & {name, name.rsplit("/", 1)[-1]}:
                said.append(_unexpected(picture.frame, name, before))
            before = 0
        since[source] = before + 1
    return tuple(said)


def _note(taken: Sequence[int], of: int, job_cards: Iterable[str], wanted: Wanted) -> Json:
    return {
        "taken": taken,
        "of": of,
        "job_cards": sorted(job_cards),
        "begins": list(wanted.begins),
        "whole": wanted.whole,
    }


def _unexpected(frame: FrameNumber, name: str, before: int) -> str:
    short = files.shown(name.rsplit("/", 1)[-1])
    return (
        f"Picture {frame} ({short}) shows a job card after {before} other pictures of its card: another job "
        f"may begin there. If so, take it into a job of its own with --job-begins {short} and --part; "
        "if not, run this intake again with --whole."
    )


def _timed(listed: Sequence[CardFile], progress: Progress) -> Sequence[CardFile]:
    """Give files the times by which they are parted: the cameras' own where the file times say nothing.

    A file that tells none has that of the one before it. Where most tell none, nothing is changed.
    """
    if not times_say_nothing(listed):
        return listed
    progress.begin("reading camera times", len(listed))
    told: list[int | None] = []
    for file in listed:
        told.append(_taken_ns(file.path))
        progress.step()
    progress.end()
    known = [ns for ns in told if ns is not None]
    if 2 * len(known) < len(told):
        return listed
    timed, last = [], known[0]
    for file, ns in zip(listed, told, strict=True):
        last = last if ns is None else ns
        timed.append(replace(file, changed_ns=last))
    return timed


def _taken_ns(path: Path) -> int | None:
    """Read when a still picture was taken by its camera's clock, as on this computer's local one.

    A film's time may be of its begin, of its end, or UTC; only a person knows which.
    """
    try:
        with path.open("rb") as file:
            head = file.read(_EXIF_WITHIN)
        # A JPEG has its metadata in front; where other files keep theirs only they know.
        jpeg = head.startswith(_JPEG)
        time = (pictures.read_exif_bytes(head) if jpeg else pictures.read_exif(path)).time
        return int(time.moment.timestamp()) * 10**9 if time and time.source in _TAKEN else None
    except (OSError, OverflowError, ValueError):
        return None


def _job_cards(
    timed: Sequence[CardFile], shows: Callable[[CardFile], bool] | None, progress: Progress
) -> set[str]:
    looked = where_a_job_card_may_be(timed)
    progress.begin("looking for job cards", len(looked))
    found = set()
    for file, shown in zip(looked, map(shows, looked) if shows else _show_job_card(looked), strict=True):
        if shown:
            found.add(file.name)
        progress.step()
    progress.end()
    return found


def _show_job_card(looked: Sequence[CardFile]) -> Iterator[bool]:
    """Look at pictures while they are still on the card; what cannot be read shows no job card.

    The intake tells later what is wrong with such a file. A few JPEGs are decoded here; many, on every
    core; other kinds in another process at any rate, because a broken HEIC can end libheif's
    (docs/methods/metadata.md).
    """
    heads = {file.path: _head(file.path) for file in looked}
    pictured = {path: head for path, head in heads.items() if _is_picture(path, head)}
    if len(pictured) <= _FEW and all(head.startswith(_JPEG) for head in pictured.values()):
        shown: Iterator[bool] = map(_shows_job_card, pictured)
    else:
        shown = _on_every_core(list(pictured))
    yield from (path in pictured and next(shown) for path in heads)


def _is_picture(path: Path, head: bytes) -> bool:
    return pictures.kind_of(path.name, head) is FileKind.PICTURE


def _head(path: Path) -> bytes:
    try:
        with path.open("rb") as opened:
            return opened.read(pictures.HEAD_BYTES)
    except OSError:
        return b""


def _on_every_core(paths: Sequence[Path]) -> Iterator[bool]:
    """Look at pictures in processes of their own; one that ends its process shows no job card."""
    done, cores = 0, os.cpu_count() or 1
    while done < len(paths):
        for shown in _until_one_breaks(paths[done:], cores):
            done += 1
            yield shown
        # Files are taken up in order, so the one that broke the pool is among the next, one a core.
        for path in paths[done : done + cores]:
            done += 1
            yield list(_until_one_breaks([path], 1)) == [True]


def _until_one_breaks(paths: Sequence[Path], cores: int) -> Iterator[bool]:
    pool = run.workers(cores)
    try:
        for future in [pool.submit(_shows_job_card, path) for path in paths]:
            yield future.result()
    except BrokenExecutor:
        return
    finally:
        pool.shutdown(cancel_futures=True)


def _shows_job_card(path: Path) -> bool:
    try:
        return roomcards.JOB_CARD in roomcards.read(pictures.decode(path, _LOOK_PX))
    except (OSError, EvidenceError):
        return False


def _named(card: Card, names: Iterable[str]) -> set[str]:
    """Find the files that were named, with or without their folder.

    Raises
    ------
    WrongUsage
        No file of the card is called so, or several are.
    """
    found = set()
    for name in names:
        fitting = [f.name for f in card.files if name in {f.name, f.path.name}]
        if len(fitting) != 1:
            few = "no file is" if not fitting else f"{len(fitting)} files are"
            raise WrongUsage(f"On {files.shown(card.source)} {few} called {files.shown(name)}.")
        found.add(fitting[0])
    return found


def _offer(card: Card, number: int, part: Part, fresh: Collection[str], day: date | None) -> Offer:
    began = _local(min(file.changed_ns for file in part.shots))
    ended = _local(max(file.changed_ns for file in part.shots))
    return Offer(
        card=card.source,
        number=number,
        shots=len(part.shots),
        new=sum(file.name in fresh for file in part.shots),
        first=part.shots[0].path.name,
        last=part.shots[-1].path.name,
        began=began,
        ended=ended,
        why=part.why,
        this_day=day is not None and began.date() <= day <= ended.date(),
    )


def _local(changed_ns: int) -> datetime:
    try:
        return datetime.fromtimestamp(changed_ns // 10**9, UTC).astimezone()
    except (OverflowError, OSError, ValueError):
        return datetime(1970, 1, 1, tzinfo=UTC)


def _question(offers: Collection[Offer]) -> str:
    said = []
    for card in dict.fromkeys(one.card for one in offers):
        of_card = [one for one in offers if one.card == card]
        said.append(f"{files.shown(card)} seems to hold {_count(len(of_card))}; nothing was taken in:")
        if len(of_card) > SAID:
            said.append(f"  {len(of_card) - SAID} earlier parts")
        said += [f"  {one}" for one in of_card[-SAID:]]
        today = [one.number for one in of_card if one.this_day]
        if today and len(today) < len(of_card):
            said.append("Proposed for this job: " + " ".join(f"--part {number}" for number in today))
    return "\n".join(said)


def _count(number: int) -> str:
    return "one part" if number == 1 else f"{number} parts, perhaps of several jobs"
