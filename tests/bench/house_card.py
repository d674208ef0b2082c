"""A card of as many 12-MP pictures as asked for that looks like a house, not like one view again and again.

Each picture of the made-up house, as it is and mirrored (a mirrored room is another room to a keypoint), is a
place. At a place seven pictures are taken one after the other, ten seconds apart: a first framing, and then
one in four the same again by hand, one in five closer, the rest another part of it. They are windows of
two fifths of the render or more, enlarged, with grain and a camera's date; a minute lies between places.
"""

from __future__ import annotations

import io
from concurrent.futures import ProcessPoolExecutor
from datetime import datetime, timedelta
from functools import cache
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

HOUSE = Path(__file__).resolve().parents[2] / "fixtures" / "card"
AT_A_PLACE = 7
WIDE = 4000
_BEGUN = datetime(2026, 11, 18, 8)  # noqa: DTZ001 - a camera's clock knows no zone

Window = tuple[float, float, float, float, float]
"""Middle x and y and width as shares of the render's width, turn in degrees, and gain."""


def make(folder: Path, number: int) -> Path:
    """Write the card into ``folder`` unless it is there with all its pictures; give its place."""
    card = folder / f"CARD{number}"
    if len(list(card.rglob("*.JPG"))) < number:
        (card / "DCIM" / "100ABCDE").mkdir(parents=True, exist_ok=True)
        places = range(-(-number // AT_A_PLACE))
        with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
            list(pool.map(_take, [(card, place, number) for place in places]))
    return card


def seen_at(place: int, wide: int) -> list[NDArray[np.uint8]]:
    """Give the pictures of one place, shape (3 / 4 of ``wide``, ``wide``, 3), uint8, BGR."""
    chance = np.random.default_rng([3, place])
    render = _render(place)
    size = (wide, wide * 3 // 4)
    grain = chance.integers(0, 9, (size[1] // 2, size[0] // 2, 3), np.uint8)
    pictures = []
    for n, window in enumerate(_windows(chance, render.shape[0] / render.shape[1])):
        noise = cv2.resize(np.roll(grain, 101 * n, axis=(0, 1)), size, interpolation=cv2.INTER_NEAREST)
        pictures.append(cv2.add(_framed(render, window, size), noise).astype(np.uint8))
    return pictures


def second(number: int) -> float:
    """Tell at what second of the walk a picture was taken, the first being number 0."""
    return 10.0 * number + 60.0 * (number // AT_A_PLACE)


def _take(asked: tuple[Path, int, int]) -> None:
    """Take the pictures of one place."""
    card, place, number = asked
    cv2.setNumThreads(1)
    first = place * AT_A_PLACE
    for n, bgr in enumerate(seen_at(place, WIDE)[: number - first], first):
        coded = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, 90])[1].tobytes()
        path = card / "DCIM" / "100ABCDE" / f"ABCD{n + 1:04d}.JPG"
        path.with_suffix(".part").write_bytes(_dated(coded, _BEGUN + timedelta(seconds=second(n))))
        path.with_suffix(".part").replace(path)


def _render(place: int) -> NDArray[np.uint8]:
    """Give the picture of the house that a place is seen in, and see every second round mirrored."""
    wide = _renders()
    bgr = cv2.imread(str(wide[place % len(wide)]))
    assert bgr is not None
    return np.ascontiguousarray(bgr[:, ::-1] if place // len(wide) % 2 else bgr).astype(np.uint8)


@cache
def _renders() -> list[Path]:
    """Give the whole pictures of the house that are wider than high."""
    found = [(path, cv2.imread(str(path))) for path in sorted(HOUSE.rglob("*.JPG"))]
    return [path for path, bgr in found if bgr is not None and bgr.shape[1] > bgr.shape[0]]


def _windows(chance: np.random.Generator, shape: float) -> list[Window]:
    """Choose what is framed at a place."""

    def somewhere(least: float, most: float) -> Window:
        wide = float(chance.uniform(least, most))
        x, y = (float(chance.uniform(wide / 2, 1 - wide / 2)) for _ in range(2))
        return x, y * shape, wide, 0.0, float(chance.uniform(0.8, 1.1))

    windows = [somewhere(0.75, 0.95)]
    for _ in range(AT_A_PLACE - 1):
        x, y, wide, _, _ = windows[int(chance.integers(len(windows)))]
        kind = chance.random()
        if kind < 0.25:
            aside = chance.uniform(-0.03, 0.03, 2) * wide
            windows.append(
                (
                    x + float(aside[0]),
                    y + float(aside[1]),
                    wide * float(chance.uniform(0.98, 1.03)),
                    float(chance.uniform(-2, 2)),
                    float(chance.uniform(0.8, 1.1)),
                )
            )
        elif kind < 0.45:
            windows.append((x, y, max(0.4, wide / float(chance.uniform(1.3, 2.2))), 0.0, 1.0))
        else:
            windows.append(somewhere(0.4, 0.6))
    return windows


def _framed(render: NDArray[np.uint8], window: Window, size: tuple[int, int]) -> NDArray[np.uint8]:
    """Bring a window of a render to a width and height."""
    x, y, share, turn, gain = window
    wide, high = size
    step = share * render.shape[1] / wide
    angle = np.radians(turn)
    c, s = step * np.cos(angle), step * np.sin(angle)
    middle = np.array([x, y]) * render.shape[1]
    corner = middle - (c * wide / 2 - s * high / 2, s * wide / 2 + c * high / 2)
    back = np.array([[c, -s, corner[0]], [s, c, corner[1]]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    seen = cv2.warpAffine(render, back, size, flags=flags, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(cv2.convertScaleAbs(seen, alpha=gain), np.uint8)


def _dated(coded: bytes, taken: datetime) -> bytes:
    """Put a camera's name and date (Exif, CIPA DC-008) into a JPEG."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Made-up", "ABCD 12"
    exif.get_ifd(0x8769)[0x9003] = f"{taken:%Y:%m:%d %H:%M:%S}"
    block = exif.tobytes()
    header = io.BytesIO()
    header.write(b"\xff\xd8\xff\xe1" + (len(block) + 2).to_bytes(2, "big") + block)
    return header.getvalue() + coded[2:]
