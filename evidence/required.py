"""Know which pictures a kind of job must have, and which of them are still missing.

Lists are data with their sources: the packaged ones, or a file of the inspector's own. Hides their
form and how words are looked for. Judges no house and knows no rule of any place.
"""

from __future__ import annotations

import importlib.resources
import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import Final

from evidence.errors import BadSetting

PACKAGED: Final = "required.toml"
SOURCES: Final = ("read", "memory", "common practice")


@dataclass(frozen=True, slots=True)
class Required:
    """One place or thing that must be pictured.

    Attributes
    ----------
    name
        What is wanted, in words.
    words
        Any of these, as whole words, in a room's name or in what a picture is said to show.
    count
        How many differently named ones.
    source
        One of :data:`SOURCES`.
    """

    name: str
    words: tuple[str, ...]
    count: int = 1
    source: str = "common practice"


@dataclass(frozen=True, slots=True)
class RequiredList:
    """The pictures that one kind of job must have.

    Attributes
    ----------
    name
        By which a job chooses it.
    about, source
        What it is for and where it comes from, in words; "" when not said.
    pictures
        At least one.
    """

    name: str
    about: str
    source: str
    pictures: tuple[Required, ...]


@dataclass(frozen=True, slots=True)
class Lacking:
    """A required picture that is missing, with how many of those wanted there are."""

    required: Required
    have: int


@cache
def packaged() -> tuple[RequiredList, ...]:
    """Give the packaged lists."""
    text = importlib.resources.files("evidence").joinpath(PACKAGED).read_text("utf-8")
    return parse(text, PACKAGED)


def parse(text: str, file: str) -> tuple[RequiredList, ...]:
    """Read lists from TOML.

    Parameters
    ----------
    file
        Its name, for the sentence that says what is wrong.

    Raises
    ------
    BadSetting
        It is not TOML, holds no list or two of one name, or a row cannot be used; says which.
    """
    try:
        lists = tomllib.loads(text).get("list")
    except tomllib.TOMLDecodeError as problem:
        raise BadSetting(f"{file} cannot be read: {problem}.") from problem
    if not isinstance(lists, list) or not lists:
        raise BadSetting(f"{file} holds no list; each begins with [[list]].")
    read = tuple(_list(one, file) for one in lists)
    names = [one.name.casefold() for one in read]
    if twice := [name for name in names if names.count(name) > 1]:
        raise BadSetting(f"{file}: two lists are called “{twice[0]}”; give one another name.")
    return read


def chosen(name: str, lists: Iterable[RequiredList]) -> RequiredList:
    """Give a list by its name, capitals aside.

    Raises
    ------
    BadSetting
        There is none of that name.

    Examples
    --------
    >>> chosen("House Walk", packaged()).pictures[3].name
    'Roof'
    """
    known = {one.name.casefold(): one for one in lists}
    found = known.get(name.strip().casefold())
    if found is None:
        raise BadSetting(f"There is no list of required pictures “{name}”; known are: {', '.join(known)}.")
    return found


def missing(wanted: RequiredList, named: Iterable[str]) -> tuple[Lacking, ...]:
    """Tell which required pictures are missing.

    Parameters
    ----------
    named
        Names of rooms that have a usable picture, and what usable pictures are said to show.

    Examples
    --------
    >>> walk = RequiredList("", "", "", (Required("Attic", ("attic",)), Required("Roof", ("roof",))))
    >>> [one.required.name for one in missing(walk, ["Attic north", "Roofless porch"])]
    ['Roof']
    """
    texts = {" ".join(text.casefold().split()) for text in named}
    lacking = []
    for one in wanted.pictures:
        have = sum(any(_says(word, text) for word in one.words) for text in texts)
        if have < one.count:
            lacking.append(Lacking(one, have))
    return tuple(lacking)


def _says(word: str, text: str) -> bool:
    return re.search(rf"(?<!\w){re.escape(word.casefold())}(?!\w)", text) is not None


def _list(one: object, file: str) -> RequiredList:
    if not isinstance(one, dict) or not isinstance(one.get("name"), str) or not one["name"].strip():
        raise BadSetting(f"{file}: a list needs a name.")
    rows = one.get("picture")
    if not isinstance(rows, list) or not rows:
        raise BadSetting(f"{file}: the list “{one['name']}” has no picture = [ ... ].")
    pictures = tuple(_required(row, file, one["name"]) for row in rows)
    return RequiredList(one["name"].strip(), str(one.get("about", "")), str(one.get("source", "")), pictures)


def _required(row: object, file: str, name: str) -> Required:
    if not isinstance(row, dict) or row.keys() - {"name", "words", "count", "source"}:
        raise BadSetting(f"{file}, list “{name}”: a row may say name, words, count and source, not {row!r}.")
    words, count = row.get("words"), row.get("count", 1)
    source = row.get("source", "common practice")
    good = isinstance(words, list) and words and all(isinstance(w, str) and w.strip() for w in words)
    if not isinstance(row.get("name"), str) or not row["name"].strip() or not good:
        raise BadSetting(f"{file}, list “{name}”: a row needs a name and a list of words; one has not.")
    if not isinstance(count, int) or isinstance(count, bool) or not 1 <= count <= 50:
        raise BadSetting(f"{file}, list “{name}”, “{row['name']}”: count must be 1 to 50.")
    if source not in SOURCES:
        raise BadSetting(f"{file}, list “{name}”, “{row['name']}”: source is one of {', '.join(SOURCES)}.")
    # Blanks as in what is looked through: “crawl  space” would never be found.
    return Required(row["name"], tuple(" ".join(w.split()) for w in words or ()), count, str(source))
