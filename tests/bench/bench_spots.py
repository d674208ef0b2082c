"""How well the pictures of one thing are told from those of the next, by the manner of photographing.

    python -m tests.bench.bench_spots tuning|scoring [--rooms 6]

Rooms in depth (``likeness_scenes``), up to three things of each photographed from afar and close, and the
manners below of taking those pictures, written by hand from the habit of the trade (overall, mid-range,
close-up; common practice) and its lapses. Tuning and scoring sets share neither seed nor photograph. The
manners are the same in both, and no times are used: invented ones would prove nothing. A ruler may be hidden,
and what is folded behind a picture counts no more, be it of another thing.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from evidence import likeness, spots
from evidence.likeness import Likeness, Pair, Verdict
from evidence.words import FrameNumber
from tests.bench import likeness_pairs as pairs
from tests.bench import likeness_scenes as scenes

MANNERS = {
    "by the book": ("mid", "close", "close", "scale"),
    "no scale": ("mid", "close", "close"),
    "one of each": ("mid", "close"),
    "close-ups only": ("close", "close"),
    "mid-range twice": ("mid", "mid", "close", "scale"),
    "one picture": ("mid",),
}
"""What is taken of each thing, in order."""

BACK = ("mid", "close", "close", "mid")
"""A manner of its own: out again after the close view, to look where it belongs."""

Places = tuple[int, int]


@dataclass(frozen=True)
class Shot:
    """A picture and the thing it was taken for."""

    thing: str
    seen: Likeness


class Compared:
    """Compares each pair of a room once, whoever took the pictures."""

    def __init__(self) -> None:
        self._known: dict[Places, Pair] = {}

    def __call__(self, seen: Sequence[Likeness], wanted: Sequence[Places]) -> list[Pair]:
        """Answer as ``likeness.groups.compare_all`` does."""
        found = []
        for a, b in wanted:
            key = id(seen[a]), id(seen[b])
            if key not in self._known:
                self._known[key] = likeness.compare(seen[a], seen[b])
            found.append(replace(self._known[key], a=a, b=b))
        return found


def towards(
    scene: scenes.Scene, thing: scenes.Thing, share: float, chance: np.random.Generator
) -> scenes.Camera:
    """Aim at a thing until it fills ``share`` of the picture's width, with an unsteady hand."""
    corners = _corners(thing)
    middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
    wide = float(np.ptp(corners, axis=0)[:2].max())
    far = float(np.linalg.norm(middle))
    away = min(scene.camera.focal * wide / share, far)
    aim = middle / far
    place = middle - away * aim + chance.normal(0, 0.01 * away, 3)
    yaw, pitch = np.degrees([np.arctan2(aim[0], aim[2]), -np.arcsin(aim[1])])
    shake = chance.uniform(-2, 2, 3)
    return replace(
        scene.camera, place=place, yaw=yaw + shake[0], pitch=pitch + shake[1], roll=float(shake[2])
    )


def room(which: str, index: int, photos: list[scenes.Array]) -> dict[str, dict[str, list[Shot]]]:
    """Photograph up to three things of a room: by name, "mid" twice, "close" twice, "scale" once."""
    seed = pairs.SEEDS[which] + 9_000 + index
    chance = np.random.default_rng(seed)
    scene = scenes.room(seed, photos)
    free = [thing for thing in scene.things if thing.name.startswith(("thing", "meter"))]
    order = [free[int(k)] for k in chance.permutation(len(free))]
    chosen: list[scenes.Thing] = []
    for thing in order:
        # What stands in another's line of sight is taken out, or the picture would show that instead.
        if len(chosen) < 3 and not any(_beside(thing, other) for other in chosen):
            chosen.append(thing)
    scene = replace(
        scene,
        things=tuple(
            t
            for t in scene.things
            if not any(t is f for f in free)
            or any(t is c for c in chosen)
            or not any(_beside(t, c) for c in chosen)
        ),
    )
    stuff = scenes.Stuff(seed + 1, photos)
    taken: dict[str, dict[str, list[Shot]]] = {}
    for thing in chosen:
        near, middle = float(chance.uniform(0.4, 0.7)), float(chance.uniform(0.15, 0.3))
        taken[thing.name] = {"mid": [], "close": [], "scale": []}
        for view, share in (("mid", middle),) * 2 + (("close", near),) * 2 + (("scale", near),):
            shown = replace(scene, things=(*scene.things, _scale(thing, stuff))) if view == "scale" else scene
            picture = pairs._shot(shown, towards(scene, thing, share, chance), chance)
            taken[thing.name][view].append(Shot(thing.name, likeness.describe(picture)))
    return taken


def _beside(one: scenes.Thing, other: scenes.Thing) -> bool:
    """Whether two things overlap, seen from where the room is entered."""
    spans = []
    for thing in (one, other):
        seen = np.array([c[:2] / max(c[2], 0.05) for c in _corners(thing)])
        spans.append((seen.min(axis=0), seen.max(axis=0)))
    (low, high), (lower, higher) = spans
    return bool((low < higher).all() and (lower < high).all())


def _corners(thing: scenes.Thing) -> scenes.Vec:
    """Shape (corners, 3), metres."""
    return np.array([f.corner + s * f.along + t * f.up for f in thing.faces for s in (0, 1) for t in (0, 1)])


def _scale(thing: scenes.Thing, stuff: scenes.Stuff) -> scenes.Thing:
    """Lay a ruler across the front of a thing."""
    corners = _corners(thing)
    low, high = corners.min(axis=0), corners.max(axis=0)
    wide, tall = high[0] - low[0], high[1] - low[1]
    ruler = stuff.label("0 1 2 3 4 5", dark=False)
    corner = np.array([low[0] + 0.1 * wide, high[1] - 0.3 * tall, low[2] * 0.985])
    return scenes.Thing(
        "ruler", (scenes.Face(corner, np.array([0.7 * wide, 0, 0]), np.array([0, 0.12 * wide, 0]), ruler),)
    )


def walk(taken: dict[str, dict[str, list[Shot]]], manner: tuple[str, ...]) -> list[Shot]:
    """Give the pictures that a manner takes of each thing, thing after thing."""
    out: list[Shot] = []
    for views in taken.values():
        used: Counter[str] = Counter()
        for view in manner:
            out.append(views[view][used[view]])
            used[view] += 1
    return out


def divided(shots: Sequence[Shot], compare: Compared) -> tuple[list[bool], list[bool]]:
    """Give where a new thing is said to begin, and where it does, between the pictures in front."""
    related = likeness.group_and_relate(
        [shot.seen for shot in shots], [10.0 * k for k in range(len(shots))], compare_them=compare
    )
    front = {place: FrameNumber(one[0]) for one in related.sets for place in one}
    behind = {FrameNumber(one[0]): len(one) - 1 for one in related.sets}
    frames = sorted(set(front.values()))
    apart = [(front[p.a], front[p.b], p) for p in related.pairs if front[p.a] != front[p.b]]
    same = [(a, b) for a, b, p in apart if p.verdict is not Verdict.WIDER]
    nearer = [(a, b) if p.scale > 1 else (b, a) for a, b, p in apart if p.verdict is Verdict.WIDER]
    found = spots.spots(frames, spots.Kin(same, nearer, behind))
    firsts = {spot.frames[0] for spot in found}
    said = [b in firsts for b in frames[1:]]
    true = [shots[a].thing != shots[b].thing for a, b in pairwise(frames)]
    return said, true


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("which", choices=("tuning", "scoring"))
    parser.add_argument("--rooms", type=int, default=6)
    words = parser.parse_args()
    photos = pairs.textures(words.which)
    rooms = [(room(words.which, index, photos), Compared()) for index in range(words.rooms)]
    things = sum(len(taken) for taken, _ in rooms)
    print(f"{words.rooms} rooms, {things} things, {words.which}")
    print(
        f"{'manner':18} {'begun rightly':>14} {'too often':>10} {'missed':>7} {'F1':>5} {'wrong a thing':>14}"
    )
    whole = np.zeros(3, int)
    for manner, views in {**MANNERS, "out again": BACK}.items():
        told = np.zeros(3, int)
        for taken, compare in rooms:
            said, true = divided(walk(taken, views), compare)
            for one, other in zip(said, true, strict=True):
                told += [one and other, one and not other, other and not one]
        whole += told
        _row(manner, told, things)
    _row("all", whole, things * (len(MANNERS) + 1))


def _row(name: str, told: np.ndarray, things: int) -> None:
    right, often, missed = (int(n) for n in told)
    f1 = 2 * right / max(1, 2 * right + often + missed)
    print(f"{name:18} {right:14} {often:10} {missed:7} {f1:5.2f} {(often + missed) / things:14.2f}")


if __name__ == "__main__":
    main()
