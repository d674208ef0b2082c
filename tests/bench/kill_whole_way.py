"""Kill the whole way, from the card to the issued edition, and count what came out otherwise.

``python -m tests.bench.kill_whole_way [--instants 200] [--by mixed|doing|time|every] [--seed 1]
[--pool] [--pictures 8] [--formats pdf,html,csv] [--folder DIR] [--elsewhere DIR]``

A program starts a job, takes a card in with a second copy, reads it, decides and issues.

``doing``: its process group is killed (SIGKILL) just before its n-th doing on the disk, n drawn at
random over the whole way; ``every`` tries each n in turn. ``time``: the group is killed from outside
after a time drawn over the whole way (drawn again when it had ended before). ``mixed``: the two by
turns. What the kill left is checked by ``verify``; then the same
program goes on where it stopped, and every file of the job (record, lists, originals, printed copies,
edition), every row of the database and the second copy must equal an undisturbed run's, byte for
byte. All clocks of the program stand still for it. ``--pool`` reads in worker processes instead of
threads, as the command line does. ``--elsewhere``: every second half-done job is moved there, to
another disk, before it goes on.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from evidence import files, study, verify
from evidence.desk import Desk
from evidence.job import LOCK, STORE, Job
from evidence.progress import Silent
from evidence.record import RECORD, Entry
from evidence.settings import details
from evidence.steps import issue, read
from evidence.store import Store
from tests import saboteurs
from tests.conftest import draw

DETAILS = {"address": "14 Alder Court", "inspector": "A. Wren"}
DECISIONS = (
    *(Entry("begins", str(frame), frame == 3) for frame in range(2, 5)),
    Entry("room", "1", "Kitchen"),
    Entry("room", "3", "Attic"),
    Entry("finding", "1", {"seen": "A drain leaks.", "room": "Kitchen"}),
    Entry("attached", "1/1", {"distance": "close-up", "rank": 0}),
    Entry("attached", "1/2", {"distance": "overall", "rank": 1}),
    Entry("view", "3", True),
)
"""What the inspector decides; for a card of at least four pictures."""

HANGS_S = 300.0
"""No run may take longer, however much else the machine has to do."""


@dataclass(frozen=True, slots=True)
class Way:
    """The whole way, as it is gone each time.

    Attributes
    ----------
    card
        The card's folder.
    formats
        Of the edition.
    pool
        Whether pictures are read in worker processes instead of threads.
    """

    card: Path
    formats: tuple[str, ...] = ("html", "csv")
    pool: bool = False

    def go(self, home: Path) -> None:
        """Go the whole way, or what is left of it."""
        folder = home / "job"
        if not (folder / "job.toml").exists():
            Job.create(folder, details(DETAILS), now=now).close()
        with Desk.open(folder, now=now) as desk:
            second = home / "second"
            if self.pool:
                read.take_in(desk, [self.card], second_copy=second)
            else:
                with ThreadPoolExecutor(2) as threads:
                    read.take_in(desk, [self.card], second_copy=second, executor=threads)
            made = {(line.what, line.about) for line in desk.job.lines}
            for entry in DECISIONS:
                if (entry.what, entry.about) not in made:
                    desk.decide_all([entry])
            desk.state()
            issue.resume(desk)
            if not any(line.what == "issue" for line in desk.job.lines):
                asked = issue.Wanted(self.formats, unlooked_reason="a benchmark")
                issue.issue(desk, asked, progress=Silent(), now=now)


def now() -> datetime:
    """Give the one moment at which everything happens, so that two runs can be compared."""
    return datetime(2026, 3, 5, 20, 15, tzinfo=UTC)


def drawn_card(root: Path, pictures: int = 8) -> Path:
    """Draw pictures ten seconds apart."""
    for number in range(1, pictures + 1):
        moment = datetime(2026, 3, 4, 9, 0) + timedelta(seconds=10 * number)  # noqa: DTZ001 - as a camera
        draw(root / "DCIM" / "100OSTRE" / f"OSTR{number:04d}.JPG", number, moment)
    return root


def state_of(home: Path) -> dict[str, str]:
    """Give everything that must equal an undisturbed run's: each file's digest, each row, each fault."""
    # The second copy's record is as it stood at the last intake, which after a kill is a later one.
    left_out = {home / "job" / name for name in (LOCK, STORE)} | {home / "second" / "job" / RECORD}
    paths = [path for path in sorted(home.rglob("*")) if path.is_file() and path not in left_out]
    state: dict[str, str] = {path.relative_to(home).as_posix(): files.digest_of(path) for path in paths}
    with Store(home / "job" / STORE, write=False) as store:
        state["rows"] = hashlib.sha256(store.dump().encode()).hexdigest()
        state["unread"] = str(store.unanswered(study.VERSIONS))
    faults = [*verify.verify(home / "job").faults, *verify.verify(home / "second" / "job").faults]
    state["faults"] = str([fault.sentence for fault in faults])
    return state


def stage(folder: Path) -> str:
    """Name how far a killed run had come, from what it left."""
    if not (folder / "job.toml").is_file():
        return "starting"
    with Job.open(folder, write=False) as job:
        done = {line.what for line in job.lines}
    if "issue" in done:
        return "last move"
    if done - {"start", "intake"}:
        return "arranging" if DECISIONS[-1].what not in done else "issuing"
    return "reading" if "intake" in done else "intake"


def half_state(folder: Path) -> list[str]:
    """Give what is wrong with a job that a kill left behind; nothing if it is none yet."""
    return [f.sentence for f in verify.verify(folder).faults] if (folder / "job.toml").exists() else []


def in_a_group(do: Callable[[], None], seconds: float = HANGS_S) -> int:
    """Do something in a process group of its own; SIGKILL the group after so long. Gives its code."""
    child = os.fork()
    if child == 0:
        os.setsid()
        try:
            do()
            os._exit(0)
        except BaseException as problem:  # noqa: BLE001 - a child of a fork must not go on as its parent
            sys.stderr.write(f"{type(problem).__name__}: {problem}\n")
            os._exit(1)
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.002)
    try:
        os.killpg(child, signal.SIGKILL)
    except ProcessLookupError:  # so early that it has no group yet
        os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


@dataclass(slots=True)
class Told:
    """What came of all trials.

    Attributes
    ----------
    killed
        How many were killed before their end, by how far they had come.
    wrong
        A sentence for each thing that came out otherwise.
    """

    killed: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Trials:
    """Kills and goes on, again and again, below one folder."""

    way: Way
    work: Path
    chance: random.Random
    told: Told = field(default_factory=Told)
    usual_s: float = 0.0
    wanted: dict[str, str] = field(default_factory=dict)
    made: int = 0
    elsewhere: Path | None = None

    def begin(self) -> None:
        """Go the way once undisturbed."""
        begun = time.perf_counter()
        if in_a_group(lambda: self.way.go(self.work / "usual")) != 0:
            raise SystemExit("the undisturbed run failed")
        self.usual_s = time.perf_counter() - begun
        self.wanted = state_of(self.work / "usual")
        if self.wanted["faults"] != "[]":
            raise SystemExit(f"undisturbed: {self.wanted['faults']}")

    def by_time(self) -> None:
        """Kill from outside at a time drawn over the whole way, until one comes before the end."""
        while True:
            after, home = self.chance.uniform(0.0, self.usual_s), self._home()
            code = in_a_group(lambda: self.way.go(home), after)  # noqa: B023 - called at once
            if code == -signal.SIGKILL:
                self._go_on(home, f"after {after:.3f} s")
                return
            self.usual_s = min(self.usual_s, after)  # the machine has less to do than before
            shutil.rmtree(home)

    def by_doing(self, n: int) -> None:
        """Kill just before the n-th doing on the disk."""
        home = self._home()
        code = in_a_group(lambda: armed(self.way, home, n))
        if code not in {0, -signal.SIGKILL}:  # 0: threads shared the work out otherwise this time
            self.told.wrong.append(f"before doing {n}: it failed before it was killed")
        self._go_on(home, f"before doing {n}", killed=code == -signal.SIGKILL)

    def _home(self) -> Path:
        self.made += 1
        return self.work / str(self.made)

    def _go_on(self, home: Path, at: str, *, killed: bool = True) -> None:
        if killed:
            far = stage(home / "job")
            self.told.killed[far] += 1
            at += f" ({far})"
        if self.elsewhere and self.made % 2:
            home = Path(shutil.move(home, self.elsewhere / home.name))
            at += ", moved"
        wrong = [f"{at}: half: {sentence}" for sentence in half_state(home / "job")]
        if in_a_group(lambda: self.way.go(home)) != 0:
            wrong.append(f"{at}: it does not go on")
        else:
            state, wanted = state_of(home), self.wanted
            for what in sorted(state.keys() | wanted.keys()):
                if state.get(what) != wanted.get(what):
                    wrong.append(f"{at}: {what} is {state.get(what, 'missing')}, not {wanted.get(what)}")
        self.told.wrong += wrong
        if not wrong:
            shutil.rmtree(home)


def trials(
    way: Way, work: Path, instants: int, seed: int, *, by: str = "mixed", elsewhere: Path | None = None
) -> Told:
    """Kill and go on so many times; ``by`` and ``elsewhere`` as in the module's first lines."""
    some = Trials(way, work, random.Random(seed), elsewhere=elsewhere)
    some.begin()
    last = doings(way, work / "counted") if by != "time" else 0
    if by == "every":
        for n in range(1, last + 1):
            some.by_doing(n)
    else:
        for trial in range(instants):
            if by == "time" or (by == "mixed" and trial % 2):
                some.by_time()
            else:
                some.by_doing(some.chance.randrange(1, last + 1))
    return some.told


def armed(way: Way, home: Path, n: int) -> None:
    """Go the whole way and be killed with the whole group just before the n-th doing on the disk."""
    files.os = saboteurs.KillsItself(n, group=True)  # type: ignore[assignment, attr-defined]
    way.go(home)


def doings(way: Way, home: Path) -> int:
    """Count the doings on the disk of an undisturbed run."""

    def count() -> None:
        counter = saboteurs.KillsItself(0)
        files.os = counter  # type: ignore[assignment, attr-defined]
        way.go(home)
        (home / "doings").write_text(str(-counter.left))

    if in_a_group(count) != 0:
        raise SystemExit("the counted run failed")
    return int((home / "doings").read_text())


def main() -> int:
    """Print the counts, and every case that came out otherwise; 1 if there is one."""
    words = argparse.ArgumentParser()
    words.add_argument("--instants", type=int, default=200)
    words.add_argument("--by", choices=["mixed", "doing", "time", "every"], default="mixed")
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--pool", action="store_true")
    words.add_argument("--pictures", type=int, default=8)
    words.add_argument("--formats", default="pdf,html,csv")
    words.add_argument("--folder", type=Path)
    words.add_argument("--elsewhere", type=Path)
    asked = words.parse_args()
    with (
        tempfile.TemporaryDirectory(dir=asked.folder) as name,
        tempfile.TemporaryDirectory(dir=asked.elsewhere) as other,
    ):
        card = drawn_card(Path(name) / "card", asked.pictures)
        way = Way(card, tuple(asked.formats.split(",")), asked.pool)
        elsewhere = Path(other) if asked.elsewhere else None
        told = trials(way, Path(name), asked.instants, asked.seed, by=asked.by, elsewhere=elsewhere)
    print(*told.wrong, sep="\n", end="\n" if told.wrong else "")
    print(
        f"{told.killed.total()} killed by {asked.by}:", ", ".join(f"{n} {w}" for w, n in told.killed.items())
    )
    print(f"{len(told.wrong)} things came out otherwise")
    return 1 if told.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
