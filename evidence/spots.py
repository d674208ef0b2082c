"""Say which pictures of a visit show one thing, and which would be its overall view.

Hides the habit this rests on: a room is photographed whole on entering, and a thing from afar before
it is photographed close, the close view more than once (common practice of evidence photography:
overall, mid-range, close-up, the last without and then with a scale). What is alike, changed or
nearer is told by ``likeness``; deciding is left to the inspector.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from evidence.words import Distance, FrameNumber

OFTEN: Final = 3
"""A view taken so many times is held for the close one of its thing; our own, from the habit above."""


@dataclass(frozen=True, slots=True)
class Spot:
    """Pictures of one thing, taken one after another.

    Attributes
    ----------
    views
        By time; the pictures of each are of one view of the thing, or nearly.
    distances
        From how far each picture is proposed to show it, by frame.
    """

    views: tuple[tuple[FrameNumber, ...], ...]
    distances: Mapping[FrameNumber, Distance]

    @property
    def frames(self) -> tuple[FrameNumber, ...]:
        """All its pictures, by time."""
        return tuple(frame for view in self.views for frame in view)


@dataclass(frozen=True, slots=True)
class Kin:
    """What is known of pictures beside each other.

    Attributes
    ----------
    same
        Pairs of one view that are not folded together; either order.
    nearer
        Pairs (wider, closer) of one thing.
    behind
        How many look-alikes stand behind a picture.
    """

    same: Collection[tuple[FrameNumber, FrameNumber]] = ()
    nearer: Collection[tuple[FrameNumber, FrameNumber]] = ()
    behind: Mapping[FrameNumber, int] | None = None

    def often(self, view: Sequence[FrameNumber]) -> bool:
        """Whether a view was taken often, its look-alikes with it, and not each time the same."""
        times = len(view) + sum((self.behind or {}).get(frame, 0) for frame in view)
        return len(view) > 1 and times >= OFTEN


def spots(frames: Sequence[FrameNumber], kin: Kin, *, scales: bool = False) -> tuple[Spot, ...]:
    """Divide the pictures of one visit into those of one thing after the other.

    Parameters
    ----------
    frames
        In order of time, without its overall view and what shows nothing.
    kin
        Which of them are related.
    scales
        Whether the last close-up of a thing is proposed as one with a scale in it: so the inspector
        has worked in this job before. Nothing here looks for a scale; a picture that has look-alikes
        behind it is not proposed as one, for they would have the scale too.

    Returns
    -------
    Every picture in exactly one spot, in order.

    Examples
    --------
    >>> near = Kin(same=[(2, 3), (3, 4)])
    >>> [spot.views for spot in spots([1, 2, 3, 4, 5], near)]
    [((1,), (2, 3, 4)), ((5,),)]
    """
    related = {frozenset(pair) for pair in (*kin.same, *kin.nearer)}
    views: list[list[FrameNumber]] = []
    for frame in frames:
        if views and any(frozenset((frame, other)) in related for other in views[-1]):
            views[-1].append(frame)
        else:
            views.append([frame])
    found: list[tuple[tuple[FrameNumber, ...], ...]] = []
    waiting: tuple[FrameNumber, ...] | None = None
    for view in map(tuple, views):
        if kin.often(view) and waiting is not None:
            found[-1] = (waiting, view)
            waiting = None
        else:
            found.append((view,))
            waiting = view
    return tuple(Spot(one, _distances(one, kin, scales=scales)) for one in found)


def overall(
    frames: Sequence[FrameNumber],
    fit: Collection[FrameNumber],
    same: Collection[tuple[FrameNumber, FrameNumber]] = (),
    quality: Mapping[FrameNumber, float] | None = None,
) -> FrameNumber | None:
    """Propose the overall view of a visit: the first of its pictures that is fit to be printed.

    Where that view was taken more than once in a row, because the first came out dark or shaken, the
    best of them.

    Parameters
    ----------
    frames
        Of the visit, by time.
    fit
        Which can be printed.
    same
        Pairs of one view that are not folded together; either order.
    quality
        Scores by frame, the higher the better; what has none is never preferred.

    Returns
    -------
    None when no picture of the visit is fit.

    Examples
    --------
    >>> overall([7, 8, 9], {8, 9}), overall([7, 8, 9], {7, 8, 9}, [(7, 8)], {7: -3.4, 8: -2.4})
    (8, 8)
    """
    scores = quality or {}
    left = [frame for frame in frames if frame in fit]
    takes = left[:1]
    for frame in left[1:]:
        if not any((frame, other) in same or (other, frame) in same for other in takes):
            break
        takes.append(frame)
    return max(takes, key=lambda frame: scores.get(frame, float("-inf")), default=None)


def _distances(
    views: Sequence[tuple[FrameNumber, ...]], kin: Kin, *, scales: bool
) -> dict[FrameNumber, Distance]:
    """Propose mid-range for what is taken first, close-up for the view that is taken often."""
    *_, last = views
    found = dict.fromkeys((frame for view in views for frame in view), Distance.MID_RANGE)
    if not kin.often(last):
        return found
    wider = {a for a, b in kin.nearer if a in last and b in last}
    alone = len(views) == 1
    for place, frame in enumerate(last):
        if not (alone and place == 0 and frame in wider):
            found[frame] = Distance.CLOSE_UP
    # With a scale in it, it would not stand before one that has none.
    if scales and not (kin.behind or {}).get(last[-1]):
        found[last[-1]] = Distance.WITH_SCALE
    return found
