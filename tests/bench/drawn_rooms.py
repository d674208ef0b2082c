"""Draws rooms to measure with: a small ray caster, so that nobody needs a renderer to run a benchmark.

A house is drawn from a seed: rooms with walls, openings, furniture and lamps of their own, some of
which share paint and floor as rooms of one house do, some of which are twins. A room gives any
number of pictures: overall, mid-range and close-up, by its own lamps, by flash or by headlamp,
through a camera that sets exposure and white balance by itself and adds noise.

There are no cast shadows and no reflections; what a room *is* for the methods measured here
(colours, textures, proportions, kind of light) is there, and every number differs by house.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from evidence.words import Rgb

F = NDArray[np.float32]

WIDTH, HEIGHT = 192, 144

PAINTS = (
    "#f2efe6",
    "#e6dfd0",
    "#d8d3c8",
    "#cfd8dc",
    "#c9d3c0",
    "#e9d9b5",
    "#d9b99b",
    "#b8c4d6",
    "#dcc7c7",
    "#f7f7f5",
)
WOODS = ("#b98a58", "#8a5f3a", "#6b4528", "#c9a57a", "#a97a4a", "#d8bd93")
GREYS = ("#8c8c8a", "#a5a29b", "#6f6f70", "#bdbab2", "#5c5a57")
EARTHS = ("#6e5a43", "#8a7458", "#55483a", "#776a5c")
BRIGHTS = ("#2f5d8a", "#7a2f2a", "#3f6b45", "#d0c04a", "#f4f4f4", "#2b2b2e", "#8f9aa3", "#a8642f")


@dataclass(frozen=True)
class Material:
    """How a surface looks: a colour, a second one, and the pattern that mixes them."""

    colour: F
    second: F
    pattern: str = "plain"
    size_m: float = 0.3
    rough: float = 0.05
    turned: bool = False


@dataclass(frozen=True)
class Solid:
    """A box standing in a room; ``glow`` makes it a window or a lamp."""

    low: F
    high: F
    material: Material
    glow: float = 0.0


@dataclass(frozen=True)
class Lamp:
    """A point light: place, colour times strength."""

    place: F
    light: F


@dataclass(frozen=True)
class Camera:
    """What one camera does of its own accord: one house is photographed with one camera.

    Attributes
    ----------
    balance
        How much of a colour cast it takes away, 0..1.
    key
        Linear level at which the 80th percentile is exposed.
    contrast, saturation
        Of its picture style, 1 = plain; contrast is an exponent on encoded values.
    """

    balance: float = 0.6
    key: float = 0.35
    contrast: float = 1.0
    saturation: float = 1.0


@dataclass(frozen=True)
class Room:
    """A convex room: the planes that bound it, what stands in it, what lights it."""

    kind: str
    size: F
    normals: F
    offsets: F
    materials: tuple[Material, ...]
    solids: tuple[Solid, ...]
    lamps: tuple[Lamp, ...]
    ambient: F
    seed: int
    carried: str = "none"
    sky: frozenset[int] = field(default_factory=frozenset)
    camera: Camera = field(default_factory=Camera)


def linear(colour: str) -> F:
    """Linear light of a colour written #rrggbb."""
    code = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], np.float32) / 255
    return (code**2.2).astype(np.float32)


# ------------------------------------------------------------------------------- houses

KINDS = (
    "attic", "attic", "crawl space", "basement", "garage", "kitchen", "bath", "bath", "bedroom", "bedroom",
    "bedroom", "living room", "hall", "utility room", "closet", "laundry", "roof", "outside", "outside",
    "office",
)  # fmt: skip


def house(seed: int, rooms: int = 20) -> list[Room]:
    """Draw a house of 20 rooms at most; rooms 1 and 9 are twins of the rooms before them."""
    rng = np.random.default_rng(seed)
    paint, floor, trim = _painted(rng), _floor(rng), _plain(rng, PAINTS)
    camera = Camera(
        *(float(rng.uniform(*span)) for span in ((0, 0.9), (0.22, 0.45), (0.8, 1.25), (0.8, 1.3)))
    )
    drawn: list[Room] = []
    for number, kind in enumerate(KINDS[:rooms]):
        if number in {1, 9}:
            drawn.append(_twin(drawn[-1], rng))
            continue
        own_paint = paint if rng.random() < 0.5 else _painted(rng)
        own_floor = floor if rng.random() < 0.5 else _floor(rng)
        drawn.append(replace(_room(kind, own_paint, own_floor, trim, rng), camera=camera))
    return drawn


def _plain(rng: Generator, colours: tuple[str, ...]) -> Material:
    base = linear(str(rng.choice(colours))) * rng.uniform(0.85, 1.1, 3).astype(np.float32)
    return Material(base.astype(np.float32), base, "plain", 0.3, float(rng.uniform(0.02, 0.08)))


def _patterned(rng: Generator, colours: tuple[str, ...], pattern: str, low: float, high: float) -> Material:
    base = _plain(rng, colours).colour
    second = (base * rng.uniform(0.25, 0.8)).astype(np.float32)
    return Material(
        base,
        second,
        pattern,
        float(rng.uniform(low, high)),
        float(rng.uniform(0.05, 0.3)),
        bool(rng.random() < 0.5),
    )


def _painted(rng: Generator) -> Material:
    if rng.random() < 0.15:
        return _patterned(rng, PAINTS, "stripes", 0.06, 0.25)
    return _plain(rng, PAINTS)


def _floor(rng: Generator) -> Material:
    kind = rng.integers(4)
    if kind == 0:
        return _patterned(rng, WOODS, "planks", 0.07, 0.2)
    if kind == 1:
        return _patterned(rng, GREYS + PAINTS, "tiles", 0.1, 0.5)
    if kind == 2:
        return replace(_plain(rng, GREYS + PAINTS + EARTHS), rough=float(rng.uniform(0.1, 0.4)))
    return _patterned(rng, WOODS + GREYS, "tiles", 0.2, 0.6)


def _box_planes(size: F) -> tuple[F, F]:
    normals = np.array([(0, 0, -1), (0, 0, 1), (-1, 0, 0), (1, 0, 0), (0, -1, 0), (0, 1, 0)], np.float32)
    return normals, np.array([0, size[2], 0, size[0], 0, size[1]], np.float32)


def _twin(room: Room, rng: Generator) -> Room:
    """The same paint, floor and kind of light; other furniture in other places, mirrored walls."""
    size = (room.size * rng.uniform(0.85, 1.15, 3)).astype(np.float32)
    size[2] = room.size[2]
    normals, offsets = _shell(room.kind, size)
    solids = _furniture(room.kind, size, rng)
    lamps = _lamps(room.kind, size, rng)
    warm = room.lamps[0].light / max(float(room.lamps[0].light.max()), 1e-6) if room.lamps else None
    if warm is not None:
        lamps = tuple(replace(lamp, light=(warm * lamp.light.max()).astype(np.float32)) for lamp in lamps)
    return replace(
        room,
        size=size,
        normals=normals,
        offsets=offsets,
        solids=solids,
        lamps=lamps,
        seed=int(rng.integers(1 << 30)),
    )


def _shell(kind: str, size: F) -> tuple[F, F]:
    normals, offsets = _box_planes(size)
    if kind in {"attic", "roof"}:
        slope = np.array([size[2], size[0] / 2], np.float32)
        slope = slope / np.linalg.norm(slope)
        more = np.array([(slope[0], 0, slope[1]), (-slope[0], 0, slope[1])], np.float32)
        ridge = np.array([size[0] / 2, 0, size[2]], np.float32)
        if kind == "attic":
            return np.vstack((normals, more)), np.concatenate((offsets, (more @ ridge).astype(np.float32)))
    return normals, offsets


def _room(kind: str, paint: Material, floor: Material, trim: Material, rng: Generator) -> Room:
    bare = _patterned(rng, WOODS, "joists", 0.3, 0.6)
    dirt = Material(*(_plain(rng, EARTHS).colour,) * 2, "rough", float(rng.uniform(0.05, 0.3)), 0.6)
    block = _patterned(rng, GREYS, "bricks", 0.18, 0.4)
    fluff = Material(
        *(_plain(rng, ("#d9c9d0", "#e0d8c0", "#c9c9c9", "#d8b0b8")).colour,) * 2, "rough", 0.1, 0.5
    )
    size = np.array([rng.uniform(2.5, 5.5), rng.uniform(2.8, 6.5), rng.uniform(2.3, 2.8)], np.float32)
    walls = [paint] * 4
    under, over = floor, replace(_plain(rng, ("#f5f5f2", "#efece4")), rough=0.03)
    ambient, carried = float(rng.uniform(0.03, 0.12)), "none"
    sky: frozenset[int] = frozenset()
    if kind == "attic":
        size = np.array([rng.uniform(6, 9), rng.uniform(6, 10), rng.uniform(1.7, 2.8)], np.float32)
        under, over, walls, carried = fluff, bare, [bare] * 4, str(rng.choice(("flash", "headlamp")))
        ambient = 0.003
    elif kind == "crawl space":
        size = np.array([rng.uniform(5, 9), rng.uniform(5, 9), rng.uniform(0.7, 1.1)], np.float32)
        under, over, walls, carried = dirt, bare, [block] * 4, "headlamp"
        ambient = 0.001
    elif kind in {"basement", "garage", "utility room"}:
        under, over = replace(_plain(rng, GREYS), rough=0.25), bare if rng.random() < 0.6 else over
        walls = [block if rng.random() < 0.6 else paint] * 4
        ambient *= 0.4
    elif kind in {"bath", "kitchen", "laundry"}:
        under = _patterned(rng, GREYS + PAINTS, "tiles", 0.1, 0.5)
        walls = [paint] * 3 + [_patterned(rng, PAINTS + BRIGHTS, "tiles", 0.08, 0.25)]
    elif kind in {"hall", "closet"}:
        size[0] = rng.uniform(1.1, 1.6)
    elif kind in {"roof", "outside"}:
        size = np.array([18, 18, 8], np.float32)
        grass = Material(
            linear(str(rng.choice(("#5b6b35", "#7a7a4a", "#8a8070")))), linear("#3c4a25"), "rough", 0.2, 0.5
        )
        siding = _patterned(rng, PAINTS + GREYS + BRIGHTS, str(rng.choice(("stripes", "bricks"))), 0.1, 0.25)
        shingle = _patterned(rng, GREYS + EARTHS, "bricks", 0.15, 0.3)
        air = Material(linear("#b9cbe0") * 2, linear("#e8eef5") * 2, "rough", 6.0, 0.3)
        under, over, walls = (
            (shingle if kind == "roof" else grass),
            air,
            [air, air, air, siding if kind == "outside" else air],
        )
        sky, ambient = frozenset({1, 2, 3, 4} | ({5} if kind == "roof" else set())), 0.5
    normals, offsets = _shell(kind, size)
    materials = (under, over, *walls, over, over)[: len(normals)]
    return Room(
        kind, size, normals, offsets, tuple(materials), _furniture(kind, size, rng), _lamps(kind, size, rng),
        (ambient * rng.uniform(0.8, 1.2, 3)).astype(np.float32), int(rng.integers(1 << 30)), carried, sky,
    )  # fmt: skip


def _furniture(kind: str, size: F, rng: Generator) -> tuple[Solid, ...]:
    solids: list[Solid] = []
    count = {"attic": 9, "crawl space": 12, "hall": 3, "closet": 6, "roof": 5, "outside": 7}.get(kind, 10)
    palette = [
        _plain(rng, WOODS + BRIGHTS + PAINTS),
        _patterned(rng, WOODS, "planks", 0.1, 0.3),
        _plain(rng, BRIGHTS),
    ]
    metal = Material(*(_plain(rng, ("#b9bcc0", "#8f9194", "#d8d8d8")).colour,) * 2, "stripes", 0.05, 0.1)
    for _ in range(count):
        thin = rng.random() < 0.3
        extent = rng.uniform(0.03, 0.12, 3) if thin else rng.uniform(0.25, 1.1, 3)
        if thin:
            extent[rng.integers(3)] = rng.uniform(0.8, 2.5)
        extent = np.minimum(extent, size * 0.6)
        low = rng.uniform(0, 1, 3) * (size - extent)
        side = rng.integers(4)
        axis = int(side % 2)
        low[axis] = 0.01 if side < 2 else size[axis] - extent[axis] - 0.01
        if not thin or rng.random() < 0.5:
            low[2] = 0.0
        material = metal if thin else palette[int(rng.integers(3))]
        solids.append(Solid(low.astype(np.float32), (low + extent).astype(np.float32), material))
    if kind in {"attic", "crawl space", "roof", "closet", "utility room"}:
        return tuple(solids)
    glass = Material(linear("#cfe0f0"), linear("#ffffff"), "rough", 0.5, 0.3)
    for opening in range(int(rng.integers(1, 4))):
        axis = int(rng.integers(2))
        along = 1 - axis
        wide, tall = rng.uniform(0.7, 1.6), rng.uniform(0.9, 1.4)
        start = rng.uniform(0.1, 0.9) * max(size[along] - wide, 0.1)
        low = np.zeros(3)
        low[along], low[2] = start, 0.0 if opening == 2 else 0.8
        high = low.copy()
        high[along], high[2] = start + wide, min(low[2] + tall + (0.7 if opening == 2 else 0), size[2] - 0.1)
        low[axis] = 0.0 if rng.random() < 0.5 else size[axis] - 0.03
        high[axis] = low[axis] + 0.03
        door = opening == 2
        bright = 0.0 if door else float(rng.uniform(0.5, 3.0))
        solids.append(
            Solid(low.astype(np.float32), high.astype(np.float32), palette[1] if door else glass, bright)
        )
    return tuple(solids)


def _lamps(kind: str, size: F, rng: Generator) -> tuple[Lamp, ...]:
    if kind in {"attic", "crawl space"}:
        return ()
    if kind in {"roof", "outside"}:
        sun = np.array([rng.uniform(-20, 40), rng.uniform(-30, 10), 40], np.float32)
        return (Lamp(sun, (np.array([1, 0.95, 0.88]) * rng.uniform(600, 3000)).astype(np.float32)),)
    warmth = rng.uniform(0, 1)
    tint = np.array([1.0, 0.95 - 0.25 * warmth, 0.95 - 0.6 * warmth])
    count = int(rng.integers(1, 3))
    return tuple(
        Lamp(
            np.array([*(rng.uniform(0.25, 0.75, 2) * size[:2]), size[2] - 0.25], np.float32),
            (tint * rng.uniform(0.4, 2.0)).astype(np.float32),
        )
        for _ in range(count)
    )


# ------------------------------------------------------------------------------ pictures


@dataclass(frozen=True)
class View:
    """Where the camera stands, what it looks at, how wide it sees, and the light it carries."""

    camera: F
    target: F
    focal: float
    carried: str
    distance: str
    stops: float = 0.0


def draw_view(room: Room, rng: Generator, distance: str | None = None) -> View:
    """Choose a view as an inspector would: overall, mid-range or close-up."""
    distance = distance or str(rng.choice(("overall", "mid-range", "close-up"), p=(0.3, 0.45, 0.25)))
    eye = min(1.6, float(room.size[2]) * 0.6)
    middle = room.size / 2
    if room.kind in {"roof", "outside"}:
        camera = np.array([rng.uniform(4, 14), rng.uniform(5, 12), eye])
        target = np.array([camera[0] + rng.uniform(-5, 5), 18.0, rng.uniform(0, 3)])
        if room.kind == "roof":
            target = np.array([rng.uniform(2, 16), rng.uniform(2, 16), 0.0])
    elif distance == "overall":
        corner = rng.integers(0, 2, 2)
        camera = np.array([*(room.size[:2] * (0.12 + 0.76 * corner) + rng.normal(0, 0.15, 2)), eye])
        target = np.array(
            [*(room.size[:2] * (0.85 - 0.7 * corner) + rng.normal(0, 0.4, 2)), eye * rng.uniform(0.5, 1.0)]
        )
    else:
        camera = np.array(
            [*(middle[:2] + rng.normal(0, 0.2, 2) * room.size[:2]), eye * rng.uniform(0.6, 1.1)]
        )
        if rng.random() < 0.6 and room.solids:
            solid = room.solids[int(rng.integers(len(room.solids)))]
            target = (solid.low + solid.high) / 2 + rng.normal(0, 0.1, 3)
        else:
            target = rng.uniform(0.02, 0.98, 3) * room.size
            target[int(rng.integers(3))] = 0.0
    camera = np.clip(camera, 0.25, np.maximum(room.size - 0.25, 0.3))
    focal = {"overall": 0.75, "mid-range": 1.2, "close-up": 1.6}[distance] * float(rng.uniform(0.9, 1.15))
    if distance == "close-up":
        way = target - camera
        reach = float(np.linalg.norm(way))
        camera = target - way / max(reach, 1e-6) * min(reach, float(rng.uniform(0.5, 1.2)))
    carried = room.carried
    if carried == "none" and rng.random() < 0.12:
        carried = "flash"
    return View(camera.astype(np.float32), target.astype(np.float32), focal, carried, distance)


def unpacked(jpeg: bytes) -> Rgb:
    """Pixels of a JPEG file."""
    blue_first = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    return np.asarray(blue_first, np.uint8)[..., ::-1].copy()


def photograph(room: Room, view: View, rng: Generator, width: int = WIDTH, height: int = HEIGHT) -> Rgb:
    """Take the picture and look at its pixels."""
    return unpacked(shoot(room, view, rng, width, height))


def shoot(room: Room, view: View, rng: Generator, width: int = WIDTH, height: int = HEIGHT) -> bytes:
    """Take the picture: light, exposure, white balance, noise, JPEG; give the file's bytes."""
    light = render(room, view, width, height)
    level = float(np.percentile(light.mean(axis=2), 80))
    wanted = room.camera.key * 2.0 ** float(rng.normal(0, 0.3))
    gain = min(wanted / max(level, 1e-6), 60.0)
    iso = float(np.clip(gain / 4.0, 1.0, 12.0))
    exposed = light * gain * 2.0**view.stops
    grey = exposed.mean(axis=(0, 1)) + 1e-6
    balance = (grey.mean() / grey) ** float(np.clip(room.camera.balance + rng.normal(0, 0.08), 0, 1))
    electrons = 5000.0 / iso
    noisy = exposed + rng.normal(0, 1, exposed.shape) * np.sqrt(
        np.maximum(exposed, 0) / electrons + (2.5 / electrons) ** 2
    )
    code = np.clip(noisy * balance, 0, 1)
    srgb = np.where(code <= 0.0031308, 12.92 * code, 1.055 * np.maximum(code, 1e-9) ** (1 / 2.4) - 0.055)
    middle = srgb.mean(axis=2, keepdims=True)
    styled = np.maximum(middle + (srgb - middle) * room.camera.saturation, 0) ** room.camera.contrast
    if rng.random() < 0.3:
        styled = cv2.GaussianBlur(styled, (0, 0), float(rng.uniform(0.4, 1.5)))
    picture = np.round(np.clip(styled, 0, 1) * 255).astype(np.uint8)
    ok, packed = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])
    assert ok
    return packed.tobytes()


def render(room: Room, view: View, width: int = WIDTH, height: int = HEIGHT) -> F:
    """Cast one ray a pixel; shape (height, width, 3), linear light."""
    rays = _rays(view, width, height)
    hit, normal, albedo, glow = _hits(room, view.camera, rays)
    light = np.broadcast_to(room.ambient, albedo.shape).copy()
    edge = np.min(
        np.abs(room.offsets[:, None] - room.normals @ hit.T) + (room.normals @ normal.T > 0.9) * 9.0, axis=0
    )
    light *= (0.55 + 0.45 * np.clip(edge / 0.4, 0, 1))[:, None]
    lamps = list(room.lamps)
    if view.carried != "none":
        lamps.append(
            Lamp(
                view.camera,
                np.array([0.7, 0.7, 0.72] if view.carried == "flash" else [0.5, 0.45, 0.35], np.float32),
            )
        )
    axis = (view.target - view.camera) / max(float(np.linalg.norm(view.target - view.camera)), 1e-6)
    for number, lamp in enumerate(lamps):
        way = lamp.place - hit
        far = np.maximum(np.einsum("ij,ij->i", way, way), 0.05)
        cosine = np.clip(-np.einsum("ij,ij->i", way, normal) / np.sqrt(far), 0, 1)
        strength = cosine / far
        if view.carried == "headlamp" and number == len(lamps) - 1:
            strength = strength * np.exp(-((1 - rays @ axis) / 0.08))
        light += strength[:, None] * lamp.light
    image = albedo * (light + glow[:, None])
    return np.asarray(image.reshape(height, width, 3), np.float32)


def _rays(view: View, width: int, height: int) -> F:
    ahead = view.target - view.camera
    ahead = ahead / max(float(np.linalg.norm(ahead)), 1e-6)
    up = np.array([0, 0, 1.0]) if abs(ahead[2]) < 0.95 else np.array([0, 1.0, 0])
    right = np.cross(ahead, up)
    right /= np.linalg.norm(right)
    down = np.cross(ahead, right)
    x, y = np.meshgrid(
        (np.arange(width) - width / 2 + 0.5) / width, (np.arange(height) - height / 2 + 0.5) / width
    )
    rays = view.focal * ahead + x[..., None] * right + y[..., None] * down
    rays = rays.reshape(-1, 3)
    return np.asarray(rays / np.linalg.norm(rays, axis=1, keepdims=True), np.float32)


def _hits(room: Room, camera: F, rays: F) -> tuple[F, F, F, F]:
    """Where each ray ends, the outward normal there, the colour there, and what it glows."""
    toward = room.normals @ rays.T
    room_left = (room.offsets - room.normals @ camera)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = np.where(toward > 1e-6, room_left / toward, np.inf)
    reach = np.where(reach > 0, reach, np.inf)
    wall = np.argmin(reach, axis=0)
    nearest = reach[wall, np.arange(len(rays))]
    owner = wall.copy()
    normal = room.normals[wall].copy()
    with np.errstate(divide="ignore"):
        inverse = np.ascontiguousarray((1.0 / np.where(np.abs(rays) < 1e-9, 1e-9, rays)).T)
    for number, solid in enumerate(room.solids):
        entry, leave = [], []
        for axis in range(3):  # axis by axis: numpy is slow along a side of three
            a, b = (
                (solid.low[axis] - camera[axis]) * inverse[axis],
                (solid.high[axis] - camera[axis]) * inverse[axis],
            )
            entry.append(np.minimum(a, b))
            leave.append(np.maximum(a, b))
        start = np.maximum(np.maximum(entry[0], entry[1]), entry[2])
        end = np.minimum(np.minimum(leave[0], leave[1]), leave[2])
        struck = np.flatnonzero((start > 1e-3) & (start < end) & (start < nearest))
        nearest[struck] = start[struck]
        owner[struck] = 100 + number
        normal[struck] = 0.0
        for axis in range(3):
            faced = struck[entry[axis][struck] >= start[struck]]
            normal[faced, axis] = np.sign(rays[faced, axis])
    hit = camera + rays * np.minimum(nearest, 1e3)[:, None]
    albedo, glow = np.zeros_like(rays), np.zeros(len(rays), np.float32)
    for index in np.unique(owner):
        mine = owner == index
        material = room.materials[index] if index < 100 else room.solids[index - 100].material
        albedo[mine] = _paint(material, hit[mine], normal[mine], room.seed + int(index))
        if index >= 100:
            glow[mine] = room.solids[index - 100].glow
        elif index in room.sky:
            glow[mine] = 0.6
    return hit.astype(np.float32), normal.astype(np.float32), albedo, glow


def _paint(material: Material, hit: F, normal: F, seed: int) -> F:
    """Colour of a surface at each point, by its pattern in the surface's own two directions."""
    axis = np.abs(normal).argmax(axis=1)
    u = np.where(axis == 0, hit[:, 1], hit[:, 0])
    v = np.where(axis == 2, hit[:, 1], hit[:, 2])
    if material.turned and (axis == 2).all():
        u, v = v, u
    size = material.size_m
    mix = np.zeros(len(hit), np.float32)
    if material.pattern == "stripes":
        mix = np.clip(np.abs((v / size) % 1 - 0.5) * 8 - 2.8, 0, 1)
    elif material.pattern == "joists":
        mix = ((u / size) % 1 < 0.85).astype(np.float32)
    elif material.pattern == "planks":
        cell = np.floor(u / size)
        shift = _hash(cell, np.floor(v / (size * 8) + _hash(cell, cell, seed)), seed)
        mix = np.where((u / size) % 1 < 0.04, 1.0, 0.6 * shift)
    elif material.pattern == "tiles":
        mix = (((u / size) % 1 < 0.05) | ((v / size) % 1 < 0.05)).astype(np.float32)
    elif material.pattern == "bricks":
        row = np.floor(v / size * 2)
        mix = np.where(((u / size + 0.5 * (row % 2)) % 1 < 0.06) | ((v / size * 2) % 1 < 0.1), 1.0, 0.0)
        mix = np.maximum(mix, 0.4 * _hash(np.floor(u / size + 0.5 * (row % 2)), row, seed))
    fine = _noise(u, v, 0.35 if material.pattern == "plain" else size * 0.3, seed) - 0.5
    coarse = _noise(u, v, size * 2.0, seed + 7, octaves=1) - 0.5
    colour = material.colour + (material.second - material.colour) * mix[:, None].astype(np.float32)
    return np.asarray(colour * (1 + material.rough * 2 * (fine + coarse))[:, None], np.float32)


def _hash(a: NDArray[np.floating], b: NDArray[np.floating], seed: int) -> F:
    mixed = np.sin(a * 127.1 + b * 311.7 + (seed % 1000) * 17.3) * 43758.5453
    return np.asarray(mixed - np.floor(mixed), np.float32)


def _noise(u: F, v: F, size: float, seed: int, octaves: int = 2) -> F:
    """Smooth noise with spots of about the given size, mean 0.5, one octave or two."""
    total = np.zeros(len(u), np.float32)
    for octave, weight in ((1.0, 0.65), (2.7, 0.35))[:octaves]:
        fine = _SPOT / max(size, 0.01) * octave
        rows, columns = (
            (u * fine + seed % 997).astype(np.int32) % 512,
            (v * fine + seed % 787).astype(np.int32) % 512,
        )
        total += weight * _SPOTS[rows, columns]
    return total


_SPOT = 12.0
"""Pixels across one spot of the noise table."""


def _spots() -> F:
    blurred = cv2.GaussianBlur(
        np.tile(np.random.default_rng(0).normal(0, 1, (512, 512)), (3, 3)), (0, 0), _SPOT / 2.5
    )
    middle = blurred[512:1024, 512:1024]
    return np.asarray(np.clip(0.5 + 0.22 * middle / middle.std(), 0, 1), np.float32)


_SPOTS = _spots()
