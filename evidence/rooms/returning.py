"""Tell which of the rooms already seen a visit may be; never decide it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evidence.rooms import spread
from evidence.rooms.weights import WEIGHTS, Weights

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RoomSuggestion:
    """A room that a visit may be; likelier ones have the higher score.

    Attributes
    ----------
    room
        Its name, or whatever the caller calls it.
    score
        0..1: odds that the two were taken in one room, as a share.
    reason
        One sentence for the inspector.
    """

    room: str
    score: float
    reason: str


def suggest_rooms(
    visit: Sequence[NDArray[np.float32]],
    rooms: Mapping[str, Sequence[NDArray[np.float32]]],
    limit: int = 3,
    weights: Weights = WEIGHTS,
) -> list[RoomSuggestion]:
    """Suggest which of the rooms already seen a visit may be.

    Parameters
    ----------
    visit
        Appearances of the visit's pictures.
    rooms
        Appearances of each room's pictures so far.
    limit
        Suggestions at most.

    Returns
    -------
    Likeliest first; empty when the visit or all the rooms are too dark to tell.

    Notes
    -----
    Tempered likelihood of one room for both against a room for each, the same model that cuts the
    day; measured in docs/methods/rooms.md.
    """
    here = _told(visit)
    there = {room: told for room, vectors in rooms.items() if len(told := _told(vectors))}
    if not len(here) or not there:
        return []
    among, factor, share = spread.packaged(here.shape[1]), math.exp(weights.spread), math.exp(weights.run)
    alone = _gain(here, among, factor)
    owners = _nearest_rooms(here, there)
    found = []
    for room, vectors in there.items():
        both = _gain(np.vstack((here, vectors)), among, factor)
        gain = share * (both - alone - _gain(vectors, among, factor))
        nearest = owners.count(room)
        reason = f"{nearest} of {len(here)} pictures look more like {room} than like any other room."
        found.append(RoomSuggestion(room, 1 / (1 + math.exp(-max(min(gain, 40.0), -40.0))), reason))
    return sorted(found, key=lambda suggestion: -suggestion.score)[:limit]


def _told(vectors: Sequence[NDArray[np.float32]]) -> Floats:
    return np.array([vector for vector in vectors if np.any(vector)], np.float64)


def _gain(vectors: Floats, among: spread.Spread, factor: float) -> float:
    """Log likelihood of one room for all, the part that no division changes left out."""
    total = (vectors @ among.axes).sum(axis=0)
    return 0.5 * float(among.gain(total, np.array(len(vectors)), factor))


def _nearest_rooms(here: Floats, there: Mapping[str, Floats]) -> list[str]:
    names = list(there)
    apart = np.column_stack(
        [np.linalg.norm(here[:, None] - vectors[None], axis=2).min(axis=1) for vectors in there.values()]
    )
    return [names[k] for k in apart.argmin(axis=1).tolist()]
