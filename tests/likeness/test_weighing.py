"""Signs of a change raise a window's number, excuses lower it; see docs/methods/likeness.md."""

import numpy as np

from evidence.likeness import signs, weighing


def test_no_weight_turns_a_sign_into_an_excuse() -> None:
    """Monotone nets: Sill, "Monotonic Networks", NIPS 1997: weights of one sign along every path."""
    held = weighing.weights()
    raising = len(signs.SIGNS)

    assert (held.inner >= 0).all()
    assert (held.outer >= 0).all()
    assert (held.slope >= 0).all()
    assert (held.spread[:raising] > 0).all()
    assert (held.spread[raising:] < 0).all()


def test_a_stronger_sign_never_counts_less() -> None:
    chance = np.random.default_rng(4)
    held = weighing.weights()
    found = held.middle + held.spread * chance.normal(0, 1, (200, len(held.middle))).astype(np.float32)
    stronger = found.copy()
    stronger[:, : len(signs.SIGNS)] *= 1.3

    assert (held.of(np.maximum(stronger, found)) >= held.of(found) - 1e-4).all()
