"""Search all jobs below a folder: by address, client, day, room or the words of a finding.

Reads each job's small text files only: job.toml and the record. Needs no index, so there is none
that could be out of date.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from evidence import record, settings
from evidence.errors import EvidenceError, WrongUsage
from evidence.files import fold, shown

if TYPE_CHECKING:
    from collections.abc import Iterator


@dataclass(frozen=True, slots=True)
class Found:
    """A job in which every word was found.

    Attributes
    ----------
    folder
        Where it lies.
    address, client, inspected
        From its job.toml, "" where not given.
    editions
        How many were issued.
    where
        What the words were found in, a sentence each.
    """

    folder: Path
    address: str
    client: str
    inspected: str
    editions: int
    where: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Search:
    """What a search came to.

    Attributes
    ----------
    found
        Latest inspection first.
    jobs
        How many jobs were looked through.
    unread
        Jobs that could not be read, with the reason.
    """

    found: tuple[Found, ...]
    jobs: int
    unread: tuple[tuple[Path, str], ...]


def search(below: Path, words: str) -> Search:
    """Find the jobs that hold all the words, each somewhere, in upper or lower case.

    Raises
    ------
    WrongUsage
        There is no such folder, or no word is given.
    """
    wanted = fold(words).split()
    if not wanted:
        raise WrongUsage("Give at least one word to search for.")
    if not below.is_dir():
        raise WrongUsage(f"There is no folder {shown(str(below))}.")
    found, unread, count = [], [], 0
    for folder in _jobs(below):
        count += 1
        try:
            if hit := _look(folder, wanted):
                found.append(hit)
        except (EvidenceError, OSError, UnicodeDecodeError) as problem:
            unread.append((folder, str(problem)))
    found.sort(key=lambda one: (one.inspected, one.address), reverse=True)
    return Search(tuple(found), count, tuple(unread))


def _jobs(below: Path) -> Iterator[Path]:
    """Every job below a folder; a job holds no further one, and links are not followed."""
    for here, folders, names in os.walk(below):
        if settings.JOB_FILE in names and record.RECORD in names:
            folders.clear()
            yield Path(here)
        folders[:] = sorted(name for name in folders if not name.startswith("."))


def _look(folder: Path, wanted: list[str]) -> Found | None:
    _, details = settings.parse((folder / settings.JOB_FILE).read_bytes())
    day = details.inspected.isoformat() if details.inspected else ""
    texts = {
        f"Folder {folder.name}": folder.name,
        f"Address: {details.address}": details.address,
        f"Client: {details.client}": details.client,
        f"Inspected {day}": day,
        f"Notes: {details.notes}": details.notes,
    }
    lines = record.parse(record.split_torn((folder / record.RECORD).read_bytes())[0])
    for (what, about), decision in record.in_force(lines).items():
        if decision.value is None:
            continue
        if what == "finding":
            said = " ".join(str(decision.value.get(part, "")) for part in ("seen", "place", "room", "system"))
            texts[f"Finding {about}: {decision.value['seen']}"] = said
        elif what == "room":
            texts[f"Room {decision.value}"] = str(decision.value)
        elif what == "shown":
            texts[f"Picture {about}: {decision.value}"] = str(decision.value)
    folded = {where: fold(text) for where, text in texts.items() if text}
    if not all(any(word in text for text in folded.values()) for word in wanted):
        return None
    where = tuple(w for w, text in folded.items() if any(word in text for word in wanted))
    editions = sum(line.what == "issue" for line in lines)
    return Found(folder, details.address, details.client, day, editions, where)
