"""Tell a person how far long work has come; silent unless asked.

Hides the terminal: whoever works calls :meth:`Progress.step`, and only a door that knows a
person is watching hands in one that draws.
"""

from __future__ import annotations

from typing import Protocol, TextIO


class Progress(Protocol):
    """What a piece of long work tells while it goes on."""

    def begin(self, label: str, total: int) -> None:
        """Say what is starting, and of how many parts it consists."""

    def step(self, done: int = 1, note: str = "") -> None:
        """Say that ``done`` more parts are finished."""

    def end(self) -> None:
        """Say that this piece of work is over."""


class Silent:
    """Tells nothing; for tests, pipes and programs."""

    def begin(self, label: str, total: int) -> None:
        """Take no notice."""

    def step(self, done: int = 1, note: str = "") -> None:
        """Take no notice."""

    def end(self) -> None:
        """Take no notice."""


class Line:
    """One line on a terminal, rewritten in place.

    Parameters
    ----------
    stream
        Where to draw; a terminal, usually standard error.
    """

    WIDTH = 78

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._label = ""
        self._total = 0
        self._done = 0
        self._shown = ""

    def begin(self, label: str, total: int) -> None:
        """Start a line such as ``copying 0/312``."""
        self._label, self._total, self._done, self._shown = label, total, 0, ""
        self._draw("")

    def step(self, done: int = 1, note: str = "") -> None:
        """Move the line on; the note is cut to the width of a narrow terminal."""
        self._done += done
        self._draw(note)

    def end(self) -> None:
        """Leave the line as it stands and go to the next."""
        if self._shown:
            self._stream.write("\n")
            self._stream.flush()
        self._shown = ""

    def _draw(self, note: str) -> None:
        text = f"{self._label} {self._done}/{self._total} {note}"[: self.WIDTH].rstrip()
        if text != self._shown:
            self._stream.write("\r" + text.ljust(max(len(self._shown), len(text))))
            self._stream.flush()
            self._shown = text
