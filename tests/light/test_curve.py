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


@given(st.floats(1.0, 20.0), st.floats(0.5, 0.95))
def test_a_lift_keeps_black_and_the_order_of_tones(gain: float, knee: float) -> None:
    tone = curve.lift(gain, knee).astype(int)

    assert tone[0] == 0
    assert tone[255] == 255
    assert (np.diff(tone) >= 0).all()
    assert (tone >= np.arange(256) - 1).all()
