"""The evening at the desk: the review page."""

from __future__ import annotations

import sys
import webbrowser
from typing import Annotated, Final

import typer

from evidence.cli.door import HERE, Job, app, progress, say, talk, told
from evidence.errors import CannotWrite, LibraryMissing

MOST_PORT: Final = 65_535
"""A port has 16 bits (RFC 9293)."""


@app.command()
@told
def review(
    job: Job = HERE,
    *,
    port: Annotated[
        int,
        typer.Option(
            min=0, max=MOST_PORT, show_default=False, help="Where to serve it; any free port without it."
        ),
    ] = 0,
    browser: Annotated[
        bool, typer.Option("--open/--no-open", help="Open a browser; only done on a terminal.")
    ] = True,
) -> int | None:
    """Look through the day, decide and issue in a browser. Example: evidence review JOB."""
    from evidence.desk import Desk
    from evidence.steps import read

    try:
        from evidence.review import server
    except ImportError as problem:
        raise LibraryMissing(
            "The review page needs more libraries: pip install 'evidence-appendix[review]'."
        ) from problem

    try:
        with Desk.open(job) as desk:
            # What an older method measured is measured anew, or its light could not be shown.
            read.read(desk, progress=progress())
    except CannotWrite as problem:
        talk(f"{problem} It is shown for looking only; nothing can be decided.")

    def tell(address: str) -> None:
        say(address)
        talk("The address opens the page once, in one browser of this computer. Ctrl-C ends it.")

    watched = browser and sys.stdout.isatty()
    server.serve(job, port, tell, webbrowser.open if watched else lambda _: None)
    return None
