"""Propose which pictures show a finding best, each with its reason in words.

Hides the ranking: look-alikes compete only with each other, a flaw outweighs a distance, and one
picture shows what was seen while another shows where. Measuring the pictures is left to ``quality``
and ``light``; deciding is left to the inspector.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby

from evidence.words import Distance, FrameNumber, Light, Quality

SUPPORT = 2
"""At most so many pictures stand beside the printed one."""

SHARPER = 1.3
"""A picture whose sharpness is so many times another's is called sharper (docs/methods/choice.md)."""

NOISIER = 1.4
"""One with so many times another's noise is called noisier (docs/methods/choice.md)."""

EQUAL = 0.12
"""Scores no further apart are equally good: so are 19 of 20 pairs taken alike (docs/methods/choice.md)."""

CLOSE = 0.3
"""Scores no further apart are equally good if the lower one is the sharper: the measures disagree."""

DARKER_STOPS = 0.7
"""A picture that needs so much more light than another is called darker; our own."""

BURNT_MORE = 0.02
"""One with so much larger a share of burnt-out pixels, by lamp or flash, is called burnt out in parts."""

BURNT_SHARE = 0.25
"""Above this share of burnt-out pixels that is named as a flaw; our own."""

_WHAT = (Distance.CLOSE_UP, Distance.WITH_SCALE, Distance.DATA_PLATE)
_WHERE = (Distance.MID_RANGE, Distance.OVERALL)
_PRINT_ORDER = (*_WHAT, Distance.MID_RANGE, None, Distance.OVERALL, Distance.OBSTRUCTION)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A picture that might show a finding.

    Attributes
    ----------
    frame
        Its frame number.
    quality
        As measured.
    light
        As proposed or decided; None when not measured.
    distance
        From how far it shows the finding; None when nobody said.
    alike
        Any number that look-alikes share; None for a picture without look-alikes.
    chosen
        The inspector let it stand in front of its look-alikes.
    """

    frame: FrameNumber
    quality: Quality
    light: Light | None = None
    distance: Distance | None = None
    alike: int | None = None
    chosen: bool = False


@dataclass(frozen=True, slots=True)
class Choice:
    """A picture that is proposed.

    Attributes
    ----------
    frame
        Its frame number.
    distance
        As the candidate had it.
    reason
        Why this one, in plain words.
    warning
        What is wrong with it all the same, such as "no sharp detail"; "" when nothing is.
    equals
        Its look-alikes that are as good: the program cannot tell, or its measures disagree.
    """

    frame: FrameNumber
    distance: Distance | None
    reason: str
    warning: str = ""
    equals: tuple[FrameNumber, ...] = ()


@dataclass(frozen=True, slots=True)
class Proposal:
    """The pictures proposed for a finding.

    Attributes
    ----------
    printed
        The one to print first; None when there was no candidate.
    support
        Up to two that stand beside it, in order.
    remark
        What the set as a whole lacks, such as a picture that shows where; "" when nothing.
    """

    printed: Choice | None
    support: tuple[Choice, ...] = ()
    remark: str = ""

    @property
    def picks(self) -> tuple[Choice, ...]:
        """All of them in the order of printing."""
        return (*((self.printed,) if self.printed else ()), *self.support)


def propose(pictures: Sequence[Candidate], nearby: Sequence[Candidate] = ()) -> Proposal:
    """Propose the picture to print for a finding and up to two in support.

    Parameters
    ----------
    pictures
        Everything attached to the finding or taken near its sentence; any order.
    nearby
        Other pictures of the same room. None is proposed; when no picture shows where the finding is, the
        remark names the best of them that may.

    Returns
    -------
    No frame twice, and no two look-alikes. A blurred or hopeless picture is proposed only with a
    warning that says so, and a hopeless one only when there is nothing else.

    Notes
    -----
    One picture that shows what and one that shows where: the distances of evidence photography
    (common practice). The order of the rules is our own.
    """
    best = [_Best(_stands_in_front(alike), len(alike), _why(alike)) for alike in _by_view(pictures)]
    if not best:
        return Proposal(None, (), "no picture is attached")
    printed = min(best, key=_print_key)
    rest = [one for one in best if one is not printed and not _hopeless(one.picture)]
    support: list[_Best] = []
    roles = [_WHERE, _WHAT] if printed.picture.distance not in _WHERE else [_WHAT, _WHERE]
    for role in roles:
        # A flawed picture is better than none of its kind; as a second one it would add nothing.
        filled = any(one.picture.distance in role for one in (printed, *support))
        fitting = [
            one
            for one in rest
            if one.picture.distance in role and one not in support and not (filled and _flaws(one.picture))
        ]
        if fitting and len(support) < SUPPORT:
            support.append(min(fitting, key=_print_key))
    for one in sorted(rest, key=_print_key):
        if len(support) < SUPPORT and one not in support and not _flaws(one.picture):
            support.append(one)
    chosen = [printed, *support]
    return Proposal(
        _choice(printed, best), tuple(_choice(one, best) for one in support), _remark(chosen, nearby)
    )


def front(pictures: Sequence[Candidate]) -> Choice:
    """Say which of a set of look-alikes stands in front of the others, and why.

    Raises
    ------
    ValueError
        There is no picture.
    """
    if not pictures:
        raise ValueError("a set of look-alikes has at least one picture")
    chosen = _stands_in_front(pictures)
    equals = tuple(one.frame for one in _equals(pictures))
    return Choice(chosen.frame, chosen.distance, _why(pictures), " and ".join(_flaws(chosen)), equals)


@dataclass(frozen=True, slots=True)
class _Best:
    """The one in front of its look-alikes, how many it stands for, and why it does."""

    picture: Candidate
    count: int
    why: str


def _by_view(pictures: Sequence[Candidate]) -> list[list[Candidate]]:
    """Put look-alikes together; a picture without any is a view of its own."""

    def view(picture: Candidate) -> tuple[bool, int]:
        return (True, picture.frame) if picture.alike is None else (False, picture.alike)

    return [list(alike) for _, alike in groupby(sorted(pictures, key=view), key=view)]


def _stands_in_front(alike: Sequence[Candidate]) -> Candidate:
    """Take the inspector's, else the best score of those neither hopeless nor blurred, if there are any.

    One is not called blurred for few pixels; it may show no more than a whole picture that is.
    """
    sharpest = max((one.quality.sharpness for one in alike if one.quality.sharp), default=0.0)
    return min(
        alike,
        key=lambda one: (
            not one.chosen,
            _hopeless(one),
            not one.quality.sharp and one.quality.sharpness < sharpest,
            -one.quality.score,
            one.frame,
        ),
    )


def _equals(alike: Sequence[Candidate]) -> list[Candidate]:
    """Give those that may be as good as the one in front, which an eye should decide and has not yet."""
    best = _stands_in_front(alike)
    if best.chosen:
        return []

    def equal(one: Candidate) -> bool:
        if _hopeless(one) != _hopeless(best) or one.quality.sharp != best.quality.sharp:
            return False
        behind = best.quality.score - one.quality.score
        return behind <= (CLOSE if _sharper(one, best) else EQUAL)

    return [one for one in alike if one is not best and equal(one)]


def _print_key(one: _Best) -> tuple[bool, int, int, float, int]:
    """Order: usable, without flaw, by distance, by score, by frame."""
    picture = one.picture
    return (
        _hopeless(picture),
        len(_flaws(picture)),
        _PRINT_ORDER.index(picture.distance),
        -picture.quality.score,
        picture.frame,
    )


def _hopeless(picture: Candidate) -> bool:
    return picture.light is not None and picture.light.hopeless


def _too_bright(picture: Candidate) -> bool:
    return picture.light is not None and picture.light.too_bright


def _brighter(one: Candidate, best: Candidate) -> bool:
    return _too_bright(one) and not _too_bright(best)


def _flaws(picture: Candidate) -> list[str]:
    """Name what makes a picture poor evidence, worst first."""
    quality = picture.quality
    named = (
        (_hopeless(picture), "too dark to recover"),
        (quality.blurred, "no sharp detail"),
        (quality.bare, "too plain to tell whether it is sharp"),
        (_too_bright(picture) and quality.bright_share <= BURNT_SHARE, "too bright"),
        (quality.bright_share > BURNT_SHARE, f"burnt out over {quality.bright_share:.0%}"),
    )
    return [words for applies, words in named if applies]


def _stops(picture: Candidate) -> float:
    return 0.0 if picture.light is None else picture.light.stops


def _sharper(one: Candidate, other: Candidate) -> bool:
    """Whether one is clearly sharper; a bare one shows nothing by which it could be."""
    return not one.quality.bare and one.quality.sharpness > SHARPER * other.quality.sharpness


def _noisier(one: Candidate, best: Candidate) -> bool:
    return one.quality.noise > NOISIER * best.quality.noise


def _burnt(one: Candidate, best: Candidate) -> bool:
    return one.quality.bright_share > best.quality.bright_share + BURNT_MORE


_WORSE: tuple[tuple[str, Callable[[Candidate, Candidate], bool]], ...] = (
    ("too dark to recover", lambda one, best: _hopeless(one) and not _hopeless(best)),
    ("blurred", lambda one, best: one.quality.blurred and best.quality.sharp),
    (
        "less sharp",
        lambda one, best: not one.quality.blurred and _sharper(best, one),
    ),
    ("darker", lambda one, best: not _hopeless(one) and _stops(one) >= _stops(best) + DARKER_STOPS),
    ("noisier", _noisier),
    ("burnt out in parts", _burnt),
    ("too bright", lambda one, best: _brighter(one, best) and not _burnt(one, best)),
)
"""Each way of being worse, as it is said of the others."""


def _why(alike: Sequence[Candidate]) -> str:
    """Say why the one in front stands there: its lead, then what is wrong with the others."""
    best = _stands_in_front(alike)
    others = [one for one in alike if one is not best]
    if not others:
        return "the only picture of this view"
    if best.chosen:
        return "chosen by the inspector"
    equals = _equals(alike)
    if equals:
        return _why_equal([best, *equals], [one for one in others if one not in equals])
    lead = _lead(best, others)
    # "Sharpest; the others are less sharp" says one thing twice.
    told = {"sharpest": "less sharp", "best lit": "darker", "least noisy": "noisier"}.get(
        lead.split(" of ")[0]
    )
    found = _faults_of(others, best, besides=told)
    return f"{lead}; {found}" if found else lead


def _why_equal(equals: Sequence[Candidate], others: Sequence[Candidate]) -> str:
    """Say which are equally good, how they differ if they do, and what is wrong with the rest."""
    frames = _listed([str(one.frame) for one in sorted(equals, key=lambda one: one.frame)], "and")
    both = "both" if len(equals) == 2 else "all"
    said = f"{frames} are equally good: look at {both}"
    best = equals[0]
    sharper = [str(one.frame) for one in equals if _sharper(one, best)]
    if sharper:
        said += f" ({_listed(sharper, 'and')} sharper, {best.frame} better in light or noise)"
    found = _faults_of(others, best)
    return f"{said}; {found}" if found else said


def _faults_of(others: Sequence[Candidate], best: Candidate, besides: str | None = None) -> str:
    """Say what is wrong with others against the best: "the others are blurred or darker"; "" for nothing."""
    faults = [[words for words, worse in _WORSE if words != besides and worse(one, best)] for one in others]
    said = [words for words, _ in _WORSE if any(words in fault for fault in faults)]
    if not said:
        return ""
    if all(faults):
        subject = "the other is" if len(others) == 1 else "the others are"
    else:
        count = sum(1 for fault in faults if fault)
        subject = f"{count} of the others {'is' if count == 1 else 'are'}"
    return f"{subject} {_listed(said, 'or')}"


def _lead(best: Candidate, others: Sequence[Candidate]) -> str:
    """Name the first respect in which the best one clearly leads all others."""
    count = len(others) + 1
    if all(_sharper(best, one) for one in others):
        return f"sharpest of {count}"
    if all(_stops(one) >= _stops(best) + DARKER_STOPS for one in others):
        return f"best lit of {count}"
    if all(_burnt(one, best) or _brighter(one, best) for one in others):
        return f"best exposed of {count}"
    if all(_noisier(one, best) for one in others):
        return f"least noisy of {count}"
    return f"best of {count} on the whole"


def _listed(words: Sequence[str], last: str) -> str:
    """Join words as a person does: "a", "a or b", "a, b or c"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def _choice(one: _Best, all_best: Sequence[_Best]) -> Choice:
    """Make the choice with its reason: what it shows first, then why it and not another."""
    picture = one.picture
    parts = []
    if picture.distance in _WHAT:
        parts.append("shows what was seen")
    elif picture.distance in _WHERE:
        parts.append("shows where it is")
    rivals = [other for other in all_best if other is not one and other.picture.distance is picture.distance]
    if one.count > 1:
        parts.append(one.why)
    elif not rivals:
        parts.append(f"the only {picture.distance or 'picture'}")
    elif picture.distance and all(picture.quality.score > other.picture.quality.score for other in rivals):
        parts.append(f"best taken of {len(rivals) + 1} {picture.distance} views")
    warning = " and ".join(_flaws(picture))
    if not parts:
        parts.append("best of those attached" if rivals else "the only picture")
    return Choice(picture.frame, picture.distance, "; ".join(parts), warning)


def _remark(chosen: Sequence[_Best], nearby: Sequence[Candidate]) -> str:
    """Say what the pictures together do not show."""
    distances = {one.picture.distance for one in chosen}
    if None in distances:
        return ""
    if not distances & set(_WHERE):
        missing = "no picture shows where it is: an overall or mid-range view is missing"
        fitting = [_Best(one, 1, "") for one in nearby if one.distance in _WHERE and not _flaws(one)]
        if fitting:
            missing += f"; picture {min(fitting, key=_print_key).picture.frame} of the same room may do"
        return missing
    if not distances & set(_WHAT):
        return "no picture shows it from close up"
    return ""
