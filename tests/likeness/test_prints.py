"""Descriptions of pictures: the hash is the reference library's, and packing loses nothing."""

from __future__ import annotations

from pathlib import Path

import cv2
import imagehash
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from evidence import likeness
from evidence.likeness import Verdict, prints
from evidence.words import Rgb

STORED = {
    "astronaut.png": "c2924c5532bddfc8",
    "chelsea.png": "b15fe6465121175e",
    "coffee.png": "bb8320376c0f3637",
}


def room(seed: int, moved: int = 0) -> Rgb:
    """A drawn room: blocks and lines over a slope, seen ``moved`` pixels further to the right."""
    chance = np.random.default_rng(seed)
    wide = np.full((600, 900, 3), chance.integers(60, 190, 3), np.float32)
    for _ in range(70):
        x, y = chance.integers(0, 860), chance.integers(0, 560)
        w, h = chance.integers(12, 140), chance.integers(12, 120)
        wide[y : y + h, x : x + w] = chance.integers(20, 235, 3)
    wide += chance.normal(0, 4, wide.shape)
    return np.ascontiguousarray(wide[:, 40 + moved : 840 + moved].clip(0, 255).astype(np.uint8))


def test_the_hash_is_the_reference_librarys() -> None:
    """ImageHash's phash of the same pictures."""
    for seed in range(6):
        reference = imagehash.phash(Image.fromarray(room(seed)))

        assert f"{likeness.describe(room(seed)).phash:016x}" == str(reference)


def test_the_hash_of_a_stored_picture_never_changes(open_data: Path) -> None:
    """Values that ImageHash 4.3.2 gave for scikit-image's samples on 25 November 2026."""
    for name, value in STORED.items():
        rgb = np.asarray(Image.open(open_data / "good" / name).convert("RGB"))

        assert f"{likeness.describe(rgb).phash:016x}" == value


def test_a_description_comes_back_as_it_was() -> None:
    made = likeness.describe(room(1))

    again = likeness.unpack(likeness.pack(made))

    assert likeness.compare(made, again).verdict is Verdict.SAME
    assert likeness.pack(again) == likeness.pack(made)


def test_where_one_colour_was_burnt_out_is_kept() -> None:
    """A red door lit so brightly that only its red is at the end of 8-bit codes (IEC 61966-2-1)."""
    rgb = np.full((1200, 1600, 3), 120, np.uint8)
    rgb[300:600, 400:1000] = (255, 90, 70)

    kept = likeness.unpack(likeness.pack(likeness.describe(rgb)))
    view = prints.look(kept)
    burnt = prints.burnt_out(kept, view.shape)

    assert view.max() < prints.BURNT
    assert burnt.shape == view.shape == (768, 1024)
    assert burnt[196:380, 260:636].all()
    assert burnt.sum() == pytest.approx(192 * 384, rel=0.02)


@pytest.mark.parametrize(
    ("size", "view"),
    [
        ((1500, 2000), (750, 1000)),  # a 12-megapixel picture as it is studied: every other pixel line
        ((1511, 2016), (755, 1008)),
        ((2000, 3000), (666, 1000)),
        ((1200, 1600), (768, 1024)),
        ((2304, 1728), (1024, 768)),
        ((700, 900), (700, 900)),
        ((16, 2000), (8, 1000)),
    ],
)
def test_a_view_is_a_whole_number_part_where_that_is_nearly_as_long_as_wanted(
    size: tuple[int, int], view: tuple[int, int]
) -> None:
    rgb = np.full((*size, 3), 90, np.uint8)
    rgb[: size[0] // 2] = (255, 40, 40)

    made = likeness.describe(rgb)

    assert prints.look(made).shape == prints.view_size(made) == view
    share = prints.burnt_out(made, view).mean()
    assert share == pytest.approx((size[0] // 2) / size[0], abs=0.02)


@given(long=st.integers(16, 3300), short=st.integers(16, 3300))
@settings(max_examples=25, deadline=None)
def test_whatever_its_size_a_picture_is_described_and_its_maps_fit_its_view(long: int, short: int) -> None:
    made = likeness.describe(np.zeros((min(short, long), long, 3), np.uint8))

    view = prints.look(made)

    assert view.shape == prints.view_size(made)
    assert max(view.shape) <= prints.VIEW_LONG
    assert prints.burnt_out(made, view.shape).shape == view.shape


def test_a_retake_is_the_same_view_and_another_room_is_not() -> None:
    first, retake, other = (likeness.describe(rgb) for rgb in (room(1), room(1, moved=9), room(2)))

    assert likeness.compare(first, retake).verdict is Verdict.SAME
    assert likeness.compare(first, other).verdict is Verdict.OTHER


def test_a_view_in_which_one_thing_changed_is_never_folded() -> None:
    changed = room(1)
    cv2.rectangle(changed, (380, 280), (470, 360), (250, 250, 250), -1)
    cv2.putText(changed, "70", (390, 340), cv2.FONT_HERSHEY_SIMPLEX, 1.5, (10, 10, 10), 4)

    pair = likeness.compare(likeness.describe(room(1)), likeness.describe(changed))

    assert pair.verdict is not Verdict.SAME


@pytest.mark.parametrize(("darker", "verdict"), [(0.07, Verdict.CHANGED), (0.0, Verdict.SAME)])
def test_a_run_of_water_that_takes_7_percent_of_the_light_is_seen(darker: float, verdict: Verdict) -> None:
    """Drawn here: a streak 9 pixels wide, as faint as a drip on paint; without it the retake is the same."""
    wet = np.zeros((600, 800), np.float32)
    for k in range(120):
        cv2.circle(wet, (int(300 + 6 * np.sin(k / 20)), 180 + k), 4, 1.0, -1)
    soft = np.asarray(cv2.GaussianBlur(wet, (0, 0), 1.5), np.float32)[..., None]
    after = (room(2, moved=12) * (1 - darker * soft)).astype(np.uint8)

    pair = likeness.compare(likeness.describe(room(2)), likeness.describe(after))

    assert pair.verdict is verdict


@pytest.mark.parametrize("name", ["Sanyo S1.JPG", "FujiFilm FinePix4900Zoom.jpg"])
def test_another_digit_on_a_small_plate_is_seen_in_a_large_picture(open_data: Path, name: str) -> None:
    """Two camera samples of the open set, 2048 and 2400 pixels long; the plate is drawn, a 52nd of them high.

    In a kept view of 512 pixels such a digit is 4 pixels high: there both pictures passed for the same.
    """
    rgb = np.asarray(Image.open(open_data / "exif" / "mx" / "jpg" / name).convert("RGB"))

    first = likeness.describe(_with_plate(rgb, "0417", aside=4))
    again = likeness.describe(_with_plate(rgb, "0417", aside=18))
    read_later = likeness.describe(_with_plate(rgb, "0477", aside=18))

    assert likeness.compare(first, again).verdict is Verdict.SAME
    assert likeness.compare(first, read_later).verdict is Verdict.CHANGED


def _with_plate(rgb: Rgb, reading: str, aside: int) -> Rgb:
    """Put a plate with a reading into a picture, turn it a little and frame it so many pixels aside."""
    high, wide = rgb.shape[:2]
    size = 0.012 * high
    x, y = int(0.55 * wide), int(0.6 * high)
    out = rgb.copy()
    cv2.rectangle(out, (x, y), (x + int(3.2 * size), y + int(1.6 * size)), (225, 225, 220), -1)
    at = (x + int(0.3 * size), y + int(1.2 * size))
    cv2.putText(out, reading, at, cv2.FONT_HERSHEY_SIMPLEX, size / 26, (30, 30, 30), 2, cv2.LINE_AA)
    turn = cv2.getRotationMatrix2D((wide / 2, high / 2), aside / 12, 1.0)
    turned = cv2.warpAffine(out, turn, (wide, high), flags=cv2.INTER_LINEAR)
    return np.ascontiguousarray(turned[30:-30, 40 + aside : wide - 60 + aside], np.uint8)


def test_however_grainy_a_picture_its_description_stays_small() -> None:
    grain = np.random.default_rng(5).integers(0, 256, (1500, 2000, 3)).astype(np.uint8)

    assert len(likeness.pack(likeness.describe(grain))) < 140_000


@pytest.mark.parametrize("zoom", [1.3, 1.6, 2.0, 3.0])
def test_wide_and_close_are_never_folded(zoom: float) -> None:
    wide = room(3)
    height, width = round(600 / zoom), round(800 / zoom)
    top, left = (600 - height) // 2, (800 - width) // 2
    close = cv2.resize(
        wide[top : top + height, left : left + width], (800, 600), interpolation=cv2.INTER_CUBIC
    )

    pair = likeness.compare(likeness.describe(wide), likeness.describe(np.asarray(close, np.uint8)))

    assert pair.verdict is not Verdict.SAME


def test_sets_hold_every_picture_exactly_once() -> None:
    pictures = [likeness.describe(room(seed, moved)) for seed in (1, 2, 3) for moved in (0, 6)]

    sets = likeness.group(pictures, [float(i) for i in range(6)])

    assert sorted(i for members in sets for i in members) == list(range(6))
    assert sorted(sorted(members) for members in sets) == [[0, 1], [2, 3], [4, 5]]
    assert likeness.group([], []) == []
