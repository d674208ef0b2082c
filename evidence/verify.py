"""Check a job, an edition, a bag, a zipped copy or one PDF, byte by byte, and say so in plain words.

Hides how lists, files and the record's chain are compared, and collects every fault before it
speaks. Needs neither the database nor a picture library: ``python -m evidence.verify FOLDER`` runs
on a bare installation of Python.
"""

from __future__ import annotations

import hashlib
import io
import json
import lzma
import os
import sys
import tempfile
import zipfile
import zlib
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Final

from evidence import bag, files, record
from evidence.errors import EvidenceError, ExitCode, NothingToCheck, RecordBroken, WrongUsage
from evidence.settings import JOB_FILE
from evidence.words import Digest, count

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import Any

CONTENTS: Final = "contents.json"

_VOUCHES: Final = {"intake": "digest", "issue": "manifest"}
"""Lines of the record that files are held against, and where they name the digest."""


class FaultKind(StrEnum):
    """What can be wrong."""

    CHANGED = "changed"
    MISSING = "missing"
    EXTRA = "not listed"
    LIST = "list damaged"
    RECORD = "record broken"
    EDITION = "edition does not fit"
    UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is not as it was.

    Attributes
    ----------
    kind
        What sort of fault.
    where
        The file, relative to what was checked.
    sentence
        The fault in plain words.
    """

    kind: FaultKind
    where: str
    sentence: str


@dataclass(slots=True)
class Report:
    """What a check found.

    Attributes
    ----------
    subject
        What was checked: "job", "edition", "draft", "bag" or "delivered file"; unpacked from a zip
        file "zipped job" and so on; "zip file" where it could not be unpacked.
    name
        Its name.
    originals, lines, editions
        How many of each were checked.
    faults
        Everything found wrong; empty when all is well.
    remarks
        What is not wrong but should be known, a sentence each.
    """

    subject: str
    name: str
    originals: int = 0
    lines: int = 0
    editions: int = 0
    faults: list[Fault] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)

    @property
    def sound(self) -> bool:
        """Whether no fault was found."""
        return not self.faults

    def add(self, kind: FaultKind, where: str, sentence: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(kind, where, sentence))

    @property
    def sentences(self) -> list[str]:
        """The result in plain words, the most important first."""
        told = _counts(self)
        if self.sound:
            said = [f"Everything checked is as it was recorded: {told}."]
        else:
            some = count(len(self.faults), "fault was", "faults were")
            said = [f"{some} found; checked: {told}."]
        said += [fault.sentence for fault in self.faults]
        said += self.remarks
        said.append(LIMITS)
        return said

    def as_json(self) -> dict[str, Any]:
        """Give everything for a program to read."""
        return {**asdict(self), "sound": self.sound}


LIMITS: Final = (
    "This shows whether files changed since they were listed; not when or where a picture was taken,"
    " nor anything against someone who could rewrite every copy and list."
)


def verify(path: Path, *, job: Path | None = None) -> Report:
    """Check whatever lies at ``path``.

    Parameters
    ----------
    path
        A job, one edition's folder, a BagIt folder, a zip file of one of these, or a single file that
        was handed over: ``appendix.pdf``, an original.
    job
        For a single file: the job it is said to come from, when it does not lie in it.

    Raises
    ------
    NothingToCheck
        It is none of these.
    WrongUsage
        It is not there, or a single file has no job to be compared with.
    DiskFull, CannotWrite
        A zip file could not be unpacked to the system's temporary folder.
    """
    path = path.resolve()
    if not path.exists():
        raise WrongUsage(f"There is no {files.shown(str(path))}.")
    if path.is_file():
        return _check_zip(path) if job is None and _is_zipped_copy(path) else _check_delivered(path, job)
    if (path / JOB_FILE).is_file():
        return _check_job(path)
    if (path / bag.DECLARATION).is_file():
        return _check_bag_alone(path)
    if (path / bag.MANIFEST).is_file() and (path / CONTENTS).is_file():
        return _check_edition_alone(path)
    said = f"{files.shown(path.name)} is neither a job, an edition, nor a BagIt folder."
    within = [files.shown(one.name) for one in _candidates(path) if one != path and _is_subject(one)]
    raise NothingToCheck(f"{said} It holds {within[0]}: name that." if within else said)


def _check_job(folder: Path) -> Report:
    report = Report("job", folder.name)
    listed = _check_bag(report, folder / bag.ORIGINALS, f"{bag.ORIGINALS}/")
    lines = _check_record(report, folder / record.RECORD)
    if lines is not None:
        _compare(report, listed, lines)
    home = _Home(listed, lines)
    for edition in _editions(folder):
        report.editions += 1
        _check_edition(report, edition, f"{bag.ISSUED}/{edition.name}/", home)
    for number in sorted(home.issued.keys() - {edition.name[8:] for edition in _editions(folder)}):
        where = f"{bag.ISSUED}/edition-{number}"
        making = folder / bag.ISSUED / f"{bag.MAKING}edition-{number}"
        if making.is_dir():  # recorded, and killed before its last move; its seal tells if it is whole
            report.editions += 1
            _check_edition(report, making, f"{bag.ISSUED}/{making.name}/", home)
            report.remarks.append(f"Edition {number} lacks only its last move; issue it again to finish it.")
        else:
            said = f"{files.shown(where)} is missing; the record says that it was issued."
            report.add(FaultKind.MISSING, where, said)
    return report


@dataclass(frozen=True, slots=True)
class _Home:
    """What an edition is held against: the job's list of originals and its record."""

    listed: dict[str, Digest]
    lines: list[record.Line] | None

    @property
    def issued(self) -> dict[str, str]:
        """The digest of each edition's manifest by its number, from the record."""
        lines = self.lines or []
        return {line.about: _noted(line, "manifest") for line in lines if line.what == "issue"}

    @property
    def hashes(self) -> set[str]:
        return {record.START, *(line.hash for line in self.lines or [])}

    @property
    def manifests(self) -> set[str]:
        """The digests the list of originals has had: it only ever grew at its end."""
        summer, digests = hashlib.sha256(), {hashlib.sha256().hexdigest()}
        for place, digest in self.listed.items():
            summer.update(bag.manifest_text({place: digest}, inside="data/"))
            digests.add(summer.hexdigest())
        return digests


def _check_bag_alone(folder: Path) -> Report:
    report = Report("bag", folder.name)
    listed = _check_bag(report, folder, "")
    if (folder / record.RECORD).is_file():
        lines = _check_record(report, folder / record.RECORD)
        if lines is not None:
            _compare(report, listed, lines, whole=False)
    return report


def _check_edition_alone(folder: Path) -> Report:
    job = folder.parent.parent
    report = Report("edition", folder.name)
    report.editions = 1
    home = None
    if folder.name == bag.DRAFT:
        report.subject, report.editions = "draft", 0
        report.remarks.append("This is a draft and no edition: the record does not vouch for it.")
    elif folder.parent.name == bag.ISSUED and (job / JOB_FILE).is_file():
        listed = _list(report, job / bag.ORIGINALS / bag.MANIFEST, f"{bag.ORIGINALS}/")
        home = _Home(_payload(listed), _check_record(report, job / record.RECORD))
    else:
        report.remarks.append("Only the edition was checked; its originals are not beside it.")
    _check_edition(report, folder, "", home)
    return report


def _check_zip(path: Path) -> Report:
    """Unpack to a temporary folder and check there; nothing outside it can be written."""
    with tempfile.TemporaryDirectory(prefix="evidence-") as name:
        folder = Path(name)
        try:
            with zipfile.ZipFile(path) as archive:
                broken = [info.filename for info in archive.infolist() if not _extract(archive, info, folder)]
        except OSError as problem:
            return _unreadable("zip file", path, f"cannot be read: {problem.strerror}")
        except (zipfile.BadZipFile, NotImplementedError, ValueError) as problem:
            return _unreadable("zip file", path, f"is damaged: {problem}")
        root = next((p for p in _candidates(folder) if _is_subject(p)), None)
        if root is None:
            raise NothingToCheck(
                f"{files.shown(path.name)} holds neither a job, an edition, nor a BagIt folder."
            )
        report = verify(root)
        report.subject, report.name = f"zipped {report.subject}", path.name
        for entry in broken:
            report.add(
                FaultKind.UNREADABLE, entry, f"{files.shown(entry)} in the zip file cannot be unpacked."
            )
        return report


def _unreadable(subject: str, path: Path, why: str) -> Report:
    report = Report(subject, path.name)
    report.add(FaultKind.UNREADABLE, path.name, f"{files.shown(path.name)} {why}.")
    return report


def _is_zipped_copy(path: Path) -> bool:
    """Tell a zip file from a delivered file that is one inside, as a DOCX is (ISO/IEC 29500-2, 10.2.3)."""
    try:
        with zipfile.ZipFile(path) as archive:
            return "[Content_Types].xml" not in archive.namelist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError):
        return path.suffix.lower() == ".zip"  # cut off, as a rule


def _extract(archive: zipfile.ZipFile, info: zipfile.ZipInfo, folder: Path) -> bool:
    """Unpack one entry; False when its bytes are damaged. A full disk is no damage and is raised."""
    try:
        with files.writing(folder):
            archive.extract(info, folder)  # cleans the name of roots and ".." itself
    except (zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, RuntimeError, ValueError):
        return False
    return True


def _candidates(folder: Path) -> Iterator[Path]:
    yield folder
    yield from sorted(p for p in folder.iterdir() if p.is_dir())


def _is_subject(folder: Path) -> bool:
    return any((folder / name).is_file() for name in (JOB_FILE, bag.DECLARATION, CONTENTS))


def _check_delivered(path: Path, job: Path | None) -> Report:
    """Find the digest of one file among the originals of a job and the files of its editions.

    Editions and originals are held against the record: a list that another hand wrote vouches for nothing.
    """
    home = job or next((up for up in path.parents if (up / JOB_FILE).is_file()), None)
    if home is None:
        raise WrongUsage(f"To check {files.shown(path.name)} alone, name the job it comes from.")
    if not (home / JOB_FILE).is_file():
        raise NothingToCheck(f"{files.shown(home.name)} is not a job.")
    try:
        digest = files.digest_of(path)
    except OSError as problem:
        return _unreadable("delivered file", path, f"cannot be read: {problem.strerror}")
    report, name = Report("delivered file", path.name), files.shown(path.name)
    lines = _check_record(report, home / record.RECORD)
    taken_in = [line for line in lines or [] if line.what == "intake"]
    found = [f"original {files.shown(one.about)}" for one in taken_in if _noted(one, "digest") == digest]
    for edition in _editions(home):
        report.editions += 1
        prefix = f"{bag.ISSUED}/{edition.name}/"
        listed = _list(report, edition / bag.MANIFEST, prefix)
        of_it = [f"{files.shown(one)} of {edition.name}" for one, its in listed.items() if its == digest]
        if of_it and lines is not None:
            _check_seal(report, edition, prefix, _Home({}, lines))
        found += of_it
    if found:
        report.remarks.append(f"{name} is {' and '.join(found)}, byte for byte.")
    else:
        said = f"{name} is neither an original of this job nor a file of any edition issued from it."
        report.add(FaultKind.EDITION, path.name, said)
    return report


def _check_bag(report: Report, folder: Path, prefix: str) -> dict[str, Digest]:
    """Check the lists and every file they name; give the payload as listed."""
    if not (folder / bag.DECLARATION).is_file():
        report.add(FaultKind.MISSING, f"{prefix}{bag.DECLARATION}", f"{prefix}{bag.DECLARATION} is missing.")
    pending = bag.pending(folder)
    tags = _list(report, folder / bag.TAG_MANIFEST, prefix)
    growing = bag.GROWING if pending else frozenset()
    _check_files(report, folder, {name: d for name, d in tags.items() if name not in growing}, prefix)
    for name in (bag.DECLARATION, bag.INFO, bag.MANIFEST):
        if tags and name not in tags:
            report.add(FaultKind.LIST, prefix + name, f"{prefix}{name} is not in {bag.TAG_MANIFEST}.")
    payload = _list(report, folder / bag.MANIFEST, prefix)
    if pending and not bag.grown_from(_payload(payload), pending, tags.get(bag.MANIFEST, "")):
        where = prefix + bag.MANIFEST
        report.add(
            FaultKind.CHANGED, where, f"{where} has changed, and not by the intake that was cut short."
        )
    report.originals += len(payload)
    _check_files(report, folder, payload, prefix)
    for extra in _below(folder / "data"):
        where = files.as_text(f"{prefix}data/{extra}")
        if f"data/{extra}" not in payload and extra not in pending:
            said = f"{files.shown(where)} is not in the list of originals; the intake did not put it there."
            report.add(FaultKind.EXTRA, where, said)
    own = {bag.DECLARATION, bag.INFO, bag.MANIFEST, bag.TAG_MANIFEST, *tags}
    if not prefix:
        own.add(record.RECORD)  # which lies beside a second copy
    for extra in _below(folder, frozenset({"data", bag.INCOMING})):
        if extra not in own and not files.is_half_made(extra):
            where = files.as_text(prefix + extra)
            # A bag may hold tag files that no list names (RFC 8493, 2.2.4); file managers leave some.
            report.remarks.append(f"{files.shown(where)} is in no list; the intake did not put it there.")
    if bag.cut_short(folder):
        report.remarks.append("An intake was cut short here; run it again with the same card to finish it.")
    for kept in bag.kept_for_a_look(folder):
        report.remarks.append(
            f"{prefix}{bag.INCOMING}/{files.shown(kept.name)} is a copy that read back otherwise than it was "
            "written; it is kept for a look and is no original."
        )
    return _payload(payload)


def _payload(listed: dict[str, Digest]) -> dict[str, Digest]:
    return {name.removeprefix("data/"): digest for name, digest in listed.items()}


def _list(report: Report, path: Path, prefix: str) -> dict[str, Digest]:
    try:
        entries, faults = bag.scan_manifest(path)
    except EvidenceError as problem:
        report.add(FaultKind.MISSING, prefix + path.name, f"{prefix}{problem}")
        return {}
    for fault in faults:
        report.add(FaultKind.LIST, prefix + path.name, f"{prefix}{fault}")
    return dict(entries)


def _check_files(report: Report, folder: Path, listed: dict[str, Digest], prefix: str) -> None:
    links: dict[Path, bool] = {}
    for name, digest in listed.items():
        path, where = folder / PurePosixPath(name), files.as_text(prefix + name)
        shown = files.shown(where)
        try:
            if link := _link_above(name, folder, links):
                behind = files.shown(files.as_text(prefix + link))
                report.add(FaultKind.MISSING, where, f"{shown} is missing: {behind} is only a link.")
                continue
            if path.is_symlink() or not path.is_file():
                report.add(FaultKind.MISSING, where, f"{shown} is missing.")
                continue
            found = files.digest_of(path)
        except OSError as problem:
            report.add(FaultKind.UNREADABLE, where, f"{shown} cannot be read: {problem.strerror}.")
            continue
        if found != digest:
            report.add(
                FaultKind.CHANGED,
                where,
                f"{shown} has changed: its SHA-256 is {found[:12]}…, recorded was {digest[:12]}….",
            )


def _link_above(name: str, folder: Path, links: dict[Path, bool]) -> str:
    """Name the folder on the way to a file that is only a link, "" if none is; ``links`` is the memory."""
    here = folder
    for part in PurePosixPath(name).parts[:-1]:
        here /= part
        if here not in links:
            links[here] = here.is_symlink()
        if links[here]:
            return here.relative_to(folder).as_posix()
    return ""


def _below(folder: Path, without: frozenset[str] = frozenset()) -> Iterator[str]:
    """Name every file below a folder but for some folders right in it, and every link, not followed."""
    waiting = [folder]
    while waiting:
        here = waiting.pop()
        try:
            entries = sorted(os.scandir(here), key=lambda entry: entry.name)
        except OSError:
            continue  # what a list names in it is told as unreadable
        for entry in entries:
            if not entry.is_dir(follow_symlinks=False):
                yield Path(entry.path).relative_to(folder).as_posix()
            elif here != folder or entry.name not in without:
                waiting.append(Path(entry.path))


def _check_record(report: Report, path: Path) -> list[record.Line] | None:
    try:
        data = path.read_bytes()
    except OSError:
        report.add(FaultKind.MISSING, path.name, f"{path.name} is missing or cannot be read.")
        return None
    whole, torn = record.split_torn(data)
    try:
        lines = record.parse(whole)
    except RecordBroken as problem:
        report.add(FaultKind.RECORD, path.name, str(problem))
        return None
    report.lines = len(lines)
    if torn or (whole and not whole.endswith(b"\n")):
        report.remarks.append("The record's last line was cut short by a run that ended suddenly.")
    if not lines:
        report.add(FaultKind.RECORD, path.name, "The record is empty.")
    for line in lines:
        key = _VOUCHES.get(line.what)
        if key and not _noted(line, key):
            said = f"Line {line.n} of the record, of kind {line.what}, names no digest."
            report.add(FaultKind.RECORD, path.name, said)
    report.remarks += _clock_set_back(lines)
    return lines


def _noted(line: record.Line, key: str) -> str:
    """Give the digest a line vouches with; "" when another hand wrote it without one."""
    digest = line.value.get(key) if isinstance(line.value, dict) else None
    return digest if isinstance(digest, str) else ""


def _clock_set_back(lines: list[record.Line]) -> Iterator[str]:
    """Say where the computer's clock ran backwards between two lines."""
    for earlier, later in pairwise(lines):
        before, after = record.moment(earlier), record.moment(later)
        if before and after and after < before:
            yield (
                f"The computer's clock was set back before line {later.n} of the record (from"
                f" {earlier.when} to {later.when}); the order of the lines holds all the same."
            )


def _compare(
    report: Report, listed: dict[str, Digest], lines: list[record.Line], *, whole: bool = True
) -> None:
    """Hold the list of originals against what the record says was taken in."""
    noted = {line.about: _noted(line, "digest") for line in lines if line.what == "intake"}
    absent = [place for place in noted if place not in listed]
    for place in absent if whole else ():
        name = files.shown(place)
        report.add(FaultKind.MISSING, place, f"{name} is in the record and not in the list of originals.")
    if absent and not whole:
        some = count(len(absent), "original that the record names is", "originals that the record names are")
        report.remarks.append(f"{some} not in this copy.")
    for place in sorted(noted.keys() & listed.keys()):
        if listed[place] != noted[place]:
            name = files.shown(place)
            report.add(FaultKind.LIST, place, f"{name} has one digest in the record and another in the list.")
    unnoted = [place for place in listed if place not in noted]
    if unnoted and whole:
        some = count(len(unnoted), "original has", "originals have")
        report.remarks.append(f"{some} no line in the record yet; an intake was cut short. Run it again.")


def _editions(folder: Path) -> list[Path]:
    found = [p for p in (folder / bag.ISSUED).glob("edition-*") if p.is_dir() and p.name[8:].isdecimal()]
    return sorted(found, key=lambda p: int(p.name[8:]))


def _check_edition(report: Report, folder: Path, prefix: str, home: _Home | None) -> None:
    listed = _list(report, folder / bag.MANIFEST, prefix)
    _check_files(report, folder, listed, prefix)
    for extra in _below(folder):
        if extra not in listed and extra != bag.MANIFEST:
            where = prefix + extra
            report.add(
                FaultKind.EXTRA, where, f"{files.shown(where)} was not part of the edition when issued."
            )
    contents = _contents(report, folder / CONTENTS, prefix)
    if home is None:
        return
    if home.lines is not None:
        _check_seal(report, folder, prefix, home)
    if contents is None:
        return
    where = prefix + CONTENTS
    if home.lines is not None and str(contents.get("record_digest")) not in home.hashes:
        report.add(FaultKind.EDITION, where, f"{where} names a state of the record that it never had.")
    if str(contents.get("manifest_digest")) not in home.manifests:
        report.add(FaultKind.EDITION, where, f"{where} names a list of originals that this job never had.")
    originals = set(home.listed.values())
    photos = contents.get("photos")
    for photo in photos if isinstance(photos, list) else [{}]:
        digest = str(photo.get("digest") if isinstance(photo, dict) else None)
        if digest not in originals:
            said = f"{where} prints a picture ({files.shown(digest[:12])}…) that is no original of this job."
            report.add(FaultKind.EDITION, where, said)


def _check_seal(report: Report, folder: Path, prefix: str, home: _Home) -> None:
    """Hold an edition's manifest against the digest the record gave it at issue."""
    where, manifest = prefix + bag.MANIFEST, folder / bag.MANIFEST
    number = folder.name.rsplit("-", 1)[-1]
    if number not in home.issued:
        report.add(FaultKind.EDITION, where, f"The record knows no issue of {folder.name}.")
    elif manifest.is_file() and files.digest_of(manifest) != home.issued[number]:
        report.add(FaultKind.CHANGED, where, f"{where} is not the list that was issued.")


def _contents(report: Report, path: Path, prefix: str) -> dict[str, Any] | None:
    try:
        contents = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError) as problem:
        where = prefix + path.name
        report.add(FaultKind.UNREADABLE, where, f"{where} cannot be read: {files.shown(str(problem))}.")
        return None
    return contents if isinstance(contents, dict) else {}


def _counts(report: Report) -> str:
    parts = [
        count(n, one, many)
        for n, one, many in (
            (report.originals, "original", ""),
            (report.lines, "line of the record", "lines of the record"),
            (report.editions, "edition", ""),
        )
        if n
    ]
    return ", ".join(parts) or "nothing to count"


def main(words: list[str]) -> int:
    """Check what was named and print the result; 0 sound, 4 not, else the error's code."""
    if len(words) not in {1, 2}:
        sys.stderr.write("usage: python -m evidence.verify JOB_OR_BAG_OR_ZIP | FILE JOB\n")
        return int(ExitCode.USAGE)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a name must not end the report
    try:
        report = verify(Path(words[0]), job=Path(words[1]) if len(words) == 2 else None)
    except EvidenceError as problem:
        sys.stderr.write(f"{problem} {problem.remedy}\n")
        return int(problem.exit_code)
    except KeyboardInterrupt:
        sys.stderr.write("Stopped before everything was checked.\n")
        return int(ExitCode.INTERRUPTED)
    except Exception as problem:  # noqa: BLE001 - a door of its own: a person never sees a traceback
        sys.stderr.write(f"The check could not be finished: {type(problem).__name__}: {problem}\n")
        return int(ExitCode.STOPPED)
    sys.stdout.write("\n".join(report.sentences) + "\n")
    return int(ExitCode.DONE if report.sound else ExitCode.HASH_MISMATCH)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
