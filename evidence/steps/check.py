"""Compare a measured value with its figure; needs no job and writes nothing."""

from __future__ import annotations

from evidence import own
from evidence.findings import checks
from evidence.findings.checks import Answer, Figure


def check(words: str, given: str = "") -> Answer:
    """Compare "EXT-10 riser 8 1/4 in" with its figure.

    Raises
    ------
    WrongUsage
        Says what is unknown or missing.
    """
    return checks.compare(words, given)


def figures(finding: str = "") -> tuple[Figure, ...]:
    """Give the figures of a standard finding, or all of them.

    Raises
    ------
    UnknownFinding
        There is no such standard finding.
    BadCatalogue
        The inspector's own file cannot be used.
    """
    if not finding:
        return checks.figures()
    found = checks.of(finding)
    if not found:
        own.in_use().standard(finding)
    return found
