"""Lay out the pages as they will print, and what is still to be looked at before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from evidence.review.views.parts import Part
from evidence.review.views.shots import Shot, Strip
from evidence.steps import issue

if TYPE_CHECKING:
    from evidence.review.reading import Seen
    from evidence.steps.pages import Pages


@dataclass(frozen=True, slots=True)
class ProofHead:
    """How far the proof has come, and what may be done."""

    set: bool
    pages: int
    changed: int
    looked: int
    printed: int
    waiting: tuple[Shot, ...]
    gaps: int
    editions: tuple[str, ...]
    per_page: int


@dataclass(frozen=True, slots=True)
class SpotOn:
    """A photo on a page, in shares of the page in ten-thousandths, as an SVG has them."""

    frame: int
    photo: int
    looked: bool
    x: int
    y: int
    width: int
    height: int
    shot: Shot


@dataclass(frozen=True, slots=True)
class ProofPage:
    """One page as it will print."""

    number: int
    of: int
    digest: str
    spots: tuple[SpotOn, ...]


def proof(seen: Seen, made: Pages | None, changed: int) -> list[Part]:
    """Lay out the pages as they will print, and above them what is still to be looked at."""
    state = seen.state
    strip = Strip(state)
    all_printed = issue.printed(state)
    waiting = tuple(strip.shot(p.frame) for p in all_printed if not p.looked)
    editions = tuple(line.about for line in seen.job.lines if line.what == "issue")
    above = ProofHead(
        set=made is not None,
        pages=made.count if made else 0,
        changed=changed,
        looked=len(all_printed) - len(waiting),
        printed=len(all_printed),
        waiting=waiting,
        gaps=len(seen.gaps),
        editions=editions,
        per_page=(made.per_page if made else 0) or seen.job.details.per_page,
    )
    parts = [Part("proof-head", "proof_head.html", above)]
    known = {p.frame: p for p in state.pictures}
    for number, photos in enumerate(made.spots if made else (), 1):
        on_page = tuple(
            SpotOn(
                spot.frame,
                spot.photo,
                known[spot.frame].looked,
                round(spot.x0 * 10_000),
                round(spot.y0 * 10_000),
                round((spot.x1 - spot.x0) * 10_000),
                round((spot.y1 - spot.y0) * 10_000),
                strip.shot(spot.frame),
            )
            for spot in photos
            if spot.frame in known
        )
        page = ProofPage(number, made.count if made else 0, made.digest[:16] if made else "", on_page)
        parts.append(Part(f"page-{number}", "proof_page.html", page))
    return parts
