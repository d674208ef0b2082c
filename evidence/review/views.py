"""Lay the job out for the four views as plain values; pure, and every word of them.

A view is a list of parts, each with a digest of what it says, so that a page that is open fetches
only the parts that have changed.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from typing import TYPE_CHECKING, Final

from evidence import tables
from evidence.review import spoken
from evidence.steps import issue, show, spots
from evidence.steps.findings import missing_parts
from evidence.steps.gaps import GapKind
from evidence.words import Distance

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from evidence.choice import Proposal
    from evidence.review.reading import Seen
    from evidence.state import State
    from evidence.steps.gaps import Gap
    from evidence.steps.pages import Pages
    from evidence.timeline import PictureState
    from evidence.words import Finding, FrameNumber, Joint, Visit

DISTANCES: Final = tuple(d.value for d in Distance)
"""In the order of the keys 1 to 6."""

DOUBTFUL: Final = 0.25
"""Joints less in doubt than this are not asked about; our own, by eye on the made-up house."""
MOST_DOUBTS: Final = 12


@dataclass(frozen=True, slots=True)
class Shot:
    """A picture as a strip shows it.

    Attributes
    ----------
    said
        What is to be known of it at a glance, in words.
    behind
        Frames of its look-alikes, folded behind it.
    differ
        How many pictures of the same view differ from it somewhere.
    ratio_w, ratio_h
        Its upright shape, so that the page keeps its place while pictures come.
    """

    frame: int
    digest: str
    name: str
    when: str
    said: tuple[str, ...]
    light: str
    proposed: str
    ratio_w: int
    ratio_h: int
    behind: tuple[int, ...] = ()
    differ: int = 0
    reason: str = ""
    fault: str = ""
    shown: str = ""
    doubt: str = ""
    sentences: tuple[spoken.Line, ...] = ()

    @property
    def label(self) -> str:
        """The words that stand for it where it is not seen."""
        return ", ".join((f"Picture {self.frame}", self.when, *self.said, *filter(None, [self.shown])))


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
class Pick:
    """A picture of a finding."""

    shot: Shot
    distance: str
    place: str
    warning: str = ""


@dataclass(frozen=True, slots=True)
class FindingPart:
    """One finding with its pictures, its proposal and what it lacks."""

    finding: Finding
    picks: tuple[Pick, ...]
    proposal: tuple[tuple[int, str, str], ...]
    settled: bool
    remark: str
    lacks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GapPart:
    """One gap and the place where it is settled."""

    kind: str
    sentence: str
    href: str
    where: str
    explain: str


@dataclass(frozen=True)
class Part:
    """A piece of a view that is shown anew when its digest changes."""

    id: str
    template: str
    value: object

    @cached_property
    def digest(self) -> str:
        """Stands for all it says."""
        return hashlib.sha256(repr(self.value).encode()).hexdigest()[:16]


@dataclass(frozen=True, slots=True)
class Head:
    """What stands above every view."""

    address: str
    version: str
    line: int
    saved: str
    findings: tuple[tuple[int, str], ...]
    counts: Mapping[str, str]
    undo: str
    redo: str


def head(seen: Seen, undo: str, redo: str) -> Head:
    """Give what stands above every view."""
    state, lines = seen.state, seen.job.lines
    printed = issue.printed(state)
    unlooked = [p for p in printed if not p.looked]
    return Head(
        address=seen.job.details.address or seen.job.folder.name,
        version=seen.version,
        line=len(lines),
        saved=f"line {len(lines)} saved",
        findings=tuple((f.number, short(f.seen)) for f in state.findings),
        counts={
            "walk": count(sum(not v.room for v in state.visits), "visit", "nameless") or "all visits named",
            "findings": f"{len(state.findings)} written" if state.findings else "none yet",
            "gaps": f"{len(seen.gaps)} open" if seen.gaps else "none open",
            "proof": count(len(unlooked), "picture", "to look at")
            or ("all looked at" if printed else "nothing to print yet"),
        },
        undo=undo,
        redo=redo,
    )


def walk(seen: Seen) -> list[Part]:
    """Lay out the day: joints in doubt, proposed overall views, then a part for each visit, in time."""
    state = seen.state
    strip = _Strip(state)
    doubts = tuple(_doubts(state, strip))
    views_of = tuple(Overall(strip.shot(frame), state.room_of(frame)) for frame in spots.overalls(state))
    parts = [Part("clocks", "clocks.html", _clocks(seen))] if seen.clocks else []
    parts.append(Part("doubts", "doubts.html", doubts))
    if views_of:
        parts.append(Part("overalls", "overalls.html", views_of))
    for number, visit in enumerate(state.visits, 1):
        parts.append(Part(f"visit-{visit.frames[0]}", "visit.html", _visit(state, strip, number, visit)))
    return parts


def _clocks(seen: Seen) -> tuple[ClockPart, ...]:
    """Put the proposals for each clock together."""
    found: dict[tuple[str, int], list[tuple[str, str, str]]] = {}
    for one in seen.clocks:
        by = f"{abs(one.add_s):g} s" if abs(one.add_s) < 600 else lasting(abs(one.add_s))
        seems = f"{by} {'ahead' if one.add_s < 0 else 'behind'}"
        found.setdefault((one.camera, one.frame or 0), []).append((f"{one.add_s:g}", seems, one.reason))
    return tuple(ClockPart(camera, frame, tuple(rows)) for (camera, frame), rows in found.items())


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


def unfolded(seen: Seen, frame: int) -> list[Behind]:
    """Give the look-alikes behind a picture, then those of its view in which something differs, boxed."""
    strip = _Strip(seen.state)
    found = next((s for s in seen.state.look_alikes if s.front == frame), None)
    behind = [Behind(strip.shot(other), "behind") for other in (found.others if found else ())]
    for pair in seen.state.changed:
        if pair.first == frame:
            behind.append(Behind(strip.shot(pair.second), "same view, what differs is boxed", pair.boxes))
        elif pair.second == frame:
            # Where it differs is known in the second picture; in the first it lies nearly there.
            words = "same view, something differs about where it is boxed"
            behind.append(Behind(strip.shot(pair.first), words, pair.boxes))
    return behind


def findings(seen: Seen) -> list[Part]:
    """Lay out the findings: a part for each, urgent ones first as they are printed."""
    strip = _Strip(seen.state)
    ordered = sorted(seen.state.findings, key=lambda f: (not f.urgent, f.number))
    return [Part(f"finding-{f.number}", "finding.html", _finding(seen, strip, f)) for f in ordered]


def gap_list(seen: Seen) -> list[Part]:
    """Lay out what is missing, each with the place where it is settled."""
    rows = tuple(_gap(seen.state, gap) for gap in seen.gaps)
    told = tuple(seen.state.not_seen)
    return [Part("gap-list", "gap_list.html", (rows, told))]


def pictures(seen: Seen, frames: Iterable[int]) -> dict[int, dict[str, object]]:
    """Give everything the full-size view says of pictures, by frame; those that there are."""
    strip = _Strip(seen.state)
    return {frame: _whole(seen.state, strip, p) for frame in frames if (p := seen.state.picture(frame))}


def _whole(state: State, strip: _Strip, p: PictureState) -> dict[str, object]:
    frame = p.frame
    name, proposed = show.lights(p)
    shot = strip.shot(frame)
    return {
        "frame": p.frame,
        "digest": p.taken.original.digest,
        "name": p.name,
        "when": shot.when,
        "room": state.room_of(frame),
        "said": list(shot.said),
        "label": shot.label,
        "light": name,
        "proposed": proposed,
        "lightSaid": _light_said(p),
        "stops": _stops(p),
        "fault": p.fault,
        "shown": p.shown,
        "direction": p.direction,
        "distance": p.distance or "",
        "looked": p.looked,
        "view": p.view,
        "marks": [{"shape": m.shape, "x0": m.x0, "y0": m.y0, "x1": m.x1, "y1": m.y1} for m in p.marks],
        "sentences": [said.sentence.text for said in state.sentences if frame in said.near],
        "findings": [
            {"number": a.finding, "distance": a.distance or ""} for a in state.attachments if a.frame == frame
        ],
        "width": shot.ratio_w,
        "height": shot.ratio_h,
    }


def count(number: int, noun: str, what: str = "") -> str:
    """Say "3 visits nameless", "1 visit nameless"; "" for none.

    Examples
    --------
    >>> count(3, "visit", "nameless"), count(1, "picture"), count(0, "visit")
    ('3 visits nameless', '1 picture', '')
    """
    return f"{tables.count(number, noun)} {what}".rstrip() if number else ""


def short(text: str, longest: int = 72) -> str:
    """Cut a sentence at a word.

    Examples
    --------
    >>> short("Bath fan hose ends under the roof deck.", 16)
    'Bath fan hose…'
    """
    text = text.rstrip(".")
    return text if len(text) <= longest else text[: longest - 1].rsplit(" ", 1)[0] + "…"


def lasting(seconds: float) -> str:
    """Say how long a pause was.

    Examples
    --------
    >>> lasting(7), lasting(170), lasting(5400)
    ('7 s', '3 min', '1 h 30 min')
    """
    if seconds < 60:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"


class _Strip:
    """Makes shots, with what is looked up for all of them looked up once."""

    def __init__(self, state: State) -> None:
        self._by_frame = {p.frame: p for p in state.pictures}
        self.places = {p.frame: place for place, p in enumerate(state.pictures)}
        self._sets = {s.front: s for s in state.look_alikes}
        self.behind = {frame for s in state.look_alikes for frame in s.others}
        self._findings: dict[int, list[int]] = {}
        for a in state.attachments:
            self._findings.setdefault(a.frame, []).append(a.finding)
        self._changed: dict[int, int] = {}
        for pair in state.changed:
            for frame in (pair.first, pair.second):
                self._changed[frame] = self._changed.get(frame, 0) + 1
        self._spoken = spoken.lines(state)

    def shot(self, frame: int, doubt: str = "") -> Shot:
        p = self._by_frame[frame]  # type: ignore[index]
        folded = self._sets.get(p.frame)
        light, proposed = show.lights(p)
        width, height = _shape(p)
        return Shot(
            frame=p.frame,
            digest=p.taken.original.digest,
            name=p.name,
            when=_time(p.seconds) + (" (assumed)" if p.seconds_assumed else ""),
            said=tuple(self._said(p)),
            light=light,
            proposed=proposed,
            ratio_w=width,
            ratio_h=height,
            behind=folded.others if folded else (),
            differ=self._changed.get(p.frame, 0),
            reason=folded.reason if folded else "",
            fault=p.fault,
            shown=p.shown,
            doubt=doubt,
            sentences=self._spoken.get(p.frame, ()),
        )

    def _said(self, p: PictureState) -> Iterator[str]:
        if p.fault:
            yield "cannot be shown"
            return
        if found := self._findings.get(p.frame):
            yield f"finding {', '.join(map(str, sorted(found)))}"
        if p.card is not None:
            yield f"room card: {p.card_says or 'blank'}"
        if p.view:
            yield "overall view"
        if p.hopeless:
            yield "too dark"
        elif light := _light_said(p):
            yield light
        if p.blurred:
            yield "not sharp"
        if p.marks:
            yield "marked"


def _shape(p: PictureState) -> tuple[int, int]:
    width, height = p.capture.width or 4, p.capture.height or 3
    return (height, width) if p.capture.orientation >= 5 else (width, height)


def _light_said(p: PictureState) -> str:
    if isinstance(p.light_decided, float):
        return f"{p.light_decided:+.1f} stops by hand"
    if p.light_decided is not None:
        return "as taken by hand"
    if p.light_proposed is None or p.light_proposed.left_alone:
        return ""
    return f"{p.light_proposed.stops:+.1f} stops"


def _stops(p: PictureState) -> float:
    if isinstance(p.light_decided, float):
        return p.light_decided
    if p.light_decided is not None or p.light_proposed is None or p.light_proposed.left_alone:
        return 0.0
    return round(p.light_proposed.stops, 1)


def _time(seconds: float) -> str:
    return f"{datetime.fromtimestamp(seconds, UTC):%H:%M:%S}"


def _visit(state: State, strip: _Strip, number: int, visit: Visit) -> VisitPart:
    places = strip.places
    first, last = (state.pictures[places[frame]] for frame in (visit.frames[0], visit.frames[-1]))
    joint = state.joints[places[first.frame] - 1] if places[first.frame] else None
    shots = tuple(
        strip.shot(frame, _inner_doubt(state, places, frame) if at else "")
        for at, frame in enumerate(visit.frames)
        if frame not in strip.behind
    )
    named = {"inspector": "", "room card": "by its room card", "proposal": "proposed"}.get(visit.named_by, "")
    return VisitPart(
        number=number,
        first=first.frame,
        room=visit.room,
        named=named,
        when="–".join(dict.fromkeys(_time(p.seconds)[:5] for p in (first, last))),
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


def _doubts(state: State, strip: _Strip) -> Iterable[Doubt]:
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


def _finding(seen: Seen, strip: _Strip, finding: Finding) -> FindingPart:
    attached = seen.state.attached_to(finding.number)
    picks = tuple(
        Pick(
            strip.shot(a.frame),
            a.distance or "",
            "printed first" if at == 0 else "in support",
            _warning(seen.state.picture(a.frame)),
        )
        for at, a in enumerate(attached)
        if seen.state.picture(a.frame)
    )
    proposal = seen.proposals.get(finding.number)
    proposed = tuple(_proposed(proposal))
    return FindingPart(
        finding=finding,
        picks=picks,
        proposal=proposed,
        settled=[row[0] for row in proposed] == [a.frame for a in attached],
        remark=proposal.remark if proposal else "",
        lacks=tuple(_lacks(seen.gaps, finding)),
    )


def _warning(p: PictureState | None) -> str:
    if p is None:
        return ""
    return p.fault or ("too dark" if p.hopeless else "not sharp" if p.blurred else "")


def _proposed(proposal: Proposal | None) -> Iterator[tuple[int, str, str]]:
    if proposal:
        for pick in (*((proposal.printed,) if proposal.printed else ()), *proposal.support):
            yield pick.frame, pick.reason, pick.warning


def _lacks(gaps: Sequence[Gap], finding: Finding) -> Iterator[str]:
    number = str(finding.number)
    said = {
        GapKind.NO_PICTURE: "no picture yet",
        GapKind.UNUSABLE: "no usable picture",
        GapKind.NO_CLOSE: "no close view",
        GapKind.NO_WHERE: "no view that shows where it is",
    }
    for gap in gaps:
        if gap.about == number and gap.kind in said:
            yield said[gap.kind]
    yield from (f"not said: {part}" for part in missing_parts(finding))


_SETTLED: Final = {
    GapKind.NO_PICTURE: ("/walk#finding-{}", "Choose its pictures in Walk"),
    GapKind.UNUSABLE: ("/findings#finding-{}", "Change its pictures in Findings"),
    GapKind.NO_CLOSE: ("/walk#finding-{}", "Attach a closer view in Walk"),
    GapKind.NO_WHERE: ("/walk#finding-{}", "Attach a wider view in Walk"),
    GapKind.PARTS: ("/findings#finding-{}", "Write it in Findings"),
    GapKind.DAMAGED: ("/walk#p-{}", "See it in Walk"),
    GapKind.HOPELESS: ("/walk#p-{}", "See it in Walk"),
}


def _gap(state: State, gap: Gap) -> GapPart:
    href, where, explain = "", "", ""
    if gap.kind in _SETTLED:
        pattern, where = _SETTLED[gap.kind]
        href = pattern.format(gap.about)
    elif gap.kind is GapKind.UNNAMED:
        href, where = f"/walk#visit-{state.visits[int(gap.about) - 1].frames[0]}", "Name it in Walk"
    elif gap.kind is GapKind.NO_OVERALL:
        visit = next((v for v in state.visits if v.room == gap.about), None)
        href = f"/walk#visit-{visit.frames[0]}" if visit else "/walk"
        where, explain = "Choose its overall view in Walk", gap.about
    elif gap.kind is GapKind.REQUIRED:
        href, where, explain = "/walk", "Look for it in Walk", gap.about
    return GapPart(gap.kind.value, gap.sentence, href, where, explain)


@dataclass(frozen=True, slots=True)
class ProofHead:
    """How far the proof has come, and what may be done."""

    set: bool
    pages: int
    changed: int
    looked: int
    printed: int
    waiting: tuple[Shot, ...]
    gaps: int
    editions: tuple[str, ...]
    per_page: int


@dataclass(frozen=True, slots=True)
class SpotOn:
    """A photo on a page, in shares of the page in ten-thousandths, as an SVG has them."""

    frame: int
    photo: int
    looked: bool
    x: int
    y: int
    width: int
    height: int
    shot: Shot


@dataclass(frozen=True, slots=True)
class ProofPage:
    """One page as it will print."""

    number: int
    of: int
    digest: str
    spots: tuple[SpotOn, ...]


def proof(seen: Seen, made: Pages | None, changed: int) -> list[Part]:
    """Lay out the pages as they will print, and above them what is still to be looked at."""
    state = seen.state
    strip = _Strip(state)
    all_printed = issue.printed(state)
    waiting = tuple(strip.shot(p.frame) for p in all_printed if not p.looked)
    editions = tuple(line.about for line in seen.job.lines if line.what == "issue")
    above = ProofHead(
        set=made is not None,
        pages=made.count if made else 0,
        changed=changed,
        looked=len(all_printed) - len(waiting),
        printed=len(all_printed),
        waiting=waiting,
        gaps=len(seen.gaps),
        editions=editions,
        per_page=seen.job.details.per_page,
    )
    parts = [Part("proof-head", "proof_head.html", above)]
    known = {p.frame: p for p in state.pictures}
    for number, photos in enumerate(made.spots if made else (), 1):
        on_page = tuple(
            SpotOn(
                spot.frame,
                spot.photo,
                known[spot.frame].looked,
                round(spot.x0 * 10_000),
                round(spot.y0 * 10_000),
                round((spot.x1 - spot.x0) * 10_000),
                round((spot.y1 - spot.y0) * 10_000),
                strip.shot(spot.frame),
            )
            for spot in photos
            if spot.frame in known
        )
        page = ProofPage(number, made.count if made else 0, made.digest[:16] if made else "", on_page)
        parts.append(Part(f"page-{number}", "proof_page.html", page))
    return parts
