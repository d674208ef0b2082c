"""Room cards: the printed markers photographed on entering a room.

Hides the marker family, the search through scales that finds a marker in a dark, blurred or
tilted picture, and the layout of the sheets. Which room a card stands for in a job is the
caller's; turning a sheet into a file is the report's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence.codes import percentiles
from evidence.smaller import to_length
from evidence.words import Rgb

VERSION = 3
"""Version of the method; readings made by one version are made anew by the next."""

JOB_CARD = 99
"""The marker of the job card: address, date and the watch's time; it names no room."""

BLANK_CARDS = tuple(range(60, 72))
"""Markers printed with an empty line, for the name to be written in by hand."""

CARD_NAMES: Mapping[int, str] = MappingProxyType(
    dict(
        enumerate(
            (
                "Front outside",
                "Rear outside",
                "Left side",
                "Right side",
                "Roof",
                "Garage",
                "Porch",
                "Deck",
                "Entry",
                "Hall",
                "Stairs",
                "Living room",
                "Dining room",
                "Kitchen",
                "Laundry",
                "Bathroom 1",
                "Bathroom 2",
                "Bathroom 3",
                "Bedroom 1",
                "Bedroom 2",
                "Bedroom 3",
                "Bedroom 4",
                "Office",
                "Closet",
                "Attic",
                "Attic 2",
                "Basement",
                "Crawl space",
                "Utility room",
                "Water heater",
                "Electrical panel",
                "Heating and cooling",
            ),
            start=1,
        )
    )
)
"""Names printed on the cards unless the job says otherwise: the usual places of a house."""

_DICTIONARY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
_MODULES = 7
"""A marker is 5 x 5 data modules inside a black border one module wide."""
_LONG_SIDE = 800
"""Pixels of the longer side at which the search is made: a marker of 12 % of the height has ten pixels
a module there. 1600 reads no more and costs 2.5 times as much (docs/methods/roomcards.md)."""


def _detector() -> cv2.aruco.ArucoDetector:
    """Stricter than the library's: at most one wrong module inside, and three of 24 in the border."""
    settings = cv2.aruco.DetectorParameters()
    # One window of the three that the library thresholds by: the others read no more of 710 cards, half
    # of them seen worse than ours mostly are, and take two thirds of the time (docs/methods/roomcards.md).
    settings.adaptiveThreshWinSizeMin = settings.adaptiveThreshWinSizeMax = 13
    settings.errorCorrectionRate = 0.34
    settings.maxErroneousBitsInBorderRate = 0.15
    settings.minMarkerDistanceRate = 0.05  # the library's 0.125 drops tilted markers for their own insides
    return cv2.aruco.ArucoDetector(_DICTIONARY, settings)


def read(rgb: Rgb) -> list[int]:
    """Tell which room cards are in a picture.

    Parameters
    ----------
    rgb
        Shape (height, width, 3), uint8, sRGB-encoded, upright or not.

    Returns
    -------
    The markers' ids 0..99, each once, rising; empty when there is none.

    Raises
    ------
    ValueError
        The array is not a colour picture of 8-bit values.

    Notes
    -----
    Markers after Garrido-Jurado et al., "Automatic generation and detection of highly reliable
    fiducial markers under occlusion", Pattern Recognition 47 (2014), in OpenCV's dictionary
    DICT_5X5_100. The histogram is first stretched to its 99.5th percentile, which reads a card at
    6 % of the light, then levelled, which reads one at the edge of a lamp's beam (measured in
    docs/methods/roomcards.md).
    """
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8:
        message = f"a picture of shape (height, width, 3) and uint8 is needed, not {rgb.shape} {rgb.dtype}"
        raise ValueError(message)
    if min(rgb.shape[:2]) < 3 * _MODULES:
        return []
    grey = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8)
    _, ids, _ = _detector().detectMarkers(_levelled(_stretched(to_length(grey, _LONG_SIDE))))
    return [] if ids is None else sorted({int(card) for card in np.ravel(ids)})


def marker(card: int) -> NDArray[np.bool_]:
    """Give a marker's pattern.

    Parameters
    ----------
    card
        Id, 0..99.

    Returns
    -------
    Shape (7, 7), True where a module is black; row 0 at the top.

    Raises
    ------
    ValueError
        There is no such marker.
    """
    if not 0 <= card < 100:
        message = f"room cards are numbered 0 to 99, not {card}"
        raise ValueError(message)
    drawn = cv2.aruco.generateImageMarker(_DICTIONARY, card, _MODULES)
    return np.asarray(drawn) < 128


def _stretched(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    low, high = percentiles(grey, (0.5, 99.5))
    scale = 255.0 / max(high - low, 1.0)
    codes = np.clip((np.arange(256) - low) * scale, 0, 255).astype(np.uint8)
    return np.asarray(cv2.LUT(grey, codes), np.uint8)


def _levelled(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Even out a lamp's falloff: white is what is brightest within some 40 pixels."""
    height, width = grey.shape
    coarse = cv2.resize(grey, (max(1, width // 8), max(1, height // 8)), interpolation=cv2.INTER_AREA)
    brightest = cv2.GaussianBlur(
        cv2.dilate(coarse, np.ones((9, 9), np.uint8)).astype(np.float32), (0, 0), 4.0
    )
    white = np.maximum(cv2.resize(brightest, (width, height)), 16.0)
    return np.asarray(cv2.divide(grey.astype(np.float32), white, scale=235.0, dtype=cv2.CV_8U), np.uint8)


# ------------------------------------------------------------------------------ sheets


@dataclass(frozen=True, slots=True)
class Box:
    """A filled black rectangle: left, top, width and height in millimetres from the page's top left."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class Words:
    """Text on a page: left edge and baseline in millimetres, size in points, room for it in millimetres."""

    x_mm: float
    y_mm: float
    width_mm: float
    size_pt: float
    text: str
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Page:
    """One page of room cards, as shapes for any writer to draw."""

    width_mm: float
    height_mm: float
    boxes: tuple[Box, ...]
    words: tuple[Words, ...]


PAPERS_MM: Mapping[str, tuple[float, float]] = MappingProxyType(
    {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
)
"""Width and height: A4 from ISO 216; Letter, 8.5 x 11 inches, from ANSI/ASME Y14.1."""

_MARGIN_MM = 14.0
_MARKER_MM = 105.0


def sheet(cards: Sequence[tuple[int, str]], paper: str = "a4") -> list[Page]:
    """Lay out room cards, two to a page, to be cut apart along the middle.

    Parameters
    ----------
    cards
        Id and room name of each; an empty name prints a line to write on.
    paper
        ``a4`` or ``letter``.

    Returns
    -------
    Pages in the order of the cards.

    Raises
    ------
    ValueError
        A card's id is not 0..99.
    KeyError
        The paper is unknown.
    """
    width, height = PAPERS_MM[paper]
    pages = []
    for start in range(0, len(cards), 2):
        boxes: list[Box] = []
        words: list[Words] = []
        for half, (card, name) in enumerate(cards[start : start + 2]):
            top = half * height / 2
            boxes += _marker_boxes(card, _MARGIN_MM, top + (height / 2 - _MARKER_MM) / 2, _MARKER_MM)
            left = _MARGIN_MM + _MARKER_MM + 12.0
            more_boxes, more_words = _label(card, name, left, top + height / 4, width - left - _MARGIN_MM / 2)
            boxes += more_boxes
            words += more_words
        boxes.append(Box(0.0, height / 2 - 0.05, width, 0.1))
        pages.append(Page(width, height, tuple(boxes), tuple(words)))
    return pages


def job_card(address: str = "", date: str = "", paper: str = "a4") -> Page:
    """Lay out the job card: photographed first, it ties the pictures to an address and to a watch.

    Parameters
    ----------
    address, date
        Printed where given; otherwise a line is left to write on.
    paper
        ``a4`` or ``letter``.

    Raises
    ------
    KeyError
        The paper is unknown.
    """
    width, height = PAPERS_MM[paper]
    room = width - 2 * _MARGIN_MM
    boxes = _marker_boxes(JOB_CARD, (width - _MARKER_MM) / 2, 20.0, _MARKER_MM)
    words = [Words(_MARGIN_MM, 146.0, room, 30.0, "Job card", bold=True)]
    fields = (
        ("Address", address),
        ("Date", date),
        ("My watch shows (hour : minute : second)", ""),
        ("Inspector", ""),
    )
    for row, (label, value) in enumerate(fields):
        line = 174.0 + 26.0 * row
        words.append(Words(_MARGIN_MM, line + 5.0, room, 11.0, label))
        if value:
            words.append(Words(_MARGIN_MM, line - 2.0, room, _size_pt(value, room, 26.0), value, bold=True))
        boxes.append(Box(_MARGIN_MM, line, room, 0.4))
    return Page(width, height, tuple(boxes), tuple(words))


def _marker_boxes(card: int, left: float, top: float, side: float) -> list[Box]:
    """Black runs of each row, as few boxes as rows allow."""
    module = side / _MODULES
    boxes = []
    for row, cells in enumerate(marker(card)):
        edges = np.flatnonzero(np.diff(np.concatenate(([0], cells.astype(np.int8), [0]))))
        boxes += [
            Box(left + a * module, top + row * module, (b - a) * module, module)
            for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
        ]
    return boxes


def _label(card: int, name: str, left: float, middle: float, room: float) -> tuple[list[Box], list[Words]]:
    """The name one word a line around the middle, or a line to write on; what to do stands below."""
    small = Words(left, middle + 56.0, room, 10.0, f"Room card {card}. Photograph it on entering.")
    if not name:
        return [Box(left, middle + 4.0, room, 0.4)], [small]
    lines = name.split()
    size = min(_size_pt(word, room, 60.0) for word in lines)
    step = 0.42 * size  # millimetres from line to line: 1.2 times the size in points
    first = middle + 0.12 * size - step * (len(lines) - 1) / 2
    return [], [
        *(Words(left, first + row * step, room, size, word, bold=True) for row, word in enumerate(lines)),
        small,
    ]


def _size_pt(text: str, room_mm: float, largest_pt: float) -> float:
    """The size at which a bold line should fit; whoever draws it shrinks what does not."""
    return min(largest_pt, room_mm / 25.4 * 72.0 / (0.56 * max(len(text), 1)))
