"""Learns the weights by which the signs of a change are weighed, on the tuning set of bench_likeness.

Run with ``python -m tests.bench.learn_likeness`` (256 rooms in depth and 23 photographs; an hour on two cores
the first time, what was drawn and measured is kept; 6 GB of memory). Windows in which something changed are
known from drawing the room with and without the change; what one of the two pictures cannot show is left
out. Each pair teaches twice, its parts exchanged the second time. The bound is set by rooms that were left
out, five times over: so that of their changed pairs ``PASSED`` are folded. The scoring set shares neither
seed nor photograph. Nothing here runs by itself.
"""

from __future__ import annotations

import argparse
import hashlib
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.likeness import Likeness, aligning, blur, changes, describe, evening, parallax, signs, weighing
from evidence.likeness.prints import enlarged, look, view_size
from evidence.likeness.same_view import OVERLAP, SCALE, SPREAD, ordered, views
from fixtures.house import camera
from tests.bench import bench_likeness, likeness_pairs, likeness_scenes

ROOMS, FOLDS, PASSED = 256, 5, 32
HIDDEN, ROUNDS, AT_ONCE, RATE, DECAY, SOFT = 24, 28, 64, 0.01, 3e-4, 0.25
MOST = 15
"""Of each column the windows where it is highest are kept."""
REPAINTED, SPOILED = "repainted", "spoiled"
SEEDS = {REPAINTED: 40_000, SPOILED: 50_000}
"""The kinds of pairs that only teach, and are not counted for the bound."""

Floats = NDArray[np.float32]
Truth = NDArray[np.bool_]


Side = tuple[NDArray[np.float16], Truth]
"""Signs of the most telling windows, shape (n, columns), and which of them truly changed, where known."""


@dataclass(frozen=True)
class Pair:
    """What was measured of a pair: as compared, then with its parts exchanged."""

    of: tuple[str, int]
    kind: str
    changed: bool
    sides: tuple[Side, ...]


@dataclass(frozen=True)
class Example:
    """Two pictures to learn from, and which pixels of the room's first picture changed, where known."""

    a: Likeness
    b: Likeness
    kind: str
    changed: bool
    altered: Truth | None


def pairs_of(index: int, in_depth: bool, kept: Path) -> list[Pair]:
    """Measure the pairs of one room or photograph of the tuning set, or read what an earlier run kept."""
    cv2.setNumThreads(1)
    of = ("room" if in_depth else "photograph", index)
    place = kept / f"windows-{_code()}-{of[0]}-{index}.npz"
    if place.exists():
        with np.load(place) as held:
            return [
                Pair(
                    of,
                    str(kind),
                    bool(changed),
                    tuple((held[f"signs {k} {side}"], held[f"truly {k} {side}"]) for side in (0, 1)),
                )
                for k, (kind, changed) in enumerate(zip(held["kinds"], held["changed"], strict=True))
            ]
    pictures, labels = bench_likeness.drawn(
        "tuning", index, in_depth, kept, bench_likeness.Spent(), retakes_only=True
    )
    likenesses = {name: made for name, (made, _) in pictures.items()}
    where = _changed_places(index, kept) if in_depth else {}
    found = []
    examples = (
        *_labelled(likenesses, labels, where),
        *_repainted(likenesses, index),
        *_spoiled(likenesses, labels, where, index),
    )
    for example in examples:
        a, b = ordered(example.a, example.b)
        truth = np.zeros((1, 1), bool)
        if example.altered is not None:
            truth = _windows(example.altered, likenesses["A"], a)
        sides = tuple(_telling(some, np.broadcast_to(truth, some.shape[:2])) for some in _compared(a, b))
        if sides:
            found.append(Pair(of, example.kind, example.changed, sides))
    arrays: dict[str, NDArray[np.generic]] = {}
    for k, pair in enumerate(found):
        for side, (some, truly) in enumerate(pair.sides):
            arrays |= {f"signs {k} {side}": some, f"truly {k} {side}": truly}
    kinds, changed = np.array([pair.kind for pair in found]), np.array([pair.changed for pair in found])
    beside = place.with_suffix(".part.npz")
    np.savez(beside, allow_pickle=False, kinds=kinds, changed=changed, **arrays)
    beside.replace(place)
    return found


def _labelled(
    pictures: dict[str, Likeness],
    labels: list[likeness_pairs.Labelled],
    where: dict[str, Truth],
) -> Iterator[Example]:
    """Give the pairs that the benchmark judges, and a picture with itself."""
    for label in labels:
        if label.truth in {"same", "changed", "twin"}:
            change = "reading" if label.b == "CD" else label.b.removeprefix("C ")
            altered = where.get(change) if label.truth == "changed" else None
            yield Example(pictures[label.a], pictures[label.b], label.kind, label.truth != "same", altered)
    # Without it the least of every excuse is never met in learning.
    yield Example(pictures["A"], pictures["A"], "itself", False, None)


def _repainted(pictures: dict[str, Likeness], index: int) -> Iterator[Example]:
    """Give retakes of the first picture with a large part of it replaced or darkened, which must not
    pass for what is usual in the pair."""
    chance = np.random.default_rng(SEEDS[REPAINTED] + index)
    before = look(pictures["A"])
    for name in ("R1", "R2", "W0", "W1"):
        if name in pictures:
            share = float(chance.uniform(0.02, 0.45))
            after = likeness_pairs.replaced(np.dstack([before] * 3), share, chance)
            altered = likeness_pairs.differing(*(view.astype(np.float32) for view in (before, after[..., 0])))
            if altered.sum() >= likeness_pairs.SEEN_PX:
                yield Example(pictures[name], describe(after), REPAINTED, True, altered)


def _spoiled(
    pictures: dict[str, Likeness],
    labels: list[likeness_pairs.Labelled],
    where: dict[str, Truth],
    index: int,
) -> Iterator[Example]:
    """Give retakes and changed views made worse, blurred or burnt out: why one takes a picture again."""
    chance = np.random.default_rng(SEEDS[SPOILED] + index)
    fit = [
        label
        for label in labels
        if label.a == "A" and (label.b in {"R1", "R2", "W0", "W1"} or label.b.startswith("C"))
        if label.b != "CD" and (label.truth == "same" or label.size >= 3 * likeness_pairs.SEEN_PX)
    ]
    for truth, most in (("same", 1.0), ("changed", 0.5)):
        some = [label for label in fit if label.truth == truth]
        for spoil, which in zip((_blurred, _burnt_out), chance.permutation(len(some)), strict=False):
            label = some[which]
            after = spoil(look(pictures[label.b]), most, chance)
            altered = where.get(label.b.removeprefix("C "))
            # What no longer shows teaches nothing.
            if spoil is _blurred or altered is None or _seen_share(after, altered) > 0.7:
                yield Example(
                    pictures["A"], describe(np.dstack([after] * 3)), SPOILED, truth == "changed", altered
                )


def _blurred(view: NDArray[np.uint8], most: float, chance: np.random.Generator) -> NDArray[np.uint8]:
    """Put a view out of focus, or shake it."""
    much, turn = most * float(chance.uniform(0, 1)), float(chance.uniform(0, 180))
    out_of_focus = chance.random() < 0.5
    how = (
        camera.Blur(defocus=1.5 + 4 * much) if out_of_focus else camera.Blur(shake=4 + 14 * much, angle=turn)
    )
    return _codes(camera.blurred(_light(view), how))


def _burnt_out(view: NDArray[np.uint8], most: float, chance: np.random.Generator) -> NDArray[np.uint8]:
    """Expose a view for too long, ``most`` or not."""
    return _codes(_light(view) * np.float32(2 ** chance.uniform(0.7, 2.3)))


def _light(view: NDArray[np.uint8]) -> Floats:
    return np.asarray((view.astype(np.float32) / 255) ** 2.2, np.float32)


def _codes(light: Floats) -> NDArray[np.uint8]:
    return np.rint(255 * np.minimum(light, 1) ** (1 / 2.2)).astype(np.uint8)


def _seen_share(view: NDArray[np.uint8], altered: Truth) -> float:
    """Tell how much of what was altered is not burnt out."""
    high, wide = altered.shape
    there = cv2.resize(view, (wide, high), interpolation=cv2.INTER_AREA)[altered]
    return float((there < 240).mean())


def _telling(found: Floats, truth: Truth) -> Side:
    """Choose the windows where a sign is among its highest, and those that truly changed."""
    flat = found.reshape(-1, found.shape[-1])
    best = {
        int(i)
        for column in flat[:, : len(signs.SIGNS)].T
        for i in np.argsort(-column)[:MOST]
        if column.min() < column.max()
    }
    chosen = np.array(sorted(best | set(np.nonzero(truth.ravel())[0][:200].tolist())))
    return flat[chosen].astype(np.float16), truth.ravel()[chosen]


def _code() -> str:
    """Stand for all code that measures windows."""
    digest = hashlib.sha256(bench_likeness.code().encode())
    for module in (aligning, blur, changes, evening, parallax, signs):
        digest.update(Path(str(module.__file__)).read_bytes())
    return digest.hexdigest()[:12]


def _compared(a: Likeness, b: Likeness) -> Iterator[Floats]:
    """Give a pair's signs, then those with its parts exchanged; nothing where it is not compared."""
    lying = aligning.align(a, b)
    if lying is None or lying.spread < SPREAD or lying.overlap < OVERLAP:
        return
    if max(lying.scale, 1 / lying.scale) > SCALE:
        return
    for found in changes.compared_views(*views(a, b), lying):
        yield signs.measured(found)


def _changed_places(index: int, kept: Path) -> dict[str, Truth]:
    """Give by kind of change which pixels of the room's first picture it alters."""
    place = kept / f"changed-{index}.npz"
    if not place.exists():
        photos, seed = likeness_pairs.textures("tuning"), likeness_pairs.SEEDS["tuning"] + index
        scene = likeness_scenes.room(seed, photos)
        before = likeness_pairs.seen_grey(scene)
        stuff = likeness_scenes.Stuff(seed + 900_000, photos)
        differ = {
            kind: likeness_pairs.differing(before, likeness_pairs.seen_grey(changed))
            for kind, changed in likeness_pairs.variants(scene, stuff).items()
        }
        np.savez_compressed(place, allow_pickle=False, **differ)
    with np.load(place) as held:
        return {kind: held[kind] for kind in held.files}


def _windows(changed: Truth, front: Likeness, first: Likeness) -> Truth:
    """Bring changed pixels of the room's first picture to the windows of the pair's first."""
    high, wide = view_size(front)
    there = cv2.resize(changed.astype(np.uint8) * 255, (wide, high), interpolation=cv2.INTER_LINEAR)
    if first is not front:
        lying = aligning.align(front, first)
        size = view_size(first)[::-1]
        by = enlarged(size)
        there = cv2.warpPerspective(there, lying.enlarged(by), size) if lying else np.zeros_like(there)
    near = cv2.dilate((there > 100).astype(np.uint8), np.ones((40, 40), np.uint8))
    half = signs.STEP // 2
    return np.asarray(near[half :: signs.STEP, half :: signs.STEP] > 0)


def learned(pairs: list[Pair], seed: int = 0) -> weighing.Weights:
    """Fit the net: a pair is judged by a soft maximum over its windows (multiple-instance learning).

    Adam (Kingma and Ba, ICLR 2015) on the logistic loss, both classes of equal weight, ``AT_ONCE`` pairs
    at a time; after each step negative weights become 0.
    """
    taught = [
        (some[truly] if pair.changed and truly.any() else some, pair.changed)
        for pair in pairs
        for some, truly in pair.sides
    ]
    every = np.concatenate([pair.sides[0][0][::4] for pair in pairs]).astype(np.float32)
    sign = np.repeat(np.array([1, -1], np.float32), [len(signs.SIGNS), len(signs.EXCUSES)])
    middle, spread = every.mean(axis=0), sign * (every.std(axis=0) + np.float32(1e-6))
    rows = [weighing.bent(some.astype(np.float32), middle, spread) for some, _ in taught]
    changed = np.array([was for _, was in taught], np.float32)
    inner, inner_level, outer, level, slope = _net(rows, changed, seed)
    return weighing.Weights(middle, spread, inner, inner_level, outer, level[0:1].reshape(()), slope)


def _net(rows: list[Floats], changed: Floats, seed: int) -> list[Floats]:
    chance = np.random.default_rng(seed)
    n = rows[0].shape[1]
    share = changed.mean()
    weight = np.where(changed > 0, 0.5 / share, 0.5 / (1 - share)).astype(np.float32)
    weights: list[Floats] = [
        np.abs(chance.normal(0, 0.5 / np.sqrt(n), (n, HIDDEN))).astype(np.float32),
        chance.normal(0, 1, HIDDEN).astype(np.float32),
        np.abs(chance.normal(0, 0.3, HIDDEN)).astype(np.float32),
        np.full(1, -1, np.float32),
        np.full(n, 0.02, np.float32),
    ]
    first, second = [np.zeros_like(w) for w in weights], [np.zeros_like(w) for w in weights]
    parts = [
        part
        for _ in range(ROUNDS)
        for part in np.array_split(chance.permutation(len(rows)), max(1, len(rows) // AT_ONCE))
    ]
    for step, part in enumerate(parts, 1):
        rate = RATE * min(1.0, 2 * (1 - (step - 1) / len(parts)) + 0.02)
        some = [rows[int(place)] for place in part]
        counts = np.array([len(windows) for windows in some])
        slopes = _slopes(weights, np.concatenate(some), counts, changed[part], weight[part] / len(part))
        for i, slope in enumerate(slopes):
            first[i] = 0.9 * first[i] + 0.1 * slope
            second[i] = 0.99 * second[i] + 0.01 * slope**2
            moved = (first[i] / (1 - 0.9**step)) / (np.sqrt(second[i] / (1 - 0.99**step)) + 1e-8)
            weights[i] = (weights[i] - rate * moved).astype(np.float32)
        for i in (0, 2, 4):
            weights[i] = np.maximum(weights[i], 0)
    return weights


def _slopes(
    weights: list[Floats], rows: Floats, counts: NDArray[np.int64], changed: Floats, weight: Floats
) -> list[Floats]:
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
                judged[place] = float(weights.of(pair.sides[0][0].astype(np.float32)).max())
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
    changed = np.array([pair.changed and pair.kind not in SEEDS for pair in pairs])
    retaken = np.array([not pair.changed and pair.kind not in SEEDS for pair in pairs])
    bounds = np.sort(judged[changed])
    for passed in (0, 1, 2, 5, 9, 13, 16, 22, 28, 32, 43):
        recall = (judged[retaken] < bounds[passed]).mean()
        print(f"{passed} of {changed.sum()} changed folded: recall {recall:.3f}")
    bound = bounds[PASSED]
    of_kind = defaultdict(list)
    for pair, told in zip(pairs, judged, strict=True):
        of_kind[pair.of[0], pair.kind, pair.changed].append(told < bound)
    for (of, kind, _), folded in sorted(of_kind.items()):
        print(f"{of}, {kind}: {sum(folded)} of {len(folded)} folded")
    made = learned(pairs)
    held = {name: getattr(made, name) for name in weighing.Weights.__slots__}
    held["level"] = np.float32(held["level"] - bound)
    np.savez(Path(weighing.__file__).parent / "changes.npz", allow_pickle=False, **held)


if __name__ == "__main__":
    main()
