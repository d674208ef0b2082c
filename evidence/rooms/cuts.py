"""Cut the day into visits by gaps and places together.

Hides the dynamic programme. One stage over all cuts: every joint may end a visit, and the best
cutting of the whole day is found at once; there is no first pass that picks candidates.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from evidence.rooms.weights import WEIGHTS, Weights
from evidence.words import FrameNumber, Joint, Visit

LONGEST = 120
"""Pictures in one visit, at most, unless the day cannot be cut otherwise."""
_REACH = 3
"""Pictures on each side of a joint whose places are compared, those too dark left out."""
_FORCED = 50.0
"""Log-odds of what a room card decides."""


def joints(
    seconds: Sequence[float],
    appearances: Sequence[NDArray[np.float32]],
    cards: Sequence[int | None] | None = None,
    weights: Weights = WEIGHTS,
) -> list[Joint]:
    """Judge for every joint of the day whether a visit ends there.

    Parameters
    ----------
    seconds
        Corrected times, rising.
    appearances
        What :func:`evidence.rooms.appearance` gave for each picture; all zero = too dark.
    cards
        Room card in each picture, or None; a card begins a visit.
    weights
        As packaged, or refitted from corrections.

    Returns
    -------
    One joint between every two pictures that follow each other, in order.

    Raises
    ------
    ValueError
        The sequences differ in length, or the times fall.
    """
    count = len(seconds)
    if len(appearances) != count or (cards is not None and len(cards) != count):
        message = "every picture needs a time, an appearance and, where cards are given, a card or None"
        raise ValueError(message)
    if count < 2:
        return []
    times = np.asarray(seconds, float)
    gaps = np.diff(times)
    if np.any(gaps < 0):
        message = "times must rise"
        raise ValueError(message)
    places = np.asarray(appearances, np.float64)
    odds = _odds(gaps, places, weights) + _card_odds(cards, count)
    known = places.any(axis=1) & np.array([c is None for c in cards] if cards is not None else [True] * count)
    gain = _best_cut(odds, _run_scores(places, known, weights))
    return [
        Joint(
            after=i,
            gap_s=float(gaps[i]),
            odds=float(gain[i]),
            boundary=bool(gain[i] > 0),
            doubt=float(2.0 / (1.0 + math.exp(min(abs(gain[i]), 700.0)))),
        )
        for i in range(count - 1)
    ]


def visits(
    found: Sequence[Joint],
    frames: Sequence[FrameNumber],
    cards: Sequence[int | None] | None = None,
    names: Mapping[int, str] | None = None,
) -> list[Visit]:
    """Gather pictures into visits as the joints say; a room card names its visit.

    Parameters
    ----------
    found
        From :func:`joints`, or with the inspector's decisions put in.
    frames
        All pictures in order.
    cards, names
        Room card in each picture, or None; the room that each card stands for.

    Raises
    ------
    ValueError
        There is not one joint between every two frames.
    """
    if len(found) != max(len(frames) - 1, 0):
        message = "one joint is needed between every two pictures"
        raise ValueError(message)
    ends = [joint.after + 1 for joint in found if joint.boundary]
    spans = zip([0, *ends], [*ends, len(frames)], strict=True) if frames else []
    made = []
    for start, end in spans:
        shown = [card for card in (cards or [])[start:end] if card is not None and card in (names or {})]
        room = (names or {})[shown[0]] if shown else ""
        made.append(Visit(tuple(frames[start:end]), room, "room card" if room else ""))
    return made


def _odds(gaps: NDArray[np.float64], places: NDArray[np.float64], weights: Weights) -> NDArray[np.float64]:
    log_gap = np.log(np.maximum(gaps, 0.5))
    padded = np.pad(log_gap, 5, mode="edge")
    around = np.median(np.lib.stride_tricks.sliding_window_view(padded, 11), axis=1)
    unlike = _unlike(places)
    return np.asarray(
        weights.constant
        + weights.gap * log_gap
        + weights.relative * (log_gap - around)
        + weights.unlike * unlike
    )


def _unlike(places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distance between the mean places on both sides; the median distance where all is dark."""
    known = places.any(axis=1)
    found = np.full(len(places) - 1, np.nan)
    for i in range(len(places) - 1):
        before = [k for k in range(max(0, i - 5), i + 1) if known[k]][-_REACH:]
        after = [k for k in range(i + 1, min(len(places), i + 7)) if known[k]][:_REACH]
        if before and after:
            found[i] = np.linalg.norm(places[before].mean(axis=0) - places[after].mean(axis=0))
    usual = np.nanmedian(found) if np.isfinite(found).any() else 0.0
    return np.where(np.isfinite(found), found, usual)


def _card_odds(cards: Sequence[int | None] | None, count: int) -> NDArray[np.float64]:
    odds = np.zeros(count - 1)
    latest: int | None = None
    for i, card in enumerate(cards or ()):
        if card is None:
            continue
        if i and card != latest:
            odds[i - 1] = _FORCED
        elif i and cards is not None and cards[i - 1] == card:
            odds[i - 1] = -_FORCED
        latest = card
    return odds


def _run_scores(
    places: NDArray[np.float64], known: NDArray[np.bool_], weights: Weights
) -> NDArray[np.float64]:
    """Shape (count + 1, LONGEST + 1): score of the run of the given length that ends before an index.

    Normal-Normal marginal likelihood of the known pictures' vectors, tempered.
    """
    count, size = places.shape
    centre = places[known].mean(axis=0) if known.any() else np.zeros(size)
    moved = np.where(known[:, None], places - centre, 0.0)
    sums = np.vstack((np.zeros(size), np.cumsum(moved, axis=0)))
    squares = np.concatenate(([0.0], np.cumsum(np.sum(moved**2, axis=1))))
    counts = np.concatenate(([0], np.cumsum(known)))
    scores = np.full((count + 1, LONGEST + 1), -np.inf)
    for end in range(1, count + 1):
        lengths = np.arange(1, min(end, LONGEST) + 1)
        starts = end - lengths
        n = counts[end] - counts[starts]
        total = np.sum((sums[end] - sums[starts]) ** 2, axis=1)
        spread = weights.within + n * weights.between
        log_ml = -0.5 * (
            size * np.log(spread / weights.within)
            + (squares[end] - squares[starts]) / weights.within
            - weights.between * total / (weights.within * spread)
        )
        scores[end, lengths] = weights.runs * log_ml - weights.single * (lengths == 1)
    return scores


def _best_cut(odds: NDArray[np.float64], scores: NDArray[np.float64]) -> NDArray[np.float64]:
    """For each joint: how much better the best day with a cut here is than the best without."""
    count = len(odds) + 1
    ahead, back = np.full(count + 1, -np.inf), np.full(count + 1, -np.inf)
    ahead[0] = back[count] = 0.0
    opening = np.concatenate(([0.0], odds, [0.0]))
    for j in range(1, count + 1):
        lengths = np.arange(1, min(j, LONGEST) + 1)
        ahead[j] = np.max(ahead[j - lengths] + opening[j - lengths] + scores[j, lengths])
    for i in range(count - 1, -1, -1):
        lengths = np.arange(1, min(count - i, LONGEST) + 1)
        back[i] = np.max(back[i + lengths] + opening[i + lengths] + scores[i + lengths, lengths])
    with_cut = ahead[1:count] + odds + back[1:count]
    without = np.full(count - 1, -np.inf)
    for j in range(1, count + 1):
        lengths = np.arange(1, min(j, LONGEST) + 1)
        starts = j - lengths
        whole = ahead[starts] + opening[starts] + scores[j, lengths] + opening[j] + back[j]
        best = -np.inf
        for start, value in zip(starts[::-1].tolist(), whole[::-1].tolist(), strict=True):
            best = max(best, value)
            if start < j - 1:
                without[start] = max(without[start], best)
    return np.asarray(with_cut - without, np.float64)
