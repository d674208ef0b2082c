"""Copy cards into a job: each file read once, digested, written, synced, read back, compared, noted.

Hides the overlap of copying with reading back, the batches, the second copy, and how a run that
was cut short goes on. Leaves looking at what the files show to the steps that follow.
"""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Final

from evidence import files
from evidence.bag import Admission, Bag, fold
from evidence.card import Card, CardFile, LeftOut, Pause, long_pauses, read_card
from evidence.errors import (
    CardGone,
    CardMissing,
    CardUnreadable,
    EvidenceError,
    NothingOnCard,
    WrongUsage,
)
from evidence.job import PROGRAM, Job, taken_value
from evidence.pictures import formats
from evidence.progress import Progress, Silent
from evidence.record import RECORD, Entry
from evidence.words import Digest, FileKind, FrameNumber, Original, Taken

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

BATCH_FILES: Final = 16
BATCH_BYTES: Final = 128 * 1024 * 1024
"""A batch shares one writing of manifest and record; measured in docs/integrity.md."""


@dataclass(frozen=True, slots=True)
class Known:
    """A file on the card whose bytes the job has already.

    Attributes
    ----------
    name
        Its path on the card.
    place
        Where the job has those bytes.
    """

    name: str
    place: str


@dataclass(frozen=True, slots=True)
class SetAside:
    """A file on the card that could not be taken in, and why."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class IntakeResult:
    """What came of an intake.

    Attributes
    ----------
    taken
        New originals, in order.
    known
        Files whose bytes the job had already.
    set_aside
        Files that could not be read; they are still only on the card.
    left_out
        Links, devices, litter of operating systems.
    pauses
        Long pauses on the cards, where another job may begin; a proposal.
    second_copy
        The second copy's folder, None when there is none or it failed.
    why_not_erase
        Reasons, a sentence each, why the cards must not be erased yet; none: they may be.
    cautions
        What else a person should know, a sentence each.
    """

    taken: tuple[Taken, ...]
    known: tuple[Known, ...]
    set_aside: tuple[SetAside, ...]
    left_out: tuple[LeftOut, ...]
    pauses: tuple[Pause, ...]
    second_copy: Path | None
    why_not_erase: tuple[str, ...]
    cautions: tuple[str, ...] = ()

    @property
    def may_erase(self) -> bool:
        """Whether each file of each card was, in this run, read back equal from two copies."""
        return not self.why_not_erase


def intake(
    job: Job,
    sources: Sequence[Path],
    *,
    second_copy: Path | None = None,
    kind_of: Callable[[str, bytes], FileKind] = formats.kind_of,
    progress: Progress | None = None,
    on_original: Callable[[Taken], None] | None = None,
) -> IntakeResult:
    """Copy every regular file of the cards into the job, or only what is new of them.

    Parameters
    ----------
    job
        Opened for writing.
    sources
        Folders of cards, phones or disks, taken in this order.
    second_copy
        A folder on another disk, to hold the same originals again, as a bag of its own.
    kind_of
        Tells a file's kind from its name and first bytes.
    progress
        Told of each file.
    on_original
        Called, in order, with each new original once it is safe; may start looking at it while
        the next are copied.

    Raises
    ------
    CardMissing, NothingOnCard, WrongUsage
        Nothing was done.
    CardGone
        The card went away; what was copied before is kept, the same intake again goes on.
    DiskFull, CannotWrite, DigestMismatch
        The job's disk failed; whole batches before are kept, nothing half-made is.
    """
    cards = [_card(job, source) for source in sources]
    if not any(card.files for card in cards):
        raise NothingOnCard(f"No file was found on {', '.join(files.shown(str(c.root)) for c in cards)}.")
    resume(job)
    second = _Second.open(job, second_copy, cards) if second_copy else None
    progress = progress or Silent()
    progress.begin("copying", sum(len(card.files) for card in cards))
    run = _Run(job, second, kind_of, progress, on_original)
    try:
        for card in cards:
            run.take(card)
        run.commit()
    except CardGone:
        run.commit()
        raise
    finally:
        run.close()
        progress.end()
    if second and not second.fault:
        second.keep_record(job)
    return run.result(cards)


def resume(job: Job) -> None:
    """Finish the batch that a kill cut short, from what was written down before it began.

    Raises
    ------
    DiskFull, CannotWrite
        It could not be finished; nothing is lost.
    """
    bag = job.bag()
    note = bag.unsettled()
    if isinstance(note, list):
        have = {(line.what, line.about, repr(line.value)) for line in job.lines}
        entries = [Entry(**one) for one in note]
        job.record_all([e for e in entries if (e.what, e.about, repr(e.value)) not in have])
        bag.settle()
    bag.staging()
    bag.close()


@dataclass(slots=True)
class _Pending:
    """A file that was copied and waits for its proof, or only for its line in the record."""

    entry: Entry
    taken: Taken | None = None
    staged: str = ""
    first: Future[None] | None = None


@dataclass(slots=True)
class _Second:
    """The second copy; a fault of its disk ends it and not the intake."""

    bag: Bag
    fault: str = ""
    same_disk: bool = False
    proofs: list[tuple[Admission, Future[None]]] = field(default_factory=list)

    @classmethod
    def open(cls, job: Job, folder: Path, cards: Sequence[Card]) -> _Second:
        folder = folder.resolve()
        for other in (job.folder, *(card.root for card in cards)):
            if folder.is_relative_to(other):
                raise WrongUsage(f"The second copy must not lie inside {files.shown(str(other))}.")
        day = job.now().date()
        bag = Bag.create(folder / files.clean_name(job.folder.name), job.identifier, day)
        bag.unsettled()
        bag.settle()
        bag.staging()
        return cls(bag, same_disk=bag.folder.stat().st_dev == job.originals.stat().st_dev)

    def keep_record(self, job: Job) -> None:
        """Lay the record as it stands beside the second copy; its own chain proves it."""
        try:
            files.write_whole(self.bag.folder / RECORD, (job.folder / RECORD).read_bytes())
        except EvidenceError as problem:
            self.fault = str(problem)


class _Run:
    """One intake under way."""

    def __init__(
        self,
        job: Job,
        second: _Second | None,
        kind_of: Callable[[str, bytes], FileKind],
        progress: Progress,
        on_original: Callable[[Taken], None] | None,
    ) -> None:
        self._job = job
        self._bag = job.bag()
        self._second = second
        self._kind_of = kind_of
        self._progress = progress
        self._on_original = on_original
        self._prover = ThreadPoolExecutor(2, thread_name_prefix="prove")
        self._staging = self._bag.staging()
        self._names = (f"{n:06d}" for n in count(1))
        before = job.taken()
        self._by_place = {one.original.place: one for one in before}
        self._place_of: dict[Digest, str] = {digest: place for place, digest in self._bag.entries.items()}
        self._occupied = _Occupied(self._bag.entries)
        self._pictured = {(t.source, t.thing) for t in before if t.kind is FileKind.PICTURE}
        self._noted = {_other_name(line.value) for line in job.lines if line.what == "same bytes"}
        self._aside = job.set_aside()
        self._next_frame = job.next_frame()
        self._pending: list[_Pending] = []
        self._pending_bytes = 0
        self._taken: list[Taken] = []
        self._known: list[Known] = []
        self._set_aside: list[SetAside] = []
        self._doubts: list[str] = []

    def take(self, card: Card) -> None:
        source = _source_for(card, self._by_place)
        for file in card.files:
            try:
                self._take_file(card, source, file)
            except CardGone:
                raise
            except CardUnreadable as problem:
                self._put_aside(source, file, str(problem))
            self._progress.step(note=files.shown(file.name))
            if len(self._pending) >= BATCH_FILES or self._pending_bytes >= BATCH_BYTES:
                self.commit()

    def _take_file(self, card: Card, source: str, file: CardFile) -> None:
        earlier = self._by_place.get(_place(source, file))
        if earlier is not None and _looks_like(file, earlier):
            # Most likely here already: read it before writing anything.
            digest = files.copy_once(file.path, (), card=card.root).digest
            if digest == earlier.original.digest:
                self._known.append(Known(file.name, earlier.original.place))
                self._again(card, file, digest, earlier.original.place)
                return
        staged = next(self._names)
        copied = self._copy(card, file, staged)
        if place := self._place_of.get(copied.digest):
            files.discard(self._staging / staged)
            self._known.append(Known(file.name, place))
            self._note_other_name(source, file, copied.digest, place)
            if self._second and not self._second.fault:
                files.discard(self._second.bag.staging_name(staged))
            self._again(card, file, copied.digest, place)
            return
        self._accept(source, file, copied, staged)

    def _copy(self, card: Card, file: CardFile, staged: str) -> files.Copied:
        first = self._staging / staged
        if self._second is None or self._second.fault:
            return files.copy_once(file.path, (first,), card=card.root)
        both = (first, self._second.bag.staging_name(staged))
        try:
            return files.copy_once(file.path, both, card=card.root)
        except CardUnreadable:
            raise
        except EvidenceError as problem:
            copied = files.copy_once(file.path, (first,), card=card.root)  # else it is the job's own disk
            self._second.fault = str(problem)
            return copied

    def _accept(self, source: str, file: CardFile, copied: files.Copied, staged: str) -> None:
        place = self._occupied.free(source, file, self._bag)
        actual_source = place.split("/", 1)[0]
        kind = self._kind_of(file.path.name, copied.head)
        thing = (actual_source, file.thing)
        frame = None
        if kind is FileKind.PICTURE or (kind is FileKind.RAW and thing not in self._pictured):
            frame = self._next_frame
            self._next_frame = FrameNumber(frame + 1)
        if kind is FileKind.PICTURE:
            self._pictured.add(thing)
        original = Original(copied.digest, copied.size_bytes, place)
        time = _file_time(copied.changed_ns)
        taken = Taken(original, kind, frame, actual_source, file.name, time, file.thing)
        self._place_of[copied.digest] = place
        self._by_place[place] = taken
        proof = self._prover.submit(files.prove, self._staging / staged, copied.digest)
        entry = Entry("intake", place, taken_value(taken), by=PROGRAM)
        self._pending.append(_Pending(entry, taken, staged, proof))
        self._pending_bytes += copied.size_bytes
        if self._second and not self._second.fault:
            self._prove_second(staged, original)

    def _again(self, card: Card, file: CardFile, digest: Digest, place: str) -> None:
        """Prove bytes that the job has already once more in both copies, if a second is wanted."""
        second = self._second
        if (
            second is None
            or second.fault
            or any(p.taken and p.taken.original.place == place for p in self._pending)
        ):
            return
        if not _holds(self._bag.payload(place), digest):
            self._doubts.append(f"The job's copy {files.shown(place)} is not what was taken in.")
            return
        try:
            if second.bag.entries.get(place) == digest:
                if not _holds(second.bag.payload(place), digest):
                    second.fault = f"{files.shown(place)} there is not what was copied."
                return
            staged = next(self._names)
            copied = files.copy_once(file.path, (second.bag.staging_name(staged),), card=card.root)
            self._prove_second(staged, Original(copied.digest, copied.size_bytes, place))
        except CardUnreadable:
            raise
        except EvidenceError as problem:
            second.fault = str(problem)

    def _prove_second(self, staged: str, original: Original) -> None:
        assert self._second
        admission = Admission(staged, original.place, original.digest, original.size_bytes)
        path = self._second.bag.staging_name(staged)
        self._second.proofs.append((admission, self._prover.submit(files.prove, path, original.digest)))

    def _note_other_name(self, source: str, file: CardFile, digest: Digest, place: str) -> None:
        value = {"source": source, "name_on_card": file.name, "digest": digest}
        if _other_name(value) in self._noted or _place(source, file) == place:
            return
        self._noted.add(_other_name(value))
        self._pending.append(_Pending(Entry("same bytes", place, value, by=PROGRAM)))

    def _put_aside(self, source: str, file: CardFile, reason: str) -> None:
        self._set_aside.append(SetAside(file.name, reason))
        about = f"{source}/{file.name}"
        if self._aside.get(about) != reason:
            self._aside[about] = reason
            self._pending.append(_Pending(Entry("set aside", about, reason, by=PROGRAM)))

    def commit(self) -> None:
        """Wait for the proofs of the files in hand, then take them in: files, manifest, record."""
        pending, self._pending, self._pending_bytes = self._pending, [], 0
        batch = []
        for one in pending:
            if one.first and one.taken:
                one.first.result()
                original = one.taken.original
                batch.append(Admission(one.staged, original.place, original.digest, original.size_bytes))
        entries = [one.entry for one in pending]
        if batch:
            note = [{"what": e.what, "about": e.about, "value": e.value, "by": e.by} for e in entries]
            self._bag.admit(batch, note, self._job.now().date())
        self._job.record_all(entries)
        if batch:
            self._bag.settle()
        self._commit_second()
        for one in pending:
            if one.taken:
                self._taken.append(one.taken)
                if self._on_original:
                    self._on_original(one.taken)

    def _commit_second(self) -> None:
        second = self._second
        if second is None or second.fault:
            return
        proofs, second.proofs = second.proofs, []
        try:
            for _, proof in proofs:
                proof.result()
            if proofs:
                second.bag.admit([admission for admission, _ in proofs], None, self._job.now().date())
                second.bag.settle()
        except EvidenceError as problem:
            second.fault = str(problem)

    def close(self) -> None:
        """End the threads and remove copies that were not taken in."""
        self._prover.shutdown(wait=True, cancel_futures=True)
        for bag in (self._bag, *([self._second.bag] if self._second else [])):
            try:
                bag.staging()
                bag.close()
            except EvidenceError:
                continue  # the next intake tidies up; the fault that ended this one is told instead

    def result(self, cards: Sequence[Card]) -> IntakeResult:
        second = self._second
        left_out = tuple(one for card in cards for one in card.left_out)
        why_not = [f"{files.shown(one.name)} is not safe: {one.reason}" for one in self._set_aside]
        why_not += [f"{files.shown(one.name)} {one.reason}." for one in left_out if one.unreadable]
        why_not += self._doubts
        cautions = []
        if second is None:
            why_not.append("There is no second copy yet; make one with --second-copy.")
        elif second.fault:
            why_not.append(f"The second copy is not whole: {second.fault}")
        elif second.same_disk:
            cautions.append("Both copies lie on one disk; if it fails, both are lost.")
        return IntakeResult(
            tuple(self._taken),
            tuple(self._known),
            tuple(self._set_aside),
            left_out,
            tuple(pause for card in cards for pause in long_pauses(card.files)),
            second.bag.folder if second and not second.fault else None,
            tuple(why_not),
            tuple(cautions),
        )


class _Occupied:
    """Which places are taken, on disks too that ignore case or Unicode form."""

    def __init__(self, places: Sequence[str] | dict[str, Digest]) -> None:
        self._files: set[str] = set()
        self._folders: set[str] = set()
        for place in places:
            self._add(place)

    def free(self, source: str, file: CardFile, bag: Bag) -> str:
        """Give the file's place, or the first like it under ``source-2``, ``source-3`` ..., and take it."""
        for n in count(1):
            place = _place(source if n == 1 else f"{source}-{n}", file)
            if not self._has(place) and not bag.payload(place).exists():
                self._add(place)
                return place
        raise AssertionError("count ended")

    def _has(self, place: str) -> bool:
        folded = fold(place)
        return folded in self._files | self._folders or any(up in self._files for up in _ups(folded))

    def _add(self, place: str) -> None:
        folded = fold(place)
        self._files.add(folded)
        self._folders.update(_ups(folded))


def _ups(place: str) -> list[str]:
    parts = place.split("/")
    return ["/".join(parts[:n]) for n in range(1, len(parts))]


def _card(job: Job, source: Path) -> Card:
    if not source.is_dir():
        raise CardMissing(f"There is no folder {files.shown(str(source))}.")
    root = source.resolve()
    if root.is_relative_to(job.folder) or job.folder.is_relative_to(root):
        raise WrongUsage(f"{files.shown(str(source))} and the job lie inside each other.")
    return read_card(root)


def _place(source: str, file: CardFile) -> str:
    return "/".join((source, *(files.clean_name(part) for part in file.name.split("/"))))


def _source_for(card: Card, by_place: dict[str, Taken]) -> str:
    """Give the folder of this card: its own from earlier, or a new one if another card had its name."""
    for n in count(1):
        source = card.source if n == 1 else f"{card.source}-{n}"
        earlier = ((file, by_place.get(_place(source, file))) for file in card.files)
        if all(taken is None or _looks_like(file, taken) for file, taken in earlier):
            return source
    raise AssertionError("count ended")


def _looks_like(file: CardFile, taken: Taken) -> bool:
    """Tell whether a card's file may be the one taken in, without reading it.

    A FAT card's times are local: read in another zone, or after the clocks changed, they are
    whole quarters of an hour off, within the 2 s steps of that file system.
    """
    if file.size_bytes != taken.original.size_bytes:
        return False
    then, now = taken.file_time, _file_time(file.changed_ns)
    if not then or not now:
        return then == now
    apart_s = abs((datetime.fromisoformat(now) - datetime.fromisoformat(then)).total_seconds())
    return min(apart_s % 900, 900 - apart_s % 900) <= 2 and apart_s < 27 * 3600


def _holds(path: Path, digest: Digest) -> bool:
    try:
        return files.digest_of(path, from_disk=True) == digest
    except OSError:
        return False


def _file_time(changed_ns: int) -> str:
    try:
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=changed_ns // 1000)
    except OverflowError:
        return ""
    return moment.isoformat()


def _other_name(value: dict[str, str]) -> tuple[str, str, str]:
    return value["source"], value["name_on_card"], value["digest"]
