"""Small rooms of flat, textured faces, to photograph again from a few centimetres aside.

Every face is a parallelogram with a baked texture; a picture is made face by face through the
homography between face and picture, nearest face first (inverse depth is linear in the picture, so
a depth buffer costs one comparison). That gives true parallax and true hiding without a 3-D program.
For benchmarks only: no shadows, no gloss. Everything follows from a seed.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]
Vec = NDArray[np.float64]

WIDTH, HEIGHT = 800, 600
_SHARPER = 1.25
"""Faces are drawn so many times larger and reduced, against jagged edges."""


@dataclass(frozen=True)
class Face:
    """A parallelogram: a corner, two edges in metres, and linear texture (h, w, 3)."""

    corner: Vec
    along: Vec
    up: Vec
    texture: Array


@dataclass(frozen=True)
class Thing:
    """A group of faces that moves as one, with a name."""

    name: str
    faces: tuple[Face, ...]

    def moved(self, by: Vec) -> Thing:
        """Give the same thing elsewhere."""
        return replace(self, faces=tuple(replace(face, corner=face.corner + by) for face in self.faces))


@dataclass(frozen=True)
class Camera:
    """A pinhole: place, turns in degrees (right, up, clockwise) and focal length in picture widths."""

    place: Vec
    yaw: float = 0.0
    pitch: float = 0.0
    roll: float = 0.0
    focal: float = 0.9

    def axes(self) -> NDArray[np.float64]:
        """Rows: right, down, forward."""
        y, p, r = np.radians([self.yaw, self.pitch, self.roll])
        turn_y = np.array([[np.cos(y), 0, -np.sin(y)], [0, 1, 0], [np.sin(y), 0, np.cos(y)]])
        turn_p = np.array([[1, 0, 0], [0, np.cos(p), np.sin(p)], [0, -np.sin(p), np.cos(p)]])
        turn_r = np.array([[np.cos(r), np.sin(r), 0], [-np.sin(r), np.cos(r), 0], [0, 0, 1]])
        return np.asarray(turn_r @ turn_p @ turn_y, np.float64)


@dataclass(frozen=True)
class Scene:
    """Things in a room, and the camera that looks at them."""

    things: tuple[Thing, ...]
    camera: Camera
    reach: float
    """Metres to the nearest thing in view, about."""
    spots: dict[str, tuple[Vec, Vec, Vec]] = field(default_factory=dict)


def render(scene: Scene, camera: Camera | None = None, size: tuple[int, int] = (WIDTH, HEIGHT)) -> Array:
    """Draw a scene: shape (*size[::-1], 3), float32, linear light about 0..1."""
    eye = camera or scene.camera
    width, height = round(size[0] * _SHARPER), round(size[1] * _SHARPER)
    axes = eye.axes()
    lens = np.array([[eye.focal * width, 0, width / 2], [0, eye.focal * width, height / 2], [0, 0, 1.0]])
    out = np.full((height, width, 3), 0.02, np.float32)
    nearest = np.full((height, width), 1e-3, np.float32)
    for thing in scene.things:
        for face in thing.faces:
            _draw(face, lens @ axes, eye.place, out, nearest)
    return np.asarray(cv2.resize(out, size, interpolation=cv2.INTER_AREA), np.float32)


def _draw(face: Face, project: NDArray[np.float64], place: Vec, out: Array, nearest: Array) -> None:
    height, width = nearest.shape
    to_picture = project @ np.column_stack([face.along, face.up, face.corner - place])
    if abs(np.linalg.det(to_picture)) < 1e-9:
        return
    corners = to_picture @ np.array([[0, 1, 1, 0], [0, 0, 1, 1], [1, 1, 1, 1.0]])
    if (corners[2] < 0.02).all():
        return
    x0, y0, x1, y1 = 0, 0, width, height
    if (corners[2] > 0.02).all():
        xy = corners[:2] / corners[2]
        x0, y0 = (max(0, int(v)) for v in np.floor(xy.min(1)))
        x1, y1 = min(width, int(np.ceil(xy[0].max())) + 1), min(height, int(np.ceil(xy[1].max())) + 1)
        if x0 >= x1 or y0 >= y1:
            return
    back = np.linalg.inv(to_picture).astype(np.float32)
    x = np.arange(x0, x1, dtype=np.float32)[None, :] + np.float32(0.5)
    y = np.arange(y0, y1, dtype=np.float32)[:, None] + np.float32(0.5)
    inverse = back[2, 0] * x + back[2, 1] * y + back[2, 2]
    safe = np.where(inverse > 1e-4, inverse, np.float32(1e9))
    s = (back[0, 0] * x + back[0, 1] * y + back[0, 2]) / safe
    t = (back[1, 0] * x + back[1, 1] * y + back[1, 2]) / safe
    part = nearest[y0:y1, x0:x1]
    shown = (inverse > part) & (s >= 0) & (s <= 1) & (t >= 0) & (t <= 1)
    if not shown.any():
        return
    texture = _fitting(face.texture, s, t, shown)
    high, wide = texture.shape[:2]
    drawn = cv2.remap(
        texture, s * wide - 0.5, t * high - 0.5, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    out[y0:y1, x0:x1][shown] = drawn[shown]
    part[shown] = inverse[shown]


def _fitting(texture: Array, s: Array, t: Array, shown: NDArray[np.bool_]) -> Array:
    """Reduce a texture to about the size it is seen at, so that it does not sparkle."""
    seen = max(int(shown.sum()), 1)
    span_s = float(s[shown].max() - s[shown].min())
    span_t = float(t[shown].max() - t[shown].min())
    texels = span_s * span_t * texture.shape[0] * texture.shape[1]
    shrink = np.sqrt(texels / seen)
    if shrink <= 1.3:
        return texture
    size = (max(2, round(texture.shape[1] / shrink)), max(2, round(texture.shape[0] / shrink)))
    return np.asarray(cv2.resize(texture, size, interpolation=cv2.INTER_AREA), np.float32)


# --- textures -------------------------------------------------------------------------------------


class Stuff:
    """Makes textures from a seed, and from photographs that are handed in."""

    def __init__(self, seed: int, photos: list[Array]) -> None:
        self.chance = np.random.default_rng(seed)
        self.photos = photos

    def colour(self, low: float = 0.15, high: float = 0.75, vivid: float = 0.35) -> Array:
        """Give one colour, mostly dull."""
        grey = self.chance.uniform(low, high)
        return np.asarray(grey * (1 + vivid * self.chance.uniform(-1, 1, 3)), np.float32)

    def cloud(self, size: int, finest: int = 4, rough: float = 0.6) -> Array:
        """Give smooth noise, mean 0, about -1..1, shape (size, size)."""
        out = np.zeros((size, size), np.float32)
        cells, weight = 3, 1.0
        while size / cells > finest:
            grid = self.chance.normal(0, 1, (cells, cells)).astype(np.float32)
            out += weight * cv2.resize(grid, (size, size), interpolation=cv2.INTER_CUBIC)
            cells, weight = cells * 2, weight * rough
        return np.asarray(out / max(1e-6, float(np.abs(out).max())), np.float32)

    def plaster(self, size: int = 512, contrast: float | None = None) -> Array:
        """Give an almost even wall."""
        depth = self.chance.uniform(0.02, 0.15) if contrast is None else contrast
        return np.asarray(
            (1 + depth * self.cloud(size, 3, 0.8))[..., None] * self.colour(0.35, 0.75, 0.15), np.float32
        )

    def wood(self, size: int = 512) -> Array:
        """Give boards with grain."""
        grain = cv2.resize(
            self.cloud(size, 3, 0.85)[:, : size // 12], (size, size), interpolation=cv2.INTER_LINEAR
        )
        boards = np.ones((size, size), np.float32)
        for edge in range(0, size, int(self.chance.integers(size // 6, size // 2))):
            boards[edge : edge + 3] *= 0.4
            boards[edge:] *= self.chance.uniform(0.85, 1.15)
        base = np.array([0.5, 0.33, 0.18], np.float32) * self.chance.uniform(0.5, 1.3)
        return np.asarray((boards * (1 + 0.5 * grain))[..., None] * base, np.float32)

    def tiles(self, size: int = 512) -> Array:
        """Give tiles with joints, each a little different."""
        count = int(self.chance.integers(4, 9))
        tone = self.chance.uniform(0.85, 1.1, (count, count)).astype(np.float32)
        out = cv2.resize(tone, (size, size), interpolation=cv2.INTER_NEAREST)
        step = size // count
        for edge in range(0, size, step):
            out[edge : edge + 4] = 0.45
            out[:, edge : edge + 4] = 0.45
        return np.asarray(
            (out * (1 + 0.08 * self.cloud(size)))[..., None] * self.colour(0.3, 0.8, 0.3), np.float32
        )

    def gravel(self, size: int = 512) -> Array:
        """Give rubble or insulation: strong detail at all sizes."""
        return np.asarray(
            (1 + 0.8 * self.cloud(size, 2, 0.95))[..., None] * self.colour(0.15, 0.5), np.float32
        )

    def photo(self) -> Array:
        """Give a random cut of one of the photographs."""
        picture = self.photos[int(self.chance.integers(len(self.photos)))]
        high, wide = picture.shape[:2]
        side = int(min(high, wide) * self.chance.uniform(0.5, 0.95))
        y, x = int(self.chance.integers(high - side + 1)), int(self.chance.integers(wide - side + 1))
        return picture[y : y + side, x : x + side]

    def any_wall(self) -> Array:
        """Give a texture for a large face."""
        pick = self.chance.random()
        if pick < 0.45:
            return self.plaster()
        return (self.wood, self.tiles, self.gravel, self.photo)[int(self.chance.integers(4))]()

    def any_thing(self) -> Array:
        """Give a texture for a small face."""
        pick = self.chance.random()
        if pick < 0.3:
            return self.plaster(128, 0.05) * np.float32(self.chance.uniform(0.4, 1.2))
        if pick < 0.5:
            return self.label(self.words())
        return (self.wood, self.plaster, self.gravel, self.photo)[int(self.chance.integers(4))]()

    def words(self) -> str:
        """Give letters and digits as on a label."""
        return "".join(self.chance.choice(list("ABCDEFGHKLMNPRSTUVXYZ0123456789"), 6))

    def label(self, text: str, *, dark: bool | None = None, size: tuple[int, int] = (160, 320)) -> Array:
        """Give a plate with large text on it."""
        inverted = bool(self.chance.random() < 0.3) if dark is None else dark
        plate = np.full((*size, 3), 0.08 if inverted else 0.75, np.float32) * self.colour(0.9, 1.1, 0.1)
        ink = np.array((0.9, 0.9, 0.8) if inverted else (0.05, 0.05, 0.06), np.float32)
        stencil = np.zeros(size, np.uint8)
        scale = size[1] / (20.0 * max(len(text), 1))
        origin = (int(0.05 * size[1]), int(0.62 * size[0]))
        cv2.putText(
            stencil, text, origin, cv2.FONT_HERSHEY_SIMPLEX, scale, 255, max(2, int(scale * 2.2)), cv2.LINE_AA
        )
        share = stencil[..., None].astype(np.float32) / 255.0
        plate = np.asarray(plate * (1 - share) + ink * share, np.float32)
        plate[:4], plate[-4:], plate[:, :4], plate[:, -4:] = 0.02, 0.02, 0.02, 0.02
        return plate


def lit(texture: Array, bright: float, slant: tuple[float, float]) -> Array:
    """Bake light into a texture: a level and a fall across the face."""
    high, wide = texture.shape[:2]
    fall_x = np.linspace(1 - slant[0], 1 + slant[0], wide, dtype=np.float32)[None, :, None]
    fall_y = np.linspace(1 - slant[1], 1 + slant[1], high, dtype=np.float32)[:, None, None]
    return np.asarray(np.clip(texture * bright * fall_x * fall_y, 0, 1.2), np.float32)


def box(
    name: str, low: Vec, size: Vec, stuff: Stuff, textures: list[Array] | None = None, *, turn: float = 0.0
) -> Thing:
    """Give a box standing at ``low`` (x right, y down, z away), turned about the vertical in degrees."""
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    ex, ey, ez = (
        np.array([c, 0, s]) * size[0],
        np.array([0, 1.0, 0]) * size[1],
        np.array([-s, 0, c]) * size[2],
    )
    sides = [
        (low, ex, ey, 1.0), (low, ez, ey, 0.7), (low + ex, ez, ey, 0.6), (low, ex, ez, 1.15),
        (low + ey, ex, ez, 0.35), (low + ez, ex, ey, 0.5),
    ]  # fmt: skip
    given = textures or [stuff.any_thing()] * 6
    return Thing(
        name,
        tuple(
            Face(
                corner,
                along,
                up,
                lit(given[i % len(given)], shade, tuple(stuff.chance.uniform(-0.15, 0.15, 2))),
            )
            for i, (corner, along, up, shade) in enumerate(sides)
        ),
    )


def pipe(name: str, start: Vec, end: Vec, radius: float, stuff: Stuff) -> Thing:
    """Give a pipe as a prism of eight sides, shaded round."""
    axis = end - start
    side = np.cross(axis, [0.3, 0.5, 1.0])
    side = side / np.linalg.norm(side)
    other = np.cross(axis / np.linalg.norm(axis), side)
    texture = stuff.plaster(128, 0.08) * np.float32(stuff.chance.uniform(0.5, 1.2))
    faces = []
    for k in range(8):
        a, b = np.pi * k / 4, np.pi * (k + 1) / 4
        p = radius * (np.cos(a) * side + np.sin(a) * other)
        q = radius * (np.cos(b) * side + np.sin(b) * other)
        shade = 0.55 + 0.45 * max(0.0, float(-(p + q)[2] / (2 * radius)))
        faces.append(Face(start + p, axis, q - p, lit(texture, shade, (0.05, 0.0))))
    return Thing(name, tuple(faces))


# --- rooms ----------------------------------------------------------------------------------------


def room(seed: int, photos: list[Array], clutter_seed: int | None = None) -> Scene:
    """Build a room; another ``clutter_seed`` gives its twin: same walls, other things in it."""
    stuff = Stuff(seed, photos)
    chance = stuff.chance
    deep = float(chance.choice([0.9, 1.3, 2.0, 3.2]) * chance.uniform(0.85, 1.15))
    half = deep * chance.uniform(0.55, 0.75)
    low = deep * chance.uniform(0.38, 0.5)
    kind = int(chance.integers(3))
    things = [_shell(stuff, kind, deep, half, low)]
    if kind == 1:
        things.extend(_rafters(stuff, deep, half, low))
    nearest = deep * 0.55
    for index in range(int(chance.integers(4, 10))):
        things.append(_standing(stuff, f"thing {index}", deep, half, low))
    for index in range(int(chance.integers(0, 4))):
        things.append(_running(stuff, f"pipe {index}", deep, half, low))
    meter, switch, spots = _fittings(stuff, deep, half, low)
    things += [meter, switch]
    camera = Camera(np.zeros(3), focal=float(chance.uniform(0.75, 1.0)))
    if clutter_seed is not None:
        things = _other_things(things, Stuff(clutter_seed, photos), deep, half, low)
    return Scene(tuple(things), camera, nearest, spots)


def _other_things(things: list[Thing], stuff: Stuff, deep: float, half: float, low: float) -> list[Thing]:
    """Keep walls and pipes, put other things in place of about half of those that stand about."""
    out = []
    for thing in things:
        if thing.name in {"shell", "switch"} or thing.name.startswith(("rafter", "pipe")):
            out.append(thing)
        elif thing.name == "meter":
            old = thing.faces[0]
            out.append(
                meter_with(
                    stuff, f"{int(stuff.chance.integers(10000, 99999))}", old.corner, float(old.along[0])
                )
            )
        elif stuff.chance.random() < 0.5:
            out.append(thing)
        else:
            out.append(_standing(stuff, thing.name, deep, half, low))
    return out


def _shell(stuff: Stuff, kind: int, deep: float, half: float, low: float) -> Thing:
    """Walls, floor and ceiling; the back wall may stand askew, the ceiling may slope."""
    skew = stuff.chance.uniform(-0.25, 0.25) * deep
    drop = low * (stuff.chance.uniform(0.3, 0.9) if kind == 1 else 0.0)
    back_l, back_r = (
        np.array([-half * 1.6, -low * 1.4, deep + skew]),
        np.array([half * 1.6, -low * 1.4, deep - skew]),
    )
    tall = np.array([0, low * 2.4, 0])
    wall = stuff.any_wall()
    faces = [Face(back_l, back_r - back_l, tall, lit(wall, 0.8, (0.2, 0.15)))]
    if kind != 2:
        x = half * stuff.chance.uniform(0.8, 1.1)
        for sign in (-1, 1):
            corner = np.array([sign * x, -low * 1.4, 0.15 * deep])
            faces.append(
                Face(corner, np.array([0, 0, deep * 1.3]), tall, lit(stuff.any_wall(), 0.6, (0.2, 0.1)))
            )
    floor = np.array([-half * 1.6, low, 0.1 * deep])
    faces.append(
        Face(
            floor,
            np.array([2 * half * 1.6, 0, 0]),
            np.array([0, 0, deep * 1.4]),
            lit(stuff.any_wall(), 0.7, (0.1, 0.3)),
        )
    )
    ceiling = np.array([-half * 1.6, -low * 1.1 + drop * 0, 0.1 * deep])
    faces.append(
        Face(
            ceiling,
            np.array([2 * half * 1.6, 0, 0]),
            np.array([0, drop, deep * 1.4]),
            lit(stuff.any_wall(), 0.5, (0.1, 0.2)),
        )
    )
    return Thing("shell", tuple(faces))


def _rafters(stuff: Stuff, deep: float, half: float, low: float) -> list[Thing]:
    """Bars at even distances: repeated structure, the hard case for keypoints."""
    wood, step = stuff.wood(), half * stuff.chance.uniform(0.3, 0.5)
    thick = step * 0.18
    return [
        box(
            f"rafter {k}",
            np.array([k * step, -low * 1.2, deep * 0.9]),
            np.array([thick, low * 2.0, thick * 2]),
            stuff,
            [wood],
        )
        for k in range(-3, 4)
    ]


def _standing(stuff: Stuff, name: str, deep: float, half: float, low: float) -> Thing:
    """A box on the floor, on the wall or hanging."""
    chance = stuff.chance
    size = deep * chance.uniform(0.05, 0.26, 3)
    z = chance.uniform(deep * 0.55, deep * 0.85)
    x = chance.uniform(-0.85, 0.7) * half * z / deep
    y = low - size[1] if chance.random() < 0.6 else chance.uniform(-0.7, 0.5) * low * z / deep
    return box(
        name,
        np.array([x, y, z]),
        size,
        stuff,
        [stuff.any_thing() for _ in range(3)],
        turn=chance.uniform(-40, 40),
    )


def _running(stuff: Stuff, name: str, deep: float, half: float, low: float) -> Thing:
    """A pipe across or up, 5 to 30 % in front of the back wall."""
    chance = stuff.chance
    z = deep * chance.uniform(0.68, 0.9)
    if chance.random() < 0.5:
        x = chance.uniform(-0.7, 0.7) * half
        start, end = (
            np.array([x, -1.3 * low, z]),
            np.array([x + chance.uniform(-0.1, 0.1) * half, 1.3 * low, z]),
        )
    else:
        y = chance.uniform(-0.6, 0.6) * low
        start, end = (
            np.array([-1.5 * half, y, z]),
            np.array([1.5 * half, y + chance.uniform(-0.1, 0.1) * low, z]),
        )
    return pipe(name, start, end, deep * chance.uniform(0.008, 0.03), stuff)


def _fittings(
    stuff: Stuff, deep: float, half: float, low: float
) -> tuple[Thing, Thing, dict[str, tuple[Vec, Vec, Vec]]]:
    """A meter with a reading and a switch, on a board in front of the back wall; and where drips may go."""
    chance = stuff.chance
    z = deep * 0.66
    wide = deep * chance.uniform(0.1, 0.25)
    x, y = chance.uniform(-0.6, 0.35) * half * 0.66, chance.uniform(-0.6, 0.1) * low * 0.66
    meter = meter_with(stuff, f"{int(chance.integers(10000, 99999))}", np.array([x, y, z]), wide)
    sx = float(np.clip(x + wide * 1.3, -0.6 * half, 0.5 * half))
    switch = switch_with(stuff, up=True, place=np.array([sx, y, z]), wide=deep * chance.uniform(0.03, 0.06))
    return (
        meter,
        switch,
        {
            "meter": (np.array([x, y, z]), np.array([wide, 0, 0]), np.array([0, wide / 2, 0])),
            "switch": (np.array([sx, y, z]), np.zeros(3), np.zeros(3)),
        },
    )


def meter_with(stuff: Stuff, reading: str, place: Vec, wide: float) -> Thing:
    """A plate that shows a reading."""
    face = lit(stuff.label(reading, dark=False), 0.8, (0.05, 0.05))
    return Thing("meter", (Face(place, np.array([wide, 0, 0]), np.array([0, wide / 2, 0]), face),))


def switch_with(stuff: Stuff, *, up: bool, place: Vec, wide: float) -> Thing:
    """A plate with a toggle that stands out, up or down."""
    plate = np.full((96, 64, 3), 0.7, np.float32)
    plate[:2], plate[-2:], plate[:, :2], plate[:, -2:] = 0.25, 0.25, 0.25, 0.25
    plate[28:68, 24:40] = 0.3
    lever = np.full((32, 32, 3), 0.55, np.float32)
    tall = wide * 1.5
    shift = 0.3 if up else 0.5
    knob = place + np.array([0.38 * wide, shift * tall, -0.2 * wide])
    body = box("lever", knob, np.array([0.24 * wide, 0.2 * tall, 0.2 * wide]), stuff, [lever])
    return Thing("switch", (Face(place, np.array([wide, 0, 0]), np.array([0, tall, 0]), plate), *body.faces))
