"""Tell whether two pictures show the same view, and where they differ inside it.

Two questions, asked one after the other: *is it the same view?* (keypoints that agree on one
homography, its overlap, scale and turn), then *does anything inside it differ?* (block by block in
the aligned overlap). Hides all geometry; making sets of the answers is left to ``groups``.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.likeness.prints import Likeness, look

Box = tuple[float, float, float, float]
"""Left, top, right, bottom as shares 0..1 of a picture's width and height."""

Grey = NDArray[np.float32]

OVERLAP = 0.75
SCALE = 1.10
TURN_DEG = 25.0
AGREEMENT = 0.80
MATCHES = 14


class Verdict(StrEnum):
    """What two pictures are to each other."""

    SAME = "same"
    CHANGED = "same view, something changed"
    WIDER = "wider or closer"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Pair:
    """What was found between two pictures.

    Attributes
    ----------
    a, b
        Their places in the list that was given; 0 and 1 from :func:`compare`.
    verdict
        Only ``SAME`` may be folded.
    agreement
        Share of the compared blocks that agree, 0..1.
    overlap
        Share of the pictures that both show, 0..1: the smaller of the two shares.
    scale
        How much larger things are in ``b`` than in ``a``; 1 when unknown.
    boxes
        Where they differ, in shares of ``a``.
    """

    a: int
    b: int
    verdict: Verdict
    agreement: float = 0.0
    overlap: float = 0.0
    scale: float = 1.0
    boxes: tuple[Box, ...] = ()


def compare(a: Likeness, b: Likeness) -> Pair:
    """Tell what picture ``b`` is to picture ``a``.

    Returns
    -------
    A pair with ``a`` = 0 and ``b`` = 1. The same two descriptions always give the same answer.

    Notes
    -----
    Homography by MAGSAC++ (Barath et al., CVPR 2020) as in OpenCV, with a fixed seed of its own.
    """
    homography = _homography(a, b)
    if homography is None:
        return Pair(0, 1, Verdict.OTHER)
    first, second = look(a), look(b)
    overlap, scale, turn = _placing(homography, first.shape, second.shape)
    wide = max(scale, 1.0 / scale)
    if wide > SCALE:
        return Pair(0, 1, Verdict.WIDER if wide <= 4.0 else Verdict.OTHER, 0.0, overlap, scale)
    if overlap < OVERLAP or abs(turn) > TURN_DEG:
        return Pair(0, 1, Verdict.OTHER, 0.0, overlap, scale)
    agreement, boxes = _differences(first, second, homography)
    if agreement < AGREEMENT:
        return Pair(0, 1, Verdict.OTHER, agreement, overlap, scale)
    return Pair(0, 1, Verdict.CHANGED if boxes else Verdict.SAME, agreement, overlap, scale, boxes)


def _homography(a: Likeness, b: Likeness) -> NDArray[np.float64] | None:
    """Find the homography from ``a``'s view to ``b``'s, or None where too little agrees."""
    if min(len(a.marks), len(b.marks)) < MATCHES:
        return None
    matched = cv2.BFMatcher(cv2.NORM_HAMMING, crossCheck=True).match(a.marks, b.marks)
    near = sorted(matched, key=lambda m: (m.distance, m.queryIdx))
    near = [m for m in near if m.distance <= 64]
    if len(near) < MATCHES:
        return None
    here = np.array([a.points[m.queryIdx] for m in near], np.float32)
    there = np.array([b.points[m.trainIdx] for m in near], np.float32)
    found, inside = cv2.findHomography(here, there, cv2.USAC_MAGSAC, 4.0, maxIters=2000, confidence=0.999)
    if found is None or int(inside.sum()) < max(MATCHES, 0.25 * len(near)):
        return None
    return np.asarray(found, np.float64)


def _placing(
    homography: NDArray[np.float64], first: tuple[int, ...], second: tuple[int, ...]
) -> tuple[float, float, float]:
    """Give overlap 0..1, scale and turn in degrees of a homography between two views."""
    height, width = first[:2]
    corners = np.array([[[0, 0]], [[width, 0]], [[width, height]], [[0, height]]], np.float32)
    moved = cv2.perspectiveTransform(corners, homography).reshape(4, 2)
    if not np.isfinite(moved).all() or not cv2.isContourConvex(moved):
        return 0.0, 1.0, 0.0
    frame = np.array([[0, 0], [second[1], 0], [second[1], second[0]], [0, second[0]]], np.float32)
    shared, _ = cv2.intersectConvexConvex(moved, frame)
    area = cv2.contourArea(moved)
    if area <= 0.0:
        return 0.0, 1.0, 0.0
    overlap = shared / max(area, float(second[0] * second[1]))
    scale = float(np.sqrt(area / (second[0] * second[1])))
    side = moved[1] - moved[0]
    return float(overlap), scale, float(np.degrees(np.arctan2(side[1], side[0])))


def _differences(
    first: NDArray[np.uint8], second: NDArray[np.uint8], homography: NDArray[np.float64]
) -> tuple[float, tuple[Box, ...]]:
    """Compare block by block in the aligned overlap; give the agreeing share and boxes in ``first``."""
    height, width = first.shape
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    warped = cv2.warpPerspective(second, homography, (width, height), flags=flags).astype(np.float32)
    seen = cv2.warpPerspective(np.full(second.shape, 255, np.uint8), homography, (width, height), flags=flags)
    seen = cv2.erode(seen, np.ones((9, 9), np.uint8)) == 255
    here = np.asarray(cv2.GaussianBlur(first.astype(np.float32), (0, 0), 1.0), np.float32)
    there = np.asarray(cv2.GaussianBlur(warped, (0, 0), 1.0), np.float32)
    there = _evened(here, there, seen)
    best = np.full(first.shape, -1.0, np.float32)
    for dy in range(-4, 5, 2):
        for dx in range(-4, 5, 2):
            best = np.maximum(best, _alike(here, np.roll(there, (dy, dx), (0, 1))))
    best[~seen] = 1.0
    bad = (best < 0.5).astype(np.uint8)
    bad = np.asarray(cv2.morphologyEx(bad, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8)), np.uint8)
    agreement = 1.0 - float(bad.sum()) / max(1, int(seen.sum()))
    count, _, stats, _ = cv2.connectedComponentsWithStats(bad)
    boxes = tuple(
        (float(x / width), float(y / height), float((x + w) / width), float((y + h) / height))
        for x, y, w, h, area in stats[1:count]
        if area >= 40
    )
    return agreement, boxes


def _alike(here: Grey, there: Grey, side: int = 15) -> Grey:
    """Compare structure and contrast in a window about each pixel.

    Faint windows count as alike only when both are faint: a ruler held before a bare wall differs from
    the wall. The measure is the structure and contrast terms of Wang et al., "Image Quality Assessment:
    From Error Visibility to Structural Similarity", IEEE TIP 13 (2004), brightness left out.
    """
    size = (side, side)
    mean_a, mean_b = cv2.blur(here, size), cv2.blur(there, size)
    var_a = cv2.blur(here * here, size) - mean_a * mean_a
    var_b = cv2.blur(there * there, size) - mean_b * mean_b
    cov = cv2.blur(here * there, size) - mean_a * mean_b
    floor = np.float32(60.0)
    return np.asarray((2 * cov + floor) / (var_a + var_b + floor), np.float32)


def _evened(here: Grey, there: Grey, seen: NDArray[np.bool_]) -> Grey:
    """Give the second view the first one's contrast, so that exposure does not count as a change."""
    if not seen.any():
        return there
    spread = float(here[seen].std()) / max(float(there[seen].std()), 1.0)
    return np.asarray(there * np.float32(min(max(spread, 0.25), 4.0)), np.float32)
