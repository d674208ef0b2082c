"""Say how the day is ordered: clocks, rooms, films and what was said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from evidence.tables.layout import clean, clock_of, clock_text, offset_text, runs, table
from evidence.words import count, hours

if TYPE_CHECKING:
    from pathlib import Path

    from evidence.recordings import Recording
    from evidence.state import State
    from evidence.steps.clock import Camera, Sets
    from evidence.steps.learn import Learned
    from evidence.timeline import PictureState
    from evidence.words import Joint


def cameras(found: Sequence[Camera]) -> str:
    """List the cameras with their clocks."""
    said = []
    for camera in found:
        of_card = "" if camera.recorded else " (a card; which camera was not recorded)"
        said.append(f"{clean(camera.name)}{of_card}: {count(camera.pictures, 'picture')}")
        span = f"{clock_text(camera.first)} to {clock_text(camera.last)}" if camera.first else "no time"
        if camera.assumed:
            said.append(f"  showed no time; assumed by its files' times, {camera.assumed}: {span}")
            said.append("  put it right with --add, or --shows or --same-as of one of its pictures")
        else:
            said.append(f"  showed {span}")
        said.append(f"  zone {offset_text(camera.offset_min) or 'not recorded'}")
        if camera.satellite:
            zone = offset_text(camera.satellite.offset_min)
            said.append(f"  satellite time says zone {zone}, clock {camera.satellite.fast_s:+.0f} s")
        if camera.correction_s or camera.reason:
            zone = f", zone {offset_text(camera.zone_min)}" if camera.zone_min is not None else ""
            said.append(f"  corrected by {camera.correction_s:+.0f} s{zone}: {clean(camera.reason)}")
        elif camera.alignment:
            sure = "sure" if camera.alignment.sure else "unsure"
            shift, why = camera.alignment.shift_s, camera.alignment.reason
            said.append(f"  proposed: add {shift:+.0f} s to match the first camera ({sure}). {why}")
        said += [
            f"  from picture {step.frame} on corrected by {step.add_s:+.0f} s: {clean(step.reason)}"
            for step in camera.steps
        ]
        if camera.twice:
            some = count(len(camera.twice), "picture")
            said.append(
                f"  {some} from the hour that the clocks are put back: each time means two instants. "
                f"Say which with --zone: {runs(camera.twice)}"
            )
        if camera.never:
            some = count(len(camera.never), "picture")
            said.append(
                f"  {some} from an hour that the clocks skip: this clock was not set to the house's time. "
                f"Correct it with --add: {runs(camera.never)}"
            )
        if camera.job_cards and not camera.reason:
            frame = camera.job_cards[0]
            said.append(
                f"  picture {frame} shows the job card; if the watch's time stands on it: "
                f"--picture {frame} --shows HH:MM:SS"
            )
        for fault in camera.faults:
            said.append(f"  from picture {fault.frame}: {fault.kind}; proposed: add {fault.add_s:+.0f} s.")
            said.append(f"    {fault.reason} Take it with --take {fault.frame}.")
    return "\n".join(said) or "There is no camera yet."


def clock_sets(found: Sets | None) -> str:
    """Say whose pictures a correction set, and what to do where they may be of two cameras."""
    if found is None:
        return "No picture's time changed."
    name = clean(found.camera)
    if len(found.cards) == 1:
        (only,) = found.cards
        return f"Set for {count(only.pictures, 'picture')} of {name}, all on one card, {clean(only.card)}."
    listed = ", ".join(
        f"{clean(one.card)} ({count(one.pictures, 'picture')} from {one.first} on)" for one in found.cards
    )
    said = f"Set for pictures of {name} on {len(found.cards)} cards: {listed}."
    if found.told_apart:
        return said
    last = found.cards[-1]
    return (
        f"{said} They recorded no serial number, so two cameras of that name cannot be told apart. If "
        f"{clean(last.card)} is another camera's, set it back: --picture {last.first} --add {-last.add_s:g}"
    )


def rooms(state: State, offers: Mapping[int, Sequence[tuple[str, str]]]) -> str:
    """List the visits with their rooms, and the rooms that nameless ones may return to."""
    rows = []
    by_frame = {p.frame: p for p in state.pictures}
    for number, visit in enumerate(state.visits, 1):
        first = by_frame[visit.frames[0]]
        time = first.corrected or first.capture.time
        when = f"{time.moment:%H:%M}" if time else "-"
        may_be = " or ".join(name for name, _ in offers.get(number, ()))
        room = visit.room or (f"? may be {may_be}" if may_be else "?")
        rows.append((number, when, len(visit.frames), runs(visit.frames), visit.named_by or "-", room))
    said = [table(("Visit", "From", "Pictures", "Numbers", "Named by", "Room"), rows)]
    for joint in [joint for joint in by_doubt(state) if joint.doubt > 0.2][:5]:
        frame = state.pictures[joint.after + 1].frame
        verb = "begins" if joint.boundary else "does not begin"
        said.append(
            f"In doubt: a visit {verb} with picture {frame} ({joint.gap_s:.0f} s after the one before)."
        )
    return "\n".join(said)


def by_doubt(state: State) -> list[Joint]:
    """Give the joints, the most doubtful first."""
    return sorted(state.joints, key=lambda joint: -joint.doubt)


def joints(state: State) -> str:
    """List every joint, the most doubtful first, and what settled it."""
    rows = []
    for joint in by_doubt(state):
        frame = state.pictures[joint.after + 1].frame
        by = "inspector" if frame in state.decided_joints else f"doubt {joint.doubt:.2f}"
        rows.append((frame, f"{joint.gap_s:.0f} s", "begins a visit" if joint.boundary else "goes on", by))
    return table(("Picture", "After", "Here", "By"), rows)


def learned(found: Learned, target: Path) -> str:
    """Say what learning the rooms' weights came to."""
    said = [
        f"Learned from {count(found.jobs, 'job')}: {count(found.joints, 'joint')}, "
        f"{count(found.boundaries, 'end of a visit', 'ends of visits')}.",
        f"The packaged weights judge {found.wrong_before} of these joints otherwise than you, "
        f"the learned ones {found.wrong_after}.",
    ]
    if found.wrong_unseen is None:
        said.append(
            "Days that were learned from flatter; with two jobs and more it can be told how new days fare."
        )
    else:
        said.append(f"Each job judged by weights learned from the others: {found.wrong_unseen}.")
    said.append(
        f'Nothing is used yet. To use them in a job: evidence rooms JOB --weights "{clean(str(target))}"'
    )
    return "\n".join(said)


def films(found: Sequence[Recording], lifted: Sequence[PictureState]) -> str:
    """List films with when they began and what that rests on, then the frames lifted."""
    if not found:
        return "There is no film in this job."
    rows = []
    for film in found:
        length = hours(film.capture.length_s) if film.capture.length_s else "not recorded"
        began = "unknown" if film.starts is None else clock_of(film.starts) + (" ?" if film.assumed else "")
        rows.append((film.name, length, began, film.how))
    said = [table(("Film", "Length", "Began", "By"), rows)]
    for film in found:
        if film.readings:
            said.append(f"{clean(film.name)}: its time can mean, to be said once for this camera:")
            said += [f'  {clock_of(start)}  --reading "{name}"' for name, start in film.readings]
    if lifted:
        frames = [
            (p.frame, p.lifted.film.name, p.lifted.moment, p.lifted.why, _flaw(p)) for p in lifted if p.lifted
        ]
        said += ["", table(("Picture", "Frame from film", "At", "Why", "Flaw"), frames)]
    return "\n".join(said)


def _flaw(picture: PictureState) -> str:
    if picture.fault:
        return "damaged"
    return "too dark" if picture.hopeless else picture.unsharp


def narration(state: State, names: Mapping[str, str]) -> str:
    """List narrations, then every sentence: those most like a finding first, none left out.

    Parameters
    ----------
    names
        The sentence of each standard finding that is offered, by id.
    """
    if not state.narrations:
        return "No narration is on the line of time yet. Put one there with: evidence narration JOB FILE"
    said = []
    for placed in state.narrations:
        many, began = count(placed.sentences, "sentence"), clock_of(placed.starts)
        said.append(f"{clean(placed.place)}: {many} from {began} ({clean(placed.how)})")
        said += [f"  {remark}" for remark in placed.remarks]
    said.append("")
    for one in sorted(
        state.sentences, key=lambda one: (one.finding is not None, -one.likelihood, one.number)
    ):
        near = runs(one.own) or ("near " + runs(one.near[:3]) if one.near else "no picture")
        head = f"{one.number:>4}  {clock_of(one.starts)}  {clean(one.room) or '-'}, {near}"
        mark = f"is finding {one.finding}" if one.finding else "marked as a finding" if one.marked else ""
        who = f"{clean(one.sentence.speaker)}: " if one.sentence.speaker else ""
        said.append(head + (f"  ({mark})" if mark else ""))
        said.append(f"      {who}“{clean(one.sentence.text)}”")
        if not one.finding and one.suggestions:
            said += [f"        {offer.id}  {names.get(offer.id, '')}" for offer in one.suggestions]
    return "\n".join(said)
