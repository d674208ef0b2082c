"""Know how a camera lays out its card (DCF, CIPA DC-009); only ever read.

Hides folder and file numbering, roll-over, links, litter, and cards that are no camera's. Leaves
copying to intake.
"""

from __future__ import annotations

import os
import re
import stat
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Final, TypeVar

from evidence.errors import CardMissing
from evidence.files import as_text, clean_name, shown

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Sequence

    from evidence.words import Taken

LITTER: Final = frozenset(
    {".Trashes", ".Spotlight-V100", ".fseventsd", "System Volume Information", "$RECYCLE.BIN"}
)
"""Folders that operating systems leave on every card; listed as left out, not copied."""

Thing = TypeVar("Thing")

_DCF_FOLDER: Final = re.compile(r"([1-9][0-9]{2})([0-9A-Z_]{5})", re.IGNORECASE)  # DC-009, 3.2
_DCF_FILE: Final = re.compile(r"([0-9A-Z_]{4})([0-9]{4})", re.IGNORECASE)
_PICTURES_FIRST: Final = (".jpg", ".jpeg", ".jpe", ".heic", ".heif", ".avif", ".png", ".tif", ".tiff")


@dataclass(frozen=True, slots=True)
class CardFile:
    """One regular file on a card.

    Attributes
    ----------
    path
        Where it can be read.
    name
        Its path below the card, ``/`` between parts, as the card has it; bytes that are no text are
        written as escapes.
    size_bytes, changed_ns
        As the card's folder says.
    thing
        Files of one DCF object (picture, raw, sound note) share this word.
    """

    path: Path
    name: str
    size_bytes: int
    changed_ns: int
    thing: str


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Something on a card that is not copied, and why.

    Attributes
    ----------
    unreadable
        True when it may hold files that could not be seen.
    """

    name: str
    reason: str
    unreadable: bool = False


@dataclass(frozen=True, slots=True)
class Card:
    """What a card holds, in the order it was taken.

    Attributes
    ----------
    root
        The folder that was given.
    source
        A clean name for it, for the folder below ``originals/data``.
    files
        Every regular file, in order.
    left_out
        Links, devices, litter and folders that could not be opened.
    """

    root: Path
    source: str
    files: tuple[CardFile, ...]
    left_out: tuple[LeftOut, ...]


def root_of(card: Path) -> Path:
    """Give the folder of a card as it truly lies, links followed.

    Raises
    ------
    CardMissing
        There is no such folder; it may be a file.
    """
    if card.is_file():
        raise CardMissing(f"{shown(str(card))} is a file; a card is given by its folder.")
    if not card.is_dir():
        raise CardMissing(f"There is no folder {shown(str(card))}.")
    return card.resolve()


def read_card(root: Path) -> Card:
    """List a card: DCF folders and numbers in the order they were given out, else natural order.

    Raises
    ------
    CardMissing
        There is no such folder, or it cannot be opened.
    """
    root = root_of(Path(root))
    base, prefix = (root.parent, "DCIM/") if root.name.upper() == "DCIM" else (root, "")
    source = clean_name(base.name or "card")
    found: list[CardFile] = []
    left_out: list[LeftOut] = []
    waiting = [(root, prefix and root.name + "/")]
    while waiting:  # no recursion: a card may nest its folders deeper than Python would go
        folder, name = waiting.pop()
        try:
            below = _look_into(folder, name, found, left_out)
        except OSError as problem:
            if folder == root:
                raise CardMissing(f"{shown(str(root))} cannot be opened: {problem.strerror}.") from problem
            left_out.append(LeftOut(name, f"cannot be opened: {problem.strerror}", unreadable=True))
            continue
        waiting += reversed(below)
    return Card(root, source, tuple(found), tuple(left_out))


def in_order_shot(things: Iterable[Thing], taken: Callable[[Thing], Taken]) -> list[Thing]:
    """Put originals in the order in which each card was shot, whenever each of them was taken in.

    Parameters
    ----------
    things
        Originals, or what stands for them, in order of intake.
    taken
        Gives the note of a thing's intake.

    Notes
    -----
    A file that could not be read at first and was taken in later has a late number, and still its place
    in the camera's own order: that in which :func:`read_card` would list it. Cards come in the order in
    which the first of their files was taken in; files of one name keep the order they are given in.
    """
    listed = list(things)
    rows = [taken(one) for one in listed]
    cards = {source: at for at, source in enumerate(dict.fromkeys(row.source for row in rows))}
    paths = [(row.source, *row.name_on_card.split("/")) for row in rows]
    files: dict[tuple[str, ...], set[str]] = {}
    folders: dict[tuple[str, ...], set[str]] = {}
    for path in dict.fromkeys(paths):
        files.setdefault(path[:-1], set()).add(path[-1])
        for depth in range(1, len(path) - 1):
            folders.setdefault(path[:depth], set()).add(path[depth])
    file_keys = {above: _file_key(above[-1], names) for above, names in files.items()}
    folder_keys = {above: _folder_key(names) for above, names in folders.items()}

    def key(at: int) -> tuple[object, ...]:
        path = paths[at]
        below = (folder_keys[path[:depth]](path[depth]) for depth in range(1, len(path) - 1))
        # What lies right in a folder comes before the folders in it.
        return (cards[path[0]], *((1, one) for one in below), (0, file_keys[path[:-1]](path[-1])))

    return [listed[at] for at in sorted(range(len(listed)), key=key)]


def numbered(taken: Taken) -> bool:
    """Tell whether a file's name carries the number that its camera gave out (DC-009), wherever it lies."""
    return _DCF_FILE.fullmatch(PurePosixPath(taken.name_on_card).stem) is not None


@dataclass(frozen=True, slots=True)
class Part:
    """A stretch of a card's shots that may be one job.

    Attributes
    ----------
    files
        Its shots and whatever on the card is no shot: that is in every part, so that none lacks it.
    shots
        Its shots alone, in card order.
    why
        Why it is thought to begin where it does, "" for the card's first.
    """

    files: tuple[CardFile, ...]
    shots: tuple[CardFile, ...]
    why: str = ""


LONG_PAUSE_MIN: Final = 45.0
"""Longer than a look round without the camera, shorter than the way to the next house with a talk at
its door (our own choice)."""

LOOK_PAUSE_MIN: Final = 5.0
"""Nobody comes from one house to the next and lays out a job card in less (our own choice)."""

NEAR: Final = 5
"""A job card among the first so many shots after a border belongs to that border (our own choice)."""


def parts(
    files: Sequence[CardFile], job_cards: Collection[str] = (), begins: Collection[str] = ()
) -> tuple[Part, ...]:
    """Part a card's shots where another job seems to begin: after a long pause, or with a job card.

    Parameters
    ----------
    files
        In card order. On a camera's card only what lies in DCF folders counts as shots.
    job_cards
        Names on the card of pictures that show a job card.
    begins
        Names of files with which a job begins for certain.

    Notes
    -----
    The pause is by the card's own file times. Files of one DCF object are never parted: a sound note
    may be spoken long after its picture.
    """
    shots, others = _shots(files)
    starts = {0: ""}
    for at, (before, after) in enumerate(pairwise(shots), start=1):
        if after.thing == before.thing:
            continue
        pause = _minutes(before, after)
        if after.name in begins:
            starts[at] = "as told"
        elif pause >= LONG_PAUSE_MIN:
            starts[at] = f"after a pause of {_span(pause)}"
        elif after.name in job_cards and not any(0 <= at - start < NEAR for start in starts):
            starts[at] = "begins with a job card"
    borders = [*sorted(starts), len(shots)]
    return tuple(
        Part((*shots[a:b], *others), tuple(shots[a:b]), starts[a])
        for a, b in pairwise(borders)
        if a < b or not shots
    )


def times_say_nothing(files: Sequence[CardFile]) -> bool:
    """Whether the shots of a card are less than a second apart, because they were copied in one go."""
    shots, _ = _shots(files)
    return len(shots) > 1 and abs(_minutes(shots[0], shots[-1])) * 60 < len(shots)


def where_a_job_card_may_be(files: Sequence[CardFile]) -> list[CardFile]:
    """Give the shots among which a job card is worth looking for, a few of each place.

    The first after each pause of some minutes, or after a clock that goes back; all of them where
    the times say nothing.
    """
    shots, _ = _shots(files)
    if times_say_nothing(files):
        return shots
    wanted = set(range(min(NEAR, len(shots))))
    for at, (before, after) in enumerate(pairwise(shots), start=1):
        if not -0.1 <= _minutes(before, after) < LOOK_PAUSE_MIN:
            wanted |= set(range(at, min(at + NEAR, len(shots))))
    return [shots[at] for at in sorted(wanted)]


def _shots(files: Sequence[CardFile]) -> tuple[list[CardFile], list[CardFile]]:
    shots = [file for file in files if _is_shot(file)]
    if not shots:
        return list(files), []
    return shots, [file for file in files if not _is_shot(file)]


def _minutes(before: CardFile, after: CardFile) -> float:
    return (after.changed_ns - before.changed_ns) / 60e9


def _span(minutes: float) -> str:
    days, rest = divmod(round(minutes), 24 * 60)
    hours, rest = divmod(rest, 60)
    if days:
        return f"{days} d {hours} h"
    return f"{hours} h {rest} min" if hours else f"{rest} min"


def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """Give a key that sorts ``IMG_9`` before ``IMG_10``, upper and lower case alike.

    Examples
    --------
    >>> sorted(["b10", "B9", "a"], key=natural)
    ['a', 'B9', 'b10']
    """
    parts = re.findall(r"[0-9]+|[^0-9]+", text)
    key = [(0, int(p), "") if p.isdigit() and p.isascii() else (1, 0, p.casefold()) for p in parts]
    return (*key, (-1, 0, text))


def turned(numbers: Iterable[int], first: int = 1, last: int = 9999) -> list[int]:
    """Put numbers of a counter that starts again after its last in the order they were given out.

    The counter has started again when both ends of its range are in use; the order then begins
    after the widest stretch of unused numbers.

    Parameters
    ----------
    first, last
        The counter's range; DCF numbers files 0001-9999 and folders 100-999 (CIPA DC-009).

    Examples
    --------
    >>> turned([1, 2, 9998, 9999])
    [9998, 9999, 1, 2]
    >>> turned([1, 2, 500])
    [1, 2, 500]
    """
    order = sorted(set(numbers))
    if len(order) < 2 or order[0] > first + _EDGE or order[-1] < last - _EDGE:
        return order
    gaps = [(b - a, i) for i, (a, b) in enumerate(pairwise(order), start=1)]
    _, at = max(gaps)
    return order[at:] + order[:at]


_EDGE: Final = 20
"""Shots deleted right at the roll-over may leave this many numbers unused (our own choice)."""


def _look_into(
    folder: Path, name: str, found: list[CardFile], left_out: list[LeftOut]
) -> list[tuple[Path, str]]:
    """List what lies right in one folder; give the folders in it, in order, with their names."""
    entries = sorted(os.scandir(folder), key=lambda entry: natural(as_text(entry.name)))
    here: list[CardFile] = []
    below: list[os.DirEntry[str]] = []
    for entry in entries:
        inner = name + as_text(entry.name)
        try:
            mode = entry.stat(follow_symlinks=False)
        except OSError as problem:
            left_out.append(LeftOut(inner, f"cannot be opened: {problem.strerror}", unreadable=True))
            continue
        if stat.S_ISLNK(mode.st_mode):
            left_out.append(LeftOut(inner, "a link; links are not followed"))
        elif stat.S_ISDIR(mode.st_mode):
            if entry.name in LITTER:
                left_out.append(LeftOut(inner, "a folder of the operating system"))
            else:
                below.append(entry)
        elif stat.S_ISREG(mode.st_mode):
            thing = name + _number(as_text(entry.name))
            here.append(CardFile(Path(entry.path), inner, mode.st_size, mode.st_mtime_ns, thing))
        else:
            left_out.append(LeftOut(inner, "not a regular file"))
    # By names as they are kept, so that the same order comes of what was noted of them.
    file_key = _file_key(folder.name, [as_text(file.path.name) for file in here])
    found.extend(sorted(here, key=lambda file: file_key(as_text(file.path.name))))
    folder_key = _folder_key([as_text(entry.name) for entry in below])
    below.sort(key=lambda entry: folder_key(as_text(entry.name)))
    return [(Path(entry.path), f"{name}{as_text(entry.name)}/") for entry in below]


def _is_shot(file: CardFile) -> bool:
    """Tell whether a camera may have taken it; macOS writes ``._NAME`` beside a file for itself."""
    return _DCF_FOLDER.fullmatch(file.path.parent.name) is not None and not file.path.name.startswith("._")


def _number(name: str) -> str:
    stem = name.rsplit(".", 1)[0]
    match = _DCF_FILE.fullmatch(stem)
    return match[2] if match else stem.casefold()


def _folder_key(names: Iterable[str]) -> Callable[[str], tuple[object, ...]]:
    """Give the key that sorts folders which lie in one: those of DCF by their turned numbers, then others."""
    numbers = [int(m[1]) for name in names if (m := _DCF_FOLDER.fullmatch(name))]
    rank = {number: i for i, number in enumerate(turned(numbers, 100, 999))}

    def key(name: str) -> tuple[object, ...]:
        match = _DCF_FOLDER.fullmatch(name)
        return (0, rank[int(match[1])], natural(name)) if match else (1, 0, natural(name))

    return key


def _file_key(folder: str, names: Iterable[str]) -> Callable[[str], tuple[object, ...]]:
    """Give the key that sorts the files of one folder; of one DCF object the picture comes before its raw."""
    dcf = _DCF_FOLDER.fullmatch(folder) is not None
    numbers = [int(m[2]) for name in names if (m := _DCF_FILE.fullmatch(PurePosixPath(name).stem))]
    rank = {number: i for i, number in enumerate(turned(numbers))} if dcf else {}

    def key(name: str) -> tuple[object, ...]:
        path = PurePosixPath(name)
        match = _DCF_FILE.fullmatch(path.stem) if dcf else None
        first = 0 if path.suffix.lower() in _PICTURES_FIRST else 1
        if match:
            return (0, rank[int(match[2])], first, natural(name))
        return (1, natural(path.stem), first, natural(name))

    return key
