"""Put pictures and recordings on one line of time, each with what was decided of it.

Pure: rows and decisions in, pictures in order out. Hides how clocks are corrected, what stands in for a
missing time, and that a frame lifted from a film is a picture. Leaves visits, look-alikes and findings to
:mod:`evidence.state`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

from evidence import card, filetimes, recordings
from evidence.record import Decision, Key
from evidence.recordings import Recording, Still
from evidence.words import (
    CameraTime,
    Capture,
    Digest,
    Distance,
    FileKind,
    FrameNumber,
    Lifted,
    Light,
    Mark,
    Quality,
    Shape,
    Spoken,
    Taken,
    TimeSource,
)

Decisions = Mapping[Key, Decision]
"""The decisions in force, by what they are and what they are about."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What was read from the originals and measured on them, by digest; frames lifted from films too.

    Transcripts that were put on the line of time are by place, and the house's zone is as typed.
    """

    originals: Sequence[Taken]
    captures: Mapping[Digest, Capture] = field(default_factory=dict)
    faults: Mapping[Digest, str] = field(default_factory=dict)
    qualities: Mapping[Digest, Quality] = field(default_factory=dict)
    lights: Mapping[Digest, Light] = field(default_factory=dict)
    transcripts: Mapping[str, Spoken] = field(default_factory=dict)
    zone: str = ""


@dataclass(frozen=True, slots=True)
class PictureState:
    """One picture with everything known and decided about it.

    Attributes
    ----------
    frame, taken
        Which picture it is, with the note of its intake.
    capture
        Its metadata, empty when none could be read.
    corrected
        Camera time after the clock correction in force, None without a time or a correction.
    correction
        Why the time was corrected, "" when it was not; or that the correction cannot be.
    seconds
        Its place on the job's line of time, in seconds since 1970 on the local clock.
    seconds_assumed
        The place is taken from its neighbour or from the file system, for want of a camera time.
    by_file
        Its file's own time as local time, before any correction, where it stands by that; else None.
    assumed
        How that time was read, in words; "" without it.
    fault
        Why it cannot be shown, "" when it can.
    quality, light_proposed
        Measured; None when it could not be.
    light_decided
        None, "as taken", or the inspector's lift in stops.
    card
        Id of the room card it shows, or None.
    card_says
        Name on that card, "" for a blank one that nobody has named yet.
    lifted
        Where it comes from if it is a frame lifted from a film; None for a still. ``taken`` then
        names the copy that holds the frame, and its digest the frame's pixels.
    """

    frame: FrameNumber
    taken: Taken
    capture: Capture
    corrected: CameraTime | None
    correction: str
    seconds: float
    seconds_assumed: bool
    fault: str = ""
    quality: Quality | None = None
    light_proposed: Light | None = None
    light_decided: str | float | None = None
    distance: Distance | None = None
    shown: str = ""
    direction: str = ""
    marks: tuple[Mark, ...] = ()
    view: bool = False
    looked: bool = False
    card: int | None = None
    card_says: str = ""
    lifted: Lifted | None = None
    by_file: CameraTime | None = None
    assumed: str = ""

    @property
    def camera(self) -> str:
        """What its clock belongs to: its camera, or its card when the camera was not recorded."""
        return recordings.camera_of(self.taken, self.capture)

    @property
    def clock_showed(self) -> CameraTime | None:
        """What its clock showed, its file's time standing in where the camera told none."""
        return self.capture.time or self.by_file

    @property
    def name(self) -> str:
        """The file's own name, and of a frame from a film the time in it."""
        if self.lifted is None:
            return self.taken.original.name
        return f"{self.lifted.film.name} at {self.lifted.moment}"

    @property
    def usable(self) -> bool:
        """Whether it can be printed at all."""
        return not self.fault

    @property
    def hopeless(self) -> bool:
        """Whether it is too dark to show anything."""
        return self.light_proposed is not None and self.light_proposed.hopeless

    @property
    def too_bright(self) -> bool:
        """Whether it is over-exposed as taken."""
        return self.light_proposed is not None and self.light_proposed.too_bright

    @property
    def unsharp(self) -> str:
        """Say why it is not known to show sharp detail, "" where it does or was not measured."""
        if self.quality is None or self.quality.sharp:
            return ""
        return "not sharp" if self.quality.blurred else "too plain to tell if sharp"


@dataclass(frozen=True, slots=True)
class Placed:
    """Pictures and recordings on the line of time, before anything is said of single pictures.

    Made by :func:`place` from facts and :func:`of_times`; stays the same while neither changes.
    """

    pictures: tuple[PictureState, ...]
    recordings: tuple[Recording, ...]


_TIMES = frozenset({"clock", "clock from", "film time", "frame"})
"""The decisions that move or make pictures on the line of time."""


_OF_PICTURES = frozenset({"light", "distance", "shown", "direction", "marks", "view", "looked"})
"""The decisions about a picture that leave it where it is."""


def of_times(decisions: Decisions) -> Decisions:
    """Give the decisions that the line of time rests on."""
    return {key: decision for key, decision in decisions.items() if key[0] in _TIMES}


def place(facts: Facts, decisions: Decisions) -> Placed:
    """Put pictures and recordings on one line of time.

    A picture without a camera time stands beside the one before it on its card, or the first that
    has one; when its whole card has none, the card files' own times serve, as a last resort, and the
    clock corrections of that card move them.

    Parameters
    ----------
    facts
        Originals and what was read from them.
    decisions
        Those in force; clock corrections move a camera's pictures.

    Returns
    -------
    Every picture, by time and then in the order shot; nothing but its time is as decided.
    """
    facts = replace(facts, originals=card.in_order_shot(facts.originals, lambda row: row))
    stills = _stills(facts, decisions)
    films = _recorded(facts, decisions, stills)
    frames = [_frame(facts, one) for one in recordings.lifted_frames(decisions, films)]
    # Stills of one second stay in the order shot, frames of films after them.
    ordered = tuple(sorted([*stills, *frames], key=lambda picture: picture.seconds))
    return Placed(ordered, films)


def in_order_shot(pictures: Iterable[PictureState]) -> list[PictureState]:
    """Put pictures in the order in which each card was shot, cards in the order they were taken in."""
    return card.in_order_shot(sorted(pictures, key=lambda p: p.frame), lambda p: p.taken)


def timeline(facts: Facts, decisions: Decisions, placed: Placed | None = None) -> tuple[PictureState, ...]:
    """Give every picture in its place on the line of time, with what was decided of it.

    Parameters
    ----------
    facts, decisions
        As for :func:`place`.
    placed
        What that gave for these facts and these times, where it is at hand.

    Returns
    -------
    Every picture, by time and then in the order shot.
    """
    told = {about for what, about in decisions if what in _OF_PICTURES}
    return tuple(
        _as_decided(p, decisions) if str(p.frame) in told else p
        for p in (placed or place(facts, decisions)).pictures
    )


def _stills(facts: Facts, decisions: Decisions) -> list[PictureState]:
    stills = []
    last = _first_times(facts)
    read_by = _file_reading(facts)
    corrections = recordings.Corrections(decisions)
    for row in facts.originals:
        if row.frame is None or row.kind not in {FileKind.PICTURE, FileKind.RAW}:
            continue
        capture = facts.captures.get(row.original.digest, Capture())
        in_force = corrections.of(row, capture)
        corrected, correction = _corrected(capture.time, in_force) if capture.time else (None, "")
        known = corrected or capture.time
        if known is not None:
            last[row.source] = known.seconds
        by_file = None if row.source in last else _by_file(row, read_by)
        seconds = last.get(row.source, 0.0)
        if by_file is not None:
            moved, _ = _corrected(by_file, in_force)
            seconds = (moved or by_file).seconds
        still = PictureState(row.frame, row, capture, corrected, correction, seconds, known is None)
        still = replace(still, by_file=by_file, assumed=read_by.how if by_file else "")
        stills.append(_as_measured(still, facts))
    return stills


def _file_reading(facts: Facts) -> filetimes.Reading:
    times = [
        (capture.time, recordings.file_seconds(row.file_time))
        for row in facts.originals
        if row.frame is not None and (capture := facts.captures.get(row.original.digest)) and capture.time
    ]
    return filetimes.reading(
        [(time.seconds, written) for time, written in times if written is not None],
        facts.zone,
        [time.offset_min for time, _ in times if time.offset_min is not None],
    )


def _by_file(row: Taken, read_by: filetimes.Reading) -> CameraTime | None:
    written = recordings.file_seconds(row.file_time)
    if written is None or not recordings.in_calendar(written):
        return None
    moment = datetime.fromtimestamp(read_by.local(written), UTC).replace(tzinfo=None)
    return CameraTime(moment, None, TimeSource.FILE_SYSTEM)


def _corrected(time: CameraTime, in_force: Sequence[Decision]) -> tuple[CameraTime | None, str]:
    """Give a time as corrected with the reason for it; no time where it would leave the calendar."""
    if not in_force:
        return None, ""
    add_s, reason = recordings.summed(in_force)
    if not recordings.in_calendar(time.seconds + add_s):
        return None, recordings.beyond(add_s)
    offset = next((o for d in in_force if (o := d.value.get("offset_min")) is not None), time.offset_min)
    return replace(time.later(add_s), offset_min=None if offset is None else int(offset)), reason


def _recorded(facts: Facts, decisions: Decisions, stills: Sequence[PictureState]) -> tuple[Recording, ...]:
    known = [
        Still(
            p.taken.source,
            p.capture.camera,
            p.seconds,
            recordings.file_seconds(p.taken.file_time),
            p.capture.time.offset_min if p.capture.time else None,
        )
        for p in stills
        if not p.seconds_assumed
    ]
    return recordings.place_recordings(facts.originals, facts.captures, decisions, known, facts.zone)


def _frame(facts: Facts, lifted: recordings.LiftedFrame) -> PictureState:
    """Make a picture of a frame lifted from a film: it stands where its film has it."""
    frame, origin, film = lifted.frame, lifted.origin, lifted.film
    time = film.time_at(origin.at_s)
    made = PictureState(
        frame=frame,
        taken=recordings.taken_as_picture(frame, origin, film.taken),
        capture=replace(
            film.capture, time=time, orientation=1, width=lifted.width, height=lifted.height, length_s=None
        ),
        corrected=time.later(film.add_s) if time and film.corrected else None,
        correction=film.correction,
        seconds=(film.starts or 0.0) + origin.at_s,
        seconds_assumed=time is None,
        lifted=origin,
    )
    return _as_measured(made, facts)


def _as_measured(picture: PictureState, facts: Facts) -> PictureState:
    digest = picture.taken.original.digest
    return replace(
        picture,
        fault=facts.faults.get(digest, ""),
        quality=facts.qualities.get(digest),
        light_proposed=facts.lights.get(digest),
    )


def _as_decided(picture: PictureState, decisions: Decisions) -> PictureState:
    about = str(picture.frame)
    return replace(
        picture,
        light_decided=_light(recordings.decided(decisions, "light", about)),
        distance=distance(recordings.decided(decisions, "distance", about)),
        shown=str(recordings.decided(decisions, "shown", about) or ""),
        direction=str(recordings.decided(decisions, "direction", about) or ""),
        marks=_marks(recordings.decided(decisions, "marks", about)),
        view=bool(recordings.decided(decisions, "view", about)),
        looked=bool(recordings.decided(decisions, "looked", about)),
    )


def _first_times(facts: Facts) -> dict[str, float]:
    """For each card, where a picture stands that comes before the first with a camera time."""
    first: dict[str, float] = {}
    for row in facts.originals:
        capture = facts.captures.get(row.original.digest)
        if row.frame is not None and capture and capture.time and row.source not in first:
            first[row.source] = capture.time.seconds
    return first


def distance(value: object) -> Distance | None:
    """Read a distance out of a decision; None where none was said."""
    return None if value is None else Distance(str(value))


def _light(value: object) -> str | float | None:
    return float(value) if isinstance(value, (int, float)) else None if value is None else str(value)


def _marks(value: object) -> tuple[Mark, ...]:
    if not isinstance(value, list):
        return ()
    return tuple(Mark(Shape(m["shape"]), m["x0"], m["y0"], m["x1"], m["y1"]) for m in value)
