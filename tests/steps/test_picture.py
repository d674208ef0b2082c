"""What is said of pictures: words, distance, which look-alike stands in front; each undone."""

from __future__ import annotations

import pytest

from evidence import arrange
from evidence.desk import Desk
from evidence.errors import UnknownPicture, WrongUsage
from evidence.state import Arrangement
from evidence.steps import picture
from evidence.words import Distance, FrameNumber


def test_what_is_said_of_a_picture_stands_until_it_is_taken_back(desk: Desk) -> None:
    picture.describe(desk, [2, 3], shown="  Vent  pipe ", direction="north", distance=Distance.CLOSE_UP)

    said = desk.state().picture(3)
    assert said is not None
    assert (said.shown, said.direction, said.distance) == ("Vent pipe", "north", Distance.CLOSE_UP)
    desk.undo(len(desk.job.lines))  # one line of that act alone
    picture.describe(desk, [3], shown="")
    after = desk.state().picture(3)
    assert after is not None
    assert (after.shown, after.direction, after.distance) == ("", "north", None)
    desk.undo()
    desk.undo()
    assert not any(p.shown or p.direction or p.distance for p in desk.state().pictures)


def test_an_unknown_picture_changes_nothing(desk: Desk) -> None:
    with pytest.raises(UnknownPicture):
        picture.describe(desk, [2, 999], shown="Vent pipe")

    assert not any(p.shown for p in desk.state().pictures)


def test_a_look_alike_is_put_in_front_or_apart(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    proposed = Arrangement(sets=((FrameNumber(2), FrameNumber(3), FrameNumber(4)),))
    monkeypatch.setattr(arrange, "VERSION", "as proposed here")
    monkeypatch.setattr(arrange, "propose", lambda *_, **__: (proposed, ()))
    behind = desk.state().look_alikes[0].others[0]

    picture.in_front(desk, behind)
    assert desk.state().look_alikes[0].front == behind

    picture.apart(desk, [behind])
    assert all(behind not in (s.front, *s.others) for s in desk.state().look_alikes)

    picture.apart(desk, [behind], away=False)
    assert desk.state().look_alikes[0].front == behind


def test_a_picture_without_look_alikes_stands_in_front_of_nothing(desk: Desk) -> None:
    alone = {p.frame for p in desk.state().pictures} - {
        frame for s in desk.state().look_alikes for frame in (s.front, *s.others)
    }
    with pytest.raises(WrongUsage):
        picture.in_front(desk, min(alone))
