"""The command line: read the words typed, call one step, say what came of it.

One module for each part of the day; every decision made here is one step's, never this package's.
"""

from __future__ import annotations

import os
import sys

from evidence.cli import day, evening, looking_up, proving, walk, writing
from evidence.cli.door import app

_DAY = [part.__name__ for part in (day, walk, writing, evening, looking_up, proving)]
# Typer lists commands as they were registered, which is as the modules were imported: by letter.
app.registered_commands.sort(key=lambda command: _DAY.index(command.callback.__module__))

__all__ = ["app", "day", "evening", "looking_up", "main", "proving", "walk", "writing"]


def main() -> None:
    """Run the command line."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        # A stream closed by a scheduler is None here, and the next file opened would get its number:
        # what a decoder prints would be written into that file.
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode))  # noqa: PTH123, SIM115 - open until the program ends
    for stream in (sys.stdout, sys.stderr):
        # A name on a card may hold letters that an old terminal cannot show.
        stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    app()
