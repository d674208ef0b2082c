"""The frozen nouns that two or more rooms need, in the trade's own words.

Nothing here reads, writes, computes on pixels or knows the hour. A noun that only one room
uses lives in that room.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING, NewType, TypeAlias

if TYPE_CHECKING:  # so that checking a job needs no NumPy: see evidence.verify
    import numpy as np
    from numpy.typing import NDArray

Digest = NewType("Digest", str)
"""SHA-256 as 64 lower-case hexadecimal digits (FIPS 180-4)."""

FrameNumber = NewType("FrameNumber", int)
"""A picture's permanent running number in the job, from 1, in order of intake."""

FRAMES_PLACE = ":frames/"
"""Begins the place of a frame lifted from a film; no original's can, for ":" is cleaned from names."""

Rgb: TypeAlias = "NDArray[np.uint8]"
"""Shape (height, width, 3), uint8 0..255, sRGB-encoded (IEC 61966-2-1), upright."""


class FileKind(StrEnum):
    """What sort of file a card gave, by its content first and its name second."""

    PICTURE = "picture"
    RAW = "raw"
    FILM = "film"
    SOUND = "sound note"
    TRANSCRIPT = "transcript"
    SIDECAR = "sidecar"
    OTHER = "other"


OTHERS = frozenset({FileKind.TRANSCRIPT, FileKind.SIDECAR, FileKind.OTHER})
"""Kinds of file that neither show nor sound."""


class Distance(StrEnum):
    """The distances of evidence photography (common practice), and two uses beside them."""

    OVERALL = "overall"
    MID_RANGE = "mid-range"
    CLOSE_UP = "close-up"
    WITH_SCALE = "close-up with scale"
    DATA_PLATE = "data plate"
    OBSTRUCTION = "obstruction"


class TimeSource(StrEnum):
    """Where a picture's time was read."""

    TAKEN = "Exif DateTimeOriginal"
    DIGITIZED = "Exif DateTimeDigitized"
    CHANGED = "Exif DateTime"
    CONTAINER = "film container"
    FILE_SYSTEM = "file system"


@dataclass(frozen=True, slots=True)
class Original:
    """One file as it lay on the card, known by its bytes and never by its name.

    Attributes
    ----------
    digest
        SHA-256 of the bytes.
    size_bytes
        Length in bytes.
    place
        Path below ``originals/data`` with ``/`` between parts: source folder, then as on the card.
    """

    digest: Digest
    size_bytes: int
    place: str

    @property
    def name(self) -> str:
        """The file's own name, without folders."""
        return self.place.rsplit("/", 1)[-1]


@dataclass(frozen=True, slots=True)
class Taken:
    """One original with what was noted at its intake.

    Attributes
    ----------
    original
        Digest, size and place.
    kind
        What sort of file it is.
    frame
        The picture's running number; None for a file that is no picture.
    source
        The folder below ``originals/data`` that stands for its card.
    name_on_card
        Path below the card.
    file_time
        The card file's own time of change, ISO 8601 in UTC as the system gave it; "" if senseless.
    thing
        Files of one DCF object (a picture, its raw, its sound note) share this word and the source.
    """

    original: Original
    kind: FileKind
    frame: FrameNumber | None
    source: str
    name_on_card: str
    file_time: str
    thing: str


@dataclass(frozen=True, slots=True)
class Lifted:
    """Where a picture comes from that is no still but a frame lifted from a film.

    Attributes
    ----------
    film
        The film, an original like any other.
    at_s
        The frame's own time, seconds from the film's first frame, as its container says.
    pixels
        SHA-256 of the upright frame as a binary PPM (P6): the same frame lifted again has it again.
    decoder
        Name and version of what decoded it.
    why
        What it was lifted for, such as "sharpest near sentence 12".
    """

    film: Original
    at_s: float
    pixels: Digest
    decoder: str
    why: str = ""

    @property
    def moment(self) -> str:
        """Its time in the film as hours, minutes, seconds and thousandths."""
        return hours(self.at_s)


def hours(seconds: float) -> str:
    """Write a time within a recording.

    Examples
    --------
    >>> hours(3672.4806)
    '1:01:12.481'
    """
    whole, thousandths = divmod(round(seconds * 1000), 1000)
    return f"{whole // 3600}:{whole // 60 % 60:02}:{whole % 60:02}.{thousandths:03}"


def count(number: int, one: str, many: str = "") -> str:
    """Say how many: the second word for any number but 1, or the first with an s.

    Examples
    --------
    >>> count(1, "picture"), count(3, "picture"), count(2, "end of a visit", "ends of visits")
    ('1 picture', '3 pictures', '2 ends of visits')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def cut(text: str, letters: int) -> str:
    """Give the beginning of a text, in whole words, marked as cut.

    Examples
    --------
    >>> cut("one two three", 8)
    'one two…'
    """
    if len(text) <= letters:
        return text
    return text[:letters].rsplit(" ", 1)[0].rstrip(" ,.;:") + "…"


def in_stops(lift: float) -> str:
    """Write a lift in stops: to one place, as exact as eyes are, or to the two that were asked for by hand.

    Examples
    --------
    >>> in_stops(2.1374), in_stops(0.25), in_stops(1.0)
    ('2.1', '0.25', '1.0')
    """
    asked = f"{lift:.2f}"
    return asked if asked[-1] != "0" and abs(lift - float(asked)) < 1e-9 else f"{lift:.1f}"


def in_bytes(size_bytes: int) -> str:
    """Write a length in millions of bytes, as mail services count (common practice); or in thousands.

    Examples
    --------
    >>> in_bytes(32_626_693), in_bytes(12_844), in_bytes(0)
    ('32.6 MB', '13 kB', '0 kB')
    """
    return f"{size_bytes / 1e6:.1f} MB" if size_bytes >= 1e5 else f"{size_bytes / 1e3:.0f} kB"


@dataclass(frozen=True, slots=True)
class CameraTime:
    """A moment as the camera's own clock showed it; never converted unasked.

    Attributes
    ----------
    moment
        Naive; what the clock showed, with its fraction of a second.
    offset_min
        Minutes east of UTC as recorded with the picture; None when the zone was not recorded.
    source
        Where the time was read.
    """

    moment: datetime
    offset_min: int | None
    source: TimeSource

    @property
    def seconds(self) -> float:
        """Seconds since 1970-01-01 00:00 on the camera's own clock, zone left aside."""
        return self.moment.replace(tzinfo=UTC).timestamp()

    def later(self, seconds: float) -> CameraTime:
        """Give the same reading moved by a clock correction.

        Raises
        ------
        OverflowError
            It would leave the years 1 to 9999.
        """
        return CameraTime(self.moment + timedelta(seconds=seconds), self.offset_min, self.source)


@dataclass(frozen=True, slots=True)
class Position:
    """Where the camera said it stood (Exif GPS IFD); never in a delivered file.

    Attributes
    ----------
    latitude_deg, longitude_deg
        Degrees north and east, WGS 84 as recorded.
    altitude_m
        Metres above sea level, or None.
    """

    latitude_deg: float
    longitude_deg: float
    altitude_m: float | None = None


@dataclass(frozen=True, slots=True)
class Capture:
    """What a file's own metadata says of how it was taken. Absent means None or empty.

    Attributes
    ----------
    time
        The camera's time, or None when none was recorded.
    changed
        Exif DateTime (0x0132), the time of change; naive, None when absent or blank.
    subsec
        SubSecTimeOriginal as the digit string written, "" when absent.
    make, model, serial
        Text up to the first NUL, trimmed.
    orientation
        Exif 0x0112, 1..8; 1 when absent.
    exposure_s, f_number, iso, focal_mm
        As recorded, positive and finite, else None.
    flash
        True when the flash fired.
    position, direction_deg
        GPS position and image direction (0..360, true or magnetic as recorded).
    gps_utc
        GPS date and time, naive UTC.
    width, height
        Pixels as stored in the file, before turning upright.
    length_s
        Seconds that a film or a sound note lasts; None for a still, and where it is not recorded.
    remarks
        Sentences about what was odd: readers that disagree, blank dates, and the like.
    """

    time: CameraTime | None = None
    changed: datetime | None = None
    subsec: str = ""
    make: str = ""
    model: str = ""
    serial: str = ""
    orientation: int = 1
    exposure_s: float | None = None
    f_number: float | None = None
    iso: int | None = None
    focal_mm: float | None = None
    flash: bool | None = None
    position: Position | None = None
    direction_deg: float | None = None
    gps_utc: datetime | None = None
    width: int = 0
    height: int = 0
    length_s: float | None = None
    remarks: tuple[str, ...] = ()

    @property
    def camera(self) -> str:
        """A name for the camera body: make, model and serial number, or "camera not recorded"."""
        model = self.model if self.model.startswith(self.make) else f"{self.make} {self.model}"
        return " ".join(part for part in (model.strip(), self.serial) if part) or "camera not recorded"


@dataclass(frozen=True, slots=True)
class Light:
    """How a picture was brightened, in full, so that the same pixels can be made again.

    Attributes
    ----------
    version
        Version of the method; a record made by one version is replayed by the same.
    gain, stops
        Factor on linear light in the dark tones and its base-2 logarithm; 1 and 0 when left alone.
    curve
        256 integers 0..255, never falling: output code for each input code.
    noise_luma, noise_chroma
        Strength of noise reduction, 0 = none.
    desaturate
        256 integers 0..256: share of colour kept (256 = all) for each input brightness code.
    left_alone
        The picture comes out as the very same pixels.
    hopeless
        Too dark to be recovered; say so and photograph again.
    too_bright
        Over-exposed as taken: what is burnt out cannot be brought back; photograph again.
    """

    version: int
    gain: float = 1.0
    stops: float = 0.0
    curve: tuple[int, ...] = tuple(range(256))
    noise_luma: float = 0.0
    noise_chroma: float = 0.0
    desaturate: tuple[int, ...] = ()
    left_alone: bool = True
    hopeless: bool = False
    too_bright: bool = False


@dataclass(frozen=True, slots=True)
class Quality:
    """How well a picture serves as evidence, whatever it shows.

    Attributes
    ----------
    version
        Version of the method.
    score
        Higher is better evidence; compare only pictures of one view.
    sharpness, noise, exposure
        Parts of the score; sharpness is corrected for the noise that fakes it.
    dark_share, bright_share
        Share of pixels near black and burnt out, 0..1.
    flash_spot
        Share of the picture burnt out by the flash's reflection, 0..1.
    blurred
        Too unsharp to show detail.
    bare
        Too plain for anyone to tell by it whether it is sharp, such as an even wall; then not ``blurred``.
    """

    version: int
    score: float
    sharpness: float
    noise: float
    exposure: float
    dark_share: float
    bright_share: float
    flash_spot: float
    blurred: bool
    bare: bool = False

    @property
    def sharp(self) -> bool:
        """Whether it shows sharp detail; neither a blurred nor a bare one does."""
        return not self.blurred and not self.bare


@dataclass(frozen=True, slots=True)
class Joint:
    """The gap between two pictures that follow each other, with the odds that a visit ends there.

    Attributes
    ----------
    after
        Index of the picture before the joint; the joint lies between it and the next.
    gap_s
        Seconds between the two.
    odds
        Log-odds that a visit ends here.
    boundary
        Whether the proposal ends a visit here.
    doubt
        0 (certain) to 1 (could as well be the other way).
    """

    after: int
    gap_s: float
    odds: float
    boundary: bool
    doubt: float


@dataclass(frozen=True, slots=True)
class Sentence:
    """One spoken sentence, when it was said in seconds from the start of its recording, and by whom."""

    start_s: float
    end_s: float
    text: str
    speaker: str = ""


@dataclass(frozen=True, slots=True)
class Spoken:
    """What a transcript holds: its sentences, and what could not be read in it, a sentence each."""

    sentences: tuple[Sentence, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StandardFinding:
    """One row of the catalogue of standard findings.

    Attributes
    ----------
    id
        Permanent short id, such as "ATT-06".
    system
        The part of the house it belongs to.
    seen, why, do, who
        The four parts of a finding in neutral words.
    places
        Where it is usually met.
    hazard
        Kind of danger to persons, or "".
    urgent
        Whether the client should be told the same day.
    reference, reference_source
        Pointer for the inspector, not printed by default; "read", "memory" or "common practice".
    keywords
        Words inspectors say when they mean it.
    """

    id: str
    system: str
    seen: str
    why: str
    do: str
    who: str
    places: tuple[str, ...] = ()
    hazard: str = ""
    urgent: bool = False
    reference: str = ""
    reference_source: str = ""
    keywords: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A standard finding that a sentence may mean; likelier ones have the higher score."""

    id: str
    score: float
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something seen that the client must know.

    Attributes
    ----------
    number
        Permanent number in the job, from 1.
    seen, why, do, who
        What was seen, why it matters, what to do, who should.
    place
        Where in the room or on the house, in words.
    room
        Name of the room, or "".
    system
        Part of the house, as in the catalogue.
    urgent
        Printed first; the client is told the same day.
    limits
        What could not be seen, and because of what.
    hazard
        Kind of danger to persons, or "".
    standard
        Id of the standard finding it came from, or "".
    reference
        Pointer into a model text; "" unless the inspector asked for it. Printed with the caution that the
        edition adopted may differ.
    """

    number: int
    seen: str
    why: str = ""
    do: str = ""
    who: str = ""
    place: str = ""
    room: str = ""
    system: str = ""
    urgent: bool = False
    limits: str = ""
    hazard: str = ""
    standard: str = ""
    reference: str = ""


@dataclass(frozen=True, slots=True)
class Attachment:
    """A picture that shows a finding.

    Attributes
    ----------
    finding
        The finding's number.
    frame
        The picture's frame number.
    distance
        From how far it shows it, or None when nobody said.
    rank
        0 = the picture printed first; then the supporting ones.
    """

    finding: int
    frame: FrameNumber
    distance: Distance | None = None
    rank: int = 0


class Shape(StrEnum):
    """The shapes a mark may have."""

    ARROW = "arrow"
    RING = "ring"
    BOX = "box"
    COVER = "cover"


@dataclass(frozen=True, slots=True)
class Mark:
    """A shape drawn on a copy to show where to look, or to cover what is private.

    Attributes
    ----------
    shape
        Arrow, ring, box or cover.
    x0, y0, x1, y1
        Shares 0..1 of the upright picture's width and height: an arrow's tail and head, or two
        opposite corners.
    """

    shape: Shape
    x0: float
    y0: float
    x1: float
    y1: float


@dataclass(frozen=True, slots=True)
class Visit:
    """One unbroken run of time in a place.

    Attributes
    ----------
    frames
        The pictures in order of corrected time.
    room
        Name of the room, "" while nobody has named it.
    named_by
        "inspector", "room card", "proposal", or "" while nameless.
    """

    frames: tuple[FrameNumber, ...]
    room: str = ""
    named_by: str = ""
