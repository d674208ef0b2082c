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

from evidence.words import Rgb

VERSION = 1
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
_LONG_SIDE = 1600
"""Pixels of the picture's longer side at which the search starts; a marker of 12 % of the height has
then some 20 pixels a module."""


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
    6 % of the light (measured in docs/methods/roomcards.md).
    """
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8:
        message = f"a picture of shape (height, width, 3) and uint8 is needed, not {rgb.shape} {rgb.dtype}"
        raise ValueError(message)
    if min(rgb.shape[:2]) < 3 * _MODULES:
        return []
    grey = _stretched(_reduced(np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8), _LONG_SIDE))
    found: set[int] = set()
    for size in (_LONG_SIDE, _LONG_SIDE // 2):
        found |= _ids(_reduced(grey, size))
    return sorted(found)


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


def _reduced(grey: NDArray[np.uint8], long_side: int) -> NDArray[np.uint8]:
    height, width = grey.shape
    share = long_side / max(height, width)
    if share >= 1:
        return grey
    size = (max(1, round(width * share)), max(1, round(height * share)))
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8)


def _stretched(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    low, high = np.percentile(grey, (0.5, 99.5))
    scale = 255.0 / max(float(high - low), 1.0)
    codes = np.clip((np.arange(256) - float(low)) * scale, 0, 255).astype(np.uint8)
    return np.asarray(cv2.LUT(grey, codes), np.uint8)


def _ids(grey: NDArray[np.uint8]) -> set[int]:
    _, ids, _ = cv2.aruco.ArucoDetector(_DICTIONARY, cv2.aruco.DetectorParameters()).detectMarkers(grey)
    return set() if ids is None else {int(card) for card in np.ravel(ids)}


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
    small = Words(left, middle + 40.0, room, 10.0, f"Room card {card}. Photograph it on entering.")
    if not name:
        return [Box(left, middle + 4.0, room, 0.4)], [small]
    size = min(_size_pt(word, room, 44.0) for word in name.split())
    lines = [
        Words(left, middle + row * size * 0.42, room, size, word, bold=True)
        for row, word in enumerate(name.split())
    ]
    return [], [*lines, small]


def _size_pt(text: str, room_mm: float, largest_pt: float) -> float:
    """The size at which a bold sans-serif line fits: a letter is at most 0.68 of the size wide on average."""
    return min(largest_pt, room_mm / 25.4 * 72.0 / (0.68 * max(len(text), 1)))
