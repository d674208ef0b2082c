"""Draw sheets of room cards as a PDF."""

from __future__ import annotations

import json
from dataclasses import asdict
from importlib import resources
from typing import TYPE_CHECKING

import typst

if TYPE_CHECKING:
    from collections.abc import Sequence

    from evidence.roomcards import Page


def pdf(pages: Sequence[Page]) -> bytes:
    """Draw pages of black boxes and words, at their true size in millimetres.

    Parameters
    ----------
    pages
        As :func:`evidence.roomcards.sheet` and :func:`evidence.roomcards.job_card` lay them out.
    """
    template = (resources.files(__package__) / "templates" / "sheets.typ").read_bytes()
    inputs = {"pages": json.dumps([asdict(page) for page in pages])}
    made = typst.Compiler(font_paths=typst.Fonts(include_system_fonts=False)).compile(
        template, format="pdf", sys_inputs=inputs
    )
    if not isinstance(made, bytes):
        raise TypeError("typst gave several files for one document")
    return made
