"""The line of time: clocks, visits and rooms."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Annotated

import typer

from evidence import tables
from evidence.cli.door import HERE, AsJson, Job, app, at_desk, pairs, say, told, whole_number
from evidence.errors import BadSetting, WrongUsage


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
    from evidence.steps import clock as step

    changing = bool(camera or picture or take)
    with at_desk(job, write=changing) as desk:
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
    move: Annotated[
        list[str] | None, typer.Option(help="PICTURE=PICTURE: let a visit begin with the second instead.")
    ] = None,
    card: Annotated[list[str] | None, typer.Option(help="CARD=ROOM: what a room card stands for.")] = None,
    weights: Annotated[str, typer.Option(help="File of learned weights, or “packaged”.")] = "",
    doubts: Annotated[bool, typer.Option("--doubts", help="List every joint, most doubtful first.")] = False,
    overall: Annotated[list[int] | None, typer.Option(help="Print this picture as an overall view.")] = None,
    as_json: AsJson = False,
) -> int | None:
    """List visits and rooms, or name, join, split, order. Example: evidence rooms JOB --name 3=Kitchen."""
    from evidence.steps import learn
    from evidence.steps import rooms as step

    changing = bool(name or join or split or order or overall or move or card or weights)
    with at_desk(job, write=changing) as desk:
        for frame in split or []:
            step.split(desk, frame)
        for number in sorted(join or [], reverse=True):
            step.join(desk, number, number + 1)
        for before, after in pairs(move, "--move"):
            step.move(desk, whole_number(before, "picture"), whole_number(after, "picture"))
        if card:
            step.name_cards(desk, {whole_number(c, "room card"): room for c, room in pairs(card, "--card")})
        if weights:
            learn.use(desk, None if weights == "packaged" else Path(weights))
        if name:
            step.name(desk, {whole_number(visit, "visit"): room for visit, room in pairs(name, "--name")})
        if order:
            step.order(desk, [room.strip() for room in order.split(",") if room.strip()])
        if overall:
            step.overall(desk, overall)
        state = desk.state()
        offers = {n: step.offers(desk, n) for n, v in enumerate(state.visits, 1) if not v.room}
    if as_json:
        joints = [
            {"begins": state.pictures[j.after + 1].frame, **dataclasses.asdict(j)}
            for j in tables.by_doubt(state)
        ]
        say(
            tables.as_json({"rooms": state.rooms, "visits": state.visits, "offers": offers, "joints": joints})
        )
    elif doubts:
        say(tables.joints(state))
    else:
        say(tables.rooms(state, offers))
    return None


@app.command("room-cards")
@told
def room_cards(
    target: Annotated[Path, typer.Argument(help="The PDF to make.")] = Path("room-cards.pdf"),
    *,
    room: Annotated[list[str] | None, typer.Option(help="Only these rooms; may be given again.")] = None,
    blanks: Annotated[int, typer.Option(help="How many cards with a line to write on.")] = 4,
    paper: Annotated[str, typer.Option(help="letter or a4.")] = "",
    job: Annotated[Path | None, typer.Option(help="The job whose address stands on the job card.")] = None,
    as_json: AsJson = False,
) -> int | None:
    """Print the cards photographed on entering a room. Example: evidence room-cards cards.pdf --paper a4."""
    from evidence.steps import room_cards as step

    if job is None:
        cards = step.print_cards(target, rooms=room or (), blanks=blanks, paper=paper or "letter")
    else:
        with at_desk(job) as desk:
            cards = step.print_cards(
                target, rooms=room or (), blanks=blanks, paper=paper or desk.job.details.paper, desk=desk
            )
    say(tables.as_json(cards) if as_json else f"Made {target}: the job card and {len(cards)} room cards.")
    return None


@app.command("learn-rooms")
@told
def learn_rooms(
    target: Annotated[Path, typer.Argument(help="The file of weights to make.")],
    jobs: Annotated[list[Path], typer.Argument(help="Jobs whose visits you have named.")],
    *,
    as_json: AsJson = False,
) -> int | None:
    """Learn from your own days where visits end. Example: evidence learn-rooms mine.toml JOB1 JOB2."""
    from evidence.steps import learn as step

    learned = step.learn(target, jobs)
    say(tables.as_json(learned) if as_json else tables.learned(learned, target))
    return None
