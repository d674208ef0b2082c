"""A sentence-embedding model of the inspector's own, tried on a tiny one made here.

The tiny one has no layers: a text's direction can be worked out by hand from its table of words. That the
layers are right is shown in ``tests/test_bert.py``, how good a real model is in docs/methods/narration.md.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import tokenizers
from numpy.typing import NDArray

from evidence import meanings
from evidence.errors import BadSetting
from evidence.findings import Catalogue, suggest
from evidence.words import StandardFinding

WORDS = ("[PAD]", "[UNK]", "duct", "hose", "attic", "loft", "panel", "breaker", "wire", "the", "in")
TABLE = np.array(
    [
        [9, 9, -9, -9], [0, 0, 0, 0], [1, -1, 0, 0], [0.9, -1, 0.1, 0], [1, -1, 0.2, -0.2],
        [1, -1, 0.3, -0.3], [0, 0, 1, -1], [0, 0.1, 1, -1.1], [0.1, 0, 1, -1.1], [0, 0, 0, 0], [0, 0, 0, 0],
    ],
    np.float32,
)  # fmt: skip
"""A direction a word; padding's is far off, so that counting it would show."""
ROWS = (
    StandardFinding("ATT-06", "attic", "duct in the attic", "", "", "", keywords=("hose in the loft",)),
    StandardFinding("ELE-02", "electrical", "wire in the panel", "", "", "", keywords=("breaker",)),
)


def write_model(folder: Path, kind: str = "F32") -> Path:
    """Write a model that looks words up in :data:`TABLE`, in the published form, and its tokenizer.

    The weights' form: https://github.com/huggingface/safetensors, "Format".
    """
    folder.mkdir(parents=True, exist_ok=True)
    weights: dict[str, NDArray[np.float64]] = {
        "embeddings.word_embeddings.weight": TABLE.astype(float),
        "embeddings.position_embeddings.weight": np.zeros((64, 4)),
        "embeddings.token_type_embeddings.weight": np.zeros((2, 4)),
        "embeddings.LayerNorm.weight": np.ones(4),
        "embeddings.LayerNorm.bias": np.zeros(4),
    }
    head: dict[str, object] = {"__metadata__": {"format": "pt"}}
    body = b""
    for name, values in weights.items():
        coded = values.astype({"F32": "<f4", "F16": "<f2"}[kind]).tobytes()
        offsets = [len(body), len(body) + len(coded)]
        head[name] = {"dtype": kind, "shape": list(values.shape), "data_offsets": offsets}
        body += coded
    told = json.dumps(head).encode()
    (folder / "model.safetensors").write_bytes(len(told).to_bytes(8, "little") + told + body)
    sizes = {"model_type": "bert", "hidden_act": "gelu", "num_attention_heads": 1, "layer_norm_eps": 1e-12}
    (folder / "config.json").write_text(json.dumps(sizes), "utf-8")
    vocabulary = {word: i for i, word in enumerate(WORDS)}
    made = tokenizers.Tokenizer(tokenizers.models.WordLevel(vocabulary, unk_token="[UNK]"))
    made.normalizer = tokenizers.normalizers.Lowercase()
    made.pre_tokenizer = tokenizers.pre_tokenizers.Whitespace()
    made.save(str(folder / "tokenizer.json"))
    return folder


def mean(*words: str) -> NDArray[np.float64]:
    """Work out a text's direction: each word's row brought to mean 0 and variance 1, then their mean."""
    rows = [TABLE[WORDS.index(word)].astype(float) for word in words]
    total = np.mean([(row - row.mean()) / (row.std() or 1.0) for row in rows], axis=0)
    return np.asarray(total / math.sqrt(float(total @ total)))


@pytest.mark.parametrize(("kind", "within"), [("F32", 1e-5), ("F16", 2e-3)])
def test_a_text_is_the_mean_of_its_own_tokens_at_length_one(tmp_path: Path, kind: str, within: float) -> None:
    """Reference: the mean worked out here from the table; padding of the shorter text counts nothing."""
    model = meanings.Model(write_model(tmp_path, kind))

    found = model.embed(["Duct hose attic", "panel"])

    assert np.allclose(found, [mean("duct", "hose", "attic"), mean("panel")], atol=within)
    assert model.embed([]).shape[0] == 0


def test_a_finding_is_as_near_as_its_sentence_or_its_nearest_keyword(tmp_path: Path) -> None:
    model = meanings.Model(write_model(tmp_path))

    found = model.nearness(["the hose in the attic", "breaker wire"], ROWS)

    attic = (("duct", "in", "the", "attic"), ("hose", "in", "the", "loft"))
    panel = (("wire", "in", "the", "panel"), ("breaker",))
    for row, said in zip(found, (("the", "hose", "in", "the", "attic"), ("breaker", "wire")), strict=True):
        expected = [max(float(mean(*said) @ mean(*words)) for words in texts) for texts in (attic, panel)]
        assert np.allclose(row, expected, atol=1e-5)


def test_many_texts_go_through_in_batches_and_keep_their_order(tmp_path: Path) -> None:
    model = meanings.Model(write_model(tmp_path))

    found = model.embed(["duct", "panel in the attic"] * 50)

    assert np.allclose(found[::2], mean("duct"), atol=1e-5)
    assert np.allclose(found[1::2], mean("panel", "in", "the", "attic"), atol=1e-5)


def test_a_sentence_that_shares_no_word_is_offered_what_it_means(tmp_path: Path) -> None:
    model = meanings.Model(write_model(tmp_path))
    rows = Catalogue(ROWS)

    by_words = suggest("loft loft", among=Catalogue(ROWS[1:]))
    both = suggest("the loft", among=rows, nearness=model.nearness(["the loft"], ROWS)[0].tolist())

    assert by_words == []
    assert both[0].id == "ATT-06"
    unknown = suggest("blorx", among=rows, nearness=[0.1, 0.9])
    assert [(one.id, one.reason) for one in unknown] == [
        ("ELE-02", "has a like meaning"),
        ("ATT-06", "has a like meaning"),
    ]


@pytest.mark.parametrize("name", ["model.safetensors", "config.json", "tokenizer.json"])
def test_a_folder_that_lacks_a_file_or_holds_a_broken_one_is_refused(tmp_path: Path, name: str) -> None:
    folder = write_model(tmp_path)
    (folder / name).write_bytes(b"no model")
    said = "cannot be used" if name == "tokenizer.json" else f"cannot be used: its {name} is no such file"
    with pytest.raises(BadSetting, match=said):
        meanings.Model(folder)
    (folder / name).unlink()
    with pytest.raises(BadSetting, match=f"has no {name}"):
        meanings.Model(folder)


def test_another_sort_of_model_is_refused_with_what_is_other(tmp_path: Path) -> None:
    folder = write_model(tmp_path)
    sizes = json.loads((folder / "config.json").read_text("utf-8"))

    (folder / "config.json").write_text(json.dumps({**sizes, "model_type": "mpnet"}), "utf-8")
    with pytest.raises(BadSetting, match="model_type 'mpnet'"):
        meanings.Model(folder)

    sizes.pop("layer_norm_eps")
    (folder / "config.json").write_text(json.dumps(sizes), "utf-8")
    with pytest.raises(BadSetting, match="it has no 'layer_norm_eps'"):
        meanings.Model(folder)

    (folder / "config.json").write_text(json.dumps({**sizes, "layer_norm_eps": 1e-12}), "utf-8")
    (folder / "1_Pooling").mkdir()
    (folder / "1_Pooling" / "config.json").write_text('{"pooling_mode_cls_token": true}', "utf-8")
    with pytest.raises(BadSetting, match="mean over a text's pieces"):
        meanings.Model(folder)
