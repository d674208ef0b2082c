"""Give the standard findings in use: the packaged ones, under those of the inspector's own file.

Hides where that file lies. Named in a job's details it is read for that job; else the one every job of
this person uses, if there is one.
"""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from evidence import files, settings
from evidence.errors import AlreadyThere, BadCatalogue, UnknownFinding
from evidence.findings import REFERENCE_CAUTION, Catalogue, packaged
from evidence.findings import caution as usual_caution

if TYPE_CHECKING:
    from collections.abc import Mapping

    from evidence.job import Job
    from evidence.words import Finding, StandardFinding

__all__ = ["REFERENCE_CAUTION", "begin", "caution", "in_use", "of_job", "own_file", "shown", "usual_place"]

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


def usual_place(system: str = sys.platform, environment: Mapping[str, str] = os.environ) -> Path:
    """Give where a person's own standard findings lie unless a job names another file.

    Source: XDG Base Directory Specification 0.8; on Windows the folder for a program's settings.
    """
    home = Path(environment.get("HOME") or environment.get("USERPROFILE") or Path.home())
    if system == "win32":
        base = Path(environment.get("APPDATA") or home / "AppData" / "Roaming")
    else:
        named = environment.get("XDG_CONFIG_HOME", "")
        base = Path(named) if named.startswith("/") else home / ".config"  # relative ones are to be ignored
    return base / "evidence" / "findings.toml"


def own_file(folder: Path | None = None, details: settings.Details | None = None) -> Path | None:
    """Give the file of own findings in use, or None when there is none.

    Parameters
    ----------
    folder
        A job's folder, or any other: then only the usual place counts.
    details
        The job's details, if they were read already.

    Raises
    ------
    BadSetting
        The folder's job.toml cannot be read.
    BadCatalogue
        It names a file that is not there.
    """
    if details is None and folder and (job_file := folder / settings.JOB_FILE).is_file():
        details = settings.parse(job_file.read_text("utf-8", errors="replace"))[1]
    if folder and details and details.own_findings:
        named = folder / Path(details.own_findings).expanduser()
        if not named.is_file():
            raise BadCatalogue(f"job.toml names your own findings in {named}, and there is no such file.")
        return named
    usual = usual_place()
    return usual if usual.is_file() else None


def in_use(folder: Path | None = None, details: settings.Details | None = None) -> Catalogue:
    """Give the standard findings in use.

    Raises
    ------
    BadSetting
        The folder's job.toml cannot be read.
    BadCatalogue
        The own file is missing where it was named, is no text, or holds a row that cannot be used.
    """
    file = own_file(folder, details)
    if file is None:
        return packaged()
    try:
        text = file.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError) as problem:
        raise BadCatalogue(
            f"Your own findings in {file} cannot be read as UTF-8 text: {problem}."
        ) from problem
    return _laid(text, str(file))


def of_job(job: Job) -> Catalogue:
    """Give the standard findings in use for an open job; errors as for :func:`in_use`."""
    return in_use(job.folder, job.details)


def shown(
    folder: Path | None = None, *, name: str = "", system: str = "", references: bool = False
) -> list[StandardFinding]:
    """Give standard findings in use to look at; their references only where asked for.

    Raises
    ------
    UnknownFinding
        There is none of that id, or no such part of the house.
    BadSetting, BadCatalogue
        As for :func:`in_use`.
    """
    every = in_use(folder)
    wanted = system.strip().casefold()
    rows = [every.standard(name)] if name else [row for row in every.rows if wanted in row.system.casefold()]
    if not rows:
        systems = dict.fromkeys(row.system for row in every.rows)
        raise UnknownFinding(f"No part of the house is called “{system}”; there are {', '.join(systems)}.")
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
    place = file or usual_place()
    if place.exists():
        raise AlreadyThere(f"{place} is there already and is left as it is.")
    place.parent.mkdir(parents=True, exist_ok=True)
    files.write_whole(place, BEGUN.encode())
    return place


@lru_cache(maxsize=4)
def _laid(text: str, file: str) -> Catalogue:
    """One catalogue for one text, so that its index is made once; a changed file gives another."""
    return packaged().under(text, file)
