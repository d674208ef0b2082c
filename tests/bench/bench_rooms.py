"""Score the cutting of the day into visits on simulated walks, or learn its weights.

``python -m tests.bench.bench_rooms [--learn]``

Walks have known truth; each draws its own parameters. Their pictures are drawn rooms, twins and dark
ones included. Houses below 1000 are for tuning, from 1000 on for scoring; no house is in both.
``--learn`` fits the weights on the tuning houses and prints them. Beside ours, in the same run: a
fixed gap, tuned on the tuning walks, and Platt's rule on log gaps (Platt, Czerwinski and Field,
"PhotoTOC", 2003, from memory).
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from numpy.typing import NDArray

from evidence import rooms
from evidence.rooms.learning import ConfirmedDay, refit
from tests.bench import drawn_rooms, walks

TUNING = (1, 2, 3, 4)
SCORING = (1001, 1002, 1003, 1004)
VIEWS = 9
WALKS = 3
Cut = Callable[[NDArray[np.float64], NDArray[np.float32]], NDArray[np.bool_]]


def pool_of(seed: int) -> list[NDArray[np.float32]]:
    """Draw a house and give the vectors of each of its rooms' views."""
    vectors = []
    for number, room in enumerate(drawn_rooms.house(seed)):
        rng = np.random.default_rng((seed, number))
        views = [drawn_rooms.draw_view(room, rng) for _ in range(VIEWS)]
        vectors.append(np.array([rooms.appearance(drawn_rooms.photograph(room, v, rng)) for v in views]))
    return vectors


def days_of(seeds: Sequence[int], pools: Sequence[list[NDArray[np.float32]]]) -> list[ConfirmedDay]:
    """Walk through each house a few times."""
    days = []
    for seed, pool in zip(seeds, pools, strict=True):
        rng = np.random.default_rng((seed, 99))
        for _ in range(WALKS):
            taken = walks.walk(rng, len(pool))
            vectors = walks.pictured(rng, taken, pool)
            days.append(ConfirmedDay(taken.seconds.tolist(), list(vectors), taken.boundary.tolist()))
    return days


def fixed(gap_s: float) -> Cut:
    """Cut wherever the gap is longer."""
    return lambda seconds, _: np.diff(seconds) > gap_s


def platt(seconds: NDArray[np.float64], _: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Cut where a log gap exceeds the mean of the ten around it by log 17."""
    logs = np.log(np.maximum(np.diff(seconds), 0.5))
    around = np.array([logs[max(0, i - 10) : i + 11].mean() for i in range(len(logs))])
    return np.asarray(logs >= np.log(17.0) + around)


def ours(seconds: NDArray[np.float64], vectors: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Cut as the program does."""
    return np.array([joint.boundary for joint in rooms.joints(seconds.tolist(), list(vectors))])


def table(days: Sequence[ConfirmedDay], name: str, cut: Cut) -> float:
    """Print one line; give the mean F1."""
    scores = [
        walks.score(cut(np.array(d.seconds), np.array(d.appearances)), np.array(d.boundary)) for d in days
    ]
    f1, rand, corrections = (
        float(np.mean([getattr(s, key) for s in scores])) for key in ("f1", "rand", "corrections")
    )
    if name:
        print(f"{name:28s} F1 {f1:.2f}  ARI {rand:.2f}  corrections {corrections:5.1f} a job")
    return f1


def main() -> None:
    """Print the table, or learn."""
    words = argparse.ArgumentParser()
    words.add_argument("--learn", action="store_true")
    asked = words.parse_args()
    with ProcessPoolExecutor(2) as pool:
        tuning = days_of(TUNING, list(pool.map(pool_of, TUNING)))
        pools = [] if asked.learn else list(pool.map(pool_of, SCORING))
    if asked.learn:
        print(refit(tuning, hold=0.05))
        return
    days = days_of(SCORING, pools)
    same, other = [], []
    for rooms_of in pools:
        flat = np.concatenate(rooms_of)
        owner = np.repeat(np.arange(len(rooms_of)), [len(r) for r in rooms_of])
        known = flat.any(axis=1)
        flat, owner = flat[known], owner[known]
        a, b = np.triu_indices(len(flat), 1)
        apart = np.linalg.norm(flat[a] - flat[b], axis=1)
        alike = owner[a] == owner[b]
        same.append(apart[alike])
        other.append(apart[~alike])
    print(f"{len(days)} walks of about {np.mean([len(d.seconds) for d in days]):.0f} pictures")
    print(f"same room against other room: AUC {walks.auc(np.concatenate(same), np.concatenate(other)):.3f}")
    gap = max(range(10, 121, 5), key=lambda g: table(tuning, "", fixed(float(g))))
    table(days, f"fixed gap {gap} s (tuned)", fixed(float(gap)))
    table(days, "Platt's rule", platt)
    begun = time.perf_counter()
    table(days, "ours", ours)
    print(f"time for all joints of a day: {1000 * (time.perf_counter() - begun) / len(days):.0f} ms")


if __name__ == "__main__":
    main()
