"""Scenes whose true light is known, to score the judgement and the lift of dark pictures with.

Drawn rooms (:mod:`.drawn_rooms`) give linear light; the camera of ``fixtures/house/camera.py`` takes
the photographs. Houses 3001-3006 (and 5001-5006, 7001-7010) are for tuning; 4001-4013 and 6001-6013 for
scoring only, the latter first drawn after version 7 was done.

Four kinds are exposed *as meant*, so that nothing may be lifted: rooms as a camera meters them; dark
walls and floors under a room's own metering, which a mean would call too dark; one lit thing before
black; the outside of a house at night by its porch lamp.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from fixtures.house import camera
from tests.bench import drawn_rooms as rooms

F = NDArray[np.float32]

__all__ = [
    "FRESH",
    "KINDS",
    "SCORING",
    "TUNING",
    "Scene",
    "scenes",
    "taken",
    "true_picture",
    "without_signal",
]

WIDTH, HEIGHT = 400, 300
TUNING = range(3001, 3007)
SCORING = range(4001, 4014)
FRESH = range(6001, 6014)
KINDS = ("room", "dark things", "lit thing before black", "night outside")
DARK_THINGS = 0.3
"""Share of the light that dark materials give back, against the drawn ones."""


@dataclass(frozen=True)
class Scene:
    """Light that reaches the camera, and the gain at which the picture is as meant."""

    kind: str
    where: str
    light: F
    gain: float
    seed: int


def scenes(houses: range, kinds: tuple[str, ...] = KINDS, views: int = 2) -> Iterator[Scene]:
    """Draw the scenes of some houses: two views a room; every third room also as another kind."""
    for seed in houses:
        rng = np.random.default_rng(seed)
        for number, room in enumerate(rooms.house(seed)):
            for turn in range(views):
                view = rooms.draw_view(room, rng)
                here = f"{seed}/{number} {room.kind}"
                light = rooms.render(room, view, WIDTH, HEIGHT)
                chance = int(rng.integers(1 << 30))
                gain = camera.meter(light)
                if "room" in kinds:
                    yield Scene("room", here, light, gain, chance)
                if turn:
                    continue
                if number % 3 == 0 and "dark things" in kinds:
                    yield Scene("dark things", here, _dark_things(room, view), gain, chance)
                if number % 3 == 1 and "lit thing before black" in kinds:
                    lit = _lit_thing(light, rng)
                    yield Scene("lit thing before black", here, lit, _for_lightest(lit, 0.75), chance)
                if room.kind in {"outside", "roof"} and "night outside" in kinds:
                    night = rooms.render(_night(room, rng), view, WIDTH, HEIGHT)
                    yield Scene("night outside", here, night, _for_lightest(night, 0.85), chance)


def taken(scene: Scene, stops: float = 0.0, body: camera.Body = camera.CAMERA) -> NDArray[np.uint8]:
    """Photograph a scene, ``stops`` under (negative) or as meant (0)."""
    picture = camera.photograph(
        scene.light, stops, scene.seed, body=body, size=(WIDTH, HEIGHT), gain=scene.gain
    )
    return np.asarray(picture, np.uint8)


def true_picture(scene: Scene) -> NDArray[np.uint8]:
    """What a sensor without noise would have given, exposed as meant, through the same lens."""
    light = camera.through_lens(np.minimum(scene.light * np.float32(scene.gain), 8.0), camera.CAMERA)
    return np.asarray(np.rint(camera.encode(light) * 255), np.uint8)


def without_signal(scene: Scene, stops: float) -> float:
    """Share of the picture whose brightest channel gives fewer electrons than the sensor's own noise."""
    light = scene.light * np.float32(scene.gain * 2.0**stops)
    electrons = light.max(axis=2) * camera.CAMERA.electrons
    return float(np.mean(electrons < camera.CAMERA.read_noise))


def _dark_things(room: rooms.Room, view: rooms.View) -> F:
    def darker(material: rooms.Material) -> rooms.Material:
        return replace(material, colour=material.colour * DARK_THINGS, second=material.second * DARK_THINGS)

    dark = replace(
        room,
        materials=tuple(darker(m) for m in room.materials),
    )
    return rooms.render(dark, view, WIDTH, HEIGHT)


def _lit_thing(light: F, rng: Generator) -> F:
    """A spot of light on part of the view; the rest gets a three-hundredth of it."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
    middle = rng.uniform(0.25, 0.75, 2) * (WIDTH, HEIGHT)
    radius = float(rng.uniform(0.12, 0.28)) * WIDTH
    far = np.hypot(x - middle[0], y - middle[1]) / radius
    spot = 1 / 300 + np.clip(1.6 - far, 0, 1).astype(np.float32)
    return np.asarray(light * spot[..., None], np.float32)


def _night(room: rooms.Room, rng: Generator) -> rooms.Room:
    """The same place by a porch lamp; the sky gives hardly anything."""
    lamp = np.array([*(rng.uniform(0.3, 0.7, 2) * room.size[:2]), 2.4], np.float32)
    warm = np.array([1.0, 0.75, 0.45], np.float32) * float(rng.uniform(4, 12))
    return replace(
        room,
        ambient=(room.ambient * 0.002).astype(np.float32),
        lamps=(rooms.Lamp(lamp, warm),),
        solids=tuple(replace(s, glow=s.glow * 0.3) for s in room.solids),
        sky=frozenset(),
    )


def _for_lightest(light: F, level: float) -> float:
    """The gain that brings the lightest hundredth to a level."""
    return level / max(float(np.quantile(light.max(axis=2), 0.99)), 1e-9)
