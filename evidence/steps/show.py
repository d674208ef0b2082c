"""Give a picture to be looked at: small for the strip, as large as a screen, or whole; in any light.

Each copy is made once and kept by its original's content, so that a second look costs a file's
reading. What is shown in one light is made by the very recipe that prints it.
"""

from __future__ import annotations

import hashlib
from functools import partial
from typing import TYPE_CHECKING, Final

from evidence import light, pictures, study
from evidence.errors import EvidenceError
from evidence.packing import to_json
from evidence.steps.light import AS_TAKEN, MOST_STOPS, by_hand
from evidence.words import Light

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from evidence.desk import Desk
    from evidence.job import Job
    from evidence.timeline import PictureState

SMALL: Final = "small"
SIZES: Final = {SMALL: pictures.SMALL_PX, "screen": 1600, "whole": None}
"""Longest side in pixels; 1600 is what the study decodes to, so it comes fast (docs/review.md)."""

TAKEN: Final = "taken"
_QUALITY: Final = {"screen": 88, "whole": 92}


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


def shown(job: Job, picture: PictureState, size: str, name: str, spare: Path | None = None) -> Path | None:
    """Give the copy of a picture in one size and one light, made if it is not there.

    Parameters
    ----------
    size
        One of :data:`SIZES`.
    name
        A name of :func:`lights`, :data:`TAKEN`, or "stops-" and a lift.
    spare
        A folder to keep the copy in where the job cannot be written.

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
        if size == SMALL and name == TAKEN:
            return pictures.small_jpeg(pictures.study_sizes(original.read_bytes())[1])
        rgb = pictures.decode(original, SIZES[size])
        if stops is not None:
            rgb = light.replay(rgb, by_hand(original, stops))
        elif name != TAKEN and (recipe := picture.light_proposed) and not recipe.left_alone:
            rgb = light.replay(rgb, _of_today(original, recipe))
        return pictures.small_jpeg(rgb) if size == SMALL else pictures.upright_jpeg(rgb, _QUALITY[size])

    return pictures.kept_copy(job.copies, picture.taken.original.digest, _kept(size, name), make, spare=spare)


def warm(desk: Desk, stopping: Callable[[], bool]) -> None:
    """Lay out the small copies that the line of the day shows, in its order.

    Those of pictures shown as taken were made when they were studied; the others are made now.

    Parameters
    ----------
    stopping
        Asked between two of them whether to leave the rest.
    """
    made = study.small_copies(desk.store)
    for picture in desk.state().pictures:
        if stopping():
            return
        if picture.fault:
            continue
        digest, name = picture.taken.original.digest, lights(picture)[0]
        try:
            if name == TAKEN and (small := made.get(digest)):
                pictures.kept_copy(desk.job.copies, digest, _kept(SMALL, name), partial(bytes, small))
            else:
                shown(desk.job, picture, SMALL, name)
        except EvidenceError:
            continue  # said when the picture itself is asked for


def _of_today(original: Path, recipe: Light) -> Light:
    """Measure anew what an earlier method proposed: a job that is only looked at cannot be read anew."""
    if recipe.version == light.VERSION:
        return recipe
    return light.propose(pictures.study_sizes(original.read_bytes())[0])


def _kept(size: str, light_name: str) -> str:
    """Name a copy by what makes it, for a later method makes another; a proposal's name tells its own."""
    made_by = []
    if _stops(light_name) is not None:
        made_by.append(f"-l{light.VERSION}")
    if size == SMALL:
        made_by.append(f"-s{pictures.SMALL_VERSION}-{pictures.SIZES_VERSION}")
    return f"show-{size}-{light_name.replace('.', '-')}{''.join(made_by)}"


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
