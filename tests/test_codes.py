"""Percentiles by counting are NumPy's own, to the bit."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as drawn
from numpy.typing import NDArray

from evidence.codes import percentiles

GREY = drawn.arrays(np.uint8, drawn.array_shapes(min_dims=2, max_dims=2, max_side=12))


@given(GREY, st.lists(st.floats(0, 100, allow_subnormal=False), min_size=1, max_size=4))
def test_they_are_those_of_numpy(grey: NDArray[np.uint8], ranks: list[float]) -> None:
    assert percentiles(grey, ranks) == np.percentile(grey, ranks).tolist()


def test_they_are_those_of_numpy_in_a_large_picture() -> None:
    chance = np.random.default_rng(4)
    grey = np.clip(chance.normal(90, 60, (768, 1024)), 0, 255).astype(np.uint8)

    assert percentiles(grey, (0.5, 99.0, 99.5)) == np.percentile(grey, (0.5, 99.0, 99.5)).tolist()
