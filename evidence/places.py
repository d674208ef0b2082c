"""Give each file of a card its place in the job, where no other file stands on any sort of disk.

Hides how a card is known again, what happens when two cards share a name, and names that differ
only by case or Unicode form. Reads no file. Leaves bytes, and what they prove, to the intake.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import count
from typing import TYPE_CHECKING, Final

from evidence.files import clean_name, fold

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from evidence.card import Card, CardFile
    from evidence.words import Taken


_FARTHEST_S: Final = 27 * 3600
"""How far apart one file's time can read: 26 hours lie between the zones at UTC-12 and UTC+14 (IANA time
zone database), and an hour more where the clocks were changed meanwhile."""


class Places:
    """The places of one job, and who stands there.

    Parameters
    ----------
    taken
        Every original with what was noted of it.
    listed
        Every place of the manifest.
    """

    def __init__(self, taken: Iterable[Taken], listed: Iterable[str]) -> None:
        self._taken = {one.original.place: one for one in taken}
        self._files: set[str] = set()
        self._folders: set[str] = set()
        for place in listed:
            self._occupy(place)

    def source_for(self, card: Card) -> str:
        """Name the folder of a card: its own from earlier, or a new one if another card had its name.

        The first of ``NAME``, ``NAME-2``, ``NAME-3`` ... of which every file that is in the job
        already looks like the card's.
        """
        for source in _numbered(card.source):
            earlier = ((file, self._named(source, file)) for file in card.files)
            if all(one is None or _looks_like(file, one) for file, one in earlier):
                return source
        raise AssertionError("the numbers ended")

    def earlier(self, source: str, file: CardFile) -> Taken | None:
        """Give the original that a card's file most likely is, by place, size and time; no proof."""
        one = self._named(source, file)
        return one if one is not None and _looks_like(file, one) else None

    def give(self, source: str, file: CardFile, stands: Callable[[str], bool]) -> str:
        """Give a file its place, or the first like it under ``source-2``, ``source-3`` ...

        Parameters
        ----------
        stands
            Tells whether something that nobody listed stands at a place.
        """
        for name in _numbered(source):
            place = place_of(name, file)
            if not self._occupied(place) and not stands(place):
                self._occupy(place)
                return place
        raise AssertionError("the numbers ended")

    def note(self, taken: Taken) -> None:
        """Remember a new original."""
        self._taken[taken.original.place] = taken

    def _named(self, source: str, file: CardFile) -> Taken | None:
        """Give what a card's file may be by its name; another's, cleaned, may have come out the same."""
        one = self._taken.get(place_of(source, file))
        return one if one is not None and one.name_on_card == file.name else None

    def _occupied(self, place: str) -> bool:
        folded = fold(place)
        above = _above(folded)
        return folded in self._files or folded in self._folders or not self._files.isdisjoint(above)

    def _occupy(self, place: str) -> None:
        folded = fold(place)
        self._files.add(folded)
        self._folders.update(_above(folded))


def place_of(source: str, file: CardFile) -> str:
    """Give the place a card's file has by its name alone, each part cleaned."""
    return "/".join((source, *(clean_name(part) for part in file.name.split("/"))))


def file_time(changed_ns: int) -> str:
    """Write a file system's time as ISO 8601 in UTC; "" when it lies outside the calendar.

    Examples
    --------
    >>> file_time(1_500_000)
    '1970-01-01T00:00:00.001500+00:00'
    """
    try:
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=changed_ns // 1000)
    except OverflowError:
        return ""
    return moment.isoformat()


def _numbered(name: str) -> Iterable[str]:
    yield name
    yield from (f"{name}-{n}" for n in count(2))


def _above(place: str) -> list[str]:
    parts = place.split("/")
    return ["/".join(parts[:n]) for n in range(1, len(parts))]


def _looks_like(file: CardFile, taken: Taken) -> bool:
    """Tell whether a card's file may be the one taken in, without reading it.

    A FAT card's times are local: read in another zone, or after the clocks changed, they are
    whole quarters of an hour off, within the 2 s steps of that file system.
    """
    if file.size_bytes != taken.original.size_bytes:
        return False
    then, now = taken.file_time, file_time(file.changed_ns)
    if not then or not now:
        return then == now
    apart_s = abs((datetime.fromisoformat(now) - datetime.fromisoformat(then)).total_seconds())
    return min(apart_s % 900, 900 - apart_s % 900) <= 2 and apart_s <= _FARTHEST_S + 2
