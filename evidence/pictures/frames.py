"""Lift single frames from a film: the sharpest within a stretch of it, or the one at a time.

Hides the decoder, its turning of pictures and its seeking. A frame's time is what its container
says of it, never where a seek meant to land: the decoder is set back well before a stretch and
then read forward, and frames that come late by an uneven frame rate keep their own times.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, Final, cast

import cv2
import numpy as np

from evidence.errors import BadPicture, TooManyPixels
from evidence.pictures import films
from evidence.pictures.formats import HEAD_BYTES
from evidence.pictures.pixels import MOST_PIXELS_WHOLE, turn
from evidence.words import Digest, Rgb

if TYPE_CHECKING:
    from pathlib import Path

# What is wrong with a film is said once, by us; OpenCV reads this when it first opens one.
os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")

SAME_S: Final = 0.0005
"""Two times closer than this are one frame's: containers count in thousandths and finer."""
_SKIP_S: Final = 10.0
"""A gap longer than this is leapt over by a seek; shorter ones cost less to read through."""
_BACK_S: Final = 4.0
"""How long before a stretch the decoder is set at first; doubled until it lies before the stretch."""


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame of a film.

    Attributes
    ----------
    at_s
        Its own time, seconds, as the container says.
    rgb
        Upright, shape (height, width, 3), uint8, sRGB.
    sharpness
        Variance of the Laplacian at half size; compare only within one stretch of one film.
    """

    at_s: float
    rgb: Rgb
    sharpness: float

    @property
    def digest(self) -> Digest:
        """What :func:`digest_of` gives of its pixels."""
        return digest_of(self.rgb)


def digest_of(rgb: Rgb) -> Digest:
    """Digest pixels as a binary PPM (P6), a form with nothing in it but the pixels.

    Parameters
    ----------
    rgb
        Shape (height, width, 3), uint8.

    Returns
    -------
    SHA-256 of that form, such as ``pngtopnm FRAME.png | sha256sum`` gives.
    """
    height, width = rgb.shape[:2]
    head = f"P6\n{width} {height}\n255\n".encode()
    return Digest(hashlib.sha256(head + np.ascontiguousarray(rgb).tobytes()).hexdigest())


@cache
def decoder() -> str:
    """Name what decodes films here, with its version."""
    found = re.search(r"avcodec:\s+YES \(([\d.]+)\)", cv2.getBuildInformation())
    return f"OpenCV {cv2.__version__}" + (f", avcodec {found[1]}" if found else "")


def sharpest(path: Path, stretches: Sequence[tuple[float, float]]) -> Iterator[Frame | None]:
    """Give the sharpest frame of each stretch, in the order of the stretches.

    Parameters
    ----------
    path
        The film; only ever read.
    stretches
        First and last second of each, by their starts; they may overlap.

    Yields
    ------
    One frame a stretch as soon as it has been read through, so that few lie in memory at once;
    None where the film has no frame within it.

    Raises
    ------
    BadPicture
        It is no film that can be decoded.
    TooManyPixels
        Its frames are larger than any camera's.
    ValueError
        The stretches are not in order.

    Notes
    -----
    Variance of the Laplacian (Pech-Pacheco et al., "Diatom autofocusing in brightfield microscopy",
    2000, from memory) after averaging to half size, which takes most of the noise out. Within a few
    seconds of one film noise and light are alike, so that what it cannot tell elsewhere, noise from
    detail, does not mislead it here.
    """
    if any(a[0] > b[0] for a, b in pairwise(stretches)):
        raise ValueError("the stretches must be in order of their starts")
    with _Reel(path) as reel:
        best: dict[int, _Seen] = {}
        following, given, leapt = 0, 0, -1
        while given < len(stretches):
            if following == given != leapt and stretches[given][0] - reel.at_s > _SKIP_S:
                leapt = given  # once a stretch: where no seek helps, it is read up to
                reel.seek_before(stretches[given][0])
            more = reel.advance()
            at_s = reel.at_s if more else float("inf")
            while following < len(stretches) and stretches[following][0] <= at_s + SAME_S:
                following += 1
            wanted = [i for i in range(given, following) if at_s <= stretches[i][1] + SAME_S]
            if wanted and more:
                seen = reel.look()
                for i in wanted:
                    if i not in best or seen.sharpness > best[i].sharpness:
                        best[i] = seen
            while given < len(stretches) and stretches[given][1] + SAME_S < at_s:
                kept = best.pop(given, None)
                yield kept.frame(reel) if kept else None
                given += 1


def prove(path: Path) -> None:
    """Decode a film's first frame, so that one that shows nothing is told while it can be taken again.

    Raises
    ------
    BadPicture
        No frame of it can be decoded.
    TooManyPixels
        Its frames are larger than any camera's.
    """
    with _Reel(path) as reel:
        if not reel.advance():
            raise BadPicture(f"{path.name} cannot be decoded as a film.")
        reel.look()


def at(path: Path, at_s: float) -> Frame:
    """Lift the frame that is shown at a time: the last that begins by then.

    Raises
    ------
    BadPicture
        It is no film, or it has no frame by that time.
    TooManyPixels
        Its frames are larger than any camera's.
    """
    with _Reel(path) as reel:
        if at_s > _SKIP_S:
            reel.seek_before(at_s)
        kept = None
        while reel.advance() and reel.at_s <= at_s + SAME_S:
            kept = reel.look()
        if kept is None:
            raise BadPicture(f"{path.name} has no frame at {at_s:.3f} s.")
        return kept.frame(reel)


@dataclass(frozen=True, slots=True)
class _Seen:
    """A frame as stored, blue first, not yet turned: only those that are kept cost the turning."""

    at_s: float
    bgr: Rgb
    sharpness: float

    def frame(self, reel: _Reel) -> Frame:
        rgb = np.asarray(cv2.cvtColor(self.bgr, cv2.COLOR_BGR2RGB), np.uint8)
        return Frame(self.at_s, turn(rgb, reel.orientation), self.sharpness)


class _Reel:
    """A film being read forward; a context manager."""

    def __init__(self, path: Path) -> None:
        self._path = path
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
            boxed = films.is_film(head) and head[:4] != b"RIFF"
            self.orientation = films.read(file).orientation if boxed else 1
        self._by_itself = not boxed
        self._open()

    def _open(self) -> None:
        # One thread: with more, a damaged film gives other pixels (docs/methods/film.md).
        told = cv2.utils.logging.getLogLevel()
        cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
        try:
            self._capture = cv2.VideoCapture(str(self._path), cv2.CAP_FFMPEG, [cv2.CAP_PROP_N_THREADS, 1])
        finally:
            cv2.utils.logging.setLogLevel(told)
        if not self._capture.isOpened():
            raise BadPicture(f"{self._path.name} cannot be decoded as a film.")
        # Where we read the turn ourselves the decoder must not turn too; versions differ in both.
        self._capture.set(cv2.CAP_PROP_ORIENTATION_AUTO, float(self._by_itself))
        width = self._capture.get(cv2.CAP_PROP_FRAME_WIDTH)
        height = self._capture.get(cv2.CAP_PROP_FRAME_HEIGHT)
        if width * height > MOST_PIXELS_WHOLE:
            raise TooManyPixels(f"{self._path.name} claims frames of {width:.0f} x {height:.0f} pixels.")
        self.at_s = 0.0

    def __enter__(self) -> _Reel:
        return self

    def __exit__(self, *_: object) -> None:
        self._capture.release()

    def advance(self) -> bool:
        """Go to the next frame without looking at it; False at the end."""
        if not self._capture.grab():
            return False
        self.at_s = self._capture.get(cv2.CAP_PROP_POS_MSEC) / 1000
        return True

    def look(self) -> _Seen:
        """Decode the frame under way and measure it."""
        good, bgr = self._capture.retrieve()
        if not good:
            raise BadPicture(f"{self._path.name} cannot be decoded at {self.at_s:.3f} s.")
        bgr = cast("Rgb", bgr)  # eight bits a channel is all that OpenCV gives of a film unasked
        size = (max(1, bgr.shape[1] // 2), max(1, bgr.shape[0] // 2))
        half = cv2.cvtColor(cv2.resize(bgr, size, interpolation=cv2.INTER_AREA), cv2.COLOR_BGR2GRAY)
        edges = cv2.Laplacian(half, cv2.CV_16S)
        # Mean of squares less the mean's square: a third of the time of meanStdDev on such numbers.
        square, mean = cv2.norm(edges, cv2.NORM_L2SQR) / edges.size, cv2.sumElems(edges)[0] / edges.size
        return _Seen(self.at_s, bgr, square - mean * mean)

    def seek_before(self, start_s: float) -> None:
        """Leap ahead to somewhere before a time, and prove by a frame's own time that it is before.

        A seek may land late: measured up to 0.6 s early and, between sparse key frames, after the
        time asked for. Where no seek lands before, the film is read from its beginning.
        """
        here, back = self.at_s, _BACK_S
        while start_s - back > here:
            self._capture.set(cv2.CAP_PROP_POS_MSEC, (start_s - back) * 1000)
            if self.advance() and self.at_s < start_s:
                return
            back *= 2
        self._capture.release()
        self._open()
