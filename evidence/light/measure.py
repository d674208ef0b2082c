"""Tell how dark or too bright a picture is, and by how much it should be lifted.

Works on a picture of 256 pixels and answers from its histograms alone, on a ladder of gains.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.light import curve
from evidence.smaller import by_parts
from evidence.words import Rgb

TARGET = 0.44
"""Mean in code, of full scale, that lifted pictures are brought to; fitted to real exposure brackets."""

WHITE = 0.9
"""Linear light that the lightest fiftieth of a well-exposed picture reaches; by experiment."""

GUESS_MAX = 64.0
"""No guess goes beyond this."""

HELD = 0.85
"""Share of the guesses' mean that is used: that came out a third of a stop too great, by experiment."""

KNEE = 0.8
MEAN_LEAST = 1.7
"""No picture is lifted whose mean asks for less."""

GAIN_LEAST = 2.3
"""Nor one where mean (a third) and lightest parts (two thirds) together ask for less."""

LIGHT_TENTH = 200
"""Nor one of which a tenth is this light already: a bright thing before a dark ground."""

LIT_TWENTIETH, BLACK = 150, 24
"""Nor one of which a twentieth is this light and two fifths nearly black: one lit thing in the dark."""

SMALL_LIT, SMALL_BLACK, BURNT = 100, 4, 245
"""Nor one of which a hundredth (1 in this many) is that light without being burnt out, and a fifth as
black as this: a small lit thing in the dark. Of what the camera took too dark, the lightest parts are
burnt out lamps or no light at all."""

LAMP_MEAN, LAMP_TENTH, LAMP_TWENTIETH = 4.0, 140, 200
"""But a lamp or window in view says nothing: the mean asks for this much, no more than a tenth and a
twentieth are this light, and no fifth is nearly black. All by experiment (docs/methods/light.md)."""

WIDE, PAST_WHITE, MEANS_SHARE = 20.0, 3.2, 1 / 5
"""A subject before a dark ground: its lightest tenth has so many times the light of its darkest fifth, and
the mean asks for so many times what the lightest parts ask for. Then the mean has no more than this share. A
room's walls throw light back, and a lamp takes up less than a tenth. By experiment."""

BRIGHT_MEAN, BRIGHT_FIFTH = 160, 250
"""Too bright: the mean code is this high and a fifth of the picture has a burnt-out channel."""

HOPELESS_SHARE, HOPELESS_CODE = 0.60, 2
"""Too dark: this share of the picture lies at or below this code (docs/methods/light.md) ..."""

HOPELESS_TENTH = 20
"""... or nine tenths of it lie below this code, which the greatest gain takes to a dim grey only."""


@dataclass(frozen=True, slots=True)
class Darkness:
    """What the histograms say.

    Attributes
    ----------
    gain
        Factor on linear light, 1..32, from the ladder of :mod:`curve`.
    left_alone
        The picture is as it should be.
    hopeless
        Most of it holds no signal.
    too_bright
        Over-exposed: bright on the whole, and much of it burnt out.
    """

    gain: float
    left_alone: bool
    hopeless: bool
    too_bright: bool


def thumbnail(rgb: Rgb) -> Rgb:
    """Average the picture down to at most 511 pixels a side; smaller ones stay as they are."""
    height, width = rgb.shape[:2]
    step = max(height, width) // 256
    if step < 2:
        return rgb
    return by_parts(rgb, step)


def darkness(rgb: Rgb) -> Darkness:
    """Measure a picture of any size.

    Notes
    -----
    Two guesses of the missing exposure are made. The mean's is right for most scenes and wrong for dark
    things; the lightest parts' is right for all that hold something white and wrong where a lamp is
    in view. Their geometric mean was nearer the truth than either, and is held back a little
    (docs/methods/light.md).
    """
    small = thumbnail(rgb)
    codes = np.bincount(small.reshape(-1), minlength=256)
    grey = np.bincount(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY).reshape(-1), minlength=256)
    # Channel by channel: NumPy's maximum along three values takes a third of all this.
    highest = np.maximum(np.maximum(small[..., 0], small[..., 1]), small[..., 2])
    lightest = np.bincount(highest.reshape(-1), minlength=256)
    fifth, two_fifths, tenth, twentieth, fiftieth = (
        _code_below(lightest, part) for part in (20, 40, 90, 95, 98)
    )
    by_mean = gain_to(codes, TARGET, KNEE)
    by_white = float(np.clip(WHITE / max(float(curve.LINEAR[fiftieth]), 1e-6), 1, GUESS_MAX))
    asked = by_mean ** (1 / 3) * by_white ** (2 / 3)
    black = int(grey[: HOPELESS_CODE + 1].sum())
    hopeless = black > HOPELESS_SHARE * int(grey.sum()) or tenth <= HOPELESS_TENTH
    lit = SMALL_LIT * int(lightest[LIT_TWENTIETH:BURNT].sum()) >= int(lightest.sum())
    low_key = (
        tenth >= LIGHT_TENTH
        or (twentieth >= LIT_TWENTIETH and two_fifths <= BLACK)
        or (lit and fifth <= SMALL_BLACK)
    )
    lamp = by_mean >= LAMP_MEAN and tenth < LAMP_TENTH and twentieth < LAMP_TWENTIETH and fifth >= BLACK
    left_alone = by_mean < MEAN_LEAST or (asked < GAIN_LEAST and not lamp) or low_key
    wide = curve.LINEAR[tenth] >= WIDE * curve.LINEAR[max(fifth, 1)]
    if asked < GAIN_LEAST:
        # Where nothing but the lamp spoke against a lift, the mean is the better guess.
        share = 2 / 3
    else:
        share = MEANS_SHARE if wide and by_mean >= PAST_WHITE * by_white else 1 / 2
    gain = 1.0 if left_alone else curve.rung(max(1.0, HELD * by_mean**share * by_white ** (1 - share)))
    burnt = 5 * int(lightest[BRIGHT_FIFTH:].sum()) >= int(lightest.sum())
    too_bright = burnt and int(codes @ np.arange(256)) >= BRIGHT_MEAN * int(codes.sum())
    return Darkness(gain, left_alone, hopeless, too_bright)


def _code_below(counts: NDArray[np.int64], percent: int) -> int:
    """Find the least code at or below which this part of the picture lies."""
    return int(np.searchsorted(100 * np.cumsum(counts), percent * int(counts.sum())))


def gain_to(codes: NDArray[np.int64], target: float, knee: float) -> float:
    """Find the least gain of the ladder whose curve brings the mean code to a target share."""
    wanted = int(target * 255 * int(codes.sum()))
    low, high = 0, int(np.log2(GUESS_MAX) * curve.STEPS_PER_STOP)
    while low < high:
        middle = (low + high) // 2
        lifted = curve.lift(2.0 ** (middle / curve.STEPS_PER_STOP), knee).astype(np.int64)
        if int(lifted @ codes) >= wanted:
            high = middle
        else:
            low = middle + 1
    return float(2.0 ** (low / curve.STEPS_PER_STOP))
