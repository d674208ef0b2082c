"""Describe a picture by what stays the same when the same view is taken again.

Hides reduction, internal brightening, the perceptual hash, the keypoints, and the packing into some
tens of kilobytes for the database. Comparing two descriptions is left to the neighbours.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from evidence.codes import percentiles
from evidence.smaller import by_parts
from evidence.words import Rgb

VERSION = 6
"""Version of the method; a new one describes every picture anew."""

VIEW_LONG = 1024
"""Longer side of the kept grey view in pixels: in one of 512 drips and readings went under."""

VIEW_BYTES = 120_000
"""The kept view is compressed until it takes no more."""

DETECT_LONG = 640
"""Longer side of the reduction the keypoints are found on, in pixels."""

PLANE_LONG = 512
"""Longer side, in its own pixels, of the plane on which keypoints are told, whatever the view's size."""

POINTS = 480
"""At most so many keypoints are kept, spread over the picture."""

BURNT = 245
"""From this code of a colour on a sensor may have been at its end (our own)."""

_BURNT_LONG = 512
"""Longer side of the kept map of burnt-out places, in pixels."""

_BURNT_SHARE = 0.5
"""A pixel of the map is burnt out where so much of it is (our own)."""

_NEARLY = 0.97
"""A whole-number part of a picture will do that is so nearly as long as wanted (our own)."""

_HEAD = struct.Struct("<4sHQQfHHHII")
_MAGIC = b"LIKE"


@dataclass(frozen=True, slots=True, eq=False)
class Likeness:
    """What is kept of a picture for recognising its view again.

    Attributes
    ----------
    version
        Version of the method.
    phash
        64-bit perceptual hash of the picture as given; ImageHash's ``phash``, first bit highest.
    phash_lit
        The same of the picture brightened inside; equal to ``phash`` where none was needed.
    level
        Mean brightness code of the picture as given, 0..255.
    width, height
        The picture's own pixels.
    points
        Shape (n, 2), float32: keypoints as x and y on the plane of :func:`plane_size`.
    marks
        Shape (n, 32), uint8: the ORB descriptor of each keypoint.
    view
        The kept grey view as JPEG; see :func:`look`.
    burnt
        Where a colour was burnt out, as a compressed map; see :func:`burnt_out`.
    """

    version: int
    phash: int
    phash_lit: int
    level: float
    width: int
    height: int
    points: NDArray[np.float32]
    marks: NDArray[np.uint8]
    view: bytes
    burnt: bytes


def describe(rgb: Rgb) -> Likeness:
    """Describe an upright picture for comparison with others.

    Parameters
    ----------
    rgb
        Shape (height, width, 3), uint8, sRGB-encoded, upright.

    Returns
    -------
    A description that knows nothing of the file; :func:`pack` makes bytes of it.

    Raises
    ------
    ValueError
        The array is not of that shape and type, or has no pixel.

    Notes
    -----
    The hash is ImageHash's ``phash`` (8 x 8 lowest frequencies of a 32 x 32 DCT against their median), of
    the kept reduction where the picture is larger.
    Keypoints are ORB: Rublee et al., "ORB: an efficient alternative to SIFT or SURF", ICCV 2011.
    """
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8 or rgb.size == 0:
        raise ValueError("a picture must have shape (height, width, 3), uint8, and at least one pixel")
    height, width = rgb.shape[:2]
    view = _reduced(np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8), VIEW_LONG)
    grey = _reduced(view, DETECT_LONG)
    lit = _lit(grey)
    phash = _phash(
        Image.fromarray(rgb).convert("L") if view.shape == rgb.shape[:2] else Image.fromarray(view)
    )
    phash_lit = phash if lit is grey else _phash(Image.fromarray(lit))
    points, marks = _keypoints(lit, view.shape[1] / enlarged(view.shape) / lit.shape[1])
    level, kept, burnt = float(grey.mean()), _compressed(_lit(view)), _burnt(rgb)
    return Likeness(VERSION, phash, phash_lit, level, width, height, points, marks, kept, burnt)


def look(likeness: Likeness, long_side: int = VIEW_LONG) -> NDArray[np.uint8]:
    """Give the kept grey view: shape (height, width), uint8, longer side at most ``long_side``."""
    coded = np.frombuffer(likeness.view, np.uint8)
    return _reduced(np.asarray(cv2.imdecode(coded, cv2.IMREAD_GRAYSCALE), np.uint8), long_side)


def burnt_out(likeness: Likeness, size: tuple[int, ...]) -> NDArray[np.bool_]:
    """Tell where any colour of the picture was burnt out, for its view of this height and width.

    A red wall in a lamp's light may be so long before it is white.
    """
    width, height = _within(likeness.width, likeness.height, _BURNT_LONG)
    bits = np.frombuffer(zlib.decompress(likeness.burnt), np.uint8)
    kept = np.unpackbits(bits, count=width * height).reshape(height, width)
    return np.asarray(cv2.resize(kept, size[1::-1], interpolation=cv2.INTER_NEAREST) > 0)


def view_size(likeness: Likeness) -> tuple[int, int]:
    """Give height and width of the kept view without opening it."""
    width, height = _within(likeness.width, likeness.height, VIEW_LONG)
    return height, width


def plane_size(likeness: Likeness) -> tuple[float, float]:
    """Give height and width of the plane that keypoints lie on: the view's shape, ``PLANE_LONG`` at most."""
    height, width = size = view_size(likeness)
    return height / enlarged(size), width / enlarged(size)


def enlarged(size: tuple[int, ...]) -> float:
    """Tell how many times larger a view of this height and width is than its plane, at least 1."""
    return max(1.0, max(size) / PLANE_LONG)


def pack(likeness: Likeness) -> bytes:
    """Make bytes of a description for the database; under 170 kB.

    The bytes carry the version; :func:`unpack` gives the same description again.
    """
    head = _HEAD.pack(
        _MAGIC,
        likeness.version,
        likeness.phash,
        likeness.phash_lit,
        likeness.level,
        likeness.width,
        likeness.height,
        len(likeness.points),
        len(likeness.view),
        len(likeness.burnt),
    )
    points = np.rint(likeness.points * 64.0).astype("<u2")
    return b"".join((head, points.tobytes(), likeness.marks.tobytes(), likeness.view, likeness.burnt))


def unpack(packed: bytes) -> Likeness:
    """Read a description from the bytes :func:`pack` made.

    Raises
    ------
    ValueError
        The bytes are no description, or are cut short.
    """
    if len(packed) < _HEAD.size or packed[:4] != _MAGIC:
        raise ValueError("these bytes hold no likeness")
    _, version, phash, phash_lit, level, width, height, count, *lengths = _HEAD.unpack_from(packed)
    marks_at = _HEAD.size + 4 * count
    view_at = marks_at + 32 * count
    burnt_at = view_at + lengths[0]
    if len(packed) != burnt_at + lengths[1]:
        raise ValueError("these bytes hold a likeness that was cut short")
    points = np.frombuffer(packed, "<u2", 2 * count, _HEAD.size).reshape(count, 2).astype(np.float32)
    points /= np.float32(64.0)
    marks = np.frombuffer(packed, np.uint8, 32 * count, marks_at).reshape(count, 32)
    view, burnt = packed[view_at:burnt_at], packed[burnt_at:]
    return Likeness(version, phash, phash_lit, level, width, height, points, marks, view, burnt)


def _reduced(grey: NDArray[np.uint8], long_side: int) -> NDArray[np.uint8]:
    """Reduce by area to the size of :func:`_within`; smaller pictures stay as they are."""
    height, width = grey.shape
    size = _within(width, height, long_side)
    if size == (width, height):
        return grey
    return _averaged(grey, size, _part(max(width, height), long_side))


def _within(width: int, height: int, long_side: int) -> tuple[int, int]:
    """Give width and height with the longer side brought down to ``long_side``, or nearly so.

    Averaging 2000 pixels down to 1024 takes a twentieth of a picture's study; to 1000, next to nothing.
    """
    longest = max(width, height)
    if part := _part(longest, long_side):
        return max(1, width // part), max(1, height // part)
    share = min(1.0, long_side / longest)
    return max(1, round(width * share)), max(1, round(height * share))


def _part(longest: int, long_side: int) -> int:
    """Tell by which whole number ``longest`` comes to at most ``long_side`` and nearly that; 0 if by none."""
    part = -(-longest // long_side)
    return part if longest // part >= _NEARLY * long_side else 0


def _averaged(plane: NDArray[np.uint8], size: tuple[int, int], part: int = 0) -> NDArray[np.uint8]:
    """Average down to a width and height; by whole parts where there is one that leads there."""
    if part:
        return by_parts(plane, part)
    return np.asarray(cv2.resize(plane, size, interpolation=cv2.INTER_AREA), np.uint8)


def _lit(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Raise a dark picture so that its brightest parts come near white, and dark and bright retakes compare.

    One factor on the encoded values is, but for the darkest, what a longer exposure does (IEC 61966-2-1
    is close to a power of light). It is first smoothed, because its noise is raised as well. The very
    same array comes back when nothing is needed.
    """
    (high,) = percentiles(grey, (99.0,))
    if high >= 128.0:
        return grey
    smooth = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.0 if high > 48.0 else 1.6)
    return np.asarray(np.rint(np.minimum(smooth * (235.0 / max(high, 4.0)), 255.0)), np.uint8)


@cache
def _cosines() -> NDArray[np.float64]:
    """Give the 8 lowest of 32 DCT-II rows, unnormalised as in SciPy's default."""
    n = np.arange(32)
    return np.asarray(2.0 * np.cos(np.pi * np.arange(8)[:, None] * (2 * n + 1)[None, :] / 64.0))


def _phash(grey: Image.Image) -> int:
    """Give ImageHash's ``phash`` of a grey picture as an integer, first bit highest."""
    rows, small = _cosines(), grey.resize((32, 32), Image.Resampling.LANCZOS)
    low = rows @ np.asarray(small, np.float64) @ rows.T
    bits = (low > np.median(low)).ravel()
    return int.from_bytes(np.packbits(bits).tobytes(), "big")


def _keypoints(grey: NDArray[np.uint8], share: float) -> tuple[NDArray[np.float32], NDArray[np.uint8]]:
    """Find ORB keypoints spread over the picture; positions times ``share``."""
    orb = cv2.ORB.create(nfeatures=3 * POINTS, scaleFactor=1.2, nlevels=6, fastThreshold=7)
    found = orb.detect(grey, None)
    kept = _spread(found, grey.shape[1], grey.shape[0])
    described, marks = orb.compute(grey, kept)
    if marks is None or not described:
        return np.zeros((0, 2), np.float32), np.zeros((0, 32), np.uint8)
    points = np.array([point.pt for point in described], np.float32) * np.float32(share)
    points = np.rint(points * 64.0).astype(np.float32) / np.float32(64.0)
    return points, np.asarray(marks, np.uint8)


def _spread(found: Sequence[cv2.KeyPoint], width: int, height: int) -> list[cv2.KeyPoint]:
    """Keep the strongest keypoints, the best of every cell of an 8 x 6 grid before the second best."""
    if len(found) <= POINTS:
        return list(found)
    order = sorted(range(len(found)), key=lambda i: (-found[i].response, found[i].pt, found[i].octave))
    seen: dict[tuple[int, int], int] = {}
    ranked: list[tuple[int, int]] = []
    for place, index in enumerate(order):
        x, y = found[index].pt
        cell = (int(8 * x / width), int(6 * y / height))
        turn = seen.get(cell, 0)
        seen[cell] = turn + 1
        ranked.append((turn, place))
    return [found[order[place]] for _, place in sorted(ranked)[:POINTS]]


def _burnt(rgb: Rgb) -> bytes:
    """Map where any colour is burnt out, compressed."""
    high, wide = rgb.shape[:2]
    whole = np.asarray(cv2.inRange(rgb, (0, 0, 0), (BURNT - 1,) * 3), np.uint8)
    size, part = _within(wide, high, _BURNT_LONG), _part(max(high, wide), _BURNT_LONG)
    if not part and max(high, wide) >= 2 * _BURNT_LONG:
        # Halved first, which is done by the row: straight to another size costs twice as much.
        whole = _averaged(whole, (wide // 2, high // 2))
    whole = _averaged(whole, size, part)
    return zlib.compress(np.packbits(whole <= 255 * (1 - _BURNT_SHARE)).tobytes())


def _compressed(view: NDArray[np.uint8]) -> bytes:
    """Compress the view as JPEG, giving up quality until it fits."""
    coded = b""
    for quality in (85, 70, 55, 40, 25, 10):
        coded = cv2.imencode(".jpg", view, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()
        if len(coded) <= VIEW_BYTES:
            break
    return coded
