"""Flip one bit at a time in a copy of a job, and count how many ``verify`` finds and names.

``python -m tests.bench.flip_bits JOB [--trials 1000] [--seed 1] [--folder DIR]``

Three ways of drawing: a file first, so that small files have their turn; a byte of all bytes, so
that large files have theirs; and the record alone. Left out are job.toml, HOW-TO-CHECK.txt, the
database and copies, which a person edits or the program can make again.
"""

from __future__ import annotations

import argparse
import random
import shutil
import tempfile
from collections import Counter
from pathlib import Path

from evidence.bag import ISSUED, ORIGINALS
from evidence.record import RECORD
from evidence.verify import verify
from tests import saboteurs


def victims(job: Path) -> list[Path]:
    """List what must be protected."""
    below = [path for name in (ORIGINALS, ISSUED) for path in (job / name).rglob("*")]
    drafts = job / ISSUED / "draft"
    kept = [path for path in below if path.is_file() and drafts not in path.parents and path.stat().st_size]
    return [*sorted(kept), job / RECORD]


def main() -> None:
    """Print found and named of each way of drawing."""
    words = argparse.ArgumentParser()
    words.add_argument("job", type=Path)
    words.add_argument("--trials", type=int, default=1000)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--folder", type=Path)
    asked = words.parse_args()
    chance = random.Random(asked.seed)
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        job = Path(shutil.copytree(asked.job, Path(name) / "job"))
        if not verify(job).sound:
            raise SystemExit("the job is not sound to begin with")
        files = victims(job)
        sizes = [path.stat().st_size for path in files]
        found, named, trials = Counter[str](), Counter[str](), Counter[str]()
        for n in range(asked.trials):
            way = ("by file", "by byte", "record")[n % 3]
            victim = {
                "by file": lambda: chance.choice(files),
                "by byte": lambda: chance.choices(files, sizes)[0],
                "record": lambda: job / RECORD,
            }[way]()
            before = victim.read_bytes()
            at, bit = saboteurs.flip_a_bit(victim, chance)
            faults = verify(job).faults
            victim.write_bytes(before)
            where = victim.relative_to(job).as_posix()
            trials[way] += 1
            found[way] += bool(faults)
            named[way] += where in {fault.where for fault in faults}
            if not faults:
                print(f"not found: {where}, byte {at}, bit {bit}")
        if not verify(job).sound:
            raise SystemExit("the job did not come back as it was")
    for way, number in trials.items():
        print(f"{way}: {number} flips, {found[way]} found, {named[way]} with the very file named")


if __name__ == "__main__":
    main()
