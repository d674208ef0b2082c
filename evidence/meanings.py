"""Offer standard findings by the meaning of a sentence, with a model that the inspector supplies.

Optional: needs ``pip install 'evidence-appendix[meanings]'`` and a folder with a sentence-embedding
model in ONNX form (``model.onnx``) and its tokenizer (``tokenizer.json``). Hides both libraries. No
model comes with the program, and nothing is fetched.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from evidence.errors import BadSetting, LibraryMissing
from evidence.words import StandardFinding, Suggestion

if TYPE_CHECKING:
    from collections.abc import Sequence

MODEL: Final = "model.onnx"
TOKENIZER: Final = "tokenizer.json"
LONGEST_TOKENS: Final = 128
"""A spoken sentence has a tenth of that; longer texts are cut."""
_BATCH: Final = 32


class Model:
    """A sentence-embedding model from a folder.

    Parameters
    ----------
    folder
        Holds :data:`MODEL` and :data:`TOKENIZER`.

    Raises
    ------
    LibraryMissing
        onnxruntime or tokenizers is not installed.
    BadSetting
        A file is missing or is none of its kind.

    Attributes
    ----------
    digest
        SHA-256 of the model's file: what was offered by it can be told from what another offers.
    """

    def __init__(self, folder: Path) -> None:
        try:
            # Heavy and optional: only who names a model pays for it.
            import onnxruntime  # noqa: PLC0415
            import tokenizers  # noqa: PLC0415
        except ImportError as problem:
            raise LibraryMissing(
                f"A sentence model needs {problem.name}: pip install 'evidence-appendix[meanings]'."
            ) from problem
        for name in (MODEL, TOKENIZER):
            if not (folder / name).is_file():
                raise BadSetting(f"The sentence model's folder {folder} has no {name}.")
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1  # the same sums in the same order on every machine
        try:
            self._session = onnxruntime.InferenceSession(
                str(folder / MODEL), options, providers=["CPUExecutionProvider"]
            )
            self._tokenizer = tokenizers.Tokenizer.from_file(str(folder / TOKENIZER))
        except Exception as problem:
            # Both libraries raise types of their own that share nothing but this.
            raise BadSetting(f"The sentence model in {folder} cannot be loaded: {problem}.") from problem
        self._tokenizer.enable_truncation(LONGEST_TOKENS)
        self._tokenizer.enable_padding()
        self._inputs = [one.name for one in self._session.get_inputs()]
        self.digest = hashlib.sha256((folder / MODEL).read_bytes()).hexdigest()
        self._known: dict[tuple[StandardFinding, ...], tuple[NDArray[np.float32], NDArray[np.intp]]] = {}

    def embed(self, texts: Sequence[str]) -> NDArray[np.float32]:
        """Give each text a direction.

        Returns
        -------
        Shape (texts, width), float32, each row of length 1: the mean of the model's last layer over
        the text's own tokens, or its output as it is where it gives one vector a text.
        """
        rows = [self._batch(texts[at : at + _BATCH]) for at in range(0, len(texts), _BATCH)]
        vectors = np.concatenate(rows) if rows else np.zeros((0, 1), np.float32)
        lengths = np.linalg.norm(vectors, axis=1, keepdims=True)
        return np.asarray(vectors / np.maximum(lengths, 1e-12), np.float32)

    def suggest(self, sentence: str, rows: tuple[StandardFinding, ...], limit: int = 3) -> list[Suggestion]:
        """Offer the standard findings whose words lie nearest to a sentence's, likeliest first.

        Parameters
        ----------
        rows
            The standard findings to choose among.

        Returns
        -------
        Each with ten times its cosine: of its sentence or of the nearest of its keywords. That orders
        sentences and stays below what :data:`evidence.steps.gaps.LIKELY` asks, which was chosen for
        words: no threshold could be measured for a model.
        """
        vectors, owners = self._rows(rows)
        near = vectors @ self.embed([sentence])[0]
        best = np.full(len(rows), -1.0)
        np.maximum.at(best, owners, near)
        order = sorted(range(len(rows)), key=lambda i: (-best[i], rows[i].id))[:limit]
        return [Suggestion(rows[i].id, round(10 * float(best[i]), 3), "has a like meaning") for i in order]

    def _rows(self, rows: tuple[StandardFinding, ...]) -> tuple[NDArray[np.float32], NDArray[np.intp]]:
        if rows not in self._known:
            texts = [(text, i) for i, row in enumerate(rows) for text in (row.seen, *row.keywords)]
            owners = np.array([i for _, i in texts], np.intp)
            self._known[rows] = self.embed([text for text, _ in texts]), owners
        return self._known[rows]

    def _batch(self, texts: Sequence[str]) -> NDArray[np.float32]:
        coded = self._tokenizer.encode_batch(list(texts))
        fed = {
            "input_ids": np.array([one.ids for one in coded], np.int64),
            "attention_mask": np.array([one.attention_mask for one in coded], np.int64),
            "token_type_ids": np.array([one.type_ids for one in coded], np.int64),
        }
        output = self._session.run(None, {name: fed[name] for name in self._inputs if name in fed})[0]
        layer = np.asarray(output, np.float32)
        if layer.ndim == 2:
            return layer
        mask = fed["attention_mask"][:, :, None].astype(np.float32)
        return np.asarray((layer * mask).sum(1) / np.maximum(mask.sum(1), 1.0), np.float32)


@lru_cache(maxsize=1)
def model(folder: Path) -> Model:
    """Load a model once."""
    return Model(folder)
