"""Kill the whole way, from the card to the issued edition, and count what came out otherwise.

``python -m tests.bench.kill_whole_way [--instants 200] [--seed 1] [--pool] [--folder DIR]``

A program starts a job, takes a card in, reads it, decides and issues. Its process group is killed
(SIGKILL) from outside after a time drawn over the whole run; the same program then goes on where it
stopped. Manifest, originals, decisions, answers in the store, edition and ``verify`` are compared
with an undisturbed run. ``--pool`` reads in worker processes instead of threads.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from evidence import study, verify
from evidence.bag import MANIFEST
from evidence.desk import Desk
from evidence.packing import from_json
from evidence.progress import Silent
from evidence.record import Entry
from evidence.report.contents import Contents
from evidence.steps import issue, read
from evidence.steps.start import start
from tests.conftest import draw

DETAILS = {"address": "14 Alder Court", "inspector": "A. Wren"}
DECISIONS = (
    *(Entry("begins", str(frame), frame == 5) for frame in range(2, 9)),
    Entry("room", "1", "Kitchen"),
    Entry("room", "5", "Attic"),
    Entry("finding", "1", {"seen": "A drain leaks.", "room": "Kitchen"}),
    Entry("attached", "1/2", {"distance": "close-up", "rank": 0}),
    Entry("attached", "1/3", {"distance": "overall", "rank": 1}),
    Entry("view", "6", True),
)


def drawn_card(root: Path) -> Path:
    """Draw eight pictures ten seconds apart."""
    for number in range(1, 9):
        moment = datetime(2026, 3, 4, 9, 0) + timedelta(seconds=10 * number)  # noqa: DTZ001 - as a camera
        draw(root / "DCIM" / "100OSTRE" / f"OSTR{number:04d}.JPG", number, moment)
    return root


def now() -> datetime:
    """Give the one moment of issue, so that two runs can be compared."""
    return datetime(2026, 3, 5, 20, 15, tzinfo=UTC)


def go(card: Path, folder: Path, *, pool: bool = False) -> None:
    """Go the whole way, or what is left of it."""
    if not (folder / "job.toml").exists():
        start(folder, DETAILS).close()
    with Desk.open(folder) as desk:
        if pool:
            read.take_in(desk, [card])  # a card read again studies nothing a kill left unread:
            read.read(desk)  # that is what `evidence read` is for
        else:
            with ThreadPoolExecutor(2) as threads:
                read.take_in(desk, [card], executor=threads)
                read.read(desk, executor=threads)
        made = {(line.what, line.about) for line in desk.job.lines}
        for entry in DECISIONS:
            if (entry.what, entry.about) not in made:
                desk.decide_all([entry])
        issue.resume(desk)
        if not any(line.what == "issue" for line in desk.job.lines):
            issue.issue(desk, issue.Wanted(("html",)), progress=Silent(), now=now)


def state_of(folder: Path) -> dict[str, Any]:
    """Give what must equal an undisturbed run's; times of writing and what hangs on them left out."""
    with Desk.open(folder, write=False) as desk:
        answers = {
            part: sorted((d, a.value, a.fault) for d, a in desk.store.answers(part).items())
            for part in study.VERSIONS
        }
        originals = sorted(map(repr, desk.job.taken()))
        lines = desk.job.lines
        decided = [(ln.what, ln.about, ln.value) for ln in lines if ln.what not in {"start", "issue"}]
        issues = [(ln.about, ln.value["photos"], ln.value["findings"]) for ln in lines if ln.what == "issue"]
    held = from_json((folder / "issued" / "edition-1" / issue.CONTENTS).read_bytes(), Contents)
    return {
        "manifest": (folder / "originals" / MANIFEST).read_text(),
        "originals": originals,
        "answers": answers,
        "decided": decided,
        "issues": issues,
        "editions": sorted(path.name for path in (folder / "issued").iterdir()),
        "photos": held.photos,
        "findings": held.findings,
        "faults": [fault.sentence for fault in verify.verify(folder).faults],
    }


def in_a_group(do: Callable[[], None], seconds: float = 300.0) -> int:
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
    os.killpg(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def half_state(folder: Path) -> list[str]:
    """Give what is wrong with a job that a kill left behind; nothing if it is none yet."""
    return [f.sentence for f in verify.verify(folder).faults] if (folder / "job.toml").exists() else []


def trials(work: Path, instants: int, seed: int, *, pool: bool = False) -> tuple[int, list[str]]:
    """Kill and go on so many times.

    Returns
    -------
    How many were killed before their end, and a sentence for each thing that came out otherwise.
    """
    card, chance = drawn_card(work / "card"), random.Random(seed)
    begun = time.perf_counter()
    if in_a_group(lambda: go(card, work / "usual", pool=pool)) != 0:
        return 0, ["the undisturbed run failed"]
    usual = time.perf_counter() - begun
    wanted = state_of(work / "usual")
    wrong = [f"undisturbed: {fault}" for fault in wanted["faults"]]
    killed = 0
    for n in range(instants):
        folder = work / str(n)
        after = chance.uniform(0.0, usual)
        killed += in_a_group(lambda: go(card, folder, pool=pool), after) == -signal.SIGKILL  # noqa: B023
        wrong += [f"{n}: half: {sentence}" for sentence in half_state(folder)]
        if in_a_group(lambda: go(card, folder, pool=pool)) != 0:  # noqa: B023 - called at once
            wrong.append(f"{n}: killed after {after:.3f} s, it does not go on")
            continue
        state = state_of(folder)
        wrong += [
            f"{n}: {word} differs: {state[word]!r:.300}" for word in wanted if state[word] != wanted[word]
        ]
    return killed, wrong


def main() -> None:
    """Print the counts, and every case that came out otherwise."""
    words = argparse.ArgumentParser()
    words.add_argument("--instants", type=int, default=200)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--pool", action="store_true")
    words.add_argument("--folder", type=Path)
    asked = words.parse_args()
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        killed, wrong = trials(Path(name), asked.instants, asked.seed, pool=asked.pool)
    print(*wrong, sep="\n")
    print(f"{asked.instants} instants, {killed} killed before their end: {len(wrong)} things otherwise")


if __name__ == "__main__":
    main()
