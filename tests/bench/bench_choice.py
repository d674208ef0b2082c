"""Choose among retakes whose faults are known, and hold each reason given to the truth.

``python -m tests.bench.bench_choice [--set scoring|tuning] [--scenes N]``

A set is one view taken two to six times: once well, the others each with one fault. Right: the good
one stands in front. Beside ours, in the same run: the largest variance of the Laplacian. Then the
words: of each good picture and one spoiled in one way it is asked what is said of the spoiled one.
*Told*: a word that is true of the fault is said, or the lead ("sharpest of 2"). *Untrue*: a word is said
that this fault cannot have caused. Last, pairs taken equally well: how often both are offered, and how
often a spoiled one is offered beside a good one.

Pictures are made as in ``bench_quality``. Tuning: its open photographs, and drawn rooms of seeds 61000
on. Scoring: the made-up house's clean renders at half size, and drawn rooms of seeds 8000 on.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from evidence import choice, light, quality
from evidence.words import FrameNumber
from tests.bench.bench_quality import FINE, Linear, Take, drawn, house, laplacian, photograph, photographs

UNSHARP = frozenset({"blurred", "less sharp", "sharpest"})
DIM = frozenset({"darker", "too dark to recover", "best lit"})
GRAINY = frozenset({"noisier", "least noisy"})
BURNT = frozenset({"burnt out in parts"})

FAULTS: dict[str, tuple[frozenset[str], tuple[Take, ...]]] = {
    "out of focus": (UNSHARP, tuple(replace(FINE, defocus=x) for x in (1.5, 2, 3, 5))),
    "shaken": (UNSHARP, tuple(replace(FINE, shake=x) for x in (5, 8, 14))),
    # What is darker has more noise once it is brightened, and its fine detail drowns in it.
    "darker": (DIM, tuple(replace(FINE, stops=x) for x in (-1.5, -2.5, -4))),
    "noisier": (GRAINY, tuple(replace(FINE, electrons=x) for x in (800, 400, 200))),
    "burnt out": (BURNT, tuple(replace(FINE, stops=x) for x in (1.5, 2.5))),
    "flash reflection": (BURNT, tuple(replace(FINE, spot=x) for x in (0.1, 0.2))),
}
"""Each fault, the words that are true of it, and its strengths."""

WORDS = (*UNSHARP, *DIM, *GRAINY, *BURNT)


@dataclass(frozen=True, slots=True)
class _Shot:
    candidate: choice.Candidate
    laplacian: float


def _shot(base: Linear, take: Take, frame: int, chance: np.random.Generator) -> _Shot:
    rgb = photograph(base, take, chance)
    seen = choice.Candidate(FrameNumber(frame), quality.measure(rgb), light.propose(rgb))
    return _Shot(seen, laplacian(rgb))


def _bases(which: str, scenes: int) -> Iterator[tuple[str, Linear]]:
    if which == "tuning":
        yield from photographs(scenes)
        yield from drawn(61000, scenes)
    else:
        yield from house(2 * scenes)
        yield from drawn(8000, scenes)


def main() -> None:
    """Print right-best shares, what was told of each fault, and how equals fare."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--set", choices=("scoring", "tuning"), default="scoring")
    asked.add_argument("--scenes", type=int, default=18)
    options = asked.parse_args()
    best: dict[int, list[tuple[bool, bool]]] = defaultdict(list)
    told: dict[str, list[tuple[bool, bool]]] = defaultdict(list)
    said: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    beside: dict[str, list[bool]] = defaultdict(list)
    scenes = 0
    for scenes, (_, base) in enumerate(_bases(options.set, options.scenes), 1):
        chance = np.random.default_rng(scenes)
        good, again = _shot(base, FINE, 1, chance), _shot(base, FINE, 2, chance)
        beside["taken equally well"].append(_equal([good, again]))
        spoiled: list[_Shot] = []
        for fault, (_, takes) in FAULTS.items():
            for take in takes:
                bad = _shot(base, take, 3 + len(spoiled), chance)
                spoiled.append(bad)
                front = choice.front([good.candidate, bad.candidate])
                words = {word for word in WORDS if word in front.reason}
                if front.frame == 1:
                    told[fault].append(_truth(fault, words))
                    for word in words:
                        said[fault][word] += 1
                beside[fault].append(_equal([good, bad]))
        for size in (2, 3, 4, 5, 6) * 2:
            others = [spoiled[i] for i in chance.choice(len(spoiled), size - 1, replace=False)]
            shots = [good, *others]
            sharpest = max(shots, key=lambda shot: shot.laplacian)
            ours = choice.front([shot.candidate for shot in shots]).frame
            best[size].append((ours == 1, sharpest is good))
    print(f"{options.set}: {scenes} scenes")
    _print(best, told, said, beside)


def _equal(shots: list[_Shot]) -> bool:
    return "look at both" in choice.front([shot.candidate for shot in shots]).reason


def _truth(fault: str, words: set[str]) -> tuple[bool, bool]:
    """Whether a true word was said, and whether an untrue one was."""
    true, _ = FAULTS[fault]
    return bool(words & true), bool(words - true)


def _print(
    best: dict[int, list[tuple[bool, bool]]],
    told: dict[str, list[tuple[bool, bool]]],
    said: dict[str, dict[str, int]],
    beside: dict[str, list[bool]],
) -> None:
    print(f"{'retakes':>8s}{'sets':>6s}{'ours':>8s}{'Laplacian':>11s}")
    for size, found in best.items():
        ours, peer = (np.mean([pair[i] for pair in found]) for i in (0, 1))
        print(f"{size:8d}{len(found):6d}{ours:8.3f}{peer:11.3f}")
    print(f"{'fault':18s}{'pairs':>6s}{'told':>7s}{'untrue':>8s}{'both offered':>14s}  words said")
    for fault, equal in beside.items():
        pairs = told.get(fault, [])
        shares = "".join(f"{np.mean([p[i] for p in pairs]):7.3f}" for i in (0, 1)) if pairs else 14 * " "
        words = ", ".join(f"{w} {n}" for w, n in sorted(said[fault].items(), key=lambda item: -item[1]))
        print(f"{fault:18s}{len(equal):6d}{shares} {np.mean(equal):14.3f}  {words}")


if __name__ == "__main__":
    main()
