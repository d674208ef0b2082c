"""Clocks: faults planted in simulated walks, and two cameras set to each other by look-alikes.

Run with ``python -m tests.bench.bench_clocks [--walks 200]``. Every walk draws its own parameters
(:mod:`tests.bench.walks`); each carries one planted fault, and each is also tried without. The floor
for alignment is the median of the time differences of the nearest pairs. Look-alikes are numbers
here: two pictures of one view lie closer than two of one room, and those closer than others, with
as much overlap as ``--blur`` says.
"""

from __future__ import annotations

import argparse
from datetime import datetime, timedelta

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from evidence import clocks
from evidence.words import CameraTime, TimeSource
from tests.bench import walks
from tests.test_clocks import corrections

START = datetime(2026, 11, 25, 9, 0, 0)  # noqa: DTZ001 - a camera's clock is naive


def shown(seconds: NDArray[np.float64]) -> list[CameraTime]:
    """What the clock showed, to the hundredth of a second."""
    return [
        CameraTime(START + timedelta(seconds=round(float(s), 2)), None, TimeSource.TAKEN) for s in seconds
    ]


def planted(kind: str, true: NDArray[np.float64], at: int, rng: Generator) -> NDArray[np.float64]:
    """Move every reading from a shot on: by an hour, or to a date of the maker's."""
    wrong = true.copy()
    if kind == "reset":
        wrong[at:] -= true[at] + float(rng.uniform(1, 27)) * 365.25 * 86400 - float(rng.uniform(0, 300))
    else:
        wrong[at:] += 3600.0 if kind == "hour forward" else -3600.0
    return wrong


def measure_faults(count: int) -> None:
    """Print how many planted faults are found at the exact shot and how well they are repaired."""
    print(f"{'planted':16}{'walks':>6}{'found':>7}{'exact':>7}{'false':>7}  worst error after repair")
    for kind in ("reset", "hour back", "hour forward", "nothing", "lunch 45 min", "lunch 65 min"):
        found = exact = false = 0
        worst = 0.0
        for number in range(count):
            rng = np.random.default_rng((11, number))
            true = walks.walk(rng).seconds
            at = int(rng.integers(1, len(true) - 1))
            faulty = "lunch" not in kind and kind != "nothing"
            if "lunch" in kind:
                true[at:] += float(kind.split()[1]) * 60
            seen = planted(kind, true, at, rng) if faulty else true
            faults = clocks.faults(shown(seen))
            hit = [fault for fault in faults if faulty and fault.after == at - 1]
            found += bool(hit)
            false += len(faults) - len(hit)
            exact += any(fault.exact for fault in hit)
            repaired = seen + np.array(corrections(faults, len(seen)))
            if faulty:
                worst = max(worst, float(np.abs(repaired - true).max()))
        print(f"{kind:16}{count:6}{found:7}{exact:7}{false:7}  {worst:.1f} s")


def looks(
    rng: Generator, rooms: NDArray[np.int64], views: NDArray[np.int64], blur: float
) -> NDArray[np.float64]:
    """Vectors of pictures: a room's own, a view's own, and what no two pictures share."""
    room = np.random.default_rng(1).normal(0, 1, (1000, 16))[rooms]
    view = np.array([np.random.default_rng((2, int(v))).normal(0, 1, 16) for v in views])
    return np.asarray(room + 0.8 * view + blur * rng.normal(0, 1, room.shape))


def measure_cameras(count: int, blur: float) -> None:
    """Print how often a second camera is set right, wrong, or left unsure."""
    print(f"\n{'second camera':16}{'walks':>6}{'<=60 s':>8}{'sure':>6}{'sure, wrong':>13}  floor <=60 s")
    for shots in (47, 20, 10, 5, 3):
        right = sure = wrong = floor = 0
        for number in range(count):
            rng = np.random.default_rng((12, number))
            taken = walks.walk(rng)
            views = np.arange(len(taken.seconds)) + 1000 * number
            chosen = np.sort(rng.choice(len(taken.seconds), shots, replace=False))
            fast = float(rng.uniform(-7200, 7200))
            main = looks(rng, taken.rooms, views, blur)
            other = looks(rng, taken.rooms[chosen], views[chosen], blur)
            apart = np.linalg.norm(other[:, None] - main[None], axis=2).astype(np.float32)
            seconds = taken.seconds[chosen] + rng.normal(0, 10, shots) + fast
            found = clocks.align(taken.seconds.tolist(), seconds.tolist(), apart)
            assert found is not None
            close = abs(found.shift_s + fast) <= 60
            right += close
            sure += found.sure
            wrong += found.sure and not close
            nearest = taken.seconds[apart.argmin(axis=1)] - seconds
            floor += abs(float(np.median(nearest)) + fast) <= 60
        shares = f"{right / count:8.2f}{sure / count:6.2f}{wrong:13}  {floor / count:.2f}"
        print(f"{shots:4} shots      {count:6}{shares}")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--walks", type=int, default=200)
    parser.add_argument("--blur", type=float, default=0.8)
    asked = parser.parse_args()
    measure_faults(asked.walks)
    measure_cameras(asked.walks, asked.blur)


if __name__ == "__main__":
    main()
