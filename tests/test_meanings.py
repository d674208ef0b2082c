"""A sentence-embedding model of the inspector's own, tried on a tiny one made here.

No real model's weights can be had where this was written; what is proved is the way from a folder to
an offer, not how good a model is.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import onnx
import pytest
import tokenizers
from numpy.typing import NDArray
from onnx import TensorProto, helper, numpy_helper

from evidence import meanings
from evidence.errors import BadSetting
from evidence.words import StandardFinding

WORDS = ("[PAD]", "[UNK]", "duct", "hose", "attic", "loft", "panel", "breaker", "wire", "the", "in")
TABLE = np.array(
    [
        [9.0, 9.0, 9.0], [0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.9, 0.1, 0.0], [1.0, 0.2, 0.0], [1.0, 0.3, 0.0],
        [0.0, 0.0, 1.0], [0.0, 0.1, 1.0], [0.1, 0.0, 1.0], [0.0, 0.0, 0.0], [0.0, 0.0, 0.0],
    ],
    np.float32,
)  # fmt: skip
"""A direction a word; padding's is far off, so that counting it would show."""
ROWS = (
    StandardFinding("ATT-06", "attic", "duct in the attic", "", "", "", keywords=("hose in the loft",)),
    StandardFinding("ELE-02", "electrical", "wire in the panel", "", "", "", keywords=("breaker",)),
)


def write_model(folder: Path, *, pooled: bool = False) -> Path:
    """Write a model that looks words up in :data:`TABLE`, in ONNX's own form, and its tokenizer."""
    folder.mkdir(parents=True, exist_ok=True)
    ids = helper.make_tensor_value_info("input_ids", TensorProto.INT64, ["n", "t"])
    mask = helper.make_tensor_value_info("attention_mask", TensorProto.INT64, ["n", "t"])
    nodes = [helper.make_node("Gather", ["table", "input_ids"], ["layer"], axis=0)]
    given = "layer"
    shape: list[str | int | None] = ["n", "t", 3]
    if pooled:
        nodes.append(helper.make_node("ReduceSum", ["layer", "axes"], ["pooled"], keepdims=0))
        given, shape = "pooled", ["n", 3]
    weights = [numpy_helper.from_array(TABLE, "table")]
    if pooled:
        weights.append(numpy_helper.from_array(np.array([1], np.int64), "axes"))
    output = helper.make_tensor_value_info(given, TensorProto.FLOAT, shape)
    graph = helper.make_graph(nodes, "words", [ids, mask], [output], weights)
    onnx.save(
        helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=9),
        folder / "model.onnx",
    )
    vocabulary = {word: i for i, word in enumerate(WORDS)}
    made = tokenizers.Tokenizer(tokenizers.models.WordLevel(vocabulary, unk_token="[UNK]"))
    made.normalizer = tokenizers.normalizers.Lowercase()
    made.pre_tokenizer = tokenizers.pre_tokenizers.Whitespace()
    made.save(str(folder / "tokenizer.json"))
    return folder


def mean(*words: str) -> NDArray[np.float64]:
    total = np.mean([TABLE[WORDS.index(word)] for word in words], axis=0)
    return np.asarray(total / math.sqrt(float(total @ total)))


def test_a_text_is_the_mean_of_its_own_tokens_at_length_one(tmp_path: Path) -> None:
    """Reference: the mean worked out here from the table; padding of the shorter text counts nothing."""
    model = meanings.Model(write_model(tmp_path))

    found = model.embed(["Duct hose attic", "panel"])

    assert np.allclose(found, [mean("duct", "hose", "attic"), mean("panel")], atol=1e-6)
    assert model.embed([]).shape[0] == 0


def test_a_model_that_gives_one_vector_a_text_is_taken_at_its_word(tmp_path: Path) -> None:
    model = meanings.Model(write_model(tmp_path, pooled=True))

    assert np.allclose(model.embed(["duct hose"]), [mean("duct", "hose")], atol=1e-6)


def test_the_finding_whose_words_lie_nearest_is_offered_first(tmp_path: Path) -> None:
    model = meanings.Model(write_model(tmp_path))

    attic = model.suggest("the hose in the attic", ROWS)
    panel = model.suggest("breaker wire", ROWS, limit=1)

    assert [one.id for one in attic] == ["ATT-06", "ELE-02"]
    rows = (("duct", "in", "the", "attic"), ("hose", "in", "the", "loft"))
    best = max(mean("hose", "the", "in", "the", "attic") @ mean(*words) for words in rows)
    assert attic[0].score == pytest.approx(10 * best, abs=0.001)
    assert [one.id for one in panel] == ["ELE-02"]


def test_many_texts_go_through_in_batches_and_keep_their_order(tmp_path: Path) -> None:
    model = meanings.Model(write_model(tmp_path))

    found = model.embed(["duct", "panel"] * 50)

    assert np.allclose(found[::2], mean("duct"), atol=1e-6)
    assert np.allclose(found[1::2], mean("panel"), atol=1e-6)


@pytest.mark.parametrize("name", ["model.onnx", "tokenizer.json"])
def test_a_folder_that_lacks_a_file_or_holds_a_broken_one_is_refused(tmp_path: Path, name: str) -> None:
    folder = write_model(tmp_path)
    (folder / name).write_bytes(b"no model")
    with pytest.raises(BadSetting, match="cannot be loaded"):
        meanings.Model(folder)
    (folder / name).unlink()
    with pytest.raises(BadSetting, match=f"has no {name}"):
        meanings.Model(folder)
