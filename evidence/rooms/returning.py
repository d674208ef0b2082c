"""Tell which of the rooms already seen a visit may be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class RoomSuggestion:
    """A room that a visit may be; likelier ones have the higher score.

    Attributes
    ----------
    room
        Its name, or whatever the caller calls it.
    score
        0..1, 1 = indistinguishable.
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
) -> list[RoomSuggestion]:
    """Suggest which of the rooms already seen a visit may be; never decides.

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
    Likeliest first; empty when the visit or the rooms are too dark to tell.
    """
    here = np.array([v for v in visit if np.any(v)], np.float64)
    found = []
    for room, vectors in rooms.items():
        there = np.array([v for v in vectors if np.any(v)], np.float64)
        if not len(here) or not len(there):
            continue
        apart = np.linalg.norm(here[:, None] - there[None], axis=2)
        typical = float(np.mean(np.sort(apart, axis=1)[:, :3]))
        score = float(np.exp(-typical))
        reason = f"{len(here)} pictures resemble {min(len(there), 3 * len(here))} of {room}."
        found.append(RoomSuggestion(room, score, reason))
    return sorted(found, key=lambda suggestion: -suggestion.score)[:limit]
