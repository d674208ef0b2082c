"""Measured values against the figures of model texts; every figure named with its source.

The figures are typed here a second time, from the texts named beside them as far as those were read in
public pages, else from memory, so that a slip in the table shows.
"""

from __future__ import annotations

import re
from fractions import Fraction

import pytest

from evidence.errors import WrongUsage
from evidence.findings import packaged
from evidence.findings.checks import DECIDES, KNOWN_BY, compare, figures, of
from evidence.findings.measures import read

GAS_VENT = [
    *[(0, "12 in"), (6, "12 in"), (6.5, "15 in"), (7, "15 in"), (8, "18 in"), (9, "24 in"), (10, "30 in")],
    *[
        (11, "39 in"),
        (12, "48 in"),
        (14, "60 in"),
        (16, "72 in"),
        (18, "84 in"),
        (20, "90 in"),
        (21, "96 in"),
    ],
]
"""IRC 2018, figure and table G2427.6.3, least height by roof slope (read in a public page)."""


@pytest.mark.parametrize(("slope", "height"), GAS_VENT)
def test_gas_vent_height_by_roof_slope(slope: float, height: str) -> None:
    least = read(height).value

    assert compare(f"HVC-07 height {float(least)} mm", f"{slope}/12").lies == "within the figure"
    assert compare(f"HVC-07 height {float(least - 1)} mm", f"{slope}/12").lies == "below the figure"


@pytest.mark.parametrize("given", ["12", "12/12", "12 in 12", "12:12"])
def test_a_slope_is_read_however_it_is_said(given: str) -> None:
    assert "for a slope of 12 in 12" in compare("HVC-07 height 20 in", given).text


def test_a_finding_of_one_figure_needs_no_name_for_it() -> None:
    (only,) = of("HVC-06")

    assert compare(f"{only.finding} ½ in").name == only.name


def test_a_slope_beyond_the_table_is_not_guessed() -> None:
    with pytest.raises(WrongUsage, match="ends at 21 in 12"):
        compare("HVC-07 height 20 ft", "22/12")


@pytest.mark.parametrize(
    ("bends", "feet"),
    [
        ("none", 35),
        ("1x90", 30),
        ("2x90 1x45", 22.5),
        ("4x90", 15),
        ("2x90r6", 31.5),
        ("3x45r10", 32.75),
        ("9x90", 0),
    ],
)
def test_dryer_duct_length_less_its_bends(bends: str, feet: float) -> None:
    """IRC 2018 M1502.4.6.1 and its table: 35 ft; 5 ft off for 90°, 2.5 ft for 45°, 1.75 ft for a smooth
    90° of 6 in radius, 0.75 ft for a smooth 45° of 10 in (read in public pages; the last from memory)."""
    assert compare(f"HVC-20 length {feet} ft", bends).lies == "within the figure"
    assert compare(f"HVC-20 length {feet + 0.1} ft", bends).lies == "above the figure"


@pytest.mark.parametrize(
    ("material", "level", "upright"),
    [
        ("ABS", "4 ft", "10 ft"),
        ("aluminum tubing", "10 ft", "15 ft"),
        ("cast iron", "5 ft", "15 ft"),
        ("copper pipe", "12 ft", "10 ft"),
        ("copper tubing to 1 1/4 in", "6 ft", "10 ft"),
        ("copper tubing from 1 1/2 in", "10 ft", "10 ft"),
        ("PEX to 1 in", "32 in", "10 ft"),
        ("PEX from 1 1/4 in", "4 ft", "10 ft"),
        ("PEX-AL-PEX", "32 in", "4 ft"),
        ("CPVC to 1 in", "3 ft", "10 ft"),
        ("CPVC from 1 1/4 in", "4 ft", "10 ft"),
    ],
)
def test_pipe_supports(material: str, level: str, upright: str) -> None:
    """IRC 2018, Table P2605.1 (read in a public page)."""
    _edge("PLB-13 spacing", level, "above", material)
    _edge("PLB-13 vertical spacing", upright, "above", material)


@pytest.mark.parametrize(("size", "feet"), [("3/8 to 1/2 in", 6), ("3/4 to 1 in", 8), ("from 1 1/4 in", 10)])
def test_steel_gas_pipe_supports(size: str, feet: int) -> None:
    """IFGC Table 415.1 (read in a municipal ordinance)."""
    _edge("PLB-24 spacing", f"{feet} ft", "above", size)


@pytest.mark.parametrize(
    ("asked", "figure", "beyond"),
    [
        ("EXT-10 riser", "7 3/4 in", "above"),  # IRC R311.7.5.1 (read)
        ("EXT-10 tread", "10 in", "below"),  # IRC R311.7.5.2 (read)
        ("EXT-10 variation", "3/8 in", "above"),  # IRC R311.7.5 (read)
        ("EXT-09 height", "34 in", "below"),  # IRC R311.7.8.1 (read)
        ("EXT-09 height", "38 in", "above"),
        ("EXT-07 guard height", "36 in", "below"),  # IRC R312.1.2 (read)
        ("INT-10 headroom", "6 ft 8 in", "below"),  # IRC R311.7.2 (memory)
        ("ALM-05 area", "5.7 sq ft", "below"),  # IRC R310.2.1 (read)
        ("ALM-05 sill", "44 in", "above"),
        ("ALM-05 width", "20 in", "below"),
        ("ALM-05 height", "24 in", "below"),
        ("EXT-13 area", "9 sq ft", "below"),  # IRC R310.2.3 (read)
        ("PLB-03 height", "6 in", "above"),  # IRC P2804.6.1 (read)
        ("PLB-09 trap seal", "2 in", "below"),  # IRC P3201.2 (read)
        ("PLB-09 trap seal", "4 in", "above"),
        ("PLB-09 tailpiece", "24 in", "above"),  # IRC P3201.6 (read)
        ("PLB-08 pressure", "80 psi", "above"),  # IRC P2903.3.1 (memory)
        ("PLB-07 temperature", "120 F", "above"),  # IRC P2713.3 (memory)
        ("PLB-23 distance", "6 ft", "above"),  # IRC G2420.5 (read)
        ("ELE-01 depth", "3 ft", "below"),  # NEC 110.26(A)(1) (read)
        ("ELE-01 width", "30 in", "below"),  # NEC 110.26(A)(2) (read)
        ("ELE-01 height", "6.5 ft", "below"),  # NEC 110.26(A)(3) (read)
        ("ELE-15 spacing", "4.5 ft", "above"),  # NEC 334.30 (read)
        ("ELE-15 from box", "12 in", "above"),
        ("ATT-07 air gap", "1 in", "below"),  # IRC R806.3 (read)
        ("ATT-01 floor width", "24 in", "below"),  # IRC M1305.1.3 (read)
        ("HVC-02 pan depth", "1.5 in", "below"),  # IRC M1411.3.1 (read)
        ("HVC-03 slope", "1/8 in per ft", "below"),  # IRC M1411.3 (read)
        ("HVC-20 transition", "8 ft", "above"),  # IRC M1502.4.3 (read)
        ("PLB-11 slope", "2.0834 %", "below"),  # IRC P3005.3: 1/4 in per ft (memory)
        ("GAR-03 height", "18 in", "below"),  # IRC M1307.3 (read)
        ("GAR-06 height", "6 in", "above"),  # makers' instructions under UL 325 (read)
        ("SIT-01 fall", "6 in", "below"),  # IRC R401.3 (read)
        ("FIR-09 inside", "2 in", "below"),  # IRC R1003.18 (memory)
    ],
)
def test_a_value_at_the_figure_is_within_and_one_beyond_is_not(asked: str, figure: str, beyond: str) -> None:
    _edge(asked, figure, beyond)


@pytest.mark.parametrize(
    ("words", "given", "lies"),
    [
        (
            "EXT-08 opening 3 15/16 in",
            "",
            "within the figure",
        ),  # a 4 in ball must not pass: IRC R312.1.3 (read)
        ("EXT-08 opening 4 in", "", "not below the figure"),
        ("EXT-07 drop 30 in", "", "not in play"),  # "more than 30 in": IRC R312.1.1 (read)
        ("EXT-07 drop 30 1/16 in", "", "in play"),
        ("EXT-09 risers 3", "", "not in play"),  # "four or more risers": IRC R311.7.8 (read)
        ("EXT-09 risers 4", "", "in play"),
        ("ELE-17 from sink 6 ft", "", "in play"),  # "within 6 ft": NEC 210.8(A) (read)
        ("ELE-17 from sink 1.9 m", "", "not in play"),
        ("LIM-02 headroom 18 in", "", "not in play"),  # "less than 18 in": 22 TAC 535.228(a)(2) (read)
        (
            "STR-04 notch 1 9/16 in",
            "9 1/4 in",
            "above the figure",
        ),  # a sixth is 1.542 in: IRC R502.8.1 (read)
        ("STR-04 hole 3 in", "9 1/4 in", "within the figure"),  # a third is 3.083 in
        ("ELE-04 breaker 20 A", "14 AWG", "above the figure"),  # NEC 240.4(D)(3) (memory)
        ("ELE-04 breaker 20 A", "12 awg", "within the figure"),
        ("ATT-08 free area 1/150", "", "within the figure"),  # IRC R806.2 (read)
        ("ATT-08 free area 1/151", "", "below the figure"),
        ("HVC-19 temperature drop 10 °C", "", "within the figure"),  # 18 °F; a rule of thumb
        ("HVC-19 temperature drop 13 F", "", "below the figure"),
        ("GAR-03 450 mm", "", "below the figure"),  # 457.2 mm
    ],
)
def test_on_which_side_of_its_figure_a_value_lies(words: str, given: str, lies: str) -> None:
    assert compare(words, given).lies == lies


def test_an_answer_names_both_figures_how_it_is_known_and_who_decides() -> None:
    answer = compare("EXT-10 riser 8 1/4 in")

    assert "8 1/4 in (210 mm)" in answer.text
    assert "at most 7 3/4 in (197 mm)" in answer.text
    assert "by 1/2 in (13 mm)" in answer.text
    assert KNOWN_BY["read"] in answer.text
    assert answer.text.endswith(DECIDES)
    assert "IRC" not in answer.text


def test_a_hair_beyond_the_figure_is_called_one() -> None:
    assert "a tape hardly tells" in compare("EXT-10 riser 197 mm").text


def test_no_answer_calls_anything_passed_or_free_of_danger() -> None:
    judging = re.compile(
        r"\b(safe|pass(es|ed)?|fail(s|ed)?|violat\w*|complian\w*|compl(y|ies)|legal|ok)\b", re.IGNORECASE
    )
    said = [one.says + one.note for one in figures()] + list(KNOWN_BY.values()) + [DECIDES]
    said += [compare(f"EXT-10 riser {value} in").text for value in (7, 8)]

    assert [text for text in said if judging.search(text)] == []


def test_every_figure_belongs_to_a_finding_and_can_be_read() -> None:
    ids = packaged().by_id
    for one in figures():
        assert one.finding in ids
        assert one.source in KNOWN_BY
        texts = [
            *one.bounds.values(),
            *one.choices.values(),
            *one.bends.values(),
            *(s[2] for s in one.slopes),
        ]
        assert texts
        for text in filter(None, texts):
            assert read(text).unit or one.name in ("layers", "risers", "free area") or one.given


def test_no_two_figures_of_a_finding_share_a_name() -> None:
    names = [(one.finding, called) for one in figures() for called in (one.name, *one.also)]

    assert sorted(name for name in names if names.count(name) > 1) == []


@pytest.mark.parametrize(
    ("words", "given", "said"),
    [
        ("ZZZ-1 3 in", "", "No figure belongs to “ZZZ-1”"),
        ("EXT-10 8 in", "", "Say what was measured for EXT-10: riser, tread, variation"),
        ("EXT-10 riser", "", "Give the measured value"),
        ("EXT-10 riser 8", "", "is no length"),
        ("EXT-10 riser 8 psi", "", "is no length"),
        ("HVC-07 height 20 in", "", "depends on the roof slope"),
        ("EXT-10 riser 8 in", "8/12", "depends on nothing else; leave --for out"),
        ("HVC-07 height 20 in", "steep", "“steep” is no roof slope such as 8/12"),
        ("PLB-13 spacing 40 in", "PEX", "Give the material as one of"),
        ("HVC-20 length 20 ft", "two bends", "Give the bends as"),
        ("HVC-20 length 20 ft", "1x90r7", "No bend of 7 in"),
        ("STR-04 notch 1 in", "3 psi", "say it as a length"),
    ],
)
def test_what_is_unknown_or_missing_is_said_in_a_sentence(words: str, given: str, said: str) -> None:
    with pytest.raises(WrongUsage, match=said):
        compare(words, given)


def _edge(asked: str, figure: str, beyond: str, given: str = "") -> None:
    """At the figure a value is within it; a thousandth beyond, it is not."""
    limit = read(figure)
    unit = {"length": "mm", "area": "m²", "pressure": "kPa", "temperature": "°C", "slope": "%"}[limit.of]
    at = limit.value * (100 if unit == "%" else 1)
    step = at / 1000 * (1 if beyond == "above" else -1)
    inside = at - step / 100 if unit in ("m²", "kPa", "%", "°C") else at

    assert compare(f"{asked} {_decimal(inside)} {unit}", given).lies == "within the figure"
    assert compare(f"{asked} {_decimal(at + step)} {unit}", given).lies == f"{beyond} the figure"


def _decimal(value: Fraction) -> str:
    return f"{float(value):.9f}"
