"""Say all that the page says of a picture, in a strip or in full size."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from evidence.review import spoken
from evidence.steps import show
from evidence.tables.layout import lift_text
from evidence.words import Distance

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from evidence.review.reading import Seen
    from evidence.state import State
    from evidence.timeline import PictureState
    from evidence.words import Finding


DISTANCES: Final = tuple(d.value for d in Distance)
"""In the order of the keys 1 to 6."""


@dataclass(frozen=True, slots=True)
class Shot:
    """A picture as a strip shows it.

    Attributes
    ----------
    said
        What is to be known of it at a glance, in words.
    behind
        Frames of its look-alikes, folded behind it.
    differ, more
        How many pictures of the same view differ from it somewhere; and how many do not, and stand apart
        from it all the same.
    view, taken
        It is printed as an overall view; it was set to be printed as taken. For the keys that turn either.
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
    more: int = 0
    reason: str = ""
    fault: str = ""
    shown: str = ""
    view: bool = False
    taken: bool = False
    doubt: str = ""
    sentences: tuple[spoken.Line, ...] = ()

    @property
    def kin(self) -> str:
        """What it can be unfolded to, in words; empty where it is the only picture of its view."""
        said = [
            f"{number} {words}"
            for number, words in ((len(self.behind), "alike behind"), (self.more, "more of this view"))
            if number
        ]
        if self.differ:
            of = "" if said else " of this view"
            said.append(f"{self.differ}{of} differ{'s' if self.differ == 1 else ''}")
        return ", ".join(said)

    @property
    def label(self) -> str:
        """The words that stand for it where it is not seen."""
        return ", ".join((f"Picture {self.frame}", self.when, *self.said, *filter(None, [self.shown])))


class Strip:
    """Makes shots, with what is looked up for all of them looked up once."""

    def __init__(self, state: State) -> None:
        self._state = state
        self._by_frame = {p.frame: p for p in state.pictures}
        self.places = {p.frame: place for place, p in enumerate(state.pictures)}
        self._sets = {s.front: s for s in state.look_alikes}
        self._findings: dict[int, list[int]] = {}
        for a in state.attachments:
            self._findings.setdefault(a.frame, []).append(a.finding)
        self._changed = Counter(frame for pair in state.changed for frame in (pair.first, pair.second))
        self._alike = Counter(frame for pair in state.alike for frame in pair)
        self._spoken = spoken.lines(state)

    def shot(self, frame: int, doubt: str = "") -> Shot:
        """Give a picture as a strip shows it; ``doubt`` says why a visit may begin with it."""
        p = self._by_frame[frame]  # type: ignore[index]
        folded = self._sets.get(p.frame)
        light, proposed = show.lights(p)
        width, height = _shape(p)
        return Shot(
            frame=p.frame,
            digest=p.taken.original.digest,
            name=p.name,
            when=clock_time(p.seconds) + (" (assumed)" if p.seconds_assumed else ""),
            said=tuple(self._said(p)),
            light=light,
            proposed=proposed,
            ratio_w=width,
            ratio_h=height,
            behind=folded.others if folded else (),
            differ=self._changed[p.frame],
            more=self._alike[p.frame],
            reason=folded.reason if folded else "",
            fault=p.fault,
            shown=p.shown,
            view=p.view,
            taken=p.light_decided is not None and not isinstance(p.light_decided, float),
            doubt=doubt,
            sentences=self._spoken.get(p.frame, ()),
        )

    def shown(self, frames: Iterable[int]) -> int:
        """Give the picture that Walk shows for the first of these, itself or the one in front; 0 for none."""
        return next((self._state.front_of(f) or f for f in frames if self._state.picture(f)), 0)

    def way_to(self, finding: Finding) -> str:
        """Give the address where a finding is given pictures: in Walk, at its first one, else in its room."""
        rooms = (f for v in self._state.visits if v.room and v.room == finding.room for f in v.frames)
        place = self.shown([*(a.frame for a in self._state.attached_to(finding.number)), *rooms])
        return f"/walk#finding-{finding.number}" + (f"-p-{place}" if place else "")

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
        if p.too_bright:
            yield "too bright"
        if p.unsharp:
            yield p.unsharp
        if p.marks:
            yield "marked"


def pictures(seen: Seen, frames: Iterable[int]) -> dict[int, dict[str, object]]:
    """Give everything the full-size view says of pictures, by frame; those that there are."""
    strip = Strip(seen.state)
    return {frame: _whole(seen.state, strip, p) for frame in frames if (p := seen.state.picture(frame))}


def _whole(state: State, strip: Strip, p: PictureState) -> dict[str, object]:
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


def _shape(p: PictureState) -> tuple[int, int]:
    width, height = p.capture.width or 4, p.capture.height or 3
    return (height, width) if p.capture.orientation >= 5 else (width, height)


def _light_said(p: PictureState) -> str:
    if isinstance(p.light_decided, float):
        return f"{lift_text(p.light_decided)} by hand"
    if p.light_decided is not None:
        return "as taken by hand"
    if p.light_proposed is None or p.light_proposed.left_alone:
        return ""
    return lift_text(p.light_proposed.stops)


def _stops(p: PictureState) -> float:
    if isinstance(p.light_decided, float):
        return p.light_decided
    if p.light_decided is not None or p.light_proposed is None or p.light_proposed.left_alone:
        return 0.0
    return round(p.light_proposed.stops, 1)


def clock_time(seconds: float) -> str:
    """Say when, as the clock showed it.

    Examples
    --------
    >>> clock_time(33_020)
    '09:10:20'
    """
    return f"{datetime.fromtimestamp(seconds, UTC):%H:%M:%S}"
