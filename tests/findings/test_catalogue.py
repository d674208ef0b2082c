"""The standard findings: whole, neutral, careful, and an inspector's own laid over them."""

from __future__ import annotations

import re

import pytest

from evidence.errors import BadCatalogue, UnknownFinding
from evidence.findings import caution, packaged
from evidence.findings.catalogue import SOURCES, SYSTEMS
from evidence.findings.cautions import CAUTIONS

JUDGING = re.compile(r"\b(shall|must|comply|violat\w*|non-?complian\w*|illegal|safe|safely)\b", re.IGNORECASE)
"""A report that calls something a violation takes on further duties (North Carolina GS 143-151.58), and
the program never declares a thing safe."""

STOPPING = re.compile(r"\b(stop using|leave the house|keep away|keep \w+ away)\b", re.IGNORECASE)
"""What a person is to do the same day; usual cautions for gas, fire and moving doors (common practice)."""

LICENSED_FOR = {"ELE": "electri", "HVC": "licensed HVAC|electrician|owner", "PLB": "licensed|gas supplier"}
"""Trades that most states license (common practice)."""

OWN = """
[[finding]]
id = "own-01"
system = "roof"
seen = "Moss covers the north slope."
why = "It holds water."
do = "Have it removed without pressure."
who = "roofing contractor"
keywords = ["moss"]

[[finding]]
id = "ROF-08"
do = "Ask the neighbour to cut the branches back."
"""


def test_there_are_at_least_190_rows_and_no_two_share_an_id() -> None:
    ids = [row.id for row in packaged().rows]

    assert len(ids) >= 190
    assert len(set(ids)) == len(ids)


def test_no_row_has_a_blank_part() -> None:
    rows = packaged().rows

    assert [
        row.id for row in rows if not all((row.seen, row.why, row.do, row.who, row.places, row.keywords))
    ] == []
    assert [row.id for row in rows if row.reference_source not in SOURCES] == []
    assert {row.system for row in rows} == set(SYSTEMS)


def test_rows_describe_and_do_not_judge() -> None:
    found = [row.id for row in packaged().rows if JUDGING.search(f"{row.seen} {row.why} {row.do}")]

    assert found == []


def test_what_was_seen_is_one_calm_sentence() -> None:
    rows = packaged().rows

    assert [row.id for row in rows if not re.fullmatch(r"[A-Z][^.!?]*\.", row.seen)] == []
    assert [row.id for row in rows if "!" in row.why + row.do or not row.do.endswith(".")] == []
    assert [row.id for row in rows if not row.why.endswith(".")] == []


def test_no_row_prints_a_section_or_a_figure_of_a_code_unasked() -> None:
    """Figures are the inspector's to measure; a section is shown on request only."""
    code = re.compile(r"\b(IRC|NEC|IPC|IFGC|NFPA|IECC)\b|\d")

    assert [row.id for row in packaged().rows if code.search(row.seen + row.why + row.do)] == []


def test_a_row_that_names_a_section_never_calls_it_common_practice() -> None:
    section = re.compile(r"\b(IRC|NEC|IPC|IFGC|IECC|CFR|TAC)\b")
    rows = packaged().rows

    assert [
        r.id for r in rows if section.search(r.reference) and r.reference_source == "common practice"
    ] == []


def test_an_urgent_row_says_to_stop_using_or_to_keep_away() -> None:
    urgent = [row for row in packaged().rows if row.urgent]

    assert {row.id for row in urgent} >= {
        "HVC-04",
        "HVC-08",
        "PLB-02",
        "PLB-26",
        "ELE-09",
        "GAR-05",
        "FIR-07",
    }
    assert [row.id for row in urgent if not STOPPING.search(row.do) or not row.hazard] == []


def test_every_danger_has_a_caution_of_its_own() -> None:
    assert {row.hazard for row in packaged().rows if row.hazard} == set(CAUTIONS)
    assert [words for words in CAUTIONS.values() if re.search(r"\bis safe\b|!", words)] == []
    assert caution("") == ""
    assert caution("falling moon") != ""


def test_no_caution_says_to_stop_using_an_alarm_or_a_way_out() -> None:
    """A row names what is in danger of failing people there, not what endangers them."""
    told = {row.id: caution(row.hazard) for row in packaged().rows if row.system == "alarms-escape"}

    assert {name for name, words in told.items() if "using it" in words} == set()
    assert "get everyone out" in told["ALM-03"]


def test_gas_power_and_heating_go_to_the_licensed_trade() -> None:
    rows = [row for row in packaged().rows if row.id[:3] in LICENSED_FOR]

    assert [row.id for row in rows if not re.search(LICENSED_FOR[row.id[:3]], row.who)] == []


def test_an_unknown_id_is_refused() -> None:
    with pytest.raises(UnknownFinding, match="XYZ"):
        packaged().standard("XYZ-1")


def test_an_inspectors_own_rows_win_by_id_and_add_to_the_rest() -> None:
    rows = packaged().under(OWN, "mine.toml")

    assert rows.standard("own-01").seen == "Moss covers the north slope."
    assert packaged().under(OWN.replace("own-01", "own\\n 01"), "mine.toml").rows[-1].id == "OWN 01"
    assert rows.standard("ROF-08").do == "Ask the neighbour to cut the branches back."
    assert rows.standard("ROF-08").seen == packaged().standard("ROF-08").seen
    assert len(rows.rows) == len(packaged().rows) + 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[finding]\n", "mine.toml cannot be read as TOML"),
        ("[finding]\nid='A'", "double brackets"),
        ("finding = [3]", "double brackets"),
        ("colour = 'red'", "“colour” stands outside a row"),
        ("[[finding]]\nid='OWN-1'\ncolour='red'", "row 1 \\(OWN-1\\): “colour” is not a part of a row"),
        ("[[finding]]\nseen='A.'", "row 1 \\(without an id\\): it needs an id"),
        ("[[finding]]\nid=7", "it needs an id in quotes"),
        ("[[finding]]\nid='OWN-1'\nseen='A.'", "it lacks “system”"),
        ("[[finding]]\nid='ROF-08'\nseen=''", "it lacks “seen”"),
        ("[[finding]]\nid='ROF-08'\nurgent='yes'", "“urgent” must be true or false"),
        ("[[finding]]\nid='ROF-08'\nkeywords='moss'", "“keywords” must be a list"),
        ("[[finding]]\nid='ROF-08'\nwhy=3", "“why” must be text in quotes"),
        ("[[finding]]\nid='ROF-08'\nreference_source='heard'", "“reference_source” must be one of"),
        ("[[finding]]\nid='ROF-08'\n[[finding]]\nid='rof-08'", "row 2 \\(rof-08\\): its id was used before"),
    ],
)
def test_a_bad_row_is_named_with_its_file_in_one_sentence(text: str, said: str) -> None:
    with pytest.raises(BadCatalogue, match=said) as problem:
        packaged().under(text, "mine.toml")

    assert "mine.toml" in str(problem.value)


def test_every_bad_row_is_named_at_once() -> None:
    with pytest.raises(BadCatalogue) as problem:
        packaged().under("[[finding]]\nid='A-1'\n[[finding]]\nid='A-2'\nx=1", "mine.toml")

    assert "row 1" in str(problem.value)
    assert "row 2" in str(problem.value)
