"""Put films, sound notes and what was said on the job's line of time.

Pure: rows, what was read of them and decisions in. Hides what a container's time may mean, how a
film without one is placed by its card's file times, and how sentences find the pictures beside
them. Leaves the pictures' own times to ``state``.
"""

from __future__ import annotations

import zoneinfo
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from statistics import median

from evidence import clocks, narration
from evidence.record import Decision, Key
from evidence.words import (
    FRAMES_PLACE,
    CameraTime,
    Capture,
    Digest,
    FileKind,
    FrameNumber,
    Lifted,
    Original,
    Sentence,
    Spoken,
    Suggestion,
    Taken,
    TimeSource,
)

AGREES_S = 5.0
"""A reading that starts a film within this of where its file's time puts it is taken: file times on
cards step by 2 s (FAT), and cameras close a file a second or two after the last frame."""
_DAY_S = 86_400.0
# A day is left at either end for zones.
_FIRST_S = datetime(1, 1, 1, tzinfo=UTC).timestamp() + _DAY_S
_LAST_S = datetime(9999, 12, 31, tzinfo=UTC).timestamp()
_UNSURE = "its clock can be read in more than one way"


@dataclass(frozen=True, slots=True)
class Still:
    """What a still tells about the clocks of its card: where it stands, and its file's own time."""

    source: str
    camera: str
    seconds: float
    file_seconds: float | None
    offset_min: int | None


@dataclass(frozen=True, slots=True)
class Recording:
    """A film or a sound note with its place on the line of time.

    Attributes
    ----------
    taken, capture
        Which original it is, and its metadata.
    starts
        Seconds since 1970 on the job's local clock; None when nothing tells.
    assumed
        The start rests on file times alone.
    how
        What the start rests on, in words.
    readings
        Readings of its container's time that remain, with the start each gives; two and more mean
        that the inspector has to say once which his camera writes.
    fits
        Names of the readings that its container's time can have, whatever was decided; none where it
        has no time that is read, or one that is known with its zone.
    add_s, correction
        The clock correction that the start holds already, and its reason; or that it cannot be.
    corrected
        A clock correction is in force, were it of no seconds.
    offset_min
        Minutes east of UTC that the start was made local by; None when the zone is not known.
    """

    taken: Taken
    capture: Capture
    starts: float | None
    assumed: bool
    how: str
    readings: tuple[tuple[str, float], ...] = ()
    add_s: float = 0.0
    correction: str = ""
    offset_min: int | None = None
    corrected: bool = False
    fits: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The file's own name."""
        return self.taken.original.name

    @property
    def camera(self) -> str:
        """What a decision about its clock is about: the camera, or the card of one that has no name."""
        return camera_of(self.taken, self.capture)

    def time_at(self, at_s: float) -> CameraTime | None:
        """Give the camera's time of a moment in it, before any correction."""
        if self.starts is None or self.assumed or not in_calendar(shown := self.starts - self.add_s + at_s):
            return None
        moment = datetime.fromtimestamp(shown, UTC).replace(tzinfo=None)
        return CameraTime(moment, self.offset_min, TimeSource.CONTAINER)


@dataclass(frozen=True, slots=True)
class LiftedFrame:
    """A frame of a film that was made a picture of the job: its number, origin, film and size."""

    frame: FrameNumber
    origin: Lifted
    film: Recording
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Narration:
    """A transcript that the inspector put on the line of time.

    Attributes
    ----------
    number
        Running number in the job, from 1, in the order they were put there.
    place
        The transcript's place among the originals.
    starts
        When its recording began, seconds since 1970 on the job's local clock.
    how
        What that rests on.
    sentences
        How many it holds.
    remarks
        What could not be read in it, a sentence each.
    """

    number: int
    place: str
    starts: float
    how: str
    sentences: int
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Said:
    """A sentence on the line of time, with the pictures beside it and what it may mean.

    Attributes
    ----------
    number
        Running number in the job, from 1, by narration and start.
    place
        The transcript's place.
    sentence
        Its words, and its times in its recording.
    starts, ends
        The same on the job's line of time.
    room
        Room of the visit it was said in, "" while nameless.
    near
        Pictures taken within :data:`evidence.narration.WITHIN_S` of it, nearest first.
    own
        Those of them that were taken nearer to this sentence than to any other.
    marked
        It says itself that it is a finding.
    likelihood
        0..1, rising with how like a finding it is; orders, and is no probability.
    suggestions
        At most three standard findings it may mean, likeliest first; an offer, never a decision.
    finding
        Number of the finding it was accepted as, or None.
    """

    number: int
    place: str
    sentence: Sentence
    starts: float
    ends: float
    room: str = ""
    near: tuple[FrameNumber, ...] = ()
    own: tuple[FrameNumber, ...] = ()
    marked: bool = False
    likelihood: float = 0.0
    suggestions: tuple[Suggestion, ...] = ()
    finding: int | None = None


Decisions = Mapping[Key, Decision]


@dataclass(frozen=True, slots=True)
class _Around:
    """What the clocks of a job's recordings are read against."""

    stills: Sequence[Still]
    zone: str
    captures: Mapping[Digest, Capture]


class Corrections:
    """The clock corrections in force, met in the order in which a card was shot."""

    def __init__(self, decisions: Decisions) -> None:
        self._decisions = decisions
        self._steps: dict[str, list[Decision]] = {}

    def of(self, row: Taken, capture: Capture) -> list[Decision]:
        """Give those that hold for one file; to be asked for every file, in order."""
        camera = camera_of(row, capture)
        if row.frame is not None:
            step = self._decisions.get(("clock from", str(row.frame)))
            if step and step.value is not None:
                self._steps.setdefault(camera, []).append(step)
        clock = clock_decision(self._decisions, camera, recorded=camera == capture.camera)
        first = [clock] if clock and clock.value is not None else []
        return [*first, *self._steps.get(camera, [])]


def clock_decision(decisions: Decisions, camera: str, *, recorded: bool) -> Decision | None:
    """Give what was decided of a whole clock, of a camera or of a card whose camera was not recorded."""
    own = decisions.get(("clock", camera))
    if own is None and not recorded:
        # Until cards could be told apart, all of them had one clock between them.
        return decisions.get(("clock", Capture().camera))
    return own


def summed(in_force: Sequence[Decision]) -> tuple[float, str]:
    """Add up clock corrections; give the seconds, and their reasons joined."""
    reasons = [str(d.value.get("reason", "")) for d in in_force]
    return sum(float(d.value["add_s"]) for d in in_force), "; ".join(r for r in reasons if r.strip())


def in_calendar(seconds: float) -> bool:
    """Tell whether a moment, in seconds since 1970, lies in the years 1 to 9999, which can be written.

    Examples
    --------
    >>> in_calendar(moment("9999-12-30T00:00:00")), in_calendar(1e12)
    (True, False)
    """
    return _FIRST_S <= seconds <= _LAST_S


def beyond(add_s: float) -> str:
    """Say that a correction cannot be."""
    return f"not corrected by {add_s:+g} s, which would leave the years 1 to 9999"


def camera_of(taken: Taken, capture: Capture) -> str:
    """Name what a file's clock belongs to: its camera, or its card when the camera has no name."""
    return capture.camera if capture.make or capture.model or capture.serial else taken.source


def place_recordings(
    rows: Sequence[Taken],
    captures: Mapping[Digest, Capture],
    decisions: Decisions,
    stills: Sequence[Still],
    zone: str = "",
) -> tuple[Recording, ...]:
    """Put films and sound notes on the line of time.

    Parameters
    ----------
    rows
        Every original, in order of intake.
    captures
        Metadata by digest.
    decisions
        Those in force: clock corrections, and what the inspector said of films.
    stills
        The pictures whose time is known.
    zone
        The house's time zone (IANA name), "" when not given.

    Notes
    -----
    A decision about one film comes first, then one about its camera; then a recorded local date
    with its zone; then the container's time under the only one of four readings that fits the
    stills (``docs/methods/film.md``), or the one the file's own time agrees with; then the file's
    own time, set to the pictures of the same card. What still leaves two readings is given with both.
    """
    corrections, around = Corrections(decisions), _Around(stills, zone, captures)
    found = []
    for row in rows:
        capture = captures.get(row.original.digest, Capture())
        in_force = corrections.of(row, capture)
        if row.kind in {FileKind.FILM, FileKind.SOUND}:
            read = _read(row, capture, decisions, around)
            add_s, reason = summed(in_force)
            if read.starts is not None and not read.assumed and not _told(row, decisions):
                if in_calendar(read.starts + add_s):
                    read = replace(read, starts=read.starts + add_s, add_s=add_s, corrected=bool(in_force))
                else:
                    reason = beyond(add_s)
            found.append(replace(read, correction=reason))
    return tuple(found)


def lifted_frames(decisions: Decisions, recordings: Sequence[Recording]) -> list[LiftedFrame]:
    """Give the frames that were lifted from films and are kept."""
    by_digest = {one.taken.original.digest: one for one in recordings}
    found = []
    for (what, about), decision in decisions.items():
        if what != "frame" or decision.value is None or decision.value["film"] not in by_digest:
            continue
        value, film = decision.value, by_digest[decision.value["film"]]
        origin = Lifted(
            film.taken.original,
            value["at_s"],
            Digest(value["pixels"]),
            value["decoder"],
            value.get("why", ""),
        )
        found.append(LiftedFrame(FrameNumber(int(about)), origin, film, value["width"], value["height"]))
    return found


def taken_as_picture(frame: FrameNumber, origin: Lifted, film: Taken) -> Taken:
    """Give the note of a lifted frame in the form that a still's has; its place is that of a copy."""
    original = Original(origin.pixels, 0, f"{FRAMES_PLACE}{origin.pixels}.png")
    return replace(film, original=original, kind=FileKind.PICTURE, frame=frame)


def place_narrations(decisions: Decisions, transcripts: Mapping[str, Spoken]) -> tuple[Narration, ...]:
    """Give the narrations in the order in which they were put on the line of time."""
    placed = [
        (decision.n, about, decision.value)
        for (what, about), decision in decisions.items()
        if what == "narration" and decision.value is not None
    ]
    order = {about: n for n, (_, about, _) in enumerate(sorted(placed, key=lambda one: one[0]), 1)}
    narrations = []
    for _, about, value in sorted(placed, key=lambda one: order[one[1]]):
        held = transcripts.get(about, Spoken())
        starts, number = moment(value["starts"]), order[about]
        narrations.append(Narration(number, about, starts, value["how"], len(held.sentences), held.remarks))
    return tuple(narrations)


def place_sentences(
    narrations: Sequence[Narration],
    transcripts: Mapping[str, Spoken],
    decisions: Decisions,
    taken: Sequence[tuple[FrameNumber, float, str]],
) -> tuple[Said, ...]:
    """Put sentences on the line of time, with the pictures beside them.

    Parameters
    ----------
    taken
        Frame, second and room of each picture that can stand beside a sentence, by time.
    """
    said = [
        Said(0, one.place, sentence, one.starts + sentence.start_s, one.starts + sentence.end_s)
        for one in narrations
        for sentence in transcripts.get(one.place, Spoken()).sentences
    ]
    spans, seconds = [(one.starts, one.ends) for one in said], [at for _, at, _ in taken]
    beside = narration.beside(spans, seconds)
    nearest = narration.nearest(spans, seconds)
    made = []
    for i, one in enumerate(said):
        accepted = decided(decisions, "said", sentence_key(one))
        stands = accepted is not None and decided(decisions, "finding", str(accepted)) is not None
        here = beside[i][:1] or [max((j for j, at in enumerate(seconds) if at <= one.starts), default=0)]
        made.append(
            replace(
                one,
                number=i + 1,
                room=taken[here[0]][2] if taken else "",
                near=tuple(taken[j][0] for j in beside[i]),
                own=tuple(taken[j][0] for j in beside[i] if nearest[j] == i),
                marked=(marked := narration.marked(one.sentence.text)),
                likelihood=1.0 if marked else 0.0,
                finding=int(str(accepted)) if stands else None,
            )
        )
    return tuple(made)


def sentence_key(one: Said) -> str:
    """Name a sentence for the record: its transcript and its start in it, which no shift changes."""
    return f"{one.place} {one.sentence.start_s:.3f}"


def written(seconds: float) -> str:
    """Write a moment on the job's line of time for the record, local and without a zone.

    Examples
    --------
    >>> written(moment("2026-11-18T09:10:05.250"))
    '2026-11-18T09:10:05.250'
    """
    return (
        (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds))
        .replace(tzinfo=None)
        .isoformat(timespec="milliseconds")
    )


def moment(text: str) -> float:
    """Read a moment that :func:`written` wrote."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def file_seconds(file_time: str) -> float | None:
    """Read a card file's own time, as its system gave it; None for none."""
    return datetime.fromisoformat(file_time).replace(tzinfo=UTC).timestamp() if file_time else None


def decided(decisions: Decisions, what: str, about: str) -> object:
    """Give what was decided of something; None where nothing was, or it was taken back."""
    decision = decisions.get((what, about))
    return None if decision is None else decision.value


def _told(row: Taken, decisions: Decisions) -> bool:
    told = decisions.get(("film time", row.original.place))
    return told is not None and isinstance(told.value, dict)


def _read(row: Taken, capture: Capture, decisions: Decisions, around: _Around) -> Recording:
    zoned = capture.time is not None and capture.time.offset_min is not None
    readings = {} if zoned else _readings(row, capture, around)
    fits = tuple(readings)
    told = decisions.get(("film time", row.original.place))
    if told and isinstance(told.value, dict):
        return Recording(row, capture, moment(told.value["starts"]), False, str(told.value["how"]), fits=fits)
    guess = _by_file_time(row, capture, around.stills)
    if capture.time is not None and zoned:
        offset = capture.time.offset_min
        how = "its recorded date, which has its zone"
        return Recording(row, capture, capture.time.seconds, False, how, offset_min=offset)
    if readings:
        asked = decisions.get(("film time", camera_of(row, capture)))
        agreeing = [n for n, s in readings.items() if guess is not None and abs(s - guess) <= AGREES_S]
        if asked and asked.value in readings:
            name, why = str(asked.value), "as you said"
        elif len(readings) == 1:
            name, why = next(iter(readings)), "the only reading that fits the pictures"
        elif len(agreeing) == 1:
            name, why = agreeing[0], "as its file's own time agrees"
        else:
            first = next(iter(readings.values()))
            return Recording(row, capture, first, True, _UNSURE, tuple(readings.items()), fits=fits)
        utc = name in {clocks.FilmStamp.UTC_START, clocks.FilmStamp.UTC_STOP}
        by = _offset(capture.time.moment, around) if utc and capture.time else None
        return Recording(row, capture, readings[name], False, f"{name}, {why}", offset_min=by, fits=fits)
    if guess is not None:
        return Recording(row, capture, guess, True, "its file's own time, set to the pictures of its card")
    return Recording(row, capture, None, True, "nothing tells when it began")


def _readings(row: Taken, capture: Capture, around: _Around) -> dict[str, float]:
    """Give the readings of a container's time that fit the stills, by name, with the start each gives."""
    length_s = capture.length_s or 0.0
    if capture.time is None or not all(in_calendar(capture.time.seconds + s) for s in (-length_s, length_s)):
        return {}
    stills = [s for s in around.stills if in_calendar(s.seconds)]
    offset = _offset(capture.time.moment, around)
    film = clocks.Film(capture.time.moment, length_s)
    moments = [datetime.fromtimestamp(s.seconds, UTC).replace(tzinfo=None) for s in stills]
    named = capture.make or capture.model
    own = [
        m
        for m, s in zip(moments, stills, strict=True)
        if named and s.camera == capture.camera and s.source == row.source
    ]
    fits = clocks.film_stamps([film], moments, offset, own) if moments else list(clocks.FilmStamp)[:2]
    return {
        str(one): clocks.film_start(film, one, offset or 0).replace(tzinfo=UTC).timestamp() for one in fits
    }


def _offset(at: datetime, around: _Around) -> int | None:
    """Find the minutes east of UTC at the house: by its zone, the pictures' own, or satellite time."""
    if around.zone:
        offset = at.replace(tzinfo=UTC).astimezone(zoneinfo.ZoneInfo(around.zone)).utcoffset()
        return None if offset is None else round(offset.total_seconds() / 60)
    recorded = Counter(s.offset_min for s in around.stills if s.offset_min is not None)
    if recorded:
        return recorded.most_common(1)[0][0]
    by_satellite = clocks.zone(list(around.captures.values()))
    return by_satellite.offset_min if by_satellite else None


def _by_file_time(row: Taken, capture: Capture, stills: Sequence[Still]) -> float | None:
    """Place a recording by its file's time, which is its end, set to the pictures of the same card."""
    own = file_seconds(row.file_time)
    ahead = [
        s.seconds - s.file_seconds for s in stills if s.source == row.source and s.file_seconds is not None
    ]
    if own is None or not ahead:
        return None
    began = own + median(ahead) - (capture.length_s or 0.0)
    return began if in_calendar(began) else None
