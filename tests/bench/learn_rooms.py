"""Learns the map from descriptions to places on drawn rooms, and the weights of joints on drawn walks.

Run with ``python -m tests.bench.learn_rooms map`` (draws 430 houses, some 20 minutes on two cores; the
pictures are kept in ``--kept`` for next time) and then ``... weights``, which also measures how rooms
spread. Houses 1-79, 241-500 and 509-599 teach the map, 501-508 and 601-608 the spread and the weights;
1001-1008 are only ever scored, by bench_rooms. Nothing here runs by itself.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import repeat
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.rooms import learning, places
from evidence.rooms.places import LENGTH, Map
from evidence.rooms.spread import Spread
from tests.bench import drawn_rooms, walks

PACKAGED = Path(places.__file__).parent
LEARNING = ((range(1, 80), 10), (range(241, 501), 6), (range(509, 600), 6))
"""Houses that teach the map, with the pictures taken in each room."""
TUNING, SCORING = (*range(501, 509), *range(601, 609)), range(1001, 1009)
DISTANCES = ("overall", "mid-range", "close-up")
HIDDEN, ROUNDS, DROPPED, DECAY, RATE = 512, 20, 0.15, 0.01, 2e-3

LEAST = 0.02
"""Variance that no axis of the spread falls below, against an average of 1 inside a room."""

Floats = NDArray[np.float32]


@dataclass(frozen=True)
class House:
    """Pictures of a drawn house: descriptions, and for each the room, distance and stops of darkening.

    A picture too dark to tell has a description of NaN.
    """

    told: Floats
    room: NDArray[np.int64]
    distance: NDArray[np.int64]
    stops: Floats

    def vectors(self, learned: Map) -> Floats:
        """Appearances of all pictures; zero where too dark."""
        found: Floats = learned.of(np.nan_to_num(self.told))
        found[np.isnan(self.told).any(axis=1)] = 0.0
        return found


@dataclass(frozen=True)
class Roll:
    """Pictures of a drawn house as files, with what :class:`House` says of each."""

    jpegs: tuple[bytes, ...]
    room: NDArray[np.int64]
    distance: NDArray[np.int64]
    stops: Floats


def photographed(seed: int, views: int) -> Roll:
    """Draw a house and take pictures of each room; a quarter are half a stop to five stops too dark."""
    cv2.setNumThreads(1)
    jpegs, room_of, distance, darkened = [], [], [], []
    for number, room in enumerate(drawn_rooms.house(seed)):
        rng = np.random.default_rng([seed, number])
        for _ in range(views):
            view = drawn_rooms.draw_view(room, rng)
            stops = 0.0 if rng.random() < 0.75 else -float(rng.uniform(0.5, 5))
            jpegs.append(drawn_rooms.shoot(room, replace(view, stops=stops), rng))
            room_of.append(number)
            distance.append(DISTANCES.index(view.distance))
            darkened.append(stops)
    return Roll(tuple(jpegs), np.array(room_of), np.array(distance), np.array(darkened, np.float32))


def described(roll: Roll) -> House:
    """Describe every picture."""
    found = [places.description(drawn_rooms.unpacked(jpeg)) for jpeg in roll.jpegs]
    size = next(len(one) for one in found if one is not None)
    rows = [one if one is not None else np.full(size, np.nan, np.float32) for one in found]
    return House(np.array(rows), roll.room, roll.distance, roll.stops)


def _kept(seed: int, views: int, kept: Path) -> House:
    """Draw and describe a house, each once: the pictures outlive a change of the description."""
    taken, told = kept / f"{seed}-{views}.npz", kept / f"{seed}-{views}-described-{places.VERSION}.npz"
    if told.exists():
        with np.load(told) as held:
            return House(*(held[f"arr_{k}"] for k in range(4)))
    if not taken.exists():
        roll = photographed(seed, views)
        ends = np.cumsum([len(jpeg) for jpeg in roll.jpegs])
        packed = np.frombuffer(b"".join(roll.jpegs), np.uint8)
        np.savez(taken, packed, ends, roll.room, roll.distance, roll.stops)
    with np.load(taken) as held:
        jpegs = [part.tobytes() for part in np.split(held["arr_0"], held["arr_1"][:-1])]
        house = described(Roll(tuple(jpegs), *(held[f"arr_{k}"] for k in range(2, 5))))
    np.savez(told, house.told, house.room, house.distance, house.stops)
    return house


def houses(seeds: Sequence[int], views: int, kept: Path) -> list[House]:
    """Draw houses, or read those drawn before."""
    kept.mkdir(parents=True, exist_ok=True)
    # A process copied while OpenCV's threads run may wait for a lock that no thread of its own holds.
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as workers:
        return list(workers.map(_kept, seeds, repeat(views), repeat(kept)))


def learn_map(taught: list[House], seed: int = 0) -> Map:
    """Fit the map so that pictures of one room of a house lie together and the house's others apart.

    Half of the pictures are shown mirrored, others in every round.
    """
    rng = np.random.default_rng(seed)
    told = np.concatenate([house.told for house in taught])
    told = told[~np.isnan(told).any(axis=1)]
    mean, spread = told.mean(axis=0), told.std(axis=0)
    scale = spread + 0.02 * np.median(spread) + 1e-3
    size = told.shape[1]
    weights = [
        rng.normal(0, size**-0.5, (size, HIDDEN)).astype(np.float32),
        np.zeros(HIDDEN, np.float32),
        rng.normal(0, HIDDEN**-0.5, (HIDDEN, LENGTH)).astype(np.float32),
        np.zeros(LENGTH, np.float32),
    ]
    first, second = [np.zeros_like(w) for w in weights], [np.zeros_like(w) for w in weights]
    step, order = 0, mirrored()
    for turn in range(ROUNDS):
        rate = RATE * (0.5 + 0.5 * np.cos(np.pi * turn / ROUNDS)) + 1e-5
        for number in rng.permutation(len(taught)):
            house = taught[number]
            seen = ~np.isnan(house.told).any(axis=1)
            turned = rng.random((int(seen.sum()), 1)) < 0.5
            shown = np.where(turned, house.told[seen][:, order], house.told[seen])
            slopes = _slopes((shown - mean) / scale, house.room[seen], weights, rng)
            step += 1
            for k, slope in enumerate(slopes):  # Adam with decoupled decay (Loshchilov and Hutter 2019)
                first[k] = 0.9 * first[k] + 0.1 * slope
                second[k] = 0.999 * second[k] + 0.001 * slope**2
                move = first[k] / (1 - 0.9**step) / (np.sqrt(second[k] / (1 - 0.999**step)) + 1e-8)
                decay = DECAY * weights[k] if k % 2 == 0 else 0.0
                weights[k] = (weights[k] - rate * (move + decay)).astype(np.float32)
    return _scaled(Map(mean, scale, *weights), taught)


def mirrored() -> NDArray[np.int64]:
    """Tell where each number of a description stands in the mirrored picture's."""
    colours, layout, edges, patterns, patches = np.split(np.arange(653), np.cumsum((324, 36, 48, 20)))
    layout = layout.reshape(3, 4, 3)[:, ::-1]
    edges = edges.reshape(3, 2, 8).copy()
    edges[:, 0] = edges[:, 0, ::-1]  # eight directions over half a turn, then strengths
    kinds = np.arange(18)
    kinds[[8, 9, 12, 13, 16, 17]] = [9, 8, 13, 12, 17, 16]  # the two diagonals at each scale
    shares = patches[:54].reshape(3, 18)[:, kinds]
    table = np.zeros((18, 18), np.int64)
    table[np.triu_indices(18)] = patches[54:]
    table = np.maximum(table, table.T)[kinds][:, kinds]
    parts = (colours, layout, edges, patterns, shares, table[np.triu_indices(18)])
    return np.concatenate([part.ravel() for part in parts])


def _slopes(
    told: Floats, room: NDArray[np.int64], weights: list[Floats], rng: np.random.Generator
) -> list[Floats]:
    """Slopes of the supervised contrastive loss over one house, with dropout."""
    told = (told * (rng.random(told.shape) > DROPPED / 2) / (1 - DROPPED / 2)).astype(np.float32)
    before = told @ weights[0] + weights[1]
    kept = (rng.random(before.shape) > DROPPED) / (1 - DROPPED)
    hidden = (np.maximum(before, 0) * kept).astype(np.float32)
    vectors = hidden @ weights[2] + weights[3]
    square = np.square(vectors).sum(axis=1)
    nearness = -0.5 * (square[:, None] + square[None] - 2 * vectors @ vectors.T)
    np.fill_diagonal(nearness, -np.inf)
    chance = np.exp(nearness - nearness.max(axis=1, keepdims=True))
    chance /= chance.sum(axis=1, keepdims=True)
    same = room[:, None] == room[None]
    np.fill_diagonal(same, False)
    wanted = same / np.maximum(same.sum(axis=1, keepdims=True), 1)
    pull = (chance - wanted) / len(told)
    pull = pull + pull.T
    slope = (pull @ vectors - pull.sum(axis=1)[:, None] * vectors).astype(np.float32)
    back = (slope @ weights[2].T * kept * (before > 0)).astype(np.float32)
    return [told.T @ back, back.sum(axis=0), hidden.T @ slope, slope.sum(axis=0)]


def _scaled(learned: Map, taught: list[House]) -> Map:
    """Move the vectors to mean 0 and scale them so that an element varies by 1 inside a room."""
    inside, means = [], []
    for house in taught:
        vectors = house.vectors(learned)
        seen = vectors.any(axis=1)
        means.append(vectors[seen].mean(axis=0))
        for room in np.unique(house.room):
            mine = vectors[(house.room == room) & seen]
            if len(mine) > 1:
                inside.append(mine.var(axis=0, ddof=1))
    by = float(np.mean(inside)) ** 0.5
    bias = (learned.second_bias - np.mean(means, axis=0)) / by
    return replace(learned, second=learned.second / by, second_bias=bias.astype(np.float32))


def measured_spread(groups: Sequence[Sequence[Floats]]) -> Spread:
    """Measure the axes of the spread on vectors by house and room, and the variance between rooms on each.

    Linear discriminant axes (Fisher 1936; Rao 1948): the eigenvectors of the scatter between rooms,
    seen after the scatter inside them is made round. What the scatter inside rooms adds to the scatter
    of their means is taken off.
    """
    several = [[room for room in house if len(room) > 1] for house in groups]
    inside = sum((len(room) - 1) * np.cov(room.T) for house in several for room in house)
    sizes, ways = np.linalg.eigh(inside / sum(len(room) - 1 for house in several for room in house))
    even = ways / np.sqrt(sizes + LEAST)
    means = [np.array([room.mean(axis=0) for room in house]) for house in several]
    between = np.mean([np.cov((of_rooms @ even).T) for of_rooms in means], axis=0)
    spare = np.mean([1 / len(room) for house in several for room in house])
    apart, turn = np.linalg.eigh(between)
    return Spread((even @ turn)[:, ::-1], np.maximum(apart[::-1] - spare, LEAST))


def confirmed_days(told: list[House], learned: Map, seeds: range) -> list[learning.ConfirmedDay]:
    """Walks through the houses in turn, with their true cuts."""
    pools = [pool(house, learned) for house in told]
    days = []
    for seed in seeds:
        rng = np.random.default_rng((31, seed))
        taken = walks.walk(rng)
        vectors = walks.pictured(rng, taken, pools[seed % len(pools)])
        days.append(
            learning.ConfirmedDay(
                taken.seconds.tolist(), list(vectors), [bool(cut) for cut in taken.boundary]
            )
        )
    return days


def pool(house: House, learned: Map) -> list[Floats]:
    """The appearances of a house by room."""
    vectors = house.vectors(learned)
    return [vectors[house.room == room] for room in np.unique(house.room)]


def main() -> None:
    """Learn what is asked for and write or print it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=("map", "weights"))
    parser.add_argument("--kept", type=Path, required=True, help="folder for drawn houses")
    parser.add_argument("--walks", type=int, default=32)
    asked = parser.parse_args()
    if asked.what == "map":
        learned = learn_map([h for seeds, views in LEARNING for h in houses(seeds, views, asked.kept)])
        parts = {name: getattr(learned, name).astype(np.float16) for name in Map.__slots__}
        np.savez_compressed(PACKAGED / "places.npz", **parts)
        return
    told = houses(TUNING, 20, asked.kept)
    seen = [[room[room.any(axis=1)] for room in pool(house, places.packaged())] for house in told]
    among = measured_spread(seen)
    np.savez_compressed(PACKAGED / "spread.npz", axes=among.axes, between=among.between)
    days = confirmed_days(told, places.packaged(), range(asked.walks))
    print(learning.refit(days, hold=0.01))


if __name__ == "__main__":
    main()
