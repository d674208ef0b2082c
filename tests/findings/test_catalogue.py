"""The standard findings: whole, neutral, and found by the words people use."""

from __future__ import annotations

import re

import pytest

from evidence import findings
from evidence.errors import UnknownFinding
from evidence.findings.catalogue import SOURCES, catalogue, standard

CODE_WORDS = re.compile(r"\b(shall|must comply|violat|non-?complian|illegal|safe)\b", re.IGNORECASE)
"""A report that calls something a violation takes on further duties (North Carolina GS 143-151.58), and
the program never declares a thing safe."""


def test_no_two_rows_share_an_id_and_none_has_a_blank_part() -> None:
    rows = catalogue()

    assert len({row.id for row in rows}) == len(rows)
    assert [
        row.id for row in rows if not all((row.seen, row.why, row.do, row.who, row.places, row.keywords))
    ] == []
    assert [row.id for row in rows if row.reference and row.reference_source not in SOURCES] == []


def test_rows_describe_and_do_not_judge() -> None:
    assert [row.id for row in catalogue() if CODE_WORDS.search(f"{row.seen} {row.why} {row.do}")] == []


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("releif pipe", "PLB-03"),
        ("double tapped breaker", "ELE-02"),
        ("the flue has come apart above the water heater", "HVC-04"),
        ("no handrale on the stairs", "EXT-09"),
        ("S trap under the sink", "PLB-09"),
    ],
)
def test_the_right_row_is_among_the_first_three(words: str, expected: str) -> None:
    assert expected in [found.id for found in findings.suggest(words)]


def test_words_that_mean_nothing_offer_nothing() -> None:
    assert findings.suggest("zzz qqq xxx") == []
    assert findings.suggest("") == []


def test_an_unknown_id_is_refused() -> None:
    with pytest.raises(UnknownFinding, match="XYZ"):
        standard("XYZ-1")
