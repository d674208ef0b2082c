"""The line of time: clocks, visits and rooms."""

from __future__ import annotations

import dataclasses
import re
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
    progress,
    say,
    talk,
    told,
    whole_number,
)
from evidence.errors import BadSetting, WrongUsage


@app.command()
@told
def clock(
    job: Job = HERE,
    *,
    camera: Annotated[str, typer.Option(help="A part of the camera's name.")] = "",
    add: Annotated[
        float | None, typer.Option(help="Seconds to add to its times; negative when it is fast.")
    ] = None,
    zone: Annotated[str, typer.Option(help="Its distance from UTC, such as -06:00.")] = "",
    reason: Annotated[str, typer.Option(help="Why; printed beside the corrected time.")] = "",
    picture: Annotated[
        int | None, typer.Option(min=1, help="A picture of a watch, or the first of a faulty run.")
    ] = None,
    shows: Annotated[str, typer.Option(help="What the watch in --picture shows, such as 14:05:30.")] = "",
    same_as: Annotated[
        int | None, typer.Option(min=1, help="Another camera's picture of the same moment.")
    ] = None,
    take: Annotated[int | None, typer.Option(min=1, help="Take the repair proposed at this picture.")] = None,
    as_json: AsJson = False,
) -> int | None:
    """Show the cameras' clocks or correct one. Example: evidence clock JOB --picture 3 --shows 9:12."""
    from evidence.steps import clock as step

    changing = bool(camera or picture or take)
    adding = add is not None
    if (adding or zone or reason or shows or same_as) and not changing:
        raise WrongUsage("Say which clock with --camera or --picture.")
    one_of({"--camera": bool(camera), "--picture": bool(picture), "--take": bool(take)})
    one_of({"--add": adding, "--shows": bool(shows), "--same-as": bool(same_as), "--take": bool(take)})
    if (shows or same_as) and not picture:
        raise WrongUsage("--shows and --same-as go with --picture.")
    if zone and not camera:
        raise WrongUsage("--zone goes with --camera.")
    if camera and not (adding or zone):
        raise WrongUsage("--camera needs --add or --zone.")
    # These three write a reason of their own.
    one_of(
        {"--reason": bool(reason), "--shows": bool(shows), "--same-as": bool(same_as), "--take": bool(take)}
    )
    with at_desk(job, write=changing) as desk:
        before = desk.state()
        if take:
            step.take_fault(desk, take)
        elif picture and shows:
            step.by_watch(desk, picture, shows)
        elif picture and same_as:
            step.by_shared_shot(desk, picture, same_as)
        elif picture and add is not None:
            step.correct_from(desk, picture, add, reason)
        elif camera:
            step.correct(desk, camera, add, reason, offset_min=_offset(zone))
        elif changing:
            raise WrongUsage("--picture needs --shows, --same-as or --add.")
        if changing:
            talk(tables.clock_sets(step.sets(before, desk.state())))
        found = step.cameras(desk)
    say(tables.as_json(found) if as_json else tables.cameras(found))
    return None


_FARTHEST_MIN = 15 * 60
"""No zone in use lies farther from UTC than 14 hours (IANA time zone database); one to spare."""


def _offset(zone: str) -> int | None:
    if not zone:
        return None
    match = re.fullmatch(r"([+-])([0-9]{1,2}):([0-5][0-9])", zone)
    minutes = 60 * int(match[2]) + int(match[3]) if match else 0
    if match is None or minutes > _FARTHEST_MIN:
        raise BadSetting(f"“{zone}” is no distance from UTC such as -06:00.")
    return -minutes if match[1] == "-" else minutes


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
        for before, after in pairs(move, "--move", "55=57"):
            step.move(desk, whole_number(before, "picture"), whole_number(after, "picture"))
        if card:
            step.name_cards(
                desk,
                {whole_number(c, "room card"): room for c, room in pairs(card, "--card", "60=“Sun room”")},
            )
        if weights:
            learn.use(desk, None if weights == "packaged" else Path(weights))
        if name:
            step.name(
                desk,
                {whole_number(visit, "visit"): room for visit, room in pairs(name, "--name", "3=Kitchen")},
            )
        if order:
            step.order(desk, step.in_words(desk.state(), order))
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
    some = tables.count(len(cards), "room card")
    say(tables.as_json(cards) if as_json else f"Made {target}: the job card and {some}.")
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


@app.command()
@told
def frames(
    job: Job = HERE,
    film: Annotated[str, typer.Argument(help="Name or place of the film.", show_default="lists them")] = "",
    *,
    at: Annotated[
        list[str] | None, typer.Option(help="Time in the film, such as 1:12.5; again for more.")
    ] = None,
    every: Annotated[float | None, typer.Option(help="The sharpest frame of every so many seconds.")] = None,
    sentence: Annotated[
        list[int] | None, typer.Option(help="The sharpest frame around this sentence.")
    ] = None,
    within: Annotated[
        float | None, typer.Option(help="Seconds around a sentence to look in; 3 without it.")
    ] = None,
    reading: Annotated[str, typer.Option(help="What the times in this camera's films mean.")] = "",
    starts: Annotated[str, typer.Option(help="Time of the day at which this film began.")] = "",
    remove: Annotated[list[int] | None, typer.Option(help="Take this lifted picture out again.")] = None,
    as_json: AsJson = False,
) -> int | None:
    """Lift frames from a film as pictures. Example: evidence frames JOB ABCD0012.MP4 --every 10."""
    from evidence.steps import frames as step
    from evidence.steps import moments

    if within is not None and not sentence:
        raise WrongUsage("--within goes with --sentence.")
    lifting = bool(at or every is not None or sentence)
    with at_desk(job, write=bool(lifting or reading or starts or remove)) as desk:
        for number in remove or []:
            step.take_out(desk, number)
        made: list[int] = []
        if film:
            if reading:
                step.say_reading(desk, step.film_of(desk.state(), film), reading)
            if starts:
                moment = moments.of_the_day(desk, starts)
                step.say_start(
                    desk, step.film_of(desk.state(), film), moment, f"started at {starts}, as you said"
                )
            if lifting:
                wanted = step.Wanted(
                    tuple(moments.within(one) for one in at or ()),
                    every,
                    tuple(sentence or ()),
                    step.WITHIN_S if within is None else within,
                )
                made = [*step.lift(desk, step.film_of(desk.state(), film), wanted, progress=progress())]
        elif lifting or reading or starts:
            raise WrongUsage("Name the film.")
        state = desk.state()
        chosen = [step.film_of(state, film)] if film else step.films(state)
    lifted = [p for p in state.pictures if p.lifted and (not made or p.frame in made)]
    if as_json:
        say(tables.as_json({"films": chosen, "lifted": lifted}))
    else:
        say(tables.films(chosen, lifted))
    return None


@app.command()
@told
def narration(
    job: Job = HERE,
    file: Annotated[
        str, typer.Argument(help="The transcript: a WebVTT or SRT file.", show_default="lists sentences")
    ] = "",
    *,
    starts: Annotated[str, typer.Option(help="Time of the day at which its recording began.")] = "",
    says: Annotated[str, typer.Option(help="Words said as the picture of --at-picture was taken.")] = "",
    clap: Annotated[str, typer.Option(help="Time in the recording of the clap that picture shows.")] = "",
    at_picture: Annotated[int | None, typer.Option(min=1, help="Number of that picture.")] = None,
    shift: Annotated[float | None, typer.Option(help="Move it by so many seconds.")] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Take it off the line of time.")] = False,
    accept: Annotated[int | None, typer.Option(min=1, help="Make a finding of this sentence.")] = None,
    as_: Annotated[str, typer.Option("--as", help="The standard finding it means, such as ATT-06.")] = "",
    standard_words: Annotated[
        bool, typer.Option("--standard-words", help="With --as: its sentence instead of the spoken one.")
    ] = False,
    room: Annotated[str, typer.Option(help="With --accept: the room, if not where it was said.")] = "",
    as_json: AsJson = False,
) -> int | None:
    """Put what was said beside the pictures. Example: evidence narration JOB walk.vtt --starts 14:05:30."""
    from evidence.steps import catalogue, moments
    from evidence.steps import narration as step

    if bool(says or clap) != bool(at_picture):
        raise WrongUsage("--says or --clap, and --at-picture, go together.")
    if (as_ or room or standard_words) and not accept:
        raise WrongUsage("--as, --room and --standard-words go with --accept.")
    one_of(
        {
            "--remove": remove,
            "--shift": shift is not None,
            "--at-picture": bool(at_picture),
            "--starts": bool(starts),
        }
    )
    one_of({"--says": bool(says), "--clap": bool(clap)})
    with at_desk(job, write=bool(file or accept)) as desk:
        if file:
            transcript = step.take_in(desk, Path(file))
            if remove:
                step.take_off(desk, transcript)
            elif shift is not None:
                step.shift(desk, transcript, shift)
            elif at_picture:
                second = moments.within(clap) if clap else None
                step.place(
                    desk, transcript, *step.by_picture(desk, transcript, at_picture, says=says, second=second)
                )
            elif starts:
                step.place(
                    desk, transcript, moments.of_the_day(desk, starts), f"started at {starts}, as you said"
                )
            elif not (accept and step.is_placed(desk, transcript)):
                step.place(desk, transcript, *step.by_recording(desk, transcript))
        elif starts or at_picture or shift is not None or remove:
            raise WrongUsage("Name the transcript.")
        if accept:
            made = step.accept(desk, accept, standard=as_, room=room, standard_words=standard_words)
            talk(f"Sentence {accept} is finding {made.number} now.")
            mind(catalogue.caution(made))
        state = desk.state()
        offered, fault = step.offered(desk, state)
    mind(fault)
    if as_json:
        say(tables.as_json({"narrations": state.narrations, "sentences": state.sentences}))
    else:
        say(tables.narration(state, offered))
    return None
