"""Measure the signs of a change, window by window: what raises a window's number, and what lowers it.

Takes maps of how far two evened views differ. Hides how each sign is measured. Weighing them is left to
``weighing``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.likeness.evening import Evened, Grey, Mask, reduced
from evidence.likeness.parallax import Flow, Motion, off_the_lines

WINDOW, STEP = 16, 8
"""Windows' side and distance in pixels: a switch is 5 to 8 pixels wide in a kept view."""

SIGNS = (
    "tone, more", "tone, less", "tone, both ways", "tone, both nearby", "tone, highest",
    "tone about, more", "tone about, less", "tone about, both ways",
    "difference by noise", "difference by noise about",
    "calm difference by noise about", "calm difference about",
    "rigid", "rigid, thick", "rigid in large, thick", "rigid share", "rigid share in large",
    "aside of the lines", "alone",
    "alone in the picture", "aside in the picture", "far in the picture",
    "tone, thicker than the step", "tone, thicker both ways", "tone far about, more", "tone far about, less",
    "difference to around", "difference to around by noise", "own motion",
)  # fmt: skip
"""What raises a window's number; as many columns of :func:`signs`."""

EXCUSES = (
    "motion's edge", "largest motion", "usual motion", "noise", "noise of structure",
    "tone in most windows", "difference in most windows",
    "hidden", "shown", "motion about", "motion far about", "motion here",
    "usual tone, more", "usual tone, both ways", "usual calm difference by noise about",
    "usual calm difference about", "usual rigid", "usual rigid share",
    "tone, more at edges", "tone, both ways at edges", "calm difference by noise about at edges",
    "calm difference about at edges", "rigid at edges", "rigid share at edges",
    "usual difference to around", "usual difference to around by noise", "usual own motion",
    "difference to around at edges", "difference to around by noise at edges", "own motion at edges",
    "blur", "untold about",
)  # fmt: skip
"""What lowers it; the columns after. *Usual* is what windows of like texture show in this very pair, *at
edges* what windows at the edges of a motion show."""

_JUDGED_BY_OTHERS = (
    "tone, more", "tone, both ways", "calm difference by noise about", "calm difference about", "rigid",
    "rigid share", "difference to around", "difference to around by noise", "own motion",
)  # fmt: skip
"""Signs that a camera's step raises all over the picture."""

_MOST_WINDOWS = 0.75
"""What so many windows of a class stay below is usual: a change of less than a quarter does not move it."""

_CLASSES = (("usual ", ""), ("", " at edges"))

_SHARES = ("rigid share", "rigid share in large", "untold about")
"""Columns that are not taken as logarithms of 1 + value.

All constants of this module: our own, fixed before the weights were learned; see docs/methods/likeness.md.
"""

_NUDGES = ((0, 0), (1, 0), (-1, 0), (0, 1), (0, -1))
"""A window may lie so much aside, in pixels, before its structure counts as another."""

_CONTRASTS = (
    (0, 3, 1.5), (3, 6, 4.5), (6, 12, 9.0), (12, 24, 18.0), (24, 48, 36.0), (48, 256, 70.0),
)  # fmt: skip
"""Classes of contrast in codes: from, to, and what stands for it."""


@dataclass(frozen=True, slots=True)
class Views:
    """Two evened views and how they differ; every map in pixels of the first.

    Attributes
    ----------
    one, two
        The second in its own place on the first's plane.
    there
        Flow from the first to the second.
    calm_there
        The same without what moves by itself.
    beyond_one, beyond_two
        How far, of what is tolerated, the other's tones lie outside this one's; 0 outside what both show.
    inside
        What of the first the second shows.
    motion
        Shifts that can be trusted.
    sure
        How surely a motion can be found in the first, at a quarter of the size, 0..1.
    blur_px
        By how much one of them had to be smoothed to be as blurred as the other.
    """

    one: Evened
    two: Evened
    there: Flow
    calm_there: Flow
    beyond_one: Grey
    beyond_two: Grey
    inside: Mask
    motion: Motion
    sure: Grey
    blur_px: float


def measured(views: Views) -> NDArray[np.float32]:
    """Measure the signs of a change in every window: shape (rows, columns, signs and excuses), float32."""
    # The second view and the motions as most signs want them.
    calm = _quarter(views.calm_there)
    two, untold = _other(views, views.calm_there)
    found = {
        **_tones(views, calm),
        **_differences(views, two),
        **_rigid(views, two),
        **_motions(views, calm),
        **_hidden(views.one.grey.shape, calm),
        "blur": np.asarray(views.blur_px, np.float32),
        "untold about": _sampled(cv2.blur(untold.astype(np.float32), (31, 31))),
    }
    shape = next(iter(found.values())).shape
    columns = {
        name: np.broadcast_to(
            np.asarray(values if name in _SHARES else np.log1p(np.maximum(values, 0.0)), np.float32), shape
        )
        for name, values in found.items()
    }
    columns |= _shown_by_others(views, columns)
    stacked = np.stack([np.broadcast_to(columns[name], shape) for name in (*SIGNS, *EXCUSES)], axis=-1)
    return np.asarray(np.nan_to_num(stacked), np.float32)


def _other(views: Views, flow: Flow) -> tuple[Grey, Mask]:
    """Bring the second view to where the flow leads; tell where either was burnt out or black.

    Where both may be alike there, the first's own tones stand.
    """
    at, one = grid(*views.one.grey.shape) + flow, views.one
    least, most = remapped(views.two.least, at), remapped(views.two.most, at)
    untold = (one.least < one.most) | (least < most)
    alike = untold & (least <= one.most) & (one.least <= most)
    return np.where(alike, one.grey, remapped(views.two.grey, at)), untold


def _tones(views: Views, calm: Flow) -> dict[str, NDArray[np.float32]]:
    one, two = views.beyond_one, _brought(views.beyond_two, views.calm_there)
    both, window = np.minimum(one, two), np.ones((7, 7), np.uint8)
    near = np.minimum(cv2.dilate(one, window), cv2.dilate(two, window))
    thick_one, thick_two = _thick(one, 0.6), _thick(two, 0.6)
    more, less = _ordered(_highest(thick_one), _highest(thick_two))
    about_one = _highest(cv2.blur(one, (9, 9)))
    about, about_less = _ordered(about_one, _highest(cv2.blur(two, (9, 9))))
    half = (one.shape[1] // 2, one.shape[0] // 2)
    far, far_less = _ordered(
        *(_highest_of_half(cv2.blur(reduced(of, half), (9, 9)), one.shape) for of in (one, two))
    )
    beyond_one, beyond_two = _beyond_the_step(calm, (one, two), (thick_one, thick_two))
    return {
        "tone, more": more,
        "tone, less": less,
        "tone, both ways": _highest(_thick(both, 0.3)),
        "tone, both nearby": _highest(_thick(near, 0.5)),
        "tone, highest": _highest(np.maximum(one, two)),
        "tone about, more": about,
        "tone about, less": about_less,
        "tone about, both ways": _highest(cv2.blur(both, (9, 9))),
        "tone in most windows": _level(about_one),
        "tone, thicker than the step": np.maximum(beyond_one, beyond_two),
        "tone, thicker both ways": np.minimum(beyond_one, beyond_two),
        "tone far about, more": far,
        "tone far about, less": far_less,
    }


def _beyond_the_step(
    calm: Flow, tones: tuple[Grey, Grey], thick: tuple[Grey, Grey]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Keep tones in strips thicker than motions nearby differ by: thinner ones a step may hide or show."""
    high, wide = tones[0].shape
    step = cv2.resize(_range(calm, 9), (wide, high), interpolation=cv2.INTER_NEAREST)
    told = []
    for tone, strip in zip(tones, thick, strict=True):
        # A strip's thickness in pixels, from what _thick multiplied by it.
        over = strip > tone * (step + 2.0)
        told.append(_highest(np.where(over, tone, 0.0)))
    return told[0], told[1]


def _differences(views: Views, two: Grey) -> dict[str, NDArray[np.float32]]:
    """Compare tones where the flow leads, against what such places differ by in this very pair."""
    inside = views.inside
    window = np.ones((5, 5), np.uint8)
    contrast = cv2.dilate(views.one.grey, window) - cv2.erode(views.one.grey, window)
    at_once, calm = (
        np.where(inside, cv2.blur(other - views.one.grey, (5, 5)), 0.0).astype(np.float32)
        for other in (_other(views, views.there)[0], two)
    )
    usual, even = _usual(np.abs(at_once), contrast, inside)
    about = _highest(cv2.blur(np.abs(at_once) / usual, (9, 9)))
    around, around_by_noise = _than_around(views, two, contrast)
    return {
        "difference to around": around,
        "difference to around by noise": around_by_noise,
        "difference by noise": _highest(np.abs(at_once) / usual),
        "difference by noise about": about,
        "calm difference by noise about": _highest(cv2.blur(np.abs(calm) / usual, (9, 9))),
        "calm difference about": _highest(np.abs(cv2.blur(calm, (9, 9)))),
        "noise": np.asarray(even, np.float32),
        "difference in most windows": _level(about),
    }


def _than_around(views: Views, two: Grey, contrast: Grey) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Tell where the other picture is darker or lighter than around there: water on a wall, a few codes deep.

    At half the size, over 10 pixels against 50: by codes, and against what places of the same contrast show.
    """
    high, wide = views.one.grey.shape
    half = (wide // 2, high // 2)
    seen = reduced(views.inside, half)
    inside, share = seen > 0.5, np.maximum(cv2.blur(seen, (25, 25)), 0.05)
    off = np.where(inside, reduced(two - views.one.grey, half), 0.0).astype(np.float32)
    than = np.where(inside, np.abs(cv2.blur(off, (5, 5)) - cv2.blur(off, (25, 25)) / share), 0.0)
    than = than.astype(np.float32)
    usual, _ = _usual(than, reduced(contrast, half), inside)
    return _highest_of_half(than, (high, wide)), _highest_of_half(than / usual, (high, wide))


def _usual(off: Grey, contrast: Grey, inside: Mask) -> tuple[Grey, float]:
    """Tell by how much places of each contrast differ, as a deviation in codes; and the most even ones.

    From medians of every fourth pixel, which a change that takes up less than half of a class does not move.
    """
    some = inside[::2, ::2]
    known, of = contrast[::2, ::2][some], off[::2, ::2][some]
    if not len(known):
        return np.ones_like(off), 1.0
    flat = known < np.percentile(known, 40)
    even = 1.48 * float(np.median(of[flat] if flat.any() else of))
    at: list[float] = []
    deviations: list[float] = []
    for low, high, middle in _CONTRASTS:
        of_class = of[(known >= low) & (known < high)]
        if len(of_class) > 100:
            at.append(middle)
            deviations.append(max(0.5, 1.48 * float(np.median(of_class))))
    if not at:
        return np.ones_like(off), even
    by_code = np.interp(np.arange(256), at, np.maximum.accumulate(deviations)).astype(np.float32)
    return by_code[contrast.astype(np.uint8)], even


def _rigid(views: Views, two: Grey) -> dict[str, NDArray[np.float32]]:
    """Compare windows that move as a whole: a flow turns one digit into another, a window cannot."""
    high, wide = views.one.grey.shape
    told, share, noise = _stiff(views.one.grey, two, views.inside)
    half = (wide // 2, high // 2)
    inside = cv2.resize(views.inside.astype(np.uint8), half, interpolation=cv2.INTER_NEAREST) > 0
    large, large_share, _ = _stiff(reduced(views.one.grey, half), reduced(two, half), np.asarray(inside))
    large, large_share = (
        np.asarray(cv2.resize(part, (wide, high), interpolation=cv2.INTER_NEAREST), np.float32)
        for part in (large, large_share)
    )
    return {
        "rigid": _highest(told),
        "rigid, thick": _highest(_thick(told, 0.5)),
        "rigid in large, thick": _highest(_thick(large, 0.5)),
        "rigid share": _sampled(cv2.blur(share, (12, 12))),
        "rigid share in large": _sampled(cv2.blur(large_share, (12, 12))),
        "noise of structure": np.asarray(np.sqrt(noise), np.float32),
    }


def _stiff(one: Grey, two: Grey, inside: Mask) -> tuple[Grey, Grey, float]:
    """Tell by how much windows of 9 pixels differ that may lie a little aside.

    Returns
    -------
    That against what is tolerated; as a share of what both hold; and the noise's part of it.
    """
    high, wide = one.shape
    mean_one, mean_two = (cv2.blur(view, (9, 9)) for view in (one, two))
    rimmed, rimmed_mean = (cv2.copyMakeBorder(of, 1, 1, 1, 1, cv2.BORDER_REPLICATE) for of in (two, mean_two))
    least = np.full(one.shape, np.inf, np.float32)
    for right, down in _NUDGES:
        aside = (slice(1 + down, 1 + down + high), slice(1 + right, 1 + right + wide))
        off, off_mean = one - rimmed[aside], mean_one - rimmed_mean[aside]
        np.minimum(least, cv2.blur(off * off, (9, 9)) - off_mean * off_mean, out=least)
    np.maximum(least, 0.0, out=least)
    both = np.maximum(
        cv2.blur(one * one, (9, 9)) - mean_one * mean_one + cv2.blur(two * two, (9, 9)) - mean_two * mean_two,
        0.0,
    )
    noise = float(np.percentile(least[inside][::5], 25)) if inside.any() else 1.0
    beyond = np.where(inside, cv2.sqrt(np.maximum(least - 2.0 * noise, 0.0)), 0.0)
    told = beyond / (3.0 + 0.35 * cv2.sqrt(both))
    share = np.where(inside, least / (both + 4.0 * noise + 8.0), 0.0)
    return told.astype(np.float32), share.astype(np.float32), noise


def _motions(views: Views, calm: Flow) -> dict[str, NDArray[np.float32]]:
    """Tell where something moves as no step of the camera would have it, and what motion there is."""
    high, wide = views.one.grey.shape
    motion, sizes = views.motion, views.motion.sizes_px
    usual = float(np.percentile(sizes, 75)) if len(sizes) else 0.0
    odd = np.zeros((high // 4, wide // 4, 2), np.float32)
    if len(sizes):
        columns, rows = (motion.places // 4).astype(int).T
        odd[rows, columns, 0] = off_the_lines(motion)
        odd[rows, columns, 1] = np.maximum(sizes - usual - 0.5, 0.0)
    whole = cv2.blur(odd, (3, 3))
    across = _range(calm, 3)
    aside, alone, edge = (
        _of_windows(cv2.dilate(part, np.ones((side, side), np.uint8)), (high, wide))
        for part, side in zip((*cv2.split(whole), across), (6, 6, 8), strict=True)
    )
    largest = motion.largest_px
    own = np.hypot(*cv2.split(_quarter(views.there - views.calm_there)))
    own = np.where(_quarter(views.inside) > 0.7, own * views.sure, 0.0)
    own = cv2.dilate(cv2.blur(own.astype(np.float32), (2, 2)), np.ones((4, 4), np.uint8))
    return {
        "own motion": _of_windows(own, (high, wide)),
        "alone in the picture": np.asarray(largest - 2.0 * usual - 1.0 if largest > 1.5 else 0.0, np.float32),
        "aside in the picture": np.asarray(np.quantile(aside, 0.98), np.float32),
        "far in the picture": np.asarray(largest - 8.0, np.float32),
        "aside of the lines": aside,
        "alone": alone,
        "motion's edge": edge,
        "largest motion": np.asarray(motion.largest_px, np.float32),
        "usual motion": np.asarray(usual, np.float32),
    }


def _hidden(shape: tuple[int, ...], calm: Flow) -> dict[str, NDArray[np.float32]]:
    """Tell where a step of the camera hides and shows strips: where the calm motion closes up and opens."""
    x, y = cv2.split(calm)
    # Sobel weighs 8, and a pixel here is four of the view.
    opening = cv2.Sobel(x, cv2.CV_32F, 1, 0, scale=1 / 32) + cv2.Sobel(y, cv2.CV_32F, 0, 1, scale=1 / 32)
    found = {"hidden": cv2.dilate(-opening, np.ones((9, 9))), "shown": cv2.dilate(opening, np.ones((9, 9)))}
    found["motion about"], found["motion far about"] = _range(calm, 11), _range(calm, 19)
    found["motion here"] = np.hypot(x, y)
    return {name: _of_windows(values, shape) for name, values in found.items()}


def _shown_by_others(views: Views, columns: dict[str, NDArray[np.float32]]) -> dict[str, NDArray[np.float32]]:
    """Tell what windows of the same texture, and those at edges of motion, show of each sign in this pair."""
    texture = _sampled(cv2.sqrt(spread(views.one.grey, 15)))
    inside, edge = _sampled(views.inside) > 0, columns["motion's edge"]
    if not inside.any():
        none = np.zeros((), np.float32)
        return {f"{which}{name}{where}": none for name in _JUDGED_BY_OTHERS for which, where in _CLASSES}
    known = texture[inside]
    tenths = np.quantile(known, np.arange(1, 10) / 10)
    middles = tenths[::2] + np.arange(5) * 1e-4
    classes = np.digitize(known, tenths[1::2])
    at_edges = edge[inside] >= np.quantile(edge[inside], 0.8)
    values = np.stack([columns[name][inside] for name in _JUDGED_BY_OTHERS], axis=-1)
    nothing = np.zeros(len(_JUDGED_BY_OTHERS), np.float32)
    of_classes = [values[classes == k] for k in range(5)]
    levels = np.array([_usually(of) if len(of) > 20 else nothing for of in of_classes])
    edges = _usually(values[at_edges])
    found: dict[str, NDArray[np.float32]] = {}
    for k, name in enumerate(_JUDGED_BY_OTHERS):
        found[f"usual {name}"] = np.interp(texture, middles, levels[:, k]).astype(np.float32)
        found[f"{name} at edges"] = np.asarray(edges[k], np.float32)
    return found


def _usually(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Give of each column what :data:`_MOST_WINDOWS` of its rows stay below."""
    return np.asarray(np.quantile(np.ascontiguousarray(values.T), _MOST_WINDOWS, axis=1), np.float32)


def _highest(values: NDArray[np.generic]) -> NDArray[np.float32]:
    """Give the highest value in each window; by fours first, which costs a third."""
    fours = cv2.dilate(values.astype(np.float32, copy=False), np.ones((4, 4), np.uint8))[2::4, 2::4]
    return _of_windows(cv2.dilate(fours, np.ones((WINDOW // 4, WINDOW // 4), np.uint8)), values.shape)


def _highest_of_half(values: NDArray[np.generic], shape: tuple[int, ...]) -> NDArray[np.float32]:
    """Give the highest value in each window of a map at half the size."""
    twos = cv2.dilate(values.astype(np.float32, copy=False), np.ones((2, 2), np.uint8))[1::2, 1::2]
    return _of_windows(cv2.dilate(twos, np.ones((WINDOW // 4, WINDOW // 4), np.uint8)), shape)


def _of_windows(quarter: NDArray[np.generic], shape: tuple[int, ...]) -> NDArray[np.float32]:
    """Take from a map at a quarter of the size what stands at the middle of each window."""
    rows, columns = (len(range(STEP // 2, size, STEP)) for size in shape)
    part = quarter[1::2, 1::2][:rows, :columns]
    # Sides that are no multiple of a window's step end within a window.
    padded = np.pad(part, ((0, rows - part.shape[0]), (0, columns - part.shape[1])), mode="edge")
    return np.asarray(padded, np.float32)


def _quarter(values: NDArray[np.generic]) -> NDArray[np.float32]:
    return reduced(values, (values.shape[1] // 4, values.shape[0] // 4))


def _range(flow: Flow, side: int) -> NDArray[np.float32]:
    """Give by how much motions differ within windows of ``side`` places."""
    window = np.ones((side, side), np.uint8)
    spans = (cv2.dilate(part, window) - cv2.erode(part, window) for part in cv2.split(flow))
    return np.asarray(np.hypot(*spans), np.float32)


def _sampled(values: NDArray[np.generic]) -> NDArray[np.float32]:
    return np.asarray(values[STEP // 2 :: STEP, STEP // 2 :: STEP], np.float32)


def _level(of_windows: NDArray[np.float32]) -> NDArray[np.float32]:
    """Give what seven windows in ten stay below."""
    return np.asarray(np.percentile(of_windows, 70), np.float32)


def _ordered(
    one: NDArray[np.float32], two: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    return np.maximum(one, two), np.minimum(one, two)


def _thick(values: Grey, floor: float) -> Grey:
    """Multiply by the thickness in pixels of what lies above ``floor``."""
    over = (values > floor).astype(np.uint8)
    return np.asarray(values * 2.0 * cv2.distanceTransform(over, cv2.DIST_L2, 3), np.float32)


def spread(values: Grey, side: int) -> Grey:
    """Give the variance in windows of ``side`` pixels."""
    mean = cv2.blur(values, (side, side))
    return np.asarray(np.maximum(cv2.blur(values * values, (side, side)) - mean * mean, 0.0), np.float32)


@lru_cache(maxsize=8)
def grid(high: int, wide: int) -> Flow:
    """Give each pixel's own place; not to be written in."""
    x, y = np.meshgrid(np.arange(wide, dtype=np.float32), np.arange(high, dtype=np.float32))
    places = np.dstack([x, y])
    places.flags.writeable = False
    return places


def moved(view: Grey, flow: Flow, border: int = cv2.BORDER_REPLICATE) -> Grey:
    """Bring a view to where the flow leads."""
    return remapped(view, grid(*view.shape) + flow, border)


def remapped(view: NDArray[np.generic], at: Flow, border: int = cv2.BORDER_REPLICATE) -> NDArray[Any]:
    """Take from a view what stands at these places; its own type."""
    return np.asarray(cv2.remap(view, at, None, cv2.INTER_LINEAR, borderMode=border))  # type: ignore[call-overload]


def _brought(values: Grey, flow: Flow) -> Grey:
    """Bring a map of the second view onto the first; 0 from outside."""
    return moved(values, flow, cv2.BORDER_CONSTANT)
