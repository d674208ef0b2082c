"""Turn what the page posted into one step's call, and say what was done.

Hides how a form's words become numbers and lists; nothing here decides anything. An act returns
only when the record holds it on the disk.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

from evidence.errors import WrongUsage
from evidence.progress import Silent
from evidence.review import spoken, views
from evidence.steps import (
    attach,
    clock,
    findings,
    gaps,
    issue,
    light,
    mark,
    pages,
    picture,
    proof,
    rooms,
)
from evidence.steps import undo as undoing
from evidence.words import Distance, Mark, Shape

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from evidence.desk import Desk
    from evidence.record import Line

Form = dict[str, str]
"""What was posted, the last value of each name."""


LONG: Final[Mapping[str, str]] = {
    "pages": "The pages are being set",
    "issue": "An edition is being issued",
}
"""Acts that may take a minute and more, and what is said of them meanwhile."""


def do(desk: Desk, name: str, form: Form) -> tuple[str | None, int]:
    """Do one act; what it decides is taken back together.

    Returns
    -------
    What was done, a sentence, None when there is no such act; and the record's last line that it
    wrote, 0 when it decided nothing.

    Raises
    ------
    WrongUsage
        The form lacks something or names something that does not exist.
    EvidenceError
        Whatever the step says.
    """
    act = _ACTS.get(name)
    if act is None:
        return None, 0
    before = len(desk.job.lines)
    with desk.job.one_act():
        said = act(desk, form)
    now = len(desk.job.lines)
    return said, now if now > before else 0


def last_told(lines: Sequence[Line]) -> tuple[str, str]:
    """Name what undo would take back and what redo would do again, "" for nothing."""
    undo, redo = undoing.last_decision(lines), undoing.last_undo(lines)
    return (
        undoing.told(lines[undo - 1]) if undo else "",
        undoing.told(undoing.undone_by(lines, redo)) if redo else "",
    )


def _undo(desk: Desk, form: Form) -> str:
    _as_shown(desk, form, undoing.last_decision)
    return f"Taken back: {undoing.told(desk.undo())}."


def _redo(desk: Desk, form: Form) -> str:
    _as_shown(desk, form, undoing.last_undo)
    return f"Done again: {undoing.told(undoing.redo(desk))}."


def _as_shown(desk: Desk, form: Form, which: Callable[[Sequence[Line]], int]) -> None:
    """Refuse where another window or a command decided something since the button named what it does."""
    lines, line = desk.job.lines, form.get("line", "")
    if line and which(lines[: _number(line, "line")]) != which(lines):
        raise WrongUsage("Something else was decided meanwhile; look at what the button names now.")


def _frames(form: Form) -> list[int]:
    """Give the pictures that an act is about; refuse one that is about none."""
    frames = _frames_if_any(form)
    if not frames:
        raise WrongUsage("The page did not say which picture; nothing was changed.")
    return frames


def _frames_if_any(form: Form) -> list[int]:
    return [_number(word, "picture") for word in form.get("frames", "").split(",") if word.strip()]


def _number(word: str, what: str) -> int:
    word = word.strip()
    if not (word.isascii() and word.isdecimal() and len(word) < 9):
        raise WrongUsage(f"“{word[:40]}” is not the number of a {what}.")
    return int(word)


def _need(form: Form, key: str) -> str:
    if not form.get(key, "").strip():
        raise WrongUsage(f"The page did not say “{key}”; nothing was changed.")
    return form[key].strip()


def _frame(form: Form, key: str = "frame") -> int:
    return _number(_need(form, key), "picture")


def _finding(form: Form) -> int:
    return _number(_need(form, "finding"), "finding")


def _yes(form: Form, key: str = "on") -> bool:
    return form.get(key) == "yes"


def _distance(form: Form) -> Distance | None:
    word = form.get("distance", "").strip()
    return _distance_called(word) if word else None


def _taken_back(form: Form) -> Literal[""] | None:
    """Tell the choice that takes a distance back from a form that says nothing of it."""
    return "" if form.get("distance") == "" else None


def _distances(form: Form) -> Distance | Mapping[int, Distance] | None:
    """Give one distance for all pictures, or one for each: "distances" has them in the same order."""
    words = [word.strip() for word in form.get("distances", "").split(",")]
    if words == [""]:
        return _distance(form)
    frames = _frames_if_any(form)
    if len(words) != len(frames):
        raise WrongUsage("The page did not say a distance for each picture; nothing was changed.")
    return {frame: _distance_called(word) for frame, word in zip(frames, words, strict=True)}


def _distance_called(word: str) -> Distance:
    try:
        return Distance(word)
    except ValueError:
        raise WrongUsage(f"“{word[:40]}” is no distance; there are {', '.join(Distance)}.") from None


def _begins(desk: Desk, form: Form) -> str:
    frame, on = _frame(form), _yes(form)
    rooms.settle(desk, frame, begins=on)
    return f"Picture {frame} begins {'a new' if on else 'no new'} visit."


def _move(desk: Desk, form: Form) -> str:
    frame, to = _frame(form), _frame(form, "to")
    rooms.move(desk, frame, to)
    return f"The visit now begins with picture {to}."


def _room(desk: Desk, form: Form) -> str:
    name = _need(form, "name")
    number = rooms.visit_with(desk.state(), _frame(form))
    rooms.name(desk, {number: name})
    return f"Visit {number} is {name}."


def _clock(desk: Desk, form: Form) -> str:
    camera, seconds, reason = _need(form, "camera"), _need(form, "add"), _need(form, "reason")
    try:
        add_s = float(seconds)
    except ValueError:
        raise WrongUsage(f"“{seconds[:40]}” is no number of seconds such as -40.") from None
    before = desk.state()
    if form.get("frame"):
        clock.take_fault(desk, _frame(form))
    else:
        clock.correct(desk, camera, add_s, reason)
    said = f"{add_s:+g} s for the clock of {camera}."
    found = clock.sets(before, desk.state())
    if found and len(found.cards) > 1 and not found.told_apart:
        said += f" It is set on {len(found.cards)} cards; two cameras of that name cannot be told apart."
    return said


def _overall(desk: Desk, form: Form) -> str:
    frames, on = _frames(form), _yes(form)
    rooms.overall(desk, frames, on=on)
    which = views.count(len(frames), "picture")
    return f"{which} {'will be printed as overall view' if on else 'no longer printed as overall view'}."


def _light(desk: Desk, form: Form) -> str:
    word = _need(form, "to")
    to: str | float | None
    if word == "proposed":
        to = None
    elif word == light.AS_TAKEN:
        to = light.AS_TAKEN
    else:
        try:
            to = round(float(word), 2)
        except ValueError:
            raise WrongUsage(f"“{word[:40]}” is no lift in stops.") from None
        if to != to:  # noqa: PLR0124 - not a number is the one value that differs from itself
            raise WrongUsage("That is no lift in stops.")
    frames = _frames(form)
    light.set_light(desk, frames, to)
    said = "as proposed" if to is None else to if isinstance(to, str) else f"lifted {to:g} stops"
    return f"{views.count(len(frames), 'picture')} {said}."


def _attach(desk: Desk, form: Form) -> str:
    finding, frames, distance = _finding(form), _frames(form), _distances(form)
    attach.attach(desk, finding, frames, distance=distance or _taken_back(form))
    which = views.count(len(frames), "picture")
    return (
        f"{which} attached to finding {finding}{f', {distance}' if isinstance(distance, Distance) else ''}."
    )


def _take_off(desk: Desk, form: Form) -> str:
    finding, frames = _finding(form), _frames(form)
    attach.take_off(desk, finding, frames)
    return f"{views.count(len(frames), 'picture')} taken off finding {finding}."


def _first(desk: Desk, form: Form) -> str:
    finding, frame = _finding(form), _frame(form)
    attach.put_first(desk, finding, frame)
    return f"Picture {frame} is printed first for finding {finding}."


def _best(desk: Desk, form: Form) -> str:
    finding = _finding(form)
    attach.take_proposal(desk, finding)
    return f"The proposed pictures of finding {finding} are taken."


def _parts(form: Form) -> dict[str, object]:
    parts: dict[str, object] = {key: form[key] for key in findings.PARTS if key in form}
    if "urgent" in form:
        parts["urgent"] = _yes(form, "urgent")
    return parts


def _add(desk: Desk, form: Form) -> str:
    frames, distance = _frames_if_any(form), _distances(form)
    parts = _parts(form)
    rooms.showable(desk.state(), frames)  # before the finding is written: all of an act or nothing
    if frames and not form.get("room", "").strip():
        parts["room"] = desk.state().room_of(frames[0])
    made = findings.add(desk, parts, standard=form.get("standard", ""))
    if frames:
        attach.attach(desk, made.number, frames, distance=distance)
    return f"Finding {made.number} is written."


def _accept(desk: Desk, form: Form) -> str:
    distances = _distances(form)
    return spoken.accept(desk, form, None if isinstance(distances, Distance) else distances)


def _edit(desk: Desk, form: Form) -> str:
    number = _finding(form)
    findings.edit(desk, number, _parts(form))
    return f"Finding {number} is changed."


def _withdraw(desk: Desk, form: Form) -> str:
    number = _finding(form)
    findings.withdraw(desk, number)
    return f"Finding {number} is withdrawn; undo brings it back."


def _explain(desk: Desk, form: Form) -> str:
    place = _need(form, "place")
    reason = form.get("reason", "").strip()
    gaps.explain(desk, place, reason or None)
    return f"Not seen: {place}." if reason else f"The reason for {place} is taken back."


def _front(desk: Desk, form: Form) -> str:
    frame = _frame(form)
    picture.in_front(desk, frame)
    return f"Picture {frame} stands in front of its look-alikes."


def _apart(desk: Desk, form: Form) -> str:
    frames = _frames(form)
    picture.apart(desk, frames)
    return f"{views.count(len(frames), 'picture')} taken out of the look-alikes."


def _describe(desk: Desk, form: Form) -> str:
    frames = _frames(form)
    picture.describe(
        desk,
        frames,
        shown=form.get("shown"),
        direction=form.get("direction"),
        distance=_distance(form) or _taken_back(form),
    )
    return f"What {views.count(len(frames), 'picture')} shows is said."


def _looked(desk: Desk, form: Form) -> str:
    frames, done = _frames(form), _yes(form)
    proof.looked(desk, frames, done=done)
    which = views.count(len(frames), "picture")
    return f"{which} {'looked at in full size' if done else 'to be looked at again'}."


def _mark(desk: Desk, form: Form) -> str:
    frame = _frame(form)
    try:
        drawn = Mark(
            Shape(_need(form, "shape")), *(float(_need(form, at)) for at in ("x0", "y0", "x1", "y1"))
        )
    except ValueError:
        raise WrongUsage("That is no mark; there are arrow, ring, box and cover.") from None
    mark.add(desk, frame, [drawn])
    return f"{drawn.shape.value.capitalize()} drawn on copies of picture {frame}."


def _unmark(desk: Desk, form: Form) -> str:
    frame = _frame(form)
    number = form.get("number", "")
    mark.take_off(desk, frame, _number(number, "mark") if number else None)
    return f"Taken off picture {frame}."


def _per_page(form: Form) -> int | None:
    word = form.get("per_page", "")
    return _number(word, "page") if word else None


def _pages(desk: Desk, form: Form) -> str:
    made = pages.set_pages(desk, progress=Silent(), per_page=_per_page(form))
    return f"{made.count} pages are set. {made.said}".strip()


def _issue(desk: Desk, form: Form) -> str:
    formats = tuple(name for name in issue.FORMATS if name == "pdf" or _yes(form, name))
    line, editions = form.get("line", ""), desk.job.editions()
    if line and any(one.what == "issue" for one in desk.job.lines[_number(line, "line") :]):
        raise WrongUsage(f"Edition {editions[-1]} was issued meanwhile; issue again if you want another.")
    wanted = issue.Wanted(
        formats=formats,
        per_page=_per_page(form),
        unlooked_reason=form.get("reason", "").strip(),
    )
    made = issue.issue(desk, wanted, progress=Silent())
    where = f"{made.folder.parent.name}/{made.folder.name}"
    return f"Edition {made.edition} is issued: {', '.join(made.files)} in {where}. {made.said}".strip()


_ACTS: Final[Mapping[str, Callable[[Desk, Form], str]]] = {
    "undo": _undo,
    "redo": _redo,
    "begins": _begins,
    "move": _move,
    "room": _room,
    "clock": _clock,
    "overall": _overall,
    "light": _light,
    "attach": _attach,
    "take-off": _take_off,
    "first": _first,
    "best": _best,
    "add": _add,
    "accept": _accept,
    "edit": _edit,
    "withdraw": _withdraw,
    "explain": _explain,
    "front": _front,
    "apart": _apart,
    "describe": _describe,
    "looked": _looked,
    "mark": _mark,
    "unmark": _unmark,
    "pages": _pages,
    "issue": _issue,
}
