"""Simulates an inspector's walk with known truth: when each picture was taken, and in which room.

Every walk draws its own parameters (how fast, how often the inspector pauses, how long changing
rooms takes, how often a room is visited again), so that no method can be tuned to one of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

Vectors = NDArray[np.float32]


@dataclass(frozen=True)
class Walk:
    """One walk: seconds from its start, the room of each picture, the number of its visit."""

    seconds: NDArray[np.float64]
    rooms: NDArray[np.int64]
    visits: NDArray[np.int64]

    @property
    def boundary(self) -> NDArray[np.bool_]:
        """For each joint, whether a visit ends there."""
        return np.asarray(np.diff(self.visits) > 0)


def walk(rng: Generator, rooms: int = 20, visits: int = 26, usual: float = 12.0) -> Walk:
    """Draw a walk of about ``visits * usual`` pictures, some 2 to 4 hours.

    Notes
    -----
    Gaps are log-normal, some lengthened by a pause (a note is written, a ladder moved); changing
    rooms takes 20 to 90 s as a rule. methods.md section 2 gives the shape of the walk; the figures
    are common practice, not measured on real jobs.
    """
    within, spread = rng.lognormal(np.log(9.0), 0.3), rng.uniform(0.6, 1.0)
    pause_share, pause = rng.uniform(0.03, 0.08), rng.lognormal(np.log(100.0), 0.3)
    change, change_spread = rng.lognormal(np.log(38.0), 0.25), rng.uniform(0.4, 0.7)
    order = _order(rng, rooms, visits)
    seconds, room_of, visit_of = [], [], []
    now = 0.0
    for number, room in enumerate(order):
        for shot in range(max(1, round(rng.lognormal(np.log(usual * 0.85), 0.6)))):
            gap = change * rng.lognormal(0, change_spread) if shot == 0 else within * rng.lognormal(0, spread)
            if rng.random() < pause_share:
                gap += pause * rng.lognormal(0, 0.6)
            now += max(gap, 0.7)
            seconds.append(now)
            room_of.append(room)
            visit_of.append(number)
    return Walk(np.array(seconds), np.array(room_of), np.array(visit_of))


def _order(rng: Generator, rooms: int, visits: int) -> list[int]:
    """Rooms in walking order: neighbours in the list mostly follow each other; some come again."""
    order = list(range(rooms))
    for _ in range(rooms // 3):
        a = int(rng.integers(rooms - 1))
        order[a], order[a + 1] = order[a + 1], order[a]
    while len(order) < visits:
        at = int(rng.integers(2, len(order) + 1))
        again = order[int(rng.integers(at))]
        if again != order[at - 1] and (at == len(order) or again != order[at]):
            order.insert(at, again)
    return order


def pictured(rng: Generator, taken: Walk, pool: Sequence[Vectors], retakes: float = 0.1) -> Vectors:
    """Give each picture of a walk the vector of a picture of its room, each used once while they last.

    Parameters
    ----------
    pool
        For each room, shape (pictures, length).
    retakes
        Share of pictures that show the same view as the one before.

    Returns
    -------
    Shape (pictures, length).
    """
    decks: dict[int, list[int]] = {}
    chosen: list[Vectors] = []
    for i, room in enumerate(taken.rooms.tolist()):
        if i and taken.visits[i] == taken.visits[i - 1] and rng.random() < retakes:
            chosen.append(chosen[-1])
            continue
        deck = decks.setdefault(room, [])
        if not deck:
            deck.extend(rng.permutation(len(pool[room])).tolist())
        chosen.append(pool[room][deck.pop()])
    return np.array(chosen, np.float32)


def carded(rng: Generator, taken: Walk, share: float) -> list[int | None]:
    """Put a room card into the first picture of a share of the visits."""
    first = np.concatenate(([True], taken.boundary))
    return [
        int(room) if new and rng.random() < share else None
        for room, new in zip(taken.rooms, first, strict=True)
    ]


# ------------------------------------------------------------------------------- scores


@dataclass(frozen=True)
class Score:
    """How well a proposed cutting fits the true one.

    Attributes
    ----------
    f1
        Of the joints called boundaries.
    rand
        Adjusted Rand index of the visits (Hubert and Arabie 1985).
    corrections
        Joints to be changed by hand: boundaries missed and boundaries too many.
    """

    f1: float
    rand: float
    corrections: int


def score(proposed: NDArray[np.bool_], true: NDArray[np.bool_]) -> Score:
    """Compare two cuttings given as one answer a joint."""
    hits = int((proposed & true).sum())
    wrong = int((proposed ^ true).sum())
    f1 = 2 * hits / max(2 * hits + wrong, 1)
    a, b = np.concatenate(([0], np.cumsum(proposed))), np.concatenate(([0], np.cumsum(true)))
    return Score(f1, adjusted_rand(a, b), wrong)


def adjusted_rand(a: NDArray[np.int64], b: NDArray[np.int64]) -> float:
    """Adjusted Rand index of two labellings; checked against scikit-learn's worked values in the tests."""
    table = np.zeros((int(a.max()) + 1, int(b.max()) + 1))
    np.add.at(table, (a, b), 1)
    together, rows, columns = (
        float((counts * (counts - 1) / 2).sum()) for counts in (table, table.sum(axis=1), table.sum(axis=0))
    )
    expected = rows * columns / max(len(a) * (len(a) - 1) / 2, 1)
    most = (rows + columns) / 2
    return 1.0 if most == expected else (together - expected) / (most - expected)


def auc(same: NDArray[np.floating], other: NDArray[np.floating]) -> float:
    """Chance that a same-room pair lies closer than an other-room pair (Mann-Whitney), ties by half."""
    values = np.concatenate((same, other))
    order = np.argsort(values, kind="stable")
    ranks = np.empty(len(values))
    ranks[order] = np.arange(1, len(values) + 1)
    _, inverse, counts = np.unique(values, return_inverse=True, return_counts=True)
    ranks = (np.bincount(inverse, ranks) / counts)[inverse]
    below = ranks[: len(same)].sum() - len(same) * (len(same) + 1) / 2
    return float(1 - below / (len(same) * len(other)))
