"""Draws room cards into pictures, and pictures that hold none but look as if they might.

Every shot is made from a seed: a background, a card of white paper with its marker and name, seen
under tilt, turned, small, out of focus, in the dark, under a lamp's falloff, and a camera's noise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from evidence import roomcards
from evidence.words import Rgb
from tests.bench import drawn_rooms

Grey = NDArray[np.float32]


@dataclass(frozen=True)
class Shot:
    """How a card is seen.

    Attributes
    ----------
    share
        Side of the marker as a share of the picture's height.
    tilt_deg, turn_deg
        Between the card's normal and the line of sight; about the line of sight.
    blur_px
        Sigma of the blur in pixels of the picture.
    dark
        Factor on the 8-bit values.
    lamp
        Strength of the falloff from the middle of the picture, 0 = even.
    noise
        Sigma of the noise in codes, before darkening is rounded.
    """

    share: float = 0.3
    tilt_deg: float = 0.0
    turn_deg: float = 0.0
    blur_px: float = 0.0
    dark: float = 1.0
    lamp: float = 0.0
    noise: float = 2.0


def any_shot(rng: Generator, condition: str) -> Shot:
    """Draw a shot in one of the conditions of methods.md section 2, or in all of them at once, milder."""
    base = Shot(float(rng.uniform(0.15, 0.5)), float(rng.uniform(0, 20)), float(rng.uniform(-30, 30)))
    turn = float(rng.uniform(-180, 180))
    changed: dict[str, Callable[[], Shot]] = {
        "plain": lambda: base,
        "tilted": lambda: replace(base, tilt_deg=float(rng.uniform(35, 60)), turn_deg=turn),
        "blurred": lambda: replace(base, blur_px=4.0),
        "dark": lambda: replace(base, dark=0.06),
        "small": lambda: replace(base, share=0.12),
        "lamp": lambda: replace(base, lamp=float(rng.uniform(1, 4)), dark=float(rng.uniform(0.1, 0.5))),
        "mixed": lambda: Shot(
            float(rng.uniform(0.12, 0.4)), float(rng.uniform(0, 45)), turn, float(rng.uniform(0, 3)),
            float(2 ** rng.uniform(-4, 0)), float(rng.uniform(0, 1.5)), float(rng.uniform(0, 4)),
        ),
    }  # fmt: skip
    return changed[condition]()


CONDITIONS = ("plain", "tilted", "blurred", "dark", "small", "lamp", "mixed")


def backgrounds(count: int, seed: int, size: tuple[int, int] = (1600, 1200)) -> list[Rgb]:
    """Views of drawn rooms, enlarged, with the grain that enlarging took away."""
    found = []
    for number in range(count):
        rng = np.random.default_rng((seed, number))
        rooms = drawn_rooms.house(seed + number // 8, 20)
        room = rooms[int(rng.integers(len(rooms)))]
        picture = drawn_rooms.photograph(room, drawn_rooms.draw_view(room, rng), rng)
        large = cv2.resize(picture, size, interpolation=cv2.INTER_CUBIC).astype(np.float32)
        found.append(np.clip(large + rng.normal(0, 3, large.shape), 0, 255).astype(np.uint8))
    return found


def paper(card: int, side: int = 420) -> Grey:
    """A card of A5 shape, marker at the left and name at the right; grey codes."""
    height, width = round(side * 148.5 / 105), round(side * 2.0)
    sheet = np.full((height, width), 235, np.uint8)
    pattern = np.kron(roomcards.marker(card), np.ones((side // 7, side // 7)))
    top, left = (height - pattern.shape[0]) // 2, round(side * 14 / 105)
    sheet[top : top + pattern.shape[0], left : left + pattern.shape[1]] = np.where(pattern, 25, 235)
    name = roomcards.CARD_NAMES.get(card, "Room")
    cv2.putText(
        sheet, name, (round(side * 1.25), height // 2), cv2.FONT_HERSHEY_SIMPLEX, side / 250, 25, side // 50
    )
    return sheet.astype(np.float32)


def shoot(card: int, shot: Shot, background: Rgb, rng: Generator) -> Rgb:
    """Take one picture of a card."""
    height, width = background.shape[:2]
    sheet = paper(card)
    side = 420 // 7 * 7
    scale = shot.share * height / side
    corners = _corners(sheet.shape[1] * scale, sheet.shape[0] * scale, shot, height)
    reach = np.ptp(corners, axis=0)
    room = np.minimum(reach / 2 + 8, np.array([width, height]) / 2)
    middle = rng.uniform(room, np.array([width, height]) - room)
    corners = corners - (corners.max(axis=0) + corners.min(axis=0)) / 2 + middle
    source = np.array(
        [(0, 0), (sheet.shape[1], 0), (sheet.shape[1], sheet.shape[0]), (0, sheet.shape[0])], np.float32
    )
    warp = cv2.getPerspectiveTransform(source, corners.astype(np.float32))
    over = cv2.warpPerspective(
        _shrunk(sheet, scale),
        warp @ np.diag([1 / min(scale, 1), 1 / min(scale, 1), 1]),
        (width, height),
        flags=cv2.INTER_AREA,
    )
    cover = cv2.warpPerspective(np.ones_like(sheet), warp, (width, height))
    picture = background.astype(np.float32)
    light = float(rng.uniform(0.75, 1.05))
    picture = picture * (1 - cover[..., None]) + (over * light)[..., None] * cover[..., None]
    return _seen(picture, shot, rng)


def _shrunk(sheet: Grey, scale: float) -> Grey:
    """The sheet at about the size it will have, so that warping it does not alias."""
    if scale >= 1:
        return sheet
    size = (max(8, round(sheet.shape[1] * scale)), max(8, round(sheet.shape[0] * scale)))
    return np.asarray(cv2.resize(sheet, size, interpolation=cv2.INTER_AREA), np.float32)


def _corners(width: float, height: float, shot: Shot, picture_height: int) -> NDArray[np.float64]:
    """The card's corners in the picture, by a camera with the angle of view of a 28 mm lens."""
    flat = np.array([(-width, -height), (width, -height), (width, height), (-width, height)]) / 2
    tilt, turn = np.radians(shot.tilt_deg), np.radians(shot.turn_deg)
    focal = 1.2 * picture_height
    x, y, z = flat[:, 0] * np.cos(tilt), flat[:, 1], flat[:, 0] * np.sin(tilt)
    seen = np.stack((x, y), axis=1) * (focal / (focal + z))[:, None]
    spin = np.array([(np.cos(turn), -np.sin(turn)), (np.sin(turn), np.cos(turn))])
    return np.asarray(seen @ spin.T, np.float64)


def _seen(picture: Grey, shot: Shot, rng: Generator) -> Rgb:
    height, width = picture.shape[:2]
    if shot.lamp:
        y, x = np.mgrid[0:height, 0:width]
        apart = ((x - width / 2) / width) ** 2 + ((y - height / 2) / width) ** 2
        picture = picture / (1 + 8 * shot.lamp * apart)[..., None].astype(np.float32)
    if shot.blur_px:
        picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), shot.blur_px), np.float32)
    picture = picture + rng.normal(0, shot.noise, picture.shape).astype(np.float32)
    dark = np.clip(np.round(picture * shot.dark), 0, 255).astype(np.uint8)
    ok, packed = cv2.imencode(".jpg", dark[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])
    assert ok
    return np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), np.uint8)[..., ::-1].copy()


# ------------------------------------------------------------------------------ no card in it

CLUTTER = ("room", "frames", "grids", "framed grids", "boards", "other markers", "text")


def clutter(kind: str, background: Rgb, rng: Generator) -> Rgb:
    """Draw a picture that holds no room card: bare, or with things that resemble one."""
    picture = background.astype(np.float32).copy()
    height, width = picture.shape[:2]
    for _ in range(int(rng.integers(2, 7))) if kind != "room" else ():
        thing = _thing(kind, rng)
        share = float(rng.uniform(0.1, 0.45))
        scale = share * height / thing.shape[0]
        shot = Shot(share, float(rng.uniform(0, 50)), float(rng.uniform(-180, 180)))
        corners = _corners(thing.shape[1] * scale, thing.shape[0] * scale, shot, height)
        corners += rng.uniform(0.1, 0.9, 2) * (width, height)
        source = np.array(
            [(0, 0), (thing.shape[1], 0), (thing.shape[1], thing.shape[0]), (0, thing.shape[0])], np.float32
        )
        warp = cv2.getPerspectiveTransform(source, corners.astype(np.float32))
        over = cv2.warpPerspective(thing, warp, (width, height))
        cover = cv2.warpPerspective(np.ones_like(thing), warp, (width, height))
        picture = picture * (1 - cover[..., None]) + (over * cover)[..., None]
    shot = Shot(
        blur_px=float(rng.uniform(0, 3)), dark=float(2 ** rng.uniform(-4, 0)), noise=float(rng.uniform(0, 5))
    )
    return _seen(picture, shot, rng)


def _thing(kind: str, rng: Generator) -> Grey:
    cell = 40
    if kind == "frames":
        thing = np.full((360, 360), 235.0, np.float32)
        for inset in range(20, 170, int(rng.integers(15, 60))):
            cv2.rectangle(
                thing,
                (inset, inset),
                (360 - inset, 360 - inset),
                float(rng.uniform(10, 90)),
                int(rng.integers(4, 25)),
            )
        return thing
    if kind == "text":
        page = np.full((300, 420), 235, np.uint8)
        for row in range(8):
            text = "".join(chr(int(c)) for c in rng.integers(65, 91, 14))
            cv2.putText(page, text, (10, 35 + 36 * row), cv2.FONT_HERSHEY_SIMPLEX, 1.2, 20, 3)
        return page.astype(np.float32)
    if kind == "boards":
        cells = np.indices((8, 8)).sum(axis=0) % 2
    elif kind == "other markers":
        family = int(rng.choice((cv2.aruco.DICT_4X4_100, cv2.aruco.DICT_6X6_100, cv2.aruco.DICT_7X7_100)))
        drawn = cv2.aruco.generateImageMarker(
            cv2.aruco.getPredefinedDictionary(family), int(rng.integers(100)), 280
        )
        return np.pad(np.asarray(drawn, np.float32), 30, constant_values=235.0)
    else:
        side = 7 if kind == "framed grids" else int(rng.integers(5, 12))
        cells = rng.integers(0, 2, (side, side))
        if kind == "framed grids":
            cells[[0, -1]] = 0
            cells[:, [0, -1]] = 0
            cells = np.pad(cells, 1, constant_values=1)
    return np.asarray(np.kron(np.where(cells > 0, 235.0, 25.0), np.ones((cell, cell))), np.float32)
