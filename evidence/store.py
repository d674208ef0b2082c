"""Keep what was read and what was computed: every table and every query of ``job.sqlite``.

Hides SQL, the shape of rows, and what a kill, a full disk or a flipped bit does to a database file.
Leaves to others what the rows mean: originals are mirrored from the record, answers are bytes whose
form belongs to the room that gave them. The whole file can be thrown away; it is made again from
originals and record. That is also what happens to a row, or to the file, that is not as it was
written: it is forgotten and asked for anew, so that no turned bit becomes a fact.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
import tempfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self

import sqlite_utils

from evidence import files
from evidence.errors import CannotWrite, DatabaseBusy, DatabaseDamaged, DiskFull, EvidenceError, NewerJob
from evidence.words import Digest

if TYPE_CHECKING:
    from evidence.words import Taken


@dataclass(frozen=True, slots=True)
class Answer:
    """What one method said about one original.

    Attributes
    ----------
    value
        Packed by the room that gave it; None when the file could not be answered for.
    fault
        Why not, in a sentence; "" when it was answered.
    lasting
        False when the fault is the computer's and not the file's (its disk, its memory, a library it
        lacks): asked again the next time.
    """

    value: bytes | None
    fault: str = ""
    lasting: bool = True


def _first_tables(db: sqlite_utils.Database) -> None:
    db["originals"].create(  # type: ignore[union-attr]
        {
            "digest": str,
            "size_bytes": int,
            "place": str,
            "kind": str,
            "frame": int,
            "source": str,
            "name_on_card": str,
            "file_time": str,
            "thing": str,
        },
        pk="digest",
        not_null={"size_bytes", "place", "kind"},
        if_not_exists=True,  # a kill between two tables leaves the first
    )
    db["originals"].create_index(["frame"], unique=True, if_not_exists=True)  # type: ignore[union-attr]
    db["answers"].create(  # type: ignore[union-attr]
        {"part": str, "digest": str, "version": str, "value": bytes, "fault": str},
        pk=("part", "digest"),
        not_null={"version", "fault"},
        if_not_exists=True,
    )
    db["proposals"].create(  # type: ignore[union-attr]
        {"name": str, "key": str, "value": str}, pk="name", not_null={"key", "value"}, if_not_exists=True
    )


def _sums(db: sqlite_utils.Database) -> None:
    for name in ("answers", "proposals"):
        if "sum" not in db[name].columns_dict:  # a kill between the two leaves the first
            db.execute(f"alter table {name} add column sum int")


MIGRATIONS = (("first tables", _first_tables), ("sums", _sums))
"""Named steps, applied once each and in this order."""

DAMAGED: Final = ".damaged"
"""Put to the name of a database that was set aside."""

SETTLES_S: Final = 2.0
"""The step of the coarsest file times (FAT, Microsoft's specification of 2000): within it, two changes
may bear one time."""

_PATIENCE_S: Final = 10.0
_BROKEN: Final = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR}
"""The last says that a table of ours is not there any more: our questions themselves never change."""
_SHAPES: Final = (
    "digest, size_bytes, place, kind, frame, source, name_on_card, file_time, thing from originals",
    "part, digest, version, value, fault, sum from answers",
    "name, key, value, sum from proposals",
)
_BUSY: Final = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}


def lying(path: Path, now: float) -> tuple[int, ...] | None:
    """Give what tells a database file from what it was before: one that changes gives another.

    Parameters
    ----------
    now
        Seconds since 1970 by this computer's clock.

    Returns
    -------
    None when there is no file, or when it was changed so lately that a further change might bear
    the same time (:data:`SETTLES_S`); such an answer stands for nothing.
    """
    try:
        found = path.stat()
    except OSError:
        return None
    if not found.st_mtime < now - SETTLES_S:
        return None
    return found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns


class Store:
    """The database of one job.

    Parameters
    ----------
    path
        The file ``job.sqlite``, or None for one in memory. Opened for writing, a file that is damaged
        is set aside under :data:`DAMAGED` and an empty one takes its place.
    write
        False opens an existing file for reading only and changes nothing on the disk; where there is
        none, or a kill left it without all its tables, an empty one in memory serves.
    checked
        The file was opened before, as it is now: its pages are not gone through once more. Rows
        carry their own sums, whichever way.

    Raises
    ------
    NewerJob
        The file holds a migration this version does not know.
    DiskFull, CannotWrite
        The file cannot be made or written.
    DatabaseDamaged
        It is opened for reading only, and is no database any more.
    DatabaseBusy
        Another program keeps it locked.
    """

    def __init__(self, path: Path | None, *, write: bool = True, checked: bool = False) -> None:
        self._path = path
        self._checked = checked
        self._name = path.name if path else "memory"
        if path is None or not (write or path.exists()):
            self._begin(sqlite3.connect(":memory:"))
        elif write:
            try:
                self._open_for_writing(path)
            except DatabaseDamaged:
                self._set_aside(path)
                self._open_for_writing(path)
        else:
            self._open_for_reading(path)

    def _open_for_writing(self, path: Path) -> None:
        with self._told():
            connection = sqlite3.connect(path, timeout=_PATIENCE_S)
        self._begin(connection, check=not self._checked)

    def _open_for_reading(self, path: Path) -> None:
        with self._told():
            connection = _for_reading(path)
            try:
                done = _migrations(connection)
            except BaseException:
                connection.close()
                raise
        if done >= {name for name, _ in MIGRATIONS}:
            self._begin(connection)
        else:  # a kill left it half made, or an older version made it
            connection.close()
            self._begin(sqlite3.connect(":memory:"))

    def _begin(self, connection: sqlite3.Connection, *, check: bool = False) -> None:
        """Take a connection in hand; it is closed if anything is wrong with it."""
        try:
            with self._told():
                connection.create_function("sum_of", -1, _sum_of, deterministic=True)
                self._db = sqlite_utils.Database(connection)
                if check and self._db.execute("pragma quick_check(1)").fetchone() != ("ok",):
                    raise DatabaseDamaged(f"{self._name} is damaged.")
                self._migrate()
                for shape in _SHAPES:
                    self._db.execute(f"select {shape} limit 0")
        except BaseException:
            connection.close()
            raise

    def _set_aside(self, path: Path) -> None:
        """Move a damaged file, and the journal that belongs to it, out of the way."""
        try:
            for name in (path.name, f"{path.name}-journal"):
                if (left := path.with_name(name)).exists():
                    left.replace(path.with_name(name + DAMAGED))
        except OSError as problem:
            raise CannotWrite(
                f"{self._name} is damaged and cannot be moved: {problem.strerror}."
            ) from problem

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._db.conn.close()

    def _migrate(self) -> None:
        done = _migrations(self._db.conn)
        known = {name for name, _ in MIGRATIONS}
        if strange := done - known:
            raise NewerJob(f"{self._name} was made by a newer version (it knows “{min(strange)}”).")
        if done == known:
            return
        with self._db.conn:
            self._db.execute("create table if not exists migrations (name text primary key)")
        for name, make in MIGRATIONS:
            if name not in done:
                with self._db.conn:
                    make(self._db)
                    self._db.execute("insert or ignore into migrations values (?)", [name])

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Say a fault of the database in our own words."""
        try:
            yield
        except (sqlite3.IntegrityError, sqlite3.ProgrammingError):
            raise  # our own mistake, and not of the disk
        except sqlite3.DatabaseError as problem:
            raise self._fault(problem) from problem

    def _fault(self, problem: sqlite3.DatabaseError) -> EvidenceError:
        code = getattr(problem, "sqlite_errorcode", 0) & 0xFF  # without the extended part
        if code in _BROKEN:
            return DatabaseDamaged(f"{self._name} is damaged: {problem}.")
        if code in _BUSY:
            return DatabaseBusy(f"Another program keeps {self._name} locked.")
        if code == sqlite3.SQLITE_FULL or (self._path and _no_room(self._path.parent)):
            return DiskFull(f"The disk is full; {self._name} could not take the last rows.")
        return CannotWrite(f"{self._name} cannot be used: {problem}.")

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._told(), self._db.conn:
            yield self._db.conn

    def put_originals(self, taken: Iterable[Taken]) -> None:
        """Write a row for each original; the same original again changes nothing."""
        with self._writing() as connection:
            connection.executemany(
                "insert or ignore into originals values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [
                    (
                        one.original.digest,
                        one.original.size_bytes,
                        one.original.place,
                        str(one.kind),
                        one.frame,
                        one.source,
                        one.name_on_card,
                        one.file_time,
                        one.thing,
                    )
                    for one in taken
                ],
            )

    def originals(self) -> frozenset[Digest]:
        """Give the originals that the database knows of; a new one knows of none."""
        with self._told():
            return frozenset(Digest(digest) for (digest,) in self._db.execute("select digest from originals"))

    def unanswered(self, versions: Mapping[str, str]) -> dict[Digest, frozenset[str]]:
        """Tell which parts are missing, or were answered by another version, for each original.

        Parameters
        ----------
        versions
            Name of each part with the version that is wanted.
        """
        with self._told():
            rows = self._db.execute("select digest from originals order by frame is null, frame, place")
            done: dict[Digest, set[str]] = {Digest(digest): set() for (digest,) in rows.fetchall()}
            for part, digest, version in self._db.execute(
                f"select part, digest, version from answers where {_SOUND_ANSWER} and not {_PASSING}"
            ):
                if versions.get(part) == version and digest in done:
                    done[Digest(digest)].add(part)
        wanted = frozenset(versions)
        return {digest: wanted - have for digest, have in done.items() if wanted - have}

    def put_answers(self, versions: Mapping[str, str], digest: Digest, answers: Mapping[str, Answer]) -> None:
        """Write what was answered for one original, all of it or nothing."""
        with self._writing() as connection:
            connection.executemany(
                "insert or replace into answers values"
                " (:part, :digest, :version, :value, :fault,"
                " sum_of(:part, :digest, :version, :value, :fault))",
                [
                    {
                        "part": part,
                        "digest": digest,
                        "version": versions[part] if a.lasting else "",
                        "value": a.value,
                        "fault": a.fault,
                    }
                    for part, a in answers.items()
                ],
            )

    def answers(self, part: str, version: str | None = None) -> dict[Digest, Answer]:
        """Give every answer of one part, by original; of one version alone where that is named."""
        with self._told():
            rows = self._db.execute(
                "select digest, value, fault from answers where part = :part"
                f" and version = coalesce(:version, version) and {_SOUND_ANSWER}",
                {"part": part, "version": version},
            )
            return {Digest(digest): Answer(value, fault) for digest, value, fault in rows}

    def put_proposal(self, name: str, key: str, value: str) -> None:
        """Keep a proposal about the whole job, with the key of everything it was made from."""
        with self._writing() as connection:
            connection.execute(
                "insert or replace into proposals values (:name, :key, :value, sum_of(:name, :key, :value))",
                {"name": name, "key": key, "value": value},
            )

    def proposal(self, name: str, key: str) -> str | None:
        """Give a proposal if it was made from exactly what ``key`` stands for."""
        with self._told():
            row = self._db.execute(
                "select value from proposals where name = ? and key = ? and sum is sum_of(name, key, value)",
                [name, key],
            ).fetchone()
        return None if row is None else str(row[0])

    def dump(self) -> str:
        """Give all rows as JSON text, for comparing two jobs row by row."""
        tables = {
            name: sorted(map(repr, self._db.execute(f"select * from {name}")))
            for name in ("originals", "answers", "proposals")
        }
        return json.dumps(tables, indent=1)


_SOUND_ANSWER: Final = "sum is sum_of(part, digest, version, value, fault)"
_PASSING: Final = (
    "(fault like '%pip install %' or fault like '%(MemoryError: %' or fault like '%brought the reader down%')"
)
"""Faults of the computer and not of the file, as jobs hold them that were read before such were asked
about again."""


def _sum_of(*values: str | bytes | None) -> int:
    """Sum up a row's columns (CRC-32, ISO/IEC/IEEE 8802-3), to tell a row that is not as it was written."""
    total = 0
    for value in values:
        data = value.encode() if isinstance(value, str) else value or b""
        total = zlib.crc32(data, zlib.crc32(f"{type(value).__name__} {len(data)}".encode(), total))
    return total


def _for_reading(path: Path) -> sqlite3.Connection:
    """Open a file so that nothing on the disk changes, whatever a kill has left."""
    connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=_PATIENCE_S)
    try:
        connection.execute("select count(*) from sqlite_master").fetchone()
    except sqlite3.OperationalError as problem:
        connection.close()
        if problem.sqlite_errorcode != sqlite3.SQLITE_READONLY_ROLLBACK:
            raise
        return _rolled_back(path)
    return connection


def _rolled_back(path: Path) -> sqlite3.Connection:
    """Take back, in a copy in memory, the half of a transaction that a kill left in the file."""
    with files.writing(path), tempfile.TemporaryDirectory(prefix="evidence-") as name:
        for each in (path, path.with_name(f"{path.name}-journal")):
            shutil.copyfile(each, Path(name) / each.name)
        memory = sqlite3.connect(":memory:")
        with closing(sqlite3.connect(Path(name) / path.name)) as copy:
            copy.backup(memory)
    return memory


def _migrations(connection: sqlite3.Connection) -> set[str]:
    """Name the migrations a file has seen."""
    if not connection.execute("select 1 from sqlite_master where name = 'migrations'").fetchone():
        return set()
    return {name for (name,) in connection.execute("select name from migrations")}


def _no_room(folder: Path) -> bool:
    """Tell whether a disk has no byte left: SQLite does not always say why it failed."""
    try:
        return shutil.disk_usage(folder).free == 0
    except OSError:
        return False
