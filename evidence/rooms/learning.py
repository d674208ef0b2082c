"""Learn the weights anew from days whose cuts a person has confirmed.

Hides the fitting. Nothing calls this unasked: an inspector asks for it, sees what changes, and may
go back to the packaged weights.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evidence.rooms import cuts
from evidence.rooms.weights import WEIGHTS, Weights

ROUNDS = 15
STEP = 0.02
"""How far a weight is moved to see what it does."""
FARTHEST = 1.0
"""How far a weight may go in one round."""
PRIOR = np.array([1.0, 0.3, 0.3, 0.2, 0.2, 0.2, 0.5, 0.2, 0.5, 0.5, 0.5, 0.5, 0.2])
"""How far a weight may be expected to lie from where it was, one standard deviation; our own choice."""


@dataclass(frozen=True, slots=True)
class ConfirmedDay:
    """One day's pictures with the cuts as the inspector left them.

    Attributes
    ----------
    seconds, appearances, cards
        As for :func:`evidence.rooms.joints`.
    boundary
        One answer a joint: whether a visit ends there.
    """

    seconds: Sequence[float]
    appearances: Sequence[NDArray[np.float32]]
    boundary: Sequence[bool]
    cards: Sequence[int | None] | None = None


def refit(days: Sequence[ConfirmedDay], start: Weights = WEIGHTS, hold: float = 1.0) -> Weights:
    """Fit the weights to confirmed days, held near where they were.

    Parameters
    ----------
    days
        At least one picture pair in all; more days move the weights further.
    start
        Weights to start from and to be held to.
    hold
        Strength of the hold; 0 lets go of the old weights altogether.

    Returns
    -------
    The weights under which the confirmed cuts are likeliest, one joint at a time.

    Raises
    ------
    ValueError
        A day has not one answer for each joint, or there is no joint at all.

    Notes
    -----
    Penalised Fisher scoring of a logistic likelihood whose log-odds come from the whole sum over
    cuttings; slopes by differences. A step that makes things worse is halved.
    """
    for day in days:
        if len(day.boundary) != max(len(day.seconds) - 1, 0):
            message = "every joint of a confirmed day needs an answer"
            raise ValueError(message)
    true = np.concatenate([np.asarray(day.boundary, float) for day in days]) if days else np.empty(0)
    if not true.size:
        message = "there is nothing to learn from: no joint was confirmed"
        raise ValueError(message)
    origin = np.array(start.numbers())
    holding = np.diag(hold / PRIOR**2 + 1e-6)
    here, odds = origin, _odds(days, origin)
    for _ in range(ROUNDS):
        slopes = np.column_stack(
            [(_odds(days, here + STEP * way) - odds) / STEP for way in np.eye(len(here))]
        )
        share = 1 / (1 + np.exp(-odds))
        weight = np.maximum(share * (1 - share), 1e-4)
        pull = slopes.T @ (true - share) - holding @ (here - origin)
        move = np.linalg.solve(slopes.T @ (slopes * weight[:, None]) + holding, pull)
        move *= min(1.0, FARTHEST / float(np.abs(move).max()))
        before = _loss(odds, true, here - origin, holding)
        for _ in range(6):
            tried = _odds(days, here + move)
            if _loss(tried, true, here + move - origin, holding) < before:
                here, odds = here + move, tried
                break
            move = move / 2
        else:
            break
    return Weights.of(tuple(here.tolist()))


def _odds(days: Sequence[ConfirmedDay], numbers: NDArray[np.float64]) -> NDArray[np.float64]:
    weights = Weights.of(tuple(numbers.tolist()))
    return np.array(
        [
            joint.odds
            for day in days
            for joint in cuts.joints(day.seconds, day.appearances, day.cards, weights)
        ]
    )


def _loss(
    odds: NDArray[np.float64],
    true: NDArray[np.float64],
    moved: NDArray[np.float64],
    holding: NDArray[np.float64],
) -> float:
    """Minus log likelihood of the confirmed answers, with the hold."""
    return float(np.logaddexp(0, np.where(true > 0, -odds, odds)).sum() + 0.5 * moved @ holding @ moved)
