"""What every issued document says besides what was seen."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from evidence.findings import REFERENCE_CAUTION, caution
from evidence.report.cautions import cautions
from evidence.report.contents import Contents
from evidence.report.wording import parts
from evidence.words import Finding

LEAK = Finding(1, "A pipe drips.", why="Water damages the house.", do="Repair it.", who="licensed plumber")


def test_no_reference_is_printed_unless_a_finding_was_given_one() -> None:
    bare = Contents("14 Alder Court", datetime(2026, 11, 25, tzinfo=UTC), findings=(LEAK,))
    pointed = replace(bare, findings=(replace(LEAK, reference="IRC P2804.6.1 (2018)"),))

    assert "Reference" not in dict(parts(LEAK))
    assert REFERENCE_CAUTION not in cautions(bare)
    assert dict(parts(pointed.findings[0]))["Reference"] == "IRC P2804.6.1 (2018)"
    assert REFERENCE_CAUTION in cautions(pointed)


def test_an_inspector_without_a_name_confirmed_all_the_same() -> None:
    bare = Contents("14 Alder Court", datetime(2026, 11, 25, tzinfo=UTC))

    assert any(" The inspector confirmed or changed" in said for said in cautions(bare))
    named = cautions(replace(bare, inspector="A. Wren"))
    assert any(" The inspector (A. Wren) confirmed or changed" in said for said in named)


def test_a_danger_carries_its_usual_caution_below_the_finding() -> None:
    danger = dict(parts(replace(LEAK, hazard="carbon monoxide")))["Danger"]

    assert danger.startswith("carbon monoxide. ")
    assert danger.endswith(caution("carbon monoxide"))
    assert "Danger" not in dict(parts(LEAK))
