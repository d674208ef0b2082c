"""Compare a measured value with the figure that a model text names for it, in words.

Hides the table of figures and how a figure depends on a slope, a material, bends or a depth. It never
says that a thing is in order: it says on which side of a figure one value lies, how the figure is
known, and who decides.
"""

from __future__ import annotations

import importlib.resources
import operator
import re
import tomllib
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from typing import Final

from evidence.errors import WrongUsage
from evidence.findings.measures import UNITS, Measure, as_difference, both, read

DECIDES: Final = (
    "This compares one value with one figure and says nothing of the rest. The code adopted here, its "
    "edition, the date of construction and the maker's instructions decide."
)
"""Stands below every answer."""

KNOWN_BY: Final = {
    "read": "read in a public text, not in the code book itself",
    "memory": "from memory of the model code, not confirmed: look it up before relying on it",
    "common practice": "a rule of thumb of the trade; no code is claimed",
}
"""How a figure is known, said in full."""

_TAPE_MM: Final = Fraction("1.5875")
"""A sixteenth of an inch."""

_BOUNDS: Final = {
    "at_least": "at least",
    "at_most": "at most",
    "less_than": "less than",
    "applies_over": "more than",
    "applies_under": "less than",
    "applies_from": "or more",
    "applies_to": "or less",
}
_APPLIES: Final = {
    "applies_over": operator.gt,
    "applies_under": operator.lt,
    "applies_from": operator.ge,
    "applies_to": operator.le,
}
_BEYOND: Final = {
    "at_least": (operator.lt, "below the figure"),
    "at_most": (operator.gt, "above the figure"),
    "less_than": (operator.ge, "not below the figure"),
}


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of the table.

    Attributes
    ----------
    finding
        Id of the standard finding it belongs to.
    name, also
        What it is called, and by what other names.
    says
        What is measured, in words.
    bounds
        How the value is bounded ("at_most", "at_least", "less_than", "applies_over", ...) and by what,
        as written in the table; empty where it comes from ``slopes`` or ``choices``.
    given
        What must be known beside the measured value, such as "roof slope"; or "".
    slopes, choices, bends
        Figure by roof slope (from, to, figure), by name, by bend ("4 90": radius in inches, degrees).
    difference
        A difference of temperatures, not a temperature.
    note
        What else is to be known.
    reference, source
        Where it comes from, and how it is known: "read", "memory" or "common practice".
    """

    finding: str
    name: str
    says: str
    reference: str
    source: str
    also: tuple[str, ...] = ()
    bounds: dict[str, str] = field(default_factory=dict)
    given: str = ""
    slopes: tuple[tuple[float, float, str], ...] = ()
    choices: dict[str, str] = field(default_factory=dict)
    bends: dict[str, str] = field(default_factory=dict)
    difference: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a comparison came to.

    Attributes
    ----------
    finding, name
        Which figure it was.
    measured, figure
        Both in both systems of units.
    lies
        "within the figure", "above the figure", "below the figure", or "not below the figure" where the
        value must be less; for a figure that says where a rule applies, "in play" or "not in play".
    text
        The whole answer in sentences.
    source, reference
        How the figure is known, and where it comes from.
    """

    finding: str
    name: str
    measured: str
    figure: str
    lies: str
    text: str
    source: str
    reference: str


@cache
def figures() -> tuple[Figure, ...]:
    """Give every figure, in the order of the table."""
    text = importlib.resources.files("evidence.findings").joinpath("tables.toml").read_text("utf-8")
    return tuple(
        _figure(finding, group, row)
        for finding, group in tomllib.loads(text).items()
        for row in group["figures"]
    )


def of(finding: str) -> tuple[Figure, ...]:
    """Give the figures of one standard finding; empty when it has none."""
    return tuple(one for one in figures() if one.finding == finding.strip().upper())


def compare(words: str, given: str = "") -> Answer:
    """Compare a measured value with its figure.

    Parameters
    ----------
    words
        Id of a standard finding, what was measured (where it has several figures), and the value:
        "EXT-10 riser 8 1/4 in".
    given
        What the figure depends on, if anything: "8/12", "PEX to 1 in", "2x90 1x45", "9 1/4 in".

    Raises
    ------
    WrongUsage
        The finding or figure is unknown, the value is no value or of another kind, or what the figure
        depends on was not said.

    Examples
    --------
    >>> compare("EXT-10 riser 8 1/4 in").lies
    'above the figure'
    """
    figure, value = _asked(words)
    if not value:
        raise WrongUsage(f"Give the measured value with its unit after “{figure.name}”.")
    measured = read(value)
    bounds, how = _bounds(figure, given)
    sort = next(iter(bounds.values())).of
    if sort != measured.of and not (measured.of == "number" and sort == "slope"):
        raise WrongUsage(
            f"“{value}” is no {sort}; {figure.says} is measured as {next(iter(bounds.values()))}."
        )
    unit = next(iter(bounds.values())).unit
    if figure.difference:
        measured = as_difference(measured)
        bounds = {bound: as_difference(limit) for bound, limit in bounds.items()}
    said = _joined(bounds, figure.difference)
    shown = both(measured.value, measured.unit, difference=figure.difference)
    lies, apart = _lies(measured, bounds)
    text = f"{_capital(figure.says)}: measured {shown}. "
    if any(key.startswith("applies") for key in bounds):
        text += f"The rule applies at {said}: with this value it is {lies}."
    else:
        text += f"The figure in the model text is {said}{how}: the measured value is {lies}"
        text += f", by {_apart(apart, unit)}." if apart else "."
    known = f"How the figure is known: {KNOWN_BY[figure.source]}."
    text = "\n".join(part for part in (text, figure.note, known, DECIDES) if part)
    return Answer(figure.finding, figure.name, shown, said, lies, text, figure.source, figure.reference)


def _asked(words: str) -> tuple[Figure, str]:
    """Part "EXT-10 riser 8 1/4 in" into the figure and the value's words."""
    name, _, rest = " ".join(words.split()).partition(" ")
    known = of(name)
    if not known:
        raise WrongUsage(f"No figure belongs to “{name}”; list those there are with: evidence check")
    lowered = rest.casefold()
    named = sorted(
        ((len(called), one) for one in known for called in (one.name, *one.also) if _begins(lowered, called)),
        key=lambda pair: -pair[0],
    )
    if named:
        length, figure = named[0]
        return figure, rest[length:].strip(" :=")
    if len(known) == 1 and not rest[:1].isalpha():
        return known[0], rest
    raise WrongUsage(f"Say what was measured for {known[0].finding}: {', '.join(one.name for one in known)}.")


def _begins(text: str, called: str) -> bool:
    return text == called or text.startswith((f"{called} ", f"{called}:", f"{called}="))


def _bounds(figure: Figure, given: str) -> tuple[dict[str, Measure], str]:
    """The figure's bounds for what is given, and how they came about."""
    if given.strip() and not figure.given:
        raise WrongUsage(f"{_capital(figure.says)} depends on nothing else; leave --for out.")
    if figure.given and not given.strip():
        choices = f": {', '.join(figure.choices)}" if figure.choices else ""
        raise WrongUsage(
            f"{_capital(figure.says)} depends on the {figure.given}; give it with --for{choices}."
        )
    if figure.slopes:
        try:
            slope = read(given if re.search(r"\D\s*12$", given.strip()) else f"{given} in 12")
        except WrongUsage:
            raise WrongUsage(f"“{given}” is no {figure.given} such as 8/12.") from None
        rise = slope.value * 12
        for _, to, text in figure.slopes:
            if slope.of == "slope" and rise <= Fraction(to):
                return {"at_least": read(text)}, f" for a slope of {float(rise):g} in 12"
        raise WrongUsage(f"The table ends at {figure.slopes[-1][1]:g} in 12; “{given}” lies beyond it.")
    if figure.choices:
        key = _chosen(figure, given)
        (bound,) = figure.bounds
        return {bound: read(figure.choices[key])}, f" for {key}"
    if figure.bends:
        return _less_bends(figure, given)
    if figure.given:  # a part of a depth
        whole = read(given)
        if whole.of != "length":
            raise WrongUsage(f"“{given}” is no {figure.given}; say it as a length, such as 9 1/4 in.")
        (bound, part), *_ = figure.bounds.items()
        return {bound: Measure(Fraction(part) * whole.value, "in")}, f", {part} of {whole}"
    return {bound: read(text) for bound, text in figure.bounds.items()}, ""


def _chosen(figure: Figure, given: str) -> str:
    asked = set(given.casefold().split())
    fits = [key for key in figure.choices if key.casefold() == " ".join(given.casefold().split())]
    fits = fits or [key for key in figure.choices if asked <= set(key.casefold().split())]
    if len(fits) != 1:
        raise WrongUsage(f"Give the {figure.given} as one of: {', '.join(figure.choices)}.")
    return fits[0]


def _less_bends(figure: Figure, given: str) -> tuple[dict[str, Measure], str]:
    """A length less what each bend takes: "2x90 1x45" sharp ones, "2x90r6" smooth ones of 6 in radius."""
    bends = re.findall(r"(\d{1,3})\s*x\s*(90|45)(?:\s*r\s*(\d+))?", given.casefold())
    none = given.strip().casefold() in ("0", "none", "no bends")
    left = re.sub(r"(\d{1,3})\s*x\s*(90|45)(?:\s*r\s*(\d+))?", "", given.casefold()).strip(" ,+and")
    if (not bends or left) and not none:
        raise WrongUsage(
            "Give the bends as in --for “2x90 1x45”, --for “2x90r6” (radius 6 in), or --for none."
        )
    taken = Fraction(0)
    for number, degrees, radius in bends:
        try:
            taken += int(number) * read(figure.bends[f"{radius or 4} {degrees}"]).value
        except KeyError:
            raise WrongUsage(
                f"No bend of {radius} in radius is in the table; known are 4, 6, 8 and 10."
            ) from None
    whole = read(figure.bounds["at_most"])
    rest = max(Fraction(0), whole.value - taken)
    how = f", {whole} less {both(taken, 'ft')} for bends" if taken else ""
    return {"at_most": Measure(rest, whole.unit)}, how


def _lies(measured: Measure, bounds: dict[str, Measure]) -> tuple[str, Fraction]:
    """On which side of its bounds a value lies, and by how much."""
    for bound, limit in bounds.items():
        if applies := _APPLIES.get(bound):
            return ("in play" if applies(measured.value, limit.value) else "not in play"), Fraction(0)
        beyond, words = _BEYOND[bound]
        if beyond(measured.value, limit.value):
            return words, abs(measured.value - limit.value)
    return "within the figure", Fraction(0)


def _apart(apart: Fraction, unit: str) -> str:
    if UNITS[unit].of == "length" and apart < _TAPE_MM:
        return "less than 1/16 in (2 mm), which a tape hardly tells"
    return both(apart, unit, difference=True)


def _joined(bounds: dict[str, Measure], difference: bool) -> str:
    said = []
    for bound, limit in bounds.items():
        words = _BOUNDS[bound]
        value = both(limit.value, limit.unit, difference=difference)
        said.append(f"{value} {words}" if words.startswith("or ") else f"{words} {value}")
    return " and ".join(said)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _figure(finding: str, group: dict[str, str], row: dict[str, object]) -> Figure:
    bounds = {key: str(row[key]) for key in _BOUNDS if key in row}
    if "bound" in row:
        bounds = {str(row["bound"]): ""}
    slopes = row.get("slopes", [])
    choices, bends = row.get("choices", {}), row.get("bends", {})
    also = row.get("also", [])
    assert isinstance(slopes, list)
    assert isinstance(choices, dict)
    assert isinstance(bends, dict)
    assert isinstance(also, list)
    return Figure(
        finding=finding,
        name=str(row["name"]),
        says=str(row["says"]),
        reference=group["reference"],
        source=group["source"],
        also=tuple(map(str, also)),
        bounds=bounds,
        given=str(row.get("given", "")),
        slopes=tuple((float(a), float(b), str(text)) for a, b, text in slopes),
        choices=dict(choices),
        bends=dict(bends),
        difference=bool(row.get("difference")),
        note=str(row.get("note", "")),
    )
