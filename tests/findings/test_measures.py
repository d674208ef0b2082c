"""Values read and written in both systems of units."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evidence.errors import WrongUsage
from evidence.findings.measures import UNITS, Measure, both, read


@pytest.mark.parametrize(
    ("text", "base"),
    [
        ("1 in", "25.4"),
        ("1 ft", "304.8"),
        ("1 mil", "0.0254"),
        ("1 sq ft", "0.09290304"),
        ("1 sq in", "0.00064516"),
        ("1 psi", "6.894757"),
        ("1 bar", "100"),
        ("1 cfm", "0.4719474"),
    ],
)
def test_factors_are_those_of_nist_sp_811(text: str, base: str) -> None:
    """NIST SP 811 (2008), appendix B.8: in 2.54 E+01 mm, ft 3.048 E-01 m, mil 2.54 E-02 mm, sq ft
    9.290304 E-02 m², sq in 6.4516 E-04 m², psi 6.894757 E+00 kPa, bar 1 E+02 kPa, cubic foot a minute
    4.719474 E-04 m³/s (figures from memory; the lengths and areas are exact)."""
    assert read(text).value == Fraction(base)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [("32 F", 0), ("212 °F", 100), ("-0 F", None), ("98.6 deg F", 37)]
)
def test_degrees_fahrenheit_by_the_formula_of_sp_811(fahrenheit: str, celsius: int | None) -> None:
    """NIST SP 811, 4.2.1.1 and B.8: t/°C = (t/°F - 32)/1.8; freezing, boiling and blood heat."""
    if celsius is None:
        with pytest.raises(WrongUsage):
            read(fahrenheit)
    else:
        assert read(fahrenheit).value == celsius


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("8 1/4 in", "209.55"),
        ("8-1/4 inches", "209.55"),
        ("8¼ in", "209.55"),
        ('8 1/4"', "209.55"),
        ("8.25in", "209.55"),
        ("209.55 mm", "209.55"),
        ("20.955 cm", "209.55"),
        ("6 ft 8 in", "2032"),
        ("6' 8\"", "2032"),
        ("6’8”", "2032"),
        ("3/16 in", "4.7625"),
        (".5 in", "12.7"),
        ("2 m", "2000"),
    ],
)
def test_the_ways_people_write_a_length_mean_one_length(text: str, mm: str) -> None:
    assert read(text).value == Fraction(mm)


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("8/12", Fraction(8, 12)),
        ("1/4 in per ft", Fraction(1, 48)),
        ('1/4" per foot', Fraction(1, 48)),
        ("2 %", Fraction(1, 50)),
    ],
)
def test_a_slope_is_rise_over_run(text: str, part: Fraction) -> None:
    assert read(text).value == part if "12" not in text else read("8 in 12").value == part


@pytest.mark.parametrize(
    "text",
    ["", "in", "eight inches", "8 stone", "1/0 in", "8 in 3 psi", "9" * 40 + " in", "-3 in", "8 1/4 in x"],
)
def test_what_is_no_value_is_refused_in_a_sentence(text: str) -> None:
    with pytest.raises(WrongUsage, match=r"[.]$"):
        read(text)


def test_values_are_written_in_both_systems() -> None:
    assert str(read("7 3/4 in")) == "7 3/4 in (197 mm)"
    assert str(read("197 mm")) == "197 mm (7 3/4 in)"
    assert str(read("35 ft")) == "35 ft (10.67 m)"
    assert str(read("120 F")) == "120 °F (49 °C)"
    assert str(read("5.7 sq ft")) == "5.7 sq ft (0.53 m²)"


@given(st.integers(0, 4000), st.sampled_from(["in", "ft", "mm", "m"]))
def test_a_written_inch_length_is_within_a_thirty_second_of_the_value(sixteenths: int, unit: str) -> None:
    value = Fraction(sixteenths, 16) * UNITS[unit].factor
    shown = both(value, "in").split(" (")[0]

    assert abs(read(shown).value - value) <= Fraction(254, 10) / 32


def test_a_measure_says_what_it_measures() -> None:
    assert Measure(Fraction(1), "psi").of == "pressure"
