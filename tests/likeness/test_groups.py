"""Sets of look-alikes: what is known is not looked at again, and more cores give the same answer."""

from __future__ import annotations

from collections.abc import Sequence

from evidence import likeness
from evidence.likeness import Likeness, Pair, Verdict
from tests.likeness.test_prints import room

PICTURES = [likeness.describe(room(seed, moved)) for seed in (1, 2) for moved in (0, 4, 9)]
SECONDS = [float(i) for i in range(6)]


def test_known_pairs_are_not_compared_again_and_give_the_same_sets() -> None:
    first = likeness.group_and_relate(PICTURES, SECONDS)
    asked: list[tuple[int, int]] = []

    def counted(many: Sequence[Likeness], pairs: Sequence[tuple[int, int]]) -> list[Pair]:
        asked.extend(pairs)
        return likeness.compare_all(many, pairs)

    again = likeness.group_and_relate(PICTURES, SECONDS, first.compared, counted)

    assert asked == []
    assert (again.sets, again.compared) == (first.sets, first.compared)
    assert first.sets == likeness.group(PICTURES, SECONDS)


def test_every_pair_that_a_set_rests_on_is_among_those_compared() -> None:
    found = likeness.group_and_relate(PICTURES, SECONDS)

    for members in found.sets:
        for a in members:
            for b in members:
                assert a >= b or found.compared[a, b].verdict is Verdict.SAME
