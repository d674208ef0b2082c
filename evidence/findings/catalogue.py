"""Load the standard findings from their table.

Hides the table's form. A row is a suggestion in neutral words, never a judgement of a house; its
reference is for the inspector and is not printed by default.
"""

from __future__ import annotations

import importlib.resources
import tomllib
from functools import cache

from evidence.errors import UnknownFinding
from evidence.words import StandardFinding

TABLE = "standard.toml"
SOURCES = ("read", "memory", "common practice")
"""How a reference is known: read in a public text; from memory of the model code, not confirmed;
or trade practice with no section claimed."""


@cache
def catalogue() -> tuple[StandardFinding, ...]:
    """Give every standard finding, in the order of the table."""
    text = importlib.resources.files("evidence.findings").joinpath(TABLE).read_text("utf-8")
    return tuple(_row(row) for row in tomllib.loads(text)["finding"])


def standard(name: str) -> StandardFinding:
    """Give a standard finding by its id.

    Raises
    ------
    UnknownFinding
        There is none.

    Examples
    --------
    >>> standard("att-06").system
    'attic'
    """
    wanted = name.strip().upper()
    for row in catalogue():
        if row.id == wanted:
            return row
    raise UnknownFinding(f"There is no standard finding “{name}”; search with --search WORDS.")


def _row(row: dict[str, object]) -> StandardFinding:
    lists = {key: tuple(value) for key, value in row.items() if isinstance(value, list)}
    return StandardFinding(**{**row, **lists})  # type: ignore[arg-type]
