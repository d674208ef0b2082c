"""The few numbers that weigh gaps against places.

Hides where the packaged ones come from; leaves using them to :mod:`.cuts` and learning them anew to
:mod:`.learning`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Self


@dataclass(frozen=True, slots=True)
class Weights:
    """How joints are judged. The first eight add up to a joint's own log-odds.

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
    gap_squared
        Per squared unit of natural log by which the gap differs from half a minute: a pause is longer
        than a change of rooms.
    run
        Share of a visit's log likelihood that counts, as a natural log; neighbouring shots resemble
        each other anyway, so it is far below 1.
    spread
        Natural log of the factor on the packaged variances between rooms.
    single
        Log-odds added for a visit of a single picture.
    length, length_squared
        Per unit, and per squared unit, of natural log by which a visit's pictures exceed ten.
    """

    always: float
    gap: float
    gap_over_usual: float
    apart: float
    nearest_apart: float
    next_apart: float
    dark: float
    gap_squared: float
    run: float
    spread: float
    single: float
    length: float
    length_squared: float

    def numbers(self) -> tuple[float, ...]:
        """Give the weights in the order of their names."""
        return tuple(float(getattr(self, field.name)) for field in fields(self))

    @classmethod
    def of(cls, numbers: tuple[float, ...]) -> Self:
        """Make weights from :meth:`numbers`."""
        return cls(*numbers)

    @classmethod
    def named(cls, numbers: Mapping[str, float]) -> Self | None:
        """Make weights by their names; None when the names are others, as an earlier method's are."""
        return cls(**numbers) if set(numbers) == {field.name for field in fields(cls)} else None


JOINT = 8
"""Weights that add up to a joint's own log-odds; they stand first."""


WEIGHTS = Weights(
    always=-0.0547,
    gap=1.26,
    gap_over_usual=0.312,
    apart=-0.141,
    nearest_apart=0.242,
    next_apart=0.0521,
    dark=1.0,
    gap_squared=-0.937,
    run=-1.57,
    spread=0.147,
    single=-5.55,
    length=7.12,
    length_squared=1.23,
)
"""Learned by ``python -m tests.bench.learn_rooms weights`` on drawn houses set apart for tuning."""
