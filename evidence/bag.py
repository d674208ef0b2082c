"""Keep originals as a BagIt folder (RFC 8493) that any checker, and ``sha256sum -c``, can prove.

Hides the tag files, their order of writing, and how files that were copied and proved beside the
bag come into it so that a kill at any instant can be made good. Leaves to others where files come
from and what is noted about them.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Final

from evidence import files
from evidence.errors import AlreadyThere, DigestMismatch, NotAJob
from evidence.words import Digest

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence
    from datetime import date

    from evidence.record import Json

ORIGINALS: Final = "originals"
ISSUED: Final = "issued"
MAKING: Final = "making-"
"""So begins the name of an edition's folder until the record names the edition."""
DRAFT: Final = "draft"
"""The name of the folder of a draft, which is no edition."""
MANIFEST: Final = "manifest-sha256.txt"
TAG_MANIFEST: Final = "tagmanifest-sha256.txt"
INFO: Final = "bag-info.txt"
DECLARATION: Final = "bagit.txt"
INCOMING: Final = "incoming"
"""Copies that are not proved yet lie here, outside the payload; between intakes it is absent, or holds
only copies that read back otherwise and are kept for a look."""

GROWING: Final = frozenset({INFO, MANIFEST})
"""The lists that change while a batch goes in, before the list of lists does."""

_DECLARATION_TEXT: Final = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
_COMMIT: Final = "commit.json"
_ESCAPES: Final = {"%": "%25", "\r": "%0D", "\n": "%0A"}  # RFC 8493, 2.1.3


@dataclass(frozen=True, slots=True)
class Admission:
    """A proved copy that is to become part of the bag.

    Attributes
    ----------
    staged
        Its name in the folder of incoming copies.
    place
        Where it goes, below ``data/``.
    digest, size_bytes
        What was proved of it.
    """

    staged: str
    place: str
    digest: Digest
    size_bytes: int


class Bag:
    """A BagIt folder that grows by whole batches.

    Parameters
    ----------
    folder
        The bag.

    Raises
    ------
    NotAJob
        There is no bag.
    DigestMismatch
        Its manifest is missing or not as it was written.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        if not (folder / DECLARATION).is_file():
            raise NotAJob(f"{files.shown(folder.name)} is not a BagIt folder: it has no {DECLARATION}.")
        self.entries: dict[str, Digest] = read_manifest(folder / MANIFEST, inside="data/")
        self._info = read_info(folder / INFO)
        self._tags = [DECLARATION, INFO, MANIFEST]
        self._bytes = sum(_size(self.payload(place)) for place in self.entries)

    @classmethod
    def create(cls, folder: Path, identifier: str, day: date) -> Bag:
        """Make an empty bag, or finish one whose making was cut short.

        Parameters
        ----------
        identifier
            Goes into bag-info.txt as External-Identifier.
        day
            The day of bagging.

        Raises
        ------
        AlreadyThere
            The folder is a bag with another identifier.
        DigestMismatch
            It is a bag whose lists are not as they were written.
        DiskFull, CannotWrite
            The bag could not be made.
        """
        files.make_folders(folder / "data")
        if not (folder / INFO).exists():
            info = {"Bagging-Date": day.isoformat(), "External-Identifier": identifier}
            files.write_whole(folder / INFO, info_text({**info, "Payload-Oxum": "0.0"}))
        if not (folder / MANIFEST).exists():
            files.write_whole(folder / MANIFEST, b"")
        if not (folder / DECLARATION).exists():
            files.write_whole(folder / DECLARATION, _DECLARATION_TEXT)
        bag = cls(folder)
        if bag.identifier != identifier:
            if (folder / TAG_MANIFEST).exists():
                bag.check_tags()  # a turned bit in the identifier makes no other job of it
            raise AlreadyThere(
                f"{files.shown(folder.name)} already holds the originals of “{files.shown(bag.identifier)}”."
            )
        if not (folder / TAG_MANIFEST).exists():
            bag._write_tag_manifest()
        return bag

    @property
    def identifier(self) -> str:
        """The External-Identifier of bag-info.txt."""
        return self._info.get("External-Identifier", "")

    def payload(self, place: str) -> Path:
        """Give the path of a file of the payload."""
        return self.folder / "data" / PurePosixPath(place)

    def staging(self) -> Path:
        """Give the folder for incoming copies, making it if need be, without leftovers of a kill.

        What read back otherwise (:data:`evidence.files.BAD`) stays: a person is to look at it. While a
        plan waits, everything does: a batch that failed half-way is finished from the copies it names.
        """
        folder = self.folder / INCOMING
        files.make_folders(folder)
        if not (folder / _COMMIT).exists():
            for left in folder.iterdir():
                if left.suffix != files.BAD:
                    files.discard(left)
        return folder

    def staging_name(self, name: str) -> Path:
        """Give the path of an incoming copy."""
        return self.folder / INCOMING / name

    def admit(self, batch: Sequence[Admission], note: Json, day: date) -> None:
        """Take proved copies into the payload, so that a kill at any instant can be made good.

        Order: what is about to happen is written down; the files are renamed into place and their
        folders synced; then manifest, bag-info and tag manifest. The writing-down stays until
        :meth:`settle`, and :meth:`unsettled` finishes from it.

        Parameters
        ----------
        note
            Whatever the caller needs to finish its own part after a kill.
        day
            The day of bagging.

        Raises
        ------
        DiskFull, CannotWrite
            The batch is not in, or :meth:`unsettled` can finish it.
        AlreadyThere
            A file that no list names stands where one of the batch should go; it is left as it is.
        DigestMismatch
            A copy of the batch is gone.
        """
        plan = {"batch": [asdict(one) for one in batch], "day": day.isoformat(), "note": note}
        files.write_whole(self.folder / INCOMING / _COMMIT, json.dumps(plan).encode())
        self._carry_out(batch, day.isoformat())

    def check_tags(self, growing: Collection[str] = ()) -> None:
        """Make sure that nobody changed the lists, before they are written anew and sealed.

        Parameters
        ----------
        growing
            Names of those that a batch cut short may have changed already.

        Raises
        ------
        DigestMismatch
            A tag file is not what the tag manifest says.
        """
        for name, digest in read_manifest(self.folder / TAG_MANIFEST).items():
            path = self.folder / name
            if name not in growing and (not path.is_file() or files.digest_of(path) != digest):
                raise DigestMismatch(f"{files.shown(name)} is not as it was written.")

    def add_tag(self, name: str, text: str) -> None:
        """Add a file that tells of the bag beside its lists; the tag manifest then vouches for it.

        Raises
        ------
        DiskFull, CannotWrite
            It is not added, or stands there unlisted.
        """
        files.write_whole(self.folder / name, text.encode())
        self._tags.append(name)
        self._write_tag_manifest()

    def unsettled(self) -> Json:
        """Finish a batch that a kill cut short, and give the caller's note; None when there is none.

        Raises
        ------
        DiskFull, CannotWrite
            It could not be finished; try again.
        AlreadyThere
            As for :meth:`admit`.
        DigestMismatch
            A file of the batch is neither here nor there, or a tag file was changed.
        """
        commit = self.folder / INCOMING / _COMMIT
        if not commit.exists():
            self.check_tags()
            return None
        batch, day, note = _plan(commit)
        self.check_tags(GROWING)
        sealed = read_manifest(self.folder / TAG_MANIFEST).get(MANIFEST, "")
        if not grown_from(self.entries, {one.place for one in batch}, sealed):
            raise DigestMismatch(f"{MANIFEST} is not as it was written.")
        self._carry_out(batch, day)
        return note

    def settle(self) -> None:
        """Say that everything about the last batch is done, in the record too."""
        files.discard(self.folder / INCOMING / _COMMIT)

    def close(self) -> None:
        """Remove the folder of incoming copies if nothing is left in it."""
        folder = self.folder / INCOMING
        if folder.is_dir() and not any(folder.iterdir()):
            with files.writing(folder):
                folder.rmdir()

    def _carry_out(self, batch: Sequence[Admission], day: str) -> None:
        folders: set[Path] = set()
        for one in batch:
            if one.place in self.entries:
                continue  # a plan that outlived its work
            target, staged = self.payload(one.place), self.folder / INCOMING / one.staged
            if staged.exists():
                if target.exists():  # nobody's but a person's: a place is only given out when free
                    raise AlreadyThere(f"{files.shown(one.place)} is taken by a file that is not listed.")
                files.make_folders(target.parent)
                with files.writing(target):
                    staged.rename(target)
            elif not target.is_file():
                raise DigestMismatch(f"{files.shown(one.place)} was copied and is gone.")
            folders.add(target.parent)
            self.entries[one.place] = one.digest
            self._bytes += one.size_bytes
        for folder in folders:
            with files.writing(folder):
                files.sync_folder(folder)
        self._write_tags(day)

    def _write_tags(self, day: str) -> None:
        files.write_whole(self.folder / MANIFEST, manifest_text(self.entries, inside="data/"))
        self._info["Bagging-Date"] = day
        self._info["Payload-Oxum"] = f"{self._bytes}.{len(self.entries)}"
        files.write_whole(self.folder / INFO, info_text(self._info))
        self._write_tag_manifest()

    def _write_tag_manifest(self) -> None:
        with files.writing(self.folder / TAG_MANIFEST):
            tags = {name: files.digest_of(self.folder / name) for name in self._tags}
        files.write_whole(self.folder / TAG_MANIFEST, manifest_text(tags))


def pending(folder: Path) -> frozenset[str]:
    """Give the places of the batch that was going into a bag when a kill came; none is usual."""
    try:
        batch, _, _ = _plan(folder / INCOMING / _COMMIT)
    except (OSError, DigestMismatch):
        return frozenset()
    return frozenset(one.place for one in batch)


def _plan(path: Path) -> tuple[list[Admission], str, Json]:
    """Read what a batch cut short was to do: the files, the day, and what to note.

    Raises
    ------
    DigestMismatch
        It is no such plan.
    """
    try:
        plan = json.loads(path.read_bytes())
        return [Admission(**one) for one in plan["batch"]], str(plan["day"]), plan["note"]
    except (ValueError, KeyError, TypeError, RecursionError) as problem:
        raise DigestMismatch(f"{INCOMING}/{path.name} is not as it was written.") from problem


def grown_from(entries: Mapping[str, Digest], batch: Collection[str], sealed: str) -> bool:
    """Tell whether a list of originals has the digest given, or had it before a batch was added.

    Parameters
    ----------
    entries
        The list as it is.
    batch
        The places of the batch that a kill cut short.
    sealed
        SHA-256 of the list by the tag manifest, which is written last.
    """
    before = {place: digest for place, digest in entries.items() if place not in batch}
    lists = (manifest_text(listed, inside="data/") for listed in (entries, before))
    return sealed in {hashlib.sha256(text).hexdigest() for text in lists}


def cut_short(folder: Path) -> bool:
    """Tell whether a kill left something of an intake in a bag; what is kept for a look is nothing of it."""
    lying = list(_incoming(folder))
    return (folder / INCOMING).is_dir() and (not lying or any(path.suffix != files.BAD for path in lying))


def kept_for_a_look(folder: Path) -> list[Path]:
    """List the copies in a bag's folder of incoming ones that read back otherwise than was written."""
    return sorted(path for path in _incoming(folder) if path.suffix == files.BAD)


def _incoming(folder: Path) -> Iterator[Path]:
    try:
        yield from (folder / INCOMING).iterdir()
    except OSError:
        return  # absent, as is usual


def seal_folder(folder: Path) -> Digest:
    """Write a manifest of every file below a folder, for an edition that will not change again.

    Returns
    -------
    SHA-256 of the manifest itself, which stands for the whole folder.
    """
    listed = {
        path.relative_to(folder).as_posix(): files.digest_of(path)
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path != folder / MANIFEST
    }
    files.write_whole(folder / MANIFEST, manifest_text(listed))
    return files.digest_of(folder / MANIFEST)


def manifest_text(entries: Mapping[str, Digest], *, inside: str = "") -> bytes:
    """Write a manifest: digest, two spaces, path; CR, LF and % escaped (RFC 8493, 2.1.3)."""
    lines = [f"{digest}  {inside}{escape(place)}\n" for place, digest in entries.items()]
    return "".join(lines).encode(errors="surrogateescape")  # a damaged list may hold what is no text


def read_manifest(path: Path, *, inside: str = "") -> dict[str, Digest]:
    """Read a manifest that must be sound.

    Raises
    ------
    DigestMismatch
        It is missing, or a line of it is not as it was written.
    """
    entries, faults = scan_manifest(path, inside=inside)
    if faults:
        raise DigestMismatch(faults[0])
    return entries


def scan_manifest(path: Path, *, inside: str = "") -> tuple[dict[str, Digest], list[str]]:
    """Read what can be read of a manifest, with a sentence about each line that cannot.

    Parameters
    ----------
    inside
        Folder every path must lie in; left off in the result.

    Raises
    ------
    DigestMismatch
        It is missing or cannot be read.
    """
    try:
        text = path.read_bytes().decode(errors="surrogateescape")
    except OSError as problem:
        raise DigestMismatch(f"{path.name} cannot be read: {problem.strerror}.") from problem
    entries: dict[str, Digest] = {}
    faults: list[str] = []
    lines = text.split("\n")
    if lines.pop():
        faults.append(f"{path.name} breaks off in its last line.")
    for n, line in enumerate(lines, start=1):
        match = re.fullmatch(r"([0-9a-f]{64}) [ *](.+)", line)
        place = unescape(match[2]) if match else ""
        if not match or not place.startswith(inside) or not _stays_inside(place):
            faults.append(f"Line {n} of {path.name} is not a digest and a path.")
        elif place.removeprefix(inside) in entries:
            faults.append(f"Line {n} of {path.name} names a file a second time.")
        else:
            entries[place.removeprefix(inside)] = Digest(match[1])
    return entries, faults


def escape(place: str) -> str:
    r"""Escape what RFC 8493 (2.1.3) wants escaped in a manifest.

    Examples
    --------
    >>> escape("100%\n.jpg")
    '100%25%0A.jpg'
    """
    return "".join(_ESCAPES.get(c, c) for c in place)


def unescape(place: str) -> str:
    r"""Undo :func:`escape`.

    Examples
    --------
    >>> unescape("100%25%0a.jpg")
    '100%\n.jpg'
    """
    return re.sub("%(25|0D|0A)", lambda m: chr(int(m[1], 16)), place, flags=re.IGNORECASE)


def info_text(info: Mapping[str, str]) -> bytes:
    """Write bag-info.txt: one ``Label: value`` a line (RFC 8493, 2.2.2)."""
    return "".join(f"{label}: {' '.join(value.split())}\n" for label, value in sorted(info.items())).encode()


def read_info(path: Path) -> dict[str, str]:
    """Read bag-info.txt; a line that begins with space goes on with the one before."""
    info: dict[str, str] = {}
    label = ""
    text = path.read_bytes().decode(errors="replace") if path.exists() else ""  # its digest tells of damage
    for line in text.splitlines():
        if line[:1] in (" ", "\t") and label:
            info[label] += " " + line.strip()
        elif ":" in line:
            label, _, value = line.partition(":")
            info[label] = value.strip()
    return info


def _stays_inside(place: str) -> bool:
    parts = PurePosixPath(place).parts
    return bool(parts) and not place.startswith(("/", "~")) and ".." not in parts


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0  # missing; the manifest still names it and verify tells
