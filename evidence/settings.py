"""Say what the inspector may set, each with its default and where that comes from.

Hides TOML and the checks of values. The details of a job stand in ``job.toml``, the only file of
a job that a person edits.
"""

from __future__ import annotations

import tomllib
import zoneinfo
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from evidence.errors import BadSetting

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

JOB_FILE: Final = "job.toml"

FORMAT: Final = 1
"""Version of the job folder's form; a higher one was made by a newer program."""


@dataclass(frozen=True, slots=True)
class Details:
    """The details of one job, as the inspector typed them; "" or None where nothing was typed.

    Attributes
    ----------
    address, client, inspector, licence
        As they are to be printed.
    zone
        Time zone of the house (IANA name), for reading clocks; "" when not given.
    inspected, due
        Day of the inspection and day the appendix is due.
    standard, weather
        The standard of practice used; the weather on the day.
    paper
        "a4" or "letter".
    language
        "en-US", "en-GB", or "en" for ISO 8601: how numbers, dates and units are written.
    per_page
        Photos to a page: 1, 2, 4 or 6.
    retention_years
        For how long the job is to be kept; None when nobody said.
    required_text
        Sentences that must be printed, such as a licence's wording.
    required_shots
        Views that must be photographed; the gap list names what is missing.
    sentence_model
        Folder of a sentence-embedding model for matching what was said; "" matches by words.
    required_list
        Name of a packaged list of required pictures, or of a ".toml" file of lists of the inspector's own.
    own_findings
        File of the inspector's own standard findings, from the job's folder on; "" for the usual one.
    notes
        The inspector's own, never printed.
    """

    address: str = ""
    client: str = ""
    inspector: str = ""
    licence: str = ""
    zone: str = ""
    inspected: date | None = None
    due: date | None = None
    standard: str = ""
    weather: str = ""
    paper: str = "letter"
    language: str = "en-US"
    per_page: int = 2
    retention_years: int | None = None
    required_text: tuple[str, ...] = ()
    required_shots: tuple[str, ...] = ()
    required_list: str = ""
    sentence_model: str = ""
    own_findings: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Setting:
    """One thing that may be set.

    Attributes
    ----------
    name
        Key in job.toml and field of :class:`Details`.
    meaning
        One sentence, written above it in job.toml.
    source
        Where the default comes from.
    check
        Turns a TOML value into the field's, or raises ValueError saying what it must be.
    """

    name: str
    meaning: str
    source: str
    check: Callable[[object], object] = field(repr=False)


def _as_typed(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError("must be text in quotes")
    if any("\ud800" <= c <= "\udfff" for c in value):
        # Bytes of the command line that are no UTF-8 arrive so (PEP 383); no TOML file can hold them,
        # and a job whose job.toml cannot be read cannot be opened.
        raise ValueError("holds letters that are not UTF-8; type it anew")
    return value


def _text(value: object) -> str:
    return " ".join(_as_typed(value).split())


def _notes(value: object) -> str:
    return _as_typed(value).strip()


def _verbatim(value: object) -> tuple[str, ...]:
    """Take texts as they are, blanks and line breaks too: a regulator's wording is not ours to tidy."""
    if not isinstance(value, (list, tuple)) or not all(isinstance(one, str) for one in value):
        raise ValueError("must be a list of texts in quotes")
    return tuple(one for one in map(_as_typed, value) if one.strip())


def _texts(value: object) -> tuple[str, ...]:
    return tuple(map(_text, _verbatim(value)))


def _day(value: object) -> date | None:
    if value in ("", None):
        return None
    if isinstance(value, date) and type(value) is date:
        return value
    try:
        return datetime.strptime(str(value), "%Y-%m-%d").replace(tzinfo=UTC).date()
    except ValueError:
        raise ValueError("must be a day such as 2026-11-25") from None


def _zone(value: object) -> str:
    name = _text(value)
    if name:
        try:
            zoneinfo.ZoneInfo(name)
        except (ValueError, OSError, zoneinfo.ZoneInfoNotFoundError):
            raise ValueError("must be a time zone's name such as America/Chicago") from None
    return name


def _one_of(*choices: object) -> Callable[[object], object]:
    def check(value: object) -> object:
        # TOML's 2.0 and true equal 2 and 1, and are not what is meant.
        if value not in choices or type(value) not in map(type, choices):
            raise ValueError("must be one of " + ", ".join(map(str, choices)))
        return value

    return check


def _years(value: object) -> int | None:
    if value in ("", None):
        return None
    number = int(value) if isinstance(value, str) and value.strip().isdecimal() else value
    if not isinstance(number, int) or isinstance(number, bool) or not 0 <= number <= 100:
        raise ValueError("must be a whole number of years, 0 to 100")
    return number


SETTINGS: Final = (
    Setting("address", "Address of the house, printed on each page.", "none", _text),
    Setting("client", "Who ordered the inspection.", "none", _text),
    Setting("inspector", "Your name; it stands in the record beside each decision.", "none", _text),
    Setting("licence", "Licence or registration number, with the state or country.", "none", _text),
    Setting("zone", "Time zone of the house, such as America/Chicago; empty if unsure.", "none", _zone),
    Setting("inspected", "Day of the inspection, such as 2026-11-25.", "none", _day),
    Setting("due", "Day the appendix is due.", "none", _day),
    Setting("standard", "Standard of practice the inspection followed.", "none", _text),
    Setting("weather", "Weather on the day, if it matters to what was seen.", "none", _text),
    Setting(
        "paper", "Page size: a4 or letter.", "ANSI Y14.1 letter, usual in the US", _one_of("a4", "letter")
    ),
    Setting(
        "language",
        "Numbers, dates and units: en-US, en-GB, or en for dates as ISO 8601 has them.",
        "our own choice",
        _one_of("en-US", "en-GB", "en"),
    ),
    Setting("per_page", "Photos to a page: 1, 2, 4 or 6.", "common practice: two", _one_of(1, 2, 4, 6)),
    Setting("retention_years", "Years the job is to be kept; ask your regulator.", "none", _years),
    Setting("required_text", "Texts to be printed word for word, line breaks too.", "none", _verbatim),
    Setting("required_shots", "Views that must be photographed; missing ones are gaps.", "none", _texts),
    Setting(
        "required_list",
        "Required pictures: house walk, four systems, flood elevation, building record; or a .toml file.",
        "none",
        _text,
    ),
    Setting(
        "sentence_model",
        "Folder of a sentence-embedding model, to match by meaning too; empty matches by words.",
        "none",
        _text,
    ),
    Setting("own_findings", "File of your own standard findings; empty for your usual one.", "none", _text),
    Setting("notes", "Your own notes, never printed.", "none", _notes),
)
"""Every setting, in the order job.toml lists them."""


def details(values: Mapping[str, object], base: Details | None = None) -> Details:
    """Check values and lay them over others.

    Raises
    ------
    BadSetting
        Names every value that cannot be, and every name that is not known.
    """
    known = {setting.name: setting for setting in SETTINGS}
    good: dict[str, object] = {}
    faults: list[str] = []
    for name, value in values.items():
        if name not in known:
            faults.append(f"“{name}” is not a setting.")
            continue
        try:
            good[name] = known[name].check(value)
        except ValueError as problem:
            faults.append(f"“{name}” {problem}.")
    if faults:
        raise BadSetting(" ".join(faults))
    return replace(base or Details(), **good)  # type: ignore[arg-type]


def parse(text: str | bytes) -> tuple[int, Details]:
    """Read job.toml: the version of the folder's form, and the details.

    Parameters
    ----------
    text
        What it holds; some editors put a byte order mark before it.

    Raises
    ------
    BadSetting
        The text is not UTF-8, not TOML, or a value cannot be.
    """
    try:
        held = text if isinstance(text, str) else text.decode("utf-8")
    except UnicodeDecodeError as problem:
        line = problem.object[: problem.start].count(b"\n") + 1
        raise BadSetting(f"{JOB_FILE} is not UTF-8 text in line {line}; save it as UTF-8.") from problem
    try:
        values: dict[str, object] = tomllib.loads(held.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as problem:
        raise BadSetting(f"{JOB_FILE} cannot be read: {problem}.") from problem
    version = values.pop("format", FORMAT)
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise BadSetting(f"{JOB_FILE}: “format” must be a whole number from 1; do not change it.")
    if version > FORMAT:
        return version, Details()  # a newer program's settings are not ours to judge
    try:
        return version, details(values)
    except BadSetting as problem:
        raise BadSetting(f"{JOB_FILE}: {problem}") from None


def named(folder: Path, typed: str) -> Path:
    """Give the file that a setting of a job names, from its folder on; ~ is a person's own folder."""
    try:
        return folder / Path(typed).expanduser()
    except RuntimeError:  # nobody is called so here; whoever opens it says that it is missing
        return folder / typed


def written(job: Details) -> str:
    """Write job.toml with a remark above each setting; :func:`parse` reads the same details back."""
    lines = [
        "# The details of this job. Fill in what is empty and save; nothing else in this folder is",
        "# meant to be edited.",
        "",
        "# Version of this folder's form; leave it as it is.",
        f"format = {FORMAT}",
    ]
    for setting in SETTINGS:
        value = getattr(job, setting.name)
        # What is not known yet is an empty text too: a key behind a “#” would be filled in and not be read.
        lines += ["", f"# {setting.meaning}", f"{setting.name} = {_toml('' if value is None else value)}"]
    return "\n".join(lines) + "\n"


def _toml(value: object) -> str:
    if isinstance(value, tuple):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    if isinstance(value, str):
        return '"' + "".join(_ESCAPE.get(c, c if _plain(c) else f"\\U{ord(c):08X}") for c in value) + '"'
    return value.isoformat() if isinstance(value, date) else str(value)


_ESCAPE: Final = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def _plain(character: str) -> bool:
    return character.isprintable()
