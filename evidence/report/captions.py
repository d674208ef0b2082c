"""The words under each photo, and the words that stand for it where it cannot be seen.

Hides how dates, times and numbers are written in each language, and what is said when something
is not known: a caption is never blank. Wrapping and type are left to the writers.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from evidence.report.contents import Contents, Photo
from evidence.report.plain import one_line
from evidence.words import CameraTime, Finding, Light, Mark, Shape, cut, hours, in_stops

SEPARATOR = " · "
NO_ROOM = "room not recorded"
NO_TIME = "camera time not recorded"
NO_ZONE = "zone not recorded"
NO_DIGEST = "not recorded"
NO_REASON = "reason not recorded"

_SEEN_LETTERS = 240
"""So much of what a finding saw stands under its photos; all of it stands with the finding. Our own."""

# Not strftime: the words must not depend on the machine's locale.
_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_WINDS = {
    "en-US": ("north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest"),
    "": ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"),
}
_SHAPES = {Shape.ARROW: "arrow", Shape.RING: "ring", Shape.BOX: "box"}


@dataclass(frozen=True, slots=True)
class Caption:
    """What stands under one photo, in parts; no part is blank.

    Attributes
    ----------
    photo
        "Photo 12".
    findings
        Number and words of each finding it shows, such as (3, "Finding 3").
    room
        Where, or that it was not recorded; "(proposed)" where nobody confirmed it.
    shown
        What is shown, with what is drawn on the copy.
    facts
        Direction if known, camera time with its zone, corrected time with its reason, what of a film or
        raw file it shows, light, hash.
    """

    photo: str
    findings: tuple[tuple[int, str], ...]
    room: str
    shown: str
    facts: tuple[str, ...]

    @property
    def text(self) -> str:
        """The whole caption on one line."""
        findings = (words for _, words in self.findings)
        return SEPARATOR.join((self.photo, *findings, self.told))

    @property
    def told(self) -> str:
        """What it tells of the photo, on one line."""
        return SEPARATOR.join((self.room, self.shown, *self.facts))


def day(when: date, language: str) -> str:
    """Write a day as the language has it: month first in en-US, day first in en-GB, else ISO 8601.

    Examples
    --------
    >>> day(date(2026, 11, 25), "en-US"), day(date(2026, 11, 25), "en-GB")
    ('November 25, 2026', '25 November 2026')
    >>> day(date(2026, 11, 25), "en-CA")
    '2026-11-25'
    """
    month = _MONTHS[when.month - 1]
    if language == "en-US":
        return f"{month} {when.day}, {when.year}"
    if language == "en-GB":
        return f"{when.day} {month} {when.year}"
    return when.strftime("%Y-%m-%d")


def clock(when: datetime, language: str) -> str:
    """Write a day and time of day to the second, shortly: 12 hours in en-US, 24 elsewhere.

    Examples
    --------
    >>> clock(datetime(2026, 11, 25, 14, 3, 12), "en-US")
    'Nov 25, 2026, 2:03:12 PM'
    >>> clock(datetime(2026, 11, 25, 14, 3, 12), "en-GB"), clock(datetime(2026, 11, 25, 0, 3), "en")
    ('25 Nov 2026, 14:03:12', '2026-11-25 00:03:00')
    """
    month = _MONTHS[when.month - 1][:3]
    if language == "en-US":
        hour, half = (when.hour % 12) or 12, "AM" if when.hour < 12 else "PM"
        return f"{month} {when.day}, {when.year}, {hour}:{when:%M:%S} {half}"
    if language == "en-GB":
        return f"{when.day} {month} {when.year}, {when:%H:%M:%S}"
    return f"{when:%Y-%m-%d %H:%M:%S}"


def zone(offset_min: int | None) -> str:
    """Write a zone as its distance from UTC, or that it was not recorded.

    Examples
    --------
    >>> zone(-360), zone(345), zone(None)
    ('UTC-06:00', 'UTC+05:45', 'zone not recorded')
    """
    if offset_min is None:
        return NO_ZONE
    hours, minutes = divmod(abs(offset_min), 60)
    return f"UTC{'-' if offset_min < 0 else '+'}{hours:02}:{minutes:02}"


def issued(contents: Contents) -> str:
    """Write the moment of issue with its zone."""
    moment = contents.issued_at
    offset = moment.utcoffset()
    minutes = None if offset is None else round(offset.total_seconds() / 60)
    return f"{clock(moment, contents.language)} {zone(minutes)}"


def camera_time(time: CameraTime | None, language: str) -> str:
    """Write what the camera's clock showed, with its zone or that none was recorded."""
    if time is None:
        return NO_TIME
    known = zone(time.offset_min)
    moment = clock(time.moment, language)
    return f"{moment} {known}" if time.offset_min is not None else f"{moment} ({known})"


def film_words(photo: Photo) -> str:
    """Say of a frame lifted from a film that it is one, from which film and when in it; "" for a still."""
    if photo.film is None:
        return ""
    return f"frame from film {one_line(photo.file_name)} at {hours(photo.film.at_s)}, {photo.film.decoder}"


def light_words(light: Light) -> str:
    """Say what was done to the brightness of the printed copy.

    Examples
    --------
    >>> light_words(Light(1, stops=2.1374, noise_luma=0.5, left_alone=False))
    'brightened 2.1 stops, noise reduced'
    >>> light_words(Light(1))
    'as taken'
    """
    words = "as taken"
    if not light.left_alone:
        lift = in_stops(abs(light.stops))
        unit = "stop" if lift == "1.0" else "stops"
        words = f"{'brightened' if light.stops >= 0 else 'darkened'} {lift} {unit}"
        if lift == "0.0":
            words = "brightness adjusted"
        if light.noise_luma > 0 or light.noise_chroma > 0:
            words += ", noise reduced"
    return words + (", too dark to show detail" if light.hopeless else "")


def direction_words(photo: Photo, language: str) -> str:
    """Say which way the camera looked, as typed or else as its compass recorded; "" when unknown."""
    typed = one_line(photo.direction)
    if typed:
        return typed if typed.casefold().startswith(("looking", "view")) else f"looking {typed}"
    if photo.direction_deg is None:
        return ""
    winds = _WINDS.get(language, _WINDS[""])
    turned = photo.direction_deg % 360
    return f"looking {winds[round(turned / 45) % 8]} ({turned:.0f}° by the camera's compass)"


def mark_words(marks: Iterable[Mark]) -> str:
    """Say what was drawn on the copy; "" when nothing was.

    Examples
    --------
    >>> mark_words([Mark(Shape.ARROW, 0, 0, 1, 1), Mark(Shape.COVER, 0, 0, 1, 1)])
    'arrow drawn on this copy, part of this copy covered'
    """
    shapes = dict.fromkeys(mark.shape for mark in marks)
    drawn = [_SHAPES[shape] for shape in shapes if shape in _SHAPES]
    parts = [f"{' and '.join(drawn)} drawn on this copy"] if drawn else []
    if Shape.COVER in shapes:
        parts.append("part of this copy covered")
    return ", ".join(parts)


def correction_words(photo: Photo) -> str:
    """Say why a photo's time was corrected, or that nobody recorded it."""
    return one_line(photo.correction) or NO_REASON


def room_words(photo: Photo) -> str:
    """Name the room, say that it is a proposal, or that none was recorded."""
    room = one_line(photo.room)
    if not room:
        return NO_ROOM
    return room if photo.room_confirmed else f"{room} (proposed)"


def shown_words(photo: Photo, contents: Contents) -> str:
    """Say what is shown: as typed, else what its first finding saw (its beginning), else its distance.

    Never blank, and never more than is known: a picture that nobody described is called a view.
    """
    typed = one_line(photo.shown)
    if typed:
        return typed
    finding = _first_finding(photo, contents)
    if finding is not None:
        place = one_line(finding.place)
        seen = cut(one_line(finding.seen).removesuffix("."), _SEEN_LETTERS) or "finding not described"
        return f"{seen}, {place}" if place and place.casefold() not in seen.casefold() else seen
    return f"{photo.distance.value} view" if photo.distance else "view, not described"


def caption(photo: Photo, contents: Contents) -> Caption:
    """Put together the caption of one photo; see :class:`Caption`.

    The corrected time is printed beside the camera time, never in its stead, each under its own
    name, and with the reason or that none was recorded.
    """
    language = contents.language
    known = {finding.number for finding in contents.findings}
    drawn = mark_words(photo.marks)
    shown = shown_words(photo, contents)
    facts = [direction_words(photo, language)]
    when = camera_time(photo.time, language)
    facts.append(when if photo.time is None else f"camera time {when}")
    if photo.corrected is not None:
        facts.append(f"corrected time {camera_time(photo.corrected, language)}: {correction_words(photo)}")
    if photo.film is not None:
        facts.append(film_words(photo))
    if photo.of_raw:
        facts.append(f"shows {one_line(photo.of_raw)}")
    whose = "film's SHA-256" if photo.film else "SHA-256"
    facts += [light_words(photo.light), f"{whose} {photo.short_digest or NO_DIGEST}"]
    return Caption(
        photo=f"Photo {photo.number}",
        findings=tuple((number, f"Finding {number}") for number in photo.findings if number in known),
        room=room_words(photo),
        shown=f"{shown} ({drawn})" if drawn else shown,
        facts=tuple(fact for fact in facts if fact),
    )


def alternative(photo: Photo, contents: Contents) -> str:
    """Say in one sentence what a reader who cannot see the photo needs to know.

    As typed, else what is shown, from how far, where, and what is drawn on it.
    """
    typed = one_line(photo.alternative)
    if typed:
        return typed
    shown = shown_words(photo, contents)
    parts = [shown[:1].upper() + shown[1:]]
    if photo.distance and photo.distance.value not in shown:
        parts.append(f"{photo.distance.value} view")
    room = one_line(photo.room)
    if room and room.casefold() not in shown.casefold():
        parts.append(room)
    return "; ".join(part for part in (*parts, mark_words(photo.marks)) if part).rstrip(".") + "."


def _first_finding(photo: Photo, contents: Contents) -> Finding | None:
    by_number = {finding.number: finding for finding in contents.findings}
    return next((by_number[number] for number in photo.findings if number in by_number), None)
