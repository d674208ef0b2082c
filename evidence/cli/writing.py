"""Findings and their pictures: findings, attach, picture, mark, light, gaps, undo."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from evidence import tables
from evidence.cli.door import (
    HERE,
    AsJson,
    Job,
    app,
    at_desk,
    mind,
    one_of,
    pairs,
    say,
    talk,
    told,
    whole_number,
)
from evidence.errors import ExitCode, WrongUsage
from evidence.words import Distance, Mark, Shape


def _distance(word: str) -> Distance:
    """Read a distance as a person types it: "close up" is "close-up"."""
    for one in Distance:
        if _plain(one) == _plain(word):
            return one
    raise typer.BadParameter(f"“{word}” is no distance; there are {', '.join(Distance)}.")


def _plain(word: str) -> str:
    return " ".join(word.replace("-", " ").split()).casefold()


HowFar = Annotated[
    Distance | None,
    typer.Option(parser=_distance, metavar="DISTANCE", help=f"From how far: {', '.join(Distance)}."),
]


@app.command()
@told
def findings(
    job: Job = HERE,
    *,
    add: Annotated[str | None, typer.Option("--add", help="What was seen; makes a new finding.")] = None,
    take_from: Annotated[
        str | None, typer.Option("--from", help="Id of a standard finding, such as ATT-06.")
    ] = None,
    edit: Annotated[int | None, typer.Option(help="Number of the finding to change.")] = None,
    withdraw: Annotated[int | None, typer.Option(help="Number of the finding to take out.")] = None,
    csv: Annotated[Path | None, typer.Option(help="A table of findings, a row each.")] = None,
    search: Annotated[str | None, typer.Option(help="Search the standard findings by words.")] = None,
    seen: Annotated[str | None, typer.Option(help="What was seen.")] = None,
    why: Annotated[str | None, typer.Option(help="Why it matters.")] = None,
    do: Annotated[str | None, typer.Option(help="What to do.")] = None,
    who: Annotated[str | None, typer.Option(help="Who should do it.")] = None,
    place: Annotated[str | None, typer.Option(help="Where, in words.")] = None,
    room: Annotated[str | None, typer.Option(help="Name of the room.")] = None,
    system: Annotated[str | None, typer.Option(help="Part of the house, such as electrical.")] = None,
    limits: Annotated[str | None, typer.Option(help="What could not be seen, and why.")] = None,
    reference: Annotated[str | None, typer.Option(help="A reference to print with it.")] = None,
    with_reference: Annotated[
        bool, typer.Option("--with-reference", help="With --from: print the standard finding's reference.")
    ] = False,
    urgent: Annotated[
        bool | None, typer.Option("--urgent/--not-urgent", help="Tell the client today.")
    ] = None,
    order: Annotated[str | None, typer.Option(help="room, system, number, or by hand such as 3,1,2.")] = None,
    as_json: AsJson = False,
) -> int | None:
    """List findings, or add, edit, withdraw. Example: evidence findings JOB --from ATT-06 --room Attic."""
    from evidence.steps import catalogue
    from evidence.steps import findings as step
    from evidence.steps.gaps import of_findings

    typed: dict[str, object] = {
        "seen": seen if seen is not None else add,
        "why": why,
        "do": do,
        "who": who,
        "place": place,
        "room": room,
        "system": system,
        "limits": limits,
        "reference": reference,
        "urgent": urgent,
    }
    if with_reference and not take_from:
        raise WrongUsage("--with-reference goes with --from; to an older finding add one with --reference.")
    if seen is not None and add is not None:
        raise WrongUsage("Say what was seen once, with --add or with --seen.")
    parts = {key: value for key, value in typed.items() if value is not None}
    making = add is not None or take_from is not None
    others = {"--edit": edit, "--withdraw": withdraw, "--csv": csv, "--order": order, "--search": search}
    act = one_of({"--add or --from": making, **{name: given is not None for name, given in others.items()}})
    if parts and not (making or edit is not None):
        raise WrongUsage("Say which finding with --edit, or make one with --add or --from.")
    if edit is not None and not parts:
        raise WrongUsage(f"Say what to change in finding {edit}, such as --why or --room.")
    if search is not None:
        found = step.search(search, folder=job)
        say(tables.as_json(found) if as_json else tables.standard_findings(found))
        return None
    with at_desk(job, write=bool(act)) as desk:
        if csv is not None:
            step.from_csv(desk, csv)
        elif edit is not None:
            step.edit(desk, edit, parts)
        elif withdraw is not None:
            step.withdraw(desk, withdraw)
        elif making:
            standard = take_from or ""
            shown = {"reference": step.reference_of(desk, standard)} if with_reference else {}
            made = step.add(desk, {**shown, **parts}, standard=standard)
            talk(f"Finding {made.number} was added.")
            mind(catalogue.caution(made))
        elif order is not None:
            by_hand = "," in order or order.isdecimal()
            words = [word.strip() for word in order.split(",") if word.strip()]
            step.order(desk, [whole_number(word, "finding") for word in words] if by_hand else order)
        state = desk.state()
    if as_json:
        told_of = {"findings": state.findings, "attachments": state.attachments}
        say(tables.as_json({**told_of, "lacking": of_findings(state)}))
    else:
        say(tables.findings(state, of_findings(state)))
    return None


@app.command()
@told
def attach(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    finding: Annotated[int, typer.Argument(help="Number of the finding.")],
    pictures: Annotated[list[int] | None, typer.Argument(help="Numbers of the pictures.")] = None,
    *,
    distance: HowFar = None,
    best: Annotated[bool, typer.Option("--best", help="Take the best of them as proposed.")] = False,
    remove: Annotated[bool, typer.Option("--remove", help="Take these pictures off the finding.")] = False,
    as_json: AsJson = False,
) -> int | None:
    """Attach pictures to a finding. Example: evidence attach JOB 3 41 42 44 --best."""
    from evidence.steps import attach as step

    numbers = pictures or []
    one_of({"--remove": remove, "--best": best})
    if remove and (not numbers or distance is not None):
        raise WrongUsage("Name the pictures to take off; --distance does not go with --remove.")
    with at_desk(job) as desk:
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
def picture(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    pictures: Annotated[list[int], typer.Argument(help="Numbers of the pictures.")],
    *,
    shows: Annotated[str | None, typer.Option(help="What they show, as it is to be printed.")] = None,
    direction: Annotated[str | None, typer.Option(help="Which way the camera looked, in words.")] = None,
    distance: HowFar = None,
    front: Annotated[bool, typer.Option("--front", help="Let it stand in front of its look-alikes.")] = False,
    apart: Annotated[
        bool | None, typer.Option("--apart/--together", help="Out of, or back into, their look-alikes.")
    ] = None,
    as_json: AsJson = False,
) -> int | None:
    """Say what pictures show. Example: evidence picture JOB 41 --shows "Vent pipe" --direction north."""
    from evidence.steps import picture as step
    from evidence.steps.rooms import picture_of

    if front and len(pictures) != 1:
        raise WrongUsage("One picture stands in front; name that one.")
    saying = shows is not None or direction is not None or distance is not None
    with at_desk(job, write=saying or front or apart is not None) as desk:
        for number in pictures:
            picture_of(desk.state(), number)
        if saying:
            step.describe(desk, pictures, shown=shows, direction=direction, distance=distance)
        if apart is not None:
            step.apart(desk, pictures, away=apart)
        if front:
            step.in_front(desk, pictures[0])
        state = desk.state()
    chosen = [p for p in state.pictures if p.frame in pictures]
    say(tables.as_json(chosen) if as_json else tables.described(chosen, state))
    return None


@app.command()
@told
def mark(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    number: Annotated[int, typer.Argument(help="Number of the picture.", metavar="PICTURE")],
    *,
    arrow: Annotated[list[str] | None, typer.Option(help="X,Y,X,Y from its tail to its head.")] = None,
    ring: Annotated[list[str] | None, typer.Option(help="X,Y,X,Y of two opposite corners around it.")] = None,
    box: Annotated[list[str] | None, typer.Option(help="X,Y,X,Y of two opposite corners.")] = None,
    cover: Annotated[list[str] | None, typer.Option(help="X,Y,X,Y of what is nobody's business.")] = None,
    remove: Annotated[int | None, typer.Option(help="Take this mark off; 0 takes all of them off.")] = None,
    as_json: AsJson = False,
) -> int | None:
    """Mark where to look; shares of the picture. Example: evidence mark JOB 41 --ring .4,.3,.6,.5."""
    from evidence.steps import mark as step
    from evidence.steps.rooms import picture_of

    shapes = {Shape.ARROW: arrow, Shape.RING: ring, Shape.BOX: box, Shape.COVER: cover}
    marks = [_mark(shape, typed) for shape, given in shapes.items() for typed in given or []]
    with at_desk(job, write=bool(marks) or remove is not None) as desk:
        if remove is not None:
            step.take_off(desk, number, remove or None)
        if marks:
            step.add(desk, number, marks)
        found = picture_of(desk.state(), number).marks
    say(tables.as_json(found) if as_json else tables.marks(number, found))
    return None


def _mark(shape: Shape, typed: str) -> Mark:
    try:
        x0, y0, x1, y1 = (float(part) for part in typed.split(","))
    except ValueError:
        raise WrongUsage(f"“{typed}” is no mark; write X,Y,X,Y such as .4,.3,.6,.5.") from None
    return Mark(shape, x0, y0, x1, y1)


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
    from evidence.steps import light as step
    from evidence.steps.rooms import picture_of

    ways = [as_taken, stops is not None, proposed]
    if sum(ways) > 1 or (any(ways) and not pictures):
        raise WrongUsage("Name pictures, and one of --as-taken, --stops or --proposed.")
    with at_desk(job) as desk:
        if any(ways):
            step.set_light(desk, pictures or [], step.AS_TAKEN if as_taken else stops)
        state = desk.state()
        for number in pictures or []:
            picture_of(state, number)
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
    from evidence.steps import gaps as step

    with at_desk(job, write=bool(explain)) as desk:
        for place, reason in pairs(explain, "--explain", "“Attic=hatch was locked”"):
            step.explain(desk, place, reason)
        found = step.gaps(desk)
        chosen = desk.job.details.required_list
    say(tables.as_json(found) if as_json else tables.gaps(found))
    if found and not (chosen or as_json):
        talk(
            f"No list of required pictures is chosen; name one in job.toml as required_list: {step.lists()}."
        )
    return ExitCode.NEEDS_PERSON if found else None


@app.command()
@told
def undo(
    job: Job = HERE,
    *,
    line: Annotated[
        int | None,
        typer.Option(min=1, help="Number of one line of the record; the last act without it."),
    ] = None,
) -> int | None:
    """Take back a decision; undoing the undo does it again. Example: evidence undo JOB."""
    from evidence.desk import Desk
    from evidence.steps.undo import told as named

    with Desk.open(job) as desk:
        before = len(desk.job.lines)
        taken_back = desk.undo(line or None)
        others = len(desk.job.lines) - before - 1
    more = f", and {others} decided with it" if others else ""
    say(f"Taken back: {tables.clean(named(taken_back))}{more} (line {taken_back.n} of the record).")
    return None
