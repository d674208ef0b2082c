"""Lay what was said beside the pictures, and make a finding of a sentence.

Hides before which picture a sentence is shown. Leaves what it may mean, and what a finding made of it
consists of, to the step.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evidence.errors import WrongUsage
from evidence.steps import narration
from evidence.steps.gaps import LIKELY

if TYPE_CHECKING:
    from collections.abc import Mapping

    from evidence.desk import Desk
    from evidence.recordings import Said
    from evidence.state import State
    from evidence.words import Distance

STANDARD_WORDS = "standard"
"""What a form says when the finding takes the standard finding's sentence and not the spoken one."""


@dataclass(frozen=True, slots=True)
class Line:
    """A sentence as the strip shows it.

    Attributes
    ----------
    finding
        The finding made of it, 0 for none yet.
    likely
        It says of itself that it is a finding, or is much like one.
    """

    number: int
    words: str
    speaker: str
    finding: int
    likely: bool


def lines(state: State) -> dict[int, tuple[Line, ...]]:
    """Say which sentences stand before which picture of the strips, in the order said.

    Each stands once: before the first picture taken with it, or the next one taken after it was said,
    or the last of the day. A picture folded behind another shows nothing, so the next that is shown
    there counts.
    """
    taken = {p.frame: p.seconds for p in state.pictures}
    strips = [[frame for frame in visit.frames if state.front_of(frame) is None] for visit in state.visits]
    whole = [frame for strip in strips for frame in strip]
    strip_of = {
        frame: strip for visit, strip in zip(state.visits, strips, strict=True) for frame in visit.frames
    }
    found: dict[int, list[Line]] = {}
    for said in sorted(state.sentences, key=lambda one: one.starts):
        first = min(said.own, key=lambda frame: taken[frame], default=None)
        strip = (strip_of.get(first, []) if first is not None else []) or whole
        if strip:
            at = bisect_left(
                [taken[frame] for frame in strip], said.starts if first is None else taken[first]
            )
            found.setdefault(strip[min(at, len(strip) - 1)], []).append(_line(said))
    return {frame: tuple(spoken) for frame, spoken in found.items()}


def beside(desk: Desk, frame: int) -> list[dict[str, object]]:
    """Give the sentences shown at a picture or said near it, each with what it may mean.

    Returns
    -------
    Those that may still become findings first, likeliest first.
    """
    state = desk.state()
    shown = {line.number for line in lines(state).get(frame, ())}
    said = [one for one in state.sentences if one.number in shown or frame in one.near]
    known, _ = narration.offered(desk, state)
    return [
        {
            "number": one.number,
            "words": one.sentence.text,
            "room": one.room,
            "frames": list(one.own),
            "finding": one.finding or 0,
            "offers": [
                {"id": offer.id, "seen": known[offer.id], "reason": offer.reason}
                for offer in one.suggestions
                if offer.id in known
            ],
        }
        for one in sorted(
            said, key=lambda one: (one.finding is not None, frame not in one.own, -one.likelihood, one.number)
        )
    ]


def accept(desk: Desk, form: dict[str, str], pictures: Mapping[int, Distance] | None = None) -> str:
    """Make a finding of a sentence and say so.

    Parameters
    ----------
    pictures
        These, from these distances, instead of those taken with it.

    Raises
    ------
    WrongUsage, UnknownFinding, UnknownPicture
        There is no such sentence, standard finding or picture, or the sentence is a finding already.
    """
    number = form.get("sentence", "")
    if not (number.isascii() and number.isdecimal() and len(number) < 9):
        raise WrongUsage("The page did not say which sentence; nothing was changed.")
    made = narration.accept(
        desk,
        int(number),
        standard=form.get("standard", ""),
        standard_words=form.get("words") == STANDARD_WORDS,
        pictures=pictures,
    )
    count = sum(a.finding == made.number for a in desk.state().attachments)
    along = f", with {count} picture{'' if count == 1 else 's'}" if count else ", without a picture yet"
    return f"Finding {made.number} is made of sentence {number}{along}."


def _line(said: Said) -> Line:
    return Line(
        number=said.number,
        words=said.sentence.text,
        speaker=said.sentence.speaker,
        finding=said.finding or 0,
        likely=said.likelihood >= LIKELY,
    )
