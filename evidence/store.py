"""Keep what was read and what was computed: every table and every query of ``job.sqlite``.

Hides SQL and the shape of rows. Leaves to others what the rows mean: originals and decisions are
mirrored from the record, answers are bytes whose form belongs to the room that gave them. The
whole file can be thrown away; it is made again from originals and record.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Self

import sqlite_utils

from evidence.errors import CannotWrite, DiskFull, NewerJob
from evidence.words import Digest, Taken

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True, slots=True)
class Answer:
    """What one method said about one original.

    Attributes
    ----------
    value
        Packed by the room that gave it; None when the file could not be answered for.
    fault
        Why not, in a sentence; "" when it was answered.
    """

    value: bytes | None
    fault: str = ""


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


MIGRATIONS = (("first tables", _first_tables),)
"""Named steps, applied once each and in this order."""


class Store:
    """The database of one job.

    Parameters
    ----------
    path
        The file ``job.sqlite``, or None for one in memory.
    write
        False opens an existing file for reading only; where there is none, memory serves.

    Raises
    ------
    NewerJob
        The file holds a migration this version does not know.
    CannotWrite
        The file cannot be opened for writing.
    """

    def __init__(self, path: Path | None, *, write: bool = True) -> None:
        self._name = path.name if path else "memory"
        reading = path is not None and not write and path.exists()
        try:
            if reading and path is not None:
                connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=10.0)
            else:
                connection = sqlite3.connect(path if path and write else ":memory:", timeout=10.0)
            self._db = sqlite_utils.Database(connection)
            self._migrate(write=not reading)
        except sqlite3.OperationalError as problem:
            raise CannotWrite(f"{self._name} cannot be opened for writing: {problem}.") from problem

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._db.conn.close()

    def _migrate(self, *, write: bool) -> None:
        if write:
            with self._db.conn:
                self._db.execute("create table if not exists migrations (name text primary key)")
        done = {name for (name,) in self._db.execute("select name from migrations").fetchall()}
        known = {name for name, _ in MIGRATIONS}
        if strange := done - known:
            raise NewerJob(f"{self._name} was made by a newer version (it knows “{min(strange)}”).")
        for name, make in MIGRATIONS:
            if write and name not in done:
                with self._db.conn:
                    make(self._db)
                    self._db.execute("insert or ignore into migrations values (?)", [name])

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        try:
            with self._db.conn:
                yield self._db.conn
        except sqlite3.OperationalError as problem:
            if "full" in str(problem):
                raise DiskFull(f"The disk is full; {self._name} could not take the last rows.") from problem
            raise CannotWrite(f"{self._name} could not be written: {problem}.") from problem

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

    def unanswered(self, versions: Mapping[str, str]) -> dict[Digest, frozenset[str]]:
        """Tell which parts are missing, or were answered by another version, for each original.

        Parameters
        ----------
        versions
            Name of each part with the version that is wanted.
        """
        rows = self._db.execute("select digest from originals order by frame is null, frame, place")
        done: dict[Digest, set[str]] = {Digest(digest): set() for (digest,) in rows.fetchall()}
        for part, digest, version in self._db.execute("select part, digest, version from answers"):
            if versions.get(part) == version and digest in done:
                done[Digest(digest)].add(part)
        wanted = frozenset(versions)
        return {digest: wanted - have for digest, have in done.items() if wanted - have}

    def put_answers(self, versions: Mapping[str, str], digest: Digest, answers: Mapping[str, Answer]) -> None:
        """Write what was answered for one original, all of it or nothing."""
        with self._writing() as connection:
            connection.executemany(
                "insert or replace into answers values (?, ?, ?, ?, ?)",
                [(part, digest, versions[part], a.value, a.fault) for part, a in answers.items()],
            )

    def answers(self, part: str) -> dict[Digest, Answer]:
        """Give every answer of one part, by original."""
        rows = self._db.execute("select digest, value, fault from answers where part = ?", [part])
        return {Digest(digest): Answer(value, fault) for digest, value, fault in rows}

    def put_proposal(self, name: str, key: str, value: str) -> None:
        """Keep a proposal about the whole job, with the key of everything it was made from."""
        with self._writing() as connection:
            connection.execute("insert or replace into proposals values (?, ?, ?)", [name, key, value])

    def proposal(self, name: str, key: str) -> str | None:
        """Give a proposal if it was made from exactly what ``key`` stands for."""
        row = self._db.execute(
            "select value from proposals where name = ? and key = ?", [name, key]
        ).fetchone()
        return None if row is None else str(row[0])

    def dump(self) -> str:
        """Give all rows as JSON text, for comparing two jobs row by row."""
        tables = {
            name: sorted(map(repr, self._db.execute(f"select * from {name}")))
            for name in ("originals", "answers", "proposals")
        }
        return json.dumps(tables, indent=1)
