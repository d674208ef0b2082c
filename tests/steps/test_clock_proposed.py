"""Corrections proposed for clocks: which, in what order, and until when."""

from __future__ import annotations

from dataclasses import replace

import pytest

from evidence.clocks import Alignment, Zone
from evidence.desk import Desk
from evidence.steps import clock
from evidence.steps.clock import Camera, ClockFault
from evidence.words import FrameNumber

NAME = "Lumivant 5"
PHONE = Camera(
    NAME,
    16,
    None,
    None,
    -360,
    Zone(-360, 41.0, 16),
    (ClockFault(FrameNumber(3), "reset", 3600.0, False, "the clock begins anew"),),
    0.0,
    "",
    Alignment(-65.2, 2.1, True, "16 pictures of the second camera agree."),
)


@pytest.fixture
def phone(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> Desk:
    monkeypatch.setattr(clock, "cameras", lambda _: [PHONE])
    return desk


def test_satellite_times_go_before_another_camera(phone: Desk) -> None:
    """A satellite's clock is right (GPS time is UTC but for leap seconds); the other camera's need not be."""
    assert [(one.add_s, one.frame) for one in clock.proposed(phone)] == [(-41, None), (-65, None), (3600, 3)]


def test_a_clock_that_was_decided_on_is_not_asked_about_again(phone: Desk) -> None:
    name = phone.state().pictures[0].capture.camera
    before = clock.proposed(phone)
    clock.correct(phone, name, 0.0, "it agrees with my watch")

    assert clock.proposed(phone) == before, "that was another camera"
    phone.decide("clock", NAME, {"add_s": -40.0, "reason": "by my watch", "offset_min": None})
    assert [one.frame for one in clock.proposed(phone)] == [3]


@pytest.mark.parametrize(
    "camera",
    [
        replace(PHONE, satellite=Zone(-360, 1.4, 16), alignment=None, faults=()),
        replace(PHONE, satellite=None, alignment=Alignment(-65.0, 1.1, False, "unsure"), faults=()),
        replace(PHONE, recorded=False),
    ],
    ids=["nearly right", "unsure", "no camera recorded"],
)
def test_what_cannot_be_told_is_not_proposed(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, camera: Camera
) -> None:
    monkeypatch.setattr(clock, "cameras", lambda _: [camera])
    assert clock.proposed(desk) == []
