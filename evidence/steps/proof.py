"""The proof before issue: every printed picture looked at in full size, one by one, and ticked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from evidence.steps.issue import printed
from evidence.steps.rooms import of_each

if TYPE_CHECKING:
    from collections.abc import Sequence

    from evidence.desk import Desk
    from evidence.words import FrameNumber


@dataclass(frozen=True, slots=True)
class Proof:
    """How far the proof has come.

    Attributes
    ----------
    printed
        Frames that the next edition prints, in order of time.
    to_look_at
        Those of them that nobody has looked at in full size yet.
    """

    printed: tuple[FrameNumber, ...]
    to_look_at: tuple[FrameNumber, ...]


def proof(desk: Desk) -> Proof:
    """Say which printed pictures are still to be looked at."""
    pictures = printed(desk.state())
    return Proof(
        tuple(picture.frame for picture in pictures),
        tuple(picture.frame for picture in pictures if not picture.looked),
    )


def looked(desk: Desk, frames: Sequence[int], *, done: bool = True) -> None:
    """Tick pictures as looked at in full size, or take the ticks back (``done=False``).

    Raises
    ------
    UnknownPicture
        There is no such picture; nothing was changed.
    """
    of_each(desk, frames, {"looked": done or None})
