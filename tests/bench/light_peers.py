"""Published methods of lifting dark pictures, for the benchmark only: nothing here is shipped.

Each is written from its paper's formulas with the paper's own constants, as remembered; where ours
departs it is said. They move every pixel by its surroundings, which is why the program does not use them.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, diags
from scipy.sparse.linalg import cg

from evidence.words import Rgb

F = NDArray[np.float64]

LONG_SIDE = 256
"""The illumination is solved for at this size and enlarged: a departure that saves minutes."""


def lime(rgb: Rgb) -> Rgb:
    """Guo, Li and Ling, "LIME: low-light image enhancement via illumination map estimation", 2017.

    Their sped-up solver with weighting strategy 3 (differences over blurred differences), alpha 0.15,
    gamma 0.8; without the optional denoising.
    """
    picture = rgb / 255.0
    light = _smooth_light(picture.max(axis=2), 0.15, 2.0) ** 0.8
    return _codes(picture / np.maximum(light, 1e-3)[..., None])


def bimef(rgb: Rgb) -> Rgb:
    """Ying, Li and Gao, "A bio-inspired multi-exposure fusion framework", 2017.

    Camera response a = -0.3293, b = 1.1258; the second exposure is the one of most entropy over the
    pixels whose illumination is below 0.5; weight = illumination to the power 0.5.
    """
    a, b = -0.3293, 1.1258
    picture = rgb / 255.0
    light = _smooth_light(picture.max(axis=2), 1.0, 5.0)

    def exposed(values: F, ratio: float) -> F:
        return np.asarray(np.exp(b * (1 - ratio**a)) * values ** (ratio**a))

    under = cv2.resize(np.cbrt(picture.prod(axis=2)), (50, 50), interpolation=cv2.INTER_AREA)
    dark = under[cv2.resize(light, (50, 50), interpolation=cv2.INTER_AREA) < 0.5]
    ratios = np.linspace(1, 7, 61)
    best = max(ratios, key=lambda ratio: _entropy(exposed(dark, float(ratio)))) if dark.size else 1.0
    weight = (light**0.5)[..., None]
    return _codes(picture * weight + exposed(picture, float(best)) * (1 - weight))


def _entropy(values: F) -> float:
    shares = np.histogram(values, 256, (0, 1))[0] / max(values.size, 1)
    shares = shares[shares > 0]
    return float(-(shares * np.log2(shares)).sum())


def _smooth_light(first: F, alpha: float, sigma: float) -> F:
    """Smooth an illumination map but not across its own edges: weighted least squares."""
    scale = LONG_SIDE / max(first.shape)
    small = cv2.resize(first, None, fx=min(scale, 1), fy=min(scale, 1), interpolation=cv2.INTER_AREA)
    rows, columns = small.shape
    place = np.arange(small.size).reshape(small.shape)
    system = diags(np.ones(small.size)).tocsr()
    for axis in (0, 1):
        step = np.diff(small, axis=axis)
        wide = cv2.GaussianBlur(step, (0, 0), sigma)
        weight = (alpha / ((np.abs(wide) + 1e-3) * (np.abs(step) + 1e-3))).ravel() * 1e-3
        one = place[:-1].ravel() if axis == 0 else place[:, :-1].ravel()
        two = place[1:].ravel() if axis == 0 else place[:, 1:].ravel()
        pairs = coo_matrix(
            (
                np.concatenate((weight, weight, -weight, -weight)),
                (np.concatenate((one, two, one, two)), np.concatenate((one, two, two, one))),
            ),
            shape=system.shape,
        )
        system = system + pairs.tocsr()
    solved, _ = cg(
        system, small.ravel(), x0=small.ravel(), rtol=1e-4, maxiter=400, M=diags(1 / system.diagonal())
    )
    light = cv2.resize(
        solved.reshape(rows, columns), (first.shape[1], first.shape[0]), interpolation=cv2.INTER_LINEAR
    )
    return np.asarray(np.clip(light, 1e-3, 1.0))


def _codes(values: F) -> Rgb:
    return np.asarray(np.rint(255 * np.clip(values, 0, 1)), np.uint8)
