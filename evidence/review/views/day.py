"""Lay out the day for Walk: clocks, joints in doubt, proposed overall views, and each visit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from evidence.review.views.parts import Part
from evidence.review.views.shots import Shot, Strip, clock_time
from evidence.review.views.wording import count, lasting
from evidence.steps import spots

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from evidence.review.reading import Seen
    from evidence.state import State
    from evidence.words import FrameNumber, Joint, Visit


DOUBTFUL: Final = 0.25
"""Joints less in doubt than this are not asked about; our own, by eye on the made-up house."""

MOST_DOUBTS: Final = 12


@dataclass(frozen=True, slots=True)
class VisitPart:
    """One visit on the line of the day."""

    number: int
    first: int
    room: str
    named: str
    when: str
    count: str
    pause: str
    joint: str
    shots: tuple[Shot, ...]


@dataclass(frozen=True, slots=True)
class Doubt:
    """A joint that could as well be the other way, with the pictures on its two sides."""

    frame: int
    before: Shot
    after: Shot
    gap: str
    begins: bool
    room: str


@dataclass(frozen=True, slots=True)
class Overall:
    """A picture that is proposed as the overall view of its room."""

    shot: Shot
    room: str


@dataclass(frozen=True, slots=True)
class ClockPart:
    """What is proposed for a clock, from one picture on or, where ``frame`` is 0, for all of the camera's.

    ``proposed`` are the seconds to add, how the clock seems to go, and what that rests on.
    """

    camera: str
    frame: int
    proposed: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class Behind:
    """A picture that is unfolded from behind another, or shown beside it.

    Attributes
    ----------
    words
        Why it is shown.
    boxes
        Where something differs: corners x0, y0, x1, y1 as shares 0..1 of this picture.
    """

    shot: Shot
    words: str
    boxes: tuple[tuple[float, float, float, float], ...] = ()


def walk(seen: Seen) -> list[Part]:
    """Lay out the day: joints in doubt, proposed overall views, then a part for each visit, in time."""
    state = seen.state
    strip = Strip(state)
    doubts = tuple(_doubts(state, strip))
    views_of = tuple(Overall(strip.shot(frame), state.room_of(frame)) for frame in spots.overalls(state))
    parts = [Part("clocks", "clocks.html", _clocks(seen))] if seen.clocks else []
    parts.append(Part("doubts", "doubts.html", doubts))
    if views_of:
        parts.append(Part("overalls", "overalls.html", views_of))
    for number, visit in enumerate(state.visits, 1):
        parts.append(Part(f"visit-{visit.frames[0]}", "visit.html", _visit(state, strip, number, visit)))
    return parts


def unfolded(seen: Seen, frame: int) -> list[Behind]:
    """Give the look-alikes behind a picture, those that stand apart, and those that differ, boxed."""
    strip = Strip(seen.state)
    found = next((s for s in seen.state.look_alikes if s.front == frame), None)
    behind = [Behind(strip.shot(other), "behind") for other in (found.others if found else ())]
    for one, other in seen.state.alike:
        if frame in (one, other):
            behind.append(Behind(strip.shot(other if frame == one else one), "same view, not folded"))
    for pair in seen.state.changed:
        if pair.first == frame:
            behind.append(Behind(strip.shot(pair.second), "same view, what differs is boxed", pair.boxes))
        elif pair.second == frame:
            # Where it differs is known in the second picture; in the first it lies nearly there.
            words = "same view, something differs about where it is boxed"
            behind.append(Behind(strip.shot(pair.first), words, pair.boxes))
    return behind


def _clocks(seen: Seen) -> tuple[ClockPart, ...]:
    """Put the proposals for each clock together."""
    found: dict[tuple[str, int], list[tuple[str, str, str]]] = {}
    for one in seen.clocks:
        by = f"{abs(one.add_s):g} s" if abs(one.add_s) < 600 else lasting(abs(one.add_s))
        seems = f"{by} {'ahead' if one.add_s < 0 else 'behind'}"
        found.setdefault((one.camera, one.frame or 0), []).append((f"{one.add_s:g}", seems, one.reason))
    return tuple(ClockPart(camera, frame, tuple(rows)) for (camera, frame), rows in found.items())


def _visit(state: State, strip: Strip, number: int, visit: Visit) -> VisitPart:
    places = strip.places
    first, last = (state.pictures[places[frame]] for frame in (visit.frames[0], visit.frames[-1]))
    joint = state.joints[places[first.frame] - 1] if places[first.frame] else None
    shots = tuple(
        strip.shot(frame, _inner_doubt(state, places, frame) if at else "")
        for at, frame in enumerate(visit.frames)
        if state.front_of(frame) is None
    )
    named = {"inspector": "", "room card": "by its room card", "proposal": "proposed"}.get(visit.named_by, "")
    return VisitPart(
        number=number,
        first=first.frame,
        room=visit.room,
        named=named,
        when="–".join(dict.fromkeys(clock_time(p.seconds)[:5] for p in (first, last))),
        count=count(len(visit.frames), "picture"),
        pause=lasting(joint.gap_s) if joint else "",
        joint=_joint_said(joint, first.frame in state.decided_joints) if joint else "",
        shots=shots,
    )


def _inner_doubt(state: State, places: Mapping[FrameNumber, int], frame: FrameNumber) -> str:
    joint = state.joints[places[frame] - 1]
    if not _asked(state, joint):
        return ""
    return f"{lasting(joint.gap_s)}: perhaps a new visit"


def _joint_said(joint: Joint, decided: bool) -> str:
    if decided:
        return "confirmed"
    return "in doubt" if joint.doubt >= DOUBTFUL else "proposed"


def _asked(state: State, joint: Joint) -> bool:
    """Whether a joint is asked about: in doubt, undecided, between two pictures that were measured."""
    before, after = state.pictures[joint.after], state.pictures[joint.after + 1]
    measured = before.quality is not None and after.quality is not None
    return measured and joint.doubt >= DOUBTFUL and after.frame not in state.decided_joints


def _doubts(state: State, strip: Strip) -> Iterable[Doubt]:
    asked = [joint for joint in state.joints if _asked(state, joint)]
    asked.sort(key=lambda joint: (-joint.doubt, joint.after))
    for joint in asked[:MOST_DOUBTS]:
        before, after = state.pictures[joint.after], state.pictures[joint.after + 1]
        yield Doubt(
            frame=after.frame,
            before=strip.shot(before.frame),
            after=strip.shot(after.frame),
            gap=lasting(joint.gap_s),
            begins=joint.boundary,
            room=state.room_of(before.frame) or "a nameless visit",
        )
