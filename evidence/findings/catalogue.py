"""Read the standard findings and lay an inspector's own over them.

Hides the tables' form and the judging of each row. A row is a suggestion in neutral words, never a
judgement of a house; its reference is for the inspector and is not printed by default. Leaves it to
the caller to read an inspector's own file.
"""

from __future__ import annotations

import hashlib
import importlib.resources
import tomllib
from dataclasses import MISSING, dataclass, fields
from functools import cache, cached_property
from typing import Final

from evidence.errors import BadCatalogue, UnknownStandard
from evidence.words import StandardFinding

SYSTEMS: Final = (
    "site",
    "exterior",
    "roof",
    "attic",
    "insulation-ventilation",
    "structure",
    "garage",
    "electrical",
    "heating-cooling-exhaust",
    "plumbing-gas",
    "fireplace-chimney",
    "interior",
    "alarms-escape",
    "limits-of-access",
)
"""The parts of a house, in the order an inspector walks it; each has its table."""

SOURCES: Final = ("read", "memory", "common practice")
"""How a reference is known: read in a public text; from memory of the model code, not confirmed;
or trade practice with no section claimed."""

REFERENCE_CAUTION: Final = (
    "A reference points into a model text; the edition adopted here, or in force when the house was "
    "built, may differ. Local code and the maker's instructions govern."
)
"""Stands beside every reference that is shown."""

_LISTS: Final = ("places", "keywords")
_TRUTHS: Final = ("urgent",)
_KNOWN: Final = {field.name for field in fields(StandardFinding)}
_NEEDED: Final = tuple(
    field.name for field in fields(StandardFinding) if field.default is MISSING and field.name != "id"
)


@dataclass(frozen=True, eq=False)
class Catalogue:
    """Standard findings in their order; compared as the object it is, so that an index can be kept for it.

    Attributes
    ----------
    rows
        No two share an id.
    """

    rows: tuple[StandardFinding, ...]

    @cached_property
    def by_id(self) -> dict[str, StandardFinding]:
        """Every row under its id."""
        return {row.id: row for row in self.rows}

    @cached_property
    def digest(self) -> str:
        """Stands for every word of every row; another catalogue has another."""
        return hashlib.sha256(repr(self.rows).encode()).hexdigest()

    def standard(self, name: str) -> StandardFinding:
        """Give a standard finding by its id.

        Raises
        ------
        UnknownStandard
            There is none.

        Examples
        --------
        >>> packaged().standard("att-06").system
        'attic'
        """
        try:
            return self.by_id[" ".join(name.split()).upper()]
        except KeyError:
            raise UnknownStandard(f"There is no standard finding “{name}”.") from None

    def under(self, text: str, file: str) -> Catalogue:
        """Lay an inspector's own rows over these; theirs win, part by part, by id, and new ones are added.

        Parameters
        ----------
        text
            TOML as in the packaged tables; of a row whose id is known here only the changed parts are needed.
        file
            Its name, for the sentence that says what is wrong.

        Raises
        ------
        BadCatalogue
            Names the file and every row that cannot be used.
        """
        own = _read(text, file, self.by_id)
        replaced = {row.id: row for row in own}
        kept = tuple(replaced.pop(row.id, row) for row in self.rows)
        return Catalogue((*kept, *replaced.values()))


@cache
def packaged() -> Catalogue:
    """Give the standard findings that come with the program."""
    folder = importlib.resources.files("evidence.findings").joinpath("standard")
    rows: list[StandardFinding] = []
    for system in SYSTEMS:
        file = folder.joinpath(f"{system}.toml")
        rows += sorted(_read(file.read_text("utf-8"), f"{system}.toml", {}), key=lambda row: row.id)
    return Catalogue(tuple(rows))


def _read(text: str, file: str, known: dict[str, StandardFinding]) -> list[StandardFinding]:
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise BadCatalogue(f"{file} cannot be read as TOML: {problem}.") from None
    found = table.pop("finding", [])
    if table:
        raise BadCatalogue(
            f"{file}: “{next(iter(table))}” stands outside a row; each row begins with [[finding]]."
        )
    if not isinstance(found, list) or not all(isinstance(row, dict) for row in found):
        raise BadCatalogue(f"{file}: each row begins with [[finding]], in double brackets.")
    rows: list[StandardFinding] = []
    faults: list[str] = []
    for number, row in enumerate(found, 1):
        try:
            made = _row(row, known)
            if made.id in {other.id for other in rows}:
                raise ValueError("its id was used before")
            rows.append(made)
        except ValueError as problem:
            faults.append(f"row {number} ({row.get('id') or 'without an id'}): {problem}")
    if faults:
        raise BadCatalogue(f"{file}, " + "; ".join(faults) + ".")
    return rows


def _row(row: dict[str, object], known: dict[str, StandardFinding]) -> StandardFinding:
    """Judge one row; ValueError says what is wrong."""
    if strange := [key for key in row if key not in _KNOWN]:
        raise ValueError(f"“{strange[0]}” is not a part of a row; known are {', '.join(sorted(_KNOWN))}")
    name = row.get("id")
    if not isinstance(name, str) or not name.strip():
        raise ValueError("it needs an id in quotes, such as “OWN-01”")
    parts: dict[str, object] = {}
    for key, value in row.items():
        if key in _TRUTHS:
            if not isinstance(value, bool):
                raise ValueError(f"“{key}” must be true or false, without quotes")
            parts[key] = value
        elif key in _LISTS:
            if not isinstance(value, list) or not all(isinstance(one, str) and one.strip() for one in value):
                raise ValueError(f'“{key}” must be a list of texts in quotes, such as ["attic"]')
            parts[key] = tuple(" ".join(one.split()) for one in value)
        elif not isinstance(value, str):
            raise ValueError(f"“{key}” must be text in quotes")
        else:
            parts[key] = " ".join(value.split())
    parts["id"] = " ".join(name.split()).upper()
    if parts.get("reference_source") and parts["reference_source"] not in SOURCES:
        raise ValueError(f"“reference_source” must be one of {', '.join(SOURCES)}")
    base = known.get(str(parts["id"]))
    whole = {**({f: getattr(base, f) for f in _KNOWN} if base else {}), **parts}
    if missing := [key for key in _NEEDED if not whole.get(key)]:
        raise ValueError(f"it lacks “{missing[0]}”")
    return StandardFinding(**whole)
