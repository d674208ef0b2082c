"""Weigh the signs of a change by weights that were learned on drawn rooms: one number for each window.

Every sign can only raise it, every excuse (noise, parallax, blur, what like windows show all over the
picture) only lower it: so a stronger difference never counts less. Hides the weights.
"""

from __future__ import annotations

import importlib.resources
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from evidence.likeness.signs import Views, measured

_FURTHEST = 6.0
"""Standardised signs end here, on either side."""

_BENDS = (-0.5, 0.5, 1.5, 3.0)
"""From here on a standardised sign may count more, or for the first time.

Both our own, fixed before the weights were learned; see docs/methods/likeness.md.
"""


@dataclass(frozen=True, slots=True)
class Weights:
    """A net of one small hidden layer without a negative weight.

    Attributes
    ----------
    middle, spread
        Shape (n,), float32: what standardises each column; the spread of an excuse is negative.
    inner, inner_level
        Shapes (m, h) and (h,), where m is n times one more than there are bends.
    outer, level
        Shapes (h,) and (): from the hidden layer.
    slope
        Shape (m,): past the hidden layer.
    """

    middle: NDArray[np.float32]
    spread: NDArray[np.float32]
    inner: NDArray[np.float32]
    inner_level: NDArray[np.float32]
    outer: NDArray[np.float32]
    level: NDArray[np.float32]
    slope: NDArray[np.float32]

    def of(self, found: NDArray[np.float32]) -> NDArray[np.float32]:
        """Weigh signs of shape (..., n); shape (...), from 0 on something has changed."""
        z = bent(found, self.middle, self.spread)
        hidden = np.tanh(z @ self.inner + self.inner_level)
        return np.asarray(hidden @ self.outer + z @ self.slope + self.level, np.float32)


def bent(
    found: NDArray[np.float32], middle: NDArray[np.float32], spread: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Standardise signs of shape (..., n), and add what of each lies beyond each bend: shape (..., m).

    Hinge functions (Friedman, "Multivariate Adaptive Regression Splines", Annals of Statistics 1991).
    """
    z = np.clip((found - middle) / spread, -_FURTHEST, _FURTHEST)
    return np.concatenate([z, *(np.maximum(z - bend, 0) for bend in _BENDS)], axis=-1, dtype=np.float32)


@cache
def weights() -> Weights:
    """Read the packaged weights; ``tests.bench.learn_likeness`` makes them."""
    file = importlib.resources.files("evidence.likeness").joinpath("changes.npz")
    with file.open("rb") as opened, np.load(opened, allow_pickle=False) as held:
        return Weights(**{name: held[name] for name in Weights.__slots__})


def weigh(views: Views) -> NDArray[np.float32]:
    """Give a number for each window, from 0 on a change: shape (rows, columns), window k about 8 k + 4."""
    return weights().of(measured(views))
