"""Say what is written: findings, their pictures, and what is still lacking."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from evidence.tables.layout import clean, clean_lines, clock_text, light_text, runs, table

if TYPE_CHECKING:
    from evidence.choice import Proposal
    from evidence.findings.checks import Answer, Figure
    from evidence.state import State
    from evidence.steps.gaps import Gap
    from evidence.timeline import PictureState
    from evidence.words import Mark, StandardFinding


def findings(state: State, lacking: Sequence[Gap] = ()) -> str:
    """List the findings with their pictures, and what a reader will miss in them."""
    if not state.findings:
        return "There is no finding yet. Make one with --add or --from; search with --search."
    rows = []
    for finding in state.findings:
        shown = ", ".join(str(a.frame) for a in state.attached_to(finding.number)) or "none"
        urgent = "urgent" if finding.urgent else ""
        rows.append((finding.number, finding.room or "-", urgent, shown, finding.seen))
    listed = table(("No.", "Room", "Urgent", "Pictures", "Seen"), rows)
    return "\n".join([listed, *(clean(gap.sentence) for gap in lacking)])


def standard_findings(found: Sequence[StandardFinding]) -> str:
    """List standard findings."""
    if not found:
        return "No standard finding has words like these."
    return table(("Id", "System", "Seen"), [(one.id, one.system, one.seen) for one in found])


def standard_finding(row: StandardFinding, caution: str) -> str:
    """Write a standard finding out, part by part."""
    parts = {
        "Seen": row.seen,
        "Why it matters": row.why,
        "What to do": row.do,
        "Who": row.who,
        "Usual places": ", ".join(row.places),
        "Danger": row.hazard,
        "Caution": caution,
        "Urgent": "yes: tell the client today" if row.urgent else "",
        "Said as": ", ".join(row.keywords),
        "Reference": f"{row.reference or 'none'} ({row.reference_source})" if row.reference_source else "",
    }
    lines = [f"{row.id}, {row.system}", *(f"{head}: {text}" for head, text in parts.items() if text)]
    return clean_lines(lines)


def figures(found: Sequence[Figure]) -> str:
    """List figures, with what each depends on."""
    if not found:
        return "No figure belongs to that standard finding."
    rows = [(one.finding, one.name, one.given or "-", one.says) for one in found]
    return table(("Finding", "Name", "Depends on", "What is measured"), rows)


def answer(found: Answer) -> str:
    """Write what a comparison came to."""
    return clean_lines(found.text.splitlines())


def proposal(made: Proposal) -> str:
    """Say what is proposed for a finding, and why."""
    said = []
    for place, pick in enumerate(made.picks):
        role = "printed first" if place == 0 else "in support"
        warning = f" Mind: {pick.warning}." if pick.warning else ""
        said.append(f"Picture {pick.frame}, {role}: {pick.reason}.{warning}")
    return "\n".join([*said, *([made.remark] if made.remark else [])])


def attached(state: State, finding: int) -> str:
    """List a finding's pictures in the order of printing."""
    rows = [
        (a.frame, a.distance or "distance not said", p.name if p else "")
        for a in state.attached_to(finding)
        for p in [state.picture(a.frame)]
    ]
    return table(("Picture", "Distance", "File"), rows) if rows else f"Finding {finding} has no picture."


def described(chosen: Sequence[PictureState], state: State) -> str:
    """Say what is known and decided of some pictures."""
    said = []
    for p in chosen:
        said.append(f"{p.frame}: {clean(p.shown) or 'nothing said of what it shows'}")
        said.append(f"  {clean(p.name)}, {clock_text(p.capture.time)}, {clean(p.capture.camera)}")
        said += [f"  {clean(remark)}" for remark in p.capture.remarks]
        facts = [
            p.distance and str(p.distance),
            p.direction and f"looking {p.direction}",
            state.room_of(p.frame),
        ]
        said.append(
            "  " + (clean(", ".join(fact for fact in facts if fact)) or "no distance, direction or room")
        )
        for alike in state.look_alikes:
            if p.frame == alike.front:
                said.append(f"  in front of {runs(alike.others)}: {clean(alike.reason)}")
            elif p.frame in alike.others:
                said.append(f"  behind its look-alike {alike.front}")
    return "\n".join(said)


def marks(frame: int, found: Sequence[Mark]) -> str:
    """List the marks on a picture."""
    rows = [
        (number, str(m.shape), f"{m.x0:.3f},{m.y0:.3f},{m.x1:.3f},{m.y1:.3f}")
        for number, m in enumerate(found, 1)
    ]
    return table(("Mark", "Shape", "Where"), rows) if rows else f"Picture {frame} has no mark."


def lights(shown: Sequence[PictureState]) -> str:
    """List how pictures are brightened."""
    rows = [
        (p.frame, p.name, light_text(p.light_proposed, p.light_decided) if p.usable else "cannot be shown")
        for p in shown
    ]
    return table(("No.", "File", "Light"), rows)


def gaps(found: Sequence[Gap]) -> str:
    """List the gaps."""
    return "\n".join(clean(gap.sentence) for gap in found) or "There is no gap."
