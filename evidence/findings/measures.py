"""Read a measured value in US or metric units and write it in both.

Hides units, fractions of an inch and rounding. Values are kept as fractions, so that 7 3/4 in and
196.85 mm are one length. Factors: NIST Special Publication 811 (2008), appendix B (from memory; the
inch, foot and square foot are exact there).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from evidence.errors import WrongUsage


@dataclass(frozen=True, slots=True)
class _Unit:
    """A unit: what it measures, how many base units it holds, and where its zero lies."""

    of: str
    factor: Fraction
    zero: Fraction = Fraction(0)


_LENGTH, _AREA, _TEMPERATURE, _SLOPE = "length", "area", "temperature", "slope"

UNITS: Final = {
    "in": _Unit(_LENGTH, Fraction("25.4")),
    "ft": _Unit(_LENGTH, Fraction("304.8")),
    "mil": _Unit(_LENGTH, Fraction("0.0254")),
    "mm": _Unit(_LENGTH, Fraction(1)),
    "cm": _Unit(_LENGTH, Fraction(10)),
    "m": _Unit(_LENGTH, Fraction(1000)),
    "sq ft": _Unit(_AREA, Fraction("0.09290304")),
    "sq in": _Unit(_AREA, Fraction("0.00064516")),
    "m²": _Unit(_AREA, Fraction(1)),
    "psi": _Unit("pressure", Fraction("6.894757")),
    "kPa": _Unit("pressure", Fraction(1)),
    "bar": _Unit("pressure", Fraction(100)),
    "cfm": _Unit("air flow", Fraction("0.4719474")),
    "L/s": _Unit("air flow", Fraction(1)),
    "°F": _Unit(_TEMPERATURE, Fraction(5, 9), Fraction(32)),
    "°C": _Unit(_TEMPERATURE, Fraction(1)),
    "in per ft": _Unit(_SLOPE, Fraction(1, 12)),
    "in 12": _Unit(_SLOPE, Fraction(1, 12)),
    "mm/m": _Unit(_SLOPE, Fraction(1, 1000)),
    "%": _Unit(_SLOPE, Fraction(1, 100)),
    "A": _Unit("current", Fraction(1)),
    "years": _Unit("age", Fraction(1)),
    "": _Unit("number", Fraction(1)),
}
"""Every unit; base units are mm, m², kPa, L/s, °C, rise over run, A, years and one."""

_NAMES: Final = {
    **{unit.casefold(): unit for unit in UNITS},
    **{"inch": "in", "inches": "in", "foot": "ft", "feet": "ft", "mils": "mil", "metre": "m", "meter": "m"},
    **{"metres": "m", "meters": "m", "millimetres": "mm", "millimeters": "mm", "sqft": "sq ft"},
    **{"ft2": "sq ft", "ft²": "sq ft", "square feet": "sq ft", "square foot": "sq ft", "m2": "m²"},
    **{"in2": "sq in", "square inches": "sq in", "sq m": "m²", "square metres": "m²", "square meters": "m²"},
    **{"f": "°F", "deg f": "°F", "degrees f": "°F", "c": "°C", "deg c": "°C", "degrees c": "°C"},
    **{"in/ft": "in per ft", "inch per foot": "in per ft", "inches per foot": "in per ft"},
    **{"in per foot": "in per ft", "inch per ft": "in per ft", "inches per ft": "in per ft"},
    **{"per cent": "%", "percent": "%", "mm per m": "mm/m", "/12": "in 12", "amp": "A", "amps": "A"},
    **{"amperes": "A", "year": "years", "yr": "years", "yrs": "years", "l/s": "L/s"},
}
_OTHER: Final = {
    **{"in": "mm", "ft": "m", "mil": "mm", "mm": "in", "cm": "in", "m": "ft"},
    **{"sq ft": "m²", "sq in": "m²", "m²": "sq ft", "psi": "kPa", "kPa": "psi", "bar": "psi"},
    **{"cfm": "L/s", "L/s": "cfm", "°F": "°C", "°C": "°F"},
    **{"in per ft": "%", "in 12": "%", "mm/m": "in per ft", "%": "in per ft"},
}
"""The unit of the other system that is written beside each."""

_DIGITS: Final = {"°C": 0, "°F": 0, "mm": 0, "kPa": 0, "psi": 0, "L/s": 0, "cfm": 0}
_VULGAR: Final = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_NUMBER: Final = r"(?:\d+\s+\d+/\d+|\d+-\d+/\d+|\d+/\d+|\d*\.\d+|\d+)"
_PAIR: Final = re.compile(rf"({_NUMBER})\s*([^\d\s.][^\d]*|in 12|/12)?\s*")
_MOST: Final = 10**9


@dataclass(frozen=True, slots=True)
class Measure:
    """A value with its unit.

    Attributes
    ----------
    value
        In base units (see :data:`UNITS`), exact.
    unit
        The unit it was said in.
    """

    value: Fraction
    unit: str

    @property
    def of(self) -> str:
        """What it measures: length, area, ..."""
        return UNITS[self.unit].of

    def __str__(self) -> str:
        """In its own unit, with the other system's beside it."""
        return both(self.value, self.unit)


def read(text: str) -> Measure:
    """Read a measured value.

    Raises
    ------
    WrongUsage
        It is no number with a known unit.

    Examples
    --------
    >>> read("8 1/4 in").value == read("209.55 mm").value
    True
    >>> str(read("6 ft 8 in"))
    '6.67 ft (2.03 m)'
    """
    said = text.strip()
    for sign, plain in _VULGAR.items():
        said = said.replace(sign, f" {plain}")
    said = said.replace("″", '"').replace("”", '"').replace("′", "'").replace("’", "'")
    said = said.replace('"', " in ").replace("'", " ft ").replace("⁄", "/").strip()
    if slope := re.fullmatch(rf"({_NUMBER})\s*(?:in 12|/ ?12|:12)", said):
        return Measure(_number(slope[1]) / 12, "in 12")
    parts: list[Measure] = []
    at = 0
    while at < len(said):
        found = _PAIR.match(said, at)
        if not found:
            raise WrongUsage(f"“{text}” is no measured value such as 8 1/4 in, 210 mm or 6 ft 8 in.")
        unit = _NAMES.get(" ".join((found[2] or "").split()).strip(".,").casefold())
        if unit is None:
            raise WrongUsage(
                f"“{(found[2] or '').strip()}” is no unit; known are {', '.join(filter(None, UNITS))}."
            )
        parts.append(Measure((_number(found[1]) - UNITS[unit].zero) * UNITS[unit].factor, unit))
        at = found.end()
    if not parts or (len(parts) > 1 and {part.of for part in parts} != {_LENGTH}):
        raise WrongUsage(f"“{text}” is no measured value such as 8 1/4 in, 210 mm or 6 ft 8 in.")
    return Measure(sum((part.value for part in parts), Fraction(0)), parts[0].unit)


def as_difference(said: Measure) -> Measure:
    """Take a temperature that was read as one for a difference of temperatures."""
    unit = UNITS[said.unit]
    return Measure(said.value + unit.zero * unit.factor, said.unit)


def _number(text: str) -> Fraction:
    whole, _, part = text.replace("-", " ").rpartition(" ")
    try:
        value = Fraction(part) + (Fraction(whole) if whole.strip() else 0)
    except ZeroDivisionError:
        raise WrongUsage(f"“{text}” divides by nothing.") from None
    if value > _MOST:
        raise WrongUsage(f"“{text}” is too large to have been measured at a house.")
    return value


def both(value: Fraction, unit: str, *, difference: bool = False) -> str:
    """Write a value in one unit, with the other system's beside it.

    Examples
    --------
    >>> both(Fraction("196.85"), "in")
    '7 3/4 in (197 mm)'
    """
    other = _OTHER.get(unit)
    first = one(value, unit, difference=difference)
    return f"{first} ({one(value, other, difference=difference)})" if other else first


def one(value: Fraction, unit: str, *, difference: bool = False) -> str:
    """Write a value in one unit: inches to the sixteenth, others in decimals, rounded half to even."""
    number = value / UNITS[unit].factor + (0 if difference else UNITS[unit].zero)
    if unit in ("in", "in per ft") and (number == 0 or abs(number) >= Fraction(1, 16)):
        return f"{_sixteenths(number)} {unit}"
    if unit == "" and number.numerator == 1 and number.denominator > 2:
        return f"1/{number.denominator}"
    digits = _DIGITS.get(unit, 2)
    if number and abs(number) < Fraction(1, 20):
        digits = 4
    elif unit == "mm" and abs(number) < 10:
        digits = 1
    text = f"{float(round(number, digits)):.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text} {unit}".replace(" %", "\u202f%").strip()


def _sixteenths(number: Fraction) -> str:
    near = Fraction(round(number * 16), 16)
    whole, part = divmod(abs(near), 1)
    sign = "-" if near < 0 else ""
    words = [str(whole)] if whole or not part else []
    if part:
        words.append(f"{part.numerator}/{part.denominator}")
    return sign + " ".join(words)
