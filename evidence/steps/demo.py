"""Carry the made-up house from its card to edition 1, by the same steps a person would take.

Hides where the card lies. What its inspector decides is data (``house/decisions.toml``): rooms,
findings, pictures, corrections; everything else is the program's own proposal.
"""

from __future__ import annotations

import importlib.resources
import tomllib
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evidence import files
from evidence.desk import Desk
from evidence.errors import HouseMissing
from evidence.record import Entry
from evidence.steps import attach, clock, findings, gaps, issue, narration, proof, read, rooms, start, status
from evidence.steps.parts import Wanted
from evidence.words import Distance

if TYPE_CHECKING:
    from collections.abc import Callable

    from evidence.progress import Progress
    from evidence.steps.intake import IntakeResult
    from evidence.words import FrameNumber

DECISIONS = "decisions.toml"


@dataclass(frozen=True, slots=True)
class Demo:
    """What the demo made.

    Attributes
    ----------
    folder
        The job.
    issued
        Its edition.
    status
        How it stands at the end.
    corrections
        How many of the proposed visits the inspector had to split or join.
    """

    folder: Path
    issued: issue.Issued
    status: status.Status
    corrections: int


def demo(folder: Path, *, progress: Progress, tell: Callable[[str], None]) -> Demo:
    """Make the made-up house's job and take it to edition 1.

    Parameters
    ----------
    tell
        Told what is being done, a sentence each.

    Raises
    ------
    AlreadyThere
        The folder is a job already.
    HouseMissing
        The made-up house is not part of this installation, or not whole; nothing was made.
    DiskFull, CannotWrite
        As for any job.
    """
    house = _house()
    decided: dict[str, Any] = tomllib.loads((house / DECISIONS).read_text("utf-8"))
    for name in (*decided["cards"], decided["narration"]["file"]):
        if not (house / name).exists():
            raise HouseMissing(f"Of the made-up house “{name}” is missing in {files.shown(str(house))}.")
    tell("This house, its inspector and its client are made up; every picture is rendered.")
    start.start(folder, decided["job"]).close()
    with Desk.open(folder) as desk:
        tell("Taking in the camera's card and the phone; copying, hashing, reading back ...")
        cards = [house / card for card in decided["cards"]]
        # The bundled files bear the times of their installation, which say nothing of jobs.
        taken = read.take_in(desk, cards, wanted=Wanted(whole=True), progress=progress)
        _say_taken(taken, tell)
        frames = {Path(t.original.place).stem: t.frame for t in desk.job.taken() if t.frame is not None}
        for one in decided.get("clock", ()):
            clock.correct(desk, one["camera"], float(one["add_s"]), one["reason"])
        corrections = _rooms(desk, decided["visit"], frames)
        tell(f"Naming the rooms; {corrections} of the proposed visits had to be split or joined.")
        tell("Putting what was said beside the pictures, and making findings of it ...")
        _narration(desk, house, decided["narration"], frames)
        _findings(desk, decided["finding"], frames)
        desk.decide_all(
            [Entry("shown", str(frames[name]), text) for name, text in decided.get("shown", {}).items()]
        )
        rooms.overall(desk, [frames[name] for name in decided["overall"]])
        for place, reason in decided.get("not_seen", {}).items():
            gaps.explain(desk, place, reason)
        # The demo's inspector looked at each picture in full size.
        proof.looked(desk, proof.proof(desk).to_look_at)
        tell("Issuing edition 1 ...")
        made = issue.issue(desk, issue.Wanted(formats=tuple(issue.FORMATS)), progress=progress)
        return Demo(folder, made, status.status(desk, _today(decided["job"])), corrections)


def _house() -> Path:
    """The card as installed, or as it lies in a checkout."""
    with importlib.resources.as_file(importlib.resources.files("evidence")) as package:
        for place in (package / "house", package.parent / "fixtures"):
            if (place / DECISIONS).is_file():
                return place
    raise HouseMissing("The made-up house, which the demo shows, is not part of this installation.")


def _say_taken(taken: IntakeResult, tell: Callable[[str], None]) -> None:
    tell(f"{len(taken.taken)} files are in the job, each read back equal to the card.")


def _rooms(desk: Desk, visits: list[dict[str, str]], frames: dict[str, FrameNumber]) -> int:
    """Correct the proposed visits where they are not the house's, then name them; count corrections."""
    wanted = {frames[visit["first"]] for visit in visits}
    state = desk.state()
    proposed = {visit.frames[0] for visit in state.visits}
    everywhere = proposed | wanted
    entries = [
        Entry("begins", str(frame), frame in wanted, frame in proposed)
        for frame in sorted(everywhere)
        if (frame in wanted) != (frame in proposed) and frame != state.pictures[0].frame
    ]
    desk.decide_all(entries)
    numbers = {visit.frames[0]: number for number, visit in enumerate(desk.state().visits, 1)}
    rooms.name(desk, {numbers[frames[visit["first"]]]: visit["room"] for visit in visits})
    return len(entries)


def _narration(desk: Desk, house: Path, spoken: dict[str, str], frames: dict[str, FrameNumber]) -> None:
    """Put what was said on the line of time, by the one sentence whose picture is known."""
    transcript = narration.take_in(desk, house / spoken["file"])
    began = narration.by_picture(desk, transcript, frames[spoken["picture"]], says=spoken["says"])
    narration.place(desk, transcript, *began)


def _findings(desk: Desk, wanted: list[dict[str, Any]], frames: dict[str, FrameNumber]) -> None:
    said = {one.sentence.text: one.number for one in desk.state().sentences}
    for one in wanted:
        parts = {key: one[key] for key in findings.PARTS if key in one}
        standard = one.get("from", "")
        if "said" in one:
            made = narration.accept(desk, said[one["said"]], standard=standard, standard_words=True)
            findings.edit(desk, made.number, parts)
        else:
            made = findings.add(desk, parts, standard=standard)
        by_distance: dict[str, list[FrameNumber]] = {}
        for name, distance in one["pictures"].items():
            by_distance.setdefault(distance, []).append(frames[name])
        for distance, shown in by_distance.items():
            attach.attach(desk, made.number, shown, distance=Distance(distance))
        attach.take_proposal(desk, made.number)


def _today(job: dict[str, Any]) -> date:
    """The day of the inspection, so that the demo shows the same whenever it is run."""
    return date.fromisoformat(str(job["inspected"]))
