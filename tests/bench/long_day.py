"""Make a job of some 2,000 pictures to measure the review page on: the made-up house many times over.

``python -m tests.bench.long_day HOUSE JOB`` takes a job that holds the made-up house, read, and makes
JOB of thirteen rounds through that house, each an hour and a half after the one before. Every file is
another one (the camera time in it is moved), every pixel is the same; so what was measured on a
picture of the house is planted for its copies, and so are its visits and look-alikes: thirteen copies
of one house compared with each other are no day's work. Each round's rooms are named and its overall
views chosen as in ``fixtures/decisions.toml``, and the findings of two rounds are written.
"""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
import tomllib
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from evidence import desk as desks
from evidence import pictures, study
from evidence.desk import Desk
from evidence.errors import EvidenceError
from evidence.packing import to_json
from evidence.progress import Silent
from evidence.state import Arrangement, weights_in_force
from evidence.steps import attach, findings, intake, rooms, start
from evidence.steps.parts import Wanted
from evidence.store import Answer
from evidence.timeline import timeline
from evidence.words import Digest, Distance, FrameNumber, Joint

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
CARDS = ("card", "phone")
ROUNDS = 13
APART = timedelta(minutes=90)
_TIME = re.compile(rb"20\d\d:[01]\d:[0-3]\d [0-2]\d:[0-5]\d:[0-5]\d")
"""As Exif writes it (CIPA DC-008), 19 characters."""


def main(house: Path, folder: Path) -> None:
    """Make the job."""
    decided: dict[str, Any] = tomllib.loads((FIXTURES / "decisions.toml").read_text("utf-8"))
    start.start(folder, decided["job"]).close()
    with tempfile.TemporaryDirectory(dir=folder.parent) as name:
        cards = [_card(Path(name), card, number) for number in range(ROUNDS) for card in CARDS]
        with Desk.open(folder) as desk:
            intake.intake(desk.job, cards, wanted=Wanted(whole=True), progress=Silent())
    with Desk.open(house, write=False) as base, Desk.open(folder) as desk:
        plant(base, desk)
        decide(desk, decided)
        print(f"{len(desk.state().pictures)} pictures, {len(desk.state().visits)} visits")


def _card(root: Path, card: str, number: int) -> Path:
    """Copy a card of the house with every camera time moved; a file without one grows a byte or two."""
    copy = root / f"{card}-{number}"
    shutil.copytree(FIXTURES / card, copy)
    for path in (each for each in copy.rglob("*") if each.is_file() and number):
        data = path.read_bytes()
        moved = _TIME.sub(lambda found: _moved(found[0], number * APART), data)
        path.write_bytes(moved if moved != data else data + b"\0" * number)
    return copy


def _moved(text: bytes, by: timedelta) -> bytes:
    form = "%Y:%m:%d %H:%M:%S"
    return (datetime.strptime(text.decode(), form) + by).strftime(form).encode()  # noqa: DTZ007


def plant(base: Desk, desk: Desk) -> None:
    """Answer for the copies what was answered for the house, and propose for each round what was there."""
    of = {(t.source, t.original.name): t for t in base.job.taken()}
    answers = {part: base.store.answers(part) for part in study.VERSIONS}
    desk.store.put_originals(desk.job.taken())
    copies: dict[int, dict[FrameNumber, FrameNumber]] = {number: {} for number in range(ROUNDS)}
    for taken in desk.job.taken():
        card, _, number = taken.source.rpartition("-")
        original = of[card, taken.original.name]
        found = {part: a for part, by in answers.items() if (a := by.get(original.original.digest))}
        found[study.CAPTURE] = _capture(desk.job.original(taken.original.place))
        desk.store.put_answers(study.VERSIONS, Digest(taken.original.digest), found)
        if original.frame and taken.frame:
            copies[int(number)][original.frame] = taken.frame
    facts, decisions = desk.facts(), desk.decisions
    shots = timeline(facts, decisions)
    made = _arrangement(base, copies, [p.frame for p in shots])
    desk.store.put_proposal(
        "arrangement",
        desks._key(shots, weights_in_force(decisions), frozenset()),
        to_json(made),
    )
    desk.forget()


def _capture(path: Path) -> Answer:
    try:
        return Answer(to_json(pictures.read_exif(path)).encode())
    except EvidenceError as problem:
        return Answer(None, str(problem))


def _arrangement(
    base: Desk, copies: dict[int, dict[FrameNumber, FrameNumber]], order: list[FrameNumber]
) -> Arrangement:
    state = base.state()
    joint_at = {state.pictures[joint.after + 1].frame: joint for joint in state.joints}
    known = {copy: joint_at.get(frame) for of in copies.values() for frame, copy in of.items()}
    joints = []
    for after, frame in enumerate(order[1:]):
        joint = known.get(frame)
        joints.append(
            replace(joint, after=after)
            if joint
            else Joint(after, APART.total_seconds(), 0.0, boundary=True, doubt=0.0)
        )
    each = copies.values()
    return Arrangement(
        joints=tuple(joints),
        sets=tuple(
            tuple(of[frame] for frame in (one.front, *one.others)) for of in each for one in state.look_alikes
        ),
        changed=tuple(
            replace(pair, first=of[pair.first], second=of[pair.second])
            for of in each
            for pair in state.changed
        ),
        nearer=tuple((of[wide], of[close]) for of in each for wide, close in state.nearer),
        cards=tuple((of[p.frame], p.card) for of in each for p in state.pictures if p.card is not None),
    )


def decide(desk: Desk, decided: dict[str, Any]) -> None:
    """Name each round's rooms, choose its overall views, and write the findings of two rounds."""
    frames: dict[tuple[int, str], FrameNumber] = {
        (int(t.source.rpartition("-")[2]), Path(t.original.place).stem): t.frame
        for t in desk.job.taken()
        if t.frame is not None
    }
    visit_of = {f: number for number, visit in enumerate(desk.state().visits, 1) for f in visit.frames}
    for number in range(ROUNDS):
        named = {visit_of[frames[number, one["first"]]]: one["room"] for one in decided["visit"]}
        rooms.name(desk, named)
        rooms.overall(desk, [frames[number, name] for name in decided["overall"]])
    for number in range(2):
        for one in decided["finding"]:
            parts = {key: one[key] for key in findings.PARTS if key in one}
            made = findings.add(desk, parts, standard=one.get("from", ""))
            for name, distance in one["pictures"].items():
                attach.attach(desk, made.number, [frames[number, name]], distance=Distance(distance))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
