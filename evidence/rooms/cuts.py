"""Cut the day into visits by gaps and places together.

Hides the sum over all cuttings. There is one stage: every joint may end a visit, every cutting of
the whole day counts by its likelihood, and a joint's odds are those of all cuttings that cut there
against all that do not. Nothing picks candidates first.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from evidence.rooms import spread
from evidence.rooms.weights import JOINT, WEIGHTS, Weights
from evidence.words import FrameNumber, Joint, Visit

LONGEST = 120
"""Pictures that a run's likelihood looks at together; a longer visit is several runs without a cut."""
REACH = 3
"""Pictures on each side of a joint whose places are compared, those too dark left out."""
LOOK = 6
"""How far from the joint they are looked for."""
NEIGHBOURS = 5
"""Gaps on each side that say what is usual."""
USUAL_CHANGE = 3.5
"""Natural log of the seconds around which gaps are squared: about half a minute."""
USUAL_VISIT = 10.0
"""Pictures to which a visit's length is compared; its weights say what lengths are likely."""
FORCED = 40.0
"""Log-odds of what a room card decides."""

Floats = NDArray[np.float64]


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
        Corrected times in seconds, rising.
    appearances
        What :func:`evidence.rooms.appearance` gave for each picture; all zero = too dark to tell.
    cards
        Room card in each picture, or None. A card other than the last one begins a visit.
    weights
        As packaged, or learned from the inspector's corrections.

    Returns
    -------
    One joint between every two pictures that follow each other, in order.

    Raises
    ------
    ValueError
        The sequences differ in length, or the times fall.

    Notes
    -----
    A segment model over all cuttings, summed by dynamic programming: each joint has log-odds of its
    own (logistic in gap and places), each run of pictures a tempered Normal-Normal marginal
    likelihood. Cutting where the summed odds exceed one half makes the expected number of wrong
    joints least. Our own, measured in docs/methods/rooms.md.
    """
    count = len(seconds)
    if len(appearances) != count or (cards is not None and len(cards) != count):
        message = "every picture needs a time, an appearance and, where cards are given, a card or None"
        raise ValueError(message)
    if count < 2:
        return []
    gaps = np.diff(np.asarray(seconds, np.float64))
    if (gaps < 0).any():
        message = "the times of the pictures must rise"
        raise ValueError(message)
    places = np.array(appearances, np.float64)
    shown = list(cards) if cards is not None else [None] * count
    places[[card is not None for card in shown]] = 0.0  # a card fills the picture and hides its room
    odds = evidence_at_joints(gaps, places) @ np.array(weights.numbers()[:JOINT]) + _card_odds(shown)
    summed = np.clip(all_cuttings(odds, run_scores(places, weights)), -FORCED, FORCED)
    return [
        Joint(
            after=i,
            gap_s=float(gaps[i]),
            odds=float(summed[i]),
            boundary=bool(summed[i] > 0),
            doubt=2.0 / (1.0 + math.exp(abs(summed[i]))),
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
    made = []
    for start, end in zip([0, *ends], [*ends, len(frames)], strict=True) if frames else ():
        shown = [card for card in (cards or ())[start:end] if card is not None and card in (names or {})]
        room = (names or {})[shown[0]] if shown else ""
        made.append(Visit(tuple(frames[start:end]), room, "room card" if room else ""))
    return made


def evidence_at_joints(gaps: Floats, places: Floats) -> Floats:
    """What each joint shows, in the order of the first weights.

    Parameters
    ----------
    gaps
        Seconds, one a joint.
    places
        Shape (pictures, length); all zero where nothing can be told.

    Returns
    -------
    Shape (joints, 8).

    Notes
    -----
    The squared gap lets a pause count for less than a change of rooms: both are long, a pause longer.
    """
    log_gap = np.log(np.maximum(gaps, 1.0))
    padded = np.pad(log_gap, NEIGHBOURS, mode="reflect" if len(gaps) > NEIGHBOURS else "edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * NEIGHBOURS + 1)
    usual = np.median(windows, axis=1)
    apart = _apart(places)
    unknown = np.isnan(apart[:, 0])
    typical = np.nanmedian(apart, axis=0) if not unknown.all() else np.zeros(3)
    apart = np.where(np.isnan(apart), typical, apart)
    squared = np.square(log_gap - USUAL_CHANGE)
    return np.column_stack((np.ones(len(gaps)), log_gap, log_gap - usual, apart, unknown, squared))


def _apart(places: Floats) -> Floats:
    """Distance of means, of the nearest and of the next pair across each joint; NaN where all is dark."""
    known = np.any(places, axis=1).tolist()
    found = np.full((len(places) - 1, 3), np.nan)
    for i in range(len(places) - 1):
        before = [k for k in range(i, max(-1, i - LOOK), -1) if known[k]][:REACH]
        after = [k for k in range(i + 1, min(len(places), i + 1 + LOOK)) if known[k]][:REACH]
        if before and after:
            across = np.linalg.norm(places[before][:, None] - places[after][None], axis=2)
            means = np.linalg.norm(places[before].mean(axis=0) - places[after].mean(axis=0))
            found[i] = means, across.min(), across[0, 0]
    return found


def _card_odds(cards: Sequence[int | None]) -> Floats:
    """A card that differs from the last one begins a visit; the same card twice in a row does not."""
    odds = np.zeros(len(cards) - 1)
    latest: int | None = None
    for i, card in enumerate(cards):
        if card is None:
            continue
        if i and card != latest:
            odds[i - 1] = FORCED
        elif i and cards[i - 1] == card:
            odds[i - 1] = -FORCED
        latest = card
    return odds


def run_scores(places: Floats, weights: Weights) -> Floats:
    """Score every run of up to :data:`LONGEST` pictures as one visit.

    Returns
    -------
    Shape (pictures + 1, LONGEST + 1): the run of that length that ends before that index; minus
    infinity where there is none.

    Notes
    -----
    A run of pictures that can be told has the likelihood of one room, on axes along which rooms spread
    each by its own measure (:mod:`.spread`); beside it stands how likely a visit of that length is,
    log-normal in the number of its pictures.
    """
    count = len(places)
    known = places.any(axis=1)
    among = spread.packaged(places.shape[1])
    sums = np.vstack((np.zeros(places.shape[1]), np.cumsum(places @ among.axes, axis=0)))
    counts = np.concatenate(([0], np.cumsum(known)))
    ends, lengths = np.arange(count + 1)[:, None], np.arange(LONGEST + 1)[None]
    starts = np.maximum(ends - lengths, 0)
    gain = among.gain(sums[ends] - sums[starts], counts[ends] - counts[starts], math.exp(weights.spread))
    size = np.log(np.maximum(lengths, 1) / USUAL_VISIT)
    shape = weights.single * (lengths == 1) + weights.length * size + weights.length_squared * size**2
    scores = 0.5 * math.exp(weights.run) * gain + shape
    scores[(lengths < 1) | (lengths > ends)] = -np.inf
    return np.asarray(scores, np.float64)


def all_cuttings(odds: Floats, scores: Floats) -> Floats:
    """Sum over all cuttings of the day.

    Parameters
    ----------
    odds
        Each joint's own log-odds.
    scores
        From :func:`run_scores`.

    Returns
    -------
    Log-odds of a cut at each joint.
    """
    count, longest = len(odds) + 1, scores.shape[1] - 1
    ahead, begin = np.full(count + 1, -np.inf), np.full(count + 1, -np.inf)
    back = np.full(count + 1, -np.inf)
    begin[0] = back[count] = 0.0
    for j in range(1, count + 1):
        reach = min(j, longest)
        ways = begin[j - reach : j][::-1] + scores[j, 1 : reach + 1]
        ahead[j] = np.logaddexp.reduce(ways)
        if j < count:
            whole = ways[longest - 1] if reach == longest else -np.inf
            begin[j] = np.logaddexp(ahead[j] + odds[j - 1], whole)
    onward = np.full(count + 1, -np.inf)
    onward[count] = 0.0
    for i in range(count - 1, -1, -1):
        reach = min(count - i, longest)
        lengths = np.arange(1, reach + 1)
        ways = scores[i + lengths, lengths] + onward[i + 1 : i + reach + 1]
        if reach == longest and i + longest < count:
            ways[-1] = scores[i + longest, longest] + np.logaddexp(onward[i + longest], back[i + longest])
        back[i] = np.logaddexp.reduce(ways)
        if i:
            onward[i] = odds[i - 1] + back[i]
    share = np.minimum(ahead[1:count] + odds + back[1:count] - ahead[count], -1e-16)
    return np.asarray(share - np.log(-np.expm1(share)), np.float64)
