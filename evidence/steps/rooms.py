"""Name visits, join and split them, order the rooms; each a decision that can be undone."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from evidence import arrange, roomcards, study
from evidence.errors import UnknownPicture, UnknownRoom, WrongUsage
from evidence.record import Entry

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from evidence.desk import Desk
    from evidence.record import Json
    from evidence.state import State
    from evidence.timeline import PictureState
    from evidence.words import Visit


def name(desk: Desk, names: Mapping[int, str]) -> None:
    """Name visits, by their number from 1; visits with one name are one room.

    Raises
    ------
    UnknownRoom
        There is no such visit; nothing was named.
    WrongUsage
        A name is blank.
    """
    state = desk.state()
    entries = []
    for number, typed in names.items():
        room = " ".join(typed.split())
        if not room:
            raise WrongUsage(f"Visit {number} needs a name that is not blank.")
        visit = visit_of(state, number)
        entries.append(Entry("room", str(visit.frames[0]), room, visit.room or None))
    desk.decide_all(entries)


def join(desk: Desk, first: int, second: int) -> None:
    """Join a visit to the one that follows it.

    Raises
    ------
    UnknownRoom, WrongUsage
        There is no such visit, or they do not follow each other.
    """
    state = desk.state()
    first, second = sorted((first, second))
    if second != first + 1:
        raise WrongUsage(
            f"Visits {first} and {second} do not follow each other; only neighbours can be joined."
        )
    visit_of(state, first)
    begins = visit_of(state, second).frames[0]
    desk.decide("begins", begins, value=False, proposed=True)


def split(desk: Desk, frame: int) -> None:
    """Begin a new visit with a picture.

    Raises
    ------
    UnknownPicture
        There is no such picture.
    """
    picture_of(desk.state(), frame)
    desk.decide("begins", frame, value=True, proposed=False)


def move(desk: Desk, frame: int, to: int) -> None:
    """Let the visit that begins with one picture begin with another instead.

    Raises
    ------
    UnknownPicture
        There is no such picture.
    UnknownRoom
        No visit begins with ``frame``.
    WrongUsage
        Another visit begins between the two.
    """
    state = desk.state()
    places = {picture.frame: place for place, picture in enumerate(state.pictures)}
    here, there = (places[picture_of(state, f).frame] for f in (frame, to))
    begins = {places[visit.frames[0]] for visit in state.visits}
    if here not in begins or not here:
        raise UnknownRoom(f"No visit begins with picture {frame}.")
    low, high = sorted((here, there))
    if any(low <= place <= high for place in begins - {here}):
        raise WrongUsage(
            f"Another visit begins between pictures {frame} and {to}; move that one first, or join the two."
        )
    number = visit_with(state, frame)
    before, moved = state.visits[number - 2], state.visits[number - 1]
    desk.decide_all(
        [
            *_names_kept(desk, before, moved, [p.frame for p in state.pictures[low:high]], to),
            Entry("begins", str(frame), value=False, proposed=True),
            Entry("begins", str(to), value=True, proposed=False),
        ]
    )


def _names_kept(desk: Desk, before: Visit, moved: Visit, crossing: Sequence[int], to: int) -> list[Entry]:
    """Keep two visits' names as pictures change over: each name stands by a picture of its visit."""
    crossed = [str(frame) for frame in crossing if ("room", str(frame)) in desk.decisions]
    if not crossed:
        return []
    firsts = ((before, before.frames[0]), (moved, to))
    return [
        *(Entry("room", frame, None) for frame in crossed),
        *(Entry("room", str(first), v.room) for v, first in firsts if v.named_by == "inspector"),
    ]


def name_cards(desk: Desk, names: Mapping[int, str]) -> None:
    """Say which room a room card stands for in this job, for a blank one filled in by hand.

    Raises
    ------
    WrongUsage
        A name is blank, or the number is no room card's; nothing was named.
    """
    entries = []
    for card, typed in names.items():
        room = " ".join(typed.split())
        if not room:
            raise WrongUsage(f"Room card {card} needs a name that is not blank.")
        if not 0 <= card < roomcards.JOB_CARD:
            raise WrongUsage(f"{card} is not the number of a room card; they go from 0 to 98.")
        entries.append(Entry("card", str(card), room, roomcards.CARD_NAMES.get(card)))
    desk.decide_all(entries)


def order(desk: Desk, rooms: Sequence[str]) -> None:
    """Put rooms in walking order; those not named follow as they were met.

    Raises
    ------
    UnknownRoom
        No visit has that name.
    """
    known = {room.casefold(): room for room in desk.state().rooms}
    for room in rooms:
        if room.casefold() not in known:
            raise UnknownRoom(f"No visit is called “{room}”.")
    desk.decide("order", "rooms", [known[room.casefold()] for room in rooms])


def in_words(state: State, typed: str) -> list[str]:
    """Part a list of rooms at its commas, except at those within the name of a room.

    Returns
    -------
    Names as typed or as known, in order; blank ones are left out.
    """
    known = sorted(state.rooms, key=len, reverse=True)
    names, rest = [], " ".join(typed.split())
    while rest := rest.lstrip(" ,"):
        whole = (r for r in known if re.match(rf"{re.escape(r)}\s*(,|$)", rest, re.IGNORECASE))
        name = next(whole, None) or rest.partition(",")[0]
        names.append(name.strip())
        rest = rest[len(name) :]
    return names


def overall(desk: Desk, frames: Sequence[int], *, on: bool = True) -> None:
    """Print pictures as overall views of the rooms they were taken in, or no longer.

    Raises
    ------
    UnknownPicture, WrongUsage
        There is no such picture, or it cannot be shown at all; nothing was changed.
    """
    if on:
        showable(desk.state(), frames)
    of_each(desk, frames, {"view": on})


def offers(desk: Desk, number: int) -> list[tuple[str, str]]:
    """Offer the rooms that a nameless visit may return to, each with the reason."""
    state = desk.state()
    visit_of(state, number)
    return arrange.rooms_it_may_be(state, study.appearances(desk.store), number - 1)


def visit_of(state: State, number: int) -> Visit:
    """Give a visit by its number from 1.

    Raises
    ------
    UnknownRoom
        There is none.
    """
    if not 1 <= number <= len(state.visits):
        raise UnknownRoom(f"There is no visit {number}; this job has {len(state.visits)}.")
    return state.visits[number - 1]


def visit_with(state: State, frame: int) -> int:
    """Give the number of the visit that holds a picture; they are renumbered when others change.

    Raises
    ------
    UnknownPicture
        There is no such picture.
    """
    held = picture_of(state, frame).frame
    return next(number for number, visit in enumerate(state.visits, 1) if held in visit.frames)


def of_each(desk: Desk, frames: Sequence[int], values: Mapping[str, Json]) -> None:
    """Decide the same things of several pictures, all or none.

    Parameters
    ----------
    values
        By kind of decision.

    Raises
    ------
    UnknownPicture
        There is no such picture; nothing was changed.
    """
    state = desk.state()
    for frame in frames:
        picture_of(state, frame)
    desk.decide_all([Entry(what, str(frame), value) for frame in frames for what, value in values.items()])


def picture_of(state: State, frame: int) -> PictureState:
    """Give a picture by its frame number.

    Raises
    ------
    UnknownPicture
        There is none.
    """
    picture = state.picture(frame)
    if picture is None:
        raise UnknownPicture(f"There is no picture {frame} in this job.")
    return picture


def showable(state: State, frames: Sequence[int]) -> list[PictureState]:
    """Give pictures by their numbers, each once, in the order given.

    Raises
    ------
    UnknownPicture
        There is none of that number.
    WrongUsage
        A picture cannot be shown at all.
    """
    found = [picture_of(state, number) for number in dict.fromkeys(frames)]
    for picture in found:
        if picture.fault:
            raise WrongUsage(f"Picture {picture.frame} cannot be shown: {picture.fault}")
    return found


def settle(desk: Desk, frame: int, *, begins: bool) -> None:
    """Say whether a visit begins with a picture; confirms a proposal or overrules it.

    Raises
    ------
    UnknownPicture
        There is no such picture.
    WrongUsage
        It is the first of the day, with which a visit always begins.
    """
    state = desk.state()
    picture = picture_of(state, frame)
    if picture.frame == state.pictures[0].frame:
        raise WrongUsage(f"Picture {frame} is the day's first; a visit always begins with it.")
    proposed = picture.frame in {visit.frames[0] for visit in state.visits}
    desk.decide("begins", frame, begins, proposed)


def names_offered(desk: Desk, number: int) -> list[tuple[str, str]]:
    """Offer names for a visit: rooms it may return to, a house's usual places walked on, the job's rooms.

    Returns
    -------
    Each name once, with the reason for offering it; "" for a usual one.

    Raises
    ------
    UnknownRoom
        There is no such visit.
    """
    state = desk.state()
    visit = visit_of(state, number)
    likely = arrange.rooms_it_may_be(state, study.appearances(desk.store), number - 1, limit=1)
    near = [v.room for v in state.visits[max(0, number - 3) : number + 2] if v.room and v is not visit]
    met = [v.room for v in state.visits[: number - 1] if v.room]
    offered: dict[str, str] = {}
    for name_, reason in (
        *likely,
        *((room, "") for room in _walking_on(met, frozenset(state.rooms))),
        *((room, "named nearby") for room in reversed(near)),
        *((room, "a room of this job") for room in state.rooms),
    ):
        offered.setdefault(name_, reason)
    return [(name_, reason) for name_, reason in offered.items() if name_ != visit.room]


_WALK = (
    *("Front outside", "Left side", "Rear outside", "Right side", "Porch", "Deck", "Roof", "Garage"),
    *("Entry", "Hall", "Stairs", "Living room", "Dining room", "Kitchen", "Laundry"),
    *("Bathroom 1", "Bathroom 2", "Bathroom 3", "Bedroom 1", "Bedroom 2", "Bedroom 3", "Bedroom 4", "Office"),
    *("Attic", "Attic 2", "Basement", "Crawl space"),
)
"""A house's usual places as an inspection goes: round it, up, and in from the garage; common practice."""
_ANYWHERE = ("Electrical panel", "Water heater", "Heating and cooling", "Utility room", "Closet")
"""Usual places that no walk has at a place of its own."""
_AHEAD = 6
"""How many places walked on are offered before those; with them they have the digits."""


def _walking_on(met: Sequence[str], named: frozenset[str]) -> list[str]:
    """Give a house's usual places that no visit has yet, from the last one met onwards, then the others."""
    start = next((at + 1 for room in reversed(met) if (at := _place_of(room)) is not None), 0)
    walk = [room for room in (*_WALK[start:], *_WALK[:start]) if room not in named]
    return [*walk[:_AHEAD], *(room for room in _ANYWHERE if room not in named), *walk[_AHEAD:]]


def _place_of(room: str) -> int | None:
    """Give where on the walk a room stands: by its name, else by the first usual place with a word alike.

    "Bath" stands at Bathroom 1, "East side" at the Left side, "Attic north" at the Attic.
    """
    if room in _WALK:
        return _WALK.index(room)
    words = [word for word in room.casefold().split() if len(word) > 3]
    return next(
        (
            at
            for at, usual in enumerate(_WALK)
            if any(part.startswith(word) for word in words for part in usual.casefold().split())
        ),
        None,
    )
