"""Say how the job stands: what was taken in, what is there, picture by picture."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from evidence.tables.layout import clean, clock_text, light_text, runs, table
from evidence.words import OTHERS, FileKind, count, in_bytes

if TYPE_CHECKING:
    from evidence.state import State
    from evidence.steps.demo import Demo
    from evidence.steps.intake import IntakeResult
    from evidence.steps.read import Damaged
    from evidence.steps.status import Beside, Status


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
        ("Originals", f"{count(now.originals, 'file')}, {in_bytes(now.bytes)}"),
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
        which = f"{'picture' if len(now.odd) == 1 else 'pictures'} {runs(now.odd)}"
        said.append(f"Odd metadata in {which}; evidence picture JOB NUMBER says what.")
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
    others = [one for one in now.beside if one.kind in OTHERS]
    if others:
        yield "Other files", _few([_name(one) for one in others])


def files(now: Status) -> str:
    """List every original that is no picture: what it is and which picture it belongs to."""
    if not now.beside:
        return "Every original is a picture."
    rows = [(one.kind, one.frame or "-", in_bytes(one.bytes), one.place) for one in now.beside]
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
    spoken = {one.frame: _name(one) for one in beside if one.kind is FileKind.SOUND}
    rows = []
    for p in state.pictures:
        front = state.front_of(p.frame)
        remark = p.fault or (f"like {front}" if front is not None else "")
        if not remark and p.card is not None:
            remark = f"room card {p.card}: {p.card_says or 'not yet named'}"
        remark = remark or p.unsharp
        if p.frame in spoken:
            remark = "; ".join(filter(None, (remark, f"sound note {spoken[p.frame]}")))
        time = clock_text(p.corrected or p.capture.time)
        light = light_text(p.light_proposed, p.light_decided)
        rows.append((p.frame, p.name, time, state.room_of(p.frame) or "-", light, remark))
    return table(("No.", "File", "Camera time", "Room", "Light", "Remark"), rows)


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
