"""Estimate the noise of a picture, then take it out without inventing anything.

The filter is worked in whole numbers (sixteenths of a code) from additions, halvings and
comparisons only, so that every machine gives the same pixels.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.words import Rgb

Plane = NDArray[np.int16]
"""Shape (height, width), int16, sixteenths of a code."""

SPLINE = np.array([1, 4, 6, 4, 1], np.float32) / 16
LUMA_K = (2.0, 1.4, 0.7)
CHROMA_K = (4.0, 3.0, 2.0)
SHIFT = 4


def estimate(rgb: Rgb) -> tuple[float, float]:
    """Estimate the noise's standard deviation in luma and chroma.

    Parameters
    ----------
    rgb
        The picture as taken.

    Returns
    -------
    Two numbers in codes, multiples of 1/16.

    Notes
    -----
    Median of the finest detail (picture less its spline average) over the middle rows; a median
    hardly sees edges.
    """
    middle = rgb[:: max(1, rgb.shape[0] // 512)] if rgb.shape[0] > 4096 else rgb
    planes = cv2.split(cv2.cvtColor(middle, cv2.COLOR_RGB2YCrCb))
    luma, red, blue = (_deviation(np.asarray(plane, np.uint8)) for plane in planes)
    return luma, max(red, blue)


def _deviation(plane: NDArray[np.uint8]) -> float:
    fine = plane.astype(np.int16) << SHIFT
    detail = np.abs(fine - _average(fine, 1))
    return float(np.rint(np.median(detail) / 0.6745 / 0.89)) / 16


def reduce(rgb: Rgb, tone: NDArray[np.uint8], luma: float, chroma: float, keep: NDArray[np.uint16]) -> Rgb:
    """Take noise out of a lifted picture, as much as the curve has made of it.

    Parameters
    ----------
    rgb
        The lifted picture.
    tone
        The curve that lifted it.
    luma, chroma
        Noise before the lift, in codes.
    keep
        Share of colour kept for each brightness code, 0..256.
    """
    planes = cv2.split(cv2.cvtColor(rgb, cv2.COLOR_RGB2YCrCb))
    y = planes[0].astype(np.int16) << SHIFT
    rise = slopes(tone)
    y = _shrink(y, y, np.rint(luma * rise * 16).astype(np.int64), LUMA_K)
    y8 = _codes(y)
    half = (max(1, (rgb.shape[1] + 1) // 2), max(1, (rgb.shape[0] + 1) // 2))
    guide = np.asarray(cv2.resize(y, half, interpolation=cv2.INTER_NEAREST), np.int16)
    full = (rgb.shape[1], rgb.shape[0])
    kept = cv2.LUT(y8, keep).astype(np.int16)
    out = [y8]
    for plane in planes[1:]:
        colour = (plane.astype(np.int16) - 128) << SHIFT
        small = np.asarray(cv2.resize(colour, half, interpolation=cv2.INTER_NEAREST), np.int16)
        small = _shrink(small, guide, np.rint(chroma * rise * 16).astype(np.int64), CHROMA_K)
        wide = cv2.resize(small, full, interpolation=cv2.INTER_NEAREST)
        held = ((wide.astype(np.int32) * kept) >> 8).astype(np.int16)
        out.append(_codes(held + np.int16(128 << SHIFT)))
    return np.asarray(cv2.cvtColor(cv2.merge(out), cv2.COLOR_YCrCb2RGB), np.uint8)


def slopes(tone: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Tell how steep the curve is at each output code."""
    wide = np.interp(np.arange(-8, 264), np.arange(256), tone.astype(np.float64))
    rise = np.maximum((wide[16:] - wide[:-16])[:256], 0)
    span = np.minimum(np.arange(256) + 8, 255) - np.maximum(np.arange(256) - 8, 0)
    return np.asarray(np.interp(np.arange(256), tone, rise / span), np.float64)


def _average(plane: Plane, step: int) -> Plane:
    kernel = np.zeros(4 * step + 1, np.float32)
    kernel[::step] = SPLINE
    return np.asarray(cv2.sepFilter2D(plane, cv2.CV_16S, kernel, kernel), np.int16)


def _shrink(plane: Plane, guide: Plane, sigma: NDArray[np.int64], strengths: tuple[float, ...]) -> Plane:
    smooth = plane
    details = []
    for scale in range(len(strengths)):
        next_smooth = _average(smooth, 1 << scale)
        details.append(smooth - next_smooth)
        smooth = next_smooth
    level = _codes(_average(guide, 4))
    out = smooth
    for detail, strength in zip(details, strengths, strict=True):
        limits = np.minimum(np.rint(sigma * strength), 32000).astype(np.int16)
        bound = np.asarray(cv2.LUT(level, limits), np.int16)
        first = np.asarray(cv2.max(cv2.min(detail, bound), -bound), np.int16)
        left = detail - first
        out = out + left + np.asarray(cv2.max(cv2.min(left, bound), -bound), np.int16)
    return out


def _codes(plane: Plane) -> NDArray[np.uint8]:
    return np.asarray(np.clip((plane + 8) >> SHIFT, 0, 255), np.uint8)
