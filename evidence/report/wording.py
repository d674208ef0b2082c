"""The words of the appendix outside its captions, the same in every format.

Front page, parts of a finding, rows of the schedule and of the table of photos. A thing nobody
recorded is said to be so; nothing is left blank and nothing is made up.
"""

from __future__ import annotations

from dataclasses import dataclass

from evidence.findings import caution
from evidence.report import captions
from evidence.report.contents import NO_ROOM, Contents, NotSeen, Photo
from evidence.report.plain import one_line, plain
from evidence.words import Finding, count, cut, hours

UNKNOWN = "not recorded"
NO_URGENT = "No finding is marked urgent."
NO_FINDING = "No finding is recorded."
NO_PHOTO = "No photo is in this appendix."
NO_PHOTO_OF_FINDING = "none attached"
NOTHING_UNSEEN = "Nothing was recorded as not seen. That is not a statement that everything was seen."
NOTHING_CONFIRMED = "Nothing is recorded as confirmed."

_TITLE_LETTERS = 110


@dataclass(frozen=True, slots=True)
class ScheduleRow:
    """One finding as the schedule lists it."""

    number: int
    urgent: bool
    seen: str
    where: str
    action: str
    photos: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class TableRow:
    """One photo as the table of photos lists it."""

    number: int
    frame: int
    file: str
    time: str
    room: str
    light: str
    digest: str


def address(contents: Contents) -> str:
    """Give the address on one line."""
    return one_line(contents.address) or "Address not recorded"


def document_title(contents: Contents) -> str:
    """Name the document for a reader's window title and for search."""
    return f"Photo appendix, {address(contents)}"


def edition(contents: Contents) -> str:
    """Say which edition this is, or that it is a draft."""
    if contents.draft:
        return f"DRAFT of edition {contents.edition}, not issued"
    return f"Edition {contents.edition}"


def moment(contents: Contents) -> str:
    """Say when it was issued, or when the draft was made."""
    return f"{'made' if contents.draft else 'issued'} {captions.issued(contents)}"


def signature(contents: Contents) -> str:
    """Name the inspector with the licence, for the foot of each page."""
    licence = one_line(contents.licence)
    return f"Inspector {_known(contents.inspector)}" + (
        f", {_licence(contents)} {licence}" if licence else ""
    )


def details(contents: Contents) -> tuple[tuple[str, str], ...]:
    """Give the lines of the front page, each with its label."""
    when = contents.inspected_on
    lines = [
        ("Client", _known(contents.client)),
        ("Inspector", _known(contents.inspector)),
        (_licence(contents).capitalize(), _known(contents.licence)),
        ("Inspected on", UNKNOWN if when is None else captions.day(when, contents.language)),
    ]
    if contents.weather.strip():
        lines.append(("Weather", plain(contents.weather).strip()))
    lines.append(("Standard used", _known(contents.standard)))
    lines += [(one_line(label), _known(words)) for label, words in contents.details]
    lines.append(("Edition", f"{edition(contents)}, {moment(contents)}"))
    lines.append(("In this appendix", summary(contents)))
    return tuple(lines)


def summary(contents: Contents) -> str:
    """Count what the appendix holds."""
    urgent = len(contents.urgent)
    found = count(len(contents.findings), "finding") + (f" ({urgent} urgent)" if urgent else "")
    unseen = len(not_seen(contents))
    tail = f", {count(unseen, 'note')} of what could not be seen" if unseen else ""
    return f"{found}, {count(len(contents.photos), 'photo')}{tail}"


def title(finding: Finding) -> str:
    """Name a finding by what was seen, cut when it is too long for a heading."""
    seen = one_line(finding.seen) or "not described"
    return cut(seen.removesuffix("."), _TITLE_LETTERS)


def where(finding: Finding) -> str:
    """Say in which room and where in it."""
    parts = dict.fromkeys(part for part in (one_line(finding.room), one_line(finding.place)) if part)
    return ", ".join(parts) or NO_ROOM


def parts(finding: Finding) -> tuple[tuple[str, str], ...]:
    """Give the parts of a finding that were recorded, each with its label, below its title."""
    seen = one_line(finding.seen)
    full = plain(finding.seen).strip() if title(finding) != seen.removesuffix(".") else ""
    lines = (
        ("Seen", full),
        ("Where", where(finding)),
        ("Why it matters", finding.why),
        ("Danger", _danger(finding)),
        ("What to do", finding.do),
        ("Who", finding.who),
        ("Not seen", finding.limits),
        ("Reference", finding.reference),
    )
    return tuple((label, plain(words).strip()) for label, words in lines if words.strip())


def _danger(finding: Finding) -> str:
    """Name the kind of danger and the usual caution for it."""
    hazard = finding.hazard.strip().removesuffix(".")
    return f"{hazard}. {caution(hazard)}" if hazard else ""


def schedule(contents: Contents) -> tuple[ScheduleRow, ...]:
    """Give the schedule of findings, in its order."""
    return tuple(
        ScheduleRow(
            number=finding.number,
            urgent=finding.urgent,
            seen=one_line(finding.seen) or "not described",
            where=where(finding),
            action=_action(finding),
            photos=tuple(photo.number for photo in contents.photos_of(finding.number)),
        )
        for finding in contents.findings
    )


def table(contents: Contents) -> tuple[TableRow, ...]:
    """Give the table of photos, by photo number."""
    return tuple(
        TableRow(
            number=photo.number,
            frame=photo.frame,
            file=_file(photo),
            time=_time(photo, contents.language),
            room=captions.room_words(photo),
            light=captions.light_words(photo.light),
            digest=photo.short_digest or UNKNOWN,
        )
        for photo in sorted(contents.photos, key=lambda photo: photo.number)
    )


def _file(photo: Photo) -> str:
    """Name the original, and of a frame from a film the time in it."""
    place = one_line(photo.place) or UNKNOWN
    return f"{place}, frame at {hours(photo.film.at_s)}" if photo.film else place


def not_seen(contents: Contents) -> tuple[NotSeen, ...]:
    """Give what could not be seen: as recorded, then the limits of each finding."""
    recorded = tuple(
        NotSeen(one_line(entry.place) or UNKNOWN, one_line(entry.reason) or captions.NO_REASON, entry.photos)
        for entry in contents.not_seen
    )
    limits = tuple(
        NotSeen(f"{where(finding)} (finding {finding.number})", one_line(finding.limits))
        for finding in contents.findings
        if finding.limits.strip()
    )
    return recorded + limits


def _action(finding: Finding) -> str:
    """What to do and who, as one text that ends each part like a sentence."""
    do, who = one_line(finding.do), one_line(finding.who)
    if do and who:
        return f"{do.rstrip('.')}. {who[:1].upper()}{who[1:]}"
    return do or who or UNKNOWN


def _time(photo: Photo, language: str) -> str:
    return captions.camera_time(photo.time, language) if photo.time else UNKNOWN


def _licence(contents: Contents) -> str:
    """Spell the word as the job's language does."""
    return "license" if contents.language == "en-US" else "licence"


def _known(text: str) -> str:
    return plain(text).strip() or UNKNOWN
