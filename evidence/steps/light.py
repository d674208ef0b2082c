"""Set the light of pictures by hand, and say which light is in force."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evidence import light, pictures
from evidence.errors import WrongUsage
from evidence.record import Entry
from evidence.steps.rooms import picture_of, showable
from evidence.words import Light

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from evidence.desk import Desk
    from evidence.timeline import PictureState

AS_TAKEN = "as taken"
MOST_STOPS = 5.0
"""Gain of 32, beyond which little but noise is lifted (docs/methods/light.md)."""


def set_light(desk: Desk, frames: Sequence[int], to: str | float | None) -> None:
    """Decide how pictures are brightened.

    Parameters
    ----------
    to
        :data:`AS_TAKEN`, a lift in stops, or None for what the program proposes.

    Raises
    ------
    UnknownPicture
        There is no such picture; nothing was changed.
    WrongUsage
        A picture cannot be shown at all, or the lift is not between 0 and :data:`MOST_STOPS`.
    """
    if isinstance(to, float) and not 0 <= to <= MOST_STOPS:
        raise WrongUsage(f"A lift must lie between 0 and {MOST_STOPS} stops, not {to:g}.")
    state = desk.state()
    named = [picture_of(state, f) for f in frames] if to is None else showable(state, frames)
    entries = [Entry("light", str(p.frame), to, _proposed(p)) for p in named]
    desk.decide_all(entries)


def in_force(original: Path, picture: PictureState) -> Light:
    """Say how a picture is brightened: by the decision where there is one, else by the proposal.

    Parameters
    ----------
    original
        Its file; read only when a lift in stops must be measured on it.

    Raises
    ------
    BadPicture
        It must be decoded and cannot be.
    """
    decided, proposed = picture.light_decided, picture.light_proposed
    if isinstance(decided, float):
        return by_hand(original, decided)
    if decided is None and proposed is not None:
        return proposed
    if proposed is None:
        return Light(light.VERSION)
    return Light(light.VERSION, hopeless=proposed.hopeless, too_bright=proposed.too_bright)


def by_hand(original: Path, stops: float) -> Light:
    """Measure what a lift in stops does to a picture, at the size that is judged.

    Raises
    ------
    BadPicture
        It cannot be decoded.
    """
    return light.by_stops(pictures.decode(original, pictures.STUDY_PX), stops)[1]


def _proposed(picture: PictureState) -> str | float | None:
    proposed = picture.light_proposed
    if proposed is None:
        return None
    return AS_TAKEN if proposed.left_alone else round(proposed.stops, 2)
