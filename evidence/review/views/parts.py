"""Hold what a view is made of, and what stands above every view."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from evidence.review.views.wording import count, short
from evidence.steps import issue

if TYPE_CHECKING:
    from collections.abc import Mapping

    from evidence.review.reading import Seen


@dataclass(frozen=True)
class Part:
    """A piece of a view that is shown anew when its digest changes."""

    id: str
    template: str
    value: object

    @cached_property
    def digest(self) -> str:
        """Stands for all it says."""
        return hashlib.sha256(repr(self.value).encode()).hexdigest()[:16]


@dataclass(frozen=True, slots=True)
class Head:
    """What stands above every view."""

    address: str
    version: str
    line: int
    saved: str
    findings: tuple[tuple[int, str], ...]
    counts: Mapping[str, str]
    undo: str
    redo: str
    only_looking: bool


def head(seen: Seen, undo: str, redo: str, *, only_looking: bool = False) -> Head:
    """Give what stands above every view.

    Parameters
    ----------
    undo, redo
        What the next of each would take back or do again.
    only_looking
        The job cannot be written, so that nothing can be decided.
    """
    state, lines = seen.state, seen.job.lines
    printed = issue.printed(state)
    unlooked = [p for p in printed if not p.looked]
    return Head(
        address=seen.job.details.address or seen.job.folder.name,
        version=seen.version,
        line=len(lines),
        saved=f"line {len(lines)} saved",
        findings=tuple((f.number, short(f.seen)) for f in state.findings),
        counts={
            "walk": count(sum(not v.room for v in state.visits), "visit", "nameless") or "all visits named",
            "findings": f"{len(state.findings)} written" if state.findings else "none yet",
            "gaps": f"{len(seen.gaps)} open" if seen.gaps else "none open",
            "proof": count(len(unlooked), "picture", "to look at")
            or ("all looked at" if printed else "nothing to print yet"),
        },
        undo="" if only_looking else undo,
        redo="" if only_looking else redo,
        only_looking=only_looking,
    )
