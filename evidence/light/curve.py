"""The tone curve: a lift of dark values that keeps their order and never burns out light ones.

Everything is worked in light (IEC 61966-2-1 decoded) and leaves as 256 whole numbers, so that
the curve itself is the record.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Curve = NDArray[np.uint8]
"""Shape (256,), uint8, never falling: output code for each input code."""

STEPS_PER_STOP = 50
"""Gains are taken from a ladder this fine, so that a rounding on another machine cannot move one."""

GAIN_MAX = 32.0
"""Five stops; beyond that little but noise would be lifted (docs/methods/light.md)."""

PULL = 41
"""0.4 ** 2, in 1/256: black under noise has a mean of 0.4 deviations (see :func:`between`)."""

PULL_MOST = 2.0
"""Noise, in codes, above which black is pulled down no further: texture may have faked it."""


def decode(srgb: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn encoded values 0..1 into linear light 0..1 (IEC 61966-2-1, 5.2)."""
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def encode(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn linear light 0..1 into encoded values 0..1 (IEC 61966-2-1, 5.2)."""
    return np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)


LINEAR = decode(np.arange(256) / 255.0)
"""Linear light of each code."""


def rung(gain: float) -> float:
    """Give the nearest gain of the ladder, at most :data:`GAIN_MAX`."""
    step = min(round(np.log2(gain) * STEPS_PER_STOP), int(np.log2(GAIN_MAX) * STEPS_PER_STOP))
    return float(2.0 ** (step / STEPS_PER_STOP))


def lift(gain: float, knee: float) -> Curve:
    """Give the curve that multiplies the light of dark values by a gain.

    Parameters
    ----------
    gain
        Slope at black in linear light, 1 or more; 1 gives the identity.
    knee
        0..1: linear light after the gain, above which values are held back so that
        full scale stays full scale.

    Returns
    -------
    256 codes, never falling, 0 stays 0 and 255 stays 255; no code below 250 reaches 250.

    Notes
    -----
    Above the knee the rest is a rational shoulder that meets the straight part with the same
    slope and ends at full scale (after Reinhard et al. 2002, from memory).

    Examples
    --------
    >>> bool((lift(1.0, 0.5) == np.arange(256)).all())
    True
    """
    if gain <= 1:
        return np.arange(256, dtype=np.uint8)
    raised = gain * LINEAR
    over = np.maximum(raised - knee, 0) / (1 - knee)
    end = (gain - knee) / (1 - knee)
    held = knee + (1 - knee) * over / (1 + over * (1 - 1 / end))
    codes = np.rint(255 * encode(np.minimum(np.where(raised <= knee, raised, held), 1)))
    codes[:250] = np.minimum(codes[:250], 249)
    return np.maximum(codes, np.arange(256)).astype(np.uint8)


def between(tone: Curve, noise: float = 0.0) -> NDArray[np.uint8]:
    """Fill a curve in between its codes, straight from one to the next, in whole numbers.

    Parameters
    ----------
    noise
        Deviation of the noise as taken, in codes, whose floor is taken out again.

    Returns
    -------
    Shape (65536,), uint8: output code for each 1/256 of a code.

    Notes
    -----
    A camera cuts off what noise throws below black, so the mean of black is not 0 but 0.4 of a
    deviation (the mean of a rectified normal variable), and a lift would show that as grey haze.
    That mean m of a level x lies close to the hyperbola m = (x + sqrt(x**2 + c**2)) / 2 with c = 0.8
    deviations, which is turned round without a root: x = m - c**2 / 4 m.
    """
    place = np.arange(65536)
    pull = (int(min(noise, PULL_MOST) * 256) ** 2 * PULL) >> 8
    place = np.maximum(place - pull // np.maximum(place, 1), 0)
    low, part = place >> 8, place & 255
    wide = np.append(tone, tone[-1]).astype(np.int64)
    return np.asarray((wide[low] * (256 - part) + wide[low + 1] * part + 128) >> 8, np.uint8)
