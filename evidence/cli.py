"""The command line: read the words typed, call one step, say what came of it.

Results go to standard output, talk to standard error; the exit code says how it ended
(docs/commands.md). Hides Typer. Every decision made here is one step's, never this module's.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import datetime
from functools import wraps
from pathlib import Path
from typing import Annotated, ParamSpec

import typer

from evidence import __version__, tables
from evidence.errors import BadSetting, EvidenceError, ExitCode, WrongUsage
from evidence.progress import Line, Progress, Silent
from evidence.words import Distance

P = ParamSpec("P")

app = typer.Typer(
    name="evidence",
    help="From a house inspector's camera card to an issued, verifiable photo appendix.",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Job = Annotated[Path, typer.Argument(help="The job's folder.", show_default="this folder")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON, for programs.")]

HERE = Path()


def main() -> None:
    """Run the command line; the way in for the installed program."""
    for stream in (sys.stdout, sys.stderr):
        # A name on a card may hold letters that an old terminal cannot show.
        stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    app()


def told(command: Callable[P, int | None]) -> Callable[P, None]:
    """Turn what a command returns or raises into its exit code, with one clear sentence."""

    @wraps(command)
    def run(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            code = command(*args, **kwargs)
        except EvidenceError as problem:
            talk(f"{problem}\n{problem.remedy}".strip())
            raise typer.Exit(int(problem.exit_code)) from None
        except KeyboardInterrupt:
            talk("\nStopped. What was safe is kept; run the same command again to go on.")
            raise typer.Exit(int(ExitCode.INTERRUPTED)) from None
        except Exception as problem:  # noqa: BLE001 - the door: a person never sees a traceback
            talk(f"The program stopped at something it does not know: {type(problem).__name__}: {problem}")
            talk("The job is safe: originals and record are never half-written. Please report this sentence.")
            raise typer.Exit(int(ExitCode.STOPPED)) from None
        raise typer.Exit(int(code or ExitCode.DONE))

    return run


def say(text: str) -> None:
    """Print a result."""
    typer.echo(text)


def talk(text: str) -> None:
    """Print what is said beside a result."""
    typer.echo(text, err=True)


def progress() -> Progress:
    """Draw progress only where a person watches."""
    return Line(sys.stderr) if sys.stderr.isatty() else Silent()


def _pairs(words: list[str] | None, option: str) -> list[tuple[str, str]]:
    """Part words such as "3=Kitchen"."""
    parted = []
    for word in words or []:
        key, sign, value = word.partition("=")
        if not sign or not key.strip():
            raise WrongUsage(f"{option} takes words such as 3=Kitchen, not “{word}”.")
        parted.append((key.strip(), value))
    return parted


def _number(word: str, what: str) -> int:
    if not word.isdecimal():
        raise WrongUsage(f"“{word}” is not the number of a {what}.")
    return int(word)


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
    folder: Annotated[Path, typer.Argument(help="The new job's folder.")],
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
    language: Annotated[str, typer.Option(help="en-US or en-GB, for dates and numbers.")] = "",
    per_page: Annotated[int, typer.Option(help="Photos a page: 1, 2, 4 or 6.")] = 0,
) -> int | None:
    """Make a new job. Example: evidence start "2026-11-25 14 Alder Court" --client "R. Moss"."""
    from evidence.steps.start import start as step

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
    with step(folder, values) as job:
        say(f"Made the job {job.folder.name}.")
        talk(f'Next: evidence intake "{folder}" CARD')
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
    as_json: AsJson = False,
) -> int | None:
    """Take cards in: copy, verify, read, arrange. Example: evidence intake JOB /media/card."""
    from evidence.desk import Desk
    from evidence.steps import read
    from evidence.steps.status import status as look

    with Desk.open(job) as desk:
        result = read.take_in(desk, sources, second_copy=second_copy, progress=progress())
        now = look(desk, datetime.now().astimezone().date())
        broken = read.damaged(desk)
        if as_json:
            say(tables.as_json({"intake": result, "status": now}))
        else:
            say(tables.intake(result, now, broken))
    return ExitCode.NEEDS_PERSON if result.set_aside or broken else None


@app.command()
@told
def status(
    job: Job = HERE,
    *,
    pictures: Annotated[bool, typer.Option("--pictures", help="List every picture, a line each.")] = False,
    as_json: AsJson = False,
) -> int | None:
    """Say on one screen how the job stands. Example: evidence status JOB."""
    from evidence.desk import Desk
    from evidence.steps.status import status as step

    with Desk.open(job, write=False) as desk:
        now, state = step(desk, datetime.now().astimezone().date()), desk.state()
    if as_json:
        say(tables.as_json({"status": now, "pictures": state.pictures} if pictures else now))
    else:
        say(tables.pictures(state) if pictures else tables.status(now))
    return None


@app.command()
@told
def clock(
    job: Job = HERE,
    *,
    camera: Annotated[str, typer.Option(help="A part of the camera's name.")] = "",
    add: Annotated[float, typer.Option(help="Seconds to add to its times; negative when it is fast.")] = 0.0,
    zone: Annotated[str, typer.Option(help="Its distance from UTC, such as -06:00.")] = "",
    reason: Annotated[str, typer.Option(help="Why; printed beside the corrected time.")] = "",
    picture: Annotated[int, typer.Option(help="A picture of a watch, or the first of a faulty run.")] = 0,
    shows: Annotated[str, typer.Option(help="What the watch in --picture shows, such as 14:05:30.")] = "",
    same_as: Annotated[int, typer.Option(help="Another camera's picture of the same moment.")] = 0,
    take: Annotated[int, typer.Option(help="Take the repair proposed at this picture.")] = 0,
    as_json: AsJson = False,
) -> int | None:
    """Show the cameras' clocks or correct one. Example: evidence clock JOB --picture 3 --shows 9:12."""
    from evidence.desk import Desk
    from evidence.steps import clock as step

    changing = bool(camera or picture or take)
    with Desk.open(job, write=changing) as desk:
        if take:
            step.take_fault(desk, take)
        elif picture and shows:
            step.by_watch(desk, picture, shows)
        elif picture and same_as:
            step.by_shared_shot(desk, picture, same_as)
        elif picture and add:
            step.correct_from(desk, picture, add, reason)
        elif camera:
            step.correct(desk, camera, add, reason, offset_min=_offset(zone))
        elif changing:
            raise WrongUsage("--picture needs --shows, --same-as or --add.")
        found = step.cameras(desk)
    say(tables.as_json(found) if as_json else tables.cameras(found))
    return None


def _offset(zone: str) -> int | None:
    if not zone:
        return None
    sign, (hours, colon, minutes) = zone[:1], zone[1:].partition(":")
    if sign not in "+-" or not (colon and hours.isdecimal() and minutes.isdecimal()):
        raise BadSetting(f"“{zone}” is no distance from UTC such as -06:00.")
    return (-1 if sign == "-" else 1) * (60 * int(hours) + int(minutes))


@app.command()
@told
def rooms(
    job: Job = HERE,
    *,
    name: Annotated[list[str] | None, typer.Option(help="VISIT=ROOM; may be given again.")] = None,
    join: Annotated[list[int] | None, typer.Option(help="Join this visit to the one after it.")] = None,
    split: Annotated[list[int] | None, typer.Option(help="Begin a new visit with this picture.")] = None,
    order: Annotated[str, typer.Option(help="Rooms in walking order, with commas between.")] = "",
    overall: Annotated[list[int] | None, typer.Option(help="Print this picture as an overall view.")] = None,
    as_json: AsJson = False,
) -> int | None:
    """List visits and rooms, or name, join, split, order. Example: evidence rooms JOB --name 3=Kitchen."""
    from evidence.desk import Desk
    from evidence.steps import rooms as step

    changing = bool(name or join or split or order or overall)
    with Desk.open(job, write=changing) as desk:
        for frame in split or []:
            step.split(desk, frame)
        for number in sorted(join or [], reverse=True):
            step.join(desk, number, number + 1)
        if name:
            step.name(desk, {_number(visit, "visit"): room for visit, room in _pairs(name, "--name")})
        if order:
            step.order(desk, [room.strip() for room in order.split(",") if room.strip()])
        if overall:
            step.overall(desk, overall)
        state = desk.state()
        offers = {n: step.offers(desk, n) for n, v in enumerate(state.visits, 1) if not v.room}
    if as_json:
        say(tables.as_json({"rooms": state.rooms, "visits": state.visits, "offers": offers}))
    else:
        say(tables.rooms(state, offers))
    return None


@app.command()
@told
def findings(
    job: Job = HERE,
    *,
    add: Annotated[str, typer.Option("--add", help="What was seen; makes a new finding.")] = "",
    take_from: Annotated[str, typer.Option("--from", help="Id of a standard finding, such as ATT-06.")] = "",
    edit: Annotated[int, typer.Option(help="Number of the finding to change.")] = 0,
    withdraw: Annotated[int, typer.Option(help="Number of the finding to take out.")] = 0,
    csv: Annotated[Path | None, typer.Option(help="A table of findings, a row each.")] = None,
    search: Annotated[str, typer.Option(help="Search the standard findings by words.")] = "",
    seen: Annotated[str | None, typer.Option(help="What was seen.")] = None,
    why: Annotated[str | None, typer.Option(help="Why it matters.")] = None,
    do: Annotated[str | None, typer.Option(help="What to do.")] = None,
    who: Annotated[str | None, typer.Option(help="Who should do it.")] = None,
    place: Annotated[str | None, typer.Option(help="Where, in words.")] = None,
    room: Annotated[str | None, typer.Option(help="Name of the room.")] = None,
    limits: Annotated[str | None, typer.Option(help="What could not be seen, and why.")] = None,
    urgent: Annotated[
        bool | None, typer.Option("--urgent/--not-urgent", help="Tell the client today.")
    ] = None,
    as_json: AsJson = False,
) -> int | None:
    """List findings, or add, edit, withdraw. Example: evidence findings JOB --from ATT-06 --room Attic."""
    from evidence.desk import Desk
    from evidence.steps import findings as step

    if search:
        found = step.search(search)
        say(tables.as_json(found) if as_json else tables.standard_findings(found))
        return None
    typed: dict[str, object] = {
        "seen": seen if seen is not None else add or None,
        "why": why,
        "do": do,
        "who": who,
        "place": place,
        "room": room,
        "limits": limits,
        "urgent": urgent,
    }
    parts = {key: value for key, value in typed.items() if value is not None}
    with Desk.open(job, write=bool(add or take_from or edit or withdraw or csv)) as desk:
        if csv:
            step.from_csv(desk, csv)
        elif edit:
            step.edit(desk, edit, parts)
        elif withdraw:
            step.withdraw(desk, withdraw)
        elif add or take_from:
            made = step.add(desk, parts, standard=take_from)
            talk(f"Finding {made.number} was added.")
        elif parts:
            raise WrongUsage("Say which finding with --edit, or make one with --add or --from.")
        state = desk.state()
    if as_json:
        say(tables.as_json({"findings": state.findings, "attachments": state.attachments}))
    else:
        say(tables.findings(state))
    return None


@app.command()
@told
def attach(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    finding: Annotated[int, typer.Argument(help="Number of the finding.")],
    pictures: Annotated[list[int] | None, typer.Argument(help="Numbers of the pictures.")] = None,
    *,
    distance: Annotated[Distance | None, typer.Option(help="From how far they show it.")] = None,
    best: Annotated[bool, typer.Option("--best", help="Take the best of them as proposed.")] = False,
    remove: Annotated[bool, typer.Option("--remove", help="Take these pictures off the finding.")] = False,
    as_json: AsJson = False,
) -> int | None:
    """Attach pictures to a finding. Example: evidence attach JOB 3 41 42 44 --best."""
    from evidence.desk import Desk
    from evidence.steps import attach as step

    numbers = pictures or []
    with Desk.open(job) as desk:
        if remove:
            step.take_off(desk, finding, numbers)
        elif best:
            proposal = step.take_proposal(desk, finding, numbers, distance=distance)
            talk(tables.proposal(proposal))
        elif numbers:
            step.attach(desk, finding, numbers, distance=distance)
        else:
            raise WrongUsage("Name the pictures to attach, or ask for --best among those attached.")
        state = desk.state()
    if as_json:
        say(tables.as_json(state.attached_to(finding)))
    else:
        say(tables.attached(state, finding))
    return None


@app.command()
@told
def light(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    pictures: Annotated[list[int] | None, typer.Argument(help="Numbers of the pictures.")] = None,
    *,
    as_taken: Annotated[bool, typer.Option("--as-taken", help="Print them as they were taken.")] = False,
    stops: Annotated[float | None, typer.Option(help="Lift them by so many stops.")] = None,
    proposed: Annotated[bool, typer.Option("--proposed", help="Go back to what is proposed.")] = False,
    as_json: AsJson = False,
) -> int | None:
    """Measure light anew, or set it by hand. Example: evidence light JOB 17 --stops 2."""
    from evidence.desk import Desk
    from evidence.steps import light as step
    from evidence.steps import read

    ways = [as_taken, stops is not None, proposed]
    if sum(ways) > 1 or (any(ways) and not pictures):
        raise WrongUsage("Name pictures, and one of --as-taken, --stops or --proposed.")
    with Desk.open(job) as desk:
        if any(ways):
            step.set_light(desk, pictures or [], step.AS_TAKEN if as_taken else stops)
        else:
            read.read(desk, progress=progress())
        state = desk.state()
    chosen = [p for p in state.pictures if not pictures or p.frame in pictures]
    say(tables.as_json(chosen) if as_json else tables.lights(chosen))
    return None


@app.command()
@told
def gaps(
    job: Job = HERE,
    *,
    explain: Annotated[list[str] | None, typer.Option(help="PLACE=WHY it could not be seen.")] = None,
    as_json: AsJson = False,
) -> int | None:
    """List what is still to photograph or explain. Example: evidence gaps JOB."""
    from evidence.desk import Desk
    from evidence.steps import gaps as step

    with Desk.open(job, write=bool(explain)) as desk:
        for place, reason in _pairs(explain, "--explain"):
            step.explain(desk, place, reason)
        found = step.gaps(desk)
    say(tables.as_json(found) if as_json else tables.gaps(found))
    return ExitCode.NEEDS_PERSON if found else None


@app.command()
@told
def undo(
    job: Job = HERE,
    *,
    line: Annotated[int, typer.Option(help="Number of the record's line; the last decision without it.")] = 0,
) -> int | None:
    """Take back a decision; undoing the undo does it again. Example: evidence undo JOB."""
    from evidence.desk import Desk

    with Desk.open(job) as desk:
        taken_back = desk.undo(line or None)
    say(f"Taken back: line {taken_back.n}, {taken_back.what} {taken_back.about}.")
    return None


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
    from evidence.desk import Desk
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
    with Desk.open(job) as desk:
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
    except ValueError:
        raise BadSetting(f"“{text}” is no size such as 10MB.") from None


@app.command()
@told
def verify(
    place: Annotated[Path, typer.Argument(help="A job, an edition, a bag, a ZIP of one, or a PDF.")] = HERE,
    *,
    job: Annotated[Path | None, typer.Option(help="The job a single PDF was issued from.")] = None,
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
    edition: Annotated[int, typer.Option(help="Number of the edition; the last one without it.")] = 0,
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

    if new_key:
        keys.new_key(new_key)
        say(f"Made the key {new_key}. Keep it secret and outside any job.")
        return None
    with Opened.open(job, write=bool(key or ask_time or reply)) as opened:
        number = edition or max((int(line.about) for line in opened.lines if line.what == "issue"), default=0)
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


@app.command()
@told
def version() -> int | None:
    """Print the program's version."""
    say(__version__)
    return None
