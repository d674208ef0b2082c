"""The seams of the light room."""

from __future__ import annotations

import numpy as np

from evidence import light
from evidence.words import Rgb


def scene(brightness: int) -> Rgb:
    rows = np.arange(120)[:, None] + np.arange(160)[None, :] * 2
    grey = (rows % 64) * brightness // 64
    return np.repeat(grey[:, :, None], 3, axis=2).astype(np.uint8)


def test_a_bright_picture_comes_back_as_the_very_same_array() -> None:
    picture = scene(240)

    out, record = light.correct(picture)

    assert out is picture
    assert record.left_alone


def test_a_dark_picture_is_brightened_and_made_again_from_its_record() -> None:
    picture = scene(60)

    out, record = light.correct(picture)

    assert out.mean() > 2 * picture.mean()
    assert np.array_equal(out, light.replay(picture, record))
