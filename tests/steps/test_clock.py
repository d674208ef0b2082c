"""Clocks corrected by hand, by a watch and by another camera, one correction on top of another."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta

import pytest

from evidence import tables
from evidence.desk import Desk
from evidence.errors import UnknownPicture, WrongUsage
from evidence.steps import clock
from evidence.timeline import PictureState
from evidence.words import CameraTime, Capture, FrameNumber


def shots(desk: Desk) -> Mapping[int, PictureState]:
    return {p.frame: p for p in desk.state().pictures}


def corrected(desk: Desk, frame: int) -> CameraTime:
    time = shots(desk)[frame].corrected
    assert time is not None
    return time


def called(desk: Desk, monkeypatch: pytest.MonkeyPatch, names: Mapping[int, str]) -> None:
    """Let some pictures be of a camera of that model."""
    facts = desk.facts()
    captures = dict(facts.captures)
    for row in facts.originals:
        if row.frame is not None and row.frame in names:
            named = replace(captures[row.original.digest], make="", model=names[row.frame])
            captures[row.original.digest] = named
    monkeypatch.setattr(Desk, "facts", lambda _: replace(facts, captures=captures))
    desk.forget()


def test_a_watch_is_believed_after_a_step_from_an_earlier_shot_on(desk: Desk) -> None:
    clock.correct_from(desk, 4, 3600.0, "an hour slow from here on")
    before = corrected(desk, 5).moment

    watch = before + timedelta(seconds=20)
    added = clock.by_watch(desk, 5, f"{watch:%H:%M:%S}")

    assert added == 20
    assert corrected(desk, 5).moment == watch
    assert corrected(desk, 3).moment - timedelta(seconds=20) == shots(desk)[3].capture.time.moment  # type: ignore[union-attr]


def test_a_watch_is_believed_again_where_it_was_believed_before(desk: Desk) -> None:
    clock.correct_from(desk, 4, 3600.0, "an hour slow from here on")
    clock.by_watch(desk, 5, "11:00:00")

    clock.by_watch(desk, 5, "11:00:07")

    assert f"{corrected(desk, 5).moment:%H:%M:%S}" == "11:00:07"


def test_a_shared_shot_sets_a_camera_that_was_stepped(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    called(desk, monkeypatch, {6: "Nokto 2", 7: "Nokto 2", 8: "Nokto 2"})
    clock.correct_from(desk, 7, 3600.0, "an hour slow from here on")

    clock.by_shared_shot(desk, 8, 5)

    first = shots(desk)[5].capture.time
    assert first is not None
    assert corrected(desk, 8).moment == first.moment


def test_steps_in_force_are_listed(desk: Desk) -> None:
    clock.correct_from(desk, 4, 3600.0, "an hour slow")

    (camera,) = clock.cameras(desk)

    assert camera.steps == (clock.ClockStep(FrameNumber(4), 3600.0, "an hour slow"),)
    assert "from picture 4 on corrected by +3600 s: an hour slow" in tables.cameras([camera])
    desk.undo()
    assert clock.cameras(desk)[0].steps == ()


def test_a_picture_taken_in_late_is_judged_where_the_camera_numbered_it(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its number in the job comes last; in the order of numbers the clock would seem to go back for it."""
    facts = desk.facts()
    second = next(row for row in facts.originals if row.frame == 2)
    late = replace(second, frame=FrameNumber(9))
    rows = [row for row in facts.originals if row.frame != 2]
    monkeypatch.setattr(Desk, "facts", lambda _: replace(facts, originals=[*rows, late]))
    desk.forget()
    assert max(shots(desk)) == 9

    (camera,) = clock.cameras(desk)

    assert camera.faults == ()


def on_second_card(desk: Desk, monkeypatch: pytest.MonkeyPatch, serials: tuple[str, str]) -> None:
    """Let the last three pictures be of a second card, by a camera of the same name."""
    facts = desk.facts()
    rows, captures = list(facts.originals), dict(facts.captures)
    for at, row in enumerate(rows):
        rows[at] = replace(row, source="SECOND" if at > 4 else row.source)
        serial = serials[at > 4]
        captures[row.original.digest] = replace(captures[row.original.digest], serial=serial)
    changed = replace(facts, originals=rows, captures=captures)
    monkeypatch.setattr(Desk, "facts", lambda _: changed)
    desk.forget()


def test_a_serial_number_keeps_a_second_camera_of_the_model_where_it_is(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    on_second_card(desk, monkeypatch, ("11", "22"))
    before = desk.state()

    clock.correct_from(desk, 3, 3600.0, "an hour slow")

    found = clock.sets(before, desk.state())
    assert found is not None
    assert [(one.card, one.pictures, one.first) for one in found.cards] == [
        (before.pictures[0].taken.source, 3, 3)
    ]
    assert f"Set for 3 pictures of {found.camera}, all on one card" in tables.clock_sets(found)


def test_without_one_it_is_said_that_another_card_was_set_and_how_to_set_it_back(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    on_second_card(desk, monkeypatch, ("", ""))
    before = desk.state()
    clock.correct_from(desk, 3, 3600.0, "an hour slow")

    said = tables.clock_sets(clock.sets(before, desk.state()))

    assert "on 2 cards: " in said
    assert "(3 pictures from 3 on), SECOND (3 pictures from 6 on)" in said
    assert said.endswith("If SECOND is another camera's, set it back: --picture 6 --add -3600")
    clock.correct_from(desk, 6, -3600.0, "another phone")
    now, then = shots(desk), {p.frame: p.seconds for p in before.pictures}
    assert [now[n].seconds - then[FrameNumber(n)] for n in (2, 3, 5, 6, 8)] == [0, 3600, 3600, 0, 0]


def test_one_cameras_two_cards_are_set_together_without_a_word_of_doubt(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    on_second_card(desk, monkeypatch, ("11", "11"))
    before = desk.state()
    assert tables.clock_sets(clock.sets(before, before)) == "No picture's time changed."

    clock.correct(desk, "Ostrel", 40.0, "slow by my watch")

    said = tables.clock_sets(clock.sets(before, desk.state()))
    assert "on 2 cards" in said
    assert "serial" not in said


@pytest.fixture
def scope(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """A second card of two pictures that tell neither time nor camera, their files at 15:02 and 15:03 UTC."""
    facts = desk.facts()
    rows, captures = list(facts.originals), dict(facts.captures)
    for n in (7, 8):
        late = f"2026-03-04T15:0{n - 5}:00+00:00"
        rows[n - 1] = replace(rows[n - 1], source="SCOPE", file_time=late)
        captures[rows[n - 1].original.digest] = Capture()
    zoned = replace(facts, originals=rows, captures=captures, zone="America/Chicago")
    monkeypatch.setattr(Desk, "facts", lambda _: zoned)
    desk.forget()
    return desk


def test_a_card_without_camera_times_is_listed_with_what_is_assumed_of_it(scope: Desk) -> None:
    card = next(camera for camera in clock.cameras(scope) if camera.name == "SCOPE")

    assert (card.pictures, card.recorded, card.correction_s) == (2, False, 0.0)
    listed = tables.cameras([card])
    assert "SCOPE (a card; which camera was not recorded): 2 pictures" in listed
    assert "showed no time; assumed by its files' times, read in the house's zone: 2026-03-04 09:02" in listed


def test_a_card_whose_pictures_only_stand_beside_others_has_no_clock_to_set(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A damaged picture tells neither camera nor time; it goes with its neighbour."""
    facts = desk.facts()
    first = facts.originals[0]
    captures = {digest: c for digest, c in facts.captures.items() if digest != first.original.digest}
    monkeypatch.setattr(Desk, "facts", lambda _: replace(facts, captures=captures))
    desk.forget()

    with pytest.raises(WrongUsage, match="means 0 of this job's cameras"):
        clock.correct(desk, first.source, 60.0, "slow")


def test_a_card_without_camera_times_is_set_by_a_watch_and_by_a_shared_shot(scope: Desk) -> None:
    assert clock.by_watch(scope, 7, "09:05:30") == 210
    assert shots(scope)[7].seconds % 86_400 == 9 * 3600 + 5 * 60 + 30
    assert clock.by_watch(scope, 7, "09:05:40") == 220

    clock.by_shared_shot(scope, 8, 3)
    assert shots(scope)[8].seconds == shots(scope)[3].seconds

    clock.correct(scope, "scope", 1.0, "by hand")
    clock.correct_from(scope, 8, 60.0, "a minute lost")
    assert shots(scope)[8].seconds - shots(scope)[7].seconds == 120
    assert shots(scope)[8].seconds_assumed


def test_names_without_a_cameras_number_tell_nothing_of_its_clock(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Pictures handed on by a phone may be called by chance; by such names their clock leaps about."""
    facts = desk.facts()
    rows = [
        replace(row, name_on_card=f"{letter}.JPG")
        for letter, row in zip("hgfedcba", facts.originals, strict=True)
    ]
    monkeypatch.setattr(Desk, "facts", lambda _: replace(facts, originals=rows))
    desk.forget()

    (camera,) = clock.cameras(desk)

    assert camera.faults == ()


def test_a_camera_called_just_so_goes_before_one_whose_name_holds_its_own(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    called(desk, monkeypatch, {n: "Nokto 2" if n < 5 else "Nokto 2 Max" for n in range(1, 9)})

    clock.correct(desk, "Nokto 2", 5.0, "by my watch")
    clock.correct(desk, "nokto 2 max", 9.0, "by my watch")

    assert {c.name: c.correction_s for c in clock.cameras(desk)} == {"Nokto 2": 5.0, "Nokto 2 Max": 9.0}
    with pytest.raises(WrongUsage, match="means 2"):
        clock.correct(desk, "Nokto", 5.0, "by my watch")


def test_a_zone_given_later_leaves_the_seconds_and_seconds_leave_the_zone(desk: Desk) -> None:
    clock.correct(desk, "Ostrel", 40.0, "slow by my watch")
    clock.correct(desk, "Ostrel", None, "the house's zone", offset_min=-360)

    (camera,) = clock.cameras(desk)
    assert (camera.correction_s, camera.zone_min) == (40.0, -360)
    assert "corrected by +40 s, zone -06:00: slow by my watch; the house's zone" in tables.cameras([camera])

    clock.correct(desk, "Ostrel", 41.0, "looked again")

    (camera,) = clock.cameras(desk)
    assert (camera.correction_s, camera.zone_min) == (41.0, -360)


@pytest.mark.parametrize("add_s", [1e12, -1e11, 1e30, math.inf, math.nan])
def test_more_than_a_clock_can_be_off_is_refused_and_nothing_is_recorded(desk: Desk, add_s: float) -> None:
    before = desk.job.last_hash

    with pytest.raises(WrongUsage, match="is not corrected by"):
        clock.correct(desk, "Ostrel", add_s, "a slip")
    with pytest.raises(WrongUsage, match="is not corrected by"):
        clock.correct_from(desk, 3, add_s, "a slip")

    assert desk.job.last_hash == before


def test_a_step_needs_its_reason_and_its_picture(desk: Desk) -> None:
    with pytest.raises(WrongUsage, match="reason"):
        clock.correct_from(desk, 3, 60.0, " ")
    with pytest.raises(UnknownPicture):
        clock.correct_from(desk, 99, 60.0, "slow")


@pytest.mark.parametrize("add_s", [1e12, 1e30])
def test_a_job_with_an_absurd_correction_of_old_can_be_looked_at(desk: Desk, add_s: float) -> None:
    desk.decide("clock", "Ostrel F2", {"add_s": add_s, "reason": "a slip", "offset_min": None})

    (camera,) = clock.cameras(desk)

    assert camera.correction_s == add_s
    assert clock.by_watch(desk, 1, "09:00:30") == 20
