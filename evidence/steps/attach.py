"""Attach pictures to findings, and propose the best of them; each a decision that can be undone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from evidence import choice
from evidence.errors import WrongUsage
from evidence.record import Entry
from evidence.state import candidate
from evidence.steps.findings import finding_of
from evidence.steps.rooms import showable
from evidence.words import Distance

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Literal

    from evidence.desk import Desk
    from evidence.state import State
    from evidence.words import Attachment, FrameNumber


def attach(
    desk: Desk,
    finding: int,
    frames: Sequence[int],
    *,
    distance: Distance | Literal[""] | Mapping[int, Distance] | None = None,
) -> list[FrameNumber]:
    """Attach pictures to a finding, in the order given; the first ever attached is printed first.

    Parameters
    ----------
    distance
        From how far they show it: all of them, or each by its frame number. None leaves what was said
        before, "" takes it back.

    Raises
    ------
    UnknownFinding, UnknownPicture
        There is none of that number; nothing was attached.
    WrongUsage
        A picture cannot be shown at all.
    """
    state = desk.state()
    finding_of(state, finding)
    before = {a.frame: a for a in state.attached_to(finding)}
    rank = max((a.rank for a in before.values()), default=-1) + 1
    entries, attached = [], []
    for picture in showable(state, frames):
        number = picture.frame
        old = before.get(number)
        given = distance.get(number) if isinstance(distance, Mapping) else distance
        before_this = (old.distance if old else None) or picture.distance
        shown_from = before_this if given is None else given or None
        value = {"distance": shown_from, "rank": old.rank if old else rank}
        rank += 0 if old else 1
        entries.append(Entry("attached", f"{finding}/{number}", value))
        attached.append(number)
    desk.decide_all(entries)
    return attached


def put_first(desk: Desk, finding: int, frame: int) -> None:
    """Print one of a finding's pictures first; the others keep their order behind it.

    Raises
    ------
    UnknownFinding, WrongUsage
        There is no such finding, or the picture is not attached to it.
    """
    ordered = sorted(_attached(desk.state(), finding, [frame]), key=lambda a: a.frame != frame)
    desk.decide_all(
        [
            Entry("attached", f"{finding}/{a.frame}", {"distance": a.distance, "rank": rank})
            for rank, a in enumerate(ordered)
            if a.rank != rank
        ]
    )


def take_off(desk: Desk, finding: int, frames: Sequence[int]) -> None:
    """Take pictures off a finding; they stay in the job.

    Raises
    ------
    UnknownFinding, WrongUsage
        There is no such finding, or the picture is not attached to it.
    """
    _attached(desk.state(), finding, frames)
    desk.decide_all([Entry("attached", f"{finding}/{frame}", None) for frame in frames])


def propose(
    desk: Desk, finding: int, frames: Sequence[int] = (), *, distance: Distance | None = None
) -> choice.Proposal:
    """Propose which pictures show a finding best: one to print, up to two in support.

    Parameters
    ----------
    frames
        Pictures to choose among; none = those attached. Their look-alikes compete too.
    distance
        From how far all of these show it; None leaves what was said of each. Of look-alikes it holds
        what was said of one, if nothing was said of another: they show one view.

    Raises
    ------
    UnknownFinding, UnknownPicture
        There is none of that number.
    WrongUsage
        There is no picture to choose from, or a picture named cannot be shown at all.
    """
    state = desk.state()
    room = finding_of(state, finding).room
    attached = {a.frame: a.distance for a in state.attached_to(finding)}
    wanted = [picture.frame for picture in showable(state, frames)] or list(attached)
    sets = sets_of(state)
    chosen_sets = {sets[frame] for frame in wanted if frame in sets}
    among = {*wanted, *(frame for frame, place in sets.items() if place in chosen_sets)}
    by_hand = put_in_front(state)
    said = {frame: attached.get(frame) or _distance(state, frame) for frame in (*attached, *among)}
    of_view = {sets[f]: how_far for f, how_far in reversed(said.items()) if how_far and f in sets}
    competing = [
        candidate(
            picture,
            distance or said[picture.frame] or of_view.get(sets.get(picture.frame, -1)),
            sets.get(picture.frame),
            chosen=picture.frame in by_hand,
        )
        for picture in state.pictures
        if picture.frame in among and picture.usable and picture.quality
    ]
    if not competing:
        raise WrongUsage(f"Finding {finding} has no picture to choose from; attach some first.")
    return choice.propose(competing, _nearby(state, room, {one.frame for one in competing}))


def sets_of(state: State) -> dict[FrameNumber, int]:
    """Number the sets of look-alikes: for each picture that is in one, which."""
    return {f: i for i, s in enumerate(state.look_alikes) for f in (s.front, *s.others)}


def put_in_front(state: State) -> set[FrameNumber]:
    """Give the pictures that the inspector let stand in front of their look-alikes."""
    return {s.front for s in state.look_alikes if s.chosen}


def take_proposal(
    desk: Desk, finding: int, frames: Sequence[int] = (), *, distance: Distance | None = None
) -> choice.Proposal:
    """Attach what :func:`propose` proposes, in its order, and take off the finding's other pictures.

    Parameters and errors as for :func:`propose`.
    """
    proposal = propose(desk, finding, frames, distance=distance)
    entries = [
        Entry("attached", f"{finding}/{pick.frame}", {"distance": pick.distance, "rank": rank}, pick.reason)
        for rank, pick in enumerate(proposal.picks)
    ]
    kept = {pick.frame for pick in proposal.picks}
    before = [a.frame for a in desk.state().attached_to(finding)]
    entries += [Entry("attached", f"{finding}/{frame}", None) for frame in before if frame not in kept]
    desk.decide_all(entries)
    return proposal


def _nearby(state: State, room: str, besides: set[FrameNumber]) -> list[choice.Candidate]:
    """Give the other pictures of a room, with the distances said of them for any finding."""
    said = {a.frame: a.distance for a in state.attachments if a.distance}
    return [
        candidate(picture, Distance.OVERALL if picture.view else said.get(picture.frame))
        for picture in state.pictures
        if room
        and state.room_of(picture.frame) == room
        and picture.usable
        and picture.quality
        and picture.card is None
        and picture.frame not in besides
    ]


def _distance(state: State, frame: int) -> Distance | None:
    picture = state.picture(frame)
    return picture.distance if picture else None


def _attached(state: State, finding: int, frames: Sequence[int]) -> tuple[Attachment, ...]:
    """Give a finding's pictures, or refuse when these are not among them."""
    finding_of(state, finding)
    attached = state.attached_to(finding)
    known = {a.frame for a in attached}
    for frame in frames:
        if frame not in known:
            raise WrongUsage(f"Picture {frame} is not attached to finding {finding}.")
    return attached
