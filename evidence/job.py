"""The job folder: its places, its lock, what has been taken in, and what was left unfinished.

Hides where things lie, who may write, and how the details and the record are opened together.
Leaves to the steps what is done in it. Paths inside are relative: a job can be moved or zipped.
"""

from __future__ import annotations

import errno
import os
import sys
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self

from evidence import __version__, files, settings
from evidence.bag import ISSUED, ORIGINALS, Bag, cut_short
from evidence.errors import AlreadyThere, CannotWrite, JobHeld, NewerJob, NotAJob, RecordBroken
from evidence.record import RECORD, Entry, Json, Line, Read, Record, computer_clock, moment
from evidence.words import FRAMES_PLACE, Digest, FileKind, FrameNumber, Original, Taken

if TYPE_CHECKING:
    from collections.abc import Callable
    from contextlib import AbstractContextManager
    from datetime import datetime

HOW_TO_CHECK: Final = "HOW-TO-CHECK.txt"
STORE: Final = "job.sqlite"
COPIES: Final = "copies"
LOCK: Final = ".lock"
_CLOCK_SLACK: Final = timedelta(minutes=2)
"""Clocks are set by so much without anybody's doing; our own guess."""
PROGRAM: Final = f"evidence {__version__}"

HOW_TO_CHECK_TEXT: Final = """\
HOW TO CHECK THIS JOB WITHOUT THE PROGRAM THAT MADE IT

The folder "originals" holds every file exactly as the card had it, and a list of their SHA-256
digests. It is a BagIt folder (RFC 8493); any BagIt checker can prove it. So can the commands that
come with an operating system. Open a terminal in this folder and type:

Linux:
    cd originals
    sha256sum -c manifest-sha256.txt
    sha256sum -c tagmanifest-sha256.txt

macOS:
    cd originals
    shasum -a 256 -c manifest-sha256.txt
    shasum -a 256 -c tagmanifest-sha256.txt

Windows (PowerShell):
    cd originals
    Get-Content manifest-sha256.txt -Encoding UTF8 | ForEach-Object { $d, $p = $_ -split '  ', 2
      if ((Get-FileHash -LiteralPath $p -Algorithm SHA256).Hash -ne $d) { "FAILED: $p" } }

Windows (one file at a time, to compare with its line in the list):
    certutil -hashfile "originals\\data\\..." SHA256

Each line must end in "OK"; PowerShell prints nothing when all is well. A file below "data" that is
not in the list was not put there by the intake.

Each folder below "issued" is one issued edition and holds such a list too, made on the day of issue.

An edition, on Linux (on macOS: shasum -a 256 -c manifest-sha256.txt):
    cd issued/edition-1
    sha256sum -c manifest-sha256.txt

The file "record.jsonl" tells what was done and decided, one line each. "before" is the "hash" of
the line above; "hash" is the SHA-256 of the line's own text up to and without ,"hash":

Line 1 of the record, on Linux (on macOS: shasum -a 256 in place of sha256sum):
    sed -n 1p record.jsonl | sed 's/,"hash":"[0-9a-f]*"}$//' | tr -d '\\n' | sha256sum

The line of an issue holds the SHA-256 of that edition's manifest-sha256.txt.

What this shows: the files have not changed since they were listed. What it cannot show: when or
where a picture was taken, that a camera's clock was right, or that a card was unaltered before.
"""


class Job:
    """One job, opened for reading or, alone, for writing. A context manager; closing frees the lock.

    Attributes
    ----------
    folder
        Where it lies now.
    details
        From job.toml.
    writable
        Whether it was opened for writing.
    unfinished
        Sentences about what an earlier run left half done.
    now
        The clock that lines and dates are taken from.
    """

    def __init__(self, folder: Path, details: settings.Details, record: Record, lock: _Lock | None) -> None:
        self.folder = folder
        self.details = details
        self._record = record
        self._lock = lock
        self.now = record.now

    @classmethod
    def create(
        cls, folder: Path, details: settings.Details, *, now: Callable[[], datetime] = computer_clock
    ) -> Job:
        """Make a new job and open it for writing.

        Raises
        ------
        AlreadyThere
            The folder is a job already, or a file.
        DiskFull, CannotWrite
            It could not be made; the same call goes on where it stopped.
        """
        folder = Path(folder).resolve()
        if folder.exists() and not folder.is_dir():
            raise AlreadyThere(f"{files.shown(folder.name)} is a file; a job is a folder.")
        files.make_folders(folder)
        lock = _Lock(folder / LOCK)
        try:
            if (folder / settings.JOB_FILE).exists():
                raise AlreadyThere(f"{files.shown(folder.name)} is a job already.")
            record = Record(folder / RECORD, by=details.inspector, now=now)
            if not record.lines:
                # To the microsecond, so that two jobs of one name never share an identifier.
                made = now().isoformat(timespec="microseconds")
                record.append("start", folder.name, {"format": settings.FORMAT, "made": made}, by=PROGRAM)
            Bag.create(folder / ORIGINALS, _identifier(record), now().date())
            files.write_whole(folder / HOW_TO_CHECK, HOW_TO_CHECK_TEXT.encode())
            # Last, because this is the file that makes the folder a job.
            files.write_whole(folder / settings.JOB_FILE, settings.written(details).encode())
        except BaseException:
            lock.free()
            raise
        return cls(folder, details, record, lock)

    @classmethod
    def open(
        cls,
        folder: Path,
        *,
        write: bool = True,
        now: Callable[[], datetime] = computer_clock,
        read: Read | None = None,
    ) -> Job:
        """Open a job.

        Parameters
        ----------
        write
            Take the lock; otherwise nothing of the job can be changed through it.
        read
            What an earlier opening had read of the record (:attr:`read`).

        Raises
        ------
        NotAJob, NewerJob
            The folder is none, or of a newer form.
        JobHeld
            Another run is writing it.
        CannotWrite
            It is to be written and cannot be.
        BadSetting
            job.toml holds something it cannot.
        RecordBroken
            The record's chain does not hold.
        """
        folder = Path(folder).resolve()
        try:
            text = (folder / settings.JOB_FILE).read_bytes()
        except OSError as problem:
            name = files.shown(str(folder))
            raise NotAJob(f"{name} is not a job: its {settings.JOB_FILE} cannot be read.") from problem
        version, details = settings.parse(text)
        if version > settings.FORMAT:
            raise NewerJob(
                f"{files.shown(folder.name)} has form {version}; this program knows {settings.FORMAT}."
            )
        lock = _Lock(folder / LOCK) if write else None
        try:
            record = Record(folder / RECORD, by=details.inspector, now=now, read=read)
            if not record.lines:
                raise RecordBroken(f"{RECORD} of {files.shown(folder.name)} is missing or empty.")
            return cls(folder, details, record, lock)
        except BaseException:
            if lock:
                lock.free()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Free the lock."""
        if self._lock:
            self._lock.free()
            self._lock = None

    @property
    def writable(self) -> bool:
        """Whether this opening may write."""
        return self._lock is not None

    @property
    def unfinished(self) -> tuple[str, ...]:
        """What an earlier run left half done, a sentence each; intake makes it good."""
        said = []
        if cut_short(self.originals):
            said.append(
                "An intake was cut short; run it again with the same card, it goes on where it stopped."
            )
        if self._record.torn:
            said.append("The record's last line was cut short; the next entry replaces it.")
        return tuple(said)

    @property
    def clock_doubt(self) -> str:
        """A sentence when the computer's clock stands before a time in the record, else ""."""
        now = self.now()
        latest = max(filter(None, map(moment, self.lines)), default=now)
        if now >= latest - _CLOCK_SLACK:
            return ""
        return (
            f"This computer's clock says {now:%Y-%m-%d %H:%M}, the record already holds "
            f"{latest:%Y-%m-%d %H:%M}: one of them is wrong. Nothing depends on it but the printed dates."
        )

    @property
    def originals(self) -> Path:
        """The bag of originals."""
        return self.folder / ORIGINALS

    @property
    def store(self) -> Path:
        """The database file."""
        return self.folder / STORE

    @property
    def copies(self) -> Path:
        """The folder of things that can be made again."""
        return self.folder / COPIES

    @property
    def issued(self) -> Path:
        """The folder of editions."""
        return self.folder / ISSUED

    @property
    def identifier(self) -> str:
        """A name for this job that no other job has, whatever its folder is called."""
        return _identifier(self._record)

    def original(self, place: str) -> Path:
        """Give the path of an original from its place; of a frame lifted from a film, that of its copy."""
        if place.startswith(FRAMES_PLACE):
            return self.copies / "frames" / place.removeprefix(FRAMES_PLACE)
        return self.originals / "data" / place

    def bag(self) -> Bag:
        """Open the bag of originals."""
        return Bag(self.originals)

    @property
    def lines(self) -> tuple[Line, ...]:
        """The record's lines, oldest first."""
        return self._record.lines

    @property
    def read(self) -> Read:
        """What was read of the record when it was opened, for the next opening."""
        return self._record.read

    @property
    def last_hash(self) -> str:
        """The hash that stands for the whole record so far."""
        return self._record.last_hash

    def record(
        self, what: str, about: str | int, value: Json, proposed: Json = None, *, by: str = ""
    ) -> Line:
        """Add a line to the record; by the inspector of job.toml unless said otherwise.

        Raises
        ------
        CannotWrite
            The job was opened for reading only, or cannot be written.
        """
        self.must_write()
        return self._record.append(what, about, value, proposed, by=by)

    def record_all(self, entries: list[Entry]) -> tuple[Line, ...]:
        """Add several lines with one wait for the disk; errors as for :meth:`record`."""
        self.must_write()
        return self._record.extend(entries)

    def undo(self, *numbers: int, by: str = "") -> Line:
        """Take back the decisions of lines, all or none; errors as for :meth:`Record.undo`."""
        self.must_write()
        return self._record.undo(*numbers, by=by)

    def one_act(self) -> AbstractContextManager[None]:
        """Let what is decided meanwhile be one act; see :meth:`Record.one_act`."""
        return self._record.one_act()

    def set_details(self, details: settings.Details) -> None:
        """Write job.toml anew."""
        self.must_write()
        files.write_whole(self.folder / settings.JOB_FILE, settings.written(details).encode())
        self.details = details
        self._record.by = details.inspector

    def taken(self) -> tuple[Taken, ...]:
        """Give every original in order of intake, from the record."""
        return tuple(taken_from(line) for line in self._record.lines if line.what == "intake")

    def set_aside(self) -> dict[str, str]:
        """Give the card files that no intake could read so far, by source and name, with the reason.

        A card that was later read under another name, or with names in other letters, is known again by
        its pictures: what was taken from it then is no longer only on the card.
        """
        card = _cards(self._record.lines)
        left: dict[tuple[str, str], tuple[str, str]] = {}
        for line in self._record.lines:
            if line.what == "set aside":
                source, _, name = line.about.partition("/")
                left[card(source), files.fold(name)] = line.about, line.value
            elif line.what in {"intake", "same bytes"}:
                value = line.value
                left.pop((card(value["source"]), files.fold(value["name_on_card"])), None)
        return dict(left.values())

    def next_frame(self) -> FrameNumber:
        """Give the first running number that no picture has."""
        last = 0
        for line in self._record.lines:
            if isinstance(line.value, dict) and isinstance(frame := line.value.get("frame"), int):
                last = max(last, frame)
        return FrameNumber(last + 1)

    def editions(self) -> tuple[int, ...]:
        """Give the numbers of the editions that were issued, in the order of their issue."""
        return tuple(int(line.about) for line in self._record.lines if line.what == "issue")

    def must_write(self) -> None:
        """Make sure that this opening may write.

        Raises
        ------
        CannotWrite
            The job was opened for reading only.
        """
        if not self.writable:
            raise CannotWrite(f"{files.shown(self.folder.name)} was opened for reading only.")


def taken_value(taken: Taken) -> dict[str, Json]:
    """Give what an intake's line says; :func:`taken_from` reads it back."""
    return {
        "digest": taken.original.digest,
        "size_bytes": taken.original.size_bytes,
        "kind": taken.kind.value,
        "frame": taken.frame,
        "source": taken.source,
        "name_on_card": taken.name_on_card,
        "file_time": taken.file_time,
        "thing": taken.thing,
    }


def taken_from(line: Line) -> Taken:
    """Read back what an intake's line says."""
    value = line.value
    return Taken(
        Original(Digest(value["digest"]), value["size_bytes"], line.about),
        FileKind(value["kind"]),
        None if value["frame"] is None else FrameNumber(value["frame"]),
        value["source"],
        value["name_on_card"],
        value["file_time"],
        value["thing"],
    )


_SHOT: Final = frozenset({FileKind.PICTURE, FileKind.RAW, FileKind.FILM})


def _cards(lines: tuple[Line, ...]) -> Callable[[str], str]:
    """Tell which sources are one card: one picture of the same bytes and name is on both.

    Only what was shot tells: two cameras of one kind may write the same small file on each card.
    """
    of_place = {line.about: line.value for line in lines if line.what == "intake"}
    first: dict[str, str] = {}

    def card(source: str) -> str:
        name = files.fold(source)
        while name in first:
            name = first[name]
        return name

    for line in lines:
        taken = of_place.get(line.about) if line.what == "same bytes" else None
        if taken is None or FileKind(taken["kind"]) not in _SHOT:
            continue
        if files.fold(taken["name_on_card"]) == files.fold(line.value["name_on_card"]):
            one, other = card(taken["source"]), card(line.value["source"])
            if one != other:
                first[other] = one
    return card


def _identifier(record: Record) -> str:
    first = record.lines[0]
    return f"{first.about} ({first.hash[:12]})"


class _Lock:
    """The right to write a job, held by one process and gone with it.

    A POSIX record lock, not flock: worker processes must not inherit it and outlive us with it.
    Such a lock does not keep out the process that has it, hence the set.
    """

    _held: Final[set[str]] = set()

    def __init__(self, path: Path) -> None:
        self._key = os.path.realpath(path)
        if self._key in self._held:
            raise JobHeld(f"{files.shown(path.parent.name)} is being written by this program already.")
        with files.writing(path.parent):
            self._file = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
        try:
            _take(self._file)
        except OSError as problem:
            os.close(self._file)
            name = files.shown(path.parent.name)
            if problem.errno in {errno.EACCES, errno.EAGAIN, errno.EDEADLK}:
                raise JobHeld(f"Another run is writing {name}.") from problem
            raise CannotWrite(f"The disk of {name} cannot lock files: {problem.strerror}.") from problem
        self._held.add(self._key)

    def free(self) -> None:
        os.close(self._file)
        self._held.discard(self._key)


if sys.platform == "win32":
    import msvcrt

    def _take(file: int) -> None:
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _take(file: int) -> None:
        fcntl.lockf(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
