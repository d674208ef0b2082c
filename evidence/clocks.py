"""Camera clocks made into one line of time: faults found, zones read, cameras and films set to each other.

Hides the reasoning about clocks that jump, zones nobody recorded and hours that exist twice.
Everything here proposes; what is believed, kept and printed is decided elsewhere, and a time as
the camera showed it is never lost.
"""

from __future__ import annotations

import itertools
import zoneinfo
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from statistics import median

import numpy as np
from numpy.typing import NDArray

from evidence.words import CameraTime, Capture

HOUR_S = 3600.0


# ------------------------------------------------------------------ one camera's own order


class FaultKind(StrEnum):
    """What seems to have happened to a clock between two pictures."""

    RESET = "clock reset or set back"
    HOURS_BACK = "whole hours back"
    HOURS_ON = "whole hours forward"
    LEAP = "clock set forward, or a long pause"


@dataclass(frozen=True, slots=True)
class Fault:
    """A place in the order of shooting where the clock cannot be taken at its word.

    Attributes
    ----------
    after
        Index of the last picture before it.
    kind
        What seems to have happened.
    step_s
        What the clock did from that picture to the next, in seconds.
    shift_s
        Proposed: seconds to add to every later picture of this camera.
    exact
        Whether the shift is known (whole hours) or assumed (a reset hides how long the break was).
    reason
        One sentence for the inspector.
    """

    after: int
    kind: FaultKind
    step_s: float
    shift_s: float
    exact: bool
    reason: str


BACK_S = -2.0
"""Steps back up to this are rounding of fractions and file-system times."""
LEAP_S = 90 * 60.0
"""A pause longer than this is asked about: our own choice, tried in docs/methods/clocks.md."""
BREAK_S = 12 * HOUR_S
"""A clock that was wrong and then follows the last good time within this was put right again."""
HOUR_SLACK_S = 15 * 60.0
"""A pause that may hide behind a step of whole hours, at most: one hour forward shows as 60 to 75 minutes."""
MEDIANS = 20.0
"""An hour forward is suspected only where the pause is this many times the usual one."""
_ZONE_HOURS = 26
"""Zones lie between 12 hours west and 14 hours east of UTC."""


def faults(times: Sequence[CameraTime | None], cards: Sequence[str] = ()) -> list[Fault]:
    """Find where one camera's clock contradicts the order in which its pictures were taken.

    Parameters
    ----------
    times
        The pictures of one camera in the order of their DCF numbers; None where no time was recorded.
    cards
        The card that each lies on, when it is not one for all. Which of two was shot first nobody knows, nor
        whether two cameras of one name shot them: a step back of less than half a day from one to the other
        is no fault.

    Returns
    -------
    In order; empty when the clock ran well.

    Notes
    -----
    DCF (CIPA DC-009) numbers rise with each shot, so they order the pictures whatever the clock did.
    Where both pictures carry an offset from UTC the step is taken between instants: a phone that goes
    off daylight-saving time is no fault. A later fault that brings the clock back to a time that
    follows the last good one takes back what was added.
    """
    known = [(index, time) for index, time in enumerate(times) if time is not None]
    pairs = list(itertools.pairwise(known))
    usual = _usual_gap([_step(before, after) for (_, before), (_, after) in pairs])
    found: list[Fault] = []
    added = 0.0
    good: CameraTime | None = None
    for (index, before), (later, after) in pairs:
        step = _step(before, after)
        fault = _fault(index, step, usual)
        if fault is None or (cards and cards[index] != cards[later] and -BREAK_S < step < 0):
            continue
        if added == 0.0:
            good = before
        elif good is not None and BACK_S <= _step(good, after) <= BREAK_S and step - added >= BACK_S:
            fault = _taken_back(fault, added)
        added += fault.shift_s
        found.append(fault)
    return found


def _step(before: CameraTime, after: CameraTime) -> float:
    step = (after.moment - before.moment).total_seconds()
    if before.offset_min is not None and after.offset_min is not None:
        step -= 60.0 * (after.offset_min - before.offset_min)
    return step


def _usual_gap(steps: Sequence[float]) -> float:
    """The median pause in seconds; 10 where there is nothing to go by."""
    usual = [step for step in steps if 0 <= step <= LEAP_S]
    return max(1.0, median(usual)) if usual else 10.0


def _fault(after: int, step: float, usual: float) -> Fault | None:
    if BACK_S <= step <= LEAP_S and not (
        HOUR_S + BACK_S <= step <= HOUR_S + HOUR_SLACK_S and step > MEDIANS * usual
    ):
        return None
    if step < 0:
        hours = -int(step // HOUR_S)
        if hours <= _ZONE_HOURS and step + hours * HOUR_S <= HOUR_SLACK_S:
            text = f"The clock goes back {_span(-step)}: {_hours(hours)} back, as when a zone is changed."
            return Fault(after, FaultKind.HOURS_BACK, step, hours * HOUR_S, True, text)
        text = f"The clock goes back {_span(-step)}: reset or set by hand. How long the break was is assumed."
        return Fault(after, FaultKind.RESET, step, usual - step, False, text)
    hours = int((step - BACK_S) // HOUR_S)
    if hours <= _ZONE_HOURS and step - hours * HOUR_S <= HOUR_SLACK_S:
        text = f"The clock goes on {_span(step)} at once: {_hours(hours)} forward, or a pause of that length."
        return Fault(after, FaultKind.HOURS_ON, step, -hours * HOUR_S, True, text)
    text = f"The clock goes on {_span(step)} at once: set forward, a long pause, or another job."
    return Fault(after, FaultKind.LEAP, step, usual - step, False, text)


def _taken_back(fault: Fault, added: float) -> Fault:
    text = f"{fault.reason.split(':')[0]}: back to the time before the earlier fault."
    return Fault(fault.after, fault.kind, fault.step_s, -added, True, text)


def _hours(count: int) -> str:
    return "one hour" if count == 1 else f"{count} hours"


def _span(seconds: float) -> str:
    """A length of time in the two units that say most."""
    whole = round(seconds)
    days, rest = divmod(whole, 86400)
    hours, rest = divmod(rest, 3600)
    minutes, rest = divmod(rest, 60)
    if days:
        return f"{days} d {hours} h"
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {rest} s"


# ------------------------------------------------------------------------------------ zones


@dataclass(frozen=True, slots=True)
class Zone:
    """A camera's distance from UTC as its own pictures tell it.

    Attributes
    ----------
    offset_min
        Minutes east of UTC: as recorded, as at the house, or else the nearest quarter of an hour.
    fast_s
        How much the camera's clock is ahead of satellite time, zone aside; median.
    pictures
        How many pictures said so.
    """

    offset_min: int
    fast_s: float
    pictures: int


REMAINDER_S = 120.0
"""What may remain after rounding to a quarter of an hour before the zone is not believed."""
MISSET_S = 30 * 60.0
"""From this on a recorded offset is taken for one never set: many clocks show the house's time beside the
maker's zone. No two zones that a person could mistake lie nearer."""
FIXES = 3
"""Different satellite times that must agree before a clock is believed to be minutes off; an old fix that
is repeated indoors is one."""


def zone(captures: Sequence[Capture], house: str = "") -> Zone | None:
    """Find one camera's zone from pictures that carry both its own time and satellite time.

    Parameters
    ----------
    house
        The house's time zone (IANA name), "" when not given.

    Returns
    -------
    None when no picture carries both, or when they do not agree to within two minutes.

    Notes
    -----
    The offset that the pictures carry is taken while the clock is near it, then the house's; where neither
    is known, or they do not fit, the gap is rounded. Satellite time in Exif is UTC (CIPA DC-008,
    GPSTimeStamp); zones in use are multiples of 15 minutes (IANA time zone database). Indoors a phone
    repeats an old fix, so one picture in five may disagree.
    """
    told = [(c.time, c.gps_utc) for c in captures if c.time is not None and c.gps_utc is not None]
    if not told:
        return None
    recorded = _by_offsets(told, [time.offset_min for time, _ in told])
    if recorded and abs(recorded.fast_s) < MISSET_S:
        return recorded
    if house and (there := _by_offsets(told, [_offset_at(fix, house) for _, fix in told])):
        return there
    gaps = [(time.moment - fix).total_seconds() for time, fix in told]
    offset = round(median(gaps) / 900.0) * 15
    rest = [gap - offset * 60.0 for gap in gaps]
    agreeing = sum(abs(r) < REMAINDER_S for r in rest)
    if not -12 * 60 <= offset <= 14 * 60 or agreeing < 0.8 * len(rest):
        return None
    return Zone(offset, median(rest), len(rest))


def _by_offsets(told: Sequence[tuple[CameraTime, datetime]], offsets: Sequence[int | None]) -> Zone | None:
    """Read how fast a clock is where each picture's offset is known; None where they do not agree."""
    known = [offset for offset in offsets if offset is not None]
    if len(known) < len(told):
        return None
    rest = [
        (time.moment - fix).total_seconds() - 60.0 * offset
        for (time, fix), offset in zip(told, known, strict=True)
    ]
    fast = median(rest)
    agreeing = [fix for (_, fix), r in zip(told, rest, strict=True) if abs(r - fast) < REMAINDER_S]
    if len(agreeing) < 0.8 * len(rest) or (abs(fast) >= REMAINDER_S and len(set(agreeing)) < FIXES):
        return None
    return Zone(Counter(known).most_common(1)[0][0], fast, len(rest))


def _offset_at(instant: datetime, name: str) -> int | None:
    """Minutes east of UTC in a zone at a naive UTC instant; None at the calendar's edge."""
    try:
        offset = instant.replace(tzinfo=UTC).astimezone(zoneinfo.ZoneInfo(name)).utcoffset()
    except OverflowError:
        return None
    return None if offset is None else round(offset.total_seconds() / 60)


def readings(moment: datetime, name: str) -> tuple[datetime, ...]:
    """Give the instants that a wall clock's reading may mean in a zone.

    Parameters
    ----------
    moment
        Naive.
    name
        IANA name, such as ``America/Chicago``.

    Returns
    -------
    One instant on nearly all days; two, the earlier first, in the hour that the clocks are put
    back; none in the hour that they skip. Each carries the zone.

    Raises
    ------
    ValueError
        The moment carries a zone already.
    zoneinfo.ZoneInfoNotFoundError
        There is no zone of this name.

    Notes
    -----
    PEP 495: ``fold`` tells the two readings apart; a skipped one does not survive the way to UTC and back.
    """
    if moment.tzinfo is not None:
        message = "a reading of a wall clock is naive"
        raise ValueError(message)
    there = zoneinfo.ZoneInfo(name)
    found: list[datetime] = []
    for fold in (0, 1):
        candidate = moment.replace(tzinfo=there, fold=fold)
        try:
            back = candidate.astimezone(UTC).astimezone(there)
        except OverflowError:  # the first or last hours of the calendar: no zone changes there
            return (candidate,)
        if back.replace(tzinfo=None, fold=0) == moment.replace(fold=0) and all(
            candidate.astimezone(UTC) != other.astimezone(UTC) for other in found
        ):
            found.append(candidate)
    return tuple(found)


# -------------------------------------------------------------------------------- two cameras


@dataclass(frozen=True, slots=True)
class Alignment:
    """How one camera's clock lies to another's.

    Attributes
    ----------
    shift_s
        Seconds to add to the second camera's times.
    confidence
        The best agreement of the votes over its best rival more than two minutes away; 1 = could as
        well be the rival; None when a person settled it or there is no rival.
    sure
        Whether the confidence reaches :data:`SURE` with three pictures agreeing, or a person settled it.
    reason
        One sentence for the inspector.
    """

    shift_s: float
    confidence: float | None
    sure: bool
    reason: str


SURE = 1.6
"""Below this the cameras are "unsure": our own choice, tried in docs/methods/clocks.md."""
AGREEING = 2.5
"""Pictures that must agree before two cameras are sure, in votes; two may agree by chance."""
VOTE_S = 20.0
"""Width of a vote: how far apart in time two pictures of one view usually are."""
RIVAL_S = 120.0
NEAREST = 3


def align(
    seconds: Sequence[float], other_seconds: Sequence[float], distances: NDArray[np.float32]
) -> Alignment | None:
    """Set a second camera's clock to the first by the pictures of the two that look alike.

    Parameters
    ----------
    seconds, other_seconds
        Each camera's own times, in seconds, any order.
    distances
        Shape (len(other_seconds), len(seconds)): how unlike two pictures are; not finite where
        one cannot be told (too dark).

    Returns
    -------
    None when there is nothing to vote with.

    Notes
    -----
    Each picture of the second camera votes for the time differences to the three pictures of the
    first that are most like it; the differences are smoothed by a Gaussian of 20 s and the highest
    point wins. Our own method, measured in docs/methods/clocks.md.
    """
    votes = _votes(np.asarray(seconds, float), np.asarray(other_seconds, float), distances)
    candidates = votes[np.isfinite(votes)]
    if not candidates.size:
        return None
    heights = np.array([_height(votes, at) for at in candidates])
    peak = float(candidates[heights >= heights.max() - 1e-6].min())  # ties: always the earliest
    close = candidates[np.abs(candidates - peak) <= 2 * VOTE_S]
    weights = np.exp(-0.5 * ((close - peak) / VOTE_S) ** 2)
    shift = float(np.sum(weights * close) / np.sum(weights))
    rivals = heights[np.abs(candidates - peak) > RIVAL_S]
    confidence = float(heights.max() / rivals.max()) if rivals.size else None
    sure = float(heights.max()) >= AGREEING and (confidence is None or confidence >= SURE)
    verdict = "agree" if sure else "do not agree well enough: unsure; one shot of the same thing settles it"
    return Alignment(shift, confidence, sure, f"{len(votes)} pictures of the second camera {verdict}.")


def settle(first: CameraTime, second: CameraTime) -> Alignment:
    """Set a second camera's clock by one thing that both photographed at the same time."""
    shift = (first.moment - second.moment).total_seconds()
    return Alignment(shift, None, True, "Settled by one shot of the same thing with both cameras.")


def shown_clock(time: CameraTime, hour: int, minute: int, second: int = 0) -> float:
    """Tell how far a camera is off from a watch that it photographed.

    Returns
    -------
    Seconds to add to the camera's times, at least -12 hours and less than 12: the watch shows no date, so the
    nearer of the two possible days is taken.

    Raises
    ------
    ValueError
        There is no such time of day.
    """
    shown = time.moment.replace(hour=hour, minute=minute, second=second, microsecond=0)
    off = (shown - time.moment).total_seconds()
    return (off + 12 * HOUR_S) % (24 * HOUR_S) - 12 * HOUR_S


def _votes(
    seconds: NDArray[np.float64], others: NDArray[np.float64], distances: NDArray[np.float32]
) -> NDArray[np.float64]:
    """Shape (pictures that can vote, up to 3): time differences; NaN where a picture has fewer."""
    if seconds.size == 0 or others.size == 0:
        return np.empty((0, NEAREST))
    usable = np.where(np.isfinite(distances), distances, np.inf)
    order = np.argsort(usable, axis=1, kind="stable")[:, :NEAREST]
    votes = seconds[order] - others[:, None]
    votes[~np.isfinite(np.take_along_axis(usable, order, axis=1))] = np.nan
    return np.asarray(votes[np.isfinite(votes).any(axis=1)], np.float64)


def _height(votes: NDArray[np.float64], at: float) -> float:
    """Agreement at one shift: each picture counts once, with the vote that fits best."""
    fits = np.exp(-0.5 * ((votes - at) / VOTE_S) ** 2)
    return float(np.nanmax(fits, axis=1).sum())


# --------------------------------------------------------------------------------------- films


class FilmStamp(StrEnum):
    """What the time in a film's container may mean: cameras differ."""

    LOCAL_START = "local time at the start"
    LOCAL_STOP = "local time at the end"
    UTC_START = "UTC at the start"
    UTC_STOP = "UTC at the end"


@dataclass(frozen=True, slots=True)
class Film:
    """A film's container time and length.

    Attributes
    ----------
    stamp
        Naive, as written.
    length_s
        Seconds.
    """

    stamp: datetime
    length_s: float


def film_start(film: Film, meaning: FilmStamp, offset_min: int) -> datetime:
    """Give a film's first moment, naive local time, if its stamp is read in one of the four ways."""
    start = film.stamp
    if meaning in (FilmStamp.UTC_START, FilmStamp.UTC_STOP):
        start += timedelta(minutes=offset_min)
    if meaning in (FilmStamp.LOCAL_STOP, FilmStamp.UTC_STOP):
        start -= timedelta(seconds=film.length_s)
    return start


def film_stamps(
    films: Sequence[Film],
    stills: Sequence[datetime],
    offset_min: int | None,
    same_camera: Sequence[datetime] = (),
    slack_s: float = 600.0,
) -> list[FilmStamp]:
    """Tell which of the four readings one camera's films can have.

    Parameters
    ----------
    films
        All films of one camera.
    stills
        Naive local times of the job's pictures.
    offset_min
        Minutes east of UTC at the job; None when nobody knows, which leaves the two local readings.
    same_camera
        Those of the stills that the filming camera took; it took none while it filmed.
    slack_s
        How far before the first and after the last picture a film may lie.

    Returns
    -------
    Those under which every film overlaps the job. One = settled; more = ask once for this camera;
    none = the film's clock is wrong.
    """
    if not films or not stills:
        return []
    first = min(stills) - timedelta(seconds=slack_s)
    last = max(stills) + timedelta(seconds=slack_s)
    possible: list[FilmStamp] = []
    clashes: list[int] = []
    for meaning in FilmStamp:
        if offset_min is None and meaning in (FilmStamp.UTC_START, FilmStamp.UTC_STOP):
            continue
        spans = [
            (s := film_start(f, meaning, offset_min or 0), s + timedelta(seconds=f.length_s)) for f in films
        ]
        if all(start <= last and end >= first for start, end in spans):
            possible.append(meaning)
            clashes.append(sum(start < still < end for start, end in spans for still in same_camera))
    least = min(clashes, default=0)
    return [meaning for meaning, count in zip(possible, clashes, strict=True) if count == least]
