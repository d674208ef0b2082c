"""The one home of faults: full disks, bad cards, pulled cards, wrong clocks, killed programs.

Most stand in for ``os`` inside :mod:`evidence.files`, through which every byte of a job passes;
they work the same for a tester who is root, for whom a folder made read-only is no obstacle.

Run as a program, it takes a card into a job and kills itself (SIGKILL) at chosen instants; see
:func:`killed_and_resumed`.
"""

from __future__ import annotations

import errno
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Self

import pytest

from evidence import files, verify
from evidence.bag import MANIFEST
from evidence.job import Job
from evidence.settings import Details
from evidence.steps.intake import intake

HOME = Path(__file__).resolve().parents[1]


class Saboteur:
    """Stands in for ``os`` and passes everything on; the kinds below spoil something."""

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 - whatever os has
        return getattr(os, name)


@contextmanager
def at_work(saboteur: Saboteur) -> Iterator[None]:
    """Let a saboteur loose in evidence.files."""
    files.os = saboteur  # type: ignore[assignment, attr-defined]
    try:
        yield
    finally:
        files.os = os  # type: ignore[attr-defined]


class _Watching(Saboteur):
    """Knows which path an open file belongs to."""

    def __init__(self) -> None:
        self.paths: dict[int, Path] = {}

    def open(self, path: Path, flags: int, mode: int = 0o777) -> int:
        file = os.open(path, flags, mode)
        self.paths[file] = Path(path)
        return file


class Listens(Saboteur):
    """Spoils nothing; remembers the names of what was called."""

    def __init__(self) -> None:
        self.calls: list[str] = []

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 - whatever os has
        self.calls.append(name)
        return getattr(os, name)


class FullDisk(_Watching):
    """Has room for so many more bytes below a folder, then none (ENOSPC), as a real disk would."""

    def __init__(self, room: int, below: Path) -> None:
        super().__init__()
        self.room = room
        self.below = below

    def write(self, file: int, data: bytes | memoryview) -> int:
        if not self.paths[file].is_relative_to(self.below):
            return os.write(file, data)
        if self.room <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        written = os.write(file, data[: self.room])
        self.room -= written
        return written


class NthCallFails(Saboteur):
    """The n-th call of one function of os fails."""

    def __init__(self, name: str, n: int, number: int = errno.EIO) -> None:
        self.name, self.left, self.number = name, n, number
        self.happened = False

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 - whatever os has
        real = getattr(os, name)
        if name != self.name:
            return real

        def failing(*args: Any, **more: Any) -> Any:  # noqa: ANN401 - whatever os takes
            self.left -= 1
            if self.left == 0:
                self.happened = True
                raise OSError(self.number, os.strerror(self.number))
            return real(*args, **more)

        return failing


class BadSector(_Watching):
    """One file cannot be read past a byte (EIO)."""

    def __init__(self, name: str, at: int) -> None:
        super().__init__()
        self.name, self.at = name, at

    def read(self, file: int, size: int) -> bytes:
        if self.paths[file].name == self.name:
            here = os.lseek(file, 0, os.SEEK_CUR)
            if here >= self.at:
                raise OSError(errno.EIO, os.strerror(errno.EIO))
            size = min(size, self.at - here)
        return os.read(file, size)


class FadingDisk(_Watching):
    """One file reads back with a flipped bit once it was written."""

    def __init__(self, name: str, below: Path = Path("/")) -> None:
        super().__init__()
        self.name, self.below = name, below

    def read(self, file: int, size: int) -> bytes:
        block = os.read(file, size)
        if block and self.paths[file].name == self.name and self.paths[file].is_relative_to(self.below):
            return bytes([block[0] ^ 1]) + block[1:]
        return block


class PulledCard(_Watching):
    """The card goes away at the n-th reading from it; its folder stays behind, empty."""

    def __init__(self, card: Path, n: int) -> None:
        super().__init__()
        self.card, self.left = card, n
        self.away = card.with_name(card.name + "-in-a-pocket")

    def read(self, file: int, size: int) -> bytes:
        if self.paths[file].is_relative_to(self.card):
            self.left -= 1
            if self.left == 0:
                self.card.rename(self.away)
                self.card.mkdir()
            if self.left <= 0:
                raise OSError(errno.EIO, os.strerror(errno.EIO))
        return os.read(file, size)

    def put_back(self) -> None:
        """Put the card into the reader again."""
        self.card.rmdir()
        self.away.rename(self.card)


class ReadOnlyDisk(Saboteur):
    """Nothing can be opened for writing below a folder (EROFS)."""

    def __init__(self, below: Path) -> None:
        self.below = below

    def open(self, path: Path, flags: int, mode: int = 0o777) -> int:
        if flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) and Path(path).is_relative_to(self.below):
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))
        return os.open(path, flags, mode)


class SmallDisk:
    """A real disk of so many bytes (tmpfs), that can be filled, made read-only, pulled. Needs root.

    Attributes
    ----------
    folder
        Where it is mounted.
    """

    def __init__(self, folder: Path, size: int) -> None:
        folder.mkdir(parents=True)
        self.folder = folder
        options = ["-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)]
        if os.name != "posix" or os.geteuid() or subprocess.run(["mount", *options], check=False).returncode:
            pytest.skip("only root may mount a small disk to fill")
        self._mounted = True

    def fill(self, room: int = 0) -> None:
        """Leave so many bytes free, to the page."""
        self._ballast.unlink(missing_ok=True)
        take = shutil.disk_usage(self.folder).free - room
        with self._ballast.open("wb") as file:
            os.posix_fallocate(file.fileno(), 0, max(take, 1))

    def free(self) -> None:
        """Make room again."""
        self._ballast.unlink(missing_ok=True)

    def read_only(self, *, on: bool) -> None:
        """Turn the card's little switch, or turn it back."""
        subprocess.run(["mount", "-o", f"remount,{'ro' if on else 'rw'}", str(self.folder)], check=True)

    def pull(self) -> None:
        """Take it out; its folder stays behind, empty."""
        if self._mounted:
            subprocess.run(["umount", "--lazy", str(self.folder)], check=True)
            self._mounted = False

    @property
    def _ballast(self) -> Path:
        return self.folder / "ballast"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.pull()


class Ledger(_Watching):
    """Spoils nothing; knows at each moment what a pulled plug would take: all that is not synced.

    A file is unsafe from a write to its sync; a folder from a new name in it to its own.

    Attributes
    ----------
    unsafe
        Inodes with their names.
    synced
        Time of change of each inode at its last sync: a library's own writing is seen by that alone.
    told
        Called with ("write" or "rename", path) before each such doing.
    """

    def __init__(self, told: Callable[[str, Path], None]) -> None:
        super().__init__()
        self.unsafe: dict[int, Path] = {}
        self.synced: dict[int, int] = {}
        self.told = told

    def open(self, path: Path, flags: int, mode: int = 0o777) -> int:
        new = not os.path.lexists(path)
        file = super().open(path, flags, mode)
        if new:
            self.unsafe[Path(path).parent.stat().st_ino] = Path(path).parent
        return file

    def write(self, file: int, data: bytes | memoryview) -> int:
        self.told("write", self.paths[file])
        self.unsafe[os.fstat(file).st_ino] = self.paths[file]
        return os.write(file, data)

    def fsync(self, file: int) -> None:
        os.fsync(file)
        found = os.fstat(file)
        self.unsafe.pop(found.st_ino, None)
        self.synced[found.st_ino] = found.st_mtime_ns

    def renamed(self, old: Path, new: Path) -> None:
        """Rename, and note it."""
        self.told("rename", Path(new))
        assert old.stat().st_ino not in self.unsafe, f"{old} is renamed before it is safe"
        os.replace(old, new)  # noqa: PTH105 - Path's own is what this stands in for
        for folder in (old.parent, new.parent):
            self.unsafe[folder.stat().st_ino] = folder

    def unsynced_below(self, folder: Path) -> list[str]:
        """Name the files below a folder that were changed since their last sync, by whomever."""
        every = [(path, path.stat()) for path in sorted(folder.rglob("*")) if path.is_file()]
        return [path.name for path, now in every if self.synced.get(now.st_ino) != now.st_mtime_ns]

    def watch(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Stand in for Path's own renaming, and for os in evidence.files, to the end of a test."""
        for name in ("rename", "replace"):
            monkeypatch.setattr(Path, name, lambda old, new: self.renamed(old, new))  # noqa: PLW0108 - binds
        monkeypatch.setattr(files, "os", self)

    def unsafe_below(self, folder: Path) -> list[Path]:
        """Give what would be lost below a folder."""
        return [path for path in list(self.unsafe.values()) if path.is_relative_to(folder)]


def clock_set_back() -> Callable[[], datetime]:
    """Give a clock that runs for three readings and then stands a year earlier."""
    moments = [datetime(2026, 11, 25, 9, n, tzinfo=UTC) for n in range(3)]
    later = datetime(2025, 11, 25, 9, 0, tzinfo=UTC)

    def now() -> datetime:
        nonlocal later
        if moments:
            return moments.pop(0)
        later += timedelta(minutes=1)
        return later

    return now


def interrupted(*_: object) -> None:
    """Stand in for a call that Ctrl-C ends before it has done anything."""
    raise KeyboardInterrupt


def flip_a_bit(path: Path, chance: random.Random) -> tuple[int, int]:
    """Turn one bit of a file; gives the byte's offset and the bit."""
    data = bytearray(path.read_bytes())
    at, bit = chance.randrange(len(data)), chance.randrange(8)
    data[at] ^= 1 << bit
    path.chmod(0o644)
    path.write_bytes(data)
    return at, bit


def kill_group_after(command: list[str], seconds: float) -> bool:
    """Run a command in a process group of its own and SIGKILL the whole group after so long.

    Returns
    -------
    Whether it was killed, and had not ended by itself before.
    """
    process = subprocess.Popen(
        command, cwd=HOME, start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        process.wait(timeout=seconds)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        return True
    return False


class KillsItself(Saboteur):
    """Counts what is done to the disk and dies just before the n-th thing, alone or with its group."""

    COUNTED = frozenset({"open", "read", "write", "fsync", "close", "utime", "ftruncate"})
    AUDITED = frozenset({"os.rename", "os.mkdir", "os.remove", "os.rmdir", "os.chmod"})

    def __init__(self, n: int, *, group: bool = False) -> None:
        self.left = n
        self.group = group
        self._gate = threading.Lock()
        sys.addaudithook(lambda event, _: self._count() if event in self.AUDITED else None)

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 - whatever os has
        if name in self.COUNTED:
            self._count()
        return getattr(os, name)

    def _count(self) -> None:
        with self._gate:
            self.left -= 1
            if self.left == 0:
                os.kill(0 if self.group else os.getpid(), signal.SIGKILL)


def take(card: Path, job: Path, second: Path | None) -> None:
    """Make the job if need be, and take the card in, as a person would who starts again."""
    opened = Job.open(job) if (job / "job.toml").exists() else Job.create(job, Details())
    with opened:
        intake(opened, [card], second_copy=second)


def killed_and_resumed(card: Path, work: Path, instants: list[int]) -> list[dict[str, Any]]:
    """Take a card in, killed at each instant in turn, and again to the end; tell what came of it.

    Parameters
    ----------
    instants
        Numbers of doings on the disk; 0 is not killed at all.

    Returns
    -------
    For each: whether it was killed, what was wrong then, what is wrong now, manifest, frame numbers.
    """
    command = [sys.executable, "-m", "tests.saboteurs", str(card), str(work), *map(str, instants)]
    done = subprocess.run(command, cwd=HOME, check=True, capture_output=True, text=True, timeout=900)
    return [json.loads(line) for line in done.stdout.splitlines()]


def state_of(job: Path, second: Path) -> dict[str, Any]:
    """Give what an undisturbed run must equal: lists, numbers and what was noted, without times."""
    with Job.open(job, write=False) as opened:
        noted = [[line.what, line.about, line.value] for line in opened.lines if line.what != "start"]
        unfinished = list(opened.unfinished)
    return {
        "manifest": (job / "originals" / MANIFEST).read_text(),
        "second": (second / job.name / MANIFEST).read_text(),
        "noted": noted,
        "unfinished": unfinished,
        "faults": [fault.sentence for fault in verify.verify(job).faults]
        + [fault.sentence for fault in verify.verify(second / job.name).faults],
    }


def half_state(folder: Path) -> list[str]:
    """Give what is wrong with a job that a kill left behind; nothing if it is none yet."""
    job = folder / "job"
    return [fault.sentence for fault in verify.verify(job).faults] if (job / "job.toml").exists() else []


def doings(card: Path, folder: Path) -> int:
    """Count the doings on the disk of an undisturbed intake."""
    command = [sys.executable, "-m", "tests.saboteurs", "--count", str(card), str(folder)]
    done = subprocess.run(command, cwd=HOME, check=True, capture_output=True, text=True)
    return int(done.stdout)


def in_a_child(do: Callable[[], None]) -> int:
    """Do something in a fork of this program; gives its exit code, or minus the signal that ended it."""
    child = os.fork()
    if child == 0:
        try:
            do()
            os._exit(0)
        except BaseException as problem:  # noqa: BLE001 - a child of a fork must not go on as its parent
            sys.stderr.write(f"{type(problem).__name__}: {problem}\n")
            os._exit(1)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _armed(card: Path, job: Path, second: Path, n: int) -> None:
    if n:
        files.os = KillsItself(n)  # type: ignore[assignment, attr-defined]
    take(card, job, second)


def main(words: list[str]) -> None:
    """Kill and resume at each instant, one line of JSON each; or take a card in once, or count."""
    if words[0] == "--take":
        take(Path(words[1]), Path(words[2]) / "job", Path(words[2]) / "second")
        return
    if words[0] == "--count":
        counter = KillsItself(0)
        with at_work(counter):
            take(Path(words[1]), Path(words[2]) / "job", Path(words[2]) / "second")
        sys.stdout.write(f"{-counter.left}\n")
        return
    card, work = Path(words[0]), Path(words[1])
    for i, n in enumerate(map(int, words[2:])):
        folder = work / f"{i}-{n}"
        job, second = folder / "job", folder / "second"
        code = in_a_child(lambda: _armed(card, job, second, n))  # noqa: B023 - called at once
        half = half_state(folder)
        again = in_a_child(lambda: take(card, job, second))  # noqa: B023 - called at once
        told = {"n": n, "code": code, "half": half, "again": again, **state_of(job, second)}
        sys.stdout.write(json.dumps(told) + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
