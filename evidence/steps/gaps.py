"""List what is still unphotographed, unusable or unexplained, before the house is left."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from rapidfuzz.distance import OSA

from evidence import required, settings
from evidence.errors import BadSetting, WrongUsage
from evidence.files import shown
from evidence.steps.findings import missing_parts
from evidence.words import Distance, cut

if TYPE_CHECKING:
    from collections.abc import Iterator

    from evidence.desk import Desk
    from evidence.state import State
    from evidence.timeline import PictureState


class GapKind(StrEnum):
    """What sort of thing is missing."""

    NO_PICTURES = "no pictures"
    DAMAGED = "damaged picture"
    UNNAMED = "unnamed visit"
    NO_OVERALL = "room without overall"
    NO_PICTURE = "finding without picture"
    UNUSABLE = "finding without usable picture"
    NO_CLOSE = "finding without close view"
    NO_WHERE = "finding without wide view"
    PARTS = "finding with missing part"
    ROOM = "finding in a room spelt otherwise"
    HOPELESS = "too dark, not retaken"
    REQUIRED = "required picture"
    SAID = "said, not pictured"


@dataclass(frozen=True, slots=True)
class Gap:
    """One thing to photograph again, to settle or to explain.

    Attributes
    ----------
    kind
        What sort of thing is missing.
    about
        Frame, visit, finding number or room it is about.
    sentence
        What is missing, for the inspector.
    """

    kind: GapKind
    about: str
    sentence: str


_LONG, _SLIPS = 4, 1
"""A slip of the keys is one letter more, less, other or changed over, in a word of some length: "Bath 1" and
"Bath 2", "north" and "south" are two rooms; our own choice."""
_WIDE = frozenset({Distance.OVERALL, Distance.MID_RANGE})
DARK_STOPS = 3.0
"""A picture that needs eight times its light and more shows a finding poorly: its shadows lose their
colour (docs/methods/light.md). Where it is all there is, another is worth the minute on site."""
LIKELY = 0.7
"""A sentence this like a finding is asked about when nothing shows it; chosen on the narrations that are
for tuning, see docs/methods/narration.md. One that says it is a finding always is."""


def gaps(desk: Desk) -> list[Gap]:
    """List every gap, those that need another photograph first; before views are compared, if it must be."""
    state = desk.state_on_site()
    if not state.pictures:
        return [Gap(GapKind.NO_PICTURES, "job", "No picture has been taken in yet.")]
    explained = {place.casefold() for place, _ in state.not_seen}
    found = [
        *_of_findings(state),
        *(g for g in _of_rooms(state) if g.about.casefold() not in explained),
        *_of_pictures(state),
        *_required(desk, state, explained),
        *_of_sentences(state),
    ]
    return sorted(found, key=lambda gap: list(GapKind).index(gap.kind))


def of_findings(state: State) -> list[Gap]:
    """List what findings lack: a part, a picture, a usable one, a view that shows where."""
    return list(_of_findings(state))


def explain(desk: Desk, place: str, reason: str | None) -> None:
    """Say that something could not be seen, and why; None takes it back.

    Raises
    ------
    WrongUsage
        The place or the reason is blank.
    """
    place = " ".join(place.split())
    if not place or (reason is not None and not reason.strip()):
        raise WrongUsage("Say what could not be seen, and why.")
    desk.decide("not seen", place, None if reason is None else " ".join(reason.split()))


def _of_pictures(state: State) -> Iterator[Gap]:
    retaken = {
        frame
        for s in state.look_alikes
        for frame in (s.front, *s.others)
        if any(_clear(state, other) for other in (s.front, *s.others))
    }
    for p in state.pictures:
        if p.fault:
            yield Gap(GapKind.DAMAGED, str(p.frame), f"Picture {p.frame} cannot be shown: {p.fault}")
        elif p.hopeless and p.frame not in retaken:
            yield Gap(GapKind.HOPELESS, str(p.frame), f"Picture {p.frame} is too dark to show anything.")


def _of_rooms(state: State) -> Iterator[Gap]:
    for number, visit in enumerate(state.visits, 1):
        if not visit.room:
            span = _span(visit.frames)
            yield Gap(GapKind.UNNAMED, str(number), f"Visit {number} ({span}) has no room yet.")
    wide = {state.room_of(p.frame) for p in state.pictures if p.view and _good(p)}
    wide |= {
        state.room_of(a.frame)
        for a in state.attachments
        if a.distance is Distance.OVERALL and (p := state.picture(a.frame)) and _good(p)
    }
    wide |= {state.room_of(p.frame) for p in state.pictures if p.distance is Distance.OVERALL and _good(p)}
    for room in state.rooms:
        if room not in wide:
            yield Gap(GapKind.NO_OVERALL, room, f"{room} has no overall view that is marked as such.")


def _of_findings(state: State) -> Iterator[Gap]:
    for finding in state.findings:
        number = str(finding.number)
        name = f"Finding {number} ({cut(finding.seen.rstrip('.'), 60)})"
        attached = state.attached_to(finding.number)
        seen = [p for a in attached if (p := state.picture(a.frame))]
        if not attached:
            yield Gap(GapKind.NO_PICTURE, number, f"{name} has no picture.")
        elif not any(_good(p) and not _dark(p) for p in seen):
            reasons = ", ".join(sorted({_why_not(p) for p in seen}))
            yield Gap(GapKind.UNUSABLE, number, f"{name} has no usable picture: {reasons}.")
        if attached and all(a.distance in _WIDE for a in attached):
            yield Gap(GapKind.NO_CLOSE, number, f"{name} is shown only from a distance; no view is close.")
        if attached and not any(a.distance in _WIDE for a in attached):
            yield Gap(GapKind.NO_WHERE, number, f"{name} has no view that shows where it is.")
        if missing := missing_parts(finding):
            yield Gap(GapKind.PARTS, number, f"{name} does not say {', '.join(missing)}.")
        if meant := _meant(state, finding.room):
            yield Gap(
                GapKind.ROOM,
                number,
                f"{name} stands in “{finding.room}”, as no visit is called; is “{meant}” meant?",
            )


def _meant(state: State, room: str) -> str:
    """Give the room that a misspelt one is nearest to, "" when it is a room, explained, or like none."""
    if (
        not room
        or room in state.rooms
        or room.casefold() in {place.casefold() for place, _ in state.not_seen}
    ):
        return ""
    return next((known for known in state.rooms if _spelt_alike(known, room)), "")


def _spelt_alike(known: str, typed: str) -> bool:
    """Tell whether two names differ by case, by what lies between words, or by a slip in a long word."""
    a, b = (re.findall(r"\w+", name.casefold()) for name in (known, typed))
    if "".join(a) == "".join(b):
        return True
    return len(a) == len(b) and all(
        one == other or (min(len(one), len(other)) >= _LONG and OSA.distance(one, other) <= _SLIPS)
        for one, other in zip(a, b, strict=True)
    )


def _required(desk: Desk, state: State, explained: set[str]) -> Iterator[Gap]:
    good = [p for p in state.pictures if _good(p) and p.card is None]
    rooms = {state.room_of(p.frame).casefold() for p in good}
    texts = {p.shown.casefold() for p in good}
    for view in desk.job.details.required_shots:
        wanted = view.casefold()
        if wanted not in explained and wanted not in rooms and not any(wanted in text for text in texts):
            yield Gap(
                GapKind.REQUIRED, view, f"No usable picture is said to show the required view “{view}”."
            )
    named = {state.room_of(p.frame) for p in good} | {p.shown for p in good}
    for chosen in required_lists(desk):
        for lacking in required.missing(chosen, named - {""}):
            name, count = lacking.required.name, lacking.required.count
            if name.casefold() not in explained:
                some = f"only {lacking.have} of {count} named places" if lacking.have else "no usable picture"
                yield Gap(GapKind.REQUIRED, name, f"{name} (list “{chosen.name}”): {some}.")


def lists() -> str:
    """Name the packaged lists of required pictures, for a sentence."""
    return ", ".join(one.name for one in required.packaged())


def required_lists(desk: Desk) -> tuple[required.RequiredList, ...]:
    """Give the lists of required pictures that the job chose: none, a packaged one, or all of a file.

    Raises
    ------
    BadSetting
        There is no such list or file, or the file cannot be used.
    """
    name = desk.job.details.required_list
    if not name:
        return ()
    if not name.endswith(".toml"):
        return (required.chosen(name, required.packaged()),)
    file = settings.named(desk.job.folder, name)
    try:
        text = file.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError) as problem:
        raise BadSetting(
            f"The list of required pictures {shown(str(file))} cannot be read: {problem}."
        ) from None
    return required.parse(text, file.name)


def _of_sentences(state: State) -> Iterator[Gap]:
    """Sentences that name a thing, with no usable picture taken nearer to them than to any other."""
    for said in state.sentences:
        if (
            said.finding is None
            and said.likelihood >= LIKELY
            and not any(_clear(state, f) for f in said.near)
        ):
            short, lacking = cut(said.sentence.text, 70), "usable picture" if said.near else "picture"
            yield Gap(GapKind.SAID, str(said.number), f"Sentence {said.number} (“{short}”) has no {lacking}.")


def _good(picture: PictureState) -> bool:
    return picture.usable and not picture.hopeless and not picture.unsharp


def _clear(state: State, frame: int) -> bool:
    picture = state.picture(frame)
    return picture is not None and _good(picture)


def _dark(picture: PictureState) -> bool:
    light = picture.light_proposed
    return light is not None and not light.left_alone and light.stops >= DARK_STOPS


def _why_not(picture: PictureState) -> str:
    if picture.fault:
        return f"picture {picture.frame} is damaged"
    why = "too dark" if picture.hopeless else picture.unsharp or "very dark"
    return f"picture {picture.frame} is {why}"


def _span(frames: tuple[int, ...]) -> str:
    if len(frames) == 1:
        return f"picture {frames[0]}"
    if max(frames) - min(frames) + 1 > len(frames):  # a second camera's lie between them in time
        return f"{len(frames)} pictures from {frames[0]} on"
    return f"pictures {min(frames)} to {max(frames)}"
