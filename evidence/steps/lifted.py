"""Keep the copies of frames lifted from films, and make one again from its film when it has vanished.

Hides how a copy is held to the pixels that were recorded. Leaves which frames are lifted to
:mod:`evidence.steps.frames`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2

from evidence import files, pictures
from evidence.errors import BadPicture, LibraryMissing
from evidence.pictures import frames

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from evidence.desk import Desk
    from evidence.timeline import PictureState
    from evidence.words import Digest, Lifted


def keep(frame: frames.Frame, folder: Path) -> None:
    """Write a frame under its digest, unless its copy is there.

    Raises
    ------
    DiskFull, CannotWrite
        It could not be written.
    """
    target = folder / f"{frame.digest}.png"
    if not _shows(target, frame.digest):
        files.write_whole(target, _png(frame))


def restore(desk: Desk, wanted: Iterable[PictureState]) -> None:
    """Make the lifted frames among pictures again whose copy has vanished or shows other pixels.

    Raises
    ------
    BadPicture
        A film cannot be decoded, or gives other pixels now than were recorded.
    OSError
        A film cannot be read.
    DiskFull, CannotWrite
        The copy stands as it was.
    """
    for picture in wanted:
        path = desk.job.original(picture.taken.original.place)
        if picture.lifted is not None and not _shows(path, picture.lifted.pixels):
            _restore_one(desk, picture, picture.lifted, path)


def _shows(path: Path, pixels: Digest) -> bool:
    """Tell whether a frame's copy is there and holds these pixels."""
    try:
        return frames.digest_of(pictures.decode(path)) == pixels
    except (OSError, BadPicture, LibraryMissing):
        return False


def _restore_one(desk: Desk, picture: PictureState, origin: Lifted, path: Path) -> None:
    frame = frames.at(desk.job.original(origin.film.place), origin.at_s)
    if frame.digest != origin.pixels:
        raise BadPicture(
            f"Picture {picture.frame} (frame of {origin.film.name} at {origin.moment}) was decoded by "
            f"{origin.decoder}; {frames.decoder()} gives other pixels. Lift it anew with: evidence frames."
        )
    files.make_folders(path.parent)
    files.write_whole(path, _png(frame))


def _png(frame: frames.Frame) -> bytes:
    bgr = cv2.cvtColor(frame.rgb, cv2.COLOR_RGB2BGR)
    _, coded = cv2.imencode(".png", bgr, [cv2.IMWRITE_PNG_COMPRESSION, 3])
    return bytes(coded)
