"""Weigh the signs of a change, window by window, by weights that were learned on drawn rooms.

Takes maps of how far two evened views differ, and gives one number for each window. Every sign can only
raise it, every excuse (noise, parallax, blur, what like windows show all over the picture) only lower it: so
a stronger difference never counts less. Hides which signs there are, and the weights.
"""

from __future__ import annotations

import importlib.resources
from dataclasses import dataclass
from functools import cache, lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.likeness.evening import Grey, Mask
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
)  # fmt: skip
"""What lowers it; the columns after. *Usual* is what windows of like texture show in this very pair, *at
edges* what windows at the edges of a motion show."""

_JUDGED_BY_OTHERS = (
    "tone, more", "tone, both ways", "calm difference by noise about", "calm difference about", "rigid",
    "rigid share",
)  # fmt: skip
"""Signs that a camera's step raises all over the picture."""

_MOST_WINDOWS = 0.75
"""What so many windows of a class stay below is usual: a change of less than a quarter does not move it."""

_CLASSES = (("usual ", ""), ("", " at edges"))

_SHARES = ("rigid share", "rigid share in large")
"""Columns that are not taken as logarithms of 1 + value.

All constants of this module: our own, fixed before the weights were learned; see docs/methods/likeness.md.
"""

_NUDGES = ((0.0, 0.0), (1.2, 0.0), (-1.2, 0.0), (0.0, 1.2), (0.0, -1.2))
"""A window may lie so much aside, in pixels, before its structure counts as another."""

_CONTRASTS = (
    (0, 3, 1.5), (3, 6, 4.5), (6, 12, 9.0), (12, 24, 18.0), (24, 48, 36.0), (48, 256, 70.0),
)  # fmt: skip
"""Classes of contrast in codes: from, to, and what stands for it."""

_FURTHEST = 6.0
"""Standardised signs end here, on either side."""


@dataclass(frozen=True, slots=True)
class Views:
    """Two evened views and how they differ; every map in pixels of the first.

    Attributes
    ----------
    one, two
        Codes 0..255; the second in its own place on the first's plane.
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
    """

    one: Grey
    two: Grey
    there: Flow
    calm_there: Flow
    beyond_one: Grey
    beyond_two: Grey
    inside: Mask
    motion: Motion


@dataclass(frozen=True, slots=True)
class Weights:
    """A net of one small hidden layer whose weights all have the sign of their column.

    Attributes
    ----------
    middle, spread
        Shape (n,), float32: what standardises each column.
    inner, inner_level
        Shapes (n, h) and (h,).
    outer, level
        Shapes (h,) and (): from the hidden layer.
    slope
        Shape (n,): past the hidden layer.
    """

    middle: NDArray[np.float32]
    spread: NDArray[np.float32]
    inner: NDArray[np.float32]
    inner_level: NDArray[np.float32]
    outer: NDArray[np.float32]
    level: NDArray[np.float32]
    slope: NDArray[np.float32]

    def of(self, found: NDArray[np.float32]) -> NDArray[np.float32]:
        """Weigh signs of shape (..., n); shape (...), from 0 on something has changed."""
        z = np.clip((found - self.middle) / self.spread, -_FURTHEST, _FURTHEST)
        hidden = np.tanh(z @ self.inner + self.inner_level)
        return np.asarray(hidden @ self.outer + z @ self.slope + self.level, np.float32)


@cache
def weights() -> Weights:
    """Read the packaged weights; ``tests.bench.learn_likeness`` makes them."""
    file = importlib.resources.files("evidence.likeness").joinpath("changes.npz")
    with file.open("rb") as opened, np.load(opened, allow_pickle=False) as held:
        return Weights(**{name: held[name] for name in Weights.__slots__})


def weigh(views: Views) -> NDArray[np.float32]:
    """Give a number for each window, from 0 on a change: shape (rows, columns), window k about 8 k + 4."""
    return weights().of(signs(views))


def signs(views: Views) -> NDArray[np.float32]:
    """Measure the signs of a change in every window: shape (rows, columns, signs and excuses), float32."""
    found = {**_tones(views), **_differences(views), **_rigid(views), **_motions(views), **_hidden(views)}
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


def _tones(views: Views) -> dict[str, NDArray[np.float32]]:
    one, two = views.beyond_one, _brought(views.beyond_two, views.calm_there)
    both, window = np.minimum(one, two), np.ones((7, 7), np.uint8)
    near = np.minimum(cv2.dilate(one, window), cv2.dilate(two, window))
    more, less = _ordered(_highest(_thick(one, 0.6)), _highest(_thick(two, 0.6)))
    about_one = _highest(cv2.blur(one, (9, 9)))
    about, about_less = _ordered(about_one, _highest(cv2.blur(two, (9, 9))))
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
    }


def _differences(views: Views) -> dict[str, NDArray[np.float32]]:
    """Compare tones where the flow leads, against what such places differ by in this very pair."""
    inside = views.inside
    window = np.ones((5, 5), np.uint8)
    contrast = cv2.dilate(views.one, window) - cv2.erode(views.one, window)
    at_once, calm = (
        np.where(inside, cv2.blur(moved(views.two, flow) - views.one, (5, 5)), 0.0).astype(np.float32)
        for flow in (views.there, views.calm_there)
    )
    usual, even = _usual(np.abs(at_once), contrast, inside)
    about = _highest(cv2.blur(np.abs(at_once) / usual, (9, 9)))
    return {
        "difference by noise": _highest(np.abs(at_once) / usual),
        "difference by noise about": about,
        "calm difference by noise about": _highest(cv2.blur(np.abs(calm) / usual, (9, 9))),
        "calm difference about": _highest(np.abs(cv2.blur(calm, (9, 9)))),
        "noise": np.asarray(even, np.float32),
        "difference in most windows": _level(about),
    }


def _usual(off: Grey, contrast: Grey, inside: Mask) -> tuple[Grey, float]:
    """Tell by how much places of each contrast differ, as a deviation in codes; and the most even ones.

    From medians, which a change that takes up less than half of a class does not move.
    """
    if not inside.any():
        return np.ones_like(off), 1.0
    known, of = contrast[inside], off[inside]
    flat = known < np.percentile(known, 40)
    even = 1.48 * float(np.median(of[flat] if flat.any() else of))
    at: list[float] = []
    deviations: list[float] = []
    for low, high, middle in _CONTRASTS:
        some = of[(known >= low) & (known < high)]
        if len(some) > 300:
            at.append(middle)
            deviations.append(max(0.5, 1.48 * float(np.median(some[::3]))))
    if not at:
        return np.ones_like(off), even
    by_code = np.interp(np.arange(256), at, np.maximum.accumulate(deviations)).astype(np.float32)
    return by_code[contrast.astype(np.uint8)], even


def _rigid(views: Views) -> dict[str, NDArray[np.float32]]:
    """Compare windows that move as a whole: a flow turns one digit into another, a window cannot."""
    found: dict[str, NDArray[np.float32]] = {}
    others = [moved(views.two, views.calm_there + np.array(aside, np.float32)) for aside in _NUDGES]
    for side, name in ((9, "rigid"), (17, "rigid in large")):
        both = spread(views.one, side) + spread(others[0], side)
        least = spread(views.one - others[0], side)
        for other in others[1:]:
            least = np.minimum(least, spread(views.one - other, side))
        noise = float(np.percentile(least[views.inside], 25)) if views.inside.any() else 1.0
        beyond = np.where(views.inside, cv2.sqrt(np.maximum(least - 2.0 * noise, 0.0)), 0.0)
        told = (beyond / (3.0 + 0.35 * cv2.sqrt(both))).astype(np.float32)
        share = np.where(views.inside, least / (both + 4.0 * noise + 8.0), 0.0).astype(np.float32)
        found[f"{name}, thick"] = _highest(_thick(told, 0.5))
        found["rigid share" if side == 9 else "rigid share in large"] = _sampled(cv2.blur(share, (12, 12)))
        if side == 9:
            found[name] = _highest(told)
            found["noise of structure"] = np.asarray(np.sqrt(noise), np.float32)
    return found


def _motions(views: Views) -> dict[str, NDArray[np.float32]]:
    """Tell where something moves as no step of the camera would have it, and what motion there is."""
    high, wide = views.one.shape
    motion, sizes = views.motion, views.motion.sizes_px
    usual = float(np.percentile(sizes, 75)) if len(sizes) else 0.0
    odd = np.zeros((high // 4, wide // 4, 2), np.float32)
    if len(sizes):
        columns, rows = (motion.places // 4).astype(int).T
        odd[rows, columns, 0] = off_the_lines(motion)
        odd[rows, columns, 1] = np.maximum(sizes - usual - 0.5, 0.0)
    whole = cv2.blur(cv2.resize(odd, (wide, high), interpolation=cv2.INTER_NEAREST), (12, 12))
    window = np.ones((9, 9), np.uint8)
    across = [np.ascontiguousarray(views.calm_there[..., k]) for k in (0, 1)]
    across = [cv2.dilate(part, window) - cv2.erode(part, window) for part in across]
    lines = _highest(np.ascontiguousarray(whole[..., 0]), 24)
    largest = motion.largest_px
    return {
        "alone in the picture": np.asarray(largest - 2.0 * usual - 1.0 if largest > 1.5 else 0.0, np.float32),
        "aside in the picture": np.asarray(np.quantile(lines, 0.98), np.float32),
        "far in the picture": np.asarray(largest - 8.0, np.float32),
        "aside of the lines": lines,
        "alone": _highest(np.ascontiguousarray(whole[..., 1]), 24),
        "motion's edge": _highest(np.hypot(*across), 32),
        "largest motion": np.asarray(motion.largest_px, np.float32),
        "usual motion": np.asarray(usual, np.float32),
    }


def _hidden(views: Views) -> dict[str, NDArray[np.float32]]:
    """Tell where a step of the camera hides and shows strips: where the calm motion closes up and opens."""
    high, wide = views.one.shape
    flow = cv2.resize(views.calm_there, (wide // 4, high // 4), interpolation=cv2.INTER_AREA)
    x, y = (np.ascontiguousarray(flow[..., k]) for k in (0, 1))
    # Sobel weighs 8, and a pixel here is four of the view.
    opening = cv2.Sobel(x, cv2.CV_32F, 1, 0, scale=1 / 32) + cv2.Sobel(y, cv2.CV_32F, 0, 1, scale=1 / 32)
    found = {"hidden": cv2.dilate(-opening, np.ones((9, 9))), "shown": cv2.dilate(opening, np.ones((9, 9)))}
    for name, side in (("motion about", 11), ("motion far about", 19)):
        window = np.ones((side, side), np.uint8)
        found[name] = np.hypot(*(cv2.dilate(part, window) - cv2.erode(part, window) for part in (x, y)))
    found["motion here"] = np.hypot(x, y)
    rows, columns = (len(range(STEP // 2, size, STEP)) for size in (high, wide))
    # Sides that are no multiple of a window's step end within a window.
    return {
        name: np.pad(part, ((0, rows - len(part)), (0, columns - part.shape[1])), mode="edge")
        for name, part in ((name, values[1::2, 1::2][:rows, :columns]) for name, values in found.items())
    }


def _shown_by_others(views: Views, columns: dict[str, NDArray[np.float32]]) -> dict[str, NDArray[np.float32]]:
    """Tell what windows of the same texture, and those at edges of motion, show of each sign in this pair."""
    texture = _sampled(cv2.sqrt(spread(views.one, 15)))
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


def _highest(values: NDArray[np.generic], side: int = WINDOW) -> NDArray[np.float32]:
    return _sampled(cv2.dilate(values.astype(np.float32), np.ones((side, side), np.uint8)))


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
    at = grid(*view.shape) + flow
    return np.asarray(cv2.remap(view, at, None, cv2.INTER_LINEAR, borderMode=border), np.float32)  # type: ignore[call-overload]


def _brought(values: Grey, flow: Flow) -> Grey:
    """Bring a map of the second view onto the first; 0 from outside."""
    return moved(values, flow, cv2.BORDER_CONSTANT)
