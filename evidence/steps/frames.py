"""Lift frames from films: each becomes a picture of the job, with the film's hash and its own time."""

from __future__ import annotations

import os
from concurrent.futures import BrokenExecutor
from dataclasses import dataclass
from itertools import accumulate
from math import inf, isfinite
from typing import TYPE_CHECKING

import cv2

from evidence import clocks, files, run
from evidence.bag import pending
from evidence.errors import BadPicture, UnknownSentence, WrongUsage
from evidence.pictures import frames
from evidence.record import Entry
from evidence.recordings import written
from evidence.steps import intake, lifted, read
from evidence.steps.rooms import picture_of
from evidence.words import FRAMES_PLACE, FileKind, FrameNumber, hours

if TYPE_CHECKING:
    from collections.abc import Sequence
    from concurrent.futures import Executor
    from pathlib import Path

    from evidence.desk import Desk
    from evidence.progress import Progress
    from evidence.recordings import Recording
    from evidence.state import State

WITHIN_S = 3.0
"""How far around a sentence or a step of time the sharpest frame is looked for (docs/methods/film.md)."""
MOST = 600
"""Frames in one go, at some 3 MB each: two gigabytes; our own bound against a slip of the keyboard."""
WORTH_A_PROCESS_S = 30.0
"""Less film than this is read before another process has started and found its place."""
READINGS = tuple(str(one) for one in clocks.FilmStamp)
"""What a film's container time may mean, as it is typed."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of a film to lift the sharpest frame of, or a single time; and what for."""

    start_s: float
    end_s: float
    why: str
    exact: bool = False


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which frames of a film are wanted.

    Attributes
    ----------
    at
        Seconds in the film: exactly the frame shown then.
    every_s
        The sharpest frame of each such step of the film, or None.
    sentences
        Numbers of sentences: the sharpest frame around each.
    within_s
        How far around a sentence may be looked.
    """

    at: tuple[float, ...] = ()
    every_s: float | None = None
    sentences: tuple[int, ...] = ()
    within_s: float = WITHIN_S


@dataclass(frozen=True, slots=True)
class _Found:
    """A frame as the worker wrote it, and what for."""

    why: str
    at_s: float
    pixels: str
    width: int
    height: int


def films(state: State) -> list[Recording]:
    """Give the films of the job."""
    return [one for one in state.recordings if one.taken.kind is FileKind.FILM]


def film_of(state: State, name: str) -> Recording:
    """Find a film by its place, its name or its name without suffix.

    Raises
    ------
    WrongUsage
        There is none, or several.
    """
    wanted = name.casefold()
    found = [
        one
        for one in films(state)
        if wanted in {one.taken.original.place.casefold(), one.name.casefold(), stem(one.name)}
    ]
    if len(found) != 1:
        places = ", ".join(one.taken.original.place for one in found or films(state)) or "none"
        said = "Several films are called" if found else "There is no film"
        raise WrongUsage(f"{said} “{files.shown(name)}”; the job's films: {places}.")
    return found[0]


def stem(name: str) -> str:
    """Give a file's name without its suffix, lower case."""
    return name.rpartition(".")[0].casefold() or name.casefold()


def say_reading(desk: Desk, film: Recording, reading: str) -> None:
    """Say once for a camera what the times in its films mean.

    Raises
    ------
    WrongUsage
        There is no such reading, or the film named cannot have it, so that it would not be used.
    """
    if reading not in READINGS:
        raise WrongUsage(f"“{reading}” is no reading; known are: {', '.join(READINGS)}.")
    if reading not in film.fits:
        raise WrongUsage(_why_not(desk, film, reading))
    desk.decide("film time", film.camera, reading, [name for name, _ in film.readings])


def _why_not(desk: Desk, film: Recording, reading: str) -> str:
    name, time = files.shown(film.name), film.capture.time
    if time is None:
        return f"{name} tells no time that could be read; say when it began with --starts."
    if time.offset_min is not None:
        return f"The time in {name} has its zone, and is read in no other way; correct its clock instead."
    if not film.fits:
        return f"Read in no way does the time in {name} fit the pictures; say when it began with --starts."
    fitting = " or ".join(f"“{one}”" for one in film.fits)
    if reading.startswith("UTC") and not desk.job.details.zone:
        return (
            f"“{reading}” does not fit {name}, as far as the zone is known; fill in “zone” in job.toml, "
            f"or take {fitting}."
        )
    return f"“{reading}” would put {name} beside no picture of the day; take {fitting}."


def say_start(desk: Desk, film: Recording, starts: float, how: str) -> None:
    """Say when one film began, on the job's line of time."""
    before = None if film.starts is None else written(film.starts)
    desk.decide("film time", film.taken.original.place, {"starts": written(starts), "how": how}, before)


def lift(
    desk: Desk,
    film: Recording,
    wanted: Wanted,
    *,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> list[FrameNumber]:
    """Lift frames and make them pictures of the job.

    Returns
    -------
    Their frame numbers; a frame that was lifted before keeps its own.

    Raises
    ------
    WrongUsage
        Nothing was asked for; the film's time can be read in two ways; a sentence lies outside it.
    BadPicture
        The film cannot be decoded.
    DigestMismatch
        An intake was cut short, and what it left cannot be finished.
    DiskFull, CannotWrite
        No picture was added.
    """
    if film.readings:
        ways = "; ".join(f"“{name}” starts it at {written(start)[11:19]}" for name, start in film.readings)
        raise WrongUsage(
            f"The time of {film.name} can be read in more than one way: {ways}. "
            "Say once for this camera which it is, with --reading."
        )
    stretches = _stretches(desk.state(), film, wanted)
    if not stretches:
        raise WrongUsage("Say which frames: --at, --every or --sentence.")
    _few_enough(len(stretches))
    folder = desk.job.original(FRAMES_PLACE)
    files.make_folders(folder)
    path = desk.job.original(film.taken.original.place)
    found = _in_workers(path, folder, stretches, executor)
    if pending(desk.job.originals):
        intake.resume(desk.job)  # the plan of an intake cut short has given out the next numbers
    known = {p.taken.original.digest: p.frame for p in desk.lifted()}
    entries, numbers = [], []
    following = desk.job.next_frame()
    for one in found:
        number = known.get(one.pixels)  # type: ignore[call-overload]  # a digest is its text
        if number is None:
            number, following = following, FrameNumber(following + 1)
            known[one.pixels] = number  # type: ignore[index]
            entries.append(Entry("frame", str(number), _value(number, one, film)))
        numbers.append(number)
    desk.decide_all(entries)
    read.read(desk, progress=progress, executor=executor)
    return list(dict.fromkeys(numbers))


def take_out(desk: Desk, frame: int) -> None:
    """Take a lifted frame out of the job; its number is never used again, and the film stays.

    Raises
    ------
    UnknownPicture, WrongUsage
        There is no such picture, or it is a still.
    """
    if picture_of(desk.state(), frame).lifted is None:
        raise WrongUsage(f"Picture {frame} is a still, an original; only frames from films can be taken out.")
    desk.decide("frame", frame, None)


def _stretches(state: State, film: Recording, wanted: Wanted) -> list[Stretch]:
    length, every_s = film.capture.length_s, wanted.every_s
    for one in wanted.at:
        if not isfinite(one) or (length and one > length + frames.SAME_S):
            long = f"is {hours(length)} long" if length else "does not know its length"
            raise WrongUsage(f"{film.name} {long}; no frame of it is shown at {one:g} s.")
    made = [Stretch(one, one, "at a time that was named", exact=True) for one in wanted.at]
    if every_s is not None:
        if not 0.2 <= every_s < inf or not length:  # nan lies nowhere
            raise WrongUsage(
                "--every takes a step of 0.2 seconds and more, and the film must know its length."
            )
        _few_enough(int(length // every_s) + 1)  # a damaged header may claim a century
        made += [
            Stretch(n * every_s, min((n + 1) * every_s - 0.001, length), f"sharpest of {every_s:g} seconds")
            for n in range(int(length // every_s) + 1)
            if n * every_s < length
        ]
    by_number = {one.number: one for one in state.sentences}
    for number in wanted.sentences:
        said = by_number.get(number)
        if said is None:
            raise UnknownSentence(f"There is no sentence {number} in this job.")
        if film.starts is None:
            raise WrongUsage(f"Nothing tells when {film.name} began; say it with --starts.")
        if not 0 <= wanted.within_s < inf:
            raise WrongUsage("--within takes seconds, 0 and more.")
        start, end = said.starts - film.starts - wanted.within_s, said.ends - film.starts + wanted.within_s
        if end < 0 or (length and start > length):
            raise WrongUsage(f"Sentence {number} was not said during {film.name}.")
        made.append(Stretch(max(0.0, start), end, f"sharpest near sentence {number}"))
    return sorted(made, key=lambda one: one.start_s)


def _few_enough(number: int) -> None:
    if number > MOST:
        raise WrongUsage(f"That would be {number} frames; at most {MOST} are lifted in one go.")


def _in_workers(
    path: Path, folder: Path, stretches: Sequence[Stretch], executor: Executor | None
) -> list[_Found]:
    """Decode in other processes: a film made to harm a decoder brings down only those."""
    if executor is not None:
        return executor.submit(write_frames, path, folder, tuple(stretches)).result()
    parts = parted(stretches, os.cpu_count() or 1)
    with run.workers(len(parts)) as pool:
        try:
            found = pool.map(write_frames, *zip(*((path, folder, part) for part in parts), strict=True))
            return sorted((one for part in found for one in part), key=lambda one: one.at_s)
        except BrokenExecutor:
            raise BadPicture(f"{path.name} brought the decoder down; the film is kept as it is.") from None


def parted(stretches: Sequence[Stretch], most: int) -> list[tuple[Stretch, ...]]:
    """Part stretches among processes, each a run of them that is worth starting one for.

    Processes and not the decoder's own threads: with two of those a damaged film gives other pixels
    than with one, and a frame must come out the same when it is made again (docs/methods/film.md).
    """
    ends = list(accumulate(one.end_s - one.start_s for one in stretches))
    number = max(1, min(most, int(ends[-1] // WORTH_A_PROCESS_S)))
    parts: list[list[Stretch]] = [[] for _ in range(number)]
    for one, end in zip(stretches, ends, strict=True):
        parts[min(number - 1, int(number * end / (ends[-1] + 1e-9)))].append(one)
    return [tuple(part) for part in parts if part]


def write_frames(path: Path, folder: Path, stretches: Sequence[Stretch]) -> list[_Found]:
    """Lift the frames of a film and write each under its digest; a plain function, for a worker.

    Raises
    ------
    BadPicture, TooManyPixels
        The film cannot be decoded.
    DiskFull, CannotWrite
        The frames could not be written.
    """
    cv2.setNumThreads(1)
    spans = [one for one in stretches if not one.exact]
    sharpest = frames.sharpest(path, [(one.start_s, one.end_s) for one in spans])
    found = [
        _written(one.why, frame, folder)
        for one, frame in zip(spans, sharpest, strict=True)
        if frame is not None
    ]
    found += [_written(one.why, frames.at(path, one.start_s), folder) for one in stretches if one.exact]
    return sorted(found, key=lambda one: one.at_s)


def _written(why: str, frame: frames.Frame, folder: Path) -> _Found:
    lifted.keep(frame, folder)
    height, width = frame.rgb.shape[:2]
    return _Found(why, round(frame.at_s, 6), frame.digest, width, height)


def _value(number: int, one: _Found, film: Recording) -> dict[str, str | int | float]:
    return {
        "frame": number,
        "film": film.taken.original.digest,
        "place": film.taken.original.place,
        "at_s": one.at_s,
        "pixels": one.pixels,
        "width": one.width,
        "height": one.height,
        "decoder": frames.decoder(),
        "why": one.why,
    }
