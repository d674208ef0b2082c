"""Hand over the originals of chosen findings, with a manifest and a statement of what was done to them.

The folder made is a BagIt bag (RFC 8493) of its own: whoever receives it can check it with
``sha256sum -c`` and needs nothing of ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from evidence import files
from evidence.bag import MANIFEST, Admission, Bag
from evidence.errors import AlreadyThere, DigestMismatch, WrongUsage
from evidence.report import captions
from evidence.steps.findings import finding_of
from evidence.steps.issue import Wanted, gather
from evidence.words import FileKind

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from evidence.desk import Desk
    from evidence.progress import Progress
    from evidence.record import Json
    from evidence.report.contents import Contents, Photo
    from evidence.words import Digest, Taken

STATEMENT = "STATEMENT.txt"


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
        There is no such finding, or none of them has a picture.
    DigestMismatch
        An original is not as the job's manifest says; nothing is handed over as sound.
    DiskFull, CannotWrite
        The bag is not finished; the folder is left and says so by having no manifest of it.
    """
    if target.exists():
        raise AlreadyThere(f"{files.shown(str(target))} exists already; give another folder.")
    state = desk.state()
    chosen = tuple(dict.fromkeys(findings))
    for number in chosen:
        finding_of(state, number)
    contents = gather(desk, Wanted(draft=True), now)
    photos = [photo for photo in contents.photos if set(photo.findings) & set(chosen)]
    if not photos:
        raise WrongUsage("None of these findings has a picture to hand over.")
    listed = desk.job.bag().entries
    # Two frames of one film come from one original.
    pictured = {photo.place: photo for photo in photos}
    beside = _raws_of(desk, pictured.keys())
    bag = Bag.create(target, f"{desk.job.identifier}, findings {', '.join(map(str, chosen))}", now.date())
    wanted = [*pictured, *(raw.original.place for raws in beside.values() for raw in raws)]
    progress.begin("copying originals", len(wanted))
    batch, staging = [], bag.staging()
    for number, place in enumerate(wanted):
        copy = staging / f"{number}"
        digest = files.copy_verified(desk.job.original(place), copy)
        if digest != listed[place]:
            raise DigestMismatch(
                f"{files.shown(place)} is not as it was taken in; nothing was handed over. "
                "“evidence verify” names all that is wrong; a second copy may hold it sound."
            )
        batch.append(Admission(copy.name, place, digest, copy.stat().st_size))
        progress.step(note=place.rsplit("/", 1)[-1])
    bag.admit(batch, None, now.date())
    bag.settle()
    bag.close()
    progress.end()
    manifest = files.digest_of(target / MANIFEST)
    handed = Handed(chosen, photos, beside)
    bag.add_tag(STATEMENT, statement(contents, handed, manifest, desk.job.last_hash))
    value: dict[str, Json] = {
        "manifest": manifest,
        "statement": files.digest_of(target / STATEMENT),
        "originals": list(wanted),
    }
    desk.job.record("supply", ", ".join(map(str, chosen)), value)
    return Supplied(target, chosen, {place: listed[place] for place in wanted}, manifest)


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
    """What a statement tells of: findings by number, their photos, and raw files by their picture's place."""

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
        for photo in (p for p in handed.photos if number in p.findings):
            done = captions.mark_words(photo.marks)
            said += [
                f"  Photo {photo.number} (picture {photo.frame} of the job): data/{photo.place}",
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
                said.append(f"    Corrected to: {corrected}, because {photo.correction}")
            said.append(
                f"    Its printed copy: {captions.light_words(photo.light)}{f'; {done}' if done else ''}."
            )
            if not photo.light.left_alone:
                said.append(f"    Tone curve, input code 0 to 255: {' '.join(map(str, photo.light.curve))}")
    return "\n".join(said) + "\n"
