"""Keep the record: every thing done and decided, one line each, chained so that a change shows.

Hides the form of a line, the chain of hashes, the torn line a kill may leave, and how an undone
decision gives way to the one before. Leaves to others what the lines mean.
"""

from __future__ import annotations

import hashlib
import json
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from evidence.errors import RecordBroken, WrongUsage
from evidence.files import append_durably, writing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

RECORD: Final = "record.jsonl"
"""The record's name in a job."""

START: Final = "0" * 64
"""What stands for the hash of the line before the first."""

UNDO: Final = "undo"

FACTS: Final = frozenset(
    {"start", "intake", "part", "same bytes", "set aside", "second copy", "issue", "supply"}
)
"""What a line may say was done; what is done cannot be undone, what is decided can."""

Json: TypeAlias = "bool | int | float | str | Sequence[Json] | Mapping[str, Json] | None"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the record.

    Attributes
    ----------
    n
        Its number, from 1 without a gap; the order of things, whatever the clock said.
    when
        The computer's clock, ISO 8601 with its offset from UTC.
    by
        Who: the inspector's name, or the program and its version.
    what
        The kind of thing done or decided.
    about
        What it is about: a frame number, a finding's number, a place, a line's number.
    value
        What was done or decided.
    proposed
        What the program had proposed, or None.
    before
        The hash of the line before.
    hash
        This line's own.
    act
        Number of the first line of the act that this one was decided in, of several lines; 0 for that
        first line, for an act of one line, and for what was written before lines told of acts.
    """

    n: int
    when: str
    by: str
    what: str
    about: str
    value: Any  # JSON of a form that depends on ``what``; whoever asks for that knows it
    proposed: Any
    before: str
    hash: str
    act: int = 0


@dataclass(frozen=True, slots=True)
class Read:
    """The bytes of a record's whole lines, and the lines they were found to hold."""

    data: bytes
    lines: tuple[Line, ...]


Decision: TypeAlias = Line
"""A line that says what was decided, not what was done."""

Key: TypeAlias = tuple[str, str]
"""What a decision is, and what it is about."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What a line is to say, before it has its number, time and hash."""

    what: str
    about: str
    value: Json
    proposed: Json = None
    by: str = ""


def computer_clock() -> datetime:
    """Give the computer's time with its offset from UTC."""
    return datetime.now(UTC).astimezone()


class Record:
    """The record of one job, open for reading and, when asked, for adding lines.

    Parameters
    ----------
    path
        The file; need not exist yet.
    by
        Who adds lines when an entry does not say.
    now
        The clock.
    read
        What an earlier opening had read (:attr:`read`): where the file begins with the same bytes,
        only what was added since is parsed.

    Raises
    ------
    RecordBroken
        It cannot be read, or the chain does not hold; nothing may be added to such a record.
    """

    def __init__(
        self,
        path: Path,
        *,
        by: str = "",
        now: Callable[[], datetime] = computer_clock,
        read: Read | None = None,
    ) -> None:
        self._path = path
        self.now = now
        self.by = by
        try:
            data = path.read_bytes() if path.exists() else b""
        except OSError as problem:
            raise RecordBroken(f"{path.name} cannot be read: {problem.strerror}.") from problem
        whole, self.torn = split_torn(data)
        self._lines = parse(whole, read)
        self._whole = len(whole)
        self._lacks_end = whole[-1:] not in (b"", b"\n")
        self.read = Read(whole, tuple(self._lines))
        self._act = 0

    @property
    def lines(self) -> tuple[Line, ...]:
        """All lines, oldest first."""
        return tuple(self._lines)

    @property
    def last_hash(self) -> str:
        """The hash of the last line, which stands for all of them."""
        return self._lines[-1].hash if self._lines else START

    @contextmanager
    def one_act(self) -> Iterator[None]:
        """Let what is decided meanwhile be one act, to be taken back together; one within it is that one."""
        if self._act:
            yield
            return
        self._act = len(self._lines) + 1
        try:
            yield
        finally:
            self._act = 0

    def append(
        self, what: str, about: str | int, value: Json, proposed: Json = None, *, by: str = ""
    ) -> Line:
        """Add one line and wait until it is on the disk.

        Raises
        ------
        DiskFull, CannotWrite
            The record stands as it was.
        """
        return self.extend([Entry(what, str(about), value, proposed, by)])[0]

    def extend(self, entries: Iterable[Entry]) -> tuple[Line, ...]:
        """Add several lines with one wait for the disk.

        Raises
        ------
        DiskFull, CannotWrite
            The record stands as it was.
        """
        new: list[Line] = []
        texts: list[bytes] = []
        before, n = self.last_hash, len(self._lines)
        when = self.now().isoformat(timespec="seconds")
        for entry in entries:
            n += 1
            act = self._act if n > self._act else 0
            text = _text(n, when, replace(entry, by=entry.by or self.by), before, act)
            line = _parse_line(text, n, before)
            new.append(line)
            texts.append(text + b"\n")
            before = line.hash
        if new:
            self._mend()
            append_durably(self._path, b"".join(texts))
            self._lines.extend(new)
        return tuple(new)

    def undo(self, *numbers: int, by: str = "") -> Line:
        """Take back the decisions of lines, a new line each and all with one wait for the disk.

        Undoing an undo does it again.

        Returns
        -------
        The last of the new lines.

        Raises
        ------
        WrongUsage
            There is no such line, it states a fact, or it is undone already; none was taken back.
        """
        gone = undone(self._lines)
        for n in numbers:
            if not 1 <= n <= len(self._lines):
                raise WrongUsage(f"The record has no line {n}.")
            line = self._lines[n - 1]
            if line.what in FACTS:
                raise WrongUsage(f"Line {n} says what was done ({line.what}); only a decision can be undone.")
            if n in gone:
                raise WrongUsage(f"Line {n} is undone already.")
        with self.one_act():
            return self.extend([Entry(UNDO, str(n), None, by=by) for n in numbers])[-1]

    def _mend(self) -> None:
        """Cut off the line a kill left half-written, or end one that lacks only its end."""
        if self.torn:
            with writing(self._path), self._path.open("r+b") as file:
                file.truncate(self._whole)
            self.torn = b""
        if self._lacks_end:
            append_durably(self._path, b"\n")
            self._lacks_end = False


def moment(line: Line) -> datetime | None:
    """Give a line's time; None when it is none with an offset, which only another hand can write."""
    try:
        when = datetime.fromisoformat(line.when)
    except (TypeError, ValueError):
        return None
    return when if when.tzinfo else None


def undone(lines: Iterable[Line]) -> frozenset[int]:
    """Give the numbers of the lines that an undo, itself not undone, takes back."""
    gone: set[int] = set()
    for line in sorted(lines, key=lambda line: line.n, reverse=True):
        if line.what == UNDO and line.n not in gone and line.about.isdecimal():
            gone.add(int(line.about))
    return frozenset(gone)


def act_of(lines: Sequence[Line], n: int) -> range:
    """Give the numbers of the lines that were decided in one act with line ``n``."""
    first = lines[n - 1].act or n
    last = first
    while last < len(lines) and lines[last].act == first:
        last += 1
    return range(first, last + 1)


def in_force(lines: Sequence[Line]) -> dict[Key, Decision]:
    """Give the decisions that hold: the latest not undone for each (what, about)."""
    gone = undone(lines)
    return {
        (line.what, line.about): line
        for line in sorted(lines, key=lambda line: line.n)
        if line.what != UNDO and line.what not in FACTS and line.n not in gone
    }


def split_torn(data: bytes) -> tuple[bytes, bytes]:
    """Part a record's bytes into whole lines and the half line that a kill may have left.

    A last line that is whole but for its end, or whose end is another byte, is not torn: it was
    acknowledged, and must not be cut off as if it never was.
    """
    end = data.rfind(b"\n") + 1
    tail = data[end:]
    if _sound(tail) or _sound(tail[:-1]):
        return data, b""
    return data[:end], tail


def parse(data: bytes, read: Read | None = None) -> list[Line]:
    """Read whole lines and check the chain from the first to the last.

    Parameters
    ----------
    data
        Whole lines.
    read
        What was read and found sound before. The same bytes are the same lines; where the data
        begins with them, only the rest is looked at.

    Raises
    ------
    RecordBroken
        Names the first line that is not as it was written.
    """
    lines: list[Line] = []
    if read and read.data.endswith(b"\n") and data.startswith(read.data):
        lines.extend(read.lines)
        data = data[len(read.data) :]
    before = lines[-1].hash if lines else START
    for n, text in enumerate(data.removesuffix(b"\n").split(b"\n") if data else [], start=len(lines) + 1):
        lines.append(_parse_line(text, n, before))
        before = lines[-1].hash
    return lines


_SEAL: Final = b',"hash":"'
_TAIL: Final = len(_SEAL) + 64 + 2
_KEYS: Final = ["n", "when", "by", "what", "about", "value", "proposed", "before", "hash"]
_KEYS_IN_ACT: Final = [*_KEYS[:7], "act", *_KEYS[7:]]
"""Of a line that goes on an act; all others have the form that every line had at first."""
_WORDS: Final = ("when", "by", "what", "about")
"""Keys whose values are text in every line."""


def _text(n: int, when: str, entry: Entry, before: str, act: int) -> bytes:
    fields = {
        "n": n,
        "when": when,
        "by": entry.by,
        "what": entry.what,
        "about": entry.about,
        "value": entry.value,
        "proposed": entry.proposed,
        **({"act": act} if act else {}),
        "before": before,
    }
    body = json.dumps(fields, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    open_end = body[:-1].encode()
    return open_end + _SEAL + hashlib.sha256(open_end).hexdigest().encode() + b'"}'


def _sound(text: bytes) -> bool:
    """Tell whether a line carries its own right hash."""
    body = text[:-_TAIL]
    return text[-_TAIL:] == _SEAL + hashlib.sha256(body).hexdigest().encode() + b'"}'


def _parse_line(text: bytes, n: int, before: str) -> Line:
    if not _sound(text):
        raise RecordBroken(f"Line {n} of the record is not as it was written.")
    try:
        fields = json.loads(text)
    except (ValueError, RecursionError) as problem:  # sealed all the same: by another hand than ours
        raise RecordBroken(f"Line {n} of the record is no line of a record.") from problem
    keys = list(fields) if isinstance(fields, dict) else []
    formed = keys == _KEYS or (keys == _KEYS_IN_ACT and fields["act"] in range(1, n))
    if not formed or not all(isinstance(fields[key], str) for key in _WORDS):
        raise RecordBroken(f"Line {n} of the record is no line of a record.")
    if fields["n"] != n or fields["before"] != before:
        raise RecordBroken(f"Line {n} of the record does not follow the line before it.")
    return Line(**fields)
