"""The tone curve, and the encoding it works through."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evidence.light import curve


def test_encoding_and_decoding_are_iec_61966_2_1() -> None:
    """IEC 61966-2-1: the toe ends at 0.04045 encoded, 0.0031308 linear; above it the formula of 5.2."""
    assert curve.decode(np.array([0.04045]))[0] == pytest.approx(0.0031308, abs=2e-7)
    assert curve.decode(np.array([0.0, 1.0])).tolist() == [0.0, 1.0]
    assert curve.encode(np.array([0.5]))[0] == pytest.approx(1.055 * 0.5 ** (1 / 2.4) - 0.055, abs=1e-9)
    codes = np.arange(256) / 255
    assert np.abs(curve.encode(curve.decode(codes)) - codes).max() < 1e-6


@given(st.floats(1.0, 32.0), st.floats(0.5, 0.95))
def test_a_lift_keeps_black_and_the_order_of_tones(gain: float, knee: float) -> None:
    tone = curve.lift(gain, knee).astype(int)

    assert tone[0] == 0
    assert tone[255] == 255
    assert (np.diff(tone) >= 0).all()
    assert (tone >= np.arange(256) - 1).all()


@pytest.mark.parametrize("spread", [0.9375, 1.5, 2.0])
def test_the_floor_that_noise_leaves_at_black_is_taken_out(spread: float) -> None:
    """The mean of a rectified normal variable, drawn: black comes out within a fifth of its floor."""
    chance = np.random.default_rng(3).normal(0, spread, 200_000)
    table = curve.between(np.arange(256, dtype=np.uint8), spread).astype(int)

    for level in (0.0, 4 * spread, 40.0):
        seen = float(np.maximum(level + chance, 0).mean())
        assert int(table[round(256 * seen)]) == pytest.approx(level, abs=0.6)
    assert table[round(256 * 0.35 * spread)] == 0
    assert (np.diff(table) >= 0).all()


def test_without_noise_nothing_is_pulled_down() -> None:
    assert np.array_equal(curve.between(np.arange(256, dtype=np.uint8))[::256], np.arange(256))
