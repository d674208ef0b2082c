"""Weights learned from confirmed days: asked for, kept in a file, used only when told, undone."""

from __future__ import annotations

from pathlib import Path

import pytest

from evidence import rooms, tables
from evidence.desk import Desk
from evidence.errors import AlreadyThere, BadSetting, WrongUsage
from evidence.state import weights_in_force
from evidence.steps import learn
from evidence.steps.rooms import name


def confirmed(desk: Desk) -> Path:
    for frame in range(2, 9):
        desk.decide("begins", frame, frame == 5)
    name(desk, {1: "Kitchen", 2: "Attic"})
    folder = desk.job.folder
    desk.store.close()
    desk.job.close()
    return folder


def test_a_confirmed_day_gives_weights_that_a_job_can_use_and_drop(desk: Desk, tmp_path: Path) -> None:
    folder = confirmed(desk)

    found = learn.learn(tmp_path / "mine.toml", [folder])

    assert found.boundaries == 1
    assert "7 joints, 1 end of a visit." in tables.learned(found, tmp_path / "mine.toml")
    assert found.wrong_after <= found.wrong_before
    with Desk.open(folder) as again:
        learn.use(again, tmp_path / "mine.toml")
        assert weights_in_force(again.decisions) != rooms.WEIGHTS
        assert again.state().visits
        again.undo()
        assert weights_in_force(again.decisions) == rooms.WEIGHTS


def test_a_day_with_nameless_visits_teaches_nothing(desk: Desk, tmp_path: Path) -> None:
    folder = desk.job.folder
    desk.store.close()
    desk.job.close()

    with pytest.raises(WrongUsage, match="no name yet"):
        learn.learn(tmp_path / "mine.toml", [folder])


def test_weights_are_never_overwritten_and_never_guessed(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text("gap = 'far'")

    with pytest.raises(AlreadyThere):
        learn.learn(tmp_path / "mine.toml", [])
    with pytest.raises(BadSetting, match=r"mine\.toml"):
        learn.use(desk, tmp_path / "mine.toml")


def test_weights_of_an_earlier_method_are_not_used_and_break_nothing(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "old.toml").write_text("always = -4.21\ngap = 0.477\n")

    with pytest.raises(BadSetting, match="learn them anew"):
        learn.use(desk, tmp_path / "old.toml")

    desk.decide("weights", "rooms", {"always": -4.21, "gap": 0.477})  # as an earlier version wrote it
    assert weights_in_force(desk.decisions) == rooms.WEIGHTS
    assert desk.state().visits
