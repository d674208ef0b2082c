"""What is proposed for a finding, and the words that say why."""

from __future__ import annotations

from evidence.choice import Candidate, front
from evidence.words import Distance, FrameNumber, Light, Quality


def quality(
    score: float = 0.0, *, sharpness: float = 1.0, blurred: bool = False, noise: float = 1.0
) -> Quality:
    return Quality(1, score, sharpness, noise, 1.0, 0.0, 0.0, 0.0, blurred)


def picture(
    frame: int,
    q: Quality | None = None,
    distance: Distance | None = None,
    *,
    alike: int | None = None,
    away_s: float | None = None,
    stops: float = 0.0,
    hopeless: bool = False,
) -> Candidate:
    light = Light(1, gain=2.0**stops, stops=stops, left_alone=stops == 0.0, hopeless=hopeless)
    return Candidate(FrameNumber(frame), q or quality(), light, distance, away_s, alike)


def test_the_sharpest_of_four_stands_in_front_and_the_reason_says_what_is_wrong_with_the_others() -> None:
    """The wording asked for by the issue: "sharpest of 4; the others are shaken or darker"."""
    retakes = [
        picture(1, quality(0.1, sharpness=0.2, blurred=True)),
        picture(2, quality(0.9, sharpness=1.0)),
        picture(3, quality(0.5, sharpness=0.85), stops=2.0),
        picture(4, quality(0.2, sharpness=0.3, blurred=True)),
    ]

    chosen = front(retakes)

    assert chosen.frame == 2
    assert chosen.reason == "sharpest of 4; the others are blurred or darker"
    assert chosen.warning == ""
