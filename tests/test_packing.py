"""Nouns to JSON and back."""

from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evidence.packing import from_json, to_json
from evidence.words import CameraTime, Capture, Light, Position, TimeSource


@given(
    moment=st.datetimes(datetime(1980, 1, 1), datetime(2099, 12, 31)),  # noqa: DTZ001 - cameras have no zone
    offset=st.none() | st.integers(-840, 840),
    make=st.text(max_size=20).filter(lambda text: "\ud800" not in text),
    latitude=st.floats(-90, 90),
)
def test_a_capture_comes_back_as_it_was(
    moment: datetime, offset: int | None, make: str, latitude: float
) -> None:
    capture = Capture(
        time=CameraTime(moment, offset, TimeSource.TAKEN), make=make, position=Position(latitude, 10.0)
    )

    assert from_json(to_json(capture), Capture) == capture


def test_a_light_comes_back_as_it_was() -> None:
    light = Light(1, gain=2.0, stops=1.0, curve=tuple(range(256)), left_alone=False)

    assert from_json(to_json(light), Light) == light


@pytest.mark.parametrize("text", ["", "{", "[]", '{"version": 1, "strange": 2}', '{"gain": 1.0}'])
def test_what_is_no_light_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="Light"):
        from_json(text, Light)
