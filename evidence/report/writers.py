"""The formats an appendix can be written in: one row each."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from evidence.errors import WrongUsage
from evidence.report import csv, docx, html, pdf
from evidence.report.contents import Contents, Printer, PrintSize


class Write(Protocol):
    """Writes the whole appendix into one file; same contents and pictures give the same bytes."""

    def __call__(self, contents: Contents, printer: Printer, size: PrintSize, target: Path, /) -> None:
        """Write ``target``; :class:`~evidence.errors.BadPicture` leaves when a copy is no JPEG."""


@dataclass(frozen=True, slots=True)
class Writer:
    """One format.

    Attributes
    ----------
    name
        As typed on the command line.
    file_name
        The file's name in an edition's folder.
    write
        Makes the file.
    """

    name: str
    file_name: str
    write: Write


WRITERS = (
    Writer("pdf", "appendix.pdf", pdf.write),
    Writer("html", "appendix.html", html.write),
    Writer("docx", "appendix.docx", docx.write),
    Writer("csv", "schedule.csv", csv.write),
)
"""Every format; the first is always written."""


def writer(name: str) -> Writer:
    """Find a format by its name.

    Raises
    ------
    WrongUsage
        There is none of that name.
    """
    for row in WRITERS:
        if row.name == name.casefold():
            return row
    known = ", ".join(row.name for row in WRITERS)
    raise WrongUsage(f"there is no format called {name!r}; there are {known}")
