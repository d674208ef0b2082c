"""Propose the order of the day: look-alikes, joints, room cards.

Pure: the pictures on their line of time and what was measured on each go in, an arrangement comes
out. Carries values between the nouns, which do not know each other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evidence import findings, likeness, narration, roomcards, rooms
from evidence.findings import Catalogue
from evidence.likeness import Likeness, Verdict
from evidence.recordings import Said
from evidence.state import Arrangement, PairBoxes, State
from evidence.timeline import PictureState
from evidence.words import Digest, FrameNumber, Joint, Suggestion

VERSION = f"13/{likeness.VERSION}/{rooms.VERSION}/{roomcards.VERSION}"
"""Changes when any method behind a proposal changes."""

MATCH_VERSION = f"{narration.VERSION}/{findings.VERSION}"
"""Changes when what a sentence may mean would be answered otherwise."""


@dataclass(frozen=True, slots=True)
class Compared:
    """Two pictures and what was found between them; places in ``found`` mean nothing here."""

    first: Digest
    second: Digest
    found: likeness.Pair


def propose(
    pictures: Sequence[PictureState],
    likenesses: Mapping[Digest, Likeness],
    appearances: Mapping[Digest, NDArray[np.float32]],
    cards: Mapping[Digest, Sequence[int]],
    *,
    weights: rooms.Weights = rooms.WEIGHTS,
    known: Iterable[Compared] = (),
    compare_them: likeness.CompareAll = likeness.compare_all,
    only: Callable[[PictureState], bool] | None = None,
) -> tuple[Arrangement, tuple[Compared, ...]]:
    """Propose sets of look-alikes, visits and names from room cards.

    Parameters
    ----------
    pictures
        In the order of the line of time.
    likenesses, appearances, cards
        By digest, as the nouns gave them; a picture that could not be read is in none.
    weights
        How gaps are weighed against places: the packaged weights, or some the inspector chose.
    known
        Pairs of pictures compared before, by this version; they are not compared again.
    compare_them
        Compares the others.
    only
        If given, no pair is compared unless one of its pictures is so; the rest counts as unlike.

    Returns
    -------
    The arrangement, in frames instead of places in a list, so that it can be kept; and every pair that
    it rests on, known or new.
    """
    seen = [p for p in pictures if p.taken.original.digest in likenesses]
    frames = [p.frame for p in seen]
    described = [likenesses[p.taken.original.digest] for p in seen]
    seconds = [None if p.seconds_assumed else p.seconds for p in seen]
    carded = {p.frame for p in seen if cards.get(p.taken.original.digest)}
    digests = [p.taken.original.digest for p in seen]
    at = {digest: place for place, digest in enumerate(digests)}
    before: dict[tuple[int, int], likeness.Pair] = {}
    for pair in known:
        a, b = at.get(pair.first), at.get(pair.second)
        if a is not None and b is not None and a < b:
            before[a, b] = replace(pair.found, a=a, b=b)
    if only is not None:
        compare_them = _of_some(compare_them, [only(picture) for picture in seen])
    related = likeness.group_and_relate(described, seconds, before, compare_them)
    set_of = {place: number for number, group in enumerate(related.sets) for place in group}
    arrangement = Arrangement(
        joints=_joints(pictures, appearances, cards, weights),
        sets=tuple(
            members
            for group in related.sets
            if len(members := tuple(frames[i] for i in group if frames[i] not in carded)) > 1
        ),
        alike=tuple(
            (frames[pair.a], frames[pair.b])
            for pair in related.pairs
            if pair.verdict is Verdict.SAME and set_of[pair.a] != set_of[pair.b]
        ),
        changed=tuple(
            PairBoxes(frames[pair.a], frames[pair.b], tuple(pair.boxes))
            for pair in related.pairs
            if pair.verdict is Verdict.CHANGED
        ),
        nearer=tuple(
            (frames[pair.a], frames[pair.b]) if pair.scale >= 1 else (frames[pair.b], frames[pair.a])
            for pair in related.pairs
            if pair.verdict is Verdict.WIDER
        ),
        cards=tuple((p.frame, found[0]) for p in seen if (found := cards.get(p.taken.original.digest))),
    )
    compared = tuple(
        Compared(digests[a], digests[b], pair) for (a, b), pair in sorted(related.compared.items())
    )
    return arrangement, compared


def _of_some(compare_them: likeness.CompareAll, asked_of: Sequence[bool]) -> likeness.CompareAll:
    """Compare only pairs with a picture that is asked of."""

    def compare(likenesses: Sequence[Likeness], pairs: Sequence[tuple[int, int]]) -> Sequence[likeness.Pair]:
        wanted = [pair for pair in pairs if asked_of[pair[0]] or asked_of[pair[1]]]
        found = dict(zip(wanted, compare_them(likenesses, wanted), strict=True))
        return [found.get((a, b)) or likeness.Pair(a, b, Verdict.OTHER) for a, b in pairs]

    return compare


def _joints(
    pictures: Sequence[PictureState],
    appearances: Mapping[Digest, NDArray[np.float32]],
    cards: Mapping[Digest, Sequence[int]],
    weights: rooms.Weights,
) -> tuple[Joint, ...]:
    """Judge the joints; a picture that cannot be read stays with the one before it."""
    # Frames of a film are as many as somebody lifted: where there are stills, those alone tell visits.
    stills = any(p.lifted is None for p in pictures)
    counted = [not stills or p.lifted is None for p in pictures]
    places = [i for i, p in enumerate(pictures) if counted[i] and p.taken.original.digest in appearances]
    told = [pictures[i] for i in places]
    found = rooms.joints(*_day(told, appearances, cards), weights)
    # A joint between two readable pictures stands directly before the later one.
    return tuple(replace(joint, after=places[joint.after + 1] - 1) for joint in found)


def confirmed_day(
    state: State,
    appearances: Mapping[Digest, NDArray[np.float32]],
    cards: Mapping[Digest, Sequence[int]],
) -> rooms.ConfirmedDay:
    """Give a day with its cuts as they stand now, to learn from once the inspector has been through it."""
    begins = {visit.frames[0] for visit in state.visits[1:]}
    told = [p for p in state.pictures if p.taken.original.digest in appearances]
    seconds, vectors, shown = _day(told, appearances, cards)
    return rooms.ConfirmedDay(seconds, vectors, [p.frame in begins for p in told[1:]], shown)


def _day(
    told: Sequence[PictureState],
    appearances: Mapping[Digest, NDArray[np.float32]],
    cards: Mapping[Digest, Sequence[int]],
) -> tuple[list[float], list[NDArray[np.float32]], list[int | None]]:
    """The day as the noun wants it; the job card is no room's, so it begins no visit."""
    digests = [p.taken.original.digest for p in told]
    of_rooms = [[card for card in cards.get(d, ()) if card != roomcards.JOB_CARD] for d in digests]
    return (
        [p.seconds for p in told],
        [appearances[d] for d in digests],
        [shown[0] if shown else None for shown in of_rooms],
    )


def rooms_it_may_be(
    state: State, appearances: Mapping[Digest, NDArray[np.float32]], visit: int, limit: int = 3
) -> list[tuple[str, str]]:
    """Offer the rooms already named that a visit returns to with better than even odds; never decides.

    Where few rooms have a name, the likest of them may be very unlike; it is not offered.

    Parameters
    ----------
    visit
        Its place in ``state.visits``.

    Returns
    -------
    Names with the reason for each, likeliest first.
    """
    by_frame = {p.frame: p.taken.original.digest for p in state.pictures}

    def vectors(frames: Sequence[FrameNumber]) -> list[NDArray[np.float32]]:
        return [appearances[by_frame[f]] for f in frames if by_frame[f] in appearances]

    named: dict[str, list[NDArray[np.float32]]] = {}
    for place, other in enumerate(state.visits):
        if place != visit and other.room:
            named.setdefault(other.room, []).extend(vectors(other.frames))
    offers = rooms.suggest_rooms(vectors(state.visits[visit].frames), named, limit)
    return [(offer.room, offer.reason) for offer in offers if offer.score > 0.5]


def suggestions(
    asked: Sequence[tuple[str, str]], among: Catalogue, nearness: Sequence[Sequence[float]] | None = None
) -> tuple[tuple[Suggestion, ...], ...]:
    """Offer for each sentence, said in a room, up to three of these standard findings, likeliest first.

    Parameters
    ----------
    nearness
        For each sentence how near each finding lies in meaning, by an inspector's own model.
    """
    near: Sequence[Sequence[float] | None] = nearness or [None] * len(asked)
    return tuple(
        tuple(findings.suggest(narration.without_marker(text), room or None, 3, among, one))
        for (text, room), one in zip(asked, near, strict=True)
    )


def with_suggestions(said: Sequence[Said], offers: Sequence[Sequence[Suggestion]]) -> tuple[Said, ...]:
    """Add the offers to sentences, and how likely each is to be a finding; none is left out."""
    return tuple(
        replace(
            one,
            suggestions=tuple(offer),
            likelihood=1.0 if one.marked else _likelihood(max((s.score for s in offer), default=0.0)),
        )
        for one, offer in zip(said, offers, strict=True)
    )


def _likelihood(score: float) -> float:
    """Bring the best offer's score to 0..1, rising; only for putting likely sentences first."""
    return round(score / (score + 10.0), 4)
