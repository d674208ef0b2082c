"""Make sets of look-alikes from many descriptions.

Candidates are the next few shots in time and, for revisits, any picture with a near hash and edges at
like places; only verified links join, and a set is only made where every two of its pictures are linked.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from evidence.likeness import sketches
from evidence.likeness.prints import Likeness
from evidence.likeness.same_view import Pair, Verdict, compare

NEXT_SHOTS = 4
"""Each picture is compared with so many that follow it in time."""

HASH_BITS = 20
"""Pictures whose hashes differ in at most so many of 64 bits are compared wherever they lie, if their
sketches are near too."""


Places = tuple[int, int]
"""Two pictures' places in a list, the earlier place first."""

CompareAll = Callable[[Sequence[Likeness], Sequence[Places]], Sequence[Pair]]
"""Compares pairs of a list; the answers in the order of the pairs, with their places."""

_NOTHING: Mapping[Places, Pair] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Related:
    """What comparing the pictures of a day gave.

    Attributes
    ----------
    sets
        As :func:`group` gives them.
    pairs
        As :func:`relate` gives them.
    compared
        Every pair that was looked at, "other" ones too, so that a later run need not look again.
    """

    sets: list[list[int]]
    pairs: list[Pair]
    compared: dict[Places, Pair]


def compare_all(likenesses: Sequence[Likeness], pairs: Sequence[Places]) -> list[Pair]:
    """Compare pairs one after the other."""
    return [replace(compare(likenesses[a], likenesses[b]), a=a, b=b) for a, b in pairs]


def group(likenesses: Sequence[Likeness], seconds: Sequence[float | None]) -> list[list[int]]:
    """Sort pictures into sets of look-alikes.

    Parameters
    ----------
    likenesses
        One for each picture.
    seconds
        When each was taken, on any one clock; None where unknown.

    Returns
    -------
    Lists of places in the input, each place once, single pictures as lists of one; inside a list
    and among lists in rising order.

    Raises
    ------
    ValueError
        The two sequences differ in length.
    """
    return group_and_relate(likenesses, seconds).sets


def relate(likenesses: Sequence[Likeness], seconds: Sequence[float | None]) -> list[Pair]:
    """Give every pair that is more than "other": same, changed, and wide with close.

    Parameters and errors as in :func:`group`. Pairs come in rising order, ``a`` before ``b``.
    """
    return group_and_relate(likenesses, seconds).pairs


def group_and_relate(
    likenesses: Sequence[Likeness],
    seconds: Sequence[float | None],
    known: Mapping[Places, Pair] = _NOTHING,
    compare_them: CompareAll = compare_all,
) -> Related:
    """Give what :func:`group` and :func:`relate` give, comparing each pair only once.

    Parameters
    ----------
    known
        Pairs whose answer is known from an earlier run of this version.
    compare_them
        Compares the others; for whoever has more than one core.
    """
    wanted = candidates(likenesses, seconds)
    missing = [places for places in wanted if places not in known]
    fresh = dict(zip(missing, compare_them(likenesses, missing), strict=True))
    pairs = {places: fresh[places] if places in fresh else known[places] for places in wanted}
    sets = _sets(likenesses, pairs, known)
    related = [pair for _, pair in sorted(pairs.items()) if pair.verdict is not Verdict.OTHER]
    return Related(sets, related, pairs)


def candidates(likenesses: Sequence[Likeness], seconds: Sequence[float | None]) -> list[tuple[int, int]]:
    """Give the pairs worth comparing, in rising order."""
    if len(likenesses) != len(seconds):
        raise ValueError("give one time, or None, for each picture")
    order = sorted(range(len(seconds)), key=lambda i: (_when(seconds[i]), i))
    wanted: set[tuple[int, int]] = set()
    for place, first in enumerate(order):
        for second in order[place + 1 : place + 1 + NEXT_SHOTS]:
            wanted.add((min(first, second), max(first, second)))
    hashes = np.array([likeness.phash_lit for likeness in likenesses], np.uint64)
    one, other = _near(hashes)
    looked_at, row = np.unique(np.concatenate([one, other]), return_inverse=True)
    drawn = sketches.sketches([likenesses[place] for place in looked_at])
    may_be = sketches.near(drawn, row[: len(one)], row[len(one) :])
    wanted.update(zip(one[may_be].tolist(), other[may_be].tolist(), strict=True))
    return sorted(wanted)


def _when(seconds: float | None) -> float:
    """Put pictures without a time last."""
    return float("inf") if seconds is None else seconds


def _near(hashes: NDArray[np.uint64]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Find all pairs of hashes within ``HASH_BITS``, row block by row block; the earlier place first."""
    found = [(np.zeros(0, np.intp), np.zeros(0, np.intp))]
    for start in range(0, len(hashes), 256):
        rows = hashes[start : start + 256]
        apart = np.bitwise_count(rows[:, None] ^ hashes[None, start:])
        first, second = np.nonzero(apart <= HASH_BITS)
        later = second > first
        found.append((first[later] + start, second[later] + start))
    return np.concatenate([one for one, _ in found]), np.concatenate([two for _, two in found])


def _sets(
    likenesses: Sequence[Likeness], pairs: dict[Places, Pair], known: Mapping[Places, Pair]
) -> list[list[int]]:
    """Join by complete linkage, the best agreeing links first; missing comparisons are made up for."""
    member = list(range(len(likenesses)))
    sets = {index: [index] for index in member}
    links = sorted(
        (pair for pair in pairs.values() if pair.verdict is Verdict.SAME),
        key=lambda pair: (-pair.agreement, pair.a, pair.b),
    )

    def linked(a: int, b: int) -> bool:
        key = (min(a, b), max(a, b))
        if key not in pairs:
            pairs[key] = known[key] if key in known else compare_all(likenesses, [key])[0]
        return pairs[key].verdict is Verdict.SAME

    for link in links:
        one, two = member[link.a], member[link.b]
        if one != two and all(linked(a, b) for a in sets[one] for b in sets[two]):
            for index in sets[two]:
                member[index] = one
            sets[one] = sorted(sets[one] + sets.pop(two))
    return sorted(sets.values())
