"""Check a job, an edition, a bag, a zipped copy or one PDF, byte by byte, and say so in plain words.

Hides how lists, files and the record's chain are compared, and collects every fault before it
speaks. Needs neither the database nor a picture library: ``python -m evidence.verify FOLDER`` runs
on a bare installation of Python.
"""

from __future__ import annotations

import hashlib
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
from evidence.errors import EvidenceError, NotAJob, RecordBroken, WrongUsage
from evidence.settings import JOB_FILE
from evidence.words import Digest

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import Any

CONTENTS: Final = "contents.json"


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
        What was checked: "job", "edition", "bag", "zipped job", "PDF".
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
            n = len(self.faults)
            said = [f"{n} {'fault was' if n == 1 else 'faults were'} found; checked: {told}."]
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
        A job, one edition's folder, a BagIt folder, a zip file of one of these, or a delivered
        file such as ``appendix.pdf``.
    job
        For a delivered file: the job it is said to come from, when it does not lie in it.

    Raises
    ------
    NotAJob
        It is none of these.
    WrongUsage
        It is not there, or a delivered file has no job to be compared with.
    DiskFull, CannotWrite
        A zip file could not be unpacked to the system's temporary folder.
    """
    path = path.resolve()
    if not path.exists():
        raise WrongUsage(f"There is no {files.shown(str(path))}.")
    if path.is_file():
        return _check_zip(path) if zipfile.is_zipfile(path) and job is None else _check_delivered(path, job)
    if (path / JOB_FILE).is_file():
        return _check_job(path)
    if (path / bag.DECLARATION).is_file():
        return _check_bag_alone(path)
    if (path / bag.MANIFEST).is_file() and (path / CONTENTS).is_file():
        return _check_edition_alone(path)
    raise NotAJob(f"{files.shown(path.name)} is neither a job, an edition, nor a BagIt folder.")


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
            report.add(FaultKind.MISSING, where, f"{where} is missing; the record says that it was issued.")
    return report


@dataclass(frozen=True, slots=True)
class _Home:
    """What an edition is held against: the job's list of originals and its record."""

    listed: dict[str, str]
    lines: list[record.Line] | None

    @property
    def issued(self) -> dict[str, str]:
        """The digest of each edition's manifest by its number, from the record."""
        lines = self.lines or []
        return {line.about: line.value["manifest"] for line in lines if line.what == "issue"}

    @property
    def hashes(self) -> set[str]:
        return {record.START, *(line.hash for line in self.lines or [])}

    @property
    def manifests(self) -> set[str]:
        """The digests the list of originals has had: it only ever grew at its end."""
        summer, digests = hashlib.sha256(), {hashlib.sha256().hexdigest()}
        for place, digest in self.listed.items():
            summer.update(bag.manifest_text({place: Digest(digest)}, inside="data/"))
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
    if folder.parent.name == bag.ISSUED and (job / JOB_FILE).is_file():
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
        except (zipfile.BadZipFile, NotImplementedError) as problem:
            report = Report("zip file", path.name)
            report.add(FaultKind.UNREADABLE, path.name, f"{files.shown(path.name)} is damaged: {problem}.")
            return report
        root = next((p for p in _candidates(folder) if _is_subject(p)), None)
        if root is None:
            raise NotAJob(f"{files.shown(path.name)} holds neither a job, an edition, nor a BagIt folder.")
        report = verify(root)
        report.subject, report.name = f"zipped {report.subject}", path.name
        for entry in broken:
            report.add(
                FaultKind.UNREADABLE, entry, f"{files.shown(entry)} in the zip file cannot be unpacked."
            )
        return report


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
    """Find the digest of one delivered file in the manifests of the job's editions."""
    home = job or next((up for up in path.parents if (up / JOB_FILE).is_file()), None)
    if home is None:
        raise WrongUsage(f"To check {files.shown(path.name)} alone, name the job it was issued from.")
    if not (home / JOB_FILE).is_file():
        raise NotAJob(f"{files.shown(home.name)} is not a job.")
    report = Report("delivered file", path.name)
    digest = files.digest_of(path)
    found = []
    for edition in _editions(home):
        report.editions += 1
        entries, _ = bag.scan_manifest(edition / bag.MANIFEST)
        found += [f"{name} of {edition.name}" for name, listed in entries.items() if listed == digest]
    if found:
        report.remarks.append(f"{files.shown(path.name)} is {' and '.join(found)}, byte for byte.")
    else:
        name = files.shown(path.name)
        report.add(FaultKind.EDITION, path.name, f"{name} is not a file of any edition issued from this job.")
    return report


def _check_bag(report: Report, folder: Path, prefix: str) -> dict[str, str]:
    """Check the lists and every file they name; give the payload as listed."""
    if not (folder / bag.DECLARATION).is_file():
        report.add(FaultKind.MISSING, f"{prefix}{bag.DECLARATION}", f"{prefix}{bag.DECLARATION} is missing.")
    pending = bag.pending(folder)
    tags = _list(report, folder / bag.TAG_MANIFEST, prefix)
    # While a batch goes in, the two lists that change with it may be ahead of their own list.
    sealed = {name: d for name, d in tags.items() if not pending or name not in (bag.INFO, bag.MANIFEST)}
    _check_files(report, folder, sealed, prefix)
    for name in (bag.DECLARATION, bag.INFO, bag.MANIFEST):
        if tags and name not in tags:
            report.add(FaultKind.LIST, prefix + name, f"{prefix}{name} is not in {bag.TAG_MANIFEST}.")
    payload = _list(report, folder / bag.MANIFEST, prefix)
    report.originals += len(payload)
    _check_files(report, folder, payload, prefix)
    for extra in _below(folder / "data"):
        where = files.as_text(f"{prefix}data/{extra}")
        if f"data/{extra}" not in payload and extra not in pending:
            said = f"{files.shown(where)} is not in the list of originals; the intake did not put it there."
            report.add(FaultKind.EXTRA, where, said)
    if bag.cut_short(folder):
        report.remarks.append("An intake was cut short here; run it again with the same card to finish it.")
    for kept in bag.kept_for_a_look(folder):
        report.remarks.append(
            f"{prefix}{bag.INCOMING}/{files.shown(kept.name)} is a copy that read back otherwise than it was "
            "written; it is kept for a look and is no original."
        )
    return _payload(payload)


def _payload(listed: dict[str, str]) -> dict[str, str]:
    return {name.removeprefix("data/"): digest for name, digest in listed.items()}


def _list(report: Report, path: Path, prefix: str) -> dict[str, str]:
    try:
        entries, faults = bag.scan_manifest(path)
    except EvidenceError as problem:
        report.add(FaultKind.MISSING, prefix + path.name, f"{prefix}{problem}")
        return {}
    for fault in faults:
        report.add(FaultKind.LIST, prefix + path.name, f"{prefix}{fault}")
    return dict(entries)


def _check_files(report: Report, folder: Path, listed: dict[str, str], prefix: str) -> None:
    for name, digest in listed.items():
        path, where = folder / PurePosixPath(name), files.as_text(prefix + name)
        shown = files.shown(where)
        if path.is_symlink() or not path.is_file():
            report.add(FaultKind.MISSING, where, f"{shown} is missing.")
            continue
        try:
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


def _below(folder: Path) -> Iterator[str]:
    for parent, _, names in os.walk(folder):
        for name in sorted(names):
            yield (Path(parent) / name).relative_to(folder).as_posix()


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
    report.remarks += _clock_set_back(lines)
    return lines


def _clock_set_back(lines: list[record.Line]) -> Iterator[str]:
    """Say where the computer's clock ran backwards between two lines."""
    for earlier, later in pairwise(lines):
        before, after = record.moment(earlier), record.moment(later)
        if before and after and after < before:
            yield (
                f"The computer's clock was set back before line {later.n} of the record (from"
                f" {earlier.when} to {later.when}); the order of the lines holds all the same."
            )


def _compare(report: Report, listed: dict[str, str], lines: list[record.Line], *, whole: bool = True) -> None:
    """Hold the list of originals against what the record says was taken in."""
    noted = {line.about: line.value["digest"] for line in lines if line.what == "intake"}
    absent = [place for place in noted if place not in listed]
    for place in absent if whole else ():
        name = files.shown(place)
        report.add(FaultKind.MISSING, place, f"{name} is in the record and not in the list of originals.")
    if absent and not whole:
        report.remarks.append(f"{len(absent)} originals that the record names are not in this copy.")
    for place in sorted(noted.keys() & listed.keys()):
        if listed[place] != noted[place]:
            name = files.shown(place)
            report.add(FaultKind.LIST, place, f"{name} has one digest in the record and another in the list.")
    unnoted = [place for place in listed if place not in noted]
    if unnoted and whole:
        report.remarks.append(
            f"{len(unnoted)} originals have no line in the record yet; an intake was cut short. Run it again."
        )


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
    if home.lines is not None and contents.get("record_digest") not in home.hashes:
        report.add(FaultKind.EDITION, where, f"{where} names a state of the record that it never had.")
    if contents.get("manifest_digest") not in home.manifests:
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
    except (OSError, ValueError) as problem:
        where = prefix + path.name
        report.add(FaultKind.UNREADABLE, where, f"{where} cannot be read: {files.shown(str(problem))}.")
        return None
    return contents if isinstance(contents, dict) else {}


def _counts(report: Report) -> str:
    parts = [
        f"{n} {one if n == 1 else many}"
        for n, one, many in (
            (report.originals, "original", "originals"),
            (report.lines, "line of the record", "lines of the record"),
            (report.editions, "edition", "editions"),
        )
        if n
    ]
    return ", ".join(parts) or "nothing to count"


def main(words: list[str]) -> int:
    """Check what was named and print the result; 0 sound, 4 not, else the error's code."""
    if len(words) not in {1, 2}:
        sys.stderr.write("usage: python -m evidence.verify JOB_OR_BAG_OR_ZIP | FILE JOB\n")
        return 2
    try:
        report = verify(Path(words[0]), job=Path(words[1]) if len(words) == 2 else None)
    except EvidenceError as problem:
        sys.stderr.write(f"{problem} {problem.remedy}\n")
        return int(problem.exit_code)
    sys.stdout.write("\n".join(report.sentences) + "\n")
    return 0 if report.sound else 4


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
