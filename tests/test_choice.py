"""What is proposed for a finding, and the words that say why."""

from __future__ import annotations

from dataclasses import replace

from evidence.choice import Candidate, front, propose
from evidence.words import Distance, FrameNumber, Light, Quality


def quality(
    score: float = 0.0,
    *,
    sharpness: float = 1.0,
    blurred: bool = False,
    noise: float = 1.0,
    bright: float = 0.0,
) -> Quality:
    return Quality(1, score, sharpness, noise, 1.0, 0.0, bright, bright, blurred)


def picture(
    frame: int,
    q: Quality | None = None,
    distance: Distance | None = None,
    *,
    alike: int | None = None,
    stops: float = 0.0,
    hopeless: bool = False,
    too_bright: bool = False,
) -> Candidate:
    alone = stops == 0.0
    light = Light(1, gain=2.0**stops, stops=stops, left_alone=alone, hopeless=hopeless, too_bright=too_bright)
    return Candidate(FrameNumber(frame), q or quality(), light, distance, alike)


def test_the_sharpest_of_four_stands_in_front_and_the_reason_says_what_is_wrong_with_the_others() -> None:
    """The wording asked for by the issue: "sharpest of 4; the others are shaken or darker"."""
    retakes = [
        picture(1, quality(0.1, sharpness=0.2, blurred=True)),
        picture(2, quality(0.9, sharpness=1.0)),
        picture(3, quality(0.5, sharpness=0.7), stops=2.0),
        picture(4, quality(0.2, sharpness=0.3, blurred=True)),
    ]

    chosen = front(retakes)

    assert chosen.frame == 2
    assert chosen.reason == "sharpest of 4; the others are blurred or darker"
    assert chosen.warning == ""


def test_a_small_copy_does_not_stand_before_the_whole_picture_though_only_that_is_called_blurred() -> None:
    """As ``quality`` reads 8 pixels out of focus at 1600, and reduced to 640 (docs/methods/quality.md)."""
    whole = picture(1, quality(-4.0, sharpness=0.03, blurred=True))
    small = picture(2, quality(-4.4, sharpness=0.016))

    chosen = front([small, whole])

    assert (chosen.frame, chosen.reason) == (1, "sharpest of 2")
    assert chosen.warning == "no sharp detail"


def test_two_that_are_equally_good_are_both_named_and_the_rest_is_said_of_the_others() -> None:
    """The plan: where they are equally good, both are shown."""
    retakes = [picture(12, quality(1.0)), picture(15, quality(0.95)), picture(16, quality(0.2, noise=4.0))]

    chosen = front(retakes)

    assert (chosen.frame, chosen.equals) == (12, (15,))
    assert chosen.reason == "12 and 15 are equally good: look at both; the other is noisier"


def test_two_that_are_close_are_both_named_when_the_lower_one_is_the_sharper() -> None:
    """The plan: "use both; where they disagree show both frames"."""
    cleaner, sharper = picture(3, quality(1.0)), picture(4, quality(0.75, sharpness=1.5, noise=3.0))

    chosen = front([cleaner, sharper])

    assert (chosen.frame, chosen.equals) == (3, (4,))
    assert chosen.reason == "3 and 4 are equally good: look at both (4 sharper, 3 better in light or noise)"


def test_of_bare_pictures_none_is_called_sharper_and_none_blurred() -> None:
    """What shows nothing to be sharp cannot lead by sharpness, whatever chance measured in its noise."""
    wall, other = (
        replace(quality(score, sharpness=sharpness), bare=True)
        for score, sharpness in ((1.0, 0.004), (0.5, 0.001))
    )
    chosen = front([picture(1, wall), picture(2, other)])

    assert chosen.frame == 1
    assert not any(word in chosen.reason for word in ("sharp", "blurred"))
    assert chosen.warning == "too plain to tell whether it is sharp"


def test_a_bare_picture_stands_behind_a_sharp_one() -> None:
    chosen = front(
        [
            picture(1, replace(quality(2.0, sharpness=0.001), bare=True)),
            picture(2, quality(1.0, sharpness=0.3)),
        ]
    )

    assert chosen.frame == 2
    assert "the other is less sharp" in chosen.reason or "sharpest" in chosen.reason


def test_a_blurred_picture_is_never_called_as_good_as_a_sharp_one() -> None:
    chosen = front([picture(1, quality(1.0)), picture(2, quality(0.95, blurred=True))])

    assert chosen.equals == ()
    assert "the other is blurred" in chosen.reason


def test_what_flash_and_what_sun_burn_out_is_said_in_one_word_that_is_true_of_both() -> None:
    chosen = front([picture(1, quality(1.0)), picture(2, quality(0.2, bright=0.1))])

    assert chosen.reason == "best exposed of 2; the other is burnt out in parts"


def test_an_over_exposed_retake_is_called_too_bright_and_so_is_a_finding_s_only_picture() -> None:
    """Our own: over-exposure that burns out no more grey than the good one has no other word."""
    over = picture(2, quality(0.2), Distance.CLOSE_UP, too_bright=True)

    assert front([picture(1, quality(1.0)), over]).reason == "best exposed of 2; the other is too bright"
    assert [one.warning for one in (propose([over]).printed,) if one] == ["too bright"]


def test_the_only_picture_of_a_finding_says_that_it_shows_no_sharp_detail() -> None:
    proposal = propose([picture(1, quality(blurred=True), Distance.CLOSE_UP)])

    assert proposal.printed is not None
    assert proposal.printed.warning == "no sharp detail"


def test_a_flawed_second_close_up_is_not_proposed_and_the_only_flawed_one_is_with_its_flaw() -> None:
    """Our own: it would add nothing to the good one, yet alone it is better than none of its kind."""
    burnt = picture(2, quality(-3.0, bright=0.4), Distance.CLOSE_UP)
    close, mid = picture(1, quality(1.0), Distance.CLOSE_UP), picture(3, quality(1.0), Distance.MID_RANGE)

    assert [one.frame for one in propose([close, burnt, mid]).support] == [3]
    assert [(one.frame, one.warning) for one in propose([mid, burnt]).support] == [(2, "burnt out over 40%")]


def test_where_no_picture_shows_the_place_the_best_of_the_room_is_named_and_not_proposed() -> None:
    """Common practice of evidence photography: an overall or mid-range view beside each close-up."""
    room = [
        picture(7, distance=Distance.OVERALL),
        picture(8, distance=Distance.MID_RANGE),
        picture(9, quality(blurred=True), Distance.MID_RANGE),
        picture(10, distance=Distance.CLOSE_UP),
    ]

    proposal = propose([picture(1, distance=Distance.CLOSE_UP)], room)

    assert proposal.support == ()
    assert proposal.remark.endswith("view is missing; picture 8 of the same room may do")
    assert propose([picture(1, distance=Distance.CLOSE_UP)], room[2:]).remark.endswith("view is missing")


def test_the_look_alike_that_the_inspector_put_in_front_is_the_one_proposed_with_its_flaw_told() -> None:
    """The plan: the program suggests, the inspector decides; no blurred picture without saying so."""
    sharp = picture(6, quality(1.0), alike=0)
    chosen = replace(picture(5, quality(0.1, sharpness=0.02, blurred=True), alike=0), chosen=True)

    printed = propose([sharp, chosen]).printed

    assert printed is not None
    assert (printed.frame, printed.reason) == (5, "chosen by the inspector")
    assert printed.warning == "no sharp detail"
    assert front([sharp, chosen]).equals == ()
