"""Scores visits and rooms on simulated walks through drawn houses that nothing was learned from.

``python -m tests.bench.bench_rooms --kept FOLDER [--walks 48]``; FOLDER keeps the drawn houses for next
time. Houses 1001-1008 are only ever scored; what was learned and tuned, the peers here too, was on
other houses (:mod:`tests.bench.learn_rooms`). Peers in the same run: a fixed gap, Platt's
log-gap rule as published (Platt, Czerwinski and Field, "PhotoTOC", 2003, from memory) and tuned,
2-means on log gaps, and PELT on the vectors where the library ``ruptures`` is installed.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from evidence import rooms
from evidence.rooms import places
from evidence.rooms.learning import ConfirmedDay
from tests.bench import learn_rooms, walks
from tests.bench.learn_rooms import House

Cut = Callable[[ConfirmedDay], NDArray[np.bool_]]


def log_gaps(day: ConfirmedDay) -> NDArray[np.float64]:
    """Natural logs of the gaps, half a second at least."""
    return np.asarray(np.log(np.maximum(np.diff(day.seconds), 0.5)))


def fixed(gap_s: float) -> Cut:
    """Cut wherever the gap is longer."""
    return lambda day: np.diff(day.seconds) > gap_s


def platt(above: float) -> Cut:
    """Cut where a log gap exceeds the mean of the ten on each side by a constant."""

    def cut(day: ConfirmedDay) -> NDArray[np.bool_]:
        logs = log_gaps(day)
        around = np.array([logs[max(0, i - 10) : i + 11].mean() for i in range(len(logs))])
        return np.asarray(logs >= above + around)

    return cut


def two_means(day: ConfirmedDay) -> NDArray[np.bool_]:
    """Cut at the longer of two kinds of gap."""
    logs = log_gaps(day)
    low, high = float(logs.min()), float(logs.max())
    for _ in range(50):
        longer = np.abs(logs - high) < np.abs(logs - low)
        low, high = float(logs[~longer].mean()), float(logs[longer].mean())
    return np.asarray(longer)


def pelt(penalty: float) -> Cut:
    """Change points of the vectors' mean (Killick et al. 2012), as ruptures finds them."""

    def cut(day: ConfirmedDay) -> NDArray[np.bool_]:
        search = importlib.import_module("ruptures").Pelt(model="l2", min_size=1, jump=1)
        ends = search.fit(np.array(day.appearances)).predict(pen=penalty)
        found = np.zeros(len(day.seconds) - 1, bool)
        found[[end - 1 for end in ends[:-1]]] = True
        return found

    return cut


def ours(day: ConfirmedDay) -> NDArray[np.bool_]:
    """Cut as the program does."""
    return np.array([joint.boundary for joint in rooms.joints(day.seconds, day.appearances, day.cards)])


def means(days: Sequence[ConfirmedDay], cut: Cut) -> tuple[float, float, float]:
    """Mean F1, adjusted Rand index and corrections."""
    scores = [walks.score(cut(day), np.array(day.boundary)) for day in days]
    return (
        float(np.mean([s.f1 for s in scores])),
        float(np.mean([s.rand for s in scores])),
        float(np.mean([s.corrections for s in scores])),
    )


def pair_auc(told: Sequence[House], chosen: Callable[[House], NDArray[np.bool_]]) -> float:
    """Area under the curve of same-room against other-room pairs inside each house."""
    same, other = [], []
    for house in told:
        vectors = house.vectors(places.packaged())
        taken = np.flatnonzero(chosen(house) & vectors.any(axis=1))
        a, b = (taken[side] for side in np.triu_indices(len(taken), 1))
        apart = np.linalg.norm(vectors[a] - vectors[b], axis=1)
        alike = house.room[a] == house.room[b]
        same.append(apart[alike])
        other.append(apart[~alike])
    return walks.auc(np.concatenate(same), np.concatenate(other))


def visited(told: Sequence[House], seeds: range) -> Iterator[tuple[str, bool, list[rooms.RoomSuggestion]]]:
    """Give the room of each visit but the first, whether it was visited before, and what is offered."""
    pools = [learn_rooms.pool(house, places.packaged()) for house in told]
    for seed in seeds:
        rng = np.random.default_rng((31, seed))
        taken = walks.walk(rng)
        vectors = walks.pictured(rng, taken, pools[seed % len(pools)])
        for visit in range(1, int(taken.visits.max()) + 1):
            here, earlier = taken.visits == visit, taken.visits < visit
            room = str(taken.rooms[here][0])
            before = {
                str(r): list(vectors[earlier & (taken.rooms == r)]) for r in np.unique(taken.rooms[earlier])
            }
            yield room, room in before, rooms.suggest_rooms(list(vectors[here]), before)


def returning(told: Sequence[House], seeds: range) -> tuple[float, float, int]:
    """How often a returning visit's own room is offered first, and among three."""
    first = three = count = 0
    for room, again, found in visited(told, seeds):
        if again:
            offers = [offer.room for offer in found]
            first, three, count = first + (offers[:1] == [room]), three + (room in offers), count + 1
    return first / count, three / count, count


def told_apart(told: Sequence[House], seeds: range) -> tuple[float, int, float, int]:
    """How often, at better than even odds, a return is offered its own room and a new room none."""
    kept = silent = back = new = 0
    for room, again, found in visited(told, seeds):
        offered = [one.room for one in found if one.score > 0.5]
        if again:
            back, kept = back + 1, kept + (room in offered)
        else:
            new, silent = new + 1, silent + (not offered)
    return kept / back, back, silent / new, new


def print_pairs(told: Sequence[House]) -> None:
    """Print how well single pictures tell rooms apart, by light and by distance."""
    print("same room against other room, AUC by stops of darkening and by distance")
    for name, low, high in (
        ("as exposed", -0.1, 0.1),
        ("0.5-2", -2, -0.1),
        ("2-3.5", -3.5, -2),
        ("3.5-5", -5, -3.5),
    ):
        print(f"  {name:12}{pair_auc(told, lambda h, a=low, b=high: (h.stops > a) & (h.stops <= b)):.3f}")  # type: ignore[misc]
    for number, name in enumerate(learn_rooms.DISTANCES):
        print(f"  {name:12}{pair_auc(told, lambda h, n=number: h.distance == n):.3f}")  # type: ignore[misc]
    print(f"  {'all':12}{pair_auc(told, lambda h: h.stops < 9):.3f}")


def main() -> None:
    """Measure and print."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--kept", type=Path, required=True)
    words.add_argument("--walks", type=int, default=48)
    asked = words.parse_args()
    tuned = learn_rooms.houses(learn_rooms.TUNING, 20, asked.kept)
    told = learn_rooms.houses(learn_rooms.SCORING, 20, asked.kept)
    tuning = learn_rooms.confirmed_days(tuned, places.packaged(), range(24))
    days = learn_rooms.confirmed_days(told, places.packaged(), range(1000, 1000 + asked.walks))
    print_pairs(told)
    gap = max(range(10, 121, 5), key=lambda g: means(tuning, fixed(float(g)))[0])
    above = max(np.arange(0.6, 3.0, 0.1).tolist(), key=lambda a: means(tuning, platt(a))[0])
    peers: dict[str, Cut] = {
        f"fixed gap {gap} s (tuned)": fixed(float(gap)),
        "Platt's rule": platt(float(np.log(17.0))),
        f"Platt's rule, {above:.1f} (tuned)": platt(above),
        "2-means on log gaps": two_means,
    }
    if importlib.util.find_spec("ruptures"):
        penalty = max((20.0, 40.0, 80.0, 160.0, 320.0, 640.0), key=lambda p: means(tuning, pelt(p))[0])
        peers[f"PELT, {penalty:.0f} (tuned)"] = pelt(penalty)
    print(f"\n{len(days)} walks of about {np.mean([len(d.seconds) for d in days]):.0f} pictures")
    begun = time.process_time()
    means(days, ours)
    spent = 1000 * (time.process_time() - begun) / len(days)
    for name, cut in {**peers, "ours": ours}.items():
        f1, rand, corrections = means(days, cut)
        print(f"  {name:28}F1 {f1:.2f}  ARI {rand:.2f}  corrections {corrections:5.1f} a job")
    print(f"  time for all joints of a day: {spent:.0f} ms")
    first, three, count = returning(told, range(1000, 1000 + asked.walks))
    print(f"returning visits: own room first {first:.2f}, among three {three:.2f}, of {count}")
    kept, back, silent, new = told_apart(told, range(1000, 1000 + asked.walks))
    print(f"at better than even odds: own room {kept:.2f} of {back}, none to a new one {silent:.2f} of {new}")


if __name__ == "__main__":
    main()
