"""Lift a dark picture, by the program's own measure or by the inspector's, and again from the record."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.light import curve, measure, noise
from evidence.words import Light, Rgb

VERSION = 9
"""Rises with every change that moves a pixel or a decision."""

STOPS_MAX = float(np.log2(curve.GAIN_MAX))


def correct(rgb: Rgb, proposed: Light | None = None) -> tuple[Rgb, Light]:
    """Brighten a picture that is too dark, or hand it back untouched.

    Parameters
    ----------
    rgb
        Upright picture.
    proposed
        A proposal for this picture from a smaller copy of it; its curve is kept and only the
        noise is measured here, at the size it will be printed from. None measures everything.

    Returns
    -------
    The corrected picture, or the very same array when left alone, with the record of it.
    """
    light = propose(rgb) if proposed is None else proposed
    if light.left_alone:
        return rgb, light
    if proposed is not None:
        light = _record(rgb, light.gain, np.array(light.curve, np.uint8), light.hopeless)
    return replay(rgb, light), light


def propose(rgb: Rgb) -> Light:
    """Measure a picture and say how it should be brightened, without doing it."""
    dark = measure.darkness(rgb)
    if dark.left_alone:
        return Light(VERSION, hopeless=dark.hopeless, too_bright=dark.too_bright)
    return _record(rgb, dark.gain, curve.lift(dark.gain, measure.KNEE), dark.hopeless)


def by_stops(rgb: Rgb, stops: float) -> tuple[Rgb, Light]:
    """Brighten a picture by the inspector's own lift.

    Parameters
    ----------
    rgb
        Upright picture.
    stops
        0 (as taken) to 5 (gain 32).

    Raises
    ------
    ValueError
        The lift is outside that range.
    """
    if not 0 <= stops <= STOPS_MAX:
        raise ValueError(f"A lift is from 0 to {STOPS_MAX:.2f} stops, not {stops}.")
    dark = measure.darkness(rgb)
    if stops == 0:
        return rgb, Light(VERSION, hopeless=dark.hopeless, too_bright=dark.too_bright)
    gain = float(2.0**stops)
    light = _record(rgb, gain, curve.lift(gain, measure.KNEE), dark.hopeless)
    return replay(rgb, light), light


def replay(rgb: Rgb, light: Light) -> Rgb:
    """Make the corrected picture again from its record: the same pixels, on any machine.

    Raises
    ------
    ValueError
        The record was made by another version of the method.
    """
    if light.version != VERSION:
        raise ValueError(f"This record was made by version {light.version} of the method; this is {VERSION}.")
    if light.left_alone:
        return rgb
    tone = np.array(light.curve, np.uint8)
    if not (light.noise_luma or light.noise_chroma):
        return np.asarray(cv2.LUT(rgb, tone), np.uint8)
    keep = np.array(light.desaturate, np.uint16)
    table = curve.between(tone, light.noise_luma)
    return noise.reduce(rgb, table, light.noise_luma, light.noise_chroma, keep)


def _record(rgb: Rgb, gain: float, tone: NDArray[np.uint8], hopeless: bool) -> Light:
    luma, chroma = noise.estimate(rgb)
    return Light(
        version=VERSION,
        gain=gain,
        stops=float(np.log2(gain)),
        curve=tuple(int(code) for code in tone),
        noise_luma=luma,
        noise_chroma=chroma,
        desaturate=_colour_kept(luma),
        left_alone=False,
        hopeless=hopeless,
    )


def _colour_kept(luma: float) -> tuple[int, ...]:
    """Hold colour down where a code as taken is mostly noise: all is kept from six deviations on."""
    share = np.clip((np.arange(256) + 1) / (6 * max(luma, 0.25)), 0.25, 1)
    return tuple(int(value) for value in np.rint(256 * share))
