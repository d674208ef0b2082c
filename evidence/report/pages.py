"""Where each picture goes: findings, captions and pictures made into full pages.

Pure arithmetic in millimetres. The heights of texts are measured elsewhere and handed in, so a
page planned here fits when it is set; the type itself is left to the writer.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from evidence.report.contents import Group, Layout, Paper, Photo, Section

PAPER_MM = {Paper.A4: (210.0, 297.0), Paper.LETTER: (215.9, 279.4)}
"""Width and height: ISO 216; ANSI/ASME Y14.1 size A."""

MARGIN_MM = {"left": 18.0, "right": 18.0, "top": 23.0, "bottom": 20.0}
TITLE = "Findings and photos by room"
GUTTER_MM = 6.0
"""Between columns."""

CAPTION_GAP_MM = 1.6
_GAP_MM = {"room": 8.0, "finding": 7.5, "row": 5.0, "after title": 5.0, "after room": 2.5, "after text": 3.0}
_SLACK_MM = 1.0
"""Kept free on each page for rounding."""

_LEAST_MM = {1: 105.0, 2: 74.0, 4: 50.0, 6: 42.0}
"""Height a picture is not made smaller than to share a page, by pictures a page. Our own, by eye."""

_MOST = {1: 0.85, 2: 0.47, 4: 0.42, 6: 0.29}
"""Height a picture is not made larger than, as a share of the page: what is its own when the page
holds as many as asked for."""

_UPRIGHT = 1.1
"""A picture no wider than this times its height leaves room for words beside it."""


@dataclass(frozen=True, slots=True)
class Area:
    """The part of a page that is printed on, in mm."""

    width: float
    height: float

    @classmethod
    def of(cls, paper: Paper) -> Area:
        """Give a paper's area within its margins.

        Examples
        --------
        >>> Area.of(Paper.A4)
        Area(width=174.0, height=254.0)
        """
        width, height = PAPER_MM[paper]
        return cls(
            width - MARGIN_MM["left"] - MARGIN_MM["right"], height - MARGIN_MM["top"] - MARGIN_MM["bottom"]
        )

    def column(self, columns: int) -> float:
        """Width of one of so many equal columns."""
        return (self.width - GUTTER_MM * (columns - 1)) / columns


@dataclass(frozen=True, slots=True)
class TextHeights:
    """Heights in mm of the set texts, each at every width it may be set in.

    Attributes
    ----------
    captions
        By photo number and number of columns.
    findings
        By finding number and number of columns (1 or 2).
    room
        Of a room's heading, the tallest of all.
    title
        Of the heading above all pictures.
    """

    captions: Mapping[tuple[int, int], float]
    findings: Mapping[tuple[int, int], float]
    room: float
    title: float = 0.0


@dataclass(frozen=True, slots=True)
class Cell:
    """One picture, with the width and height in mm at which it is printed."""

    photo: Photo
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Part:
    """One thing on a page, from left to right edge.

    Attributes
    ----------
    gap
        Free mm above it.
    title
        Words of the heading above all pictures.
    room
        Name of the room, for a heading.
    finding
        Number of a finding whose text stands here; with cells, the text is at the left of the one cell.
    cells
        Pictures side by side.
    columns
        Columns the row is divided in; one cell in two columns without a finding has its caption at
        its right.
    """

    gap: float = 0.0
    title: str = ""
    room: str = ""
    finding: int | None = None
    cells: tuple[Cell, ...] = ()
    columns: int = 1


@dataclass(frozen=True, slots=True)
class Page:
    """The parts of one page; ``flows`` when it is one text that may run over several pages."""

    parts: tuple[Part, ...]
    flows: bool = False

    @property
    def pictures(self) -> int:
        """How many pictures the page shows."""
        return sum(len(part.cells) for part in self.parts)


def compose(sections: Sequence[Section], layout: Layout, heights: TextHeights) -> tuple[Page, ...]:
    """Fill pages with rooms, findings and pictures, in the order given.

    A page holds at most as many pictures as the layout says, and fewer when words need the room. A
    finding stands on one page with its pictures whenever they fit on one; a heading never ends a
    page; a caption is never parted from its picture. Pictures of a page grow together until the
    page is full or each has its natural size.

    Parameters
    ----------
    sections
        From :func:`evidence.report.contents.sections`.
    layout
        Paper and pictures a page.
    heights
        Measured on the text as it will be set.

    Returns
    -------
    Every photo once, every finding once.
    """
    binder = _Binder(Area.of(layout.paper), layout.per_page)
    lead = [_Item(Part(title=TITLE), fixed=heights.title)]
    for section in sections:
        lead.append(_Item(Part(gap=_GAP_MM["room"], room=section.room), fixed=heights.room))
        for group in section.groups:
            items = list(_items(group, binder.area, layout.per_page, heights))
            if group.finding is None:
                for item in items:
                    binder.keep([*lead, item])
                    lead = []
            else:
                binder.keep([*lead, *items])
            lead = []
    return binder.finish()


def longest_mm(layout: Layout) -> float:
    """Longest side in mm at which a layout prints any picture of 4:3 or 3:4, the cameras' shapes."""
    area = Area.of(layout.paper)
    column, tallest = area.column(1 if layout.per_page <= 2 else 2), _MOST[layout.per_page] * area.height
    lying = min(column, tallest * 4 / 3)
    standing = min(tallest, column * 4 / 3)
    return max(lying, standing)


def tallest_caption(layout: Layout) -> tuple[int, float]:
    """Say how high in mm a caption may be to stand under a picture at all.

    Returns
    -------
    The columns of the narrowest caption that the layout has, and that height.
    """
    columns = {1: 1, 6: 3}.get(layout.per_page, 2)
    page = Area.of(layout.paper).height - _SLACK_MM
    return columns, page - _LEAST_MM[layout.per_page] - CAPTION_GAP_MM


@dataclass(frozen=True, slots=True)
class _Item:
    """A part whose pictures have no size yet.

    ``fixed`` is the height of a text; a row has ``words`` below its pictures, a text ``beside``
    them, and pictures between ``least`` and ``most`` mm high.
    """

    part: Part
    fixed: float = 0.0
    words: float = 0.0
    beside: float = 0.0
    least: float = 0.0
    most: float = 0.0

    def height(self, share: float) -> float:
        """Height when pictures have grown from least (0) to most (1)."""
        if not self.part.cells:
            return self.fixed
        return max(self.picture(share) + self.words, self.beside)

    def picture(self, share: float) -> float:
        return self.least + share * (self.most - self.least)

    def sized(self, share: float, area: Area, gap: float) -> Part:
        column, tallest = area.column(self.part.columns), self.picture(share)
        cells = []
        for cell in self.part.cells:
            height = min(tallest, column / _aspect(cell.photo))
            cells.append(Cell(cell.photo, round(height * _aspect(cell.photo), 2), round(height, 2)))
        return replace(self.part, gap=gap, cells=tuple(cells))


class _Binder:
    """Pages being filled one after the other."""

    def __init__(self, area: Area, limit: int) -> None:
        self.area = area
        self._limit = limit
        self._pages: list[Page] = []
        self._open: list[_Item] = []

    def keep(self, items: Sequence[_Item]) -> None:
        """Put items on one page if one page can hold them; else break between rows of pictures."""
        if self._fits([*self._open, *items]):
            self._open += items
        elif self._fits(items):
            self._turn()
            self._open += items
        else:
            self._break(items)

    def finish(self) -> tuple[Page, ...]:
        self._turn()
        return tuple(self._pages)

    def _break(self, items: Sequence[_Item]) -> None:
        first = next((at for at, item in enumerate(items) if item.part.cells), len(items) - 1) + 1
        head, rest = items[:first], items[first:]
        if not self._fits([*self._open, *head]):
            self._turn()
        if self._fits([*self._open, *head]):
            self._open += head
        else:  # the text alone is taller than a page can spare
            texts = tuple(item.part for item in head if not item.part.cells)
            self._pages.append(Page(texts, flows=True))
            rest = [*(item for item in head if item.part.cells), *rest]
        for item in rest:
            if not self._fits([*self._open, item]):
                self._turn()
            self._open.append(item)

    def _fits(self, items: Sequence[_Item]) -> bool:
        pictures = sum(len(item.part.cells) for item in items)
        return pictures <= self._limit and self._total(items, 0.0) <= self.area.height - _SLACK_MM

    def _total(self, items: Sequence[_Item], share: float) -> float:
        return sum(gap + item.height(share) for gap, item in zip(_gaps(items), items, strict=True))

    def _turn(self) -> None:
        """Close the open page: let its pictures grow as far as it allows."""
        if not self._open:
            return
        low, high = 0.0, 1.0
        if self._total(self._open, 1.0) <= self.area.height - _SLACK_MM:
            low = 1.0
        else:
            for _ in range(30):  # halving: the height rises with the share, not everywhere evenly
                middle = (low + high) / 2
                fits = self._total(self._open, middle) <= self.area.height - _SLACK_MM
                low, high = (middle, high) if fits else (low, middle)
        parts = tuple(
            item.sized(low, self.area, gap) for gap, item in zip(_gaps(self._open), self._open, strict=True)
        )
        self._pages.append(Page(parts))
        self._open = []


def _gaps(items: Sequence[_Item]) -> Iterator[float]:
    """Give the free mm above each item: none on top of a page, less below a heading or a text."""
    before: Part | None = None
    for item in items:
        if before is None:
            yield 0.0
        elif before.title:
            yield _GAP_MM["after title"]
        elif before.room:
            yield _GAP_MM["after room"]
        elif before.finding is not None and not before.cells and item.part.cells:
            yield _GAP_MM["after text"]
        else:
            yield item.part.gap
        before = item.part


def _items(group: Group, area: Area, per_page: int, heights: TextHeights) -> Iterator[_Item]:
    """Cut a group in rows; its text stands beside a lone picture if it fits there, else above."""
    rows = list(_rows(group.photos, per_page))
    number = None if group.finding is None else group.finding.number
    for at, (photos, columns) in enumerate(rows):
        beside = columns == 2 and len(photos) == 1
        telling = number if at == 0 else None
        item = _row(photos, columns, area, per_page, heights)
        if telling is not None:
            text = heights.findings[telling, 2]
            under = heights.captions[photos[0].number, 2] + CAPTION_GAP_MM
            if beside and text <= item.most + under:
                part = replace(item.part, finding=telling, gap=_GAP_MM["finding"])
                yield replace(item, part=part, words=under, beside=text)
                continue
            yield _text(telling, heights)
        yield item
    if number is not None and not rows:
        yield _text(number, heights)


def _text(finding: int, heights: TextHeights) -> _Item:
    part = Part(gap=_GAP_MM["finding"], finding=finding)
    return _Item(part, fixed=heights.findings[finding, 1])


def _row(photos: tuple[Photo, ...], columns: int, area: Area, per_page: int, heights: TextHeights) -> _Item:
    words = max(heights.captions[photo.number, columns] for photo in photos)
    lone = columns == 2 and len(photos) == 1
    share = 0.36 if columns == 3 else _MOST[per_page]  # two rows of three upright pictures fill a page
    natural = max(area.column(columns) / _aspect(photo) for photo in photos)
    most = min(natural, share * area.height)
    return _Item(
        Part(
            gap=_GAP_MM["row"],
            cells=tuple(Cell(photo, 0.0, 0.0) for photo in photos),
            columns=columns,
        ),
        words=0.0 if lone else words + CAPTION_GAP_MM,
        beside=words if lone else 0.0,
        least=min(_LEAST_MM[per_page], most),
        most=most,
    )


def _rows(photos: Sequence[Photo], per_page: int) -> Iterator[tuple[tuple[Photo, ...], int]]:
    """Cut pictures in rows: who stands side by side, and in how many columns."""
    at = 0
    while at < len(photos):
        three = tuple(photos[at : at + 3])
        if per_page <= 2:
            row, columns = three[:1], 2 if per_page == 2 and _upright(three[0]) else 1
        elif per_page == 6 and len(three) == 3 and all(map(_upright, three)):
            row, columns = three, 3
        else:
            row, columns = three[:2], 2
        yield row, columns
        at += len(row)


def _upright(photo: Photo) -> bool:
    return _aspect(photo) <= _UPRIGHT


def _aspect(photo: Photo) -> float:
    """Width over height."""
    return max(photo.width, 1) / max(photo.height, 1)
