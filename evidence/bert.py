"""Turn word pieces into directions by BERT's encoder: a trained model's weights go in, arrays come out.

Hides the layers. Leaves to others where weights lie and how a sentence is parted into pieces.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

VERSION: Final = 1

Floats = NDArray[np.float32]

_HIDDEN: Final = np.float32(-1e9)
"""Added before the softmax to what padding would get: nothing of it is left after."""


@dataclass(frozen=True, slots=True)
class Encoder:
    """BERT's encoder (Devlin et al., "BERT", 2019; Vaswani et al., "Attention Is All You Need", 2017).

    Attributes
    ----------
    weights
        By the names of the published checkpoints, such as ``encoder.layer.0.output.dense.weight``,
        shape (out, in), float32.
    heads
        Attention heads; they share the width equally.
    epsilon
        Added to a variance before its root.

    Raises
    ------
    KeyError
        A weight is missing, named in the error; when it is first needed.
    """

    weights: Mapping[str, Floats]
    heads: int
    epsilon: float = 1e-12

    @property
    def longest(self) -> int:
        """How many pieces a text may have."""
        return len(self.weights["embeddings.position_embeddings.weight"])

    @property
    def width(self) -> int:
        """How many numbers a direction has."""
        return int(self.weights["embeddings.LayerNorm.weight"].size)

    @property
    def layers(self) -> int:
        """How many layers the weights hold."""
        found = (re.match(r"encoder\.layer\.(\d+)\.", name) for name in self.weights)
        return max((int(one[1]) + 1 for one in found if one), default=0)

    def last_layer(self, pieces: NDArray[np.int64], own: NDArray[np.bool_]) -> Floats:
        """Give each word piece its direction in its text.

        Parameters
        ----------
        pieces
            Numbers of the vocabulary, shape (texts, pieces).
        own
            Same shape, False where a shorter text is padded.

        Returns
        -------
        Shape (texts, pieces, width), float32; meaningless where ``own`` is False.
        """
        w = self.weights
        summed = (
            w["embeddings.word_embeddings.weight"][pieces]
            + w["embeddings.position_embeddings.weight"][: pieces.shape[1]]
            + w["embeddings.token_type_embeddings.weight"][0]  # one sentence a text, never a pair
        )
        layer = self._norm(summed, "embeddings.LayerNorm")
        hidden = np.where(own, np.float32(0), _HIDDEN)[:, None, None, :]
        for number in range(self.layers):
            at = f"encoder.layer.{number}"
            seen = self._dense(
                self._attention(layer, hidden, f"{at}.attention.self"), f"{at}.attention.output.dense"
            )
            layer = self._norm(layer + seen, f"{at}.attention.output.LayerNorm")
            thought = self._dense(gelu(self._dense(layer, f"{at}.intermediate.dense")), f"{at}.output.dense")
            layer = self._norm(layer + thought, f"{at}.output.LayerNorm")
        return layer

    def _attention(self, layer: Floats, hidden: Floats, name: str) -> Floats:
        texts, pieces, width = layer.shape
        head = width // self.heads
        query, key, value = (
            self._dense(layer, f"{name}.{part}")
            .reshape(texts, pieces, self.heads, head)
            .transpose(0, 2, 1, 3)
            for part in ("query", "key", "value")
        )
        scores = query @ key.transpose(0, 1, 3, 2) / np.float32(math.sqrt(head)) + hidden
        shares = np.exp(scores - scores.max(-1, keepdims=True))
        shares /= shares.sum(-1, keepdims=True)
        return np.asarray((shares @ value).transpose(0, 2, 1, 3).reshape(texts, pieces, width))

    def _dense(self, values: Floats, name: str) -> Floats:
        return np.asarray(values @ self.weights[f"{name}.weight"].T + self.weights[f"{name}.bias"])

    def _norm(self, values: Floats, name: str) -> Floats:
        away = values - values.mean(-1, keepdims=True)
        spread = np.sqrt((away * away).mean(-1, keepdims=True) + np.float32(self.epsilon))
        return np.asarray(away / spread * self.weights[f"{name}.weight"] + self.weights[f"{name}.bias"])


def gelu(values: Floats) -> Floats:
    """Give x times the share of a normal distribution below x.

    Returns
    -------
    Same shape, float32, within 4e-7 of the value times its size.

    Notes
    -----
    Hendrycks and Gimpel, "Gaussian Error Linear Units", 2016; the error function by Abramowitz and
    Stegun, Handbook of Mathematical Functions, 7.1.26, wrong by at most 1.5e-7: NumPy has none.
    """
    size = np.abs(values) * np.float32(math.sqrt(0.5))
    t = 1 / (1 + np.float32(0.3275911) * size)
    series = np.zeros_like(t)
    for factor in (1.061405429, -1.453152027, 1.421413741, -0.284496736, 0.254829592):
        series = (series + np.float32(factor)) * t
    below = np.copysign(1 - series * np.exp(-size * size), values)
    return np.asarray(values * (1 + below) * np.float32(0.5))
