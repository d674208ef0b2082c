"""Set the pages as they will print, to be looked at before issue: the draft, by the printing code.

Hides the reader that turns a PDF's page into a picture, and how a photo is found on its page.
"""

from __future__ import annotations

import hashlib
import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from evidence import files, pictures
from evidence.bag import DRAFT
from evidence.errors import LibraryMissing
from evidence.packing import from_json, to_json
from evidence.report.contents import Contents, sections
from evidence.steps import issue
from evidence.words import Digest, FrameNumber

if TYPE_CHECKING:
    from pathlib import Path
    from types import ModuleType

    from evidence.desk import Desk
    from evidence.job import Job
    from evidence.progress import Progress

PDF: Final = "appendix.pdf"
NOTE: Final = "pages.json"
_FOLDER: Final = "pages"
_POINTS_AN_INCH: Final = 72
_DPI: Final = 110
"""Small type is legible at the width of a screen; a picture is looked at whole beside it."""

_PDFIUM = threading.Lock()
"""PDFium may be called by one thread at a time (its own documentation)."""


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a photo stands on a page: shares 0..1 of the page from its top left corner."""

    frame: FrameNumber
    photo: int
    x0: float
    y0: float
    x1: float
    y1: float


@dataclass(frozen=True, slots=True)
class Pages:
    """Pages that were set.

    Attributes
    ----------
    line
        The record's last line when they were set.
    digest
        SHA-256 of the PDF.
    count
        How many.
    spots
        The photos of each page, in order.
    said
        As for an issue.
    per_page
        Photos a page; 0 where an earlier version set them.
    """

    line: int
    digest: Digest
    count: int
    spots: tuple[tuple[Spot, ...], ...]
    said: str = ""
    per_page: int = 0


def set_pages(desk: Desk, *, progress: Progress, per_page: int | None = None) -> Pages:
    """Set the next edition's pages as a draft and find the photos on them.

    Parameters
    ----------
    per_page
        Other than job.toml says, or None.

    Raises
    ------
    LibraryMissing
        The reader of PDF pages is not installed.
    NotIssuable, DiskFull, CannotWrite, BadPicture
        As for an issue.
    """
    _pdfium()
    line = len(desk.job.lines)
    made = issue.issue(desk, issue.Wanted(draft=True, per_page=per_page), progress=progress)
    contents = from_json((made.folder / issue.CONTENTS).read_bytes(), Contents)
    spots = _spots(made.folder / PDF, contents)
    pages = Pages(
        line, files.digest_of(made.folder / PDF), len(spots), spots, made.said, contents.layout.per_page
    )
    folder = desk.job.copies / _FOLDER
    files.make_folders(folder)
    files.write_whole(folder / NOTE, to_json(pages).encode())
    return pages


def pages_set(job: Job) -> Pages | None:
    """Give the pages set last, None when there are none."""
    try:
        return from_json((job.copies / _FOLDER / NOTE).read_bytes(), Pages)
    except (OSError, ValueError):
        return None


def changed_since(job: Job, pages: Pages) -> int:
    """Count the decisions since pages were set that may change them; looking at a picture does not."""
    return sum(line.what not in {"looked", "issue"} for line in job.lines[pages.line :])


def page(job: Job, pages: Pages, number: int, spare: Path | None = None) -> Path | None:
    """Give a page as a picture, None when there is no such page, or the draft is another by now.

    Parameters
    ----------
    spare
        A folder to keep the picture in where the job cannot be written.

    Raises
    ------
    DiskFull, CannotWrite
        The picture cannot be kept.
    """
    if not 1 <= number <= pages.count:
        return None

    def make() -> bytes:
        pdf = (job.issued / DRAFT / PDF).read_bytes()
        # While pages are set anew, or once a command has drawn up another draft, they are not the note's.
        if hashlib.sha256(pdf).hexdigest() != pages.digest:
            raise FileNotFoundError
        with _PDFIUM:
            document = _pdfium().PdfDocument(pdf)
            try:
                drawn = document[number - 1].render(scale=_DPI / _POINTS_AN_INCH)
                rgb = np.ascontiguousarray(drawn.to_numpy()[:, :, ::-1][:, :, -3:])
            finally:
                document.close()
        return pictures.upright_jpeg(rgb, 85)

    try:
        return pictures.kept_copy(job.copies / _FOLDER, pages.digest, f"page-{number}", make, spare=spare)
    except FileNotFoundError:
        return None


def _spots(pdf: Path, contents: Contents) -> tuple[tuple[Spot, ...], ...]:
    """Match the pictures in the order they are drawn with the photos in the order they are set."""
    parts = sections(contents.rooms, contents.findings, contents.photos)
    waiting = [photo for section in parts for group in section.groups for photo in group.photos]
    found: list[tuple[Spot, ...]] = []
    reader = _pdfium()
    with _PDFIUM:
        document = reader.PdfDocument(pdf)
        try:
            for at in range(len(document)):
                sheet = document[at]
                width, height = sheet.get_size()
                on_page = []
                for thing in sheet.get_objects(filter=[reader.raw.FPDF_PAGEOBJ_IMAGE]):
                    left, bottom, right, top = thing.get_bounds()
                    photo = waiting.pop(0)
                    on_page.append(
                        Spot(
                            photo.frame,
                            photo.number,
                            left / width,
                            1 - top / height,
                            right / width,
                            1 - bottom / height,
                        )
                    )
                found.append(tuple(on_page))
        finally:
            document.close()
    return tuple(found)


def _pdfium() -> ModuleType:
    try:
        import pypdfium2  # noqa: PLC0415 - an optional library, needed for the review page only
    except ImportError as problem:
        raise LibraryMissing("Pages cannot be shown: pypdfium2 is not installed.") from problem
    library: ModuleType = pypdfium2
    return library
