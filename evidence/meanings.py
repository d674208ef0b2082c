"""Tell how near sentences and standard findings lie in meaning, with a model that the inspector supplies.

Optional: needs ``pip install 'evidence-appendix[meanings]'`` and a folder with a sentence-embedding
model as they are published: BERT's weights (``model.safetensors``), its sizes (``config.json``) and its
tokenizer (``tokenizer.json``). Hides the three files. No model comes with the program, and nothing is
fetched.
"""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from evidence import bert
from evidence.errors import BadSetting, LibraryMissing

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path
    from typing import Any

    from evidence.words import StandardFinding

VERSION: Final = 1

WEIGHTS: Final = "model.safetensors"
SIZES: Final = "config.json"
TOKENIZER: Final = "tokenizer.json"
LONGEST_PIECES: Final = 128
"""A spoken sentence has a tenth of that; longer texts are cut."""
_POOLING: Final = "1_Pooling/config.json"
_BATCH: Final = 32
_NUMBERS: Final[dict[str, np.dtype[np.float32] | np.dtype[np.float16]]] = {
    "F32": np.dtype("<f4"),
    "F16": np.dtype("<f2"),
}
"""The safetensors format's names of the kinds of numbers that are read."""


class Model:
    """A sentence-embedding model from a folder.

    Parameters
    ----------
    folder
        Holds :data:`WEIGHTS`, :data:`SIZES` and :data:`TOKENIZER`.

    Raises
    ------
    LibraryMissing
        tokenizers is not installed.
    BadSetting
        A file is missing or is none of its kind, or it is another sort of model.

    Attributes
    ----------
    method
        Version of the sums and SHA-256 of the weights' file: what was offered by it can be told from
        what another offers.
    """

    def __init__(self, folder: Path) -> None:
        try:
            # Heavy and optional: only who names a model pays for it.
            import tokenizers  # noqa: PLC0415
        except ImportError as problem:
            raise LibraryMissing(
                f"A sentence model needs {problem.name}: pip install 'evidence-appendix[meanings]'."
            ) from problem
        for name in (WEIGHTS, SIZES, TOKENIZER):
            if not (folder / name).is_file():
                raise BadSetting(f"The sentence model's folder {folder} has no {name}.")
        try:
            self._encoder = _encoder(folder)
            self._tokenizer = tokenizers.Tokenizer.from_file(str(folder / TOKENIZER))
            self._tokenizer.enable_truncation(min(LONGEST_PIECES, self._encoder.longest))
            self._tokenizer.enable_padding()
            self.embed(["a try"])
        except KeyError as problem:
            raise BadSetting(
                f"The sentence model in {folder} cannot be used: it has no {problem}."
            ) from problem
        except Exception as problem:
            # The library raises a type that is nothing but Exception.
            raise BadSetting(f"The sentence model in {folder} cannot be used: {problem}.") from problem
        with (folder / WEIGHTS).open("rb") as file:
            self.method = f"{VERSION}/{bert.VERSION}/{hashlib.file_digest(file, 'sha256').hexdigest()}"
        self._known: dict[tuple[StandardFinding, ...], tuple[NDArray[np.float32], NDArray[np.intp]]] = {}

    def embed(self, texts: Sequence[str]) -> NDArray[np.float32]:
        """Give each text a direction.

        Returns
        -------
        Shape (texts, width), float32, each row of length 1: the mean of the model's last layer over
        the text's own pieces (Reimers and Gurevych, "Sentence-BERT", 2019).
        """
        coded = self._tokenizer.encode_batch(list(texts))
        lengths = [sum(one.attention_mask) for one in coded]
        order = sorted(range(len(texts)), key=lengths.__getitem__)  # so that little is padded
        made = np.zeros((len(texts), self._encoder.width), np.float32)
        for first in range(0, len(order), _BATCH):
            places = order[first : first + _BATCH]
            longest = lengths[places[-1]]
            pieces = np.array([coded[i].ids[:longest] for i in places], np.int64)
            own = np.array([coded[i].attention_mask[:longest] for i in places], bool)
            layer = self._encoder.last_layer(pieces, own)
            made[places] = np.where(own[:, :, None], layer, 0).sum(1)
        return np.asarray(made / np.maximum(np.linalg.norm(made, axis=1, keepdims=True), 1e-12))

    def nearness(self, sentences: Sequence[str], rows: tuple[StandardFinding, ...]) -> NDArray[np.float32]:
        """Tell how near each sentence lies to each standard finding.

        Returns
        -------
        Shape (sentences, rows), -1..1: the cosine to the finding's sentence or to the nearest of its
        keywords.
        """
        if rows not in self._known:
            texts = [(text, i) for i, row in enumerate(rows) for text in (row.seen, *row.keywords)]
            firsts = np.flatnonzero(np.diff([i for _, i in texts], prepend=-1))
            self._known[rows] = self.embed([text for text, _ in texts]), firsts
        vectors, firsts = self._known[rows]
        return np.asarray(np.maximum.reduceat(self.embed(sentences) @ vectors.T, firsts, axis=1))


def _encoder(folder: Path) -> bert.Encoder:
    """Read a model's weights and sizes; any error says what is wrong with them."""
    sizes = _table((folder / SIZES).read_bytes(), SIZES)
    for name, known in (("model_type", "bert"), ("hidden_act", "gelu")):
        if sizes.get(name) != known:
            raise ValueError(f"its {SIZES} says {name} {sizes.get(name)!r}, and only {known!r} is known")
    pooling = folder / _POOLING
    if pooling.is_file():
        ways = _table(pooling.read_bytes(), _POOLING)
        if not ways.get("pooling_mode_mean_tokens"):
            raise ValueError("it does not take the mean over a text's pieces, and no other way is known")
    return bert.Encoder(
        _weights(folder / WEIGHTS), int(sizes["num_attention_heads"]), float(sizes["layer_norm_eps"])
    )


def _table(text: bytes, name: str) -> dict[str, Any]:
    """Read JSON; ValueError names the file that is none, which the library's complaint does not."""
    try:
        table = json.loads(text)
    except ValueError:
        table = None
    if not isinstance(table, dict):
        raise ValueError(f"its {name} is no such file")
    return table


def _weights(file: Path) -> dict[str, NDArray[np.float32]]:
    """Read a safetensors file: the length of a head, 8 bytes; the head, JSON; the numbers, row by row."""
    raw = np.memmap(file, np.uint8, "r")
    start = 8 + int.from_bytes(raw[:8].tobytes(), "little")
    head = _table(raw[8:start].tobytes(), WEIGHTS)
    found = {}
    for name, one in head.items():
        if name != "__metadata__" and one["dtype"] in _NUMBERS:
            first, end = (start + at for at in one["data_offsets"])
            numbers = np.frombuffer(raw[first:end], _NUMBERS[one["dtype"]]).reshape(one["shape"])
            found[name.removeprefix("bert.")] = np.asarray(numbers, np.float32)
    return found


@lru_cache(maxsize=1)
def model(folder: Path) -> Model:
    """Load a model once."""
    return Model(folder)
