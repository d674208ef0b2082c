"""Learn the rooms' weights anew from days that an inspector has been through, only when asked.

The weights stand in a small file of their own, which the inspector may read, keep and hand on. A
job uses them once its inspector says so, which is a decision like any other.
"""

from __future__ import annotations

import dataclasses
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evidence import arrange, files, rooms, study
from evidence.desk import Desk
from evidence.errors import AlreadyThere, BadSetting, WrongUsage

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

HEAD = """\
# How gaps in time are weighed against places when a day is cut into visits.
# Learned by "evidence learn-rooms" from {jobs}.
# Use them in a job: evidence rooms JOB --weights THIS-FILE
"""


@dataclass(frozen=True, slots=True)
class Learned:
    """What came of learning.

    Attributes
    ----------
    jobs, joints, boundaries
        Learned from.
    wrong_before, wrong_after
        Joints of these very days that the old and the new weights judge otherwise than the
        inspector. Days learned from flatter: with two and more jobs see ``wrong_unseen``.
    wrong_unseen
        The same when each job is judged by weights learned from the others; None with one job.
    """

    jobs: int
    joints: int
    boundaries: int
    wrong_before: int
    wrong_after: int
    wrong_unseen: int | None


def learn(target: Path, jobs: Sequence[Path]) -> Learned:
    """Fit the weights to the cuts of confirmed days and write them to a file.

    Parameters
    ----------
    target
        The file to make.
    jobs
        Jobs whose visits are all named: their inspector has been through every one.

    Raises
    ------
    AlreadyThere
        ``target`` exists.
    WrongUsage
        A job has visits without a name, or there is nothing to learn from.
    """
    if target.exists():
        raise AlreadyThere(f"{files.shown(str(target))} exists already; give another name.")
    days = [_day(folder) for folder in jobs]
    if not any(day.boundary for day in days):
        raise WrongUsage("There is nothing to learn from: no job has two pictures.")
    weights = rooms.refit(days)
    unseen = None
    if len(days) > 1:
        others = [[day for day in days if day is not one] for one in days]
        if all(any(day.boundary for day in rest) for rest in others):
            unseen = sum(_wrong(one, rooms.refit(rest)) for one, rest in zip(days, others, strict=True))
    names = ", ".join(files.shown(folder.resolve().name) for folder in jobs)
    lines = [f"{name} = {value:.6g}\n" for name, value in dataclasses.asdict(weights).items()]
    files.write_whole(target, (HEAD.format(jobs=names) + "".join(lines)).encode())
    return Learned(
        jobs=len(days),
        joints=sum(len(day.boundary) for day in days),
        boundaries=sum(sum(day.boundary) for day in days),
        wrong_before=sum(_wrong(day, rooms.WEIGHTS) for day in days),
        wrong_after=sum(_wrong(day, weights) for day in days),
        wrong_unseen=unseen,
    )


def use(desk: Desk, weights: Path | None) -> None:
    """Weigh this job's gaps and places by a file's weights, or by the packaged ones again.

    Raises
    ------
    BadSetting
        The file is none of weights.
    """
    desk.decide("weights", "rooms", None if weights is None else dataclasses.asdict(_read(weights)))


def _read(file: Path) -> rooms.Weights:
    shown = files.shown(str(file))
    try:
        found = tomllib.loads(file.read_text("utf-8"))
        numbers = {str(name): float(value) for name, value in found.items()}
    except OSError as problem:
        raise BadSetting(f"{shown} cannot be read: {problem.strerror}.") from None
    except (ValueError, TypeError):
        raise BadSetting(f"{shown} is no file of weights as “evidence learn-rooms” writes them.") from None
    weights = rooms.Weights.named(numbers)
    if weights is None:
        raise BadSetting(
            f"{shown} holds weights of another version; learn them anew with “evidence learn-rooms”."
        )
    return weights


def _day(folder: Path) -> rooms.ConfirmedDay:
    with Desk.open(folder, write=False) as desk:
        state = desk.state()
        nameless = sum(not visit.room for visit in state.visits)
        if nameless:
            have = "has" if nameless == 1 else "have"
            raise WrongUsage(
                f"Of {len(state.visits)} visits of {files.shown(folder.resolve().name)} {nameless} {have} no "
                "name yet; only a day that its inspector has been through can be learned from."
            )
        return arrange.confirmed_day(state, study.appearances(desk.store), study.cards(desk.store))


def _wrong(day: rooms.ConfirmedDay, weights: rooms.Weights) -> int:
    found = rooms.joints(day.seconds, day.appearances, day.cards, weights)
    return sum(joint.boundary != true for joint, true in zip(found, day.boundary, strict=True))
