"""Study one original: decode it once and let every noun say what it sees.

Hides how each answer is packed for the store. A plain function of a module, so that a worker
process can be handed it by name.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from contextlib import suppress
from enum import IntEnum
from functools import partial
from io import BytesIO
from types import MappingProxyType
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence import light, likeness, pictures, quality, roomcards, rooms
from evidence.errors import BadPicture, EvidenceError, LibraryMissing, TooManyPixels
from evidence.packing import Noun, from_json, to_json
from evidence.pictures import frames
from evidence.run import Work
from evidence.store import Answer, Store
from evidence.words import Capture, Digest, FileKind, Light, Quality, Rgb

if TYPE_CHECKING:
    from pathlib import Path

CAPTURE = "capture"
SMALL = "small copy"


class _Size(IntEnum):
    """Which of :func:`evidence.pictures.study_sizes` a judgement looks at."""

    LARGE = 0
    SMALL = 1


_JUDGES: Mapping[str, tuple[int, _Size, Callable[[Rgb], bytes]]] = MappingProxyType(
    {
        "likeness": (
            likeness.VERSION,
            _Size.LARGE,
            lambda rgb: likeness.pack(likeness.describe(rgb)),
        ),
        "quality": (quality.VERSION, _Size.LARGE, lambda rgb: to_json(quality.measure(rgb)).encode()),
        "light": (light.VERSION, _Size.LARGE, lambda rgb: to_json(light.propose(rgb)).encode()),
        "appearance": (rooms.VERSION, _Size.SMALL, lambda rgb: _array(rooms.appearance(rgb))),
        SMALL: (pictures.SMALL_VERSION, _Size.SMALL, pictures.small_jpeg),
        "cards": (roomcards.VERSION, _Size.SMALL, lambda rgb: json.dumps(roomcards.read(rgb)).encode()),
    }
)
"""Every judgement on pixels: its name, its method's version, the size it looks at, and the call,
packed for the store."""

VERSIONS: Mapping[str, str] = MappingProxyType(
    {
        CAPTURE: str(pictures.EXIF_VERSION),
        **{part: f"{version}/{pictures.SIZES_VERSION}" for part, (version, _, _) in _JUDGES.items()},
    }
)
"""The version of each part's method, and of the sizes it is given pixels in."""

LEAST_PX = 16
"""Shorter side; the smallest thumbnail of a camera has 120 (CIPA DC-009)."""

KINDS = frozenset({FileKind.PICTURE, FileKind.RAW, FileKind.FILM, FileKind.SOUND})
"""The files that are worth studying."""


def study(path: Path, parts: frozenset[str]) -> dict[str, Answer]:
    """Answer the parts wanted of one original.

    Parameters
    ----------
    path
        The original; only ever read.
    parts
        Names from :data:`VERSIONS`.

    Returns
    -------
    An answer a part; a part that could not be answered carries the reason.
    """
    cv2.setNumThreads(1)  # one process a core does better than threads within each
    answers: dict[str, Answer] = {}
    wanted = [part for part in _JUDGES if part in parts]
    with path.open("rb") as file:
        head = file.read(pictures.HEAD_BYTES)
    kind = pictures.kind_of(path.name, head)
    if kind in {FileKind.FILM, FileKind.SOUND}:
        # A film has a time but no single picture, and may be larger than the memory; its frames are
        # studied when they are lifted.
        if CAPTURE in parts:
            answers[CAPTURE] = _answer(lambda: to_json(pictures.read_exif(path)).encode())
        shows = _answer(lambda: _proved(path)) if wanted and kind is FileKind.FILM else Answer(b"")
        return answers | dict.fromkeys(wanted, shows)
    data = path.read_bytes()
    if CAPTURE in parts:
        answers[CAPTURE] = _answer(lambda: to_json(pictures.read_exif_bytes(data)).encode())
    if wanted:
        try:
            sizes = pictures.study_sizes(data)
            _large_enough(sizes[_Size.LARGE])
        except EvidenceError as problem:
            return answers | dict.fromkeys(wanted, _fault(problem))
        for part in wanted:
            _, size, judge = _JUDGES[part]
            answers[part] = _answer(partial(judge, sizes[size]))
    return answers


WORK = Work(VERSIONS, study)


def captures(store: Store) -> dict[Digest, Capture]:
    """Give the metadata of every original that has any."""
    return _nouns(store, CAPTURE, Capture)


def qualities(store: Store) -> dict[Digest, Quality]:
    """Give the measured quality of every readable picture."""
    return _nouns(store, "quality", Quality)


def lights(store: Store) -> dict[Digest, Light]:
    """Give the proposed light of every readable picture."""
    return _nouns(store, "light", Light)


def faults(store: Store) -> dict[Digest, str]:
    """Give the reason of every original that could not be read as a picture."""
    return {d: a.fault for d, a in store.answers("quality").items() if a.fault}


def likenesses(store: Store) -> dict[Digest, likeness.Likeness]:
    """Give the description of every readable picture; those of an earlier method compare with none."""
    return {d: likeness.unpack(a.value) for d, a in _of_today(store, "likeness").items() if a.value}


def appearances(store: Store) -> dict[Digest, NDArray[np.float32]]:
    """Give the look of the place in every readable picture; those of an earlier method compare with none."""
    return {
        d: np.load(BytesIO(a.value), allow_pickle=False)
        for d, a in _of_today(store, "appearance").items()
        if a.value
    }


def cards(store: Store) -> dict[Digest, list[int]]:
    """Give the room cards in every readable picture."""
    return {d: json.loads(a.value) for d, a in store.answers("cards").items() if a.value}


def small_copies(store: Store) -> dict[Digest, bytes]:
    """Give the small copy, a JPEG, of every readable picture as taken."""
    return {d: a.value for d, a in store.answers(SMALL).items() if a.value}


def _of_today(store: Store, part: str) -> dict[Digest, Answer]:
    return store.answers(part, VERSIONS[part])


def _nouns(store: Store, part: str, kind: type[Noun]) -> dict[Digest, Noun]:
    """Unpack answers; one whose form an earlier version wrote stands for nothing until it is asked anew.

    A job that is only looked at cannot be read anew, and what can be told of it is.
    """
    found = {}
    for digest, answer in store.answers(part).items():
        if answer.value:
            with suppress(ValueError):
                found[digest] = from_json(answer.value, kind)
    return found


def _proved(film: Path) -> bytes:
    try:
        frames.prove(film)
    except TooManyPixels:
        raise
    except BadPicture:
        raise BadPicture("Nothing in it can be decoded as a film.") from None
    return b""


def _large_enough(rgb: Rgb) -> None:
    """Refuse what has too few pixels to show anything, and for any judge to work on.

    What is very long is asked at the size it is printed and judged at, whichever way its decoder reduced it.
    """
    height, width = rgb.shape[:2]
    longest = max(height, width)
    across = round(min(height, width) * min(1.0, pictures.STUDY_PX / longest))
    if across >= LEAST_PX:
        return
    if longest < pictures.STUDY_PX:
        raise BadPicture(f"It is only {width} by {height} pixels: too small to show anything.")
    raise BadPicture(
        f"Brought down to {pictures.STUDY_PX} pixels it is only {across} across: too narrow to show anything."
    )


def _answer(call: Callable[[], bytes]) -> Answer:
    try:
        return Answer(call())
    except EvidenceError as problem:
        return _fault(problem)


def _fault(problem: EvidenceError) -> Answer:
    """Keep the reason; a library that is not installed is no fault of the file and may be one day."""
    return Answer(None, str(problem), lasting=not isinstance(problem, LibraryMissing))


def _array(values: NDArray[np.float32]) -> bytes:
    held = BytesIO()
    np.save(held, values, allow_pickle=False)
    return held.getvalue()
