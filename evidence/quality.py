"""Measure how well a picture serves as evidence: true sharpness, exposure, flash spot."""

from __future__ import annotations

import cv2
import numpy as np

from evidence.words import Quality, Rgb

VERSION = 2
"""Rises with every change that moves a score."""

LONG_SIDE = 1600

_BURNT = 6.0
"""Weight of the burnt share in the score: a reflection over a fiftieth of the picture costs 0.12, as much as
an exposure off by a twentieth of full scale; set on the tuning pictures of tests/bench/bench_quality.py."""


def measure(rgb: Rgb) -> Quality:
    """Measure a picture; compare scores only between pictures of one view.

    Parameters
    ----------
    rgb
        Shape (height, width, 3), uint8, sRGB-encoded, upright; larger ones are averaged down to 1600
        pixels first.

    Notes
    -----
    Sharpness is the energy of a middle band over that of a coarse one, less what the finest detail says
    noise would put there; energies of bands rank by true detail, where the variance of a Laplacian ranks by
    noise. How noisy a picture is, is read at full and at half size: after demosaicing and compression
    noise lives at the half. Our own; measured in docs/methods/quality.md.
    """
    scale = LONG_SIDE / max(rgb.shape[:2])
    if scale < 1:
        size = (round(rgb.shape[1] * scale), round(rgb.shape[0] * scale))
        rgb = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    fine, middle, coarse = (_energy(grey, side) for side in (1, 3, 7))
    grain = _noise(grey)
    noise = max(grain, _noise(_halved(grey)))
    sharpness = max(middle - 0.05 * grain**2, 0.0) / (coarse + 1.0)
    dark = float(np.mean(grey <= 5))
    bright = float(np.mean(grey >= 250))
    mean = float(grey.mean()) / 255
    exposure = max(0.0, 1 - abs(mean - 0.44) / 0.44) - dark - bright
    score = float(np.log2(sharpness + 1e-4) + exposure - _BURNT * bright - noise / 16)
    return Quality(
        version=VERSION,
        score=score,
        sharpness=float(sharpness),
        noise=noise,
        exposure=float(exposure),
        dark_share=dark,
        bright_share=bright,
        flash_spot=bright if bright > 0.01 else 0.0,
        blurred=bool(sharpness < 0.02 and fine < 16),
    )


def _halved(grey: np.ndarray) -> np.ndarray:
    return np.asarray(cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))


def _energy(grey: np.ndarray, side: int) -> float:
    inner = cv2.blur(grey, (side, side)).astype(np.int16)
    outer = cv2.blur(grey, (2 * side + 1, 2 * side + 1))
    return float(np.mean((inner - outer).astype(np.float32) ** 2))


def _noise(grey: np.ndarray) -> float:
    kernel = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    detail = np.abs(cv2.filter2D(grey, cv2.CV_16S, kernel))
    return float(np.median(detail)) / 0.6745 / 6
