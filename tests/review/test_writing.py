"""What is written in the page: kept while it is typed, saved as it was typed, and nothing else with it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from evidence.desk import Desk
from tests.review.conftest import CHROMIUM, saved, until

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from evidence.review.server import Serving

pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="no Chromium on this machine: the review page is not tried in a browser"
)


def job(serving: Serving) -> Path:
    """Where the job lies that is being served."""
    return serving.review.folder


def test_words_typed_while_those_before_are_being_saved_stay_as_typed(serving: Serving, window: Page) -> None:
    """The answer laid the panel out anew, and took what had been typed of the next words by then."""
    window.locator("#p-1").click()
    window.locator("#v-shown").press_sequentially("a gutter")
    window.keyboard.press("Tab")
    window.keyboard.type("nor")
    saved(window, "is said")
    window.wait_for_function("() => document.getElementById('v-shown').defaultValue === 'a gutter'")
    window.keyboard.type("th wall")
    window.keyboard.press("Tab")

    until(window, "() => document.getElementById('v-direction').defaultValue === 'north wall'")
    with Desk.open(job(serving), write=False) as desk:
        told = [line.value for line in desk.job.lines if line.what in {"shown", "direction"}]
        assert told == ["a gutter", "north wall"]


def test_half_a_sentence_is_not_saved_because_another_decided_something(
    serving: Serving, window: Page
) -> None:
    window.locator("#p-1").click()
    window.locator("#v-shown").press_sequentially("half a")
    with Desk.open(job(serving)) as desk:
        desk.decide("direction", 1, "south")
    until(window, "() => document.getElementById('v-direction').value === 'south'")
    window.keyboard.type(" sentence")

    assert window.locator("#v-shown").input_value() == "half a sentence"
    with Desk.open(job(serving), write=False) as desk:
        assert not [line for line in desk.job.lines if line.what == "shown"]
