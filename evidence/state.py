"""The job as it stands: the inspector's decision where there is one, else the proposal.

Pure: rows, proposals and decisions in; one picture of the day out, which every step, page and
printed appendix reads. Hides how decisions override proposals. Leaves computing proposals to the
arrange step and keeping decisions to the record.

The decisions, by what they are about:

============== ==================  =====================================================
what           about               value
============== ==================  =====================================================
``clock``      camera              ``{"add_s": -40.0, "reason": "...", "offset_min": -360}``
``clock from`` frame               ``{"add_s": 3600.0, "reason": "..."}``, from this shot of its camera on
``begins``     frame               true: a visit begins with this picture; false: it does not
``room``       frame               name of the room of the visit that holds this picture
``card``       room card's id      name of the room it stands for in this job
``weights``    "rooms"             numbers that weigh gaps against places; null for the packaged ones
``order``      "rooms"             names of rooms in walking order
``order``      "findings"          "room", "system", or a list of finding numbers; null: by number
``view``       frame               true: printed as an overall view of its room
``apart``      frame               true: taken out of its set of look-alikes
``front``      frame               true: stands in front of its set of look-alikes
``light``      frame               ``"as taken"``, or a lift in stops
``shown``      frame               what the picture shows, in words
``direction``  frame               direction of view, in words
``distance``   frame               one of :class:`evidence.words.Distance`
``marks``      frame               list of shapes
``looked``     frame               true: looked at in full size
``finding``    finding number      the finding; null when withdrawn
``attached``   "finding/frame"     ``{"distance": "close-up", "rank": 0}``; null when taken off
``delivered``  "edition/to whom"   day, way, and digests of the documents handed over
``not seen``   place               why it could not be seen; null when it was
``film time``  camera or place     a :class:`evidence.clocks.FilmStamp`, or ``{"starts": ..., "how": ...}``
``frame``      frame               a frame lifted from a film: film, time, pixels; null when taken out
``narration``  transcript's place  ``{"starts": "2026-11-18T09:10:05.250", "how": ...}``; null when taken off
``said``       place and second    number of the finding that a sentence was accepted as
============== ==================  =====================================================
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from evidence import choice, findings, recordings, roomcards, rooms
from evidence.record import Decision, Key
from evidence.recordings import Narration, Recording, Said, Still
from evidence.rooms.weights import WEIGHTS, Weights
from evidence.words import (
    Attachment,
    CameraTime,
    Capture,
    Digest,
    Distance,
    FileKind,
    Finding,
    FrameNumber,
    Joint,
    Lifted,
    Light,
    Mark,
    Quality,
    Sentence,
    Shape,
    Taken,
    Visit,
)

Decisions = Mapping[Key, Decision]
"""The decisions in force, by what they are and what they are about."""


@dataclass(frozen=True, slots=True)
class PairBoxes:
    """Two pictures of one view in which something differs, and where.

    Attributes
    ----------
    first, second
        Frame numbers.
    boxes
        Corners x0, y0, x1, y1 as shares 0..1 of the second picture.
    """

    first: FrameNumber
    second: FrameNumber
    boxes: tuple[tuple[float, float, float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Arrangement:
    """What the program proposes about the order of the day; made anew when anything changes.

    Attributes
    ----------
    joints
        One between every two pictures that follow each other on the timeline.
    sets
        Sets of look-alikes of two and more pictures.
    changed
        Pictures of one view in which something changed.
    nearer
        Pairs (wider, closer) of one thing.
    cards
        Pictures that show room cards, with the card's id.
    """

    joints: tuple[Joint, ...] = ()
    sets: tuple[tuple[FrameNumber, ...], ...] = ()
    changed: tuple[PairBoxes, ...] = ()
    nearer: tuple[tuple[FrameNumber, FrameNumber], ...] = ()
    cards: tuple[tuple[FrameNumber, int], ...] = ()


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
    transcripts: Mapping[str, Sequence[Sentence]] = field(default_factory=dict)
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
        Why the time was corrected, "" when it was not.
    seconds
        Its place on the job's line of time, in seconds since 1970 on the local clock.
    seconds_assumed
        The place is taken from its neighbour or from the file system, for want of a camera time.
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
    def blurred(self) -> bool:
        """Whether it is too unsharp to show detail."""
        return self.quality is not None and self.quality.blurred


@dataclass(frozen=True, slots=True)
class LookAlikes:
    """A set of pictures of one view, with the one that stands in front and the reason.

    The others that are as good stand first among them.
    """

    front: FrameNumber
    others: tuple[FrameNumber, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class State:
    """The whole day as it stands.

    Attributes
    ----------
    pictures
        By place on the line of time.
    visits
        In time; every usable or damaged picture is in exactly one.
    joints
        As proposed, with ``boundary`` as decided where it was.
    decided_joints
        Frames whose beginning of a visit was decided, not proposed.
    look_alikes
        Sets of two and more.
    changed, nearer
        Pairs offered beside each other, never folded.
    findings
        Not withdrawn, in the order asked for, else by number.
    attachments
        By finding, then rank.
    rooms
        Names in walking order.
    not_seen
        Places that could not be seen, each with its reason.
    recordings
        Films and sound notes, in order of intake.
    narrations
        Transcripts on the line of time.
    sentences
        What was said, by number, each with the pictures beside it.
    """

    pictures: tuple[PictureState, ...] = ()
    visits: tuple[Visit, ...] = ()
    joints: tuple[Joint, ...] = ()
    decided_joints: frozenset[FrameNumber] = frozenset()
    look_alikes: tuple[LookAlikes, ...] = ()
    changed: tuple[PairBoxes, ...] = ()
    nearer: tuple[tuple[FrameNumber, FrameNumber], ...] = ()
    findings: tuple[Finding, ...] = ()
    attachments: tuple[Attachment, ...] = ()
    rooms: tuple[str, ...] = ()
    not_seen: tuple[tuple[str, str], ...] = ()
    recordings: tuple[Recording, ...] = ()
    narrations: tuple[Narration, ...] = ()
    sentences: tuple[Said, ...] = ()
    _by_frame: dict[int, PictureState] = field(init=False, repr=False, compare=False)
    _room_of: dict[int, str] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        # Asked for every picture by those who look through a whole day.
        object.__setattr__(self, "_by_frame", {picture.frame: picture for picture in self.pictures})
        rooms_of = {frame: visit.room for visit in self.visits for frame in visit.frames}
        object.__setattr__(self, "_room_of", rooms_of)

    def picture(self, frame: int) -> PictureState | None:
        """Give the picture with that frame number."""
        return self._by_frame.get(frame)

    def room_of(self, frame: int) -> str:
        """Name the room of the visit that holds a picture, "" while nameless."""
        return self._room_of.get(frame, "")

    def attached_to(self, finding: int) -> tuple[Attachment, ...]:
        """Give a finding's pictures, the one printed first before the others."""
        return tuple(a for a in self.attachments if a.finding == finding)


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
    has one; when its whole card has none, the card files' own times serve, as a last resort.

    Parameters
    ----------
    facts
        Originals and what was read from them.
    decisions
        Those in force; clock corrections move a camera's pictures.

    Returns
    -------
    Every picture, by time and then by frame number; nothing but its time is as decided.
    """
    stills = _stills(facts, decisions)
    films = _recorded(facts, decisions, stills)
    frames = [_frame(facts, one) for one in recordings.lifted_frames(decisions, films)]
    ordered = tuple(sorted([*stills, *frames], key=lambda picture: (picture.seconds, picture.frame)))
    return Placed(ordered, films)


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
    Every picture, by time and then by frame number.
    """
    told = {about for what, about in decisions if what in _OF_PICTURES}
    return tuple(
        _as_decided(p, decisions) if str(p.frame) in told else p
        for p in (placed or place(facts, decisions)).pictures
    )


def _stills(facts: Facts, decisions: Decisions) -> list[PictureState]:
    stills = []
    last = _first_times(facts)
    corrections = recordings.Corrections(decisions)
    for row in facts.originals:
        if row.frame is None or row.kind not in {FileKind.PICTURE, FileKind.RAW}:
            continue
        capture = facts.captures.get(row.original.digest, Capture())
        corrected, correction = None, ""
        in_force = corrections.of(row, capture.camera)
        if capture.time is not None and in_force:
            corrected = capture.time.later(sum(float(d.value["add_s"]) for d in in_force))
            if offset := next((o for d in in_force if (o := d.value.get("offset_min")) is not None), None):
                corrected = replace(corrected, offset_min=int(offset))
            correction = "; ".join(str(d.value.get("reason", "")) for d in in_force)
        known = corrected or capture.time
        if known is not None:
            last[row.source] = known.seconds
        seconds = last.get(row.source, recordings.file_seconds(row.file_time) or 0.0)
        still = PictureState(row.frame, row, capture, corrected, correction, seconds, known is None)
        stills.append(_as_measured(still, facts))
    return stills


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
        corrected=time.later(film.add_s) if time and film.correction else None,
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
        distance=_distance(recordings.decided(decisions, "distance", about)),
        shown=str(recordings.decided(decisions, "shown", about) or ""),
        direction=str(recordings.decided(decisions, "direction", about) or ""),
        marks=_marks(recordings.decided(decisions, "marks", about)),
        view=bool(recordings.decided(decisions, "view", about)),
        looked=bool(recordings.decided(decisions, "looked", about)),
    )


def stand(
    facts: Facts, arrangement: Arrangement, decisions: Decisions, placed: Placed | None = None
) -> State:
    """Say how the job stands.

    Parameters
    ----------
    facts
        Originals and what was read from them.
    arrangement
        Proposals made for exactly this timeline.
    decisions
        Those in force.
    placed
        What :func:`place` gave for these facts and these times, where it is at hand.
    """
    placed = placed or place(facts, decisions)
    cards, names = dict(arrangement.cards), card_names(decisions)
    pictures = tuple(
        replace(p, card=card, card_says=names.get(card, ""))
        if (card := cards.get(p.frame)) is not None
        else p
        for p in timeline(facts, decisions, placed)
    )
    joints, decided = _joints(pictures, arrangement.joints, decisions)
    visits = _visits(pictures, joints, decisions)
    walked = _rooms(visits, decisions)
    room_of = {frame: visit.room for visit in visits for frame in visit.frames}
    beside = [(p.frame, p.seconds, room_of.get(p.frame, "")) for p in pictures if p.usable and p.card is None]
    narrations = recordings.place_narrations(decisions, facts.transcripts)
    return State(
        pictures=pictures,
        visits=visits,
        joints=joints,
        decided_joints=decided,
        look_alikes=_look_alikes(pictures, arrangement.sets, decisions),
        changed=arrangement.changed,
        nearer=arrangement.nearer,
        findings=_findings(decisions, walked),
        attachments=_attachments(decisions),
        rooms=walked,
        not_seen=tuple(
            (about, str(decision.value))
            for (what, about), decision in decisions.items()
            if what == "not seen" and decision.value is not None
        ),
        recordings=placed.recordings,
        narrations=narrations,
        sentences=recordings.place_sentences(narrations, facts.transcripts, decisions, beside),
    )


def card_names(decisions: Decisions) -> dict[int, str]:
    """Say what each room card stands for in this job: as decided, else as printed on it."""
    names = {roomcards.JOB_CARD: "Job card", **roomcards.CARD_NAMES}
    for (what, about), decision in decisions.items():
        if what == "card" and decision.value:
            names[int(about)] = str(decision.value)
    return names


def weights_in_force(decisions: Decisions) -> Weights:
    """Give the weights that the inspector chose for the rooms, else the packaged ones.

    Weights of an earlier method weigh other things; they stay in the record and are not used.
    """
    chosen = recordings.decided(decisions, "weights", "rooms")
    return (Weights.named(chosen) if isinstance(chosen, dict) else None) or WEIGHTS


def _first_times(facts: Facts) -> dict[str, float]:
    """For each card, where a picture stands that comes before the first with a camera time."""
    first: dict[str, float] = {}
    for row in facts.originals:
        capture = facts.captures.get(row.original.digest)
        if row.frame is not None and capture and capture.time and row.source not in first:
            first[row.source] = capture.time.seconds
    return first


def _distance(value: object) -> Distance | None:
    return None if value is None else Distance(str(value))


def _light(value: object) -> str | float | None:
    return float(value) if isinstance(value, (int, float)) else None if value is None else str(value)


def _marks(value: object) -> tuple[Mark, ...]:
    if not isinstance(value, list):
        return ()
    return tuple(Mark(Shape(m["shape"]), m["x0"], m["y0"], m["x1"], m["y1"]) for m in value)


def _joints(
    pictures: Sequence[PictureState], proposed: Sequence[Joint], decisions: Decisions
) -> tuple[tuple[Joint, ...], frozenset[FrameNumber]]:
    joints, decided = [], set()
    by_place = {joint.after: joint for joint in proposed}
    for place in range(len(pictures) - 1):
        after, begins = pictures[place], pictures[place + 1]
        gap_s = begins.seconds - after.seconds
        joint = by_place.get(place, Joint(place, gap_s, 0.0, boundary=False, doubt=1.0))
        if (choice_made := decisions.get(("begins", str(begins.frame)))) and choice_made.value is not None:
            joint = replace(joint, boundary=bool(choice_made.value), doubt=0.0)
            decided.add(begins.frame)
        joints.append(joint)
    return tuple(joints), frozenset(decided)


def _visits(
    pictures: Sequence[PictureState], joints: Sequence[Joint], decisions: Decisions
) -> tuple[Visit, ...]:
    names = {p.card: p.card_says for p in pictures if p.card is not None and p.card_says}
    names.pop(roomcards.JOB_CARD, None)
    frames, cards = [p.frame for p in pictures], [p.card for p in pictures]
    return tuple(_named(visit, decisions) for visit in rooms.visits(joints, frames, cards, names))


def _named(visit: Visit, decisions: Decisions) -> Visit:
    """Put the name that was decided last for any of its pictures in the place of the card's."""
    named = [d for frame in visit.frames if (d := decisions.get(("room", str(frame)))) and d.value]
    if not named:
        return visit
    latest = max(named, key=lambda decision: decision.n)
    return replace(visit, room=str(latest.value), named_by="inspector")


def _rooms(visits: Iterable[Visit], decisions: Decisions) -> tuple[str, ...]:
    met = dict.fromkeys(visit.room for visit in visits if visit.room)
    ordered = recordings.decided(decisions, "order", "rooms")
    first = [str(name) for name in ordered if str(name) in met] if isinstance(ordered, list) else []
    return tuple(dict.fromkeys([*first, *met]))


def _look_alikes(
    pictures: Sequence[PictureState], sets: Iterable[Sequence[FrameNumber]], decisions: Decisions
) -> tuple[LookAlikes, ...]:
    by_frame = {picture.frame: picture for picture in pictures}
    result = []
    for members in sets:
        kept = [
            by_frame[frame]
            for frame in members
            if frame in by_frame
            and by_frame[frame].quality is not None
            and not recordings.decided(decisions, "apart", str(frame))
        ]
        if len(kept) < 2:
            continue
        chosen = [
            (decision.n, picture.frame)
            for picture in kept
            if (decision := decisions.get(("front", str(picture.frame)))) and decision.value
        ]
        if chosen:
            front, reason, equals = max(chosen)[1], "chosen by the inspector", frozenset[FrameNumber]()
        else:
            proposal = choice.front([candidate(picture) for picture in kept])
            front, reason, equals = proposal.frame, proposal.reason, frozenset(proposal.equals)
        behind = sorted(kept, key=lambda picture: picture.frame not in equals)
        others = tuple(picture.frame for picture in behind if picture.frame != front)
        result.append(LookAlikes(front, others, reason))
    return tuple(result)


def candidate(
    picture: PictureState, distance: Distance | None = None, alike: int | None = None
) -> choice.Candidate:
    """Give what the choice of the best picture needs to know of one.

    Raises
    ------
    ValueError
        The picture was never measured.
    """
    if picture.quality is None:
        raise ValueError(f"picture {picture.frame} was not measured")
    return choice.Candidate(
        frame=picture.frame,
        quality=picture.quality,
        light=picture.light_proposed,
        distance=distance or picture.distance,
        alike=alike,
    )


def finding_of(number: int, value: Mapping[str, object]) -> Finding:
    """Make a finding from its decision's value.

    Raises
    ------
    TypeError
        The value has a key that no finding has.
    """
    return Finding(**{**value, "number": number})  # type: ignore[arg-type]


def _findings(decisions: Decisions, rooms: Sequence[str]) -> tuple[Finding, ...]:
    found = [
        finding_of(int(about), decision.value)
        for (what, about), decision in decisions.items()
        if what == "finding" and decision.value is not None
    ]
    asked = recordings.decided(decisions, "order", "findings")
    if asked == "room":
        walked = _places(rooms)
        key = [(walked.get(f.room.casefold(), len(walked)), f.room.casefold(), f.number) for f in found]
    elif asked == "system":
        known = _places(findings.SYSTEMS)
        # What no system was said of comes last, after systems of the inspector's own.
        key = [
            (known.get(f.system.casefold(), len(known) + (not f.system)), f.system.casefold(), f.number)
            for f in found
        ]
    else:
        by_hand = _places(map(str, asked)) if isinstance(asked, list) else {}
        key = [(by_hand.get(str(f.number), len(by_hand)), "", f.number) for f in found]
    return tuple(finding for _, finding in sorted(zip(key, found, strict=True), key=lambda pair: pair[0]))


def _places(names: Iterable[str]) -> dict[str, int]:
    return {name.casefold(): place for place, name in enumerate(names)}


def _attachments(decisions: Decisions) -> tuple[Attachment, ...]:
    attached = []
    for (what, about), decision in decisions.items():
        if what != "attached" or decision.value is None:
            continue
        finding, frame = about.split("/")
        attached.append(
            Attachment(
                int(finding),
                FrameNumber(int(frame)),
                _distance(decision.value.get("distance")),
                int(decision.value.get("rank", 0)),
            )
        )
    return tuple(sorted(attached, key=lambda a: (a.finding, a.rank, a.frame)))
