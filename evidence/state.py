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
``delivered``  "edition/to whom",  to whom, day, way, and digests of the documents handed over
               "/2" for the next
``not seen``   place               why it could not be seen; null when it was
``film time``  camera or place     a :class:`evidence.clocks.FilmStamp`, or ``{"starts": ..., "how": ...}``
``frame``      frame               a frame lifted from a film: film, time, pixels; null when taken out
``narration``  transcript's place  ``{"starts": "2026-11-18T09:10:05.250", "how": ...}``; null when taken off
``said``       place and second    number of the finding that a sentence was accepted as
============== ==================  =====================================================
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from evidence import choice, findings, recordings, roomcards, rooms
from evidence.recordings import Narration, Recording, Said
from evidence.rooms.weights import WEIGHTS, Weights
from evidence.timeline import Decisions, Facts, PictureState, Placed, distance, place, timeline
from evidence.words import (
    Attachment,
    Distance,
    Finding,
    FrameNumber,
    Joint,
    Visit,
)


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
    alike
        Pairs of one view that are in no set together: other pictures of their sets differ.
    nearer
        Pairs (wider, closer) of one thing.
    cards
        Pictures that show room cards, with the card's id.
    """

    joints: tuple[Joint, ...] = ()
    sets: tuple[tuple[FrameNumber, ...], ...] = ()
    changed: tuple[PairBoxes, ...] = ()
    alike: tuple[tuple[FrameNumber, FrameNumber], ...] = ()
    nearer: tuple[tuple[FrameNumber, FrameNumber], ...] = ()
    cards: tuple[tuple[FrameNumber, int], ...] = ()


@dataclass(frozen=True, slots=True)
class LookAlikes:
    """A set of pictures of one view, with the one that stands in front and the reason.

    The others that are as good stand first among them. ``chosen`` is true where the inspector chose it.
    """

    front: FrameNumber
    others: tuple[FrameNumber, ...]
    reason: str
    chosen: bool = False


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
    changed, alike, nearer
        Pairs offered beside each other, not folded; see :class:`Arrangement`. A picture that was taken out
        of its set is paired in ``alike`` with the one in front of it.
    findings
        Not withdrawn, in the order asked for, else by number.
    printed_findings
        The same as they are printed: urgent ones first, unless they were ordered by hand.
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
    alike: tuple[tuple[FrameNumber, FrameNumber], ...] = ()
    nearer: tuple[tuple[FrameNumber, FrameNumber], ...] = ()
    findings: tuple[Finding, ...] = ()
    printed_findings: tuple[Finding, ...] = ()
    attachments: tuple[Attachment, ...] = ()
    rooms: tuple[str, ...] = ()
    not_seen: tuple[tuple[str, str], ...] = ()
    recordings: tuple[Recording, ...] = ()
    narrations: tuple[Narration, ...] = ()
    sentences: tuple[Said, ...] = ()
    _by_frame: dict[int, PictureState] = field(init=False, repr=False, compare=False)
    _room_of: dict[int, str] = field(init=False, repr=False, compare=False)
    _front_of: dict[int, FrameNumber] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        # Asked for every picture by those who look through a whole day.
        object.__setattr__(self, "_by_frame", {picture.frame: picture for picture in self.pictures})
        rooms_of = {frame: visit.room for visit in self.visits for frame in visit.frames}
        object.__setattr__(self, "_room_of", rooms_of)
        fronts = {frame: alike.front for alike in self.look_alikes for frame in alike.others}
        object.__setattr__(self, "_front_of", fronts)

    def picture(self, frame: int) -> PictureState | None:
        """Give the picture with that frame number."""
        return self._by_frame.get(frame)

    def room_of(self, frame: int) -> str:
        """Name the room of the visit that holds a picture, "" while nameless."""
        return self._room_of.get(frame, "")

    def front_of(self, frame: int) -> FrameNumber | None:
        """Give the look-alike that a picture stands behind, None for one that stands behind none."""
        return self._front_of.get(frame)

    def attached_to(self, finding: int) -> tuple[Attachment, ...]:
        """Give a finding's pictures, the one printed first before the others."""
        return tuple(a for a in self.attachments if a.finding == finding)


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
    look_alikes = _look_alikes(pictures, arrangement.sets, decisions)
    written_up = _findings(decisions, walked)
    return State(
        pictures=pictures,
        visits=visits,
        joints=joints,
        decided_joints=decided,
        look_alikes=look_alikes,
        changed=arrangement.changed,
        alike=(*arrangement.alike, *_taken_apart(arrangement.sets, look_alikes, decisions)),
        nearer=arrangement.nearer,
        findings=written_up,
        printed_findings=_urgent_first(written_up, decisions),
        attachments=_attachments(decisions, {f.number for f in written_up}, {p.frame for p in pictures}),
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


def _joints(
    pictures: Sequence[PictureState], proposed: Sequence[Joint], decisions: Decisions
) -> tuple[tuple[Joint, ...], frozenset[FrameNumber]]:
    joints, decided = [], set()
    by_place = {joint.after: joint for joint in proposed}
    called = _called(decisions, pictures[0]) if pictures else ""
    for at in range(len(pictures) - 1):
        after, begins = pictures[at], pictures[at + 1]
        gap_s = begins.seconds - after.seconds
        joint = by_place.get(at, Joint(at, gap_s, 0.0, boundary=False, doubt=1.0))
        if (choice_made := decisions.get(("begins", str(begins.frame)))) and choice_made.value is not None:
            joint = replace(joint, boundary=bool(choice_made.value), doubt=0.0)
            decided.add(begins.frame)
        elif called and (name := _called(decisions, begins)) and name != called:
            # Named apart by the inspector: no later proposal puts the two under one name.
            joint = replace(joint, boundary=True, doubt=0.0)
        called = _called(decisions, begins) or ("" if joint.boundary else called)
        joints.append(joint)
    return tuple(joints), frozenset(decided)


def _called(decisions: Decisions, picture: PictureState) -> str:
    """Give the name that was decided for the visit beginning with a picture, "" for none."""
    named = decisions.get(("room", str(picture.frame)))
    return str(named.value) if named and named.value else ""


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
        decided = [
            (decision.n, picture.frame)
            for picture in kept
            if (decision := decisions.get(("front", str(picture.frame)))) and decision.value
        ]
        by_hand = max(decided)[1] if decided else None
        in_front = choice.front([candidate(p, chosen=p.frame == by_hand) for p in kept])
        behind = sorted(kept, key=lambda picture: picture.frame not in in_front.equals)
        others = tuple(picture.frame for picture in behind if picture.frame != in_front.frame)
        result.append(LookAlikes(in_front.frame, others, in_front.reason, by_hand is not None))
    return tuple(result)


def _taken_apart(
    sets: Iterable[Sequence[FrameNumber]], look_alikes: Iterable[LookAlikes], decisions: Decisions
) -> Iterator[tuple[FrameNumber, FrameNumber]]:
    """Pair what the inspector took out of a set with what stands for it: their view is one all the same."""
    front_of = {frame: s.front for s in look_alikes for frame in (s.front, *s.others)}
    for members in sets:
        apart = [frame for frame in members if recordings.decided(decisions, "apart", str(frame))]
        left = next((frame for frame in members if frame not in apart), members[0])
        front = front_of.get(left, left)
        yield from ((front, frame) for frame in apart if frame != front)


def candidate(
    picture: PictureState,
    distance: Distance | None = None,
    alike: int | None = None,
    *,
    chosen: bool = False,
) -> choice.Candidate:
    """Give what the choice of the best picture needs to know of one; see :class:`evidence.choice.Candidate`.

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
        chosen=chosen,
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


def _urgent_first(found: tuple[Finding, ...], decisions: Decisions) -> tuple[Finding, ...]:
    if isinstance(recordings.decided(decisions, "order", "findings"), list):
        return found
    return tuple(sorted(found, key=lambda finding: not finding.urgent))


def _places(names: Iterable[str]) -> dict[str, int]:
    return {name.casefold(): place for place, name in enumerate(names)}


def _attachments(
    decisions: Decisions, standing: Collection[int], pictures: Collection[int]
) -> tuple[Attachment, ...]:
    """Give the pictures of the findings that stand.

    Those of a withdrawn finding, and a film's frame that was taken out, wait for its undoing.
    """
    attached = []
    for (what, about), decision in decisions.items():
        if what != "attached" or decision.value is None:
            continue
        finding, frame = map(int, about.split("/"))
        if finding in standing and frame in pictures:
            rank = int(decision.value.get("rank", 0))
            how_far = distance(decision.value.get("distance"))
            attached.append(Attachment(finding, FrameNumber(frame), how_far, rank))
    return tuple(sorted(attached, key=lambda a: (a.finding, a.rank, a.frame)))
