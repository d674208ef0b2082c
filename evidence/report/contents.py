"""Everything the appendix holds, whatever format it is written in.

A step fills :class:`Contents` from the job; the writers only lay it out. Pictures are named by
their frame number, and their bytes come one at a time from a :class:`Printer`, so that 300 of
them never lie in memory together.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from typing import Protocol

from evidence.words import CameraTime, Digest, Distance, Finding, FrameNumber, Light, Mark

NO_ROOM = "The house as a whole"
"""Heading for findings and photos that nobody tied to a room."""

AS_TAKEN = Light(version=0)
"""The light of a picture that nothing was done to."""

NO_DIGEST = Digest("")
"""Stands where a hash was not recorded; prints as "not recorded"."""


class Paper(StrEnum):
    """The page sizes of ISO 216 and of ANSI/ASME Y14.1 in use for reports."""

    A4 = "a4"
    LETTER = "letter"


@dataclass(frozen=True, slots=True)
class Layout:
    """How the pages are cut.

    Attributes
    ----------
    paper
        A4 or Letter, upright.
    per_page
        Pictures a page: 1, 2, 4 or 6.
    """

    paper: Paper = Paper.LETTER
    per_page: int = 2

    def __post_init__(self) -> None:
        if self.per_page not in (1, 2, 4, 6):
            raise ValueError(f"pictures a page must be 1, 2, 4 or 6, not {self.per_page}")


@dataclass(frozen=True, slots=True)
class PrintSize:
    """How large the printed copies are made.

    Attributes
    ----------
    longest_px
        Longest side in pixels; a smaller picture is never enlarged.
    quality
        JPEG quality, 1..100, as libjpeg counts it.
    """

    longest_px: int
    quality: int = 88


@dataclass(frozen=True, slots=True)
class FromFilm:
    """Says of a photo that it is a frame lifted from a film, and which.

    Attributes
    ----------
    at_s
        The frame's own time in the film, seconds.
    pixels
        SHA-256 of the frame as a binary PPM.
    decoder
        What decoded it, with its version.
    place
        Where the job keeps the frame's copy.
    """

    at_s: float
    pixels: Digest
    decoder: str
    place: str


@dataclass(frozen=True, slots=True)
class Photo:
    """One picture as the appendix prints it.

    Attributes
    ----------
    number
        Photo number, from 1, permanent once issued; 0 before :func:`number_photos`.
    frame
        Frame number in the job; also the key by which a :class:`Printer` finds the picture.
    place
        The original's place below ``originals/data``; of a frame from a film, the film's.
    digest
        SHA-256 of the original; of a frame from a film, the film's.
    width, height
        Pixels of the upright picture.
    room
        Name of the room it was taken in, "" when nobody named one.
    room_confirmed
        False while the room is only a proposal; the caption then says so.
    findings
        Numbers of the findings it shows; it is printed with the first of them.
    rank
        Its place among the pictures of that first finding, 0 = printed first.
    shown
        What is shown, in words; "" lets the caption take it from the finding or the distance.
    direction
        Direction of view as typed, such as "towards the north wall", or "".
    direction_deg
        Direction of view from Exif, degrees clockwise from north, or None.
    time
        What the camera's clock showed, or None.
    corrected, correction
        The corrected time and why it differs; "" prints as "reason not recorded".
    light
        How it was brightened.
    distance
        From how far it shows the thing, or None.
    alternative
        Alternate text as typed; "" lets it be made from what is shown, the room and the marks.
    marks
        What is drawn on the printed copy.
    film
        Which frame of the film it is; None for a still.
    of_raw
        What of a raw file is printed, such as "the preview in the raw file, 1616 x 1080 pixels"; "" for
        any other file.
    """

    number: int
    frame: FrameNumber
    place: str
    digest: Digest
    width: int
    height: int
    room: str = ""
    room_confirmed: bool = True
    findings: tuple[int, ...] = ()
    rank: int = 0
    shown: str = ""
    direction: str = ""
    direction_deg: float | None = None
    time: CameraTime | None = None
    corrected: CameraTime | None = None
    correction: str = ""
    light: Light = AS_TAKEN
    distance: Distance | None = None
    alternative: str = ""
    marks: tuple[Mark, ...] = ()
    film: FromFilm | None = None
    of_raw: str = ""

    @property
    def file_name(self) -> str:
        """The original's own name, without folders."""
        return self.place.rsplit("/", 1)[-1]

    @property
    def short_digest(self) -> str:
        """The first 12 digits of the original's SHA-256, as every caption prints them."""
        return self.digest[:12]


@dataclass(frozen=True, slots=True)
class NotSeen:
    """A part of the house that could not be seen, and why.

    Attributes
    ----------
    place
        What was not seen, in words.
    reason
        Why; never blank on paper: an empty one prints as "reason not recorded".
    photos
        Numbers of photos that show what was in the way.
    """

    place: str
    reason: str = ""
    photos: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class RequiredText:
    """A text that a regulator wants word for word, with its hash so that drift is caught.

    Attributes
    ----------
    title, text
        As the inspector pasted them; printed unchanged.
    digest
        SHA-256 of the text in UTF-8.
    """

    title: str
    text: str
    digest: Digest

    @classmethod
    def of(cls, title: str, text: str) -> RequiredText:
        """Take a text and its hash.

        Examples
        --------
        >>> RequiredText.of("Notice", "abc").digest[:12]
        'ba7816bf8f01'
        """
        return cls(title, text, Digest(hashlib.sha256(text.encode()).hexdigest()))


@dataclass(frozen=True, slots=True)
class Contents:
    """The whole appendix.

    Attributes
    ----------
    address, client, inspector, licence
        As in ``job.toml``; an empty one prints as "not recorded".
    inspected_on
        Day of the inspection, or None.
    weather, standard
        As typed, "" when not given.
    details
        Further lines for the front page, as (label, text), such as people present.
    language
        BCP 47 tag that chooses how dates and numbers are written: "en-US", "en-GB" or another "en".
    layout
        Paper and pictures a page.
    edition
        Edition number, from 1; a draft carries the number it would get.
    draft
        Marked "DRAFT" on each page.
    issued_at
        Moment of issue with its zone, taken from the record, never from the writer's clock.
    record_digest
        Hash of the record's last line before this edition.
    manifest_digest
        SHA-256 of ``originals/manifest-sha256.txt``.
    rooms
        Names of the rooms in walking order.
    findings
        In the order of the schedule.
    photos
        In walking order.
    not_seen
        What could not be seen and why.
    changes
        What changed since the last edition, one sentence each; empty for edition 1.
    confirmed
        Who confirmed which suggestions, one sentence each.
    required_texts
        Texts printed word for word.
    """

    address: str
    issued_at: datetime
    client: str = ""
    inspector: str = ""
    licence: str = ""
    inspected_on: date | None = None
    weather: str = ""
    standard: str = ""
    details: tuple[tuple[str, str], ...] = ()
    language: str = "en-US"
    layout: Layout = Layout()
    edition: int = 1
    draft: bool = False
    record_digest: Digest = NO_DIGEST
    manifest_digest: Digest = NO_DIGEST
    rooms: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    photos: tuple[Photo, ...] = ()
    not_seen: tuple[NotSeen, ...] = ()
    changes: tuple[str, ...] = ()
    confirmed: tuple[str, ...] = ()
    required_texts: tuple[RequiredText, ...] = ()

    @property
    def urgent(self) -> tuple[Finding, ...]:
        """The findings the client must be told of at once, in the order of the schedule."""
        return tuple(finding for finding in self.findings if finding.urgent)

    def photos_of(self, finding: int) -> tuple[Photo, ...]:
        """Give every photo that shows a finding, by photo number."""
        return tuple(
            sorted((p for p in self.photos if finding in p.findings), key=lambda photo: photo.number)
        )


class Printer(Protocol):
    """Gives the JPEG to print for one photo: upright, brightened as recorded, marks drawn.

    The bytes are a baseline or progressive JPEG in grey or RGB (as YCbCr), without position and
    serial number.
    """

    def __call__(self, photo: Photo, size: PrintSize, /) -> bytes:
        """Make the copy no larger than ``size`` says."""


@dataclass(frozen=True, slots=True)
class Group:
    """Photos printed together: with their finding, or as views of the room when it is None."""

    finding: Finding | None
    photos: tuple[Photo, ...]


@dataclass(frozen=True, slots=True)
class Section:
    """One room's part of the pages: its views first, then each finding with its photos."""

    room: str
    groups: tuple[Group, ...]


def sections(
    rooms: Sequence[str], findings: Sequence[Finding], photos: Sequence[Photo]
) -> tuple[Section, ...]:
    """Lay findings and photos out by room.

    A photo with findings is printed once, with the first of them, in that finding's room; one
    without is a view of the room it was taken in. A finding without a room goes where its first
    picture was taken. Rooms that ``rooms`` does not name follow in the order met; what belongs to
    no room comes last.

    Parameters
    ----------
    rooms
        Names in walking order.
    findings
        In the order of the schedule.
    photos
        In walking order.

    Returns
    -------
    Every photo and every finding exactly once.
    """
    known = {finding.number for finding in findings}
    shown_with: dict[int, list[Photo]] = {number: [] for number in known}
    views: dict[str, list[Photo]] = {}
    for photo in photos:
        first = next((number for number in photo.findings if number in known), None)
        if first is None:
            views.setdefault(photo.room, []).append(photo)
        else:
            shown_with[first].append(photo)
    told: dict[str, list[Group]] = {}
    for finding in findings:
        pictures = sorted(shown_with[finding.number], key=lambda photo: photo.rank)
        room = finding.room or (pictures[0].room if pictures else "")
        told.setdefault(room, []).append(Group(finding, tuple(pictures)))
    names = dict.fromkeys(room for room in (*rooms, *views, *told) if room)
    result = []
    for name in (*names, ""):
        groups = [Group(None, tuple(views[name]))] if name in views else []
        groups += told.get(name, [])
        if groups:
            result.append(Section(name or NO_ROOM, tuple(groups)))
    return tuple(result)


def number_photos(
    rooms: Sequence[str],
    findings: Sequence[Finding],
    photos: Iterable[Photo],
    kept: Mapping[FrameNumber, int] | None = None,
    used: Iterable[int] = (),
) -> tuple[Photo, ...]:
    """Give every photo its number, in the order of the pages.

    Parameters
    ----------
    rooms, findings, photos
        As for :func:`sections`.
    kept
        Numbers given in earlier editions, by frame; they stay.
    used
        Further numbers that were once given and must not return, for photos since taken out.

    Returns
    -------
    The photos in the order given, numbered; new ones follow the highest number ever given.
    """
    photos = tuple(photos)
    numbers = dict(kept or {})
    following = max((*numbers.values(), *used), default=0) + 1
    for section in sections(rooms, findings, photos):
        for group in section.groups:
            for photo in group.photos:
                if photo.frame not in numbers:
                    numbers[photo.frame] = following
                    following += 1
    return tuple(replace(photo, number=numbers[photo.frame]) for photo in photos)
