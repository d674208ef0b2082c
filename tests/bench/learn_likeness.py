"""Learns the weights by which the signs of a change are weighed, on the tuning set of bench_likeness.

Run with ``python -m tests.bench.learn_likeness`` (44 rooms in depth and 9 photographs; some ten minutes on
two cores the first time). Windows in which something changed are known from drawing the room with and
without the change. The bound is set by rooms that were left out, five times over: so that of their changed
pairs ``PASSED`` are folded. The scoring set shares neither seed nor photograph. Nothing here runs by itself.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.likeness import Likeness, weighing
from evidence.likeness.aligning import align
from evidence.likeness.changes import compared_views
from evidence.likeness.parallax import strained
from evidence.likeness.prints import look, view_size
from evidence.likeness.same_view import OVERLAP, SCALE, SPREAD
from tests.bench import bench_likeness, likeness_pairs, likeness_scenes

ROOMS, FOLDS, PASSED = 44, 5, 5
HIDDEN, ROUNDS, RATE, DECAY, SOFT = 5, 250, 0.03, 1e-3, 0.5
MOST = 15
"""Of each column the windows where it is highest are kept."""

Floats = NDArray[np.float32]
Truth = NDArray[np.bool_]


@dataclass(frozen=True)
class Pair:
    """Signs of a pair's most telling windows, shape (n, columns), and which of them truly changed."""

    of: tuple[str, int]
    kind: str
    changed: bool
    strained: bool
    signs: Floats
    truly: Truth


def pairs_of(index: int, in_depth: bool, kept: Path) -> list[Pair]:
    """Measure the pairs of one room or photograph of the tuning set."""
    cv2.setNumThreads(1)
    pictures, labels = bench_likeness.drawn("tuning", index, in_depth, kept, bench_likeness.Spent())
    where = _changed_places(index, kept) if in_depth else {}
    front = pictures["A"][0]
    found = []
    for label in labels:
        if label.truth not in {"same", "changed", "twin"}:
            continue
        a, b = pictures[label.a][0], pictures[label.b][0]
        if (b.phash, b.view) < (a.phash, a.view):
            a, b = b, a
        told = _signs(a, b)
        if told is None:
            continue
        signs, odd = told
        truth = np.zeros(signs.shape[:2], bool)
        kind = "reading" if label.b == "CD" else label.b.removeprefix("C ")
        if label.truth == "changed" and kind in where:
            truth = _windows(where[kind], front, a)
        flat = signs.reshape(-1, signs.shape[-1])
        best = {int(i) for column in flat[:, : len(weighing.SIGNS)].T for i in np.argsort(-column)[:MOST]}
        chosen = np.array(sorted(best | set(np.nonzero(truth.ravel())[0][:60].tolist())))
        of = ("room" if in_depth else "photograph", index)
        found.append(Pair(of, label.kind, label.truth != "same", odd, flat[chosen], truth.ravel()[chosen]))
    return found


def _signs(a: Likeness, b: Likeness) -> tuple[Floats, bool] | None:
    """Give a pair's signs, and whether its motion alone tells of a change; None where it is not compared."""
    lying = align(a, b, view_size(a), view_size(b))
    if lying is None or lying.spread < SPREAD or lying.overlap < OVERLAP:
        return None
    if max(lying.scale, 1 / lying.scale) > SCALE:
        return None
    views = compared_views(look(a), look(b), lying)
    return None if views is None else (weighing.signs(views), bool(strained(views.motion)))


def _changed_places(index: int, kept: Path) -> dict[str, NDArray[np.uint8]]:
    """Give by kind of change the pixels of the room's first picture that it alters, 255 or 0."""
    place = kept / f"changed-{index}.npz"
    if not place.exists():
        photos, seed = likeness_pairs.load("tuning"), likeness_pairs.SEEDS["tuning"] + index
        scene = likeness_scenes.room(seed, photos)
        before = likeness_pairs.seen_grey(scene)
        stuff = likeness_scenes.Stuff(seed + 900_000, photos)
        differ = {
            kind: np.abs(likeness_pairs.seen_grey(changed) - before) > 10
            for kind, changed in likeness_pairs.variants(scene, stuff).items()
        }
        np.savez_compressed(place, allow_pickle=False, **differ)
    with np.load(place) as held:
        return {kind: held[kind].astype(np.uint8) * 255 for kind in held.files}


def _windows(changed: NDArray[np.uint8], front: Likeness, first: Likeness) -> Truth:
    """Bring changed pixels of the room's first picture to the windows of the pair's first."""
    high, wide = view_size(front)
    there = cv2.resize(changed, (wide, high), interpolation=cv2.INTER_LINEAR)
    if first is not front:
        lying = align(front, first, view_size(front), view_size(first))
        size = view_size(first)[::-1]
        there = cv2.warpPerspective(there, lying.homography, size) if lying else np.zeros_like(there)
    near = cv2.dilate((there > 100).astype(np.uint8), np.ones((20, 20), np.uint8))
    half = weighing.STEP // 2
    return np.asarray(near[half :: weighing.STEP, half :: weighing.STEP] > 0)


def learned(pairs: list[Pair], seed: int = 0) -> weighing.Weights:
    """Fit the net: a pair is judged by a soft maximum over its windows (multiple-instance learning).

    Adam (Kingma and Ba, ICLR 2015) on the logistic loss, both classes of equal weight; after each step
    weights of the wrong sign become 0.
    """
    chance = np.random.default_rng(seed)
    pairs = [pair for pair in pairs if not pair.strained]
    every = np.concatenate([pair.signs for pair in pairs])
    middle, spread = every.mean(axis=0), every.std(axis=0) + np.float32(1e-6)
    sign = np.repeat(np.array([1, -1], np.float32), [len(weighing.SIGNS), len(weighing.EXCUSES)])
    used = [pair.signs[pair.truly] if pair.changed and pair.truly.any() else pair.signs for pair in pairs]
    rows = np.clip((np.concatenate(used) - middle) / spread, -6, 6) * sign
    counts = np.array([len(some) for some in used])
    changed = np.array([pair.changed for pair in pairs], np.float32)
    n = rows.shape[1]
    weights: list[Floats] = [
        np.abs(chance.normal(0, 0.5 / np.sqrt(n), (n, HIDDEN))).astype(np.float32),
        chance.normal(0, 1, HIDDEN).astype(np.float32),
        np.abs(chance.normal(0, 0.3, HIDDEN)).astype(np.float32),
        np.full(1, -1, np.float32),
        np.full(n, 0.02, np.float32),
    ]
    first, second = [np.zeros_like(w) for w in weights], [np.zeros_like(w) for w in weights]
    for step in range(1, ROUNDS + 1):
        rate = RATE * min(1.0, 2 * (1 - (step - 1) / ROUNDS) + 0.02)
        for i, slope in enumerate(_slopes(weights, rows, counts, changed)):
            first[i] = 0.9 * first[i] + 0.1 * slope
            second[i] = 0.99 * second[i] + 0.01 * slope**2
            moved = (first[i] / (1 - 0.9**step)) / (np.sqrt(second[i] / (1 - 0.99**step)) + 1e-8)
            weights[i] = (weights[i] - rate * moved).astype(np.float32)
        for i in (0, 2, 4):
            weights[i] = np.maximum(weights[i], 0)
    inner, inner_level, outer, level, slope = weights
    return weighing.Weights(
        middle, spread, inner * sign[:, None], inner_level, outer, level[0:1].reshape(()), slope * sign
    )


def _slopes(weights: list[Floats], rows: Floats, counts: NDArray[np.int64], changed: Floats) -> list[Floats]:
    """Give the loss's slope along each weight."""
    inner, inner_level, outer, level, slope = weights
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    of = np.repeat(np.arange(len(counts)), counts)
    hidden = np.tanh(rows @ inner + inner_level)
    score = hidden @ outer + level + rows @ slope
    top = np.maximum.reduceat(score, starts)
    share = np.exp((score - top[of]) / SOFT)
    whole = np.add.reduceat(share, starts)
    # As if five windows were seen of every pair, however many are.
    judged = top + SOFT * np.log(whole / 5.0)
    weight = np.where(changed > 0, 1 / changed.sum(), 1 / (1 - changed).sum()) / 2
    off = (((1 / (1 + np.exp(-judged))) - changed) * weight)[of] * share / whole[of]
    behind = np.outer(off, outer) * (1 - hidden * hidden)
    return [
        rows.T @ behind + DECAY * inner,
        behind.sum(axis=0),
        hidden.T @ off + DECAY * outer,
        np.array([off.sum()]),
        rows.T @ off + DECAY * slope,
    ]


def left_out(pairs: list[Pair]) -> Floats:
    """Judge every pair by weights learned without its room."""
    rooms = sorted({pair.of for pair in pairs})
    order = np.random.default_rng(0).permutation(len(rooms))
    fold = {rooms[int(room)]: place % FOLDS for place, room in enumerate(order)}
    judged = np.zeros(len(pairs), np.float32)
    for number in range(FOLDS):
        weights = learned([pair for pair in pairs if fold[pair.of] != number])
        for place, pair in enumerate(pairs):
            if fold[pair.of] == number:
                judged[place] = np.inf if pair.strained else float(weights.of(pair.signs).max())
    return judged


def main() -> None:
    """Measure, judge what was left out, set the bound, write the weights."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument(
        "--kept", type=Path, default=bench_likeness.DRAWN, help="where drawn pictures are kept"
    )
    kept = words.parse_args().kept
    kept.mkdir(parents=True, exist_ok=True)
    tasks = [(index, True, kept) for index in range(ROOMS)]
    tasks += [(index, False, kept) for index in range(len(likeness_pairs.PHOTOS["tuning"]))]
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        pairs = [pair for some in pool.map(pairs_of, *zip(*tasks, strict=True)) for pair in some]
    judged = left_out(pairs)
    changed = np.array([pair.changed for pair in pairs])
    for passed in (0, 1, 2, 3, 4, 5, 6, 8, 12):
        bound = np.sort(judged[changed])[passed]
        print(f"{passed} of {changed.sum()} changed folded: recall {(judged[~changed] < bound).mean():.3f}")
    bound = np.sort(judged[changed])[PASSED]
    for of, kind in sorted({(pair.of[0], pair.kind) for pair in pairs if not pair.changed}):
        some = [i for i, p in enumerate(pairs) if p.of[0] == of and p.kind == kind and not p.changed]
        print(f"{of}, {kind}: {(judged[some] < bound).sum()} of {len(some)} folded")
    made = learned(pairs)
    held = {name: getattr(made, name) for name in weighing.Weights.__slots__}
    held["level"] = np.float32(held["level"] - bound)
    np.savez(Path(weighing.__file__).parent / "changes.npz", allow_pickle=False, **held)


if __name__ == "__main__":
    main()
