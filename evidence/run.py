"""Run one pure function over many originals: pool, skipping, faults, progress, kill safety.

Hides the executor, the transactions, the worker that a bad file takes down with it, and Ctrl-C.
What is answered under the wanted version is never asked again; a file that raises is set aside
with its reason and costs nobody else anything. Killed at any instant, the answers in hand are
lost and nothing else: the next run asks for exactly those.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Mapping
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, field
from multiprocessing import active_children, get_context
from threading import current_thread, main_thread
from typing import TYPE_CHECKING, ParamSpec, Self, TypeVar

from evidence.errors import EvidenceError
from evidence.progress import Progress, Silent
from evidence.store import Answer, Store

if TYPE_CHECKING:
    from pathlib import Path
    from types import TracebackType

    from evidence.words import Digest

P = ParamSpec("P")
T = TypeVar("T")

Do = Callable[["Path", frozenset[str]], Mapping[str, Answer]]
"""Answers the wanted parts for one file. Must be a plain function of a module, so that a worker
process or another machine can be handed it by name."""


@dataclass(frozen=True, slots=True)
class Work:
    """A function with the parts it can answer and the version of each.

    Attributes
    ----------
    versions
        Name of each part with the version of the method (and of the settings) that gives it.
    do
        The function.
    """

    versions: Mapping[str, str]
    do: Do


@dataclass(slots=True)
class Tally:
    """What came of a run."""

    answered: int = 0
    faults: dict[Digest, str] = field(default_factory=dict)


@dataclass(slots=True)
class _Task:
    digest: Digest
    path: Path
    parts: frozenset[str]


_KEPT_BYTES = 64 << 20
"""More than the pixels of a 12-MP picture as the study holds them."""


_CRASHES = {
    -getattr(signal, name)
    for name in ("SIGSEGV", "SIGABRT", "SIGBUS", "SIGILL", "SIGFPE")
    if hasattr(signal, name)
}
"""How a process ends that a file itself brought down; Windows has no such numbers."""


class _Deaf(ProcessPoolExecutor):
    """A pool whose processes are silent, and deaf to Ctrl-C from birth: the door alone decides.

    A process that is still importing could not yet turn the signal off itself, and would print where
    it was. It inherits that the signal is ignored from the moment it is born in, which for a pool is
    one within ``submit``.
    """

    def __init__(self, number: int | None = None) -> None:
        # spawn: a forked child may inherit a lock that one of OpenCV's threads was holding.
        super().__init__(number, mp_context=get_context("spawn"), initializer=_quiet)

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Hand a call to a worker, starting one if need be."""
        if current_thread() is not main_thread():  # which alone may set what signals do
            return super().submit(fn, *args, **kwargs)
        before = signal.signal(signal.SIGINT, signal.SIG_IGN)
        try:
            return super().submit(fn, *args, **kwargs)
        finally:
            signal.signal(signal.SIGINT, before)


def workers(number: int | None = None) -> ProcessPoolExecutor:
    """Give a pool of one process a core or so many, deaf to Ctrl-C and silent."""
    # One process a core: threads of the matrix library within each would only wait for one another.
    # It reads this once, when a worker starts, and workers start with what stands here.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # glibc gives the pages of every map of pixels back and faults them in anew for the next one, a tenth
    # of the time of a comparison; below these sizes it keeps them (mallopt(3)).
    for what in ("MALLOC_MMAP_THRESHOLD_", "MALLOC_TRIM_THRESHOLD_"):
        os.environ.setdefault(what, str(_KEPT_BYTES))
    return _Deaf(number or os.cpu_count())


def _quiet() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # where it is not inherited: Windows, another thread
    # The JPEG library talks there of every damaged scan; what is wrong with a file is said once, by us.
    silence = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silence, 2)
    os.close(silence)


class Runner:
    """Takes originals one by one while others are being copied, and writes answers as they come.

    Parameters
    ----------
    store
        Where answers go.
    work
        What to ask of each original.
    executor
        Any executor whose workers see the same files; None makes a pool of processes and ends it.
    progress
        Told of each original answered after the last was submitted.
    """

    def __init__(
        self, store: Store, work: Work, executor: Executor | None = None, progress: Progress | None = None
    ) -> None:
        self._store = store
        self._work = work
        self._own = executor is None
        self._executor = executor
        self._progress = progress or Silent()
        self._telling: Progress = Silent()  # while others are still copied, theirs is the line on screen
        self._pending: dict[Future[Mapping[str, Answer]], _Task] = {}
        self._orphans: list[_Task] = []
        self.tally = Tally()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is None:
                self.finish()
            else:
                self._keep_what_is_in_hand()
        finally:
            if self._own and self._executor is not None:
                self._executor.shutdown(wait=True, cancel_futures=True)

    def submit(self, digest: Digest, path: Path, parts: frozenset[str]) -> None:
        """Ask for the parts of one original, and write whatever else has been answered meanwhile."""
        task = _Task(digest, path, parts)
        try:
            if self._executor is None:
                self._executor = workers()
            self._pending[self._executor.submit(self._work.do, path, parts)] = task
        except BrokenExecutor:
            self._orphans.append(task)
        self._collect(block=False)

    def finish(self) -> Tally:
        """Wait for every answer; files whose worker died are tried once more, each alone."""
        if not self._pending and not self._orphans:
            return self.tally
        self._telling = self._progress
        self._telling.begin("reading pictures", len(self._pending) + len(self._orphans))
        try:
            while self._pending:
                self._collect(block=True)
            for task in self._orphans:
                self._try_alone(task)
            self._orphans.clear()
        except KeyboardInterrupt:
            self._keep_what_is_in_hand()
            raise
        self._telling.end()
        return self.tally

    def _collect(self, *, block: bool) -> None:
        done = [future for future in self._pending if future.done()]
        if block and not done and self._pending:
            done = list(wait(self._pending, return_when=FIRST_COMPLETED).done)
        for future in done:
            task = self._pending.pop(future)
            try:
                self._write(task, _outcome(future, task))
            except BrokenExecutor:
                self._orphans.append(task)

    def _try_alone(self, task: _Task) -> None:
        before = set(active_children())
        with workers(1) as pool:
            future = pool.submit(self._work.do, task.path, task.parts)
            born = set(active_children()) - before
            wait([future])
        try:
            answers = _outcome(future, task)
        except BrokenExecutor:
            if lasting := any(child.exitcode in _CRASHES for child in born):
                fault = f"{task.path.name} makes the reader crash; it is kept and was not decoded."
            else:  # ended from outside: the system was short of memory, or a person
                fault = f"{task.path.name} brought the reader down; it is kept and was not decoded."
            answers = {part: Answer(None, fault, lasting) for part in task.parts}
        self._write(task, answers)

    def _write(self, task: _Task, answers: Mapping[str, Answer]) -> None:
        self._store.put_answers(self._work.versions, task.digest, answers)
        self.tally.answered += 1
        for answer in answers.values():
            if answer.fault:
                self.tally.faults[task.digest] = answer.fault
        self._telling.step(note=task.path.name)

    def _keep_what_is_in_hand(self) -> None:
        for future in list(self._pending):
            if future.cancel():
                del self._pending[future]
        while self._pending:
            self._collect(block=True)


def each(
    store: Store,
    places: Mapping[Digest, Path],
    work: Work,
    *,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Tally:
    """Answer, for every original at hand, the parts that are missing or of another version.

    Parameters
    ----------
    places
        The file of each original to look at; originals not named are left out.

    Returns
    -------
    How many originals were answered for, and the reason of each that was set aside.
    """
    wanted = {d: parts for d, parts in store.unanswered(work.versions).items() if d in places}
    if not wanted:
        return Tally()
    with Runner(store, work, executor, progress) as runner:
        for digest, parts in wanted.items():
            runner.submit(digest, places[digest], parts)
    return runner.tally


def _outcome(future: Future[Mapping[str, Answer]], task: _Task) -> Mapping[str, Answer]:
    try:
        return future.result()
    except BrokenExecutor:
        raise
    except OSError as problem:  # the disk, now; a decoder's faults have become ours further down
        fault = f"{task.path.name} could not be read: {(problem.strerror or 'no reason given').lower()}."
        return {part: Answer(None, fault, lasting=False) for part in task.parts}
    except MemoryError:
        fault = f"{task.path.name} could not be read: there was not memory enough."
        return {part: Answer(None, fault, lasting=False) for part in task.parts}
    except EvidenceError as problem:
        fault = str(problem)
    except Exception as problem:  # noqa: BLE001 - a decoder may raise anything; it costs that one file
        said = str(problem).strip().split("\n", 1)[0][:100]
        fault = f"{task.path.name} could not be read ({type(problem).__name__}: {said})."
    return {part: Answer(None, fault) for part in task.parts}
