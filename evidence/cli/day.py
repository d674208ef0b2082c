"""From the card to pictures in a job: demo, start, intake, status."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from evidence import tables
from evidence.cli.door import HERE, AsJson, Job, app, one_of, progress, say, talk, told
from evidence.errors import ExitCode, SeveralJobs, WrongUsage


@app.command()
@told
def demo(
    folder: Annotated[Path, typer.Argument(help="Where to make the demo's job.")] = Path("evidence-demo"),
    *,
    as_json: AsJson = False,
) -> int | None:
    """Carry the made-up house from its card to edition 1. Example: evidence demo."""
    from evidence.steps import demo as step

    made = step.demo(folder, progress=progress(), tell=(lambda _: None) if as_json else talk)
    say(tables.as_json(made) if as_json else tables.demo(made))
    return None


@app.command()
@told
def start(
    folder: Annotated[str, typer.Argument(help="The new job's folder.")],
    *,
    address: Annotated[str, typer.Option(help="Address of the house.")] = "",
    client: Annotated[str, typer.Option(help="Who ordered the inspection.")] = "",
    inspector: Annotated[str, typer.Option(help="Your name, as it is to be printed.")] = "",
    licence: Annotated[str, typer.Option(help="Your licence number.")] = "",
    zone: Annotated[str, typer.Option(help="Time zone of the house, such as America/Chicago.")] = "",
    inspected: Annotated[str, typer.Option(help="Day of the inspection, such as 2026-11-25.")] = "",
    due: Annotated[str, typer.Option(help="Day the appendix is due.")] = "",
    standard: Annotated[str, typer.Option(help="Standard of practice followed.")] = "",
    weather: Annotated[str, typer.Option(help="Weather on the day.")] = "",
    paper: Annotated[str, typer.Option(help="letter or a4.")] = "",
    language: Annotated[str, typer.Option(help="en-US, en-GB, or en for ISO dates.")] = "",
    per_page: Annotated[int | None, typer.Option(min=1, help="Photos a page: 1, 2, 4 or 6.")] = None,
) -> int | None:
    """Make a new job. Example: evidence start "2026-11-25 14 Alder Court" --client "R. Moss"."""
    from evidence.steps.start import start as step

    if not folder.strip():  # a script's empty variable; as a path it would be the current folder
        raise WrongUsage("The new job's folder has no name.")
    typed: dict[str, object] = {
        "address": address,
        "client": client,
        "inspector": inspector,
        "licence": licence,
        "zone": zone,
        "inspected": inspected,
        "due": due,
        "standard": standard,
        "weather": weather,
        "paper": paper,
        "language": language,
        "per_page": per_page,
    }
    values = {key: value for key, value in typed.items() if value}
    if sys.stdin.isatty() and sys.stdout.isatty():
        for key, question in (
            ("address", "Address of the house"),
            ("client", "Client"),
            ("inspector", "Your name"),
        ):
            if key not in values and (answer := typer.prompt(question, default="", show_default=False)):
                values[key] = answer
    with step(Path(folder), values) as job:
        say(f"Made the job {job.folder.name}.")
        typed_again = f"./{folder}" if folder.startswith("-") else folder  # else it would be an option
        talk(f'Next: evidence intake "{typed_again}" CARD')
    return None


@app.command()
@told
def intake(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    sources: Annotated[list[Path], typer.Argument(help="Card, phone folder or disk; one or more.")],
    *,
    second_copy: Annotated[
        Path | None, typer.Option(help="Another disk for a second, verified copy.")
    ] = None,
    part: Annotated[
        list[int] | None, typer.Option(help="Only this part of a card of several jobs; again for more.")
    ] = None,
    whole: Annotated[bool, typer.Option("--whole", help="All of the card is this one job.")] = False,
    job_begins: Annotated[
        list[str] | None, typer.Option(help="A job begins with this file on the card.")
    ] = None,
    as_json: AsJson = False,
) -> int | None:
    """Take cards in: copy, verify, read, arrange. Example: evidence intake JOB /media/card."""
    from evidence.desk import Desk
    from evidence.steps import read
    from evidence.steps.parts import Wanted
    from evidence.steps.status import status as look

    wanted = Wanted(tuple(part or ()), whole, tuple(job_begins or ()))
    with Desk.open(job) as desk:
        try:
            result = read.take_in(desk, sources, second_copy=second_copy, wanted=wanted, progress=progress())
        except SeveralJobs as question:
            if as_json:
                say(tables.as_json({"parts": question.parts}))
            raise
        now = look(desk, datetime.now().astimezone().date())
        broken = read.damaged(desk)
        if as_json:
            say(tables.as_json({"intake": result, "status": now}))
        else:
            say(tables.intake(result, now, broken))
    return ExitCode.NEEDS_PERSON if result.set_aside or broken or now.other_jobs else None


@app.command()
@told
def status(
    job: Job = HERE,
    *,
    pictures: Annotated[bool, typer.Option("--pictures", help="List every picture, a line each.")] = False,
    files: Annotated[bool, typer.Option("--files", help="List every file that is no picture.")] = False,
    as_json: AsJson = False,
) -> int | None:
    """Say on one screen how the job stands. Example: evidence status JOB."""
    from evidence.desk import Desk
    from evidence.steps.status import status as step

    one_of({"--pictures": pictures, "--files": files})
    with Desk.open(job, write=False) as desk:
        now, state = step(desk, datetime.now().astimezone().date()), desk.state()
    if as_json:
        say(tables.as_json({"status": now, "pictures": state.pictures} if pictures else now))
    else:
        say(
            tables.pictures(state, now.beside)
            if pictures
            else tables.files(now)
            if files
            else tables.status(now)
        )
    return None
