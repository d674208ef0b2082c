"""Lay out the findings: the four parts, the pictures, the proposal, and what each lacks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from evidence.review.views.parts import Part
from evidence.review.views.shots import Shot, Strip
from evidence.steps.findings import missing_parts
from evidence.steps.gaps import GapKind

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from evidence.choice import Proposal
    from evidence.review.reading import Seen
    from evidence.steps.gaps import Gap
    from evidence.timeline import PictureState
    from evidence.words import Finding


@dataclass(frozen=True, slots=True)
class Pick:
    """A picture of a finding."""

    shot: Shot
    distance: str
    place: str
    warning: str = ""


@dataclass(frozen=True, slots=True)
class FindingPart:
    """One finding with its pictures, its proposal and what it lacks."""

    finding: Finding
    picks: tuple[Pick, ...]
    proposal: tuple[tuple[int, str, str], ...]
    settled: bool
    remark: str
    lacks: tuple[str, ...]
    way: str


def findings(seen: Seen) -> list[Part]:
    """Lay out the findings: a part for each, in the order in which they are printed."""
    strip = Strip(seen.state)
    return [
        Part(f"finding-{f.number}", "finding.html", _finding(seen, strip, f))
        for f in seen.state.printed_findings
    ]


def _finding(seen: Seen, strip: Strip, finding: Finding) -> FindingPart:
    attached = seen.state.attached_to(finding.number)
    picks = tuple(
        Pick(
            strip.shot(a.frame),
            a.distance or "",
            "printed first" if at == 0 else "in support",
            _warning(seen.state.picture(a.frame)),
        )
        for at, a in enumerate(attached)
        if seen.state.picture(a.frame)
    )
    proposal = seen.proposals.get(finding.number)
    proposed = tuple(_proposed(proposal))
    return FindingPart(
        finding=finding,
        picks=picks,
        proposal=proposed,
        settled=[row[0] for row in proposed] == [a.frame for a in attached],
        remark=proposal.remark if proposal else "",
        lacks=tuple(_lacks(seen.gaps, finding)),
        way=strip.way_to(finding),
    )


def _warning(p: PictureState | None) -> str:
    if p is None:
        return ""
    return p.fault or ("too dark" if p.hopeless else p.unsharp)


def _proposed(proposal: Proposal | None) -> Iterator[tuple[int, str, str]]:
    for pick in proposal.picks if proposal else ():
        yield pick.frame, pick.reason, pick.warning


def _lacks(gaps: Sequence[Gap], finding: Finding) -> Iterator[str]:
    number = str(finding.number)
    said = {
        GapKind.NO_PICTURE: "a picture",
        GapKind.UNUSABLE: "a usable picture",
        GapKind.NO_CLOSE: "a close view",
        GapKind.NO_WHERE: "a view that shows where it is",
    }
    for gap in gaps:
        if gap.about == number and gap.kind in said:
            yield said[gap.kind]
    yield from missing_parts(finding)
