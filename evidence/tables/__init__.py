"""Lay results out for a tired person on a narrow terminal, and as JSON for programs.

Pure: results in, text out. One module a part of the day, as the commands have it.
"""

from __future__ import annotations

from evidence.tables.day import demo, files, intake, pictures, status
from evidence.tables.layout import WIDTH, as_json, clean, laid_out_for, table
from evidence.tables.proving import delivered, issued, proof, sealed, searched, supplied, verified
from evidence.tables.walk import by_doubt, cameras, clock_sets, films, joints, learned, narration, rooms
from evidence.tables.writing import (
    answer,
    attached,
    described,
    figures,
    findings,
    gaps,
    lights,
    marks,
    proposal,
    standard_finding,
    standard_findings,
)
from evidence.words import count

__all__ = [
    "WIDTH",
    "answer",
    "as_json",
    "attached",
    "by_doubt",
    "cameras",
    "clean",
    "clock_sets",
    "count",
    "delivered",
    "demo",
    "described",
    "figures",
    "files",
    "films",
    "findings",
    "gaps",
    "intake",
    "issued",
    "joints",
    "laid_out_for",
    "learned",
    "lights",
    "marks",
    "narration",
    "pictures",
    "proof",
    "proposal",
    "rooms",
    "sealed",
    "searched",
    "standard_finding",
    "standard_findings",
    "status",
    "supplied",
    "table",
    "verified",
]
