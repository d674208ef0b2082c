"""How large the printed copies are made: sharp on paper, or small enough to be mailed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from evidence.errors import TooLargeToMail
from evidence.report import jpeg, pages, pdf, typesetting
from evidence.report.contents import Contents, Layout, Photo, Printer, PrintSize
from evidence.words import in_bytes

FULL_PPI = 300
"""Pixels an inch of print at full quality; beyond it paper and eye show no more (common practice)."""

MM_PER_INCH = 25.4

_STEPS = (
    *((300, 90), (275, 88), (250, 86), (230, 85), (215, 84), (200, 83), (190, 82), (180, 81)),
    *((170, 80), (160, 78), (150, 76), (145, 72), (140, 68), (135, 64), (130, 60), (120, 58)),
    *((110, 56), (100, 55)),
)
"""Pixels an inch and JPEG quality, from full to the least still legible. 150 is legible and 200 good
on paper (trade practice, from memory), so quality gives way first below 150. Our own, by eye."""

_SAMPLE = 12
"""Photos tried at each step before all are made."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """What was done to stay within a limit.

    Attributes
    ----------
    size
        Size and quality of the copies.
    ppi
        Pixels an inch of the largest print.
    size_bytes, limit_bytes
        Length of the file, and what it had to stay within.
    """

    size: PrintSize
    ppi: int
    size_bytes: int
    limit_bytes: int

    @property
    def words(self) -> str:
        """Say what was done."""
        return (
            f"Pictures are at most {self.size.longest_px} pixels on their longest side (about {self.ppi} an"
            f" inch as printed), JPEG quality {self.size.quality}: {in_bytes(self.size_bytes)} of"
            f" {in_bytes(self.limit_bytes)} allowed."
        )


def at(layout: Layout, ppi: int = FULL_PPI, quality: int = 90) -> PrintSize:
    """Give the size at which the largest picture of a layout has so many pixels an inch.

    Examples
    --------
    >>> at(Layout(per_page=2), 200).longest_px
    1166
    """
    return PrintSize(round(pages.longest_mm(layout) / MM_PER_INCH * ppi), quality)


def fit(contents: Contents, printer: Printer, limit_bytes: int, target: Path) -> Fitted:
    """Write the PDF with the best pictures that a limit allows.

    A few photos are made at each step to foretell the length; then all are, and once more smaller
    should the forecast have been too bold.

    Parameters
    ----------
    contents, printer, target
        As for :func:`evidence.report.pdf.write`.
    limit_bytes
        The file will not be longer.

    Raises
    ------
    TooLargeToMail
        It would be longer even with the smallest legible pictures; nothing is left at ``target``.
    """
    set_pages = typesetting.set_pages(contents)
    sample = contents.photos[:: max(1, len(contents.photos) // _SAMPLE)]
    step = _first_likely(contents, sample, printer, limit_bytes - len(set_pages))
    for ppi, quality in _STEPS[step:]:
        size = at(contents.layout, ppi, quality)
        pdf.put_together(set_pages, contents, printer, size, target)
        length = target.stat().st_size
        if length <= limit_bytes:
            return Fitted(size, ppi, length, limit_bytes)
    target.unlink()
    raise TooLargeToMail(
        f"The appendix cannot be kept legible within {in_bytes(limit_bytes)}; "
        f"the smallest try was {in_bytes(length)}."
    )


def _first_likely(contents: Contents, sample: Sequence[Photo], printer: Printer, room_bytes: int) -> int:
    """Find the first step at which the sample's mean, for all photos, fits in the room."""
    low, high = 0, len(_STEPS) - 1
    while low < high:
        middle = (low + high) // 2
        size = at(contents.layout, *_STEPS[middle])
        total = sum(len(jpeg.bare(printer(photo, size)).data) for photo in sample)
        mean = total / len(sample) if sample else 0
        low, high = (low, middle) if mean * len(contents.photos) <= room_bytes else (middle + 1, high)
    return low
