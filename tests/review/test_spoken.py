"""What was said, beside the pictures on the page; and a finding made of it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from evidence.desk import Desk
from evidence.review import spoken
from evidence.steps import moments, narration
from tests.review.conftest import Asker

SAID = """WEBVTT

00:05.000 --> 00:08.000
Finding. The bath fan hose just ends up here under the roof.

00:18.000 --> 00:22.000
What a lovely day.

03:00.000 --> 03:04.000
There is a breaker with two wires under one screw.

20:00.000 --> 20:02.000
Done here.
"""


def talk(folder: Path) -> None:
    """Say :data:`SAID` from 9:00:00 on; pictures 1 to 4 are of 9:00:10, :20, :30, :40, 5 from 9:10 on."""
    file = folder.parent / "walk.vtt"
    file.write_text(SAID, "utf-8")
    with Desk.open(folder) as desk:
        transcript = narration.take_in(desk, file)
        narration.place(desk, transcript, moments.of_the_day(desk, "09:00:00"), "as said")


@pytest.fixture
def talked(page: Asker) -> Asker:
    talk(page.folder)
    return page


def test_each_sentence_stands_once_before_the_picture_taken_with_it_or_the_next(talked: Asker) -> None:
    with Desk.open(talked.folder, write=False) as desk:
        state = desk.state()
        found = spoken.lines(state)

    shown = [frame for v in state.visits for frame in v.frames]
    behind = {frame for alike in state.look_alikes for frame in alike.others}
    assert [line.number for lines in found.values() for line in lines] == [1, 2, 3, 4]
    where = {line.number: frame for frame, lines in found.items() for line in lines}
    assert where[1] == 1
    assert where[3] == 5  # said minutes after picture 4: the next one stands at ten past
    assert where[4] == [frame for frame in shown if frame not in behind][-1]
    assert [line.likely for lines in found.values() for line in lines] == [True, False, True, False]


def test_the_walk_shows_them_as_buttons_and_says_which_is_a_finding(talked: Asker) -> None:
    talked.act("accept", sentence=1, standard="ATT-06")

    html = talked.get("/walk").text

    buttons = re.findall(r'id="s-(\d)" data-sentence="\d" data-beside="(\d+)"', html)
    assert [number for number, _ in buttons] == ["1", "2", "3", "4"]
    assert re.search(r"ends up here under the roof\.</q> <span class=\"word\">finding 1</span>", html)


def test_a_sentence_becomes_a_finding_with_its_pictures_in_one_act(talked: Asker) -> None:
    offered = json.loads(talked.get("/said/1").text)
    assert offered[0]["number"] == 1
    assert "ATT-06" in [one["id"] for one in offered[0]["offers"]]

    told = talked.act("accept", sentence=1, standard="ATT-06")

    assert "Finding 1 is made of sentence 1, with" in str(told["said"])
    with Desk.open(talked.folder, write=False) as desk:
        state = desk.state()
        assert state.findings[0].seen == "The bath fan hose just ends up here under the roof."
        assert [a.frame for a in state.attachments] == list(offered[0]["frames"])
    assert json.loads(talked.get("/said/1").text)[-1]["finding"] == 1
    talked.act("undo")
    with Desk.open(talked.folder, write=False) as desk:
        state = desk.state()
        assert (state.findings, state.attachments) == ((), ())
        assert state.sentences[0].finding is None


def test_the_standard_findings_own_words_may_be_taken(talked: Asker) -> None:
    talked.act("accept", sentence=1, standard="ATT-06", words="standard")

    with Desk.open(talked.folder, write=False) as desk:
        assert desk.state().findings[0].seen == desk.catalogue.standard("ATT-06").seen


@pytest.mark.parametrize(
    ("fields", "problem"),
    [
        ({}, "did not say which sentence"),
        ({"sentence": "x"}, "did not say which sentence"),
        ({"sentence": "77"}, "There is no sentence 77"),
        ({"sentence": "1", "standard": "NO-99"}, "NO-99"),
    ],
)
def test_a_sentence_that_is_none_changes_nothing(talked: Asker, fields: dict[str, str], problem: str) -> None:
    before = (talked.folder / "record.jsonl").read_bytes()

    told = talked.act("accept", **fields)

    assert problem in str(told["problem"])
    assert (talked.folder / "record.jsonl").read_bytes() == before


def test_in_the_round_a_sentence_is_taken_with_the_pictures_shown_at_their_distances(talked: Asker) -> None:
    talked.act("overall", frames="3", on="yes")
    things = json.loads(talked.get("/round").text)
    said = {one["number"]: one["offers"] for thing in things for one in thing["said"]}
    assert [offer["standard"] for offer in said[1]][:1] == ["ATT-06"]
    assert said[2] == []  # the weather is no finding

    made = talked.act(
        "accept",
        sentence=1,
        standard="ATT-06",
        words="standard",
        frames="2,1",
        distances="mid-range,close-up",
    )

    assert "sentence 1, with 2 pictures" in str(made["said"])
    with Desk.open(talked.folder, write=False) as desk:
        attached = desk.state().attached_to(1)
    assert [(a.frame, str(a.distance)) for a in attached] == [(2, "mid-range"), (1, "close-up")]
    after = json.loads(talked.get("/round").text)
    assert not any(one["offers"] for thing in after for one in thing["said"] if one["number"] == 1)
