"""Lay out what is missing, each with the place where it is settled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from evidence.review.views.parts import Part
from evidence.steps.gaps import GapKind

if TYPE_CHECKING:
    from evidence.review.reading import Seen
    from evidence.state import State
    from evidence.steps.gaps import Gap


@dataclass(frozen=True, slots=True)
class GapPart:
    """One gap and the place where it is settled."""

    kind: str
    sentence: str
    href: str
    where: str
    explain: str


def gap_list(seen: Seen) -> list[Part]:
    """Lay out what is missing, each with the place where it is settled."""
    rows = tuple(_gap(seen.state, gap) for gap in seen.gaps)
    told = tuple(seen.state.not_seen)
    return [Part("gap-list", "gap_list.html", (rows, told))]


_SETTLED: Final = {
    GapKind.NO_PICTURE: ("/walk#finding-{}", "Choose its pictures in Walk"),
    GapKind.UNUSABLE: ("/findings#finding-{}", "Change its pictures in Findings"),
    GapKind.NO_CLOSE: ("/walk#finding-{}", "Attach a closer view in Walk"),
    GapKind.NO_WHERE: ("/walk#finding-{}", "Attach a wider view in Walk"),
    GapKind.PARTS: ("/findings#finding-{}", "Write it in Findings"),
    GapKind.ROOM: ("/findings#finding-{}", "Write it in Findings"),
    GapKind.DAMAGED: ("/walk#p-{}", "See it in Walk"),
    GapKind.HOPELESS: ("/walk#p-{}", "See it in Walk"),
}


def _gap(state: State, gap: Gap) -> GapPart:
    href, where, explain = "", "", ""
    if gap.kind in _SETTLED:
        pattern, where = _SETTLED[gap.kind]
        href = pattern.format(gap.about)
    elif gap.kind is GapKind.UNNAMED:
        href, where = f"/walk#visit-{state.visits[int(gap.about) - 1].frames[0]}", "Name it in Walk"
    elif gap.kind is GapKind.NO_OVERALL:
        visit = next((v for v in state.visits if v.room == gap.about), None)
        href = f"/walk#visit-{visit.frames[0]}" if visit else "/walk"
        where, explain = "Choose its overall view in Walk", gap.about
    elif gap.kind is GapKind.REQUIRED:
        href, where, explain = "/walk", "Look for it in Walk", gap.about
    return GapPart(gap.kind.value, gap.sentence, href, where, explain)
