"""Hand over the originals of chosen findings, with a manifest and a statement of what was done to them.

The folder made is a BagIt bag (RFC 8493) of its own: whoever receives it can check it with
``sha256sum -c`` and needs nothing of ours.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from evidence import files
from evidence.bag import MANIFEST, Admission, Bag
from evidence.errors import AlreadyThere, CardUnreadable, DigestMismatch, WrongUsage
from evidence.report import captions
from evidence.steps import lifted
from evidence.steps.findings import finding_of
from evidence.steps.issue import Wanted, gather, numbers_given, to_print
from evidence.words import FileKind

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence
    from datetime import date, datetime
    from pathlib import Path

    from evidence.desk import Desk
    from evidence.progress import Progress
    from evidence.record import Json
    from evidence.report.contents import Contents, Photo
    from evidence.words import Digest, Taken

STATEMENT = "STATEMENT.txt"
UNFINISHED = "NOT-FINISHED.txt"
"""Lies among the originals, where no list names it, until all of the bag is there."""
_NOTHING = (
    "nothing was handed over. “evidence verify” names all that is wrong; a second copy may hold it sound."
)


@dataclass(frozen=True, slots=True)
class Supplied:
    """What was handed over.

    Attributes
    ----------
    folder
        The bag.
    findings
        Their numbers.
    originals
        Place and SHA-256 of each.
    manifest
        SHA-256 of its manifest, which stands for every original in it.
    """

    folder: Path
    findings: tuple[int, ...]
    originals: dict[str, Digest]
    manifest: Digest


def supply(
    desk: Desk, findings: Sequence[int], target: Path, now: datetime, *, progress: Progress
) -> Supplied:
    """Copy the originals of findings into a new bag, each proved by reading it back.

    Parameters
    ----------
    target
        The folder to make.

    Raises
    ------
    AlreadyThere
        ``target`` exists.
    UnknownFinding, WrongUsage
        There is no such finding, none of them has a picture, or ``target`` would lie among the job's
        originals, editions or copies.
    NoAddress
        Nothing says what house it is.
    DigestMismatch
        An original is not as the job's manifest says, or cannot be read.
    BadPicture
        What a printed copy shows of a raw file or film cannot be told.
    DiskFull, CannotWrite
        The bag could not be made.

    Notes
    -----
    Whatever leaves, there is no ``target``, and nothing of it is left. The bag is made beside its
    place; what a kill leaves there holds a file that no list names, so no checker calls it sound,
    and the next try removes it.
    """
    if target.exists():
        raise AlreadyThere(f"{files.shown(str(target))} exists already; give another folder.")
    if inside := _own_folder(desk, target.resolve()):
        raise WrongUsage(
            f"{files.shown(str(target))} would lie in the job's folder “{inside}”, where only the job's own "
            "files may; give another folder."
        )
    state = desk.state()
    chosen = tuple(dict.fromkeys(findings))
    for number in chosen:
        finding_of(state, number)
    showing = {a.frame for a in state.attachments if a.finding in chosen}
    shown = [picture for picture in to_print(desk) if picture.frame in showing]
    if not shown:
        raise WrongUsage("None of these findings has a picture to hand over.")
    # Two frames of one film come from one original.
    pictured = dict.fromkeys((p.lifted.film if p.lifted else p.taken.original).place for p in shown)
    raws = _raws_of(desk, pictured.keys())
    wanted = [*pictured, *(raw.original.place for beside in raws.values() for raw in beside)]
    making = files.half_made(target)
    _remove(making)
    files.make_folders(target.parent)
    with files.writing(making):
        making.mkdir()
    try:
        name = f"{desk.job.identifier}, findings {', '.join(map(str, chosen))}"
        bag, digests = _bagged(desk, making, name, wanted, now.date(), progress=progress)
        # A lift by hand is measured on the frame's copy; nothing else here needs one.
        lifted.restore(desk, [p for p in shown if isinstance(p.light_decided, float)])
        contents = gather(desk, Wanted(draft=True), now, shown)
        given = numbers_given(desk.job)
        photos = [replace(photo, number=given.get(photo.frame, 0)) for photo in contents.photos]
        manifest = files.digest_of(making / MANIFEST)
        told = statement(contents, Handed(chosen, photos, raws), manifest, desk.job.last_hash)
        bag.add_tag(STATEMENT, told)
        value: dict[str, Json] = {
            "manifest": manifest,
            "statement": files.digest_of(making / STATEMENT),
            "originals": list(wanted),
        }
        # Before the last move, so that no bag stands in its place that the record does not know.
        desk.job.record("supply", ", ".join(map(str, chosen)), value)
        with files.writing(target):
            bag.payload(UNFINISHED).unlink()
            making.rename(target)
            files.sync_folder(target.parent)
    except BaseException:
        _remove(making)
        raise
    return Supplied(target, chosen, digests, manifest)


def _own_folder(desk: Desk, target: Path) -> str:
    """Name the folder of the job, one that holds nothing but the job's own, in which a place lies; or ""."""
    own = (desk.job.originals, desk.job.issued, desk.job.copies)
    return next((folder.name for folder in own if target.is_relative_to(folder)), "")


def _bagged(
    desk: Desk, folder: Path, name: str, places: Sequence[str], day: date, *, progress: Progress
) -> tuple[Bag, dict[str, Digest]]:
    """Copy originals into a new bag, each read back and held to the job's list."""
    listed = desk.job.bag().entries
    files.make_folders(folder / "data")
    files.write_whole(folder / "data" / UNFINISHED, b"This bag was not finished; do not hand it over.\n")
    bag = Bag.create(folder, name, day)
    progress.begin("copying originals", len(places))
    batch, staging = [], bag.staging()
    for number, place in enumerate(places):
        copy = staging / f"{number}"
        try:
            digest = files.copy_verified(desk.job.original(place), copy)
        except CardUnreadable as problem:
            raise DigestMismatch(f"{files.shown(place)} cannot be read; {_NOTHING}") from problem
        if digest != listed.get(place):
            raise DigestMismatch(f"{files.shown(place)} is not as it was taken in; {_NOTHING}")
        batch.append(Admission(copy.name, place, digest, copy.stat().st_size))
        progress.step(note=place.rsplit("/", 1)[-1])
    bag.admit(batch, None, day)
    bag.settle()
    bag.close()
    progress.end()
    return bag, {place: listed[place] for place in places}


def _remove(making: Path) -> None:
    """Remove a bag of our own that was not finished, with its copies, which are read-only."""
    for path in making.rglob("*"):
        if path.is_file():
            files.discard(path)
    shutil.rmtree(making, ignore_errors=True)


def _raws_of(desk: Desk, places: Collection[str]) -> dict[str, list[Taken]]:
    """Give the raw files that the camera wrote beside pictures, by the picture's place.

    A sound note of the same number stays: it may hold what is nobody's business.
    """
    taken = desk.job.taken()
    things = {(one.source, one.thing): one.original.place for one in taken if one.original.place in places}
    found: dict[str, list[Taken]] = {}
    for one in taken:
        picture = things.get((one.source, one.thing))
        if picture and one.kind is FileKind.RAW and one.original.place not in places:
            found.setdefault(picture, []).append(one)
    return found


@dataclass(frozen=True, slots=True)
class Handed:
    """What a statement tells of: findings by number, their photos, and raw files by their picture's place.

    A photo has the number that an edition gave it, 0 when none did.
    """

    findings: Sequence[int]
    photos: Sequence[Photo]
    raws: Mapping[str, Sequence[Taken]]


def statement(contents: Contents, handed: Handed, manifest: str, record: str) -> str:
    """Say in plain words what is handed over, and for each picture what was done to its printed copy.

    Parameters
    ----------
    manifest
        SHA-256 of the bag's manifest.
    record
        Hash of the last line of the job's record.
    """
    who = contents.inspector or "an inspector whose name was not given"
    licence = f", licence {contents.licence}" if contents.licence else ""
    said = [
        f"Originals of {contents.address}",
        f"Handed over on {captions.issued(contents)} by {who}{licence}.",
        "",
        "The files below data/ are the camera's own, byte for byte as they were copied from the card. They",
        "may hold a position, a serial number and other metadata; the issued appendix holds none.",
        "",
        "To check that nothing changed since: sha256sum -c manifest-sha256.txt",
        f"SHA-256 of that manifest: {manifest}",
        f"The job's record ended at that moment with: {record}",
        "A hash shows that a file has not changed since it was listed. It does not show when or where the",
        "picture was taken, nor that the camera's clock was right.",
    ]
    for number in handed.findings:
        finding = next(f for f in contents.findings if f.number == number)
        said += ["", f"Finding {number}: {finding.seen}"]
        shown = [photo for photo in handed.photos if number in photo.findings]
        if not shown:
            said.append("  No picture of it is handed over.")
        for photo in shown:
            done = captions.mark_words(photo.marks)
            said += [
                f"  {_named(photo)}: data/{photo.place}",
                f"    SHA-256 {photo.digest}",
                f"    The camera showed: {captions.camera_time(photo.time, contents.language)}",
            ]
            for raw in handed.raws.get(photo.place, ()):
                said.append(f"    Its raw file: data/{raw.original.place}")
                said.append(f"    SHA-256 {raw.original.digest}")
            if photo.of_raw:
                said.append(f"    Its printed copy shows {photo.of_raw}.")
            if photo.film is not None:
                said.append(f"    It is a {captions.film_words(photo)}.")
                said.append(f"    SHA-256 of that frame as a binary PPM: {photo.film.pixels}")
            if photo.corrected is not None:
                corrected = captions.camera_time(photo.corrected, contents.language)
                said.append(f"    Corrected to: {corrected}: {captions.correction_words(photo)}")
            said.append(
                f"    Its printed copy: {captions.light_words(photo.light)}{f'; {done}' if done else ''}."
            )
            if not photo.light.left_alone:
                said.append(f"    Tone curve, input code 0 to 255: {' '.join(map(str, photo.light.curve))}")
    return "\n".join(said) + "\n"


def _named(photo: Photo) -> str:
    if not photo.number:
        return f"Picture {photo.frame} of the job, not issued"
    return f"Photo {photo.number} (picture {photo.frame} of the job)"
