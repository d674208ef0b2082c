"""The issued edition and its proof: proof, issue, deliver, supply, search, verify, seal."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from evidence import __version__, tables
from evidence.cli.door import HERE, AsJson, Job, app, at_desk, one_of, progress, say, talk, told
from evidence.errors import BadSetting, ExitCode, NotIssuable, WrongUsage


@app.command()
@told
def proof(
    job: Job = HERE,
    pictures: Annotated[list[int] | None, typer.Argument(help="Pictures looked at in full size.")] = None,
    *,
    take_back: Annotated[bool, typer.Option("--take-back", help="Take these ticks back.")] = False,
    as_json: AsJson = False,
) -> int | None:
    """Tick printed pictures looked at in full size, or list the rest. Example: evidence proof JOB 41 44."""
    from evidence.steps import proof as step

    if take_back and not pictures:
        raise WrongUsage("Name the pictures whose ticks are to be taken back.")
    with at_desk(job, write=bool(pictures)) as desk:
        if pictures:
            step.looked(desk, pictures, done=not take_back)
        found = step.proof(desk)
    say(tables.as_json(found) if as_json else tables.proof(found))
    return ExitCode.NEEDS_PERSON if found.to_look_at else None


@app.command()
@told
def issue(
    job: Job = HERE,
    *,
    per_page: Annotated[int | None, typer.Option(help="Photos a page: 1, 2, 4 or 6.")] = None,
    paper: Annotated[str | None, typer.Option(help="letter or a4.")] = None,
    html: Annotated[bool, typer.Option("--html", help="Also one HTML file.")] = False,
    docx: Annotated[bool, typer.Option("--docx", help="Also a DOCX for your own report.")] = False,
    csv: Annotated[bool, typer.Option("--csv", help="Also the schedule of findings as a table.")] = False,
    draft: Annotated[bool, typer.Option("--draft", help="A draft: marked on each page, no edition.")] = False,
    mail_limit: Annotated[str, typer.Option(help="Also a PDF no larger than this, such as 10MB.")] = "",
    unlooked: Annotated[str, typer.Option(help="Why pictures not looked at in full size are printed.")] = "",
    as_json: AsJson = False,
) -> int | None:
    """Issue a numbered edition of the appendix. Example: evidence issue JOB --html --csv."""
    from evidence.steps import issue as step

    extra = [name for name, wanted in (("html", html), ("docx", docx), ("csv", csv)) if wanted]
    wanted = step.Wanted(
        formats=("pdf", *extra),
        per_page=per_page,
        paper=paper,
        draft=draft,
        mail_limit=_bytes(mail_limit),
        unlooked_reason=unlooked,
    )
    with at_desk(job) as desk:
        made = step.issue(desk, wanted, progress=progress())
    say(tables.as_json(made) if as_json else tables.issued(made))
    return None


def _bytes(text: str) -> int | None:
    if not text:
        return None
    digits, unit = text.strip().upper().removesuffix("B"), 1
    for letter, size in (("K", 10**3), ("M", 10**6), ("G", 10**9)):
        if digits.endswith(letter):
            digits, unit = digits[:-1], size
    try:
        return int(float(digits) * unit)
    except (ValueError, OverflowError):
        raise BadSetting(f"“{text}” is no size such as 10MB.") from None


@app.command()
@told
def deliver(
    job: Job = HERE,
    *,
    to: Annotated[str, typer.Option(help="To whom it was handed.")],
    on: Annotated[str, typer.Option(help="The day, such as 2026-11-25; today without it.")] = "",
    by: Annotated[str, typer.Option(help="By what way, such as e-mail.")] = "",
    edition: Annotated[
        int | None, typer.Option(min=1, help="Number of the edition; the last one without it.")
    ] = None,
    file: Annotated[list[str] | None, typer.Option(help="A document handed over; else its PDF.")] = None,
    as_json: AsJson = False,
) -> int | None:
    """Note that an edition was handed over. Example: evidence deliver JOB --to "R. Moss" --by e-mail."""
    from evidence.desk import Desk
    from evidence.steps import deliver as step

    day = step.parse_day(on) if on else datetime.now().astimezone().date()
    with Desk.open(job) as desk:
        noted = step.deliver(desk, to, day, edition=edition, by=by, names=tuple(file or ()))
    say(tables.as_json(noted) if as_json else tables.delivered(noted))
    return None


@app.command()
@told
def supply(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    findings: Annotated[list[int], typer.Argument(help="Numbers of the findings.")],
    *,
    to: Annotated[Path, typer.Option(help="The folder to make.")],
    as_json: AsJson = False,
) -> int | None:
    """Hand over originals of findings with a statement. Example: evidence supply JOB 3 7 --to for-insurer."""
    from evidence.steps import supply as step

    with at_desk(job) as desk:
        made = step.supply(desk, findings, to, datetime.now().astimezone(), progress=progress())
    say(tables.as_json(made) if as_json else tables.supplied(made))
    return None


@app.command()
@told
def search(
    below: Annotated[Path, typer.Argument(help="The folder that holds your jobs.", metavar="FOLDER")],
    words: Annotated[list[str], typer.Argument(help="Words that must all be found.")],
    *,
    as_json: AsJson = False,
) -> int | None:
    """Search all jobs below a folder. Example: evidence search ~/jobs alder chimney."""
    from evidence.steps import search as step

    found = step.search(below, " ".join(words))
    say(tables.as_json(found) if as_json else tables.searched(found))
    return ExitCode.NEEDS_PERSON if found.unread else None


@app.command()
@told
def verify(
    place: Annotated[
        Path,
        typer.Argument(help="A job, an edition, a bag, a ZIP of one, or a file.", show_default="this folder"),
    ] = HERE,
    *,
    job: Annotated[Path | None, typer.Option(help="The job a single file comes from.")] = None,
    as_json: AsJson = False,
) -> int | None:
    """Check every byte and the record's chain. Example: evidence verify JOB."""
    from evidence import verify as step

    report = step.verify(place, job=job)
    say(tables.as_json(report.as_json()) if as_json else tables.verified(report))
    return ExitCode.DONE if report.sound else ExitCode.HASH_MISMATCH


@app.command()
@told
def seal(
    job: Job = HERE,
    *,
    edition: Annotated[
        int | None, typer.Option(min=1, help="Number of the edition; the last one without it.")
    ] = None,
    new_key: Annotated[Path | None, typer.Option(help="Make a key and keep it in this file.")] = None,
    key: Annotated[Path | None, typer.Option(help="Sign with this key.")] = None,
    ask_time: Annotated[bool, typer.Option("--ask-time", help="Write a time-stamp request.")] = False,
    reply: Annotated[Path | None, typer.Option(help="Keep this reply of a time-stamp authority.")] = None,
    certificates: Annotated[Path | None, typer.Option(help="The authority's certificates, PEM.")] = None,
    as_json: AsJson = False,
) -> int | None:
    """Sign an edition, or tie it to a moment. Example: evidence seal JOB --key ~/inspector.pem."""
    from evidence import seal as keys
    from evidence.job import Job as Opened
    from evidence.steps import seal as step

    asked = {"--key": bool(key), "--ask-time": ask_time, "--reply": bool(reply)}
    for name, given in {**asked, "--certificates": bool(certificates), "--edition": bool(edition)}.items():
        one_of({"--new-key": bool(new_key), name: given})
    if new_key:
        keys.new_key(new_key)
        made = f"Made the key {new_key}. Keep it secret and outside any job."
        say(tables.as_json({"key": new_key}) if as_json else made)
        return None
    with Opened.open(job, write=any(asked.values())) as opened:
        number = edition or max(opened.editions(), default=0)
        if not number:
            raise NotIssuable("No edition was issued yet; issue one first.")
        if key:
            talk(f"Signed: {step.sign(opened, number, key)}")
        if ask_time:
            talk(f"Send this to a time-stamp authority: {step.request(opened, number)}")
        if reply:
            if certificates is None:
                raise WrongUsage("A reply is checked against --certificates of its authority.")
            step.accept(opened, number, reply, certificates)
        found = step.check(opened, number, certificates)
    say(tables.as_json(found) if as_json else tables.sealed(found))
    return None


def _print_version(asked: bool) -> None:
    if asked:
        say(__version__)
        raise typer.Exit


@app.callback()
def _program(
    *,
    version: Annotated[
        bool, typer.Option("--version", is_eager=True, callback=_print_version, help="Print the version.")
    ] = False,
) -> None:
    del version


@app.command()
@told
def version() -> int | None:
    """Print the program's version."""
    say(__version__)
    return None
