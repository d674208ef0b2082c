"""Tell whether anything inside two aligned views differs, where the camera itself may have moved.

A camera moved by a few centimetres shifts near things against far ones, shows a strip here and hides
one there. So a place counts as unchanged when *some* motion found nearby brings the other picture into
agreement with it; and the motions themselves must be such that one step of the camera explains them
all, or else a thing was moved. Hides optical flow, tolerance and thresholds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.likeness import blur, evening, signs, weighing
from evidence.likeness.aligning import Alignment
from evidence.likeness.evening import Evened, Taken
from evidence.likeness.parallax import Flow, Motion, strained, sureness
from evidence.likeness.prints import enlarged
from evidence.likeness.signs import grid, remapped

Box = tuple[float, float, float, float]
"""Left, top, right, bottom as shares 0..1 of a picture's width and height."""

Grey8 = NDArray[np.uint8]

Part = tuple[slice, slice]
"""Rows and columns of the first view."""

Spot = tuple[int, int, int, int]
"""Left, top, right, bottom in pixels of the first view."""

_REACH = 0.04
"""Motions are tried that were found so far away, in longer sides: beyond the blur of flow across an edge."""

_LAYERS = 6
"""At most so many common motions of keypoints are tried besides."""

_FLOOR = 0.6
"""From this share of what is tolerated on, a difference is looked into."""

_TILE, _RIM = 64, 5
"""Pixels; the rim is as wide as half the largest window."""
_ASIDE = tuple((float(np.cos(turn)), float(np.sin(turn))) for turn in np.arange(8) * np.pi / 4)


@dataclass(frozen=True, slots=True)
class Differences:
    """What differs inside the overlap of two views.

    Attributes
    ----------
    agreement
        Share of the overlap that agrees at once, 0..1.
    strength
        What the window that tells most was weighed at; from 0 on it counts.
    changed
        Whether something there has changed, as far as can be told.
    boxes
        Where, in shares of the first picture; empty when nothing has.
    """

    agreement: float
    strength: float
    changed: bool
    boxes: tuple[Box, ...]


def differences(first: Taken, second: Taken, lying: Alignment) -> Differences:
    """Compare two views inside their overlap.

    Parameters
    ----------
    first, second
        The views, of the same longer side.
    lying
        How the second lies on the first.

    Notes
    -----
    Flow: Kroeger et al., "Fast Optical Flow using Dense Inverse Search", ECCV 2016, in OpenCV's form.
    Trying the motions found nearby follows shiftable windows (Kang, Szeliski and Chai, CVPR 2001).
    """
    threads = cv2.getNumThreads()
    # The flow is found in as many stripes as there are threads: one, so that every machine agrees.
    cv2.setNumThreads(1)
    try:
        views = next(compared_views(first, second, lying), None)
        return Differences(0.0, 0.0, changed=True, boxes=()) if views is None else _differences(views)
    finally:
        cv2.setNumThreads(threads)


def compared_views(first: Taken, second: Taken, lying: Alignment) -> Iterator[signs.Views]:
    """Even two views and map how they differ; once more with their parts exchanged, on the same plane.

    Gives nothing where they show too little in common.
    """
    by = enlarged(first.codes.shape)
    warped, seen = _brought(first, second, lying.enlarged(by))
    if seen.mean() < 0.2:
        return
    one, two, blur_px = _evened(first, warped, seen)
    codes = one.codes, two.codes
    there, back = _flow(*codes), _flow(*codes[::-1])
    sure, sure_back = sureness(one.grey), sureness(two.grey)
    calm_there, calm_back = _calmed(there, sure), _calmed(back, sure_back)
    layers = [layer * np.float32(by) for layer in _common_motions(lying)]
    beyond_one, at_once = _beyond(one, two, (there, calm_there), layers)
    beyond_two, at_once_back = _beyond(two, one, (back, calm_back), [-layer for layer in layers])
    places = grid(*first.codes.shape)
    inside_one, inside_two = seen & _led_to(seen, places + there), seen & _led_to(seen, places + back)
    beyond_one = np.where(inside_one, beyond_one, 0.0).astype(np.float32)
    beyond_two = np.where(inside_two, beyond_two, 0.0).astype(np.float32)
    motion = Motion.measured(there, back, sure, seen & (at_once < 6))
    yield signs.Views(one, two, there, calm_there, beyond_one, beyond_two, inside_one, motion, sure, blur_px)
    motion = Motion.measured(back, there, sure_back, seen & (at_once_back < 6))
    yield signs.Views(
        two, one, back, calm_back, beyond_two, beyond_one, inside_two, motion, sure_back, blur_px
    )


def _differences(views: signs.Views) -> Differences:
    high, wide = views.one.grey.shape
    agreement = _agreement(views)
    weighed = weighing.weigh(views)
    strength = float(weighed.max())
    if strength < 0.0:
        return Differences(agreement, strength, changed=False, boxes=())
    boxes = [*_windows(weighed >= 0.0), *strained(views.motion, enlarged(views.one.grey.shape))]
    return Differences(agreement, strength, changed=True, boxes=_joined(boxes, wide, high))


def _agreement(views: signs.Views) -> float:
    """Tell what share of the overlap agrees at once, at the size of the plane: finer detail is noise too."""
    by = enlarged(views.one.grey.shape)
    size = (round(views.one.grey.shape[1] / by), round(views.one.grey.shape[0] / by))
    one, two, there, calm, inside = (
        evening.reduced(part, size)
        for part in (
            views.one.grey,
            views.two.grey,
            views.there / by,
            views.calm_there / by,
            views.inside,
        )
    )
    agrees = _structure(one, two, (there, calm))[inside == 1.0] <= 1.0
    return float(np.mean(agrees)) if agrees.size else 0.0


def _structure(one: evening.Grey, two: evening.Grey, flows: tuple[Flow, Flow]) -> evening.Grey:
    """Tell how much, of what is tolerated, a window of 9 x 9 shows differs, brightness aside.

    Notes
    -----
    The spread of the difference against the spread of both, of which SSIM's structure and contrast terms
    are a form (Wang et al., IEEE TIP 13, 2004); the least over the flows.
    """
    spread = signs.spread(one, 9)
    best: evening.Grey | None = None
    for flow in flows:
        other = signs.moved(two, flow)
        both = spread + signs.spread(other, 9)
        off = cv2.sqrt(signs.spread(one - other, 9)) / (4.0 + 0.35 * cv2.sqrt(both))
        best = off if best is None else np.minimum(best, off)
    return np.asarray(best, np.float32)


def _windows(told: NDArray[np.bool_]) -> list[Spot]:
    """Give the middles of the windows that tell of a change."""
    half, step = signs.STEP // 2, signs.STEP
    return [
        (step * int(x), step * int(y), step * int(x) + 2 * half, step * int(y) + 2 * half)
        for y, x in np.argwhere(told)
    ]


def _brought(first: Taken, second: Taken, homography: NDArray[np.float64]) -> tuple[Taken, evening.Mask]:
    """Bring the second view onto the first; say where it covers it, less a rim."""
    size = first.codes.shape[::-1]
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    codes, burnt = (
        cv2.warpPerspective(of, homography, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
        for of in (second.codes, second.burnt.astype(np.uint8) * 255)
    )
    whole = np.full(second.codes.shape, 255, np.uint8)
    covered = cv2.warpPerspective(whole, homography, size, flags=flags)
    inner = cv2.erode(covered, np.ones((7, 7), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0)
    return Taken(np.asarray(codes, np.uint8), np.asarray(burnt > 127)), np.asarray(inner == 255)


def _evened(first: Taken, second: Taken, seen: evening.Mask) -> tuple[Evened, Evened, float]:
    """Bring both to the same tones, light and sharpness; tell by how much one had to be smoothed for it.

    The second lies on the first.
    """
    front, warped = first.codes, second.codes
    one = front.astype(np.float32)
    rough = evening.toned(front, warped, seen)
    at = grid(*front.shape) + _rough_flow(front, np.rint(rough)[warped].astype(np.uint8))
    partner = remapped(warped, at)
    known = seen & (remapped(second.burnt.astype(np.uint8), at) == 0)
    told = known & ~first.burnt
    table = evening.toned_by_pixels(front, partner, known, told, rough)
    lit = evening.lit_alike(one, table[warped], table[partner], told)
    apart = blur.between(one, lit, seen)
    one, two = blur.equally_sharp(one, warped.astype(np.float32), apart)
    # A sharper view shows other tones in small places: tones and light once more, now that both are alike.
    smooth_partner = remapped(two, at)
    like, of = (np.rint(np.clip(view, 0, 255)).astype(np.uint8) for view in (one, smooth_partner))
    table = evening.toned_by_pixels(like, of, known, told, rough)
    two = evening.lit_alike(one, evening.applied(table, two), evening.applied(table, smooth_partner), told)
    as_taken = np.arange(256, dtype=np.float32)
    return (
        evening.evened(one, first, as_taken, apart.first_px),
        evening.evened(two, second, table, apart.second_px),
        max(apart.first_px, apart.second_px),
    )


def _flow(one: Grey8, two: Grey8) -> Flow:
    start = np.zeros((*one.shape, 2), np.float32)
    flow = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_FAST).calc(one, two, start)
    return np.asarray(flow, np.float32)


def _rough_flow(one: Grey8, two: Grey8) -> Flow:
    """Find the flow at half the size, which is enough to find pixels of the same tone."""
    high, wide = one.shape
    halves = (cv2.resize(view, (wide // 2, high // 2), interpolation=cv2.INTER_AREA) for view in (one, two))
    flow = _flow(*(np.asarray(half, np.uint8) for half in halves))
    return np.asarray(2.0 * cv2.resize(flow, (wide, high), interpolation=cv2.INTER_LINEAR), np.float32)


def _led_to(mask: evening.Mask, at: Flow) -> evening.Mask:
    return np.asarray(cv2.remap(mask.astype(np.uint8), at, None, cv2.INTER_NEAREST) > 0)  # type: ignore[call-overload]


def _calmed(flow: Flow, sure: evening.Grey) -> Flow:
    """Take out of a flow what moves by itself over less than about 20 pixels, or is without texture."""
    high, wide = flow.shape[:2]
    size = (wide // 4, high // 4)
    small = evening.reduced(flow, size)
    small = np.dstack([cv2.medianBlur(np.ascontiguousarray(small[..., k]), 5) for k in (0, 1)])
    sure = sure[..., None]
    near = cv2.GaussianBlur(small * sure, (0, 0), 2.5), cv2.GaussianBlur(sure, (0, 0), 2.5)[..., None]
    far = cv2.GaussianBlur(small * sure, (0, 0), 12.0), cv2.GaussianBlur(sure, (0, 0), 12.0)[..., None]
    calm = (near[0] + 0.02 * far[0] / far[1]) / (near[1] + 0.02)
    return np.asarray(cv2.resize(calm, (wide, high), interpolation=cv2.INTER_LINEAR), np.float32)


def _common_motions(lying: Alignment) -> list[NDArray[np.float32]]:
    """Give the motions against the plane that three or more keypoints share, the commonest first."""
    back = np.linalg.inv(lying.homography)
    there = lying.there @ back[:, :2].T + back[:, 2]
    off = there[:, :2] / there[:, 2:] - lying.here
    size = np.hypot(off[:, 0], off[:, 1])
    off = off[(size > 1.5) & (size < 24.0)]
    found: list[NDArray[np.float32]] = []
    while len(off) >= 3 and len(found) < _LAYERS:
        alike = np.linalg.norm(off[:, None] - off[None, :], axis=2) < 1.5
        best = alike[int(alike.sum(axis=1).argmax())]
        if best.sum() < 3:
            break
        found.append(off[best].mean(axis=0).astype(np.float32))
        off = off[~best]
    return found


def _beyond(
    one: Evened, two: Evened, flows: tuple[Flow, Flow], layers: Sequence[NDArray[np.float32]]
) -> tuple[evening.Grey, Grey8]:
    """Tell how far, of what is tolerated, the other picture's codes lie outside this one's neighbourhood.

    Returns the least over all motions tried, and in codes what the flow by itself leaves. Where a picture
    is burnt out or black, the other may be brighter or darker still.
    """
    window = np.ones((3, 3), np.uint8)
    low, top = cv2.erode(one.least, window), cv2.dilate(one.most, window)
    least, most = two.least, two.most
    wide = np.ones((5, 5), np.uint8)
    codes = one.codes
    contrast = cv2.subtract(cv2.dilate(codes, wide), cv2.erode(codes, wide))
    tolerated = 5.0 + 0.3 * contrast.astype(np.float32)
    clipped = bool((least < most).any())

    def tried(at: Flow, part: Part) -> Grey8:
        up = remapped(least, at)
        down = remapped(most, at) if clipped else up
        outside = cv2.add(cv2.subtract(up, top[part]), cv2.subtract(low[part], down))
        return np.asarray(cv2.blur(outside, (5, 5)), np.uint8)

    everywhere = (slice(None), slice(None))
    places, (flow, calm) = grid(*codes.shape), flows
    at_once = tried(places + flow, everywhere)
    best = np.minimum(at_once, tried(places + calm, everywhere))
    _lower(best, _FLOOR * tolerated, tried, _motions(calm, layers))
    return np.asarray(best / tolerated, np.float32), at_once


def _motions(calm: Flow, layers: Sequence[NDArray[np.float32]]) -> Callable[[Part], Iterator[Flow]]:
    """Give the places to look at for a part of the picture: by motions found around it, then common ones."""
    places = grid(*calm.shape[:2])
    # The flow goes on beyond the picture's edge.
    reach = round(_REACH * max(calm.shape[:2]))
    rimmed = cv2.copyMakeBorder(calm, reach, reach, reach, reach, cv2.BORDER_REPLICATE)
    aside = [(round(reach * right), round(reach * down)) for right, down in _ASIDE]

    def at(part: Part) -> Iterator[Flow]:
        here = places[part]
        for right, down in aside:
            top, left = part[0].start + reach + down, part[1].start + reach + right
            yield here + rimmed[top : top + here.shape[0], left : left + here.shape[1]]
        for layer in layers:
            yield here + layer

    return at


def _lower(
    best: Grey8 | evening.Grey,
    floor: evening.Grey,
    tried: Callable[[Flow, Part], Grey8 | evening.Grey],
    motions: Callable[[Part], Iterator[Flow]],
) -> None:
    """Lower what lies above the floor to the least that any motion leaves; what lies below does not matter.

    Tile by tile, and in each only about what is above and until nothing is.
    """
    above = np.asarray(best > floor).astype(np.uint8)
    high, wide = above.shape
    for y in range(0, high, _TILE):
        for x in range(0, wide, _TILE):
            left, top, across, down = cv2.boundingRect(above[y : y + _TILE, x : x + _TILE])
            if across == 0:
                continue
            inner = (slice(y + top, y + top + down), slice(x + left, x + left + across))
            # With a rim for windows to stand on.
            rows, columns = max(0, inner[0].start - _RIM), max(0, inner[1].start - _RIM)
            part = (
                slice(rows, min(high, inner[0].stop + _RIM)),
                slice(columns, min(wide, inner[1].stop + _RIM)),
            )
            begin, begins = inner[0].start - rows, inner[1].start - columns
            within = (slice(begin, begin + down), slice(begins, begins + across))
            here, least = best[inner], floor[inner]
            for at in motions(part):
                np.minimum(here, tried(at, part)[within], out=here)
                if not (here > least).any():
                    break


def _joined(spots: list[Spot], wide: int, high: int, rim: int = 10) -> tuple[Box, ...]:
    """Join boxes that touch, and give them as shares of the picture, the largest first."""
    boxes = [(x0 - rim, y0 - rim, x1 + rim, y1 + rim) for x0, y0, x1, y1 in spots]
    merged = True
    while merged:
        merged = False
        for i, a in enumerate(boxes):
            for j in range(i + 1, len(boxes)):
                b = boxes[j]
                if a[0] <= b[2] and b[0] <= a[2] and a[1] <= b[3] and b[1] <= a[3]:
                    boxes[i] = (min(a[0], b[0]), min(a[1], b[1]), max(a[2], b[2]), max(a[3], b[3]))
                    del boxes[j]
                    merged = True
                    break
            if merged:
                break
    boxes.sort(key=lambda box: (-(box[2] - box[0]) * (box[3] - box[1]), box))
    return tuple(
        (max(0.0, x0 / wide), max(0.0, y0 / high), min(1.0, x1 / wide), min(1.0, y1 / high))
        for x0, y0, x1, y1 in boxes
    )
