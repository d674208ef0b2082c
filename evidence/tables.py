"""Lay results out for a tired person on a narrow terminal, and as JSON for programs.

Pure: results in, text out. Hides widths and alignment.
"""

from __future__ import annotations

import json
import textwrap
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

from evidence.words import CameraTime, FileKind, Light, hours

if TYPE_CHECKING:
    from pathlib import Path

    from evidence.choice import Proposal
    from evidence.findings.checks import Answer, Figure
    from evidence.record import Json
    from evidence.recordings import Recording
    from evidence.state import State
    from evidence.steps.clock import Camera
    from evidence.steps.deliver import Delivery
    from evidence.steps.demo import Demo
    from evidence.steps.gaps import Gap
    from evidence.steps.intake import IntakeResult
    from evidence.steps.issue import Issued
    from evidence.steps.learn import Learned
    from evidence.steps.proof import Proof
    from evidence.steps.read import Damaged
    from evidence.steps.seal import Sealed
    from evidence.steps.search import Search
    from evidence.steps.status import Beside, Status
    from evidence.steps.supply import Supplied
    from evidence.timeline import PictureState
    from evidence.verify import Report
    from evidence.words import Joint, Mark, StandardFinding

WIDTH = 100


def as_json(result: object) -> str:
    """Give any result as indented JSON with the names of its fields."""
    return json.dumps(_plain(result), indent=2, ensure_ascii=False)


def _plain(value: object) -> Json:
    plain: Json
    if is_dataclass(value) and not isinstance(value, type):
        plain = {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    elif isinstance(value, Mapping):
        plain = {str(key): _plain(one) for key, one in value.items()}
    elif isinstance(value, (list, tuple, frozenset, set)):
        plain = [_plain(one) for one in value]
    elif isinstance(value, (datetime, date)):
        plain = value.isoformat()
    elif value is None or isinstance(value, (bool, int, float)):
        plain = value
    else:
        plain = str(value)
    return plain


def clean(text: str) -> str:
    """Keep letters from a card from moving the cursor or turning the line round."""
    return "".join(c if unicodedata.category(c)[0] != "C" else "�" for c in text)


def table(heads: Sequence[str], rows: Iterable[Sequence[object]], wide: int = -1) -> str:
    """Lay rows out in columns; the column ``wide`` is cut where the line would grow too long."""
    cells = [[clean(str(cell)) for cell in row] for row in rows]
    wide %= len(heads)
    widths = [max(len(head), *(len(row[i]) for row in cells), 0) for i, head in enumerate(heads)]
    widths[wide] = max(12, min(widths[wide], WIDTH - sum(widths) + widths[wide] - 2 * (len(heads) - 1)))
    numeric = [bool(cells) and all(row[i].isdecimal() for row in cells) for i in range(len(heads))]

    def line(row: Sequence[str]) -> str:
        parts = [_fit(cell, widths[i], right=numeric[i]) for i, cell in enumerate(row)]
        return "  ".join(parts).rstrip()

    return "\n".join([line(heads), line(["-" * width for width in widths]), *map(line, cells)])


def _fit(text: str, width: int, *, right: bool) -> str:
    if len(text) > width:
        text = text[: width - 1] + "…"
    return text.rjust(width) if right else text.ljust(width)


def clean_lines(lines: Iterable[str]) -> str:
    """Join lines that are long sentences, folded to the width of the screen."""
    return "\n".join(textwrap.fill(clean(one), WIDTH, subsequent_indent="  ") for one in lines)


def count(number: int, one: str, many: str = "") -> str:
    """Say "1 picture", "3 pictures"."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def clock_text(time: CameraTime | None) -> str:
    """Write a camera time for a table; the zone as recorded."""
    if time is None:
        return "no camera time"
    return f"{time.moment:%Y-%m-%d %H:%M:%S}{offset_text(time.offset_min)}"


def offset_text(offset_min: int | None) -> str:
    """Write a distance from UTC, "" when it is not known."""
    if offset_min is None:
        return ""
    return f"{'-' if offset_min < 0 else '+'}{abs(offset_min) // 60:02d}:{abs(offset_min) % 60:02d}"


def light_text(light: Light | None, decided: str | float | None = None) -> str:
    """Say in two or three words how a picture is brightened."""
    if isinstance(decided, float):
        return f"{decided:+.1f} stops, by hand"
    if decided is not None:
        return "as taken, by hand"
    if light is None:
        return "not measured"
    if light.hopeless:
        return "too dark"
    return "as taken" if light.left_alone else f"{light.stops:+.1f} stops"


def intake(result: IntakeResult, now: Status, broken: Sequence[Damaged]) -> str:
    """Say what came of an intake."""
    said = [f"{count(len(result.taken), 'file')} taken in and verified."]
    if result.known:
        said.append(f"{count(len(result.known), 'file')} the job had already.")
    said.append(
        f"{count(now.pictures, 'picture')} in {count(now.visits, 'visit')}; "
        f"{count(now.folded, 'look-alike')} behind others; {now.brightened} will be printed brightened."
    )
    for one in result.set_aside:
        said.append(f"Set aside: {clean(one.name)}: {clean(one.reason)}")
    if broken:
        said.append(f"Kept, but cannot be shown ({len(broken)}):")
        said += [f"  {clean(one.place)}: {clean(one.reason)}" for one in broken]
    said += [clean(sentence) for sentence in now.other_jobs]
    said += [clean(caution) for caution in result.cautions]
    if result.may_erase:
        said.append("Both copies were read back and are equal to the card: the card may be erased.")
    else:
        said += ["Do not erase the card yet:", *(f"  {clean(reason)}" for reason in result.why_not_erase)]
    return "\n".join(said)


def status(now: Status) -> str:
    """Say on one screen how the job stands."""
    due = _due(now)
    kinds = [count(now.pictures, "picture"), count(now.films, "film"), count(now.sounds, "sound note")]
    rows = [
        ("Address", now.address or "not given yet"),
        ("Due", due or "no day given"),
        ("Originals", f"{count(now.originals, 'file')}, {now.bytes / 1e6:.1f} MB"),
        ("", f"{', '.join(kinds)}, {count(now.others, 'other file')}"),
        *_beside(now),
        ("Light", f"{now.brightened} will be printed brightened, {now.hopeless} too dark"),
        (
            "Look-alikes",
            f"{count(now.look_alikes, 'set')}; {count(now.folded, 'picture')} behind those in front",
        ),
        ("Visits", f"{now.visits}, {now.named} of them named"),
        ("Rooms", ", ".join(now.rooms) or "none yet"),
        ("Findings", f"{now.findings}, {now.urgent} urgent, {now.without_picture} without a picture"),
        ("Gaps", f"{now.gaps} (evidence gaps)" if now.gaps else "none"),
        ("Editions", ", ".join(map(str, now.editions)) or "none issued"),
        *(("Delivered", f"edition {d.edition} to {d.to} on {d.on.isoformat()}") for d in now.delivered),
        *([("Keep until", now.keep_until.isoformat())] if now.keep_until else []),
    ]
    said = [f"{name:<12} {clean(text)}" for name, text in rows]
    if now.unread:
        said.append(f"{count(now.unread, 'picture')} not read yet: evidence light JOB")
    if now.odd:
        said.append(f"Odd metadata in {_runs(now.odd)}; evidence picture JOB NUMBER says what.")
    said += [f"Cannot be shown: {clean(d.place)}: {clean(d.reason)}" for d in now.damaged]
    said += [f"Set aside, only on the card: {clean(name)}: {clean(why)}" for name, why in now.set_aside]
    said += [clean(sentence) for sentence in now.other_jobs]
    if now.kept_long_enough:
        said.append(
            "The day until which this job was to be kept is past. Nothing is deleted by this program; "
            "ask your regulator and your insurer before you delete anything yourself."
        )
    said += list(now.unfinished)
    return "\n".join(said)


def _due(now: Status) -> str:
    """Count down to the day the appendix is due, until its last edition was delivered."""
    if now.due is None or now.days_left is None:
        return ""
    left = now.days_left
    when = "today" if left == 0 else f"in {count(left, 'day')}" if left > 0 else f"{count(-left, 'day')} ago"
    last = max(now.editions, default=0)
    handed = sorted(one.on for one in now.delivered if one.edition == last)
    if handed:
        when = f"delivered {'in time' if handed[0] <= now.due else 'late'}"
    elif now.delivered:
        when += f"; edition {last} not delivered yet"
    return f"{now.due.isoformat()} ({when})"


def _beside(now: Status) -> Iterable[tuple[str, str]]:
    """Name the sound notes with their pictures, and the first of the other files."""
    sounds = [one for one in now.beside if one.kind is FileKind.SOUND]
    if sounds:
        yield "Sound notes", _few([f"{_name(one)} ({_of(one)})" for one in sounds])
    others = [one for one in now.beside if one.kind in {FileKind.SIDECAR, FileKind.OTHER}]
    if others:
        yield "Other files", _few([_name(one) for one in others])


def files(now: Status) -> str:
    """List every original that is no picture: what it is and which picture it belongs to."""
    if not now.beside:
        return "Every original is a picture."
    rows = [(one.kind, one.frame or "-", f"{one.bytes / 1e6:.1f} MB", one.place) for one in now.beside]
    return table(("Kind", "Picture", "Size", "File"), rows)


def _name(one: Beside) -> str:
    return one.place.rsplit("/", 1)[-1]


def _of(one: Beside) -> str:
    return f"picture {one.frame}" if one.frame else "no picture has its number"


def _few(names: Sequence[str], most: int = 4) -> str:
    more = f" and {len(names) - most} more: evidence status JOB --files" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def pictures(state: State, beside: Iterable[Beside] = ()) -> str:
    """List every picture, a line each, in the order of the day."""
    behind = {frame: s.front for s in state.look_alikes for frame in s.others}
    spoken = {one.frame: _name(one) for one in beside if one.kind is FileKind.SOUND}
    rows = []
    for p in state.pictures:
        remark = p.fault or (f"like {behind[p.frame]}" if p.frame in behind else "")
        if not remark and p.card is not None:
            remark = f"room card {p.card}: {p.card_says or 'not yet named'}"
        if not remark and p.blurred:
            remark = "blurred"
        if p.frame in spoken:
            remark = "; ".join(filter(None, (remark, f"sound note {spoken[p.frame]}")))
        time = clock_text(p.corrected or p.capture.time)
        light = light_text(p.light_proposed, p.light_decided)
        rows.append((p.frame, p.name, time, state.room_of(p.frame) or "-", light, remark))
    return table(("No.", "File", "Camera time", "Room", "Light", "Remark"), rows)


def cameras(found: Sequence[Camera]) -> str:
    """List the cameras with their clocks."""
    said = []
    for camera in found:
        said.append(f"{clean(camera.name)}: {count(camera.pictures, 'picture')}")
        said.append(f"  showed {clock_text(camera.first)} to {clock_text(camera.last)}")
        said.append(f"  zone {offset_text(camera.offset_min) or 'not recorded'}")
        if camera.satellite:
            zone = offset_text(camera.satellite.offset_min)
            said.append(f"  satellite time says zone {zone}, clock {camera.satellite.fast_s:+.0f} s")
        if camera.correction_s or camera.reason:
            said.append(f"  corrected by {camera.correction_s:+.0f} s: {clean(camera.reason)}")
        elif camera.alignment:
            sure = "sure" if camera.alignment.sure else "unsure"
            shift, why = camera.alignment.shift_s, camera.alignment.reason
            said.append(f"  proposed: add {shift:+.0f} s to match the first camera ({sure}). {why}")
        if camera.twice:
            some = count(len(camera.twice), "picture")
            said.append(
                f"  {some} from the hour that the clocks are put back: each time means two instants. "
                f"Say which with --zone: {_runs(camera.twice)}"
            )
        if camera.never:
            some = count(len(camera.never), "picture")
            said.append(
                f"  {some} from an hour that the clocks skip: this clock was not set to the house's time. "
                f"Correct it with --add: {_runs(camera.never)}"
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
        rows.append((number, when, len(visit.frames), _runs(visit.frames), visit.named_by or "-", room))
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
        f"Learned from {count(found.jobs, 'job')}: {found.joints} joints, {found.boundaries} ends of visits.",
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


def _runs(frames: Sequence[int]) -> str:
    """Write frame numbers as runs: 1-4, 9."""
    runs: list[list[int]] = []
    for frame in sorted(frames):
        if runs and frame == runs[-1][1] + 1:
            runs[-1][1] = frame
        else:
            runs.append([frame, frame])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in runs)


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
        said += ["", table(("Picture", "Frame from film", "At", "Why", ""), frames)]
    return "\n".join(said)


def _flaw(picture: PictureState) -> str:
    if picture.fault:
        return "damaged"
    return "too dark" if picture.hopeless else "not sharp" if picture.blurred else ""


def clock_of(seconds: float) -> str:
    """Write a moment of the job's line of time as a time of the day."""
    return f"{datetime.fromtimestamp(seconds, UTC):%H:%M:%S}"


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
    said.append("")
    for one in sorted(
        state.sentences, key=lambda one: (one.finding is not None, -one.likelihood, one.number)
    ):
        near = _runs(one.own) or ("near " + _runs(one.near[:3]) if one.near else "no picture")
        head = f"{one.number:>4}  {clock_of(one.starts)}  {clean(one.room) or '-'}, {near}"
        mark = f"is finding {one.finding}" if one.finding else "marked as a finding" if one.marked else ""
        who = f"{clean(one.sentence.speaker)}: " if one.sentence.speaker else ""
        said.append(head + (f"  ({mark})" if mark else ""))
        said.append(f"      {who}“{clean(one.sentence.text)}”")
        if not one.finding and one.suggestions:
            said += [f"        {offer.id}  {names.get(offer.id, '')}" for offer in one.suggestions]
    return "\n".join(said)


def findings(state: State, lacking: Sequence[Gap] = ()) -> str:
    """List the findings with their pictures, and what a reader will miss in them."""
    if not state.findings:
        return "There is no finding yet. Make one with --add or --from; search with --search."
    rows = []
    for finding in state.findings:
        shown = ", ".join(str(a.frame) for a in state.attached_to(finding.number)) or "none"
        urgent = "urgent" if finding.urgent else ""
        rows.append((finding.number, finding.room or "-", urgent, shown, finding.seen))
    listed = table(("No.", "Room", "Urgent", "Pictures", "Seen"), rows)
    return "\n".join([listed, *(clean(gap.sentence) for gap in lacking)])


def standard_findings(found: Sequence[StandardFinding]) -> str:
    """List standard findings."""
    if not found:
        return "No standard finding has words like these."
    return table(("Id", "System", "Seen"), [(one.id, one.system, one.seen) for one in found])


def standard_finding(row: StandardFinding, caution: str) -> str:
    """Write a standard finding out, part by part."""
    parts = {
        "Seen": row.seen,
        "Why it matters": row.why,
        "What to do": row.do,
        "Who": row.who,
        "Usual places": ", ".join(row.places),
        "Danger": row.hazard,
        "Caution": caution,
        "Urgent": "yes: tell the client today" if row.urgent else "",
        "Said as": ", ".join(row.keywords),
        "Reference": f"{row.reference or 'none'} ({row.reference_source})" if row.reference_source else "",
    }
    lines = [f"{row.id}, {row.system}", *(f"{head}: {text}" for head, text in parts.items() if text)]
    return clean_lines(lines)


def figures(found: Sequence[Figure]) -> str:
    """List figures, with what each depends on."""
    if not found:
        return "No figure belongs to that standard finding."
    rows = [(one.finding, one.name, one.given or "-", one.says) for one in found]
    return table(("Finding", "Name", "Depends on", "What is measured"), rows)


def answer(found: Answer) -> str:
    """Write what a comparison came to."""
    return clean_lines(found.text.splitlines())


def proposal(made: Proposal) -> str:
    """Say what is proposed for a finding, and why."""
    said = []
    for place, pick in enumerate([*((made.printed,) if made.printed else ()), *made.support]):
        role = "printed first" if place == 0 else "in support"
        warning = f" Mind: {pick.warning}." if pick.warning else ""
        said.append(f"Picture {pick.frame}, {role}: {pick.reason}.{warning}")
    return "\n".join([*said, *([made.remark] if made.remark else [])])


def attached(state: State, finding: int) -> str:
    """List a finding's pictures in the order of printing."""
    rows = [
        (a.frame, a.distance or "distance not said", p.name if p else "")
        for a in state.attached_to(finding)
        for p in [state.picture(a.frame)]
    ]
    return table(("Picture", "Distance", "File"), rows) if rows else f"Finding {finding} has no picture."


def delivered(one: Delivery) -> str:
    """Say what was noted of a delivery."""
    way = f" by {clean(one.by)}" if one.by else ""
    said = [f"Noted: edition {one.edition} was delivered to {clean(one.to)} on {one.on.isoformat()}{way}."]
    said += [f"  {name}  {digest}" for name, digest in one.files.items()]
    return "\n".join(said)


def supplied(made: Supplied) -> str:
    """Say what was handed over."""
    findings = ", ".join(map(str, made.findings))
    return (
        f"{count(len(made.originals), 'original')} of finding {findings}, each read back equal, in "
        f"{clean(str(made.folder))}\n"
        f"Its manifest's SHA-256, which stands for all of them: {made.manifest}\n"
        "These are untouched originals: they may hold a position and a serial number."
    )


def searched(result: Search) -> str:
    """List the jobs found, with what was found in each."""
    said = []
    for one in result.found:
        head = ", ".join(clean(part) for part in (one.address, one.client, one.inspected) if part)
        said.append(f"{clean(str(one.folder))}\n  {head or 'no details'}; {count(one.editions, 'edition')}")
        said += [f"  {clean(where)}" for where in one.where[:5]]
        if len(one.where) > 5:
            said.append(f"  and {len(one.where) - 5} more")
    said.append(f"{count(len(result.found), 'job')} of {result.jobs} looked through.")
    said += [f"Could not be read: {clean(str(folder))}: {clean(why)}" for folder, why in result.unread]
    return "\n".join(said)


def described(chosen: Sequence[PictureState], state: State) -> str:
    """Say what is known and decided of some pictures."""
    said = []
    for p in chosen:
        said.append(f"{p.frame}: {clean(p.shown) or 'nothing said of what it shows'}")
        said.append(f"  {clean(p.name)}, {clock_text(p.capture.time)}, {clean(p.capture.camera)}")
        said += [f"  {clean(remark)}" for remark in p.capture.remarks]
        facts = [
            p.distance and str(p.distance),
            p.direction and f"looking {p.direction}",
            state.room_of(p.frame),
        ]
        said.append(
            "  " + (clean(", ".join(fact for fact in facts if fact)) or "no distance, direction or room")
        )
        for alike in state.look_alikes:
            if p.frame == alike.front:
                said.append(f"  in front of {_runs(alike.others)}: {clean(alike.reason)}")
            elif p.frame in alike.others:
                said.append(f"  behind its look-alike {alike.front}")
    return "\n".join(said) or "There is no such picture."


def marks(frame: int, found: Sequence[Mark]) -> str:
    """List the marks on a picture."""
    rows = [
        (number, str(m.shape), f"{m.x0:.3f},{m.y0:.3f},{m.x1:.3f},{m.y1:.3f}")
        for number, m in enumerate(found, 1)
    ]
    return table(("Mark", "Shape", "Where"), rows) if rows else f"Picture {frame} has no mark."


def proof(found: Proof) -> str:
    """Say which printed pictures are still to be looked at."""
    if not found.printed:
        return "Nothing would be printed yet."
    done = len(found.printed) - len(found.to_look_at)
    said = [f"{done} of {count(len(found.printed), 'printed picture')} looked at in full size."]
    if found.to_look_at:
        said.append(f"Still to look at: {_runs(found.to_look_at)}")
        said.append("Look for what is not written up; tick with: evidence proof JOB NUMBER...")
    return "\n".join(said)


def lights(shown: Sequence[PictureState]) -> str:
    """List how pictures are brightened."""
    rows = [(p.frame, p.name, light_text(p.light_proposed, p.light_decided)) for p in shown if p.usable]
    return table(("No.", "File", "Light"), rows)


def gaps(found: Sequence[Gap]) -> str:
    """List the gaps."""
    return "\n".join(clean(gap.sentence) for gap in found) or "There is no gap."


def issued(made: Issued) -> str:
    """Say what was issued."""
    name = made.folder.name
    said = [
        f"Issued {name}: {count(made.findings, 'finding')}, {count(made.photos, 'photo')}.",
        *(f"  {made.folder / file}" for file in made.files),
        f"SHA-256 of its manifest: {made.digest}",
    ]
    if made.said:
        said.append(made.said)
    said += [f"Mind: {clean(sentence)}" for sentence in made.lacking]
    if made.unlooked:
        some = count(len(made.unlooked), "printed picture")
        said.append(f"{some} not marked as looked at in full size: look for things not written up.")
    return "\n".join(said)


def demo(made: Demo) -> str:
    """Say where the demo lies and what to look at."""
    return "\n".join(
        [
            status(made.status),
            "",
            f"The appendix: {made.issued.folder / 'appendix.pdf'}",
            f"Prove it:     evidence verify {made.folder}",
        ]
    )


def verified(report: Report) -> str:
    """Say what a check found, plain words first."""
    return "\n".join(clean(line) for line in report.sentences)


def sealed(found: Sealed) -> str:
    """Say what vouches for an edition."""
    said = [
        f"Edition {found.edition}: {'signed, and the signature holds' if found.signed else 'not signed'}."
    ]
    if found.stamped:
        said.append(f"Its time-stamp holds: the manifest existed at {found.stamped}.")
    elif found.waiting:
        said.append("A time-stamp was asked for; its reply has not come yet.")
    else:
        said.append("No time-stamp: the date rests on the camera's and the computer's clocks.")
    return "\n".join(said)
