"""Tell whether two pictures show the same view, and where they differ inside it.

Two questions, asked one after the other: *is it the same view?* (how the one lies on the other: overlap,
scale, turn), then *does anything inside it differ?* Hides which of the two is taken as the first; making
sets of the answers is left to ``groups``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from evidence.likeness.aligning import MATCHES, Alignment, alignments
from evidence.likeness.changes import Box, differences
from evidence.likeness.evening import Taken
from evidence.likeness.prints import Likeness, burnt_out, look, plane_size, view_size

OVERLAP = 0.75
"""Less of the picture in common is another framing; the smallest of retakes was .74."""

SCALE = 1.10
"""Wide and close begin here: nominal 1.15 measured 1.11 to 1.18, retakes mostly below 1.07."""

TURN_DEG = 25.0
"""A hand does not turn a camera further between two tries (our own)."""

AGREEMENT = 0.80
"""Where less of the overlap agrees at once a pair is not folded (our own)."""

HALF = 0.50
"""Where less of the overlap agrees at once it is another place that looks alike (our own)."""

WIDEST = 4.0
"""Beyond this ratio a wide and a close view are not told from chance (our own)."""

WITHIN = 0.6
"""So much of a close view must lie inside the wide one, or it is another part of the room (our own)."""

SPREAD = 5
"""Matches must fill so many cells of the 8 x 6 grid: on one small thing alone they prove that thing."""


class Verdict(StrEnum):
    """What two pictures are to each other."""

    SAME = "same"
    CHANGED = "same view, something changed"
    WIDER = "wider or closer"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Pair:
    """What was found between two pictures.

    Attributes
    ----------
    a, b
        Their places in the list that was given; 0 and 1 from :func:`compare`.
    verdict
        Only ``SAME`` may be folded.
    agreement
        Share of the overlap that agrees, 0..1; 0 where it was not looked into.
    overlap
        Share of the pictures that both show, 0..1: the smaller of the two shares.
    scale
        How much larger things are in ``b`` than in ``a``; 1 when unknown.
    boxes
        Where they differ, in shares of ``a``, the largest first.
    """

    a: int
    b: int
    verdict: Verdict
    agreement: float = 0.0
    overlap: float = 0.0
    scale: float = 1.0
    boxes: tuple[Box, ...] = ()


def compare(a: Likeness, b: Likeness) -> Pair:
    """Tell what picture ``b`` is to picture ``a``.

    Returns
    -------
    A pair with ``a`` = 0 and ``b`` = 1. The same two descriptions always give the same answer, and in
    either order the same verdict, agreement and overlap.
    """
    first, second = ordered(a, b)
    pair, lying = _compared(first, second)
    if first is a:
        return pair
    scale = 1.0 / pair.scale
    boxes = tuple(_carried(box, lying, first, second) for box in pair.boxes) if lying else ()
    return Pair(0, 1, pair.verdict, pair.agreement, pair.overlap, scale, boxes)


def ordered(a: Likeness, b: Likeness) -> tuple[Likeness, Likeness]:
    """Put first the picture on whose plane the two are compared, whichever way they are given."""
    return (b, a) if (b.phash, b.view) < (a.phash, a.view) else (a, b)


def _compared(a: Likeness, b: Likeness) -> tuple[Pair, Alignment | None]:
    found = alignments(a, b)
    lying = next(found, None)
    if lying is None:
        return Pair(0, 1, Verdict.OTHER), None
    pair = _placed(a, b, lying)
    if pair.verdict is Verdict.OTHER and (second := next(found, None)) is not None:
        again = _placed(a, b, second)
        if again.verdict in {Verdict.SAME, Verdict.CHANGED}:
            # What lies as the first alignment says is then a thing that was moved.
            return replace(again, verdict=Verdict.CHANGED), second
    return pair, lying


def _placed(a: Likeness, b: Likeness, lying: Alignment) -> Pair:
    """Tell what two pictures are to each other if the second lies so on the first."""
    if lying.spread < SPREAD or lying.on_plane < MATCHES:
        return Pair(0, 1, Verdict.OTHER)
    ratio = max(lying.scale, 1.0 / lying.scale)
    if ratio > SCALE:
        offered = ratio <= WIDEST and lying.within >= WITHIN and abs(lying.turn_deg) <= TURN_DEG
        verdict = Verdict.WIDER if offered else Verdict.OTHER
        return Pair(0, 1, verdict, 0.0, lying.overlap, lying.scale)
    if lying.overlap < OVERLAP or abs(lying.turn_deg) > TURN_DEG:
        return Pair(0, 1, Verdict.OTHER, 0.0, lying.overlap, lying.scale)
    found = differences(*views(a, b), lying)
    verdict = Verdict.CHANGED if found.changed else Verdict.SAME
    if found.agreement < (HALF if found.changed else AGREEMENT):
        verdict = Verdict.OTHER
    boxes = found.boxes if verdict is Verdict.CHANGED else ()
    return Pair(0, 1, verdict, found.agreement, lying.overlap, lying.scale, boxes)


def views(a: Likeness, b: Likeness) -> tuple[Taken, Taken]:
    """Give two kept views, both as long as the shorter of them."""
    long_side = min(max(view_size(a)), max(view_size(b)))
    return _taken(a, long_side), _taken(b, long_side)


def _taken(likeness: Likeness, long_side: int) -> Taken:
    codes = look(likeness, long_side)
    return Taken(codes, burnt_out(likeness, codes.shape))


def _carried(box: Box, lying: Alignment, a: Likeness, b: Likeness) -> Box:
    """Carry a box in shares of ``a`` to shares of ``b``."""
    (high, wide), (high_b, wide_b) = plane_size(a), plane_size(b)
    corners = np.array([[x * wide, y * high, 1.0] for x in box[::2] for y in box[1::2]]) @ lying.homography.T
    x, y = corners[:, 0] / corners[:, 2] / wide_b, corners[:, 1] / corners[:, 2] / high_b
    left, top, right, bottom = (float(min(1.0, max(0.0, v))) for v in (x.min(), y.min(), x.max(), y.max()))
    return left, top, right, bottom
