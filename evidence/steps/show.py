"""Give a picture to be looked at: small for the strip, as large as a screen, or whole; in any light.

Each copy is made once and kept by its original's content, so that a second look costs a file's
reading. What is shown in one light is made by the very recipe that prints it.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Final

from evidence import light, pictures
from evidence.packing import to_json
from evidence.steps.light import AS_TAKEN, MOST_STOPS, by_hand
from evidence.words import Light

if TYPE_CHECKING:
    from pathlib import Path

    from evidence.job import Job
    from evidence.timeline import PictureState

SIZES: Final = {"small": 320, "screen": 1600, "whole": None}
"""Longest side in pixels; 1600 is what the study decodes to, so it comes fast (docs/review.md)."""

TAKEN: Final = "taken"
_QUALITY: Final = {"small": 80, "screen": 88, "whole": 92}


def lights(picture: PictureState) -> tuple[str, str]:
    """Name the light in force for a picture and the one that is proposed, as an address may hold them.

    Returns
    -------
    Such as ("stops-1.5", "p-3f2a09c81d44"): a name that changes whenever the copy would.
    """
    proposed = _proposed(picture)
    decided = picture.light_decided
    if decided == AS_TAKEN:
        return TAKEN, proposed
    if isinstance(decided, float):
        return f"stops-{decided:g}", proposed
    return proposed, proposed


def shown(job: Job, picture: PictureState, size: str, name: str) -> Path | None:
    """Give the copy of a picture in one size and one light, made if it is not there.

    Parameters
    ----------
    size
        One of :data:`SIZES`.
    name
        A name of :func:`lights`, :data:`TAKEN`, or "stops-" and a lift.

    Returns
    -------
    A JPEG's path; None when there is no such size or light.

    Raises
    ------
    BadPicture
        The original cannot be decoded.
    DiskFull, CannotWrite
        The copy cannot be kept.
    """
    stops = _stops(name)
    if size not in SIZES or (stops is None and name not in {TAKEN, _proposed(picture)}):
        return None
    original = job.original(picture.taken.original.place)

    def make() -> bytes:
        rgb = pictures.decode(original, SIZES[size])
        if stops is not None:
            rgb = light.replay(rgb, by_hand(original, stops))
        elif name != TAKEN and (recipe := picture.light_proposed) and not recipe.left_alone:
            rgb = light.replay(rgb, recipe)
        return pictures.upright_jpeg(rgb, _QUALITY[size])

    kept = f"show-{size}-{name.replace('.', '-')}"
    return pictures.kept_copy(job.copies, picture.taken.original.digest, kept, make)


def _proposed(picture: PictureState) -> str:
    recipe = picture.light_proposed
    if recipe is None or recipe.left_alone:
        return TAKEN
    return f"p-{_digest(recipe)}"


def _digest(recipe: Light) -> str:
    return hashlib.sha256(to_json(recipe).encode()).hexdigest()[:12]


def _stops(name: str) -> float | None:
    begin, _, number = name.partition("-")
    if begin != "stops":
        return None
    try:
        stops = float(number)
    except ValueError:
        return None
    return stops if 0 <= stops <= MOST_STOPS and f"stops-{stops:g}" == name else None
