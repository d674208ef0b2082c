"""Kill an intake at many instants and count what came out otherwise than undisturbed.

``python -m tests.bench.kill_intake [--instants 200] [--seed 1] [--by doing|time] [--folder DIR]``

``doing``: the program kills itself (SIGKILL) just before its n-th doing on the disk, n drawn at
random over the whole run. ``time``: its whole process group is killed from outside after a random
time. Each time the same intake is then run to its end, and manifest, second copy's manifest, record
and what ``verify`` says are compared with an undisturbed run.
"""

from __future__ import annotations

import argparse
import json
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests import saboteurs
from tests.conftest import make_card

SAME = ("manifest", "second", "noted", "unfinished", "faults")


def by_doing(card: Path, work: Path, instants: int, chance: random.Random) -> list[dict[str, Any]]:
    """Kill before doings drawn from the whole run."""
    last = saboteurs.doings(card, work / "count")
    told: list[dict[str, Any]] = []
    drawn = [chance.randrange(1, last + 1) for _ in range(instants)]
    for first in range(0, instants, 20):  # a few at a time: one program forks for all of them
        told += saboteurs.killed_and_resumed(card, work / str(first), drawn[first : first + 20])
    return told


def by_time(card: Path, work: Path, instants: int, chance: random.Random) -> list[dict[str, Any]]:
    """Kill the group after times drawn between the start of the program and its usual end."""

    def command(folder: Path) -> list[str]:
        return [sys.executable, "-m", "tests.saboteurs", "--take", str(card), str(folder)]

    start = time.perf_counter()
    subprocess.run(command(work / "usual"), cwd=saboteurs.HOME, check=True)
    usual = time.perf_counter() - start
    told = []
    for n in range(instants):
        folder = work / str(n)
        drawn = chance.uniform(0.3, 1.0) * usual
        killed = saboteurs.kill_group_after(command(folder), drawn)
        if not killed:
            usual = min(usual, drawn)  # the machine has less to do than before
        half = saboteurs.half_state(folder)
        again = subprocess.run(command(folder), cwd=saboteurs.HOME, check=False).returncode
        state = saboteurs.state_of(folder / "job", folder / "second")
        told.append({"n": n, "code": -9 if killed else 0, "half": half, "again": again, **state})
    return told


def main() -> None:
    """Print the counts, and every case that came out otherwise."""
    words = argparse.ArgumentParser()
    words.add_argument("--instants", type=int, default=200)
    words.add_argument("--pictures", type=int, default=20)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--by", choices=["doing", "time"], default="doing")
    words.add_argument("--folder", type=Path)
    asked = words.parse_args()
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        work = Path(name)
        card = make_card(work / "EOSTREL", asked.pictures)
        (undisturbed,) = saboteurs.killed_and_resumed(card, work / "undisturbed", [0])
        do = by_doing if asked.by == "doing" else by_time
        told = do(card, work, asked.instants, random.Random(asked.seed))
    bad = [one for one in told if one["again"] or any(one[w] != undisturbed[w] for w in SAME)]
    for one in bad:
        differs = {word: one[word] for word in SAME if one[word] != undisturbed[word]}
        print(json.dumps({"n": one["n"], "again": one["again"], **differs}))
    killed = sum(one["code"] == -9 for one in told)
    half = sum(bool(one["half"]) for one in told)
    print(f"{len(told)} instants by {asked.by}, {killed} killed: {len(bad)} came out otherwise;")
    print(f"faults found before going on: {half}")


if __name__ == "__main__":
    main()
