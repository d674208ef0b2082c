"""How the pictures of one room scatter, and rooms among each other: the likelihood of one room for several.

Hides the axes along which both are told apart and the closed form of the likelihood; leaves cutting
to :mod:`.cuts` and recognising to :mod:`.returning`.
"""

from __future__ import annotations

import functools
import importlib.resources
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evidence.rooms.places import LENGTH

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Spread:
    """Axes along which a room's pictures vary by 1, and how far rooms vary along each.

    Attributes
    ----------
    axes
        Shape (length, length): a vector times this has variance 1 inside a room, on every axis, and no
        covariance, neither inside a room nor between rooms.
    between
        Shape (length,): variance between rooms on each axis.
    """

    axes: Floats
    between: Floats

    def gain(self, sums: Floats, counts: NDArray[np.int64], factor: float) -> Floats:
        """Tell how much likelier several pictures are as one room's than with no room behind them.

        Parameters
        ----------
        sums
            Shape (..., length): pictures added up, on the axes.
        counts
            Shape (...): how many were added.
        factor
            On the variance between rooms.

        Returns
        -------
        Shape (...): twice the natural log of the ratio.

        Notes
        -----
        Marginal likelihood of a normal mean with a normal prior (textbook), on each axis by itself; the
        part that no grouping changes is left out.
        """
        between = factor * self.between
        numbers = np.arange(int(counts.max()) + 1 if counts.size else 1)[:, None]
        weight = between / (1.0 + numbers * between)
        price = np.log1p(numbers * between).sum(axis=1)
        pulled = np.einsum("...k,...k,...k->...", sums, sums, weight[counts])
        return np.asarray(pulled - price[counts], np.float64)


@functools.cache
def packaged(length: int) -> Spread:
    """The spread learned by ``python -m tests.bench.learn_rooms``; plain axes for other vectors than ours."""
    if length != LENGTH:
        return Spread(np.eye(length), np.ones(length))
    file = importlib.resources.files("evidence.rooms").joinpath("spread.npz")
    with file.open("rb") as opened, np.load(opened, allow_pickle=False) as held:
        return Spread(held["axes"].astype(np.float64), held["between"].astype(np.float64))
