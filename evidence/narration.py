"""Read what was said and when: timed transcripts (WebVTT, SRT), sentences, the pictures beside them.

Hides the two file forms, tags and entities, captions that repeat their last line, and how pieces
are joined into sentences. Leaves where on the line of time a recording began, and what a sentence
may mean, to others.
"""

from __future__ import annotations

import html
import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from evidence.errors import BadTranscript
from evidence.words import Sentence, Spoken

VERSION: Final = 2

LARGEST_BYTES: Final = 20_000_000
"""Our own bound: a day's speech is under one megabyte of text."""
_MOST_HOUR_DIGITS: Final = 3
"""Hours of more digits are a slip: 999 are six weeks, and no recording of a house is so long."""
WITHIN_S: Final = 15.0
"""How far from a sentence a picture may have been taken and still be beside it; docs/methods/narration.md."""

_PAUSE_S: Final = 3.0
"""A pause that ends a sentence though no full stop was written; for transcripts that write them."""
_SHORT_PAUSE_S: Final = 0.8
"""The same for transcripts without full stops, of which nothing else tells where a sentence ends."""
_UNSTOPPED: Final = 0.2
"""Below this share of cues that end with a stop, a transcript counts as one without."""
_MOST_WORDS: Final = 60
"""A sentence is cut after so many: nobody reads more at a glance, and speech without stops has no end; our
own choice."""


@dataclass(frozen=True, slots=True)
class Cue:
    """One cue of a transcript.

    Attributes
    ----------
    start_s, end_s
        Seconds from the start of the recording, exact to the millisecond; an end before its start
        is kept as written.
    text
        Without tags, entities resolved, lines as written.
    voices
        Who speaks which part of the text, in order; the name is "" where none is given.
    """

    start_s: float
    end_s: float
    text: str
    voices: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Transcript:
    """A transcript as read.

    Attributes
    ----------
    cues
        In the order of the file.
    remarks
        What could not be read in it, a sentence each.
    """

    cues: tuple[Cue, ...]
    remarks: tuple[str, ...] = ()


def read(data: bytes) -> Transcript:
    """Read a WebVTT or SRT file.

    Raises
    ------
    BadTranscript
        It is neither, holds no cue with words and a time that can be read, or is longer than
        :data:`LARGEST_BYTES`; says which.

    Notes
    -----
    WebVTT by the parsing algorithm of the W3C Candidate Recommendation of 2019-04-04, 6.1 to 6.4:
    a cue whose time is malformed is left out, everything else is kept. SRT has no standard: a line
    of two times with a comma or point and three digits begins a cue, and the bare number above it
    belongs to it.
    """
    if len(data) > LARGEST_BYTES:
        raise BadTranscript(f"it is {len(data) / 1e6:.0f} MB long, more than a transcript has")
    text, remark = _decoded(data)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if re.match(r"WEBVTT(?:[ \t]|$)", lines[0]):
        cues, lost = _webvtt(lines)
    elif any(_SRT_TIMES.match(line) for line in lines):
        cues, lost = _srt(lines)
    elif any("-->" in line for line in lines):
        raise BadTranscript("it has arrows between times as a transcript has, but no time that can be read")
    else:
        raise BadTranscript("it is neither WebVTT (its first line must begin with WEBVTT) nor SRT")
    said = [remark] if remark else []
    if lost:
        said.append(f"{lost} of {lost + len(cues)} cues had no time that can be read and were left out.")
    if not any(cue.text.strip() for cue in cues):
        raise BadTranscript("no cue in it has both a time and words")
    return Transcript(tuple(cues), tuple(said))


def spoken(data: bytes) -> Spoken:
    """Read the sentences of a WebVTT or SRT file; raises as :func:`read` does."""
    transcript = read(data)
    return Spoken(sentences(transcript.cues), transcript.remarks)


def sentences(cues: Iterable[Cue]) -> tuple[Sentence, ...]:
    """Join cues into sentences, and part cues that hold several.

    A sentence ends at a full stop, question or exclamation mark; at a long pause; where another
    voice begins; and in a transcript without stops at any pause. Its times are those of its first
    and last word, estimated within a cue by the share of letters before them.

    Returns
    -------
    By their start. A sentence that is nothing but the marker "finding" is joined with the next.

    Examples
    --------
    >>> [s.text for s in sentences([Cue(0, 2, "The pan is"), Cue(2, 4, "rusty. It leaks.")])]
    ['The pan is rusty.', 'It leaks.']
    """
    pieces = list(_pieces(sorted(cues, key=lambda cue: cue.start_s)))
    stops = sum(bool(_STOP_AT_END.search(piece.text)) for piece in pieces)
    pause_s = _PAUSE_S if stops >= _UNSTOPPED * len(pieces) else _SHORT_PAUSE_S
    made: list[Sentence] = []
    under_way: dict[str, Sentence] = {}
    for piece in pieces:
        before = under_way.pop(piece.speaker, None)
        if before and (piece.start_s - before.end_s >= pause_s or len(before.text.split()) >= _MOST_WORDS):
            lone = _LONE.fullmatch(before.text) and piece.start_s - before.end_s < _PAUSE_S
            if not lone:
                made.append(before)
                before = None
        whole = _joined(before, piece)
        if _STOP_AT_END.search(whole.text) and not _LONE.fullmatch(whole.text):
            made.append(whole)
        else:
            under_way[piece.speaker] = whole
    made.extend(under_way.values())
    return tuple(sorted(made, key=lambda one: (one.start_s, one.end_s)))


def marked(sentence: str) -> bool:
    """Tell whether a sentence says of itself that it is a finding.

    It does when it begins with the word, after "okay", "next" and the like, or says "that is a
    finding". The word elsewhere is only a word.

    Examples
    --------
    >>> marked("Next finding: the pan is rusty."), marked("I am not finding any weep holes.")
    (True, False)
    """
    return bool(_MARKER.match(sentence) or _THATS_ONE.search(sentence))


def without_marker(sentence: str) -> str:
    """Give the words of a sentence without the marker before them, the first letter in upper case.

    Examples
    --------
    >>> without_marker("Okay, finding. the pan is rusty.")
    'The pan is rusty.'
    """
    left = _MARKER.sub("", sentence, count=1).strip() if _MARKER.match(sentence) else sentence.strip()
    return left[:1].upper() + left[1:]


def beside(
    spoken: Sequence[tuple[float, float]], taken: Sequence[float], within_s: float = WITHIN_S
) -> list[list[int]]:
    """Tell for each sentence which pictures were taken near it.

    Parameters
    ----------
    spoken
        Start and end of each sentence, seconds on one line of time.
    taken
        When each picture was taken, on the same line.
    within_s
        Farthest distance.

    Returns
    -------
    Places in ``taken``, nearest first; a picture taken while the sentence was said is at distance 0.
    One picture may be beside several sentences.
    """
    order = sorted(range(len(taken)), key=lambda i: taken[i])
    times = [taken[i] for i in order]
    result = []
    for start, end in spoken:
        # A little wide, so that rounding leaves none out; then by the distance itself.
        first = bisect_left(times, start - within_s - 1e-3)
        last = bisect_right(times, max(start, end) + within_s + 1e-3)
        near = [(_apart(start, end, taken[i]), abs(taken[i] - start), i) for i in order[first:last]]
        result.append([i for distance, _, i in sorted(near) if distance <= within_s])
    return result


def nearest(
    spoken: Sequence[tuple[float, float]], taken: Sequence[float], within_s: float = WITHIN_S
) -> list[int | None]:
    """Tell for each picture the one sentence it was taken nearest to, None when none is within reach."""
    best: dict[int, tuple[float, float, int]] = {}
    for i, near in enumerate(beside(spoken, taken, within_s)):
        start, end = spoken[i]
        for j in near:
            found = (_apart(start, end, taken[j]), abs(taken[j] - start), i)
            best[j] = min(best.get(j, found), found)
    return [best[j][2] if j in best else None for j in range(len(taken))]


def _apart(start: float, end: float, at: float) -> float:
    return max(start - at, at - max(start, end), 0.0)


_FILLER: Final = (
    r"(?:(?:okay|ok|alright|right|so|and|now|uh|um|next|new|another|number \w+|first|last)[\s,.:]+)*"
)
_MARKER: Final = re.compile(
    rf"^\W*{_FILLER}finding(?: number \w+)?\b(?!\s+(?:it|any|out))[\s:,.;–—-]*", re.IGNORECASE
)
_THATS_ONE: Final = re.compile(
    r"\b(?:(?:that|this|it)(?:'s|’s| is)|(?:call|mark|note|take) (?:it|that|this)(?: down)?(?: as)?)"
    r" a finding\b",
    re.IGNORECASE,
)
_LONE: Final = re.compile(rf"\W*{_FILLER}finding(?: number \w+)?\W*", re.IGNORECASE)
_STOP_AT_END: Final = re.compile(r"[.!?…。！？][\"'”’)\]]*$")
_SENTENCE_END: Final = re.compile(
    r"(?<!\bno)(?<!\bmr)(?<!\bmrs)(?<!\bdr)(?<!\bapprox)(?<!\be\.g)(?<!\bi\.e)"
    r"[.!?…。！？][\"'”’)\]]*(?:\s+|(?<=[。！？])(?=\S))",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class _Piece:
    """Words of one voice in one cue, at most up to the end of a sentence."""

    start_s: float
    end_s: float
    speaker: str
    text: str


def _joined(before: Sentence | None, piece: _Piece) -> Sentence:
    if before is None:
        return Sentence(piece.start_s, piece.end_s, piece.text, piece.speaker)
    return Sentence(
        before.start_s, max(before.end_s, piece.end_s), f"{before.text} {piece.text}", piece.speaker
    )


def _pieces(cues: Sequence[Cue]) -> Iterator[_Piece]:
    """Part cues by voice and by full stop; lines that a rolling caption repeats are said once."""
    shown: list[str] = []
    shown_until = float("-inf")
    for cue in cues:
        lines = [" ".join(line.split()) for line in cue.text.split("\n")]
        lines = [line for line in lines if line]
        again = _repeated(shown, lines) if cue.start_s <= shown_until + 0.05 else 0
        shown, shown_until = lines or shown, cue.end_s
        if again:
            names = {who for who, _ in cue.voices}  # of several it cannot be told who said the rest
            parts = [(names.pop() if len(names) == 1 else "", " ".join(lines[again:]))]
        else:
            parts = [(who, " ".join(words.split())) for who, words in cue.voices or (("", cue.text),)]
        letters = sum(len(words) for _, words in parts)
        length, done = max(cue.end_s - cue.start_s, 0.0), 0
        for who, words in parts:
            for text in _parted(words):
                start = cue.start_s + length * done / letters
                done += len(text)
                yield _Piece(start, cue.start_s + length * min(done / letters, 1.0), who, text)


def _repeated(before: Sequence[str], lines: Sequence[str]) -> int:
    """Count the first lines that are the last ones shown before."""
    most = min(len(before), len(lines))
    return next((n for n in range(most, 0, -1) if list(before[-n:]) == list(lines[:n])), 0)


def _parted(words: str) -> Iterator[str]:
    start = 0
    for end in _SENTENCE_END.finditer(words):
        yield words[start : end.end()].strip()
        start = end.end()
    if rest := words[start:].strip():
        yield rest


def _decoded(data: bytes) -> tuple[str, str]:
    """Decode: UTF-8, or UTF-16 with its mark, or else the old Western code page, with a remark."""
    for mark, code in ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        if data.startswith(mark):
            return data[len(mark) :].decode(code, "replace").replace("\0", "\ufffd"), ""
    if data[:6] == b"WEBVTT":
        return data.decode("utf-8", "replace").replace("\0", "\ufffd"), ""
    try:
        return data.decode().replace("\0", "\ufffd"), ""
    except UnicodeDecodeError:
        text = data.decode("cp1252", "replace").replace("\0", "\ufffd")
        return text, "It is not UTF-8; it was read as Windows-1252, so accents may be wrong."


_SPACES: Final = " \t\n\f\r"


def _webvtt(lines: Sequence[str]) -> tuple[list[Cue], int]:
    """Parse by the algorithm of 6.1; give the cues, and how many were left out for their times."""
    at = 1
    while at < len(lines) and lines[at] and "-->" not in lines[at]:
        at += 1  # the header's own lines
    cues: list[Cue] = []
    lost = 0
    while at < len(lines):
        if not lines[at]:
            at += 1
            continue
        block: list[str] = []
        times, arrow, first = None, False, at
        while at < len(lines) and lines[at]:
            line = lines[at]
            if "-->" in line:
                if arrow or at - first > 1:
                    break  # the next cue, without the empty line there should be
                arrow, times, block = True, _times(line), []
            else:
                block.append(line)
            at += 1
        if times:
            cues.append(_cue(*times, "\n".join(block)))
        elif arrow:
            lost += 1
    return cues, lost


def _times(line: str) -> tuple[float, float] | None:
    """Read "time --> time settings" (6.3); None when either time is malformed."""
    start, at = _timestamp(line, _after_spaces(line, 0))
    at = _after_spaces(line, at)
    if start is None or line[at : at + 3] != "-->":
        return None
    end, _ = _timestamp(line, _after_spaces(line, at + 3))
    return None if end is None else (start, end)


def _after_spaces(line: str, at: int) -> int:
    while at < len(line) and line[at] in _SPACES:
        at += 1
    return at


_TIMESTAMP: Final = re.compile(r"(?:([0-9]+):)?([0-9]{2}):([0-9]{2})\.([0-9]{3})(?![0-9])")


def _timestamp(line: str, at: int) -> tuple[float | None, int]:
    """Collect a time: hours of any length if given, then minutes, seconds and milliseconds."""
    match = _TIMESTAMP.match(line, at)
    if match is None or int(match[2]) > 59 or int(match[3]) > 59:
        return None, at
    return _seconds(*match.groups("0")), match.end()


def _seconds(hours: str, minutes: str, seconds: str, thousandths: str) -> float | None:
    """Add up a time; None where no recording is that long."""
    if len(hours.lstrip("0")) > _MOST_HOUR_DIGITS:
        return None
    whole = (int(hours) * 60 + int(minutes)) * 60 + int(seconds)
    return (whole * 1000 + int(thousandths)) / 1000


def _cue(start: float, end: float, marked_up: str) -> Cue:
    voices = tuple(_voices(marked_up))
    return Cue(start, end, "".join(words for _, words in voices), voices)


_TAG: Final = re.compile(r"<([^>]*)(?:>|$)")


def _voices(marked_up: str) -> Iterator[tuple[str, str]]:
    """Take tags out and resolve entities (6.4), parting the text where another voice begins."""
    who, words, at = "", "", 0
    for tag in _TAG.finditer(marked_up):
        words += html.unescape(marked_up[at : tag.start()])
        at = tag.end()
        name, _, annotation = re.sub(r"\s", " ", tag[1]).partition(" ")
        if name.split(".")[0] == "v" or tag[1] == "/v":
            if words:
                yield who, words
            who, words = html.unescape(" ".join(annotation.split())), ""
    words += html.unescape(marked_up[at:])
    if words:
        yield who, words


_SRT_TIMES: Final = re.compile(
    r"[ \t]*([0-9]+):([0-5]?[0-9]):([0-5]?[0-9])[,.]([0-9]{3})[ \t]*-->"
    r"[ \t]*([0-9]+):([0-5]?[0-9]):([0-5]?[0-9])[,.]([0-9]{3})(?![0-9])"
)
_SRT_TAG: Final = re.compile(r"</?[a-zA-Z][^<>]*>|\{\\[^{}]*\}")


def _srt(lines: Sequence[str]) -> tuple[list[Cue], int]:
    cues: list[Cue] = []
    times: tuple[float, float] | None = None
    body: list[str] = []
    lost = 0

    def close(next_begins: bool) -> None:
        if next_begins and body and body[-1].strip().isdecimal():
            body.pop()  # the number of the cue that follows
        if times:
            text = _SRT_TAG.sub("", "\n".join(body).strip("\n"))
            cues.append(Cue(*times, html.unescape(text)))
        body.clear()

    for line in lines:
        if match := _SRT_TIMES.match(line):
            close(next_begins=True)
            found = match.groups()
            start, end = _seconds(*found[:4]), _seconds(*found[4:])
            if start is None or end is None:
                times, lost = None, lost + 1
            else:
                times = start, end
        elif "-->" in line and re.match(r"[\s\d:.,-]*-->", line):
            close(next_begins=True)
            times, lost = None, lost + 1
        else:
            body.append(line)
    close(next_begins=False)
    return cues, lost
