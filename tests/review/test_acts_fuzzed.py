"""Any words in any field of any act: one clear sentence or a decision, never half of one."""

from __future__ import annotations

import contextlib
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from evidence import verify
from evidence.desk import Desk
from evidence.errors import EvidenceError
from evidence.review import acts

NUMBERS = ["0", "1", "2", "5", "8", "99", "-1", "1,2", "2,2", "2,99", "²", "٣", "1e3", "0x1", "1" * 5000]
HOSTILE = [
    "",
    " ",
    "\0",
    "\x0b",
    "\u202egnp",
    "a\nb",
    "\u2011",
    "\ud7ff\uffff",
    "<script>",
    "'\"",
    "../..",
    "=1+1",
]
WORDS = [
    *("yes", "no", "standard", "proposed", "as taken", "overall", "close-up", "overall,close-up"),
    *("nan", "inf", "-inf", "1e400", "-0.0", "0.5", "3", "ring", "arrow", "ATT-06", "Ostrel", "walk"),
]
VALUE = st.one_of(
    st.sampled_from(NUMBERS), st.sampled_from(HOSTILE), st.sampled_from(WORDS), st.text(max_size=12)
)
GOOD: dict[str, dict[str, str]] = {
    "undo": {"line": "99"},
    "redo": {"line": "99"},
    "begins": {"frame": "3", "on": "yes"},
    "move": {"frame": "5", "to": "4"},
    "room": {"frame": "1", "name": "Attic"},
    "clock": {"camera": "Ostrel", "add": "-40", "reason": "by my watch", "frame": ""},
    "overall": {"frames": "1,2", "on": "yes"},
    "light": {"frames": "1,2", "to": "1.5"},
    "attach": {"finding": "1", "frames": "2,3", "distance": "close-up", "distances": "overall,close-up"},
    "take-off": {"finding": "1", "frames": "2"},
    "first": {"finding": "1", "frame": "3"},
    "best": {"finding": "1"},
    "add": {"seen": "A hose lies loose.", "frames": "2,3", "distance": "close-up", "standard": ""},
    "accept": {"sentence": "1", "standard": "ATT-06", "frames": "2", "distances": "close-up"},
    "edit": {"finding": "1", "seen": "A hose.", "why": "Moist air.", "room": "Attic", "urgent": "yes"},
    "withdraw": {"finding": "1"},
    "explain": {"place": "Crawl space", "reason": "no hatch"},
    "front": {"frame": "2"},
    "apart": {"frames": "2,3"},
    "describe": {"frames": "2,3", "shown": "vent pipe", "direction": "north", "distance": "overall"},
    "looked": {"frames": "2,3", "on": "yes"},
    "mark": {"frame": "2", "shape": "ring", "x0": "0.1", "y0": "0.1", "x1": "0.4", "y1": "0.5"},
    "unmark": {"frame": "2", "number": "1"},
}
"""What the page sends; of it some fields are then replaced."""


@pytest.fixture(scope="module")
def folder(taken_in: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One job that all of them fall upon, one after the other."""
    made = Path(shutil.copytree(taken_in, tmp_path_factory.mktemp("fuzzed") / "job"))
    with Desk.open(made) as desk:
        acts.do(desk, "add", {"seen": "A hose lies loose.", "frames": "2,3"})
    return made


@pytest.mark.parametrize("name", GOOD)
@settings(max_examples=30, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_form_is_one_decision_or_one_refusal(folder: Path, name: str, data: st.DataObject) -> None:
    good = GOOD[name]
    replaced = data.draw(st.lists(st.sampled_from(sorted(good) or ["frame"]), max_size=2, unique=True))
    form = good | {key: data.draw(VALUE, label=key) for key in replaced}
    with Desk.open(folder) as desk:
        before = len(desk.job.lines)
        said, line = "", 0
        with contextlib.suppress(EvidenceError):  # a refusal; anything else is no clear sentence
            said, line = acts.do(desk, name, form)  # type: ignore[assignment]
        written = len(desk.job.lines) - before

        assert bool(written) == bool(line)
        assert said or not written
        desk.state()


def test_every_act_but_those_that_set_a_document_is_tried() -> None:
    assert set(GOOD) == set(acts._ACTS) - {"pages", "issue"}


def test_the_record_is_whole_after_all_of_them(folder: Path) -> None:
    assert verify.verify(folder).sound
