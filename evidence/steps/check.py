"""Compare a measured value with its figure; needs no job and writes nothing."""

from __future__ import annotations

from dataclasses import replace

from evidence import own
from evidence.findings import checks
from evidence.findings.checks import Answer, Figure


def check(words: str, given: str = "", *, references: bool = False) -> Answer:
    """Compare "EXT-10 riser 8 1/4 in" with its figure; where that comes from only where asked for.

    Raises
    ------
    WrongUsage
        Says what is unknown or missing.
    """
    answer = checks.compare(words, given)
    return answer if references else replace(answer, reference="")


def figures(finding: str = "") -> tuple[Figure, ...]:
    """Give the figures of a standard finding, or all of them, without where they come from.

    Raises
    ------
    UnknownFinding
        There is no such standard finding.
    BadCatalogue
        The inspector's own file cannot be used.
    """
    found = checks.of(finding) if finding else checks.figures()
    if not found:
        own.in_use().standard(finding)
    return tuple(replace(one, reference="") for one in found)
