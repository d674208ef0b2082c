"""Write files that survive a pulled plug, and copy files in a way that is read back and compared.

Hides the order of sync and rename, the page cache, and what each of the system's error numbers
means to a person. Leaves to others which file goes where.
"""

from __future__ import annotations

import errno
import hashlib
import os
import unicodedata
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from evidence.errors import AlreadyThere, CannotWrite, CardGone, CardUnreadable, DigestMismatch, DiskFull
from evidence.words import Digest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

BUFFER: Final = 256 * 1024
"""Bytes read at once; 4 MiB was three times slower (our own trial)."""

HEAD: Final = 4096
"""Bytes of a file's beginning that are handed on, enough for any format's mark."""

READ_ONLY: Final = 0o444

BAD: Final = ".bad"
"""So ends the name of a copy that read back otherwise and is kept for a look."""

LONGEST_NAME: Final = 200
"""Bytes of a cleaned name in UTF-8; disks take 255, and a name beside it gets a few more."""

_WINDOWS: Final = os.name == "nt"
_O_BINARY: Final = getattr(os, "O_BINARY", 0)  # Windows would turn line ends otherwise
_FULL: Final = {errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)}
_GONE: Final = {
    getattr(errno, name) for name in ("ENODEV", "ENXIO", "ENOTCONN", "ESTALE") if hasattr(errno, name)
}


@dataclass(frozen=True, slots=True)
class Copied:
    """What was seen of a file while its bytes passed by once.

    Attributes
    ----------
    digest
        SHA-256 of the bytes as they left the source.
    size_bytes
        How many there were.
    head
        The first bytes, at most :data:`HEAD`.
    changed_ns
        The source's own time of change, nanoseconds since 1970 UTC as the system gives it.
    """

    digest: Digest
    size_bytes: int
    head: bytes
    changed_ns: int


def digest_of(path: Path, *, from_disk: bool = False) -> Digest:
    """Compute the SHA-256 of a file's bytes (FIPS 180-4).

    Parameters
    ----------
    from_disk
        Ask the system to forget its cached pages first, so that the medium is read.

    Raises
    ------
    OSError
        The file cannot be read; the caller knows what that means.
    """
    with _opened(path, os.O_RDONLY) as file:
        if from_disk:
            _forget_cache(file)
        summer = hashlib.sha256()
        while block := os.read(file, BUFFER):
            summer.update(block)
    return Digest(summer.hexdigest())


def copy_once(source: Path, targets: Sequence[Path], *, card: Path | None = None) -> Copied:
    """Copy one file to new places, digesting the bytes as they leave the source; not yet synced.

    The copies are read-only and carry the source's time of change.

    Parameters
    ----------
    targets
        Files that do not exist yet. None at all: the source is only digested.
    card
        Root of the card, to tell a bad file from a card that is gone.

    Raises
    ------
    CardUnreadable, CardGone
        The source could not be read to its end; says at which byte. Nothing is left behind.
    DiskFull, CannotWrite
        A copy could not be written. Nothing is left behind.
    """
    summer, size, head = hashlib.sha256(), 0, b""
    outs: list[int] = []
    whole = False
    name = f"the copy of {shown(source.name)}"
    try:
        with _reading(source, card, lambda: size), _opened(source, os.O_RDONLY | _NO_LINK) as file:
            changed_ns = os.fstat(file).st_mtime_ns
            for target in targets:
                with writing(target, name):
                    outs.append(os.open(target, _NEW, READ_ONLY | 0o200))
            while block := os.read(file, BUFFER):
                summer.update(block)
                head = head or block[:HEAD]
                size += len(block)
                for out, target in zip(outs, targets, strict=True):
                    with writing(target, name):
                        _write_all(out, block)
        for out, target in zip(outs, targets, strict=True):
            with writing(target, name):
                if _WINDOWS:  # which syncs only through a handle that may write
                    os.fsync(out)
                os.utime(target, ns=(changed_ns, changed_ns))
                target.chmod(READ_ONLY)
        whole = True
    finally:
        for out in outs:
            os.close(out)
        if not whole:
            for target in targets[: len(outs)]:
                discard(target)
    return Copied(Digest(summer.hexdigest()), size, head, changed_ns)


def prove(path: Path, digest: Digest, name: str = "") -> None:
    """Sync a fresh copy, read it back from the disk, and compare.

    Parameters
    ----------
    name
        What a person knows the file by, if not by the path's name.

    Raises
    ------
    DigestMismatch
        It reads back otherwise; it is kept under ``.bad`` for a look.
    DiskFull, CannotWrite
        It could not be synced or read back.

    Notes
    -----
    The page cache may serve the second reading; where the system allows it the cached pages are
    dropped first. On others the proof is of the file system, not of the medium.
    """
    with writing(path, name):
        if not _WINDOWS:
            with _opened(path, os.O_RDONLY) as file:
                os.fsync(file)
        found = digest_of(path, from_disk=True)
    if found != digest:
        names = (path.name, *(f"{path.name}-{n}" for n in range(2, 100)))
        places = [path.with_name(one + BAD) for one in names]
        bad = next((place for place in places if not os.path.lexists(place)), places[-1])
        with writing(path, name):
            path.replace(bad)
        raise DigestMismatch(
            f"{name or shown(path.name)} reads back with other bytes than were written; the copy is "
            f"kept for a look: {shown(str(bad))}"
        )


def copy_verified(source: Path, target: Path, *, card: Path | None = None) -> Digest:
    """Copy one file and prove the copy by reading it back from the disk.

    The digest is taken from the bytes as they leave the source; the copy is written beside its
    place, synced, read back, renamed. After a kill at any instant the target is either absent or
    whole.

    Returns
    -------
    SHA-256 of the source's bytes.

    Raises
    ------
    AlreadyThere
        The target exists and holds other bytes. It is left as it is.
    CardUnreadable, CardGone
        The source could not be read to its end; says at which byte.
    DiskFull, CannotWrite
        Nothing is left behind.
    DigestMismatch
        The copy reads back otherwise; it is kept under ``.bad`` for a look.
    """
    if os.path.lexists(target):
        digest = copy_once(source, (), card=card).digest
        if target.is_symlink() or not target.is_file() or digest_of(target) != digest:
            raise AlreadyThere(f"{shown(target.name)} exists with other bytes.")
        return digest
    beside = half_made(target)
    discard(beside)
    digest = copy_once(source, (beside,), card=card).digest
    prove(beside, digest)
    with writing(target):
        beside.replace(target)
        sync_folder(target.parent)
    return digest


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that it is, after a kill at any instant, either the old one or the new one.

    Raises
    ------
    DiskFull, CannotWrite
        The old file stands as it was; nothing is left behind.
    """
    beside = half_made(path)
    done = False
    try:
        with writing(path):
            with _opened(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666) as file:
                _write_all(file, data)
                os.fsync(file)
            beside.replace(path)
            done = True
            sync_folder(path.parent)
    finally:
        if not done:
            discard(beside)


def append_durably(path: Path, data: bytes) -> None:
    """Add bytes to the end of a file and wait until they are on the disk; all of them or none.

    Raises
    ------
    DiskFull, CannotWrite
        The file is cut back to what it was.
    """
    with writing(path):
        fresh = not path.exists()
        with _opened(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o666) as file:
            before = os.fstat(file).st_size
            try:
                _write_all(file, data)
                os.fsync(file)
            except OSError:
                os.ftruncate(file, before)
                raise
        if fresh:
            sync_folder(path.parent)


def make_folders(path: Path) -> None:
    """Make a folder with all its parents, each durable."""
    missing = []
    while not path.is_dir():
        missing.append(path)
        path = path.parent
    for folder in reversed(missing):
        with writing(folder):
            folder.mkdir(exist_ok=True)
            sync_folder(folder.parent)


def sync_file(path: Path) -> None:
    """Make the bytes of a file durable that a library wrote, which syncs nothing itself."""
    with _opened(path, os.O_RDWR) as file:  # Windows syncs only through a handle that may write
        os.fsync(file)


def sync_folder(path: Path) -> None:
    """Make the names in a folder durable, where the system can (Windows cannot and need not)."""
    if _WINDOWS:
        return
    with _opened(path, os.O_RDONLY | os.O_DIRECTORY) as folder:
        os.fsync(folder)


def discard(path: Path) -> None:
    """Remove a half-made file of our own, if it can be removed; never a file of a person's."""
    try:
        if _WINDOWS:
            path.chmod(0o666)
        path.unlink(missing_ok=True)
    except OSError:
        return  # the fault that made it half-made is the one to tell


def clean_name(name: str) -> str:
    r"""Make one part of a card's path fit to be a name on any disk, in any manifest, on any page.

    Control and direction-changing characters, what Windows forbids, bytes that are no text, and
    the percent sign (which RFC 8493 would escape and ``sha256sum`` would not) become ``_``; the
    rest is kept, in Unicode form C. Two names may come out alike; the caller keeps them apart.

    Examples
    --------
    >>> clean_name("ABCD0001.JPG")
    'ABCD0001.JPG'
    >>> clean_name("..")
    '__'
    >>> clean_name("con.jpg")
    '_con.jpg'
    >>> clean_name("roof\u202egpj.exe\n")
    'roof_gpj.exe_'
    """
    kept = "".join("_" if _unfit(c) else c for c in unicodedata.normalize("NFC", name))
    if not kept.strip("."):
        kept = "_" * max(1, len(kept))
    if kept.split(".")[0].strip().upper() in _DEVICES or kept[0] in " ~":
        kept = "_" + kept
    if len(kept.encode()) > LONGEST_NAME:
        stem, dot, suffix = kept.rpartition(".")
        end = (dot + suffix)[:12] if stem else ""
        kept = kept.encode()[: LONGEST_NAME - len(end.encode())].decode(errors="ignore") + end
    return kept[:-1] + "_" if kept[-1] in ". " else kept


def fold(name: str) -> str:
    """Give the form under which a disk that ignores case and Unicode form would file a name.

    Canonical caseless matching (Unicode Standard, 3.13).

    Examples
    --------
    >>> fold("ATTIC.JPG") == fold("attic.jpg")
    True
    """
    return unicodedata.normalize("NFC", unicodedata.normalize("NFD", name).casefold())


def as_text(name: str) -> str:
    r"""Write the bytes of a name that are no text as escapes, so that it can be kept and printed.

    Examples
    --------
    >>> as_text("roof\udcff.jpg")
    'roof\\xff.jpg'
    """
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def shown(text: str) -> str:
    r"""Make text from a card fit for a screen: no control characters, nothing that turns the line.

    Examples
    --------
    >>> shown("a\x1b[2Jb\u202e")
    'a?[2Jb?'
    """
    return "".join("?" if unicodedata.category(c) in _INVISIBLE else c for c in text)


@contextmanager
def writing(path: Path, name: str = "") -> Iterator[None]:
    """Say an error of the system while writing in our own words.

    Parameters
    ----------
    name
        What a person knows the file by, if not by the path's name.

    Raises
    ------
    DiskFull, CannotWrite
        In place of OSError.
    """
    try:
        yield
    except OSError as problem:
        name = name or shown(path.name)
        if problem.errno in _FULL:
            raise DiskFull(f"The disk is full; {name} was not written.") from problem
        raise CannotWrite(f"{name} cannot be written: {_reason(problem)}.") from problem


def card_fault(source: Path, card: Path | None, problem: OSError, at: int = 0) -> CardUnreadable:
    """Tell whether one file is bad or the whole card is gone, from the system's error."""
    name = shown(source.name)
    if problem.errno in _GONE or (card is not None and not _stands(card)):
        return CardGone(f"The card went away while {name} was read (at byte {at}).")
    return CardUnreadable(f"{name} cannot be read past byte {at}: {_reason(problem)}.")


_NEW: Final = os.O_WRONLY | os.O_CREAT | os.O_EXCL | _O_BINARY
_NO_LINK: Final = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
_INVISIBLE: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
_FORBIDDEN: Final = frozenset('<>:"/\\|?*%')
_DEVICES: Final = frozenset(
    ["CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in range(1, 10))]
)


def _unfit(character: str) -> bool:
    return character in _FORBIDDEN or unicodedata.category(character) in _INVISIBLE


def half_made(path: Path) -> Path:
    """Name the hidden file or folder beside a place in which what belongs there is made."""
    return path.with_name(f".{path.name}.part")


def is_half_made(name: str) -> bool:
    """Tell whether a name is one that :func:`half_made` gives: a kill may have left it."""
    return name.startswith(".") and name.endswith(".part")


def _reason(problem: OSError) -> str:
    return (problem.strerror or type(problem).__name__).lower()


def _stands(card: Path) -> bool:
    try:
        return any(card.iterdir())
    except OSError:
        return False


@contextmanager
def _opened(path: Path, flags: int, mode: int = 0o666) -> Iterator[int]:
    file = os.open(path, flags | _O_BINARY, mode)
    try:
        yield file
    finally:
        os.close(file)


@contextmanager
def _reading(source: Path, card: Path | None, at: Callable[[], int]) -> Iterator[None]:
    try:
        yield
    except OSError as problem:
        raise card_fault(source, card, problem, at()) from problem


def _write_all(file: int, data: bytes) -> None:
    view = memoryview(data)
    while view:
        view = view[os.write(file, view) :]


def _forget_cache(file: int) -> None:
    if hasattr(os, "posix_fadvise"):
        with suppress(OSError):  # advice; a file system may have no use for it
            os.posix_fadvise(file, 0, 0, os.POSIX_FADV_DONTNEED)
