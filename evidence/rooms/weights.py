"""The few numbers that weigh gaps against places, and how to learn them again."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Weights:
    """How joints are judged.

    Attributes
    ----------
    constant, gap, relative, unlike
        Of the log-odds that a visit ends: alone; per unit of log seconds; per unit of log seconds
        above the neighbours' median; per unit of distance between the places on both sides.
    runs
        Share of each visit's log likelihood that counts; below 1, as neighbouring shots resemble
        each other anyway.
    within, between
        Variance of one vector element inside a room and between rooms.
    single
        Log-odds lost by a visit of a single picture.
    """

    constant: float
    gap: float
    relative: float
    unlike: float
    runs: float
    within: float
    between: float
    single: float


WEIGHTS = Weights(-9.0, 0.9, 0.6, 4.0, 0.02, 0.003, 0.003, 1.5)
