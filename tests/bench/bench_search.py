"""Time the search of a shelf of 1,000 jobs; the aim is a minute (trade.md, task 38).

``python -m tests.bench.bench_search [--jobs 1000]``

Each job is a copy of one with 300 originals and 30 findings: only the small text files are made,
since nothing else is read. The floor is reading these files and nothing more.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
import time
from pathlib import Path

from evidence.desk import Desk
from evidence.record import RECORD, Entry
from evidence.settings import JOB_FILE
from evidence.steps import findings
from evidence.steps.search import search
from evidence.steps.start import start


def main() -> None:
    """Print the time and its ratio to the floor."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=1000)
    jobs = parser.parse_args().jobs
    with tempfile.TemporaryDirectory() as temporary:
        shelf, first = Path(temporary) / "shelf", Path(temporary) / "first"
        start(first, {"address": "14 Alder Court", "client": "R. Moss"}).close()
        with Desk.open(first) as desk:
            desk.decide_all([Entry("shown", str(n), f"View {n} of the outside") for n in range(300)])
            for n in range(30):
                findings.add(desk, {"seen": f"Stain {n} at the chimney"})
        for n in range(jobs):
            (shelf / f"{n:04}").mkdir(parents=True)
            for name in (JOB_FILE, RECORD):
                shutil.copy(first / name, shelf / f"{n:04}" / name)
        begun = time.perf_counter()
        for path in shelf.rglob("*.*"):
            path.read_bytes()
        floor = time.perf_counter() - begun
        begun = time.perf_counter()
        found = search(shelf, "chimney alder")
        took = time.perf_counter() - begun
    assert len(found.found) == jobs
    print(f"{jobs} jobs searched in {took:.1f} s, {took / floor:.0f} x reading their files")


if __name__ == "__main__":
    main()
