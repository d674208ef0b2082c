"""Write findings: from the catalogue, from a table, or by hand; each a decision that can be undone."""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from dataclasses import asdict, fields, replace
from itertools import zip_longest
from typing import TYPE_CHECKING

from evidence import files, own
from evidence import findings as standard_findings
from evidence.errors import BadTable, EmptyFinding, UnknownFinding, WrongUsage
from evidence.record import Entry
from evidence.words import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from evidence.desk import Desk
    from evidence.record import Json
    from evidence.state import State
    from evidence.words import StandardFinding, Suggestion

PARTS = tuple(f.name for f in fields(Finding) if f.name != "number")
"""What may be said of a finding."""

ORDERS = ("number", "room", "system")
"""By what findings may be ordered: as numbered, as the rooms are walked, as the systems of a house."""

_TRUE = frozenset({"1", "yes", "true", "y", "x", "urgent"})
_FALSE = frozenset({"0", "no", "false", "n", "-", "not urgent"})

_READ = frozenset({*PARTS, "from"})
_IN_SCHEDULE = {
    "what was seen": "seen",
    "why it matters": "why",
    "what to do": "do",
    "not seen": "limits",
}
"""Columns of an issued schedule that are called otherwise than the parts of a finding."""
_LEFT_ASIDE = frozenset({"finding", "photos", "address", "edition"})
"""Columns of an issued schedule that say nothing of a new finding."""
_GUARDED = re.compile(r"^'(?=[=+\-@])")
"""What the schedule puts before a text that a spreadsheet would take for a formula."""


def add(desk: Desk, parts: Mapping[str, object], *, standard: str = "") -> Finding:
    """Add a finding, with what the catalogue says where nothing was typed.

    Parameters
    ----------
    parts
        Any of :data:`PARTS`; blank ones count as not typed.
    standard
        Id of a standard finding.

    Raises
    ------
    UnknownFinding
        The catalogue has no such id.
    BadCatalogue
        The inspector's own file holds a row that cannot be used.
    EmptyFinding
        Nothing says what was seen.
    """
    finding, entry = prepare(desk, parts, standard=standard)
    desk.decide_all([entry])
    return finding


def prepare(desk: Desk, parts: Mapping[str, object], *, standard: str = "") -> tuple[Finding, Entry]:
    """Give a new finding and the line that makes it one, unwritten; errors as for :func:`add`."""
    finding = _made(_next_number(desk), parts, _row(desk, standard))
    return finding, Entry("finding", str(finding.number), _value(finding))


def reference_of(desk: Desk, standard: str) -> str:
    """Give the reference of a standard finding, for an inspector who asks to have it printed.

    Raises
    ------
    UnknownFinding, BadCatalogue
        There is no such standard finding, or the inspector's own file cannot be used.
    WrongUsage
        No reference is known for it.
    """
    row = desk.catalogue.standard(standard)
    if not row.reference:
        raise WrongUsage(f"No reference is known for {row.id}; type one with --reference.")
    return row.reference


def edit(desk: Desk, number: int, parts: Mapping[str, object]) -> Finding:
    """Change parts of a finding; blank text empties a part, and spaces are tidied as in a new one.

    Raises
    ------
    UnknownFinding, EmptyFinding
        There is no such finding, or nothing would be left that was seen.
    """
    before = finding_of(desk.state(), number)
    after = replace(before, **_tidied(parts))  # type: ignore[arg-type]
    if not after.seen.strip():
        raise EmptyFinding(f"Finding {number} would be left without what was seen.")
    desk.decide("finding", number, _value(after))
    return after


def withdraw(desk: Desk, number: int) -> None:
    """Take a finding out of the next edition; its number is never used again.

    Raises
    ------
    UnknownFinding
        There is no such finding.
    """
    finding_of(desk.state(), number)
    desk.decide("finding", number, None)


def order(desk: Desk, by: str | Sequence[int]) -> None:
    """Put the findings in order for schedule and pages; their numbers stay.

    Parameters
    ----------
    by
        One of :data:`ORDERS`, or numbers by hand; those not named follow by number.

    Raises
    ------
    UnknownFinding, WrongUsage
        There is no such finding or order, or one is named twice; nothing was changed.
    """
    value: Json
    if isinstance(by, str):
        if by not in ORDERS:
            raise WrongUsage(f"Findings are ordered by {', '.join(ORDERS)}, or by hand; not by “{by}”.")
        value = None if by == "number" else by
    else:
        state = desk.state()
        value = [finding_of(state, number).number for number in by]
        if len(set(value)) < len(value):
            raise WrongUsage("Each finding is named once to put them in order by hand.")
    desk.decide("order", "findings", value)


def from_csv(desk: Desk, table: Path) -> list[Finding]:
    """Add a finding for each row of a table with a heading; all rows or none.

    The columns are called as the parts of a finding are, and "from" for a standard finding's id, or as
    in the schedule of an edition, whose numbers, photos, address and edition are left aside; other
    columns are refused, so that a misspelt heading loses nothing.

    Raises
    ------
    BadTable
        It is not there, is not text, or is no table.
    WrongUsage
        A heading is unknown or stands twice, or a cell is under no heading or says neither yes nor no.
    EmptyFinding, UnknownFinding
        Names the row.
    """
    try:
        text = table.read_text("utf-8-sig")
    except OSError as problem:
        raise BadTable(f"{files.shown(table.name)} cannot be read: {problem.strerror}.") from problem
    except UnicodeDecodeError as problem:
        raise BadTable(
            f"{files.shown(table.name)} is not UTF-8 text from byte {problem.start} on."
        ) from problem
    number = _next_number(desk)
    made: list[Finding] = []
    for line, row in _rows(files.shown(table.name), text):
        standard = row.pop("from", "").strip()
        try:
            parts = {**row, "urgent": _urgent(row.get("urgent", ""))}
            made.append(_made(number + len(made), parts, _row(desk, standard)))
        except (EmptyFinding, UnknownFinding, WrongUsage) as problem:
            raise type(problem)(f"{files.shown(table.name)}, line {line}: {problem}") from None
    if not made:
        raise BadTable(f"{files.shown(table.name)} holds no finding: it needs a heading and a row for each.")
    desk.decide_all([Entry("finding", str(one.number), _value(one)) for one in made])
    return made


def _rows(name: str, text: str) -> Iterator[tuple[int, dict[str, str]]]:
    """Give the rows of a table that hold anything, with the line each begins at, by parts of a finding."""
    reader = csv.reader(io.StringIO(text), strict=True)
    heads: list[str] | None = None
    line = 1
    try:
        for cells in reader:
            if heads is None:
                heads = _headings(name, cells)
            elif any(cell.strip() for cell in cells):
                under = list(zip_longest(heads, cells, fillvalue=""))
                if any(cell.strip() for head, cell in under if not head):
                    raise WrongUsage(f"{name}, line {line}: a cell stands under no heading.")
                yield line, {head: _GUARDED.sub("", cell) for head, cell in under if head in _READ}
            line = reader.line_num + 1
    except csv.Error as problem:
        raise BadTable(f"{name}, line {line}: it cannot be read as a table: {problem}.") from None


def _headings(name: str, cells: Sequence[str]) -> list[str]:
    typed = [" ".join(cell.split()) for cell in cells]
    heads = [_IN_SCHEDULE.get(word.casefold(), word.casefold()) for word in typed]
    for word, head in zip(typed, heads, strict=True):
        if head not in _READ | _LEFT_ASIDE | {""}:
            raise WrongUsage(f"{name} has a column “{word}”; known are {', '.join(PARTS)} and from.")
        if head and heads.count(head) > 1:
            raise WrongUsage(f"{name} has two columns “{word}”.")
    return heads


def _urgent(word: str) -> bool | None:
    """Read whether the client must be told today; None where the cell is blank."""
    plain = word.strip().casefold()
    if plain not in _TRUE | _FALSE | {""}:
        raise WrongUsage(f"“{word.strip()}” under urgent is neither yes nor no.")
    return plain in _TRUE if plain else None


def search(words: str, limit: int = 8, folder: Path | None = None) -> list[StandardFinding]:
    """Search the standard findings in use by words, misspelt ones too; likeliest first, without references.

    Parameters
    ----------
    folder
        A job's folder, if the search is for a job.

    Raises
    ------
    BadSetting, BadCatalogue
        The job's details or the inspector's own file cannot be used.
    """
    rows = own.in_use(folder)
    found = [rows.standard(one.id) for one in standard_findings.search(words, limit, rows)]
    return [replace(row, reference="", reference_source="") for row in found]


def suggest(desk: Desk, sentence: str, room: str = "", limit: int = 3) -> list[Suggestion]:
    """Offer standard findings in use that a sentence said in a room may mean, likeliest first.

    Raises
    ------
    BadCatalogue
        The inspector's own file holds a row that cannot be used.
    """
    return standard_findings.suggest(sentence, room, limit, desk.catalogue)


def finding_of(state: State, number: int) -> Finding:
    """Give a finding by its number.

    Raises
    ------
    UnknownFinding
        There is none, or it was withdrawn.
    """
    for finding in state.findings:
        if finding.number == number:
            return finding
    raise UnknownFinding(f"There is no finding {number} in this job.")


def missing_parts(finding: Finding) -> tuple[str, ...]:
    """Name the parts a reader will look for and not find (North Carolina 11 NCAC 08.1103(b)(3))."""
    wanted = {"why": "why it matters", "do": "what to do", "who": "who should do it", "room": "its room"}
    return tuple(words for part, words in wanted.items() if not getattr(finding, part).strip())


def _row(desk: Desk, standard: str) -> StandardFinding | None:
    return desk.catalogue.standard(standard) if standard else None


def _made(number: int, parts: Mapping[str, object], row: StandardFinding | None) -> Finding:
    typed = {key: value for key, value in _tidied(parts).items() if value not in ("", None)}
    base = Finding(number, "")
    if row:
        base = Finding(
            number,
            seen=row.seen,
            why=row.why,
            do=row.do,
            who=row.who,
            system=row.system,
            urgent=row.urgent,
            hazard=row.hazard,
            standard=row.id,
        )
    made = replace(base, **typed)  # type: ignore[arg-type]
    if not made.seen.strip():
        raise EmptyFinding("A finding needs to say what was seen.")
    return made


def _tidied(parts: Mapping[str, object]) -> dict[str, object]:
    """Make line breaks, tabs, control characters and runs of spaces one space each."""
    return {key: _on_one_line(value) if isinstance(value, str) else value for key, value in parts.items()}


def _on_one_line(text: str) -> str:
    return " ".join("".join(" " if unicodedata.category(c) == "Cc" else c for c in text).split())


def _next_number(desk: Desk) -> int:
    """One more than any number ever given, withdrawn and undone ones too."""
    given = [int(line.about) for line in desk.job.lines if line.what == "finding"]
    return max(given, default=0) + 1


def _value(finding: Finding) -> dict[str, Json]:
    value = asdict(finding)
    del value["number"]
    return value
