"""Issue an edition: gather what it holds, make the printed copies, write the files, seal them.

An edition is made beside its place and moved there only when the record names it, so that a kill
at any instant leaves either no edition or a whole one.
"""

from __future__ import annotations

import shutil
import zoneinfo
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone
from typing import TYPE_CHECKING

from evidence import files, pictures, settings
from evidence.bag import DRAFT, MAKING, MANIFEST, seal_folder
from evidence.errors import BadSetting, DigestMismatch, NoAddress, NotIssuable, NotLookedAt
from evidence.packing import from_json, to_json
from evidence.record import computer_clock
from evidence.report import size, typesetting, writers
from evidence.report.contents import (
    Contents,
    FromFilm,
    Layout,
    NotSeen,
    Paper,
    Photo,
    RequiredText,
    number_photos,
)
from evidence.steps import lifted
from evidence.steps.gaps import of_findings
from evidence.steps.light import in_force
from evidence.steps.printing import Printer
from evidence.words import Digest, Distance, FrameNumber

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from evidence.desk import Desk
    from evidence.job import Job
    from evidence.progress import Progress
    from evidence.record import Json
    from evidence.state import State
    from evidence.timeline import PictureState

CONTENTS = "contents.json"
MAIL = "appendix-mail.pdf"
FORMATS = tuple(writer.name for writer in writers.WRITERS)
"""Names of every format there is."""
_SAID_OF = {
    **dict.fromkeys(("address", "client", "inspector", "licence", "weather", "standard"), ""),
    "inspected_on": "day of the inspection",
    "details": "list of further details",
    "rooms": "list of rooms or their order",
    "required_texts": "wording of the required texts",
    "confirmed": "account of who confirmed what",
    "language": "way of writing dates and numbers",
    "layout": "page size or the number of photos to a page",
}
"""What of the contents is compared as a whole between editions, and its words where not its name."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the inspector asks of an edition.

    Attributes
    ----------
    formats
        Names from :data:`FORMATS`.
    per_page, paper
        Other than job.toml says, or None; checked as there.
    draft
        Marked as a draft on each page and kept beside the editions, without a number of its own.
    mail_limit
        Bytes that the PDF may have, or None.
    unlooked_reason
        Why it may be issued though printed pictures were not looked at in full size, or "".

    Raises
    ------
    BadSetting
        The layout is none that can be set, or the limit leaves no room for anything.
    """

    formats: tuple[str, ...] = ("pdf",)
    per_page: int | None = None
    paper: str | None = None
    draft: bool = False
    mail_limit: int | None = None
    unlooked_reason: str = ""

    def __post_init__(self) -> None:
        asked = {"per_page": self.per_page, "paper": self.paper}
        settings.details({name: value for name, value in asked.items() if value is not None})
        if self.mail_limit is not None and self.mail_limit <= 0:
            raise BadSetting("A mail limit must be a size above nothing, such as 10MB.")


@dataclass(frozen=True, slots=True)
class Issued:
    """What was issued.

    Attributes
    ----------
    edition
        Its number.
    folder
        Where it lies.
    files
        Names of its documents.
    digest
        SHA-256 of its manifest, which stands for all of it.
    photos, findings
        How many it holds.
    said
        What was done to meet a mail limit or to finish an issue cut short, which letters the PDF prints as
        code points, or why the clock is in doubt.
    unlooked
        Frames printed without having been looked at in full size.
    lacking
        What a reader will miss in its findings, a sentence each.
    """

    edition: int
    folder: Path
    files: tuple[str, ...]
    digest: Digest
    photos: int
    findings: int
    said: str
    unlooked: tuple[FrameNumber, ...]
    lacking: tuple[str, ...] = ()


def issue(
    desk: Desk, wanted: Wanted, *, progress: Progress, now: Callable[[], datetime] = computer_clock
) -> Issued:
    """Issue the next edition, or a draft of it.

    Raises
    ------
    NotIssuable
        There is no finding and no picture to print.
    NotLookedAt
        Printed pictures were not looked at in full size and no reason was given.
    NoAddress
        Nothing says what house it is.
    LibraryMissing
        A format needs a library that is not installed.
    DigestMismatch
        An original that was to be printed is not what was taken in; nothing was issued.
    DiskFull, CannotWrite, BadPicture
        Nothing was issued.
    """
    if (finished := resume(desk)) and not wanted.draft:
        return finished
    shown = to_print(desk)
    unlooked = tuple(sorted(picture.frame for picture in shown if not picture.looked))
    if unlooked and not (wanted.draft or wanted.unlooked_reason.strip()):
        some = "picture has" if len(unlooked) == 1 else "pictures have"
        raise NotLookedAt(f"{len(unlooked)} printed {some} not been looked at in full size yet.")
    _hold_to_their_digests(desk, shown)
    lifted.restore(desk, shown)
    contents = gather(desk, wanted, now(), shown)
    folder = _place(desk, contents)
    making = folder.with_name(MAKING + folder.name)
    files.make_folders(making)
    try:
        said = _write(contents, Printer(desk.job, progress), wanted, making)
        files.write_whole(making / CONTENTS, to_json(contents).encode())
        digest = seal_folder(making)
    except BaseException:
        shutil.rmtree(making, ignore_errors=True)
        raise
    names = tuple(sorted(path.name for path in making.iterdir() if path.name not in {CONTENTS, MANIFEST}))
    if contents.draft:
        if folder.exists():
            with files.writing(folder):
                shutil.rmtree(folder)
    else:
        value: dict[str, Json] = {
            "manifest": digest,
            "files": list(names),
            "photos": {str(photo.frame): photo.number for photo in contents.photos},
            "findings": [finding.number for finding in contents.findings],
            "not looked at": list(unlooked),
            "reason": wanted.unlooked_reason,
        }
        desk.job.record("issue", str(contents.edition), value)
    with files.writing(folder):
        making.rename(folder)
        files.sync_folder(folder.parent)
    spelled = typesetting.spelled_out(contents) if "pdf" in wanted.formats else ""
    said = " ".join(filter(None, (said, spelled, desk.job.clock_doubt)))
    return Issued(
        contents.edition,
        folder,
        names,
        digest,
        len(contents.photos),
        len(contents.findings),
        said,
        unlooked,
        tuple(gap.sentence for gap in of_findings(desk.state())),
    )


def resume(desk: Desk) -> Issued | None:
    """Put an edition in its place that the record names and a kill kept from it; drop other rests.

    Returns
    -------
    The edition that was finished so, None when there was none: asked again after a kill, the same
    issue is then done and not a second one.
    """
    if not desk.job.issued.is_dir():
        return None
    named = {line.value["manifest"]: line for line in desk.job.lines if line.what == "issue"}
    finished = None
    for making in desk.job.issued.glob(MAKING + "*"):
        manifest = making / MANIFEST
        with files.writing(making):
            line = named.get(files.digest_of(manifest)) if manifest.is_file() else None
            if line is None:
                shutil.rmtree(making)
                continue
            folder = making.with_name(making.name.removeprefix(MAKING))
            making.rename(folder)
        value = line.value
        finished = Issued(
            int(line.about),
            folder,
            tuple(value["files"]),
            Digest(value["manifest"]),
            len(value["photos"]),
            len(value["findings"]),
            "This edition had been issued and only its last move was missing.",
            tuple(value["not looked at"]),
        )
    with files.writing(desk.job.issued):
        files.sync_folder(desk.job.issued)
    return finished


def _hold_to_their_digests(desk: Desk, shown: Iterable[PictureState]) -> None:
    """Read each original that is to be printed once more, so that no turned bit gets into an edition."""
    wrong = []
    # Several pictures may be frames of one film, which is then what is vouched for.
    for original in dict.fromkeys(p.lifted.film if p.lifted else p.taken.original for p in shown):
        name = files.shown(original.place)
        try:
            found = files.digest_of(desk.job.original(original.place))
        except OSError as problem:
            wrong.append(f"{name} cannot be read ({problem.strerror})")
            continue
        if found != original.digest:
            wrong.append(f"{name} is not what was taken in")
    if wrong:
        raise DigestMismatch(f"Nothing was issued: {'; '.join(wrong)}.")


def to_print(desk: Desk) -> list[PictureState]:
    """Say which pictures the next edition prints.

    Raises
    ------
    NotIssuable, NoAddress
        There is nothing to print; nothing says what house it is.
    """
    state = desk.state()
    if not desk.job.details.address:
        raise NoAddress("The job has no address yet; every page must name the house.")
    shown = printed(state)
    if not state.findings and not shown:
        raise NotIssuable("There is no finding and no picture to print yet.")
    return shown


def gather(desk: Desk, wanted: Wanted, when: datetime, shown: Iterable[PictureState]) -> Contents:
    """Say what the next edition holds.

    Parameters
    ----------
    shown
        The pictures it prints; their originals, and the copies of frames from films, are at hand.
    """
    details, state = desk.job.details, desk.state()
    kept = numbers_given(desk.job)
    findings = state.printed_findings
    rooms = tuple(dict.fromkeys([*state.rooms, *(f.room for f in findings if f.room)]))
    photos = [_photo(desk, state, picture) for picture in shown]
    numbered = number_photos(rooms, findings, photos, kept=kept, used=kept.values())
    contents = Contents(
        address=details.address,
        issued_at=_at_the_house(when, details.zone),
        client=details.client,
        inspector=details.inspector,
        licence=details.licence,
        inspected_on=details.inspected,
        weather=details.weather,
        standard=details.standard,
        language=details.language,
        layout=Layout(Paper(wanted.paper or details.paper), wanted.per_page or details.per_page),
        edition=max(desk.job.editions(), default=0) + 1,
        draft=wanted.draft,
        record_digest=Digest(desk.job.last_hash),
        manifest_digest=files.digest_of(desk.job.originals / MANIFEST),
        rooms=rooms,
        findings=findings,
        photos=numbered,
        not_seen=_not_seen(state),
        confirmed=_confirmed(desk, state),
        required_texts=tuple(RequiredText.of("Required text", text) for text in details.required_text),
    )
    return replace(contents, changes=_changes(desk, contents))


def _at_the_house(when: datetime, zone: str) -> datetime:
    """Write the moment of issue in the house's zone where that is known, else in the computer's."""
    moment = when.replace(microsecond=0)
    there = moment.astimezone(zoneinfo.ZoneInfo(zone)) if zone else moment.astimezone()
    # A fixed offset, because that is what is printed and what PDF can hold.
    return there.replace(tzinfo=timezone(there.utcoffset() or timedelta()))


def _write(contents: Contents, printer: Printer, wanted: Wanted, folder: Path) -> str:
    said = ""
    with files.writing(folder):
        wanted_size = size.at(contents.layout)
        printer.prepare(contents.photos, wanted_size)
        for name in wanted.formats:
            writer = writers.writer(name)
            writer.write(contents, printer, wanted_size, folder / writer.file_name)
        if wanted.mail_limit is not None:
            said = size.fit(contents, printer, wanted.mail_limit, folder / MAIL).words
        # Before the list vouches for them and the record for the list.
        for document in folder.iterdir():
            files.sync_file(document)
    return said


def _place(desk: Desk, contents: Contents) -> Path:
    return desk.job.issued / (DRAFT if contents.draft else f"edition-{contents.edition}")


def printed(state: State) -> list[PictureState]:
    """Pictures of findings and overall views of rooms; room cards and what cannot be shown left out."""
    attached = {a.frame for a in state.attachments}
    return [p for p in state.pictures if p.usable and (p.frame in attached or (p.view and p.card is None))]


def _photo(desk: Desk, state: State, picture: PictureState) -> Photo:
    attachments = [a for a in state.attachments if a.frame == picture.frame]
    first = min(attachments, key=lambda a: a.finding, default=None)
    distance = (first.distance if first else None) or picture.distance
    if distance is None and picture.view:
        distance = Distance.OVERALL
    visit = next((v for v in state.visits if picture.frame in v.frames), None)
    lifted, original = picture.lifted, picture.taken.original
    film = None
    if lifted is not None:
        # What is vouched for is the film; the frame is made again from it.
        film = FromFilm(lifted.at_s, lifted.pixels, lifted.decoder, original.place)
        original = lifted.film
    turned = picture.capture.orientation >= 5
    width, height = picture.capture.width, picture.capture.height
    if not width or not height:
        stored = pictures.decode(desk.job.original(picture.taken.original.place), 256)
        height, width = stored.shape[:2]
        turned = False
    return Photo(
        number=0,
        frame=picture.frame,
        place=original.place,
        digest=original.digest,
        width=height if turned else width,
        height=width if turned else height,
        room=visit.room if visit else "",
        room_confirmed=visit is not None and visit.named_by == "inspector",
        findings=tuple(sorted(a.finding for a in attachments)),
        rank=first.rank if first else 0,
        shown=picture.shown,
        direction=picture.direction,
        direction_deg=picture.capture.direction_deg,
        time=picture.capture.time,
        corrected=picture.corrected,
        correction=picture.correction,
        light=in_force(desk.job.original(picture.taken.original.place), picture),
        distance=distance,
        marks=picture.marks,
        film=film,
        of_raw="" if film else pictures.shown_by(desk.job.original(original.place)),
    )


def _not_seen(state: State) -> tuple[NotSeen, ...]:
    # The limits of findings are theirs to say; the writers list them beside these.
    return tuple(NotSeen(place, reason) for place, reason in state.not_seen)


def _confirmed(desk: Desk, state: State) -> tuple[str, ...]:
    who = desk.job.details.inspector or "an inspector whose name was not given"
    named = sum(v.named_by == "inspector" for v in state.visits)
    cards = sum(v.named_by == "room card" for v in state.visits)
    said = [f"Findings and the choice of their pictures were confirmed by {who}."]
    if named:
        said.append(f"{named} of {len(state.visits)} visits were named by {who}.")
    if cards:
        said.append(f"{cards} of {len(state.visits)} visits were named by a room card photographed there.")
    return tuple(said)


def numbers_given(job: Job) -> dict[FrameNumber, int]:
    """Give every photo number that an edition ever gave, by frame."""
    given: dict[FrameNumber, int] = {}
    for line in job.lines:
        if line.what == "issue":
            given |= {FrameNumber(int(frame)): photo for frame, photo in line.value["photos"].items()}
    return given


def _changes(desk: Desk, contents: Contents) -> tuple[str, ...]:
    if contents.edition == 1:
        return ()
    before_path = desk.job.issued / f"edition-{contents.edition - 1}" / CONTENTS
    try:
        before = from_json(before_path.read_bytes(), Contents)
    except (OSError, ValueError):
        return (f"Edition {contents.edition - 1} could not be read to list what changed since.",)
    return differences(before, contents)


def differences(before: Contents, after: Contents) -> tuple[str, ...]:
    """List in sentences what differs between two editions."""
    said: list[str] = []
    old, new = ({f.number: f for f in c.findings} for c in (before, after))
    said += [f"Finding {n} was added." for n in sorted(new.keys() - old.keys())]
    said += [f"Finding {n} was withdrawn." for n in sorted(old.keys() - new.keys())]
    said += [f"Finding {n} was changed." for n in sorted(old.keys() & new.keys()) if old[n] != new[n]]
    if [n for n in old if n in new] != [n for n in new if n in old]:
        said.append("The order of the findings was changed.")
    was, now = ({p.number: p for p in c.photos} for c in (before, after))
    said += [f"Photo {n} was added." for n in sorted(now.keys() - was.keys())]
    said += [f"Photo {n} was taken out." for n in sorted(was.keys() - now.keys())]
    said += [
        f"Photo {n} or its caption was changed." for n in sorted(was.keys() & now.keys()) if was[n] != now[n]
    ]
    seen_before, seen_now = ({(n.place, n.reason) for n in c.not_seen} for c in (before, after))
    if seen_before != seen_now:
        said.append("The list of what could not be seen was changed.")
    for name, words in _SAID_OF.items():
        if getattr(before, name) != getattr(after, name):
            said.append(f"The {words or name} was changed.")
    return tuple(said) or ("Nothing but the issue itself.",)
