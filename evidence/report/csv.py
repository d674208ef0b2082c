"""Write the schedule of findings as a table for a spreadsheet.

Hides how a spreadsheet is kept from taking a text for a formula.
"""

from __future__ import annotations

import csv
from pathlib import Path

from evidence.report import wording
from evidence.report.contents import Contents, Printer, PrintSize
from evidence.report.plain import one_line

COLUMNS = (
    *("Finding", "Urgent", "Room", "Place", "What was seen", "Why it matters", "What to do", "Who"),
    *("Not seen", "Photos", "Address", "Edition"),
)

_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""What makes a spreadsheet read a cell as a formula (OWASP, "CSV Injection")."""


def write(contents: Contents, printer: Printer, size: PrintSize, target: Path) -> None:
    """Write one row a finding, in the order of the schedule; pictures are not asked for.

    UTF-8 with a byte order mark, which spreadsheets need to know it by; every cell quoted, rows
    ended by CR LF (RFC 4180).
    """
    del printer, size
    with target.open("w", encoding="utf-8-sig", newline="") as file:
        rows = csv.writer(file, quoting=csv.QUOTE_ALL)
        rows.writerow(COLUMNS)
        for finding, row in zip(contents.findings, wording.schedule(contents), strict=True):
            cells = (
                str(finding.number),
                "urgent" if finding.urgent else "",
                finding.room,
                finding.place,
                row.seen,
                finding.why,
                finding.do,
                finding.who,
                finding.limits,
                ", ".join(f"Photo {number}" for number in row.photos),
                wording.address(contents),
                wording.edition(contents),
            )
            rows.writerow([harmless(cell) for cell in cells])


def harmless(cell: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would run as a formula.

    Leading spaces are dropped first, since some programs look past them.

    Examples
    --------
    >>> print(harmless('=HYPERLINK("x")'))
    '=HYPERLINK("x")
    >>> harmless("sound")
    'sound'
    """
    text = one_line(cell)
    return f"'{text}" if text.startswith(_STARTS) else text
