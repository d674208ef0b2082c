"""Room cards: how many of drawn shots are read, and whether anything else is taken for a card.

Run with ``python -m tests.bench.bench_roomcards [--shots 1050] [--others 2100] [--seed 1]``. Prints a
row for each condition: shots, read right, read wrong; then for each kind of picture without a card:
pictures, false readings. The floor in the same run is the marker detector as its library sets it up,
on the same pictures at full size.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from collections.abc import Callable

import cv2
import numpy as np

from evidence import roomcards
from evidence.words import Rgb
from tests.bench import drawn_cards

Reader = Callable[[Rgb], list[int]]


def library_default(rgb: Rgb) -> list[int]:
    """Read with the detector as it comes: full size, no stretch."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    _, ids, _ = cv2.aruco.ArucoDetector(family).detectMarkers(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY))
    return [] if ids is None else sorted({int(card) for card in np.ravel(ids)})


READERS: dict[str, Reader] = {"ours": roomcards.read, "library default": library_default}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shots", type=int, default=1050)
    parser.add_argument("--others", type=int, default=2100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--width", type=int, default=1600)
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    size = (asked.width, asked.width * 3 // 4)
    walls = drawn_cards.backgrounds(24, 9000 + asked.seed, size)
    tally: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0, 0])
    spent = dict.fromkeys(READERS, 0.0)
    for number in range(asked.shots + asked.others):
        rng = np.random.default_rng((asked.seed, number))
        wall = walls[int(rng.integers(len(walls)))]
        if number < asked.shots:
            kind = drawn_cards.CONDITIONS[number % len(drawn_cards.CONDITIONS)]
            shown = int(rng.integers(100))
            card = {shown}
            picture = drawn_cards.shoot(shown, drawn_cards.any_shot(rng, kind), wall, rng)
        else:
            kind = drawn_cards.CLUTTER[number % len(drawn_cards.CLUTTER)]
            card = set()
            picture = drawn_cards.clutter(kind, wall, rng)
            kind = f"no card: {kind}"
        for name, read in READERS.items():
            start = time.process_time()
            found = set(read(picture))
            spent[name] += time.process_time() - start
            row = tally[name, kind]
            row[0] += 1
            row[1] += found == card
            row[2] += bool(found - card)
    for name in READERS:
        print(f"\n{name}: {1000 * spent[name] / (asked.shots + asked.others):.1f} ms a picture, one core")
        print(f"{'condition':26}{'pictures':>9}{'right':>7}{'false':>7}")
        for (reader, kind), (count, right, false) in tally.items():
            if reader == name:
                print(f"{kind:26}{count:9}{right:7}{false:7}")
        for label, rows in (
            (
                "all with a card",
                [r for (n, k), r in tally.items() if n == name and not k.startswith("no card")],
            ),
            ("all without", [r for (n, k), r in tally.items() if n == name and k.startswith("no card")]),
        ):
            count, right, false = (sum(row[i] for row in rows) for i in range(3))
            print(f"{label:26}{count:9}{right:7}{false:7}   {right / max(count, 1):.2%}")


if __name__ == "__main__":
    main()
