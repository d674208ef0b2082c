"""Look at the cameras' clocks and correct them; what the camera showed is always kept."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from evidence import clocks, roomcards, study
from evidence.card import numbered
from evidence.errors import WrongUsage
from evidence.recordings import clock_decision, in_calendar
from evidence.steps.rooms import picture_of
from evidence.timeline import in_order_shot
from evidence.words import CameraTime, FrameNumber

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from evidence.desk import Desk
    from evidence.record import Decision, Json
    from evidence.state import State
    from evidence.timeline import PictureState


@dataclass(frozen=True, slots=True)
class ClockFault:
    """A shot at which a clock seems to have gone wrong, and what is proposed."""

    frame: FrameNumber
    kind: str
    add_s: float
    exact: bool
    reason: str


@dataclass(frozen=True, slots=True)
class ClockStep:
    """A correction in force from one shot on, on top of the camera's own."""

    frame: FrameNumber
    add_s: float
    reason: str


@dataclass(frozen=True, slots=True)
class Camera:
    """One camera body and its clock.

    Attributes
    ----------
    name
        Make, model and serial number, as recorded; or of a card whose pictures' camera was not
        recorded, the card's.
    pictures
        How many it took.
    first, last
        What its clock showed, or None; where no picture of its card tells that, their files' times.
    offset_min
        Minutes east of UTC, as recorded in its pictures; None when not.
    satellite
        The zone and the clock's lead that its satellite times tell, once ``steps`` are taken; or None.
    faults
        Proposed places where its clock went wrong; never repaired unasked.
    correction_s, reason
        The correction of all its times in force, 0 and "" when there is none.
    zone_min
        The zone that the inspector gave it, in minutes east of UTC; None when none was given.
    alignment
        How it seems, once ``steps`` are taken, to lie to the camera with most pictures; or None.
    twice, never
        Its pictures whose shown time, in the house's zone, means two instants (the hour that the clocks
        are put back) or none (the hour they skip); only where the camera recorded no zone itself.
    job_cards
        Its pictures of the job card, on which the inspector noted what the watch showed.
    steps
        Further corrections in force, each from one shot on, by frame.
    recorded
        ``name`` is a camera's, not a card's.
    assumed
        How its files' times were read, in words, where its pictures stand by those; "" elsewhere.
    """

    name: str
    pictures: int
    first: CameraTime | None
    last: CameraTime | None
    offset_min: int | None
    satellite: clocks.Zone | None
    faults: tuple[ClockFault, ...]
    correction_s: float
    reason: str
    alignment: clocks.Alignment | None
    twice: tuple[FrameNumber, ...] = ()
    never: tuple[FrameNumber, ...] = ()
    job_cards: tuple[FrameNumber, ...] = ()
    steps: tuple[ClockStep, ...] = ()
    zone_min: int | None = None
    recorded: bool = True
    assumed: str = ""


def cameras(desk: Desk) -> list[Camera]:
    """Say how each camera's clock seems to have run, the camera with most pictures first."""
    by_camera: dict[str, list[PictureState]] = {}
    for picture in in_order_shot(desk.state().pictures):
        if picture.usable:
            by_camera.setdefault(picture.camera, []).append(picture)
    ranked = sorted(by_camera.items(), key=lambda item: -len(item[1]))
    return [
        _camera(desk, name, shots, ranked[0][1] if place else ())
        for place, (name, shots) in enumerate(ranked)
    ]


@dataclass(frozen=True, slots=True)
class Correction:
    """A correction that is proposed for a clock; nothing is corrected unasked.

    Attributes
    ----------
    camera
        Its name.
    add_s
        Seconds to add.
    reason
        What that rests on, in words that can be printed beside the time.
    frame
        The picture from which on it holds; None for all of the camera's.
    """

    camera: str
    add_s: float
    reason: str
    frame: FrameNumber | None = None


LEAST_S = 2.0
"""A clock this near is right: a smaller step cannot be told from the delay of the shutter (our own)."""

LONGEST_S = 100 * 366 * 86_400.0
"""A camera whose battery was taken out may show a day decades ago; more is a slip of the keys."""


def proposed(desk: Desk) -> list[Correction]:
    """Propose corrections for the clocks that nobody has looked into, the surest of each camera first.

    Satellite times go before another camera's, which may be wrong itself.
    """
    decided = [(key, line.value) for key, line in desk.decisions.items() if key[0].startswith("clock")]
    rests_on = (decided, [(p.frame, p.seconds, p.taken.original.digest) for p in desk.state().pictures])
    return desk.memory.recall(
        "clocks", rests_on, lambda: [one for camera in cameras(desk) for one in _proposed(desk, camera)]
    )


def _proposed(desk: Desk, camera: Camera) -> Iterator[Correction]:
    if not camera.recorded:  # a card's pictures may be of many cameras
        return
    if desk.decisions.get(("clock", camera.name)) is None:
        ahead, beside = camera.satellite, camera.alignment
        if ahead and abs(ahead.fast_s) >= LEAST_S:
            yield Correction(
                camera.name,
                -round(ahead.fast_s),
                f"set by the satellite times in {ahead.pictures} of its pictures",
            )
        if beside and beside.sure and abs(beside.shift_s) >= LEAST_S:
            yield Correction(
                camera.name, round(beside.shift_s), "set by pictures of one view that both cameras took"
            )
    for fault in camera.faults:
        yield Correction(camera.name, fault.add_s, fault.reason, fault.frame)


def correct(
    desk: Desk, camera: str, add_s: float | None, reason: str, *, offset_min: int | None = None
) -> None:
    """Correct all times of one camera; what is not said, the seconds or the zone, stays as it was said.

    Parameters
    ----------
    camera
        Its name, or a part of it that no other camera has; one that is called just so goes first, and
        a camera before a card whose camera was not recorded.
    add_s
        Seconds to add to what it showed; None leaves those in force, when only its zone is told.
    reason
        Why, in words; printed beside the corrected time.
    offset_min
        Minutes east of UTC, when the inspector knows the zone; None leaves the one he told before.

    Raises
    ------
    WrongUsage
        No camera, or more than one, is called so; no reason was given; or no clock goes so wrong.
    """
    _believable(add_s or 0.0, reason)
    pictures = [p for p in desk.state().pictures if p.clock_showed]
    names = {p.camera for p in pictures}
    recorded = {p.capture.camera for p in pictures}
    wanted = camera.casefold()
    alike = [name for name in names if wanted in name.casefold()]
    found = (
        [name for name in alike if name == camera]
        or [name for name in alike if name.casefold() == wanted]
        or [name for name in alike if name in recorded]
        or alike
    )
    if len(found) != 1:
        known = ", ".join(sorted(names)) or "none"
        raise WrongUsage(f"“{camera}” means {len(found)} of this job's cameras ({known}).")
    before_s, before_min, before_reason = _whole(desk, found[0])
    if add_s is None:
        reason = "; ".join(filter(None, dict.fromkeys([before_reason, reason.strip()])))
    value: dict[str, Json] = {
        "add_s": before_s if add_s is None else add_s,
        "reason": reason.strip(),
        "offset_min": before_min if offset_min is None else offset_min,
    }
    desk.decide("clock", found[0], value)


def _whole(desk: Desk, camera: str) -> tuple[float, int | None, str]:
    """Give the seconds and the zone in force for all times of a camera, and the reason."""
    clock = _decided(desk, camera)
    value = clock.value if clock and clock.value else {}
    return float(value.get("add_s", 0.0)), value.get("offset_min"), str(value.get("reason", ""))


def _decided(desk: Desk, camera: str) -> Decision | None:
    recorded = any(p.capture.camera == camera for p in desk.state().pictures)
    return clock_decision(desk.decisions, camera, recorded=recorded)


def correct_from(desk: Desk, frame: int, add_s: float, reason: str) -> None:
    """Correct the times of one camera from one shot on; seconds and reason as for :func:`correct`.

    Raises
    ------
    UnknownPicture
        There is no such picture.
    WrongUsage
        It is a frame lifted from a film; no reason was given; or no clock goes so wrong.
    """
    _believable(add_s, reason)
    if picture_of(desk.state(), frame).lifted:
        raise WrongUsage(
            f"Picture {frame} is a frame of a film; name the still from which on the clock is off."
        )
    desk.decide("clock from", frame, {"add_s": add_s, "reason": reason.strip()})


def _believable(add_s: float, reason: str) -> None:
    if not abs(add_s) < LONGEST_S:  # said so that what is no number is refused, too
        raise WrongUsage(
            f"A clock is not corrected by {add_s:g} s; the most is {LONGEST_S / 86_400:.0f} days."
        )
    if not reason.strip():
        raise WrongUsage("A clock correction needs a reason; it is printed beside the time.")


@dataclass(frozen=True, slots=True)
class SetOn:
    """What a correction set on one card: how many pictures, from which on, by how much."""

    card: str
    pictures: int
    first: FrameNumber
    add_s: float


@dataclass(frozen=True, slots=True)
class Sets:
    """Whose pictures a correction set.

    Attributes
    ----------
    camera
        What they are of, by name.
    cards
        In the order they were taken in.
    told_apart
        A serial number tells the camera from others of its kind; without one nobody can say whether
        pictures of one name on two cards are of one camera.
    """

    camera: str
    cards: tuple[SetOn, ...]
    told_apart: bool


def sets(before: State, after: State) -> Sets | None:
    """Say which pictures stand otherwise since a correction; None when none does."""
    stood = {p.frame: p for p in before.pictures}
    changed = in_order_shot(
        p
        for p in after.pictures
        if (old := stood.get(p.frame)) and (old.seconds, old.corrected) != (p.seconds, p.corrected)
    )
    if not changed:
        return None
    by_card: dict[str, list[PictureState]] = {}
    for picture in changed:
        by_card.setdefault(picture.taken.source, []).append(picture)
    # A picture without a time goes with its neighbour, and may not know its camera.
    known = next((p for p in changed if p.clock_showed), changed[0])
    return Sets(
        known.camera,
        tuple(
            SetOn(card, len(of), of[0].frame, of[0].seconds - stood[of[0].frame].seconds)
            for card, of in by_card.items()
        ),
        told_apart=bool(known.capture.serial),
    )


def take_fault(desk: Desk, frame: int) -> None:
    """Take the repair that is proposed at one shot.

    Raises
    ------
    WrongUsage
        Nothing is proposed there.
    """
    for one in proposed(desk):
        if one.frame == frame:
            correct_from(desk, frame, one.add_s, one.reason)
            return
    raise WrongUsage(f"No repair of a clock is proposed at picture {frame}.")


def by_watch(desk: Desk, frame: int, shown: str) -> float:
    """Correct a camera by a watch that it photographed; corrections from one shot on stay in force.

    Parameters
    ----------
    shown
        What the watch shows, as "14:05" or "14:05:30".

    Returns
    -------
    Seconds added to all times of the camera.

    Raises
    ------
    UnknownPicture, WrongUsage
        There is no such picture, it has no time, or the time of day cannot be.
    """
    picture = picture_of(desk.state(), frame)
    time = _stepped(desk, picture)
    if time is None:
        raise WrongUsage(f"Picture {frame} has no camera time to correct.")
    try:
        hour, minute, *rest = (int(part) for part in shown.split(":"))
        (second,) = rest or (0,)
        add_s = clocks.shown_clock(time, hour, minute, second)
    except ValueError:
        raise WrongUsage(f"“{shown}” is no time of day such as 14:05:30.") from None
    correct(desk, picture.camera, add_s, f"set by the watch in picture {frame}, which shows {shown}")
    return add_s


def by_shared_shot(desk: Desk, frame: int, other: int) -> float:
    """Set the camera of one picture by another camera's picture of the same moment.

    Corrections from one shot on stay in force.

    Returns
    -------
    Seconds added to the times of the camera that took ``frame``.

    Raises
    ------
    UnknownPicture, WrongUsage
        There is no such picture, one has no time, or both are of one camera.
    """
    state = desk.state()
    first, second = picture_of(state, other), picture_of(state, frame)
    if first.camera == second.camera:
        raise WrongUsage(f"Pictures {frame} and {other} are of the same camera.")
    leading, led = _stands(first), _stepped(desk, second)
    if leading is None or led is None:
        raise WrongUsage(f"Picture {frame if leading else other} has no camera time.")
    add_s = clocks.settle(leading, led).shift_s
    correct(desk, second.camera, add_s, f"set by picture {other}, of the same moment as {frame}")
    return add_s


def _stands(picture: PictureState) -> CameraTime | None:
    """What the camera showed, or its file's time in its stead, as corrected."""
    showed = picture.clock_showed
    return picture.corrected or (showed and showed.later(picture.seconds - showed.seconds))


def _stepped(desk: Desk, picture: PictureState) -> CameraTime | None:
    """What the camera showed, moved by the corrections from one shot on and not by that of the camera."""
    showed, stands = picture.clock_showed, _stands(picture)
    if showed is None or stands is None or stands.moment == showed.moment:
        return showed
    steps = (stands.moment - showed.moment).total_seconds() - _whole(desk, picture.camera)[0]
    return showed.later(steps) if in_calendar(showed.seconds + steps) else showed


def _steps(desk: Desk, camera: str) -> Iterator[ClockStep]:
    state = desk.state()
    for (what, about), decision in desk.decisions.items():
        if what == "clock from" and decision.value is not None:
            picture = state.picture(int(about))
            if picture is not None and picture.camera == camera:
                value = decision.value
                yield ClockStep(picture.frame, float(value["add_s"]), str(value.get("reason", "")))


def _camera(desk: Desk, name: str, shots: Sequence[PictureState], main: Sequence[PictureState]) -> Camera:
    known = [time for shot in shots if (time := shot.clock_showed) is not None]
    # A frame of a film has its number from when it was lifted, which tells nothing of when it was taken;
    # nor does a name that the camera did not number.
    stills = [shot for shot in shots if shot.lifted is None and numbered(shot.taken)]
    recorded = shots[0].capture.camera == name
    add_s, zone_min, reason = _whole(desk, name)
    counted = _readings(shots, desk.job.details.zone)
    return Camera(
        name=name,
        pictures=len(shots),
        first=min(known, key=lambda t: t.seconds, default=None),
        last=max(known, key=lambda t: t.seconds, default=None),
        offset_min=next((time.offset_min for time in known if time.offset_min is not None), None),
        satellite=clocks.zone(
            [replace(shot.capture, time=_stepped(desk, shot)) for shot in shots], desk.job.details.zone
        ),
        faults=tuple(
            ClockFault(stills[f.after + 1].frame, str(f.kind), f.shift_s, f.exact, f.reason)
            # Pictures whose camera was not recorded may be of many; their order says nothing of a clock.
            for f in (_faults(stills) if recorded else ())
            if desk.decisions.get(("clock from", str(stills[f.after + 1].frame))) is None
        ),
        correction_s=add_s,
        zone_min=zone_min,
        reason=reason,
        alignment=_alignment(desk, main, shots) if main else None,
        twice=tuple(frame for frame, count in counted if count == 2),
        never=tuple(frame for frame, count in counted if count == 0),
        job_cards=tuple(shot.frame for shot in shots if shot.card == roomcards.JOB_CARD),
        steps=tuple(sorted(_steps(desk, name), key=lambda step: step.frame)),
        recorded=recorded,
        assumed=next((shot.assumed for shot in shots if shot.assumed), ""),
    )


def _faults(stills: Sequence[PictureState]) -> list[clocks.Fault]:
    return clocks.faults([p.capture.time for p in stills], [p.taken.source for p in stills])


def _readings(shots: Sequence[PictureState], zone: str) -> list[tuple[FrameNumber, int]]:
    """How many instants each naive time may mean where the house stands; corrected times count as shown."""
    if not zone:
        return []
    times = [(shot.frame, shot.corrected or shot.capture.time) for shot in shots]
    return [
        (frame, len(clocks.readings(time.moment, zone)))
        for frame, time in times
        if time is not None and time.offset_min is None
    ]


def _alignment(
    desk: Desk, main: Sequence[PictureState], shots: Sequence[PictureState]
) -> clocks.Alignment | None:
    looks = study.appearances(desk.store)

    def timed(pictures: Sequence[PictureState]) -> list[PictureState]:
        return [p for p in pictures if p.clock_showed and p.taken.original.digest in looks]

    first, second = timed(main), timed(shots)
    if not first or not second:
        return None
    a = np.array([looks[p.taken.original.digest] for p in first])
    b = np.array([looks[p.taken.original.digest] for p in second])
    apart = np.linalg.norm(b[:, None] - a[None], axis=2).astype(np.float32)
    apart[~b.any(axis=1)] = np.inf
    apart[:, ~a.any(axis=1)] = np.inf
    return clocks.align(
        [p.seconds for p in first],
        [time.seconds for p in second if (time := _stepped(desk, p))],
        apart,
    )
