"""Lay out the round: the things of the day one after the other, each with its pictures; pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evidence.review import views
from evidence.steps import spots
from evidence.steps.gaps import LIKELY

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from evidence.review.reading import Seen
    from evidence.state import State
    from evidence.words import FrameNumber


def round_(seen: Seen, offered: Mapping[str, str]) -> list[dict[str, object]]:
    """Give each thing of the day: its views, what is known of its pictures, what was said of them.

    Parameters
    ----------
    offered
        The sentence of each standard finding that something said may mean, by its id.

    Returns
    -------
    By time. ``done`` says of each view whether a picture of it is attached to a finding already; ``kin``
    are the findings that have a picture of the same view; ``overall`` are the overall view of the visit
    and the others of that view.
    """
    state = seen.state
    attached = {a.frame for a in state.attachments}
    told = {f.number: views.short(f.seen) for f in state.findings}
    views_of = {p.frame for p in state.pictures if p.view}.union(spots.overalls(state))
    known = views.pictures(seen, [p.frame for p in state.pictures])
    beside, same = spots.beside(state), spots.alike(state)
    laid: list[dict[str, object]] = []
    for spot in spots.in_order(state):
        visit = next(v for v in state.visits if spot.frames[0] in v.frames)
        overall = spots.overall_of(state, visit, views_of, same)
        shown = [*spot.frames, *overall]
        laid.append(
            {
                "views": [list(view) for view in spot.views],
                "distances": {str(frame): distance.value for frame, distance in spot.distances.items()},
                "room": visit.room,
                "visit": visit.frames[0],
                "done": [not attached.isdisjoint(view) for view in spot.views],
                "kin": [{"number": n, "seen": told[n]} for n in spots.kin_of(state, spot.frames, beside)],
                "overall": overall,
                "said": _said(state, spot.frames, offered),
                "pictures": {str(frame): known[frame] for frame in shown},
            }
        )
    return laid


def _said(state: State, frames: Sequence[FrameNumber], offered: Mapping[str, str]) -> list[dict[str, object]]:
    """Give what was said of pictures; what is much like a finding and none yet, with what it may mean."""
    return [
        {
            "number": one.number,
            "words": one.sentence.text,
            "offers": [
                {"standard": offer.id, "seen": offered[offer.id], "reason": offer.reason}
                for offer in one.suggestions
                if offer.id in offered and one.finding is None and one.likelihood >= LIKELY
            ],
        }
        for one in state.sentences
        if not set(frames).isdisjoint(one.own)
    ]
