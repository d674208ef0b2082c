"""Show the standard findings in use, and begin a file of one's own."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from evidence import files, own
from evidence.errors import AlreadyThere, CannotWrite, WrongUsage
from evidence.findings import REFERENCE_CAUTION
from evidence.findings import caution as usual_caution
from evidence.own import file as own_file

if TYPE_CHECKING:
    from pathlib import Path

    from evidence.words import Finding, StandardFinding

__all__ = ["BEGUN", "REFERENCE_CAUTION", "begin", "caution", "own_file", "shown"]

BEGUN: Final = """\
# Your own standard findings. They are laid over those of the program: a row with the id of one of
# those changes the parts it names and leaves the rest; a row with a new id is added.
# Take the "#" away from the lines of a row to use it. How rows are written: docs/catalogue.md.

# [[finding]]
# id = "ROF-08"
# do = "Have the branches cut back by someone insured for it."

# [[finding]]
# id = "OWN-01"
# system = "roof"
# seen = "Moss covers part of the roof."
# why = "It holds water and lifts the covering."
# do = "Have it removed without pressure washing."
# who = "roofing contractor"
# places = ["roof", "north slope"]
# keywords = ["moss", "moss on the shingles", "green roof"]
"""
"""What a new file of one's own begins with."""


def shown(
    folder: Path | None = None, *, name: str = "", system: str = "", references: bool = False
) -> list[StandardFinding]:
    """Give standard findings in use to look at; their references only where asked for.

    Raises
    ------
    UnknownFinding, WrongUsage
        There is none of that id, or no such part of the house.
    BadSetting, BadCatalogue
        As for :func:`evidence.own.in_use`.
    """
    every = own.in_use(folder)
    wanted = system.strip().casefold()
    rows = [every.standard(name)] if name else [row for row in every.rows if wanted in row.system.casefold()]
    if not rows:
        systems = dict.fromkeys(row.system for row in every.rows)
        raise WrongUsage(f"No part of the house is called “{system}”; there are {', '.join(systems)}.")
    return rows if references else [replace(row, reference="", reference_source="") for row in rows]


def caution(finding: Finding | StandardFinding) -> str:
    """Give the usual caution for the danger a finding names; "" when it names none."""
    return usual_caution(finding.hazard)


def begin(file: Path | None = None) -> Path:
    """Write a file of own findings to start from, with remarks.

    Raises
    ------
    AlreadyThere
        There is one; it is left as it is.
    CannotWrite, DiskFull
        Nothing was written.
    """
    place = file or own.usual_place()
    try:
        if place.exists():
            raise AlreadyThere(f"{place} is there already and is left as it is.")
        place.parent.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise CannotWrite(f"{place} cannot be written: {problem.strerror}.") from problem
    files.write_whole(place, BEGUN.encode())
    return place
