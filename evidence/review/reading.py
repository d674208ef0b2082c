"""See how the job stands, and change it at a desk that is open no longer than one act.

Hides when the record must be read anew: whoever else changes the job (another window, a command)
changes its files, and is noticed there. Reading takes no lock of the job, so commands and page
alternate; while an act of the page is under way, however long, the job is shown as it stood before.
"""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeVar

from evidence.desk import Desk
from evidence.errors import CannotWrite, DatabaseBusy, JobHeld, RecordBroken, WrongUsage
from evidence.memory import Memory
from evidence.steps import attach, clock, gaps

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from evidence.choice import Proposal
    from evidence.job import Job
    from evidence.state import State
    from evidence.steps.clock import Correction
    from evidence.steps.gaps import Gap

T = TypeVar("T")

PATIENCE_S: Final = 4.0
"""How long an act waits for a command that is just writing the job."""
_FILES: Final = ("record.jsonl", "job.toml", "job.sqlite")


@dataclass(frozen=True, slots=True)
class Seen:
    """The job at one moment.

    Attributes
    ----------
    version
        The record's last hash: two windows with one version show one thing.
    job
        For paths, details and lines; not open for writing.
    proposals
        Which pictures are proposed for each finding that has any.
    clocks
        Corrections proposed for the cameras' clocks.
    """

    version: str
    job: Job
    state: State
    gaps: tuple[Gap, ...]
    proposals: Mapping[int, Proposal]
    clocks: tuple[Correction, ...] = ()


class Reading:
    """One job as one running page sees it; may be asked from several threads.

    Attributes
    ----------
    doing
        What is under way and takes long, in words; "" for nothing.
    only_looking
        The job could not be written, as on a read-only disk.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.doing = ""
        self._writing = threading.Lock()
        self._lock = threading.Lock()  # what was seen last; taken after the one above, never before it
        self._memory = Memory()
        self._stamp: tuple[object, ...] = ()
        self._seen: Seen | None = None
        self.only_looking = False

    def prepare(self) -> None:
        """Make and keep the proposals once, so that reading without the lock finds them.

        Where the job cannot be written now, each reading makes them for itself.
        """
        try:
            self.at_desk(lambda desk: desk.state())
        except JobHeld:
            self.seen()
        except CannotWrite:
            self.only_looking = True
            self.seen()

    def seen(self) -> Seen:
        """Say how the job stands now.

        Raises
        ------
        NotAJob, RecordBroken, DatabaseDamaged, BadSetting
            The job cannot be read any more.
        """
        with self._lock:
            if self._seen is not None and self._writing.locked():
                return self._seen  # half an act is not shown
            stamp = self._now()
            if self._seen is None or stamp != self._stamp:
                self._seen = _patient(self._read)
                self._stamp = stamp
            return self._seen

    def at_desk(self, act: Callable[[Desk], T], doing: str = "") -> tuple[T, Seen]:
        """Do one thing to the job; when this returns, it is on the disk. One after the other.

        Parameters
        ----------
        doing
            What it is, in words, where it takes long.

        Returns
        -------
        What the act gave, and how the job stands after it.

        Raises
        ------
        JobHeld
            A command has been writing the job for too long.
        EvidenceError
            Whatever the act says.
        """
        with self._writing:
            self.doing = doing
            try:
                with _patient(lambda: Desk.open(self.folder, memory=self._memory)) as desk:
                    given, seen = act(desk), _seen(desk)
                    self.only_looking = False
                    with self._lock:
                        self._seen, self._stamp = seen, self._now()
                    return given, seen
            finally:
                self.doing = ""

    def ask(self, question: Callable[[Desk], T]) -> T:
        """Ask a step something that changes nothing."""

        def asked() -> T:
            with Desk.open(self.folder, write=False, memory=self._memory) as desk:
                return question(desk)

        return _patient(asked)

    def _read(self) -> Seen:
        with Desk.open(self.folder, write=False, memory=self._memory) as desk:
            return _seen(desk)

    def _now(self) -> tuple[object, ...]:
        found = []
        for name in _FILES:
            try:
                stat = (self.folder / name).stat()
            except OSError:
                found.append((0, 0))
            else:
                found.append((stat.st_size, stat.st_mtime_ns))
        return tuple(found)


def _seen(desk: Desk) -> Seen:
    state = desk.state()
    proposals = {}
    for finding in state.findings:
        try:
            proposals[finding.number] = attach.propose(desk, finding.number)
        except WrongUsage:  # no picture to choose among yet
            continue
    missing, clocks = tuple(gaps.gaps(desk)), tuple(clock.proposed(desk))
    return Seen(desk.job.last_hash, desk.job, state, missing, proposals, clocks)


def _patient(what: Callable[[], T]) -> T:
    """Try again while somebody else is in the midst of writing."""
    end = time.monotonic() + PATIENCE_S
    while True:
        try:
            return what()
        except (JobHeld, DatabaseBusy):
            if time.monotonic() > end:
                raise
        except RecordBroken:
            # A reader may meet a line that is being written; one that stays so is broken.
            if time.monotonic() > end - PATIENCE_S + 0.5:
                raise
        time.sleep(0.05)
