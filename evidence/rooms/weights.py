"""The few numbers that weigh gaps against places.

Hides where the packaged ones come from; leaves using them to :mod:`.cuts` and learning them anew to
:mod:`.learning`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Self


@dataclass(frozen=True, slots=True)
class Weights:
    """How joints are judged. The first seven add up to a joint's own log-odds.

    Attributes
    ----------
    always
        Log-odds of any joint before it is looked at.
    gap
        Per unit of natural log seconds of the gap.
    gap_over_usual
        Per unit of natural log by which the gap exceeds the median of its neighbours.
    apart
        Per unit of distance between the mean places of the pictures on both sides.
    nearest_apart
        Per unit of distance between the two most alike pictures across the joint.
    next_apart
        Per unit of distance between the two pictures at the joint.
    dark
        Where no picture near on one side can be told.
    run
        Share of a visit's log likelihood that counts, as a natural log; neighbouring shots resemble
        each other anyway, so it is far below 1.
    spread
        Natural log of the factor on the packaged variance between rooms.
    single
        Log-odds added for a visit of a single picture.
    """

    always: float
    gap: float
    gap_over_usual: float
    apart: float
    nearest_apart: float
    next_apart: float
    dark: float
    run: float
    spread: float
    single: float

    def numbers(self) -> tuple[float, ...]:
        """Give the weights in the order of their names."""
        return tuple(float(getattr(self, field.name)) for field in fields(self))

    @classmethod
    def of(cls, numbers: tuple[float, ...]) -> Self:
        """Make weights from :meth:`numbers`."""
        return cls(*numbers)


WEIGHTS = Weights(
    always=-4.21,
    gap=0.477,
    gap_over_usual=0.781,
    apart=-0.160,
    nearest_apart=0.268,
    next_apart=0.0654,
    dark=1.0,
    run=-2.54,
    spread=2.94,
    single=-5.53,
)
"""Learned by ``python -m tests.bench.learn_rooms weights`` on drawn houses set apart for tuning."""
