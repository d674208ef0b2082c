"""Make the copies that an edition prints: upright, in the light in force, marks drawn; each once.

Hides where they are kept, and that a kept one is printed only while it holds the bytes that were
written. Leaves to others that the original is what was taken in.
"""

from __future__ import annotations

import hashlib
from concurrent.futures import as_completed
from typing import TYPE_CHECKING

from evidence import files, light, pictures, run
from evidence.packing import to_json
from evidence.report import marks

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from evidence.job import Job
    from evidence.progress import Progress
    from evidence.report.contents import Photo, PrintSize

PRINT_VERSION = 1
"""Raise it when the same photo and size give another printed copy."""
WORTH_A_POOL = 24
"""Fewer copies are made sooner than a pool of processes has started; our own, measured."""


class Printer:
    """Gives printed copies; asked again, the one that was kept, as long as it is sound.

    Parameters
    ----------
    job
        Whose originals are printed; it keeps the copies.
    progress
        Told of each copy that is made ahead.
    """

    def __init__(self, job: Job, progress: Progress) -> None:
        self._original = job.original
        self._folder = job.copies / "printed"
        self._progress = progress
        # A copy's name is what it was made from and the digest of its bytes: one file tells both.
        self._kept = {path.stem.partition("-")[0]: path for path in self._folder.glob("*-*.jpg")}

    def __call__(self, photo: Photo, wanted: PrintSize, /) -> bytes:
        """Give the JPEG of a photo.

        Raises
        ------
        BadPicture, DiskFull, CannotWrite
            As for :func:`print_copy`.
        """
        recipe = _recipe(photo, wanted)
        data = self._sound(recipe)
        if data is None:
            self._kept[recipe] = print_copy(self._file(photo), photo, wanted, self._folder)
            data = self._kept[recipe].read_bytes()
        return data

    def prepare(self, photos: Sequence[Photo], wanted: PrintSize) -> None:
        """Make the copies that are not there yet, on every core; errors as for :func:`print_copy`."""
        missing = [photo for photo in photos if self._sound(_recipe(photo, wanted)) is None]
        self._progress.begin("making printed copies", len(missing))
        if len(missing) >= WORTH_A_POOL:
            with run.workers() as pool:
                made = {
                    pool.submit(print_copy, self._file(p), p, wanted, self._folder): _recipe(p, wanted)
                    for p in missing
                }
                for done in as_completed(made):
                    self._kept[made[done]] = done.result()
                    self._progress.step()
        else:
            for photo in missing:
                self(photo, wanted)
                self._progress.step()
        self._progress.end()

    def _file(self, photo: Photo) -> Path:
        return self._original(photo.film.place if photo.film else photo.place)

    def _sound(self, recipe: str) -> bytes | None:
        """Read a kept copy; None where there is none, or it is not as it was written."""
        path = self._kept.get(recipe)
        if path is None:
            return None
        try:
            data = path.read_bytes()
        except OSError:
            data = b""
        if path.stem == f"{recipe}-{hashlib.sha256(data).hexdigest()}":
            return data
        files.discard(self._kept.pop(recipe))
        return None


def print_copy(original: Path, photo: Photo, wanted: PrintSize, folder: Path) -> Path:
    """Make one printed copy and keep it; a plain function, for a worker.

    Returns
    -------
    Its path in ``folder``, named by what it was made from and the SHA-256 of its bytes.

    Raises
    ------
    BadPicture
        The original cannot be decoded.
    DiskFull, CannotWrite
        Nothing is left behind.
    """
    rgb = pictures.decode(original, wanted.longest_px)
    lit = rgb if photo.light.left_alone else light.replay(rgb, photo.light)
    jpeg = pictures.upright_jpeg(marks.draw(lit, photo.marks), wanted.quality)
    target = folder / f"{_recipe(photo, wanted)}-{hashlib.sha256(jpeg).hexdigest()}.jpg"
    files.make_folders(folder)
    files.write_whole(target, jpeg)
    return target


def _recipe(photo: Photo, wanted: PrintSize) -> str:
    """Stand for all that a copy is made from; of a raw file also for what of it is shown, and by whom."""
    source = photo.film.pixels if photo.film else photo.digest
    made_from = to_json((source, photo.of_raw, photo.light, photo.marks, wanted, PRINT_VERSION))
    return hashlib.sha256(made_from.encode()).hexdigest()
