"""Say of pictures what they show, from how far and which way, and which look-alike stands in front."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evidence.errors import WrongUsage
from evidence.steps.rooms import of_each, picture_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Literal

    from evidence.desk import Desk
    from evidence.record import Json
    from evidence.words import Distance


def describe(
    desk: Desk,
    frames: Sequence[int],
    *,
    shown: str | None = None,
    direction: str | None = None,
    distance: Distance | Literal[""] | None = None,
) -> None:
    """Say what pictures show, which way the camera looked, and from how far; None leaves it as it was.

    Parameters
    ----------
    shown, direction, distance
        In words, as they are to be printed; "" takes the words back.

    Raises
    ------
    UnknownPicture
        There is no such picture; nothing was changed.
    """
    said: dict[str, Json] = {}
    if shown is not None:
        said["shown"] = " ".join(shown.split()) or None
    if direction is not None:
        said["direction"] = " ".join(direction.split()) or None
    if distance is not None:
        said["distance"] = distance or None
    of_each(desk, frames, said)


def in_front(desk: Desk, frame: int) -> None:
    """Let a picture stand in front of its look-alikes.

    Raises
    ------
    UnknownPicture, WrongUsage
        There is no such picture, or it has no look-alikes.
    """
    state = desk.state()
    picture_of(state, frame)
    for alike in state.look_alikes:
        if frame in (alike.front, *alike.others):
            # The one chosen last stands in front; the others' choices need not be undone.
            desk.decide("front", frame, value=True, proposed=alike.front)
            return
    raise WrongUsage(f"Picture {frame} has no look-alikes to stand in front of.")


def apart(desk: Desk, frames: Sequence[int], *, away: bool = True) -> None:
    """Take pictures out of their sets of look-alikes, or put them back (``away=False``).

    Raises
    ------
    UnknownPicture
        There is no such picture; nothing was changed.
    """
    of_each(desk, frames, {"apart": away or None})
