"""What an inspector looks up: the standard findings, and figures to compare a measured value with."""

from __future__ import annotations

from typing import Annotated

import typer

from evidence import tables
from evidence.cli.door import HERE, AsJson, Job, app, one_of, say, talk, told
from evidence.errors import WrongUsage


@app.command()
@told
def catalogue(
    job: Job = HERE,
    *,
    show: Annotated[str, typer.Option(help="Id of a standard finding, to read in full.")] = "",
    system: Annotated[str, typer.Option(help="Only this part of the house, such as roof.")] = "",
    references: Annotated[
        bool, typer.Option("--references", help="Show references, with what they are worth.")
    ] = False,
    begin: Annotated[bool, typer.Option("--begin", help="Write a file for findings of your own.")] = False,
    as_json: AsJson = False,
) -> int | None:
    """List the standard findings, yours among them. Example: evidence catalogue --show PLB-02."""
    from evidence.steps import catalogue as step

    one_of({"--begin": begin, "--show": bool(show), "--system": bool(system)})
    one_of({"--begin": begin, "--references": references})
    if begin:
        begun = step.begin()
        say(tables.as_json({"file": begun}) if as_json else f"Your own findings go into {begun}")
        return None
    rows = step.shown(job, name=show, system=system, references=references)
    if own := step.own_file(job):
        talk(f"Yours are laid over them, from {own}")
    if as_json:
        say(tables.as_json(rows))
    elif show:
        say(tables.standard_finding(rows[0], step.caution(rows[0])))
    else:
        say(tables.standard_findings(rows))
    if references:
        talk(step.REFERENCE_CAUTION)
    return None


@app.command()
@told
def check(
    words: Annotated[
        list[str] | None, typer.Argument(help="Id of a standard finding, what was measured, and its value.")
    ] = None,
    *,
    depends: Annotated[
        str, typer.Option("--for", help="What the figure depends on: a roof slope, a material, bends.")
    ] = "",
    references: Annotated[
        bool, typer.Option("--references", help="Show where the figure comes from.")
    ] = False,
    as_json: AsJson = False,
) -> int | None:
    """Compare a measured value with its figure. Example: evidence check EXT-10 riser 8 1/4 in."""
    from evidence.steps import catalogue
    from evidence.steps import check as step

    said = words or []
    if len(said) < 2 and (depends or references):
        raise WrongUsage("--for and --references go with a measured value.")
    if len(said) < 2:
        found = step.figures(said[0] if said else "")
        say(tables.as_json(found) if as_json else tables.figures(found))
        return None
    answer = step.check(" ".join(said), depends, references=references)
    say(tables.as_json(answer) if as_json else tables.answer(answer))
    if references:
        talk(f"Reference: {answer.reference}. {catalogue.REFERENCE_CAUTION}")
    return None
