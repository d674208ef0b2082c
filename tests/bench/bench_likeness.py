"""Judge look-alikes on labelled pairs, beside two perceptual hashes at their best, in one run.

``python -m tests.bench.bench_likeness`` scores; ``--set tuning`` shows the set the constants were set on;
``--growth`` measures 300, 2,000 and 20,000 pictures. Needs the open photographs in ``../shared/data``.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

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


def judged(which: str, rooms: int) -> Iterator[Judged]:
    """Give every labelled pair of a set, and pairs of different rooms."""
    fronts: list[Described] = []
    spent = {"describe": 0.0, "compare": 0.0}
    counts = Counter[str]()

    def described(rgb: likeness_pairs.Rgb8) -> Described:
        begun = time.process_time()
        made = likeness.describe(rgb)
        spent["describe"] += time.process_time() - begun
        counts["describe"] += 1
        picture = Image.fromarray(rgb)
        return made, imagehash.phash(picture), imagehash.dhash(picture)

    def pair(a: Described, b: Described, truth: str, kind: str, depth: bool) -> Judged:
        begun = time.process_time()
        verdict = likeness.compare(a[0], b[0]).verdict
        spent["compare"] += time.process_time() - begun
        counts["compare"] += 1
        return Judged(truth, kind, depth, verdict, int(a[1] - b[1]), int(a[2] - b[2]))

    for batches in (likeness_pairs.in_depth(which, rooms), likeness_pairs.flat(which)):
        for batch in batches:
            pictures = {name: described(rgb) for name, rgb in batch.pictures.items()}
            fronts.append(pictures["A"])
            for label in batch.pairs:
                yield pair(pictures[label.a], pictures[label.b], label.truth, label.kind, label.depth)
    chance = np.random.default_rng(1)
    for _ in range(UNLIKE):
        a, b = chance.choice(len(fronts), 2, replace=False)
        yield pair(fronts[a], fronts[b], "unlike", "another room", True)
    for name, seconds in spent.items():
        print(f"{name}: {1000 * seconds / counts[name]:.0f} ms of processor time each, {counts[name]} times")


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
        report(list(judged(asked.set, asked.rooms)))


if __name__ == "__main__":
    main()
