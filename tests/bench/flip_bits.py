"""Flip one bit at a time in a copy of a job, and count how many ``verify`` finds and names.

``python -m tests.bench.flip_bits JOB [--trials 1000] [--seed 1] [--folder DIR]``

Three ways of drawing by turns: a file first, so that small files have their turn; a byte of all
bytes, so that large files have theirs; and the record alone. Left out are job.toml,
HOW-TO-CHECK.txt, the database and copies, which a person edits or the program can make again.

A flip is *named* when a fault tells the very file. In a list (a manifest) a flip may instead show at
the file whose line it hit, as changed, missing or not listed: named is then that file's path.
"""

from __future__ import annotations

import argparse
import random
import shutil
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from evidence.bag import ISSUED, MANIFEST, ORIGINALS, TAG_MANIFEST
from evidence.record import RECORD
from evidence.verify import verify
from tests import saboteurs


@dataclass(slots=True)
class Told:
    """What came of the trials.

    Attributes
    ----------
    found, named
        How many flips were found, and how many with the very file, or the file whose line in a list
        was hit, named.
    missed, unnamed
        Each flip that was not found, or not named, in a sentence.
    """

    trials: int = 0
    found: int = 0
    named: int = 0
    missed: list[str] = field(default_factory=list)
    unnamed: list[str] = field(default_factory=list)


def victims(job: Path) -> list[Path]:
    """List what must be protected."""
    below = [path for name in (ORIGINALS, ISSUED) for path in (job / name).rglob("*")]
    drafts = job / ISSUED / "draft"
    kept = [path for path in below if path.is_file() and drafts not in path.parents and path.stat().st_size]
    return [*sorted(kept), job / RECORD]


def flip(original: Path, work: Path, trials: int, *, seed: int) -> Told:
    """Flip so many bits, one at a time, in a copy of a job.

    Raises
    ------
    ValueError
        The job is not sound to begin with, or does not come back as it was.
    """
    told, chance = Told(), random.Random(seed)
    job = Path(shutil.copytree(original, work / "flipped"))
    if not verify(job).sound:
        raise ValueError("the job is not sound to begin with")
    files = victims(job)
    sizes = [path.stat().st_size for path in files]
    for n in range(trials):
        victim = (chance.choice(files), chance.choices(files, sizes)[0], job / RECORD)[n % 3]
        before = victim.read_bytes()
        at, bit = saboteurs.flip_a_bit(victim, chance)
        faults = verify(job).faults
        victim.write_bytes(before)
        where = victim.relative_to(job).as_posix()
        flipped = f"{where}, byte {at}, bit {bit}"
        told.trials += 1
        told.found += bool(faults)
        if not faults:
            told.missed.append(flipped)
        elif {fault.where for fault in faults} & {where, *listed_at(victim, job, before, at)}:
            told.named += 1
        else:
            told.unnamed.append(f"{flipped}: {faults[0].sentence}")
    if not verify(job).sound:
        raise ValueError("the job did not come back as it was")
    return told


def listed_at(victim: Path, job: Path, before: bytes, at: int) -> set[str]:
    """Give the path of the file on whose line in a list a byte lies; nothing for other files."""
    if victim.name not in {MANIFEST, TAG_MANIFEST}:
        return set()
    line = before[before.rfind(b"\n", 0, at) + 1 :].split(b"\n", 1)[0].decode()
    return {(victim.parent / line[66:]).relative_to(job).as_posix()}


def main() -> None:
    """Print found and named."""
    words = argparse.ArgumentParser()
    words.add_argument("job", type=Path)
    words.add_argument("--trials", type=int, default=1000)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--folder", type=Path)
    asked = words.parse_args()
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        told = flip(asked.job, Path(name), asked.trials, seed=asked.seed)
    for sentence in (*told.missed, *told.unnamed):
        print(sentence)
    print(f"{told.trials} flips, {told.found} found, {told.named} with the file named")


if __name__ == "__main__":
    main()
