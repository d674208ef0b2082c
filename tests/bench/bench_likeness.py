"""Judge look-alikes on labelled pairs, beside two perceptual hashes at their best, in one run.

``python -m tests.bench.bench_likeness`` scores; ``--set tuning`` shows the set the constants were set on;
``--growth`` measures 300, 2,000 and 20,000 pictures. Needs the open photographs in ``../shared/data``.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context
from typing import Self

import cv2
import imagehash
import numpy as np
from PIL import Image

from evidence import likeness
from evidence.likeness.groups import candidates
from tests.bench import likeness_pairs

UNLIKE = 600


@dataclass(frozen=True)
class Judged:
    """One pair: its label, our verdict, and how far the peers' hashes are apart."""

    truth: str
    kind: str
    depth: bool
    verdict: likeness.Verdict
    phash: int
    dhash: int


Described = tuple[likeness.Likeness, imagehash.ImageHash, imagehash.ImageHash]


@dataclass
class Spent:
    """Processor time by what it went into, and how often."""

    seconds: Counter[str] = field(default_factory=Counter)
    times: Counter[str] = field(default_factory=Counter)

    def __iadd__(self, other: Spent) -> Self:
        """Add another's."""
        self.seconds += other.seconds
        self.times += other.times
        return self


def judge(which: str, index: int, in_depth: bool) -> tuple[list[Judged], Described, Spent]:
    """Judge the labelled pairs of one room, or of one photograph; give its first picture besides."""
    cv2.setNumThreads(1)
    batches = likeness_pairs.in_depth(which, 1, index) if in_depth else likeness_pairs.flat(which, index)
    batch, spent = next(iter(batches)), Spent()
    pictures = {name: described(rgb, spent) for name, rgb in batch.pictures.items()}
    rows = [
        compared(pictures[label.a], pictures[label.b], (label.truth, label.kind, label.depth), spent)
        for label in batch.pairs
    ]
    return rows, pictures["A"], spent


def described(rgb: likeness_pairs.Rgb8, spent: Spent) -> Described:
    """Describe a picture by our method and by both hashes."""
    begun = time.process_time()
    made = likeness.describe(rgb)
    spent.seconds["describe"] += time.process_time() - begun  # type: ignore[assignment]
    spent.times["describe"] += 1
    picture = Image.fromarray(rgb)
    return made, imagehash.phash(picture), imagehash.dhash(picture)


def compared(a: Described, b: Described, label: tuple[str, str, bool], spent: Spent) -> Judged:
    """Compare two pictures by our method and by both hashes."""
    begun = time.process_time()
    verdict = likeness.compare(a[0], b[0]).verdict
    spent.seconds["compare"] += time.process_time() - begun  # type: ignore[assignment]
    spent.times["compare"] += 1
    return Judged(*label, verdict, int(a[1] - b[1]), int(a[2] - b[2]))


def judged(which: str, rooms: int) -> list[Judged]:
    """Judge every labelled pair of a set on all cores, and pairs of different rooms."""
    rows: list[Judged] = []
    fronts: list[Described] = []
    spent = Spent()
    photographs = len(likeness_pairs.PHOTOS[which])
    tasks = [(which, index, True) for index in range(rooms)]
    tasks += [(which, index, False) for index in range(photographs)]
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        for done, (more, front, took) in enumerate(pool.map(judge, *zip(*tasks, strict=True)), 1):
            rows += more
            fronts.append(front)
            spent += took
            print(f"\r{done} of {len(tasks)} rooms and photographs", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    chance = np.random.default_rng(1)
    for _ in range(UNLIKE):
        a, b = chance.choice(len(fronts), 2, replace=False)
        rows.append(compared(fronts[a], fronts[b], ("unlike", "another room", True), spent))
    for name, seconds in spent.seconds.items():
        times = spent.times[name]
        print(f"{name}: {1000 * seconds / times:.0f} ms of processor time each, {times} times")
    return rows


def report(rows: list[Judged]) -> None:
    """Print the table by kind, then the totals against the hashes."""
    table: dict[tuple[str, str, bool], Counter[str]] = defaultdict(Counter)
    for row in rows:
        table[row.truth, row.kind, row.depth][row.verdict.name] += 1
    print("| label | what was done | pairs | folded | changed | wider | other |")
    print("|---|---|---|---|---|---|---|")
    for (truth, kind, depth), found in sorted(table.items()):
        cells = " | ".join(str(found[name]) for name in ("SAME", "CHANGED", "WIDER", "OTHER"))
        where = "in depth" if depth else "flat"
        print(f"| {truth} | {kind}, {where} | {sum(found.values())} | {cells} |")
    same = np.array([row.truth == "same" for row in rows])
    print(f"\n{len(rows)} pairs, {sum(row.depth for row in rows)} in depth")
    score("ours", same, np.array([row.verdict is likeness.Verdict.SAME for row in rows]))
    for name in ("phash", "dhash"):
        apart = np.array([getattr(row, name) for row in rows])
        best = max(range(33), key=lambda bits: f1(same, apart <= bits))
        score(f"{name} <= {best} (best F1)", same, apart <= best)
        clean = max((bits for bits in range(-1, 33) if not (~same & (apart <= bits)).any()), default=-1)
        score(f"{name} <= {clean} (no false fold)", same, apart <= clean)


def f1(same: np.ndarray, folded: np.ndarray) -> float:
    """Give the harmonic mean of precision and recall."""
    return float(2 * (same & folded).sum() / max(1, same.sum() + folded.sum()))


def score(name: str, same: np.ndarray, folded: np.ndarray) -> None:
    """Print one method's line."""
    false, recall = int((~same & folded).sum()), float((same & folded).sum() / same.sum())
    print(f"{name}: {false} of {(~same).sum()} false folds, recall {recall:.3f}, F1 {f1(same, folded):.3f}")


def growth(rooms: int = 12) -> None:
    """Measure candidates and comparisons as a job grows: real descriptions repeated with random hashes."""
    made: list[likeness.Likeness] = []
    for batch in likeness_pairs.in_depth("tuning", rooms):
        made += [likeness.describe(rgb) for rgb in batch.pictures.values()]
    chance = np.random.default_rng(2)
    for count in (300, 2_000, 20_000):
        # Hashes of real pictures with 24 random bits turned: as far apart as other rooms of one house.
        many = [turned(made[i % len(made)], chance) for i in range(count)]
        seconds = [20.0 * i for i in range(count)]
        begun = time.process_time()
        pairs = candidates(many, seconds)
        print(f"{count}: {len(pairs)} candidates in {time.process_time() - begun:.1f} s", end="")
        sample = pairs[:: max(1, len(pairs) // 400)]
        begun = time.process_time()
        for a, b in sample:
            likeness.compare(many[a], many[b])
        each = (time.process_time() - begun) / len(sample)
        print(f", {1000 * each:.1f} ms each: {each * len(pairs):.0f} s in all")


def turned(one: likeness.Likeness, chance: np.random.Generator) -> likeness.Likeness:
    """Give a description whose hash has 24 of its 64 bits turned."""
    bits = sum(1 << int(bit) for bit in chance.choice(64, 24, replace=False))
    return likeness.Likeness(
        one.version,
        one.phash ^ bits,
        one.phash_lit ^ bits,
        one.level,
        one.width,
        one.height,
        one.points,
        one.marks,
        one.view,
    )


def main() -> None:
    """Read the words typed and measure."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--set", choices=("tuning", "scoring"), default="scoring")
    words.add_argument("--rooms", type=int, default=60)
    words.add_argument("--growth", action="store_true")
    asked = words.parse_args()
    cv2.setNumThreads(1)
    if asked.growth:
        growth()
    else:
        report(judged(asked.set, asked.rooms))


if __name__ == "__main__":
    main()
