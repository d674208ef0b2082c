"""Labelled pairs of pictures for judging look-alikes, made from a seed.

Two families: rooms in depth (``likeness_scenes``), photographed again from a few centimetres aside,
and flat warps of open photographs, as a hand-held retake of something far away. Tuning and scoring
sets share neither seed nor photograph.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from fixtures.house.camera import Blur, darken, decode, encode, photograph
from tests.bench import likeness_scenes as scenes

Rgb8 = NDArray[np.uint8]

SHARED = Path(__file__).parents[3] / "shared" / "data"
_DUP = SHARED / "dup/imagededup/tests/data/base_images"
_EXIF = SHARED / "exif"
_LARGE = (
    "Canon PowerShot A20", "FujiFilm FinePix2650", "FujiFilm MX-2900Zoom", "HTC TyTN II", "Issue 211",
    "Issue 308", "Kodak DC3400", "Minolta DiMAGE X", "Nikon Coolpix 775", "Nikon E900 (2)",
    "Panasonic DMC-LC40", "Photoshop (1)", "Reconyx HC500 firmware 3.3.0", "Seiko Epson PhotoPC 3000Z",
)  # fmt: skip
"""Camera samples 1280 pixels long and more, so that what changes can be small."""
_LARGE_TOO = (
    "fixtures/T-45A_Goshawk_03.jpg", "fixtures/Sumo_Museum.jpg", "orientation/Landscape_1.jpg",
    "orientation/Portrait_1.jpg", "mx/jpg/Panasonic NV-GX7.jpg", "mx/jpg/Issue 600 (1).jpg",
)  # fmt: skip
PHOTOS = {
    "tuning": [
        *(SHARED / "good" / name for name in ("brick.png", "coffee.png", "grass.png", "sklearn_flower.jpg")),
        *(_DUP / f"ukbench{number}.jpg" for number in ("00120", "01380", "08976", "09012", "09040")),
        *(_EXIF / "mx/jpg" / f"{name}.jpg" for name in _LARGE),
    ],
    "scoring": [
        *(
            SHARED / "good" / name
            for name in ("gravel.png", "chelsea.png", "astronaut.png", "sklearn_china.jpg")
        ),
        *(SHARED / "good" / name for name in ("rocket.jpg", "camera.png")),
        *(_DUP / f"ukbench{number}.jpg" for number in ("08996", "09060", "09268", "09348", "09380")),
        *(_EXIF / name for name in _LARGE_TOO),
    ],
}
"""Which photographs belong to which set; no photograph is in both."""

TEXTURES = {"tuning": 9, "scoring": 11}
"""So many of them lend their pixels to the drawn rooms: the first ones."""

LARGE_PX = 850
"""From this height on a photograph is a large one."""

SIZE = (1600, 1200)
"""Width and height of a photograph of a room."""

SEEN_PX = 60
"""So many of 800 x 600 pixels must differ for a change to count as seen."""

SEEDS = {"tuning": 10_000, "scoring": 70_000}


@dataclass(frozen=True)
class Labelled:
    """Two pictures of a batch and what they are to each other.

    Attributes
    ----------
    a, b
        Names in the batch.
    truth
        "same", "changed", "wide", "pan", "twin" or "unlike"; "hidden" where something changed that one of
        the two does not show.
    kind
        What was done, for the table.
    depth
        Whether the camera truly moved in a room in depth.
    size
        What matters about it: metres of movement over metres to the nearest thing, the zoom, the
        pixels that changed (of 800 x 600), the stops.
    """

    a: str
    b: str
    truth: str
    kind: str
    depth: bool
    size: float


@dataclass
class Batch:
    """Pictures by name and the pairs among them."""

    pictures: dict[str, Rgb8] = field(default_factory=dict)
    pairs: list[Labelled] = field(default_factory=list)


def load(which: str) -> list[NDArray[np.float32]]:
    """Read the photographs of a set as linear light; raises FileNotFoundError where data is absent."""
    return _read(PHOTOS[which])


def textures(which: str) -> list[NDArray[np.float32]]:
    """Read those of a set that lend their pixels to the drawn rooms; see :func:`load`."""
    return _read(PHOTOS[which][: TEXTURES[which]])


def _read(paths: list[Path]) -> list[NDArray[np.float32]]:
    out = []
    for path in paths:
        bgr = cv2.imread(str(path))
        if bgr is None:
            raise FileNotFoundError(path)
        out.append(decode(np.ascontiguousarray(bgr[..., ::-1])))
    return out


def in_depth(which: str, count: int, first: int = 0, *, framings: bool = True) -> Iterator[Batch]:
    """Give one batch for each of ``count`` rooms in depth; wide and close views and pans only if wanted."""
    photos = textures(which)
    for index in range(first, first + count):
        yield _room(SEEDS[which] + index, photos, framings)


def flat(which: str, first: int = 0) -> Iterator[Batch]:
    """Give one batch for each photograph: warps, local changes, zooms, pans, dark ones."""
    for index, linear in list(enumerate(load(which)))[first:]:
        yield _warps(SEEDS[which] + 5_000 + index, linear)


# --- in depth -------------------------------------------------------------------------------------


def _room(seed: int, photos: list[NDArray[np.float32]], framings: bool) -> Batch:
    chance = np.random.default_rng(seed + 1)
    scene = scenes.room(seed, photos)
    batch = Batch()
    shots: dict[str, float] = {"A": 0.0}
    cameras: dict[str, scenes.Camera] = {}
    batch.pictures["A"] = _shot(scene, scene.camera, chance)
    for name in ("R1", "R2"):
        cameras[name], shots[name] = _aside(scene, chance)
        batch.pictures[name] = _shot(scene, cameras[name], chance)
    batch.pairs.append(Labelled("A", "R1", "same", "retake", True, shots["R1"]))
    batch.pairs.append(Labelled("A", "R2", "same", "retake", True, shots["R2"]))
    # Each is a few centimetres from A, so these two may be twice that apart.
    batch.pairs.append(Labelled("R1", "R2", "same", "retake, twice aside", True, shots["R1"] + shots["R2"]))
    camera, far = _aside(scene, chance, (0.05, 0.10), 0.10)
    batch.pictures["R3"] = _shot(scene, camera, chance)
    batch.pairs.append(Labelled("A", "R3", "same", "retake, 5-10 cm", True, far))
    for name, stops in (("D1", chance.uniform(1.0, 2.5)), ("D2", chance.uniform(2.5, 4.5))):
        camera, _ = _aside(scene, chance)
        batch.pictures[name] = _shot(scene, camera, chance, -stops)
        batch.pairs.append(Labelled("A", name, "same", "retake, dark", True, stops))
        batch.pairs.append(Labelled("R1", name, "same", "retake, dark, twice aside", True, stops))
    camera, _ = _aside(scene, chance)
    blur = (
        Blur(defocus=chance.uniform(1.5, 4.0)) if chance.random() < 0.5 else Blur(shake=chance.uniform(5, 14))
    )
    batch.pictures["B"] = _shot(scene, camera, chance, 0.0, blur)
    batch.pairs.append(Labelled("A", "B", "same", "retake, blurred", True, blur.defocus or blur.shake))
    _changes(batch, scene, chance, cameras["R1"], scenes.Stuff(seed + 900_000, photos))
    twin = scenes.room(seed, photos, clutter_seed=seed + 500_000)
    camera, _ = _aside(twin, chance)
    batch.pictures["T"] = _shot(twin, camera, chance)
    batch.pairs += [Labelled(a, "T", "twin", "twin room", True, 0.0) for a in ("A", "R1")]
    if framings:
        _framings(batch, scene, chance)
    return batch


def _shot(
    scene: scenes.Scene,
    camera: scenes.Camera,
    chance: np.random.Generator,
    stops: float = 0.0,
    blur: Blur | None = None,
) -> Rgb8:
    """Photograph, with the meter off by up to 0.4 stops, and through JPEG; blur in pixels of 800."""
    linear = scenes.render(scene, camera, SIZE)
    off = float(chance.uniform(-0.4, 0.4))
    larger = SIZE[0] / scenes.WIDTH
    soft = blur or Blur()
    soft = replace(soft, defocus=soft.defocus * larger, shake=soft.shake * larger)
    rgb = photograph(linear, stops + off, int(chance.integers(2**31)), blur=soft, size=SIZE)
    return _through_jpeg(rgb)


def _through_jpeg(rgb: Rgb8) -> Rgb8:
    coded = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])[1]
    return np.ascontiguousarray(np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR), np.uint8)[..., ::-1])


def _aside(
    scene: scenes.Scene,
    chance: np.random.Generator,
    span_m: tuple[float, float] = (0.01, 0.05),
    most: float = 0.06,
) -> tuple[scenes.Camera, float]:
    """Move the camera, at most ``most`` of the distance to the nearest thing, and turn it a little."""
    metres = min(float(chance.uniform(*span_m)), most * scene.reach)
    way = chance.normal(0, 1, 3) * [1, 0.8, 0.5]
    way = way / np.linalg.norm(way)
    camera = scene.camera
    return replace(
        camera,
        place=camera.place + metres * way,
        yaw=float(chance.uniform(-2.5, 2.5)),
        pitch=float(chance.uniform(-2, 2)),
        roll=float(chance.uniform(-2.5, 2.5)),
    ), metres / scene.reach


def _changes(
    batch: Batch,
    scene: scenes.Scene,
    chance: np.random.Generator,
    aside: scenes.Camera,
    stuff: scenes.Stuff,
) -> None:
    """Change one thing, photograph from aside; keep what a person could see from A and R1 (at ``aside``).

    At least ``SEEN_PX`` of 480,000 pixels differ by more than 10 codes, away from the edge that another
    framing cuts off. Fewer than 150 are called tiny: printed 90 mm wide that is 1.4 x 1.4 mm, a 4-point
    digit. Where from one of the two cameras fewer differ, because something stands before what changed,
    no two pictures can tell: the pair is labelled "hidden".
    """
    before, before_aside = seen_grey(scene), seen_grey(scene, aside)
    for kind, changed in variants(scene, stuff).items():
        differs = differing(before, seen_grey(changed))
        camera, _ = _aside(scene, chance)
        shown = differing(seen_grey(scene, camera), seen_grey(changed, camera)).sum()
        shown_in = {"A": differs.sum(), "R1": differing(before_aside, seen_grey(changed, aside)).sum()}
        name = f"C {kind}"
        # R1 and the changed picture are each framed anew, so twice as much may be cut off.
        for a, rows, columns in (("A", 60, 80), ("R1", 100, 130)):
            seen = int(differs[rows:-rows, columns:-columns].sum())
            if seen < SEEN_PX:
                continue
            truth = "changed" if min(shown_in[a], shown) >= SEEN_PX else "hidden"
            if name not in batch.pictures:
                batch.pictures[name] = _shot(changed, camera, chance)
            said = f"{kind}, tiny" if seen < 150 else kind
            batch.pairs.append(Labelled(a, name, truth, said, True, float(seen)))
            if kind == "reading" and a == "A":
                batch.pictures["CD"] = _shot(changed, camera, chance, -2.0)
                batch.pairs.append(Labelled("A", "CD", truth, f"{said}, dark", True, float(seen)))


def seen_grey(scene: scenes.Scene, camera: scenes.Camera | None = None) -> NDArray[np.float32]:
    """Draw a scene as codes 0..255 without noise: shape (height, width)."""
    return np.asarray(encode(scenes.render(scene, camera)).mean(axis=2) * 255, np.float32)


def differing(before: NDArray[np.float32], after: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Tell which pixels of two drawn scenes (:func:`seen_grey`) a person could tell apart."""
    return np.asarray(np.abs(after - before) > 10)


def variants(scene: scenes.Scene, stuff: scenes.Stuff) -> dict[str, scenes.Scene]:
    """Give the scene with one thing changed, by kind of change."""
    chance = stuff.chance
    place, along, _ = scene.spots["meter"]
    switch_at = scene.spots["switch"][0]
    by_name = {thing.name: thing for thing in scene.things}

    def with_thing(new: scenes.Thing) -> scenes.Scene:
        return replace(scene, things=tuple(new if t.name == new.name else t for t in scene.things))

    plate = by_name["switch"].faces[0]
    movable = [thing for thing in scene.things if thing.name.startswith("thing")]
    one = movable[int(chance.integers(len(movable)))]
    other = movable[int(chance.integers(len(movable)))]
    push = chance.normal(0, 1, 3) * [1, 0.0, 0.6]
    push *= chance.uniform(0.03, 0.15) / max(1e-6, float(np.linalg.norm(push)))
    old = by_name["meter"].faces[0]
    return {
        "reading": with_thing(_reading(stuff, old, place, float(along[0]))),
        "switch": with_thing(
            scenes.switch_with(stuff, up=False, place=switch_at, wide=float(plate.along[0]))
        ),
        "drip": _drip(scene, stuff),
        "moved": with_thing(one.moved(push)),
        "gone": replace(scene, things=tuple(t for t in scene.things if t.name != other.name)),
    }


def _reading(stuff: scenes.Stuff, old: scenes.Face, place: scenes.Vec, wide: float) -> scenes.Thing:
    """Put the same plate there with another reading, in the same light."""
    new = scenes.meter_with(stuff, f"{int(stuff.chance.integers(10000, 99999))}", place, wide)
    level = float(np.median(old.texture)) / max(1e-6, float(np.median(new.faces[0].texture)))
    return replace(new, faces=(replace(new.faces[0], texture=new.faces[0].texture * np.float32(level)),))


def _drip(scene: scenes.Scene, stuff: scenes.Stuff) -> scenes.Scene:
    """Draw a run of water down the wall or onto the floor, a darker streak of its texture."""
    chance = stuff.chance
    shell = next(thing for thing in scene.things if thing.name == "shell")
    wall = shell.faces[0]
    texture = cv2.resize(wall.texture, (1024, 1024), interpolation=cv2.INTER_LINEAR)
    x = int(chance.uniform(0.35, 0.65) * 1024)
    top = int(chance.uniform(0.35, 0.5) * 1024)
    long, thick = int(chance.uniform(60, 220)), int(chance.integers(6, 16))
    wet = np.zeros((1024, 1024), np.float32)
    path = np.cumsum(chance.normal(0, 0.8, long))
    for k in range(long):
        cv2.circle(wet, (int(x + path[k]), top + k), thick // 2, 1.0, -1)
    cv2.circle(wet, (int(x + path[-1]), top + long), thick, 1.0, -1)
    soft = np.asarray(cv2.GaussianBlur(wet, (0, 0), 1.5), np.float32)
    dark = texture * (1 - np.float32(chance.uniform(0.3, 0.6)) * soft)[..., None]
    new = replace(shell, faces=(replace(wall, texture=np.asarray(dark, np.float32)), *shell.faces[1:]))
    return replace(scene, things=tuple(new if t.name == "shell" else t for t in scene.things))


def _framings(batch: Batch, scene: scenes.Scene, chance: np.random.Generator) -> None:
    """Wide and close views, by zoom or by stepping nearer, and pans."""
    for index, zoom in enumerate((1.15, *chance.uniform((1.17, 1.4, 2.0), (1.4, 2.0, 3.0)))):
        camera, _ = _aside(scene, chance)
        if index == 1:  # step nearer instead of zooming, to where the middle distance looks larger
            far = scene.reach / 0.55 * 0.8
            camera = replace(camera, place=camera.place + np.array([0, 0, far * (1 - 1 / zoom)]))
        else:
            camera = replace(camera, focal=camera.focal * zoom)
        batch.pictures[f"Z{index}"] = _shot(scene, camera, chance)
        batch.pairs.append(Labelled("A", f"Z{index}", "wide", "wide and close", True, float(zoom)))
    view = 2 * np.degrees(np.arctan(0.5 / scene.camera.focal))
    for name, share in (("P1", chance.uniform(0.35, 0.5)), ("P2", chance.uniform(0.5, 0.75))):
        camera, _ = _aside(scene, chance)
        side = 1 if chance.random() < 0.5 else -1
        camera = replace(camera, yaw=float(side * share * view))
        batch.pictures[name] = _shot(scene, camera, chance)
        batch.pairs.append(Labelled("A", name, "pan", "pan", True, float(1 - share)))


# --- flat -----------------------------------------------------------------------------------------


def _warps(seed: int, linear: NDArray[np.float32]) -> Batch:
    chance = np.random.default_rng(seed)
    batch = Batch()
    encoded = np.asarray(np.rint(encode(linear) * 255), np.uint8)
    batch.pictures["A"] = _framed(encoded, np.eye(3))
    for k in range(12):
        batch.pictures[f"W{k}"] = _framed(encoded, _hand(chance))
        batch.pairs.append(Labelled("A", f"W{k}", "same", "warp", False, 0.0))
        if k:
            batch.pairs.append(Labelled(f"W{k - 1}", f"W{k}", "same", "warp", False, 0.0))
    for k in range(4):
        stops = float(chance.uniform(1.5, 4.5))
        batch.pictures[f"D{k}"] = darken(_framed(encoded, _hand(chance)), stops, seed + k)
        batch.pairs.append(Labelled("A", f"D{k}", "same", "warp, dark", False, stops))
    for k in range(12):
        changed, size = _patched(encoded, chance)
        batch.pictures[f"C{k}"] = _framed(changed, _hand(chance, 0.5))
        said = "flat change, tiny" if size < 150 else "flat change"
        if linear.shape[0] >= LARGE_PX:
            said = "small change"
        batch.pairs += [Labelled(a, f"C{k}", "changed", said, False, size) for a in ("A", "W0")]
    for k, zoom in enumerate((1.15, *chance.uniform(1.16, 3.0, 5))):
        close = np.diag([1 / zoom, 1 / zoom, 1.0])
        close[:2, 2] = chance.uniform(0.2, 0.8, 2) * (1 - 1 / zoom)
        batch.pictures[f"Z{k}"] = _framed(encoded, _hand(chance, 0.3) @ close)
        batch.pairs.append(Labelled("A", f"Z{k}", "wide", "wide and close", False, float(zoom)))
    for k, share in enumerate(chance.uniform((0.02, 0.08, 0.2, 0.32), (0.08, 0.2, 0.32, 0.45))):
        batch.pictures[f"L{k}"] = _framed(replaced(encoded, float(share), chance), _hand(chance, 0.5))
        batch.pairs.append(Labelled("A", f"L{k}", "changed", "large change", False, float(share)))
    return batch


def replaced(encoded: Rgb8, share: float, chance: np.random.Generator) -> Rgb8:
    """Change so large a share of a picture: as wet, turned over, or another part of it."""
    out = encoded.copy()
    high, wide = (round(side * share**0.5) for side in encoded.shape[:2])
    free = (out.shape[0] - high, out.shape[1] - wide)
    top, left = (int(chance.uniform(0.1, 0.9) * most) for most in free)
    part = out[top : top + high, left : left + wide]
    pick = int(chance.integers(3))
    if pick == 0:
        part[:] = (part * chance.uniform(0.5, 0.8)).astype(np.uint8)
    elif pick == 1:
        part[:] = part[::-1, ::-1].copy()
    else:
        down, right = (int(chance.uniform(0, 1) * most) for most in free)
        part[:] = encoded[down : down + high, right : right + wide]
    return out


def _hand(chance: np.random.Generator, much: float = 1.0) -> NDArray[np.float64]:
    """Give a small homography on the unit square, as a hand held camera's second try makes it."""
    turn, grow = np.radians(chance.uniform(-4, 4) * much), 1 + chance.uniform(-0.06, 0.06) * much
    c, s = np.cos(turn) * grow, np.sin(turn) * grow
    middle = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    shift = chance.uniform(-0.06, 0.06, 2) * much
    lean = chance.uniform(-0.06, 0.06, 2) * much
    warp = np.array([[c, -s, shift[0]], [s, c, shift[1]], [lean[0], lean[1], 1.0]])
    return np.asarray(middle @ warp @ np.linalg.inv(middle), np.float64)


def _framed(encoded: Rgb8, warp: NDArray[np.float64]) -> Rgb8:
    """Show 86 % of a photograph through a homography of the unit square (output to input)."""
    high, wide = encoded.shape[:2]
    size = (wide * 1200 // high, 1200) if high > 1200 else (wide, high)
    inner = np.array([[0.86, 0, 0.07], [0, 0.86, 0.07], [0, 0, 1.0]])
    to_unit, to_source = np.diag([1 / size[0], 1 / size[1], 1.0]), np.diag([wide, high, 1.0])
    matrix = to_source @ inner @ warp @ to_unit
    flags = cv2.INTER_AREA | cv2.WARP_INVERSE_MAP
    out = cv2.warpPerspective(encoded, matrix, size, flags=flags, borderMode=cv2.BORDER_REFLECT)
    return _through_jpeg(np.asarray(out, np.uint8))


def _patched(encoded: Rgb8, chance: np.random.Generator) -> tuple[Rgb8, float]:
    """Change a small place: other digits, a dark streak, or a piece from elsewhere; give its pixels.

    In a large photograph the place may be a quarter as large: 1 to 10 % of the shorter side.
    """
    out = encoded.copy()
    high, wide = encoded.shape[:2]
    share, thick = chance.uniform(0.05, 0.12), 2
    if high >= LARGE_PX:
        share = 0.012 * (0.1 / 0.012) ** ((share - 0.05) / 0.07)
        thick = max(1, round(share * min(high, wide) / 14))
    side = int(min(high, wide) * share)
    while True:
        x, y = int(chance.uniform(0.2, 0.7) * wide), int(chance.uniform(0.2, 0.7) * high)
        part = out[y : y + side, x : x + side]
        before = part.astype(np.float32).mean(axis=2)
        pick = int(chance.integers(3))
        if pick == 0:
            text = f"{int(chance.integers(100, 999))}"
            cv2.putText(
                part,
                text,
                (1, side * 3 // 4),
                cv2.FONT_HERSHEY_SIMPLEX,
                side / 50,
                (20, 20, 20),
                thick,
                cv2.LINE_AA,
            )
        elif pick == 1:
            band = part[:, side // 3 : side // 3 + max(4, side // 5)]
            band[:] = (band * chance.uniform(0.3, 0.6)).astype(np.uint8)
        else:
            fx, fy = int(chance.uniform(0, 1) * (wide - side)), int(chance.uniform(0, 1) * (high - side))
            part[:] = encoded[fy : fy + side, fx : fx + side]
        seen = int(
            (np.abs(out[y : y + side, x : x + side].astype(np.float32).mean(axis=2) - before) > 10).sum()
        )
        if seen >= 60:
            return out, float(seen)
        out = encoded.copy()
