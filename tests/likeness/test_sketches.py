"""Sketches: the same view taken otherwise stays near, and nothing else decides who is compared."""

from __future__ import annotations

import cv2
import numpy as np

from evidence import likeness
from evidence.likeness import groups, sketches
from evidence.words import Rgb
from tests.likeness.test_prints import room


def product(a: Rgb, b: Rgb) -> float:
    one, two = sketches.sketches([likeness.describe(a), likeness.describe(b)])
    return float(one @ two)


def by_hand(rgb: Rgb) -> Rgb:
    """Turn by 2 degrees, enlarge by 3 % and shift by 3 % of the width."""
    turn = cv2.getRotationMatrix2D((400, 300), 2.0, 1.03)
    turn[:, 2] += (24, -18)
    return np.asarray(cv2.warpAffine(rgb, turn, (800, 600), borderMode=cv2.BORDER_REFLECT), np.uint8)


def test_a_view_taken_again_by_hand_and_two_stops_darker_stays_near() -> None:
    """Two stops are a factor of 4 on linear light, 0.53 on the code by the power 1/2.2 (IEC 61966-2-1)."""
    for seed in range(8):
        again = np.asarray(by_hand(room(seed)) * 4 ** (-1 / 2.2), np.uint8)

        assert product(room(seed), again) >= sketches.NEAR


def test_light_against_dark_counts_as_dark_against_light() -> None:
    """The doubled angle of an edge does not know its sign: a negative has the sketch of its positive."""
    negative = np.asarray(255 - room(3).astype(np.int16), np.uint8)

    assert product(room(3), negative) > 0.95


def test_another_room_and_the_same_mirrored_are_mostly_far() -> None:
    far = [product(room(seed), room(seed + 1)) < sketches.NEAR for seed in range(8)]
    far += [
        product(room(seed), np.ascontiguousarray(room(seed)[:, ::-1])) < sketches.NEAR for seed in range(8)
    ]

    assert sum(far) >= 14


def test_a_view_without_an_edge_is_near_to_nothing() -> None:
    blank = np.full((600, 800, 3), 90, np.uint8)

    assert product(blank, blank) == 0.0


def test_a_view_of_a_few_lines_is_sketched_too() -> None:
    """One such picture stopped every command of its job."""
    lines = np.random.default_rng(5).integers(0, 256, (8, 1600, 3)).astype(np.uint8)

    assert np.isfinite(product(lines, np.ascontiguousarray(lines.transpose(1, 0, 2))))


def test_candidates_are_the_next_shots_and_near_hashes_with_near_sketches() -> None:
    """Counted bit by bit with Python's own integers, and each product by itself."""
    chance = np.random.default_rng(5)
    many = [likeness.describe(room(seed, int(chance.integers(0, 30)))) for seed in range(6) for _ in range(4)]
    drawn = sketches.sketches(many)
    wanted = {
        (a, b)
        for a in range(len(many))
        for b in range(a + 1, len(many))
        if b - a <= groups.NEXT_SHOTS
        or (
            (many[a].phash_lit ^ many[b].phash_lit).bit_count() <= groups.HASH_BITS
            and float(drawn[a] @ drawn[b]) >= sketches.NEAR
        )
    }

    found = groups.candidates(many, [float(i) for i in range(len(many))])

    assert found == sorted(wanted)
