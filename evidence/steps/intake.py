"""Copy cards into a job: each file read once, digested, written, synced, read back, compared, noted.

Hides the overlap of copying with reading back, the batches, the second copy, and how a run that
was cut short goes on. Leaves looking at what the files show to the steps that follow.
"""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Final

from evidence import files
from evidence.bag import Admission, Bag
from evidence.card import Card, CardFile, LeftOut, read_card, root_of
from evidence.errors import (
    AlreadyThere,
    CardGone,
    CardUnreadable,
    EvidenceError,
    NothingOnCard,
    WrongUsage,
)
from evidence.job import PROGRAM, Job, taken_value
from evidence.pictures import formats
from evidence.places import Places, file_time, place_of
from evidence.progress import Progress, Silent
from evidence.record import RECORD, Entry
from evidence.steps.parts import Chosen, Offer, Wanted, choose
from evidence.words import Digest, FileKind, FrameNumber, Original, Taken

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from datetime import date

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
    left
        Parts of the cards that were left for other jobs.
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
    left: tuple[Offer, ...]
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
    wanted: Wanted | None = None,
    shows_job_card: Callable[[CardFile], bool] | None = None,
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
    wanted
        Which parts of a card that seems to hold several jobs belong to this one.
    shows_job_card
        Tells whether a file on the card is a picture of a job card.
    kind_of
        Tells a file's kind from its name and first bytes.
    progress
        Told of each file.
    on_original
        Called, in order, with each new original once it is safe; may start looking at it while
        the next are copied.

    Raises
    ------
    CardMissing, NothingOnCard, SeveralJobs, WrongUsage
        Nothing was done.
    CardGone
        The card went away; what was copied before is kept, the same intake again goes on.
    DiskFull, CannotWrite, DigestMismatch
        The job's disk failed; whole batches before are kept, nothing half-made is.
    """
    job.must_write()
    cards = [_card(job, source) for source in sources]
    if not any(card.files for card in cards):
        raise NothingOnCard(f"No file was found on {', '.join(files.shown(str(c.root)) for c in cards)}.")
    beside = _beside(job, second_copy, cards) if second_copy else None
    progress = progress or Silent()
    chosen = choose(job, cards, wanted or Wanted(), shows_job_card=shows_job_card, progress=progress)
    resume(job)
    _note_choice(job, chosen)
    cards = list(chosen.cards)
    with ThreadPoolExecutor(2, thread_name_prefix="prove") as prover:
        second, lacking = _opened_second(job, beside, prover)
        run = _Run(
            job,
            second=second,
            lacking=lacking,
            prover=prover,
            kind_of=kind_of,
            progress=progress,
            on_original=on_original,
        )
        progress.begin("copying", sum(len(card.files) for card in cards))
        try:
            run.complete_second()
            for card in cards:
                run.take(card)
            run.commit()
        except CardGone:
            run.commit()
            raise
        finally:
            prover.shutdown(cancel_futures=True)
            run.close()
            progress.end()
    if second:
        second.keep_record(job)
    return run.result(cards, chosen.left)


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


class _Second:
    """The second copy; a fault of its disk ends it and not the intake."""

    def __init__(self, job: Job, folder: Path, prover: ThreadPoolExecutor) -> None:
        self.bag = Bag.create(folder, job.identifier, job.now().date())
        self.bag.unsettled()
        self.bag.settle()
        self.bag.staging()
        self.same_disk = folder.stat().st_dev == job.originals.stat().st_dev
        self.fault = ""
        self._prover = prover
        self._proofs: list[tuple[Admission, Future[None]]] = []
        self._fresh: set[str] = set()

    @property
    def alive(self) -> bool:
        return not self.fault

    @property
    def waiting(self) -> int:
        return len(self._proofs)

    @contextmanager
    def tried(self) -> Iterator[None]:
        """Let a fault end this copy; a fault of the card is not one of ours."""
        try:
            yield
        except CardUnreadable:
            raise
        except EvidenceError as problem:
            self.fault = str(problem)

    def check(self, place: str, digest: Digest) -> None:
        """Read back once more what an earlier run put at a place."""
        if place not in self._fresh and not _holds(self.bag.payload(place), digest):
            self.fault = f"{files.shown(place)} there is not what was copied."

    def prove(self, staged: str, original: Original) -> None:
        """Start the proof of a staged copy."""
        admission = Admission(staged, original.place, original.digest, original.size_bytes)
        name = f"the second copy of {files.shown(original.place)}"
        proof = self._prover.submit(files.prove, self.bag.staging_name(staged), original.digest, name)
        self._proofs.append((admission, proof))
        self._fresh.add(original.place)

    def commit(self, day: date) -> None:
        """Take in what was proved."""
        proofs, self._proofs = self._proofs, []
        if self.alive and proofs:
            with self.tried():
                for _, proof in proofs:
                    proof.result()
                self.bag.admit([admission for admission, _ in proofs], None, day)
                self.bag.settle()

    def keep_record(self, job: Job) -> None:
        """Lay the record as it stands beside the second copy; its own chain proves it."""
        if self.alive:
            with self.tried():
                files.write_whole(self.bag.folder / RECORD, (job.folder / RECORD).read_bytes())


def _beside(job: Job, folder: Path, cards: Sequence[Card]) -> Path:
    """Give the second copy's own folder, which must be apart from all that it is a copy of."""
    target = (folder / files.clean_name(job.folder.name)).resolve()
    for other in (job.folder, *(card.root for card in cards)):
        if target.is_relative_to(other) or other.is_relative_to(target):
            raise WrongUsage(
                f"The second copy would go to {files.shown(str(target))}; it must not lie inside "
                f"{files.shown(str(other))}, nor hold it."
            )
    return target


def _opened_second(job: Job, folder: Path | None, prover: ThreadPoolExecutor) -> tuple[_Second | None, str]:
    """Open the second copy, or say why there is none; a damaged one does not keep the card from the job."""
    if folder is None:
        return None, "There is no second copy yet; make one with --second-copy."
    try:
        return _Second(job, folder, prover), ""
    except AlreadyThere:
        raise  # another job's: a slip of whoever typed it, and nothing was copied yet
    except (EvidenceError, OSError) as problem:
        return None, f"The second copy in {files.shown(str(folder))} cannot be used: {problem}"


class _Run:
    """One intake under way."""

    def __init__(
        self,
        job: Job,
        *,
        second: _Second | None,
        lacking: str,
        prover: ThreadPoolExecutor,
        kind_of: Callable[[str, bytes], FileKind],
        progress: Progress,
        on_original: Callable[[Taken], None] | None,
    ) -> None:
        self._job = job
        self._bag = job.bag()
        self._second = second
        self._lacking = lacking
        self._kind_of = kind_of
        self._progress = progress
        self._on_original = on_original
        self._prover = prover
        self._staging = self._bag.staging()
        self._names = (f"{n:06d}" for n in count(1))
        before = job.taken()
        self._places = Places(before, self._bag.entries)
        self._place_of: dict[Digest, str] = {digest: place for place, digest in self._bag.entries.items()}
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
        source = self._places.source_for(card)
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
        if earlier := self._places.earlier(source, file):
            # Most likely here already: read it before writing anything.
            digest = files.copy_once(file.path, (), card=card.root).digest
            if digest == earlier.original.digest:
                self._known.append(Known(file.name, earlier.original.place))
                self._again(digest, earlier.original.place)
                return
        staged = next(self._names)
        copied = self._copy(card, file, staged)
        if place := self._place_of.get(copied.digest):
            files.discard(self._staging / staged)
            self._known.append(Known(file.name, place))
            self._note_other_name(source, file, copied.digest, place)
            if self._second:
                files.discard(self._second.bag.staging_name(staged))
            self._again(copied.digest, place)
            return
        self._accept(source, file, copied, staged)

    def _copy(self, card: Card, file: CardFile, staged: str) -> files.Copied:
        first = self._staging / staged
        if self._second and self._second.alive:
            with self._second.tried():
                both = (first, self._second.bag.staging_name(staged))
                return files.copy_once(file.path, both, card=card.root)
        # No second copy, or its disk has just failed; if it was the job's own, this fails again.
        return files.copy_once(file.path, (first,), card=card.root)

    def _accept(self, source: str, file: CardFile, copied: files.Copied, staged: str) -> None:
        place = self._places.give(source, file, self._stands)
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
        time = file_time(copied.changed_ns)
        taken = Taken(original, kind, frame, actual_source, file.name, time, file.thing)
        self._place_of[copied.digest] = place
        self._places.note(taken)
        name = f"the copy of {files.shown(file.name)}"
        proof = self._prover.submit(files.prove, self._staging / staged, copied.digest, name)
        entry = Entry("intake", place, taken_value(taken), by=PROGRAM)
        self._pending.append(_Pending(entry, taken, staged, proof))
        self._pending_bytes += copied.size_bytes
        if self._second and self._second.alive:
            self._second.prove(staged, original)

    def _stands(self, place: str) -> bool:
        """Tell whether something stands at a place that nobody listed.

        Raises
        ------
        CardUnreadable
            No file can stand there: the path is too long, in the job or in the second copy.
        """
        if self._second and self._second.alive:
            _lies(self._second.bag, place)
        return _lies(self._bag, place)

    def _again(self, digest: Digest, place: str) -> None:
        """Read back once more what both copies have already, if there is to be a second."""
        if self._second and self._second.alive and place in self._bag.entries:
            if not _holds(self._bag.payload(place), digest):
                self._doubts.append(f"The job's copy {files.shown(place)} is not what was taken in.")
            self._second.check(place, digest)

    def complete_second(self) -> None:
        """Give the second copy what it lacks of earlier intakes, from the job's own originals.

        Before anything new, so that both lists come out in one order whatever was cut short.
        """
        second = self._second
        for place, digest in self._bag.entries.items() if second else ():
            if not second or not second.alive:
                return
            if place in second.bag.entries:
                continue
            staged = next(self._names)
            try:
                with second.tried():
                    copied = files.copy_once(self._bag.payload(place), (second.bag.staging_name(staged),))
                    if copied.digest != digest:
                        raise CardUnreadable(f"{files.shown(place)} in the job is not what was taken in.")
                    second.prove(staged, Original(digest, copied.size_bytes, place))
            except CardUnreadable as problem:
                self._doubts.append(str(problem))
            if second.waiting >= BATCH_FILES:
                second.commit(self._job.now().date())
        if second:
            second.commit(self._job.now().date())

    def _note_other_name(self, source: str, file: CardFile, digest: Digest, place: str) -> None:
        value = {"source": source, "name_on_card": file.name, "digest": digest}
        if _other_name(value) in self._noted or place_of(source, file) == place:
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
            self._bag.admit(batch, [asdict(one) for one in entries], self._job.now().date())
        self._job.record_all(entries)
        if batch:
            self._bag.settle()
        if self._second:
            self._second.commit(self._job.now().date())
        for one in pending:
            if one.taken:
                self._taken.append(one.taken)
                if self._on_original:
                    self._on_original(one.taken)

    def close(self) -> None:
        """Remove copies that were not taken in; nobody reads them any more."""
        for bag in (self._bag, *([self._second.bag] if self._second else [])):
            try:
                bag.staging()
                bag.close()
            except EvidenceError:
                continue  # the next intake tidies up; the fault that ended this one is told instead

    def result(self, cards: Sequence[Card], left: tuple[Offer, ...]) -> IntakeResult:
        second = self._second
        left_out = tuple(one for card in cards for one in card.left_out)
        why_not = [f"{files.shown(one.name)} is not safe: {one.reason}" for one in self._set_aside]
        why_not += [f"{files.shown(one.name)} {one.reason}." for one in left_out if one.unreadable]
        why_not += self._doubts
        why_not += [
            f"Part {one.number} of {files.shown(one.card)} ({one.shots} files) was left for another job: "
            "this one cannot say that it is safe."
            for one in left
        ]
        cautions = [doubt] if (doubt := self._job.clock_doubt) else []
        if second is None:
            why_not.append(self._lacking)
        elif not second.alive:
            why_not.append(f"The second copy is not whole: {second.fault}")
        elif second.same_disk:
            cautions.append("Both copies lie on one disk; if it fails, both are lost.")
        return IntakeResult(
            tuple(self._taken),
            tuple(self._known),
            tuple(self._set_aside),
            left_out,
            left,
            second.bag.folder if second and second.alive else None,
            tuple(why_not),
            tuple(cautions),
        )


def _card(job: Job, source: Path) -> Card:
    root = root_of(source)
    if root.is_relative_to(job.folder) or job.folder.is_relative_to(root):
        raise WrongUsage(f"{files.shown(str(source))} and the job lie inside each other.")
    return read_card(root)


def _note_choice(job: Job, chosen: Chosen) -> None:
    """Keep which parts were taken, once: what was left on a card on purpose is no loss."""
    noted = {(line.about, repr(line.value)) for line in job.lines if line.what == "part"}
    fresh = [Entry("part", card, note) for card, note in chosen.notes if (card, repr(note)) not in noted]
    if fresh:
        job.record_all(fresh)


def _lies(bag: Bag, place: str) -> bool:
    """Tell whether anything, a dead link too, lies at a place; raises as ``_Run._stands``."""
    try:
        bag.payload(place).lstat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    except OSError as problem:
        why = (problem.strerror or "no reason given").lower()
        raise CardUnreadable(f"it cannot be copied under its path: {why}.") from problem
    return True


def _holds(path: Path, digest: Digest) -> bool:
    try:
        return files.digest_of(path, from_disk=True) == digest
    except OSError:
        return False


def _other_name(value: dict[str, str]) -> tuple[str, str, str]:
    return value["source"], value["name_on_card"], value["digest"]
