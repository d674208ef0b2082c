"""Put a transcript on the job's line of time, and make findings of what was said."""

from __future__ import annotations

import re
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

from evidence import choice, narration, own
from evidence.errors import BadTranscript, UnknownSentence, WrongUsage
from evidence.files import shown, writing
from evidence.record import Entry
from evidence.recordings import in_calendar, sentence_key, written
from evidence.state import candidate
from evidence.steps import attach, findings
from evidence.steps import intake as copying
from evidence.steps.rooms import picture_of, showable

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from evidence.desk import Desk
    from evidence.recordings import Narration, Recording, Said
    from evidence.state import State
    from evidence.words import Distance, Finding, FrameNumber, Spoken, Taken

SOURCE = "narration"
"""The folder below ``originals/data`` for transcripts that came from no card."""

_DAY_S: Final = 86_400


def take_in(desk: Desk, file: Path) -> Taken:
    """Give the original of a transcript: one the job has, or the file copied, hashed and read back.

    Parameters
    ----------
    file
        A file, or the name or place of an original.

    Raises
    ------
    WrongUsage
        There is neither, or there are several originals of that name.
    BadTranscript
        It is no transcript; nothing was taken in.
    DiskFull, CannotWrite
        The job's disk, or that for what is temporary, could not take it.
    """
    taken = desk.job.taken()
    known = [t for t in taken if t.original.place == str(file)]
    known = known or [t for t in taken if t.original.name == str(file)]
    if not file.is_file():
        if len(known) > 1:
            places = ", ".join(one.original.place for one in known)
            raise WrongUsage(
                f"Several originals are called {shown(str(file))}; name one by its place: {places}."
            )
        if not known:
            raise WrongUsage(f"There is no file {shown(str(file))}, and no original of that name.")
        read(desk.job.original(known[0].original.place))
        return known[0]
    read(file)
    with tempfile.TemporaryDirectory(prefix="evidence-") as name:
        folder = Path(name) / SOURCE
        folder.mkdir()
        # Intake takes folders; the file's own time goes with it.
        with writing(folder / file.name, f"the copy of {shown(file.name)} in {shown(name)}"):
            shutil.copy2(file, folder / file.name)
        result = copying.intake(desk.job, [folder])
    desk.store.put_originals(desk.job.taken())
    desk.forget()
    place = result.taken[0].original.place if result.taken else result.known[0].place
    return next(t for t in desk.job.taken() if t.original.place == place)


def read(file: Path) -> Spoken:
    """Read a transcript.

    Raises
    ------
    BadTranscript
        Names the file and says why.
    """
    try:
        return narration.spoken(file.read_bytes())
    except BadTranscript as problem:
        raise BadTranscript(f"{shown(file.name)} is no transcript: {problem}.") from None
    except OSError as problem:
        raise BadTranscript(f"{shown(file.name)} cannot be read: {problem.strerror}.") from problem


def recording_of(state: State, transcript: Taken) -> Recording | None:
    """Find the film or sound note a transcript belongs to: the same name, or the same DCF number.

    "ABCD0012.MP4.vtt" and "ABCD0012.en.srt" belong to ABCD0012.MP4; a transcript from the same card
    goes before one of the same name on another.

    Raises
    ------
    WrongUsage
        Several have that name.
    """
    name = transcript.original.name.casefold()
    same = [one for one in state.recordings if name.startswith(one.name.rpartition(".")[0].casefold() + ".")]
    here = [one for one in same if one.taken.source == transcript.source]
    if not same:
        same = [one for one in state.recordings if _number(one.name) and _number(one.name) == _number(name)]
    found = here or same
    if len(found) > 1:
        places = ", ".join(one.taken.original.place for one in found)
        raise WrongUsage(f"{shown(transcript.original.name)} may belong to each of {places}; say --starts.")
    return found[0] if found else None


def place(desk: Desk, transcript: Taken, starts: float, how: str) -> Narration:
    """Put a transcript on the line of time, or move it there.

    Parameters
    ----------
    starts
        When its recording began, seconds since 1970 on the job's local clock.
    how
        What that rests on, in words.

    Raises
    ------
    WrongUsage
        No recording began then.
    """
    if not in_calendar(starts):
        raise WrongUsage(f"{shown(transcript.original.name)} cannot have begun then; nothing was changed.")
    about = transcript.original.place
    before = next((one for one in desk.state().narrations if one.place == about), None)
    value = {"starts": written(starts), "how": how}
    desk.decide("narration", about, value, written(before.starts) if before else None)
    return next(one for one in desk.state().narrations if one.place == about)


def by_recording(desk: Desk, transcript: Taken) -> tuple[float, str]:
    """Find when a transcript began from the film or sound note it belongs to.

    Raises
    ------
    WrongUsage
        There is none, or its own time is not settled.
    """
    found = recording_of(desk.state(), transcript)
    if found is None:
        raise WrongUsage(
            f"No film or sound note is called as {shown(transcript.original.name)} is; "
            "say when it began with --starts, or with --at-picture."
        )
    if found.readings:
        raise WrongUsage(
            f"The time of {found.name} can be read in more than one way; settle it with: "
            f"evidence frames JOB {found.name} --reading “…”, or say --starts."
        )
    if found.starts is None:
        raise WrongUsage(f"Nothing tells when {found.name} began; say it with --starts.")
    return found.starts, f"{found.name}: {found.how}"


def by_picture(
    desk: Desk, transcript: Taken, frame: int, *, says: str = "", second: float | None = None
) -> tuple[float, str]:
    """Find when a transcript began from words said, or a clap heard, as a picture was taken.

    Parameters
    ----------
    frame
        The picture.
    says
        Words of the one sentence that was said at it.
    second
        Second of the recording at which the clap that it shows is heard.

    Raises
    ------
    UnknownPicture, WrongUsage
        There is no such picture, it has no time, or the words are not in exactly one sentence.
    """
    picture = picture_of(desk.state(), frame)
    if picture.seconds_assumed:
        raise WrongUsage(f"Picture {frame} has no camera time of its own to set the narration by.")
    if second is not None:
        return picture.seconds - second, f"second {second:g} is picture {frame}"
    wanted = _plain(says)
    spoken = read(desk.job.original(transcript.original.place))
    found = [one for one in spoken.sentences if wanted and wanted in _plain(one.text)]
    if len(found) != 1:
        heard = "; ".join(f"“{one.text}”" for one in found[:3]) or "none"
        raise WrongUsage(f"“{says}” must be words of exactly one sentence; found: {heard}.")
    return picture.seconds - found[0].start_s, f"“{found[0].text}” was said at picture {frame}"


def shift(desk: Desk, transcript: Taken, seconds: float) -> Narration:
    """Move a narration by hand.

    Raises
    ------
    WrongUsage
        It is not on the line of time yet, or would be moved by more than a day.
    """
    if abs(seconds) > _DAY_S:
        raise WrongUsage(f"{seconds:g} seconds are more than a day; say when it began with --starts.")
    about = transcript.original.place
    before = next((one for one in desk.state().narrations if one.place == about), None)
    if before is None:
        raise WrongUsage(f"{shown(about)} is not on the line of time yet.")
    return place(desk, transcript, before.starts + seconds, f"{before.how}; moved by {seconds:+g} s")


def is_placed(desk: Desk, transcript: Taken) -> bool:
    """Tell whether a transcript is on the line of time, where a person may have moved it."""
    return any(one.place == transcript.original.place for one in desk.state().narrations)


def take_off(desk: Desk, transcript: Taken) -> None:
    """Take a narration off the line of time; the transcript stays an original of the job."""
    desk.decide("narration", transcript.original.place, None)


def accept(
    desk: Desk,
    number: int,
    *,
    standard: str = "",
    room: str = "",
    standard_words: bool = False,
    pictures: Mapping[int, Distance] | None = None,
) -> Finding:
    """Make a finding of a sentence: its words, its room and the pictures taken with it.

    Parameters
    ----------
    number
        The sentence's.
    standard
        Id of the standard finding it means, for why it matters, what to do and who should.
    room
        Where, if not where it was said.
    standard_words
        Take the standard finding's neutral sentence instead of the spoken one.
    pictures
        These, in this order and from these distances, instead of those taken with it.

    Raises
    ------
    UnknownSentence
        There is no such sentence.
    WrongUsage
        It was accepted already.
    UnknownFinding
        There is no such standard finding.
    UnknownPicture
        There is no such picture.

    Notes
    -----
    The finding's line is the record's last: undoing it takes back the whole, for what else was
    written is about that finding.
    """
    state = desk.state()
    said = next((one for one in state.sentences if one.number == number), None)
    if said is None:
        raise UnknownSentence(f"There is no sentence {number} in this job.")
    if said.finding is not None:
        raise WrongUsage(f"Sentence {number} is finding {said.finding} already.")
    words = "" if standard and standard_words else narration.without_marker(said.sentence.text)
    offered = said.suggestions[0].id if said.suggestions else None
    finding, entry = findings.prepare(desk, {"seen": words, "room": room or said.room}, standard=standard)
    entries = [Entry("said", sentence_key(said), finding.number, offered)]
    for rank, picture in enumerate(showable(state, list(pictures or _in_order(state, said)))):
        value = {"distance": pictures[picture.frame] if pictures else picture.distance, "rank": rank}
        entries.append(Entry("attached", f"{finding.number}/{picture.frame}", value))
    desk.decide_all([*entries, entry])
    return finding


def offered(desk: Desk, state: State) -> tuple[dict[str, str], str]:
    """Give the sentence of each standard finding offered, by its id, and any fault of the own file."""
    rows, fault = own.for_offers(desk.job.folder, desk.job.details)
    known = rows.by_id
    ids = {offer.id for one in state.sentences for offer in one.suggestions}
    return {name: known[name].seen for name in sorted(ids) if name in known}, fault


def _in_order(state: State, said: Said) -> Sequence[FrameNumber]:
    """Put a sentence's own pictures in the order of printing: the proposed ones first."""
    measured = [p for frame in said.own if (p := state.picture(frame)) and p.quality]
    if not measured:
        return said.own
    sets, by_hand = attach.sets_of(state), attach.put_in_front(state)
    proposal = choice.propose(
        [candidate(p, alike=sets.get(p.frame), chosen=p.frame in by_hand) for p in measured]
    )
    return tuple(dict.fromkeys([*(pick.frame for pick in proposal.picks), *said.own]))


def _plain(text: str) -> str:
    return " ".join(re.findall(r"\w+", text.casefold()))


def _number(name: str) -> str:
    match = re.match(r"[0-9a-z_]{4}([0-9]{4})\.", name.casefold())  # CIPA DC-009, 3.2
    return match[1] if match else ""
