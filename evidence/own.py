"""Find the standard findings in use: the packaged ones, under those of the inspector's own file.

Hides where that file lies. Named in a job's details it is read for that job; else the one every job of
this person uses, if there is one.
"""

from __future__ import annotations

import os
import sys
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from evidence import settings
from evidence.errors import BadCatalogue
from evidence.findings import Catalogue, packaged

if TYPE_CHECKING:
    from collections.abc import Mapping


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


def file(folder: Path | None = None, details: settings.Details | None = None) -> Path | None:
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
        details = settings.parse(job_file.read_bytes())[1]
    if folder and details and details.own_findings:
        named = settings.named(folder, details.own_findings)
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
    own = file(folder, details)
    if own is None:
        return packaged()
    try:
        text = own.read_text("utf-8-sig")
    except OSError as problem:
        raise BadCatalogue(f"Your own findings in {own} cannot be read: {problem.strerror}.") from problem
    except UnicodeDecodeError as problem:
        line = problem.object[: problem.start].count(b"\n") + 1
        raise BadCatalogue(
            f"Your own findings in {own} are not UTF-8 text in line {line}; save them as UTF-8."
        ) from problem
    return _laid(text, str(own))


def for_offers(folder: Path, details: settings.Details) -> tuple[Catalogue, str]:
    """Give the standard findings to offer, and what is wrong with the own file; "" when nothing is.

    One bad row must not hide a job: without the file there are still the packaged findings.
    """
    try:
        return in_use(folder, details), ""
    except BadCatalogue as problem:
        return packaged(), f"{problem} {problem.remedy}"


@lru_cache(maxsize=4)
def _laid(text: str, name: str) -> Catalogue:
    """One catalogue for one text, so that its index is made once; a changed file gives another."""
    return packaged().under(text, name)
