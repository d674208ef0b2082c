"""Frames lifted from films, made here so that the truth about each is known."""

from __future__ import annotations

import hashlib
from itertools import accumulate
from pathlib import Path

import cv2
import numpy as np
import pytest

from evidence.errors import BadPicture
from evidence.pictures import films, frames
from evidence.pictures.pixels import turn
from evidence.words import Rgb
from tests.pictures.made_up import scene
from tests.pictures.made_up_films import patch_film, write_film

MATRICES = {
    1: (1, 0, 0, 1), 2: (-1, 0, 0, 1), 3: (-1, 0, 0, -1), 4: (1, 0, 0, -1),
    5: (0, 1, 1, 0), 6: (0, 1, -1, 0), 7: (0, -1, -1, 0), 8: (0, -1, 1, 0),
}  # fmt: skip


def numbered(count: int, sharp: frozenset[int] = frozenset()) -> list[Rgb]:
    """Frames whose brightness tells their number; detail only in those named."""
    made = []
    detail = (np.random.default_rng(5).random((64, 96, 1)) > 0.5) * 60
    for n in range(count):
        plain = np.full((64, 96, 3), 40 + 200 * n // count, np.int16)
        made.append(np.clip(plain + (detail if n in sharp else 0), 0, 255).astype(np.uint8))
    return made


def shown(frame: frames.Frame, count: int) -> int:
    """The number of a frame of :func:`numbered` without detail."""
    return round((float(frame.rgb.mean()) - 40) * count / 200)


@pytest.mark.parametrize("orientation", sorted(MATRICES))
def test_a_frame_stands_upright_whatever_the_tracks_matrix(tmp_path: Path, orientation: int) -> None:
    """ISO/IEC 14496-12, 6.2.2: the matrix takes stored points to where they are shown.

    The reference is worked out here point by point from that rule, not by our table of turns.
    """
    a, b, c, d = MATRICES[orientation]
    path = patch_film(write_film(tmp_path / "A.MP4", [scene()] * 5), matrix=(a, b, c, d))

    frame = frames.at(path, 0.2)

    stored = frames.at(write_film(tmp_path / "B.MP4", [scene()] * 5), 0.2).rgb
    height, width = stored.shape[:2]
    y, x = np.mgrid[0:height, 0:width]
    to_x, to_y = a * x + c * y, b * x + d * y
    expected = np.zeros((to_y.max() - to_y.min() + 1, to_x.max() - to_x.min() + 1, 3), np.uint8)
    expected[to_y - to_y.min(), to_x - to_x.min()] = stored
    with path.open("rb") as file:
        assert films.read(file).orientation == orientation
    assert frame.rgb.shape == expected.shape
    assert np.array_equal(frame.rgb, expected)
    assert np.array_equal(turn(stored, orientation), expected)


def test_frames_of_an_uneven_rate_keep_their_own_times(tmp_path: Path) -> None:
    """The times are the sums of the lengths written into ``stts`` (ISO/IEC 14496-12, 8.6.1.2)."""
    lengths = [40, 300, 33, 33, 500, 17, 120, 40, 1000, 25, 60, 700, 33, 250, 40]
    path = patch_film(write_film(tmp_path / "A.MP4", numbered(len(lengths))), lengths_ms=lengths)
    starts = [0, *accumulate(lengths)][: len(lengths)]

    lifted = [frames.at(path, start / 1000) for start in starts]

    assert [round(frame.at_s * 1000) for frame in lifted] == starts
    assert [shown(frame, len(lengths)) for frame in lifted] == list(range(len(lengths)))
    between = frames.at(path, (starts[8] + 900) / 1000)
    assert round(between.at_s * 1000) == starts[8]


def test_a_time_far_into_a_film_is_met_exactly_after_a_leap(tmp_path: Path) -> None:
    """60 s with 240 frames of four lengths; truth: the sums written into ``stts``."""
    lengths = [100, 400, 250, 250] * 60
    path = patch_film(write_film(tmp_path / "A.MP4", numbered(60) * 4), lengths_ms=lengths)
    starts = [0, *accumulate(lengths)][: len(lengths)]

    for n in (3, 47, 121, 163, 239):
        assert round(frames.at(path, starts[n] / 1000).at_s * 1000) == starts[n]
    seconds = [start / 1000 for start in starts]
    stretches = [(seconds[n], seconds[n]) for n in (5, 100, 101, 236)]
    assert [round(f.at_s, 3) for f in frames.sharpest(path, stretches) if f] == [a for a, _ in stretches]


def test_the_sharpest_frame_of_each_stretch_is_given_in_order(tmp_path: Path) -> None:
    path = write_film(tmp_path / "A.MP4", numbered(60, frozenset({7, 31, 44})), fps=10)

    found = list(frames.sharpest(path, [(0.0, 2.0), (2.5, 4.0), (2.8, 4.2), (4.0, 5.0), (90.0, 95.0)]))

    assert [f and round(f.at_s, 1) for f in found] == [0.7, 3.1, 3.1, 4.4, None]


def test_sharpness_is_the_variance_of_the_laplacian_at_half_size(tmp_path: Path) -> None:
    """Reference: the same worked out by NumPy from its definition."""
    path = write_film(tmp_path / "A.MP4", numbered(3, frozenset({1})))

    frame = frames.at(path, 0.1)

    bgr = frame.rgb[..., ::-1].astype(float)
    half = bgr.reshape(32, 2, 48, 2, 3).mean((1, 3)).round()
    grey = (half @ [0.114, 0.587, 0.299]).round()
    grey = np.pad(grey, 1, mode="reflect")
    laplacian = grey[:-2, 1:-1] + grey[2:, 1:-1] + grey[1:-1, :-2] + grey[1:-1, 2:] - 4 * grey[1:-1, 1:-1]
    assert frame.sharpness == pytest.approx(laplacian.var(), rel=0.02)


def test_a_frames_digest_is_that_of_its_binary_ppm(tmp_path: Path) -> None:
    """Netpbm's P6: magic, width, height, most, then the samples; written here by OpenCV."""
    frame = frames.at(write_film(tmp_path / "A.MP4", [scene()] * 3), 0.1)

    _, ppm = cv2.imencode(".ppm", frame.rgb[..., ::-1])

    assert frame.digest == hashlib.sha256(ppm.tobytes()).hexdigest()


def test_the_same_frame_lifted_again_has_the_same_pixels(tmp_path: Path) -> None:
    path = write_film(tmp_path / "A.MP4", numbered(40, frozenset({9})))
    (first,) = frames.sharpest(path, [(0, 4)])
    assert first

    assert frames.at(path, first.at_s).digest == first.digest


@pytest.mark.parametrize("data", [b"", b"\0\0\0\x18ftypmp42" + bytes(80), b"GIF89a" + bytes(40)])
def test_what_is_no_film_is_said_to_be_none(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "A.MP4"
    path.write_bytes(data)

    with pytest.raises(BadPicture, match=r"A\.MP4"):
        frames.at(path, 0)


def test_a_film_cut_off_in_the_middle_gives_what_it_has(tmp_path: Path) -> None:
    path = write_film(tmp_path / "A.AVI", numbered(60))
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])

    try:
        found = [f for f in frames.sharpest(path, [(0, 1), (5.5, 6)]) if f]
    except BadPicture:
        found = []

    assert all(f.at_s < 5 for f in found)
