"""What a burnt-out or black place cannot tell; the sensor's end is that of 8-bit codes (IEC 61966-2-1)."""

from __future__ import annotations

import numpy as np

from evidence.likeness import evening

AS_TAKEN = np.arange(256, dtype=np.float32)


def _evened(
    code: int, table: evening.Table = AS_TAKEN, smoothed_px: float = 0.0, *, coloured: bool = False
) -> evening.Evened:
    taken = np.full((40, 40), 120, np.uint8)
    burnt = np.zeros(taken.shape, bool)
    taken[20, 20], burnt[20, 20] = code, coloured
    return evening.evened(table[taken], evening.Taken(taken, burnt), table, smoothed_px)


def test_a_tone_in_between_is_known() -> None:
    found = _evened(130)

    assert (found.least == found.grey).all()
    assert (found.most == found.grey).all()


def test_what_is_burnt_out_may_be_lighter_and_was_nearly_as_light_at_least() -> None:
    found = _evened(255)

    assert found.most[20, 20] == 255
    assert 235 <= found.least[20, 20] < 245


def test_what_is_black_may_be_darker_and_was_nearly_as_dark() -> None:
    found = _evened(0)

    assert found.least[20, 20] == 0
    assert 5 <= found.most[20, 20] <= 10


def test_burnt_out_places_are_no_lighter_than_the_codes_below_them_became() -> None:
    """Of a longer exposure most burnt-out places may have been white; one of them was the wall behind."""
    table = np.interp(np.arange(256), [0, 235, 245, 255], [0, 140, 190, 190]).astype(np.float32)

    found = _evened(255, table)

    assert found.grey[20, 20] == 190
    assert found.least[20, 20] < 160


def test_about_what_was_burnt_out_before_smoothing_it_may_be_lighter_too() -> None:
    found = _evened(255, smoothed_px=2.0)

    assert found.most[20, 24] == 255
    assert found.most[20, 26] == 120


def test_tones_between_whole_codes_are_brought_too() -> None:
    table = (AS_TAKEN * 0.5).astype(np.float32)

    brought = evening.applied(table, np.array([[10.5, 200.25, -3.0, 300.0]], np.float32))

    assert np.allclose(brought, [[5.25, 100.125, 0.0, 127.5]])


def test_what_is_burnt_out_in_one_colour_may_be_lighter_but_is_no_darker() -> None:
    found = _evened(130, coloured=True)

    assert (found.least[20, 20], found.most[20, 20]) == (130, 255)
    assert (found.most[20, 22], found.most[22, 20]) == (120, 120)


def _exposed() -> tuple[evening.Grey, evening.Grey]:
    """Noisy codes of one surface as taken, and exposed longer, before the sensor's end cuts them off."""
    chance = np.random.default_rng(5)
    shorter = np.tile(np.linspace(20, 220, 400, dtype=np.float32), (400, 1))
    longer = 1.5 * shorter + chance.normal(0, 12, shorter.shape).astype(np.float32)
    return shorter, longer


def test_tones_that_are_mostly_told_are_not_drawn_down_by_those_that_are_not() -> None:
    """The median of censored values (Powell 1984); without the burnt-out ones it is 6 codes lower."""
    shorter, longer = _exposed()
    view, like = (np.rint(np.clip(codes, 0, 255)).astype(np.uint8) for codes in (shorter, longer))
    everywhere = np.ones(view.shape, bool)

    table = evening.toned_by_pixels(like, view, everywhere, like < 245, np.zeros(256, np.float32))

    assert abs(table[160] - 240) < 3
    assert abs(table[100] - 150) < 3
    assert table[190] == 255


def test_beyond_what_is_known_tones_go_on_as_a_longer_exposure_has_them() -> None:
    """A longer exposure multiplies light, and codes nearly so (IEC 61966-2-1 is close to a power)."""
    shorter, longer = _exposed()
    like, view = (np.rint(np.clip(codes, 0, 255)).astype(np.uint8) for codes in (shorter, longer))
    known = view < 200

    table = evening.toned_by_pixels(like, view, known, np.ones(known.shape, bool), np.zeros(256, np.float32))

    assert abs(table[250] - 250 / 1.5) < 5
