"""Print room cards: which ones, what stands on each, and what each stands for in a job."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evidence import files, roomcards
from evidence.errors import AlreadyThere, WrongUsage
from evidence.record import Entry
from evidence.report import sheets
from evidence.state import card_names

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from evidence.desk import Desk

OWN_CARDS = range(33, 60)
"""Ids free for rooms that no standard card names."""


def print_cards(
    target: Path,
    *,
    rooms: Sequence[str] = (),
    blanks: int = 4,
    paper: str = "letter",
    desk: Desk | None = None,
) -> list[tuple[int, str]]:
    """Write a PDF of the job card and the room cards.

    Parameters
    ----------
    target
        The file to make.
    rooms
        Which rooms; none: every standard one. A name that no standard card has is given a card of
        its own in the job, which then knows it.
    blanks
        How many cards with an empty line to add.
    paper
        ``a4`` or ``letter``.
    desk
        The job whose address and day stand on the job card; None leaves lines to write on.

    Returns
    -------
    Id and name of each room card printed.

    Raises
    ------
    AlreadyThere
        ``target`` exists.
    WrongUsage
        A room has no standard card and no job was given to know its own; or more are asked for than
        there are; or the paper is unknown.
    CannotWrite, DiskFull
        Nothing was made.
    """
    if target.exists():
        raise AlreadyThere(f"{files.shown(str(target))} exists already; room cards overwrite nothing.")
    if paper not in roomcards.PAPERS_MM:
        raise WrongUsage(f"“{paper}” is no paper for room cards; there are {', '.join(roomcards.PAPERS_MM)}.")
    if not 0 <= blanks <= len(roomcards.BLANK_CARDS):
        raise WrongUsage(f"There are {len(roomcards.BLANK_CARDS)} blank cards, not {blanks}.")
    standard = list(roomcards.CARD_NAMES.items())
    chosen, new = _chosen(rooms, desk) if rooms else (standard, [])
    cards = [*chosen, *((card, "") for card in roomcards.BLANK_CARDS[:blanks])]
    details = desk.job.details if desk else None
    first = roomcards.job_card(
        details.address if details else "",
        details.inspected.isoformat() if details and details.inspected else "",
        paper,
    )
    files.write_whole(target, sheets.pdf([first, *roomcards.sheet(cards, paper)]))
    if desk and new:
        desk.decide_all([Entry("card", str(card), name) for card, name in new])
    return cards


def _chosen(rooms: Sequence[str], desk: Desk | None) -> tuple[list[tuple[int, str]], list[tuple[int, str]]]:
    """The card of each room, and those cards that the job does not know yet."""
    names = card_names(desk.decisions) if desk else dict(roomcards.CARD_NAMES)
    names.pop(roomcards.JOB_CARD, None)
    known = {name.casefold(): card for card, name in names.items()}
    chosen, new = [], []
    for typed in rooms:
        room = " ".join(typed.split())
        if not room:
            raise WrongUsage("A room card needs a name that is not blank.")
        card = known.get(room.casefold())
        if card is None:
            if desk is None:
                raise WrongUsage(
                    f"No standard card is called “{room}”. Give the job with --job, so that it knows the "
                    "card, or take a blank one and write the name on it."
                )
            card = next((c for c in OWN_CARDS if c not in names), None)
            if card is None:
                raise WrongUsage(f"All {len(OWN_CARDS)} cards for rooms of your own are taken in this job.")
            known[room.casefold()], names[card] = card, room
            new.append((card, room))
        chosen.append((card, names[card]))
    return chosen, new
