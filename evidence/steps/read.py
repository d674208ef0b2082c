"""Take cards in and read what the files show, the one while the other goes on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from evidence import run, study
from evidence.errors import BadPicture
from evidence.steps import intake as copying
from evidence.steps import lifted
from evidence.store import Answer
from evidence.words import FileKind

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from concurrent.futures import Executor
    from pathlib import Path

    from evidence.desk import Desk
    from evidence.progress import Progress
    from evidence.steps.parts import Wanted
    from evidence.words import Digest, Taken


@dataclass(frozen=True, slots=True)
class Damaged:
    """An original that is kept and cannot be shown, with the reason."""

    frame: int | None
    place: str
    reason: str


def take_in(
    desk: Desk,
    sources: Sequence[Path],
    *,
    second_copy: Path | None = None,
    wanted: Wanted | None = None,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> copying.IntakeResult:
    """Copy cards into the job and study each picture as soon as it is safe.

    Raises
    ------
    EvidenceError
        As :func:`evidence.steps.intake.intake`; what was safe before is kept and studied.
    """
    runner = run.Runner(desk.store, study.WORK, executor, progress)
    seen: set[Digest] = set()

    def look_at(taken: Taken, parts: frozenset[str] = frozenset(study.VERSIONS)) -> None:
        seen.add(taken.original.digest)
        desk.store.put_originals([taken])
        if _worth_studying(taken):
            runner.submit(taken.original.digest, desk.job.original(taken.original.place), parts)

    with runner:
        result = copying.intake(
            desk.job,
            sources,
            second_copy=second_copy,
            wanted=wanted,
            progress=progress,
            on_original=look_at,
        )
        # What an earlier run was kept from: a batch that a kill cut short is completed from its plan
        # without a word of its files, and files that were safe may not have been looked at yet.
        desk.store.put_originals(desk.job.taken())
        waiting = desk.store.unanswered(study.VERSIONS)
        for taken in desk.job.taken():
            if taken.original.digest in waiting.keys() - seen:
                look_at(taken, waiting[taken.original.digest])
    desk.forget()
    return result


def read(desk: Desk, *, progress: Progress | None = None, executor: Executor | None = None) -> run.Tally:
    """Study what no earlier run has studied, or an older method has."""
    taken = _all(desk)
    desk.store.put_originals(taken)
    places = _places(desk, taken)
    _restore_frames(desk, places)
    tally = run.each(desk.store, places, study.WORK, executor=executor, progress=progress)
    desk.forget()
    return tally


def _restore_frames(desk: Desk, places: dict[Digest, Path]) -> None:
    """Make the copies of lifted frames again that are to be read; one that cannot be costs only itself."""
    waiting = desk.store.unanswered(study.VERSIONS)
    for picture in desk.lifted():
        digest = picture.taken.original.digest
        if digest not in waiting:
            continue
        try:
            lifted.restore(desk, [picture])
        except BadPicture as problem:
            reason = str(problem)
        except OSError as problem:
            reason = f"Its film cannot be read: {(problem.strerror or 'no reason given').lower()}."
        else:
            continue
        unshown = Answer(None, reason, lasting=False)
        desk.store.put_answers(study.VERSIONS, digest, dict.fromkeys(waiting[digest], unshown))
        del places[digest]


def unread(desk: Desk) -> int:
    """Count the originals that :func:`read` would look at."""
    waiting, known = desk.store.unanswered(study.VERSIONS), desk.store.originals()
    return sum(digest in waiting or digest not in known for digest in _places(desk, _all(desk)))


def damaged(desk: Desk) -> list[Damaged]:
    """List the originals that are kept and cannot be shown."""
    faults = study.faults(desk.store)
    return [
        Damaged(taken.frame, taken.original.place, faults[taken.original.digest])
        for taken in desk.job.taken()
        if taken.original.digest in faults
    ]


def _all(desk: Desk) -> list[Taken]:
    """Every original, and every frame lifted from a film."""
    return [*desk.job.taken(), *(picture.taken for picture in desk.lifted())]


def _places(desk: Desk, taken: Iterable[Taken]) -> dict[Digest, Path]:
    """Where those lie that are worth a look."""
    return {
        one.original.digest: desk.job.original(one.original.place) for one in taken if _worth_studying(one)
    }


def _worth_studying(taken: Taken) -> bool:
    """A raw file beside the JPEG of its own shot is kept whole; the JPEG is what is looked at."""
    return taken.kind in study.KINDS and (
        taken.frame is not None or taken.kind in {FileKind.FILM, FileKind.SOUND}
    )
