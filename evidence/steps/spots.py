"""Propose overall views, and which pictures show one thing; changes nothing."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from evidence import spots
from evidence.words import Distance

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from evidence.spots import Spot
    from evidence.state import State
    from evidence.words import FrameNumber, Visit


def overalls(state: State) -> list[FrameNumber]:
    """Propose one overall view for each room that has none; a nameless visit is a room of its own."""
    viewed = {p.frame for p in state.pictures if p.view}
    done = {v.room for v in state.visits if v.room and viewed.intersection(v.frames)}
    sharp = _fit(state) - {p.frame for p in state.pictures if p.unsharp}
    same = set(_of_one_view(state))
    scores = {p.frame: p.quality.score for p in state.pictures if p.quality}
    found = []
    for visit in state.visits:
        if viewed.intersection(visit.frames) or (visit.room and visit.room in done):
            continue
        # The picture in front stands for a look-alike taken in the same visit.
        fronts = {other: s.front for s in state.look_alikes for other in s.others if s.front in visit.frames}
        taken = list(dict.fromkeys(fronts.get(f, f) for f in visit.frames))
        frame = spots.overall(taken, sharp, same, scores)
        if frame is not None:
            found.append(frame)
            done.add(visit.room)
    return found


def in_order(state: State) -> list[Spot]:
    """Give the things of the day, one after the other: each visit's pictures but its overall views.

    What cannot be shown, shows nothing, shows a room card, or stands behind a look-alike is left out.
    """
    kin = spots.Kin(
        _in_front(_of_one_view(state), state),
        _in_front(state.nearer, state),
        {s.front: len(s.others) for s in state.look_alikes},
    )
    scales = any(a.distance is Distance.WITH_SCALE for a in state.attachments)
    known = _told(state)
    views = {p.frame for p in state.pictures if p.view}.union(overalls(state))
    again = {frame for pair in kin.same if views.intersection(pair) for frame in pair}
    shown = _fit(state) - views - again
    return [
        replace(spot, distances={f: known.get(f, distance) for f, distance in spot.distances.items()})
        for visit in state.visits
        for spot in spots.spots([f for f in visit.frames if f in shown], kin, scales=scales)
    ]


def overall_of(
    state: State, visit: Visit, views: Collection[FrameNumber], same: Mapping[FrameNumber, set[FrameNumber]]
) -> list[FrameNumber]:
    """Give the overall view of a visit and what else was taken of that view, on any visit, by time.

    Parameters
    ----------
    views
        The overall views of the job, those that are only proposed with them.
    same
        For each picture those of the same view, from :func:`alike`.

    Returns
    -------
    The overall view first; empty where the visit has none.
    """
    first = next((frame for frame in visit.frames if frame in views), None)
    if first is None:
        return []
    shown = _fit(state)
    again = same.get(first, set())
    return [first, *(p.frame for p in state.pictures if p.frame in again and p.frame in shown)]


def _told(state: State) -> dict[FrameNumber, Distance]:
    """Give for pictures without a finding from how far the same view was called to be taken before."""
    attached = {a.frame for a in state.attachments}
    told = {
        a.frame: a.distance
        for a in state.attachments
        if a.distance is not None and a.distance is not Distance.WITH_SCALE
    }
    return {
        frame: told[other]
        for frame, others in alike(state).items()
        if frame not in attached
        for other in sorted(others)
        if other in told
    }


def _fit(state: State) -> set[FrameNumber]:
    return {
        p.frame
        for p in state.pictures
        if p.usable and not p.hopeless and p.card is None and state.front_of(p.frame) is None
    }


def beside(state: State) -> dict[FrameNumber, set[FrameNumber]]:
    """Give for each picture those of the same view, and those wider or closer.

    What is beside one of several look-alikes is beside the one in front of them.
    """
    return _joined([*_of_one_view(state), *state.nearer], state)


def alike(state: State) -> dict[FrameNumber, set[FrameNumber]]:
    """Give for each picture those of the same view that are not folded with it, as :func:`beside`."""
    return _joined(_of_one_view(state), state)


def _of_one_view(state: State) -> list[tuple[FrameNumber, FrameNumber]]:
    return [*((pair.first, pair.second) for pair in state.changed), *state.alike]


def _joined(
    pairs: Iterable[tuple[FrameNumber, FrameNumber]], state: State
) -> dict[FrameNumber, set[FrameNumber]]:
    found: dict[FrameNumber, set[FrameNumber]] = {}
    for first, second in _in_front(pairs, state):
        found.setdefault(first, set()).add(second)
        found.setdefault(second, set()).add(first)
    return found


def _in_front(
    pairs: Iterable[tuple[FrameNumber, FrameNumber]], state: State
) -> list[tuple[FrameNumber, FrameNumber]]:
    """Say of the pictures in front what holds of the look-alikes behind them."""
    moved = ((state.front_of(one) or one, state.front_of(other) or other) for one, other in pairs)
    return [(one, other) for one, other in moved if one != other]


def kin_of(
    state: State, frames: Sequence[FrameNumber], others: Mapping[FrameNumber, set[FrameNumber]]
) -> list[int]:
    """Number the findings that already have a picture of the same view, or a wider or closer one.

    Parameters
    ----------
    frames
        Pictures of one thing.
    others
        What :func:`beside` gives.
    """
    related = {other for frame in frames for other in others.get(frame, ())}
    own = {a.finding for a in state.attachments if a.frame in frames}
    return sorted({a.finding for a in state.attachments if a.frame in related} - own)
