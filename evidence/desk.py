"""A job laid open: its folder, its record and its store, kept in step with each other.

Hides the order of reading and writing (record before store), and that proposals are made anew
when anything they rest on has changed. Every step works at a desk.
"""

from __future__ import annotations

import hashlib
import time
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Self

from evidence import arrange, meanings, narration, own, run, settings, study
from evidence.errors import BadTranscript, DiskFull, WrongUsage
from evidence.job import Job
from evidence.likeness import compare_all
from evidence.memory import Memory
from evidence.packing import from_json, to_json
from evidence.record import FACTS, UNDO, act_of, computer_clock, in_force, undone
from evidence.state import Arrangement, State, stand, weights_in_force
from evidence.store import Store, lying
from evidence.timeline import Decisions, Facts, Placed, of_times, place, timeline
from evidence.words import Suggestion

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from datetime import datetime

    from evidence.findings import Catalogue
    from evidence.likeness import Likeness, Pair
    from evidence.record import Entry, Json, Line
    from evidence.recordings import Said
    from evidence.rooms import Weights
    from evidence.timeline import PictureState
    from evidence.words import Digest, Spoken


WORTH_A_POOL = 60
"""Fewer pairs of views are compared sooner than a pool of processes has started; our own, measured."""
AT_ONCE = 20
"""Pairs handed to a process together."""
ARRANGED_BY = ("likeness", "appearance", "cards")
"""The answers of the study that an arrangement is made from."""


class Desk:
    """One job with everything needed to work on it. A context manager.

    Attributes
    ----------
    job
        The folder, its details and its record.
    store
        Its database, in step with the record.
    memory
        What an earlier desk of the same job knew, and a later one may.
    """

    def __init__(self, job: Job, memory: Memory | None = None) -> None:
        self.job = job
        self.memory = memory or Memory()
        self._state: tuple[str, State] | None = None
        found = self._found()
        self.store = Store(job.store, write=job.writable, checked=self.memory.knows("in step", found))
        if job.writable:
            try:
                self.memory.recall("in step", found, self._bring_in_step)
            except BaseException:
                self.store.close()
                raise

    @classmethod
    def open(
        cls,
        folder: Path,
        *,
        write: bool = True,
        now: Callable[[], datetime] = computer_clock,
        memory: Memory | None = None,
    ) -> Desk:
        """Open a job; errors as for :meth:`evidence.job.Job.open` and :class:`evidence.store.Store`.

        Parameters
        ----------
        memory
            Shared by desks of one job that are opened again and again; what it holds is used only
            while record, details and database are as they were.
        """
        memory = memory or Memory()
        job = Job.open(folder, write=write, now=now, read=memory.record)
        memory.record = job.read
        try:
            return cls(job, memory)
        except BaseException:
            job.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.store.close()
        self.job.close()

    def decide(self, what: str, about: str | int, value: Json, proposed: Json = None) -> Line:
        """Write one decision of the inspector's into the record.

        Raises
        ------
        DiskFull, CannotWrite
            The record stands as it was.
        """
        return self.job.record(what, about, value, proposed)

    def decide_all(self, entries: Iterable[Entry]) -> tuple[Line, ...]:
        """Write several decisions with one wait for the disk, as one act; all of them or none."""
        with self.job.one_act():
            return self.job.record_all(list(entries))

    def undo(self, n: int | None = None) -> Line:
        """Take back the decision of line ``n`` alone, or the last act that is in force.

        Returns
        -------
        The line that was taken back, the last one of an act.

        Raises
        ------
        WrongUsage
            There is nothing to take back.
        """
        if n is None:
            n = max((decision.n for decision in self.decisions.values()), default=0)
            if n == 0:
                raise WrongUsage("There is no decision to take back.")
            self.take_back(n)
        else:
            self.job.undo(n)
        return self.job.lines[n - 1]

    def take_back(self, n: int) -> None:
        """Take back what was decided in one act with line ``n``, or undone in one act with it.

        Raises
        ------
        WrongUsage
            Line ``n`` states a fact, or is undone already.
        """
        lines = self.job.lines
        undoing, gone = lines[n - 1].what == UNDO, undone(lines)
        together = [
            number
            for number in act_of(lines, n)
            if number not in gone and lines[number - 1].what not in FACTS
            if (lines[number - 1].what == UNDO) == undoing
        ]
        self.job.undo(*(reversed(together) if n in together else [n]))

    @property
    def decisions(self) -> Decisions:
        """The decisions in force."""
        return in_force(self.job.lines)

    def facts(self) -> Facts:
        """Gather what was read from the originals and measured on them."""
        measured = self.memory.recall("measured", self._found(), self._measured)
        return replace(measured, transcripts=self._transcripts(), zone=self.job.details.zone)

    def _measured(self) -> Facts:
        return Facts(
            originals=self.job.taken(),
            captures=study.captures(self.store),
            faults=study.faults(self.store),
            qualities=study.qualities(self.store),
            lights=study.lights(self.store),
        )

    def _found(self) -> object | None:
        """Give what facts rest on: the lines of intake, and the database; None while that cannot be told."""
        rows = lying(self.job.store, time.time())
        taken = next((line.hash for line in reversed(self.job.lines) if line.what == "intake"), "")
        frames = tuple(d.hash for (what, _), d in self.decisions.items() if what == "frame")
        return rows and (rows, taken, frames)

    def _bring_in_step(self) -> None:
        self.store.put_originals(self.job.taken())
        self.store.put_originals(picture.taken for picture in self.lifted())

    def lifted(self) -> tuple[PictureState, ...]:
        """Give the pictures that are frames lifted from films."""
        decisions = self.decisions
        if not any(what == "frame" for what, _ in decisions):
            return ()
        return tuple(p for p in timeline(self.facts(), decisions) if p.lifted)

    def _transcripts(self) -> dict[str, Spoken]:
        """Read the transcripts that were put on the line of time; one that cannot be read holds none."""
        found: dict[str, Spoken] = {}
        for (what, where), decision in self.decisions.items():
            if what == "narration" and decision.value is not None:
                try:
                    data = self.job.original(where).read_bytes()
                    found[where] = narration.spoken(data)
                except (OSError, BadTranscript):
                    found[where] = Spoken()  # verify says what became of the file
        return found

    def state(self) -> State:
        """Say how the job stands now, with proposals that fit what is known now."""
        if self._state is None or self._state[0] != self.job.last_hash:
            found = self._found()
            rests_on = found and (found, self.job.last_hash, self.job.details)
            stands = self.memory.recall("state", rests_on, lambda: self._stand(found))
            # What sentences may mean rests on files beside the job, too.
            self._state = (self.job.last_hash, replace(stands, sentences=self._suggested(stands.sentences)))
        return self._state[1]

    def state_on_site(self) -> State:
        """Say how the job stands before all views are compared, which takes longer than a list on site may.

        Look-alikes are only looked for of pictures too dark to show anything, which may have been retaken;
        once the day is arranged, this is :meth:`state`. Nothing is kept.
        """
        if self._state is not None and self._state[0] == self.job.last_hash:
            return self.state()
        found = self._found()
        facts, decisions, placed = self._placed(found)
        weights = weights_in_force(decisions)
        key = _key(placed.pictures, weights, self._waiting(found))
        if self.memory.knows("arrangement", key) or self.store.proposal("arrangement", key) is not None:
            return self.state()
        made, _ = self._propose(placed.pictures, weights, only=lambda picture: picture.hopeless)
        stands = stand(facts, made, decisions, placed)
        return replace(stands, sentences=self._suggested(stands.sentences))

    def _stand(self, found: object | None) -> State:
        facts, decisions, placed = self._placed(found)
        weights = weights_in_force(decisions)
        key = _key(placed.pictures, weights, self._waiting(found))
        made = self.memory.recall("arrangement", key, lambda: self._proposed(key, placed.pictures, weights))
        return stand(facts, made, decisions, placed)

    def _placed(self, found: object | None) -> tuple[Facts, Decisions, Placed]:
        facts, decisions = self.facts(), self.decisions
        times = tuple(decision.hash for decision in of_times(decisions).values())
        rests_on = found and (found, times, facts.zone)
        return facts, decisions, self.memory.recall("placed", rests_on, lambda: place(facts, decisions))

    def forget(self) -> None:
        """Look everything up anew next time: the store has new answers."""
        self._state = None

    def _waiting(self, found: object | None) -> frozenset[Digest]:
        """Give the originals of which an arrangement lacks what today's methods are still to say."""
        parts = {part: study.VERSIONS[part] for part in ARRANGED_BY}
        rests_on = found and (found, *parts.values())
        return self.memory.recall("waiting", rests_on, lambda: frozenset(self.store.unanswered(parts)))

    def _proposed(self, key: str, pictures: tuple[PictureState, ...], weights: Weights) -> Arrangement:
        kept = self.store.proposal("arrangement", key)
        if kept is not None:
            return from_json(kept, Arrangement)
        made, compared = self._propose(pictures, weights)
        self._keep("compared", _compared_by(), to_json(compared))
        self._keep("arrangement", key, to_json(made))
        return made

    def _keep(self, name: str, key: str, value: str) -> None:
        """Keep a proposal where there is room; else it is made anew the next time.

        A full disk must not end a command that has done its work: run again, as a person is told to
        then, it would write a second finding.
        """
        if self.job.writable:
            with suppress(DiskFull):
                self.store.put_proposal(name, key, value)

    def _propose(
        self,
        pictures: tuple[PictureState, ...],
        weights: Weights,
        only: Callable[[PictureState], bool] | None = None,
    ) -> tuple[Arrangement, tuple[arrange.Compared, ...]]:
        earlier = self.store.proposal("compared", _compared_by())
        return arrange.propose(
            pictures,
            study.likenesses(self.store),
            study.appearances(self.store),
            study.cards(self.store),
            weights=weights,
            known=() if earlier is None else from_json(earlier, tuple[arrange.Compared, ...]),
            compare_them=compare_on_every_core,
            only=only,
        )

    @property
    def catalogue(self) -> Catalogue:
        """The standard findings in use for this job.

        Raises
        ------
        BadCatalogue
            The inspector's own file cannot be used.
        """
        return own.in_use(self.job.folder, self.job.details)

    def _suggested(self, said: tuple[Said, ...]) -> tuple[Said, ...]:
        """Add to each sentence the standard findings it may mean; kept, for asking takes seconds."""
        if not said:
            return said
        rows, _ = own.for_offers(self.job.folder, self.job.details)
        asked = [(one.sentence.text, one.room) for one in said]
        near = self._nearness([narration.without_marker(text) for text, _ in asked], rows)
        key = hashlib.sha256(to_json((arrange.MATCH_VERSION, rows.digest, asked, near)).encode()).hexdigest()
        kept = self.store.proposal("suggestions", key)
        if kept is not None:
            return arrange.with_suggestions(said, from_json(kept, tuple[tuple[Suggestion, ...], ...]))
        made = arrange.suggestions(asked, rows, near)
        self._keep("suggestions", key, to_json(made))
        return arrange.with_suggestions(said, made)

    def _nearness(self, spoken: list[str], rows: Catalogue) -> list[list[float]] | None:
        """Ask the inspector's own model, if there is one; kept apart from rooms, for it takes longest."""
        if not self.job.details.sentence_model:
            return None
        model = meanings.model(settings.named(self.job.folder, self.job.details.sentence_model))
        key = hashlib.sha256(to_json((model.method, rows.digest, spoken)).encode()).hexdigest()
        kept = self.store.proposal("nearness", key)
        if kept is not None:
            return from_json(kept, list[list[float]])
        made = [[round(float(one), 4) for one in row] for row in model.nearness(spoken, rows.rows)]
        self._keep("nearness", key, to_json(made))
        return made


def _compared_by() -> str:
    """Name the method that compared pairs; the sizes of pixels that it compares may change too."""
    return f"{arrange.VERSION} {study.VERSIONS['likeness']}"


def compare_on_every_core(likenesses: Sequence[Likeness], pairs: Sequence[tuple[int, int]]) -> Sequence[Pair]:
    """Compare pairs of views on every core, once there are enough to be worth starting one."""
    if len(pairs) < WORTH_A_POOL:
        return compare_all(likenesses, pairs)
    parts = [pairs[at : at + AT_ONCE] for at in range(0, len(pairs), AT_ONCE)]
    with run.workers() as pool:
        found = pool.map(_compare_part, (_only(likenesses, part) for part in parts), parts)
        return [pair for part in found for pair in part]


def _only(likenesses: Sequence[Likeness], pairs: Sequence[tuple[int, int]]) -> dict[int, Likeness]:
    return {place: likenesses[place] for pair in pairs for place in pair}


def _compare_part(likenesses: dict[int, Likeness], pairs: Sequence[tuple[int, int]]) -> list[Pair]:
    places = list(likenesses)
    at = {place: index for index, place in enumerate(places)}
    found = compare_all(list(likenesses.values()), [(at[a], at[b]) for a, b in pairs])
    return [replace(pair, a=a, b=b) for pair, (a, b) in zip(found, pairs, strict=True)]


def _key(pictures: Iterable[PictureState], weights: Weights, waiting: frozenset[Digest]) -> str:
    """Stand for everything an arrangement is made from: methods, pictures, their order and times.

    One that was made while some waited to be measured (after a change of method, a kill, a disk that could
    not be read for a moment) must not be taken for the one with them.
    """
    versions = [study.VERSIONS[part] for part in ARRANGED_BY]
    digest = hashlib.sha256(f"{arrange.VERSION} {versions} {weights.numbers()}".encode())
    for p in pictures:
        assumed = "~" if p.seconds_assumed else ""
        fault = "!" if p.fault or p.quality is None else ""
        later = "?" if p.taken.original.digest in waiting else ""
        digest.update(f"\n{p.taken.original.digest} {assumed}{p.seconds:.3f}{fault}{later}".encode())
    return digest.hexdigest()
