"""Lay out what is missing, each with the place where it is settled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from evidence.review.views.parts import Part
from evidence.review.views.shots import Strip
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
    strip = Strip(seen.state)
    rows = tuple(_gap(seen.state, strip, gap) for gap in seen.gaps)
    told = tuple(seen.state.not_seen)
    return [Part("gap-list", "gap_list.html", (rows, told))]


_SETTLED: Final = {
    GapKind.UNUSABLE: ("/findings#finding-{0}-f{0}-seen", "Change its pictures in Findings"),
    GapKind.PARTS: ("/findings#finding-{0}-f{0}-seen", "Write it in Findings"),
    GapKind.ROOM: ("/findings#finding-{0}-f{0}-seen", "Write it in Findings"),
    GapKind.DAMAGED: ("/walk#p-{}", "See it in Walk"),
    GapKind.HOPELESS: ("/walk#p-{}", "See it in Walk"),
    GapKind.SAID: ("/walk#s-{}", "See it in Walk"),
}
"""Only what can have the focus is named: a browser takes it away from elsewhere when it has found a place."""
_PICTURED: Final = {
    GapKind.NO_PICTURE: "Choose its pictures in Walk",
    GapKind.NO_CLOSE: "Attach a closer view in Walk",
    GapKind.NO_WHERE: "Attach a wider view in Walk",
}


def _gap(state: State, strip: Strip, gap: Gap) -> GapPart:
    href, where, explain = "", "", ""
    if gap.kind in _SETTLED:
        pattern, where = _SETTLED[gap.kind]
        href = pattern.format(gap.about)
    elif gap.kind in _PICTURED:
        finding = next(f for f in state.findings if str(f.number) == gap.about)
        href, where = strip.way_to(finding), _PICTURED[gap.kind]
    elif gap.kind is GapKind.UNNAMED:
        href, where = f"/walk#name-{state.visits[int(gap.about) - 1].frames[0]}", "Name it in Walk"
    elif gap.kind is GapKind.NO_OVERALL:
        place = strip.shown(f for v in state.visits if v.room == gap.about for f in v.frames)
        href = f"/walk#p-{place}" if place else "/walk"
        where, explain = "Choose its overall view in Walk", gap.about
    elif gap.kind is GapKind.REQUIRED:
        href, where, explain = "/walk", "Look for it in Walk", gap.about
    return GapPart(gap.kind.value, gap.sentence, href, where, explain)
