"""What is written in the page: kept while it is typed, saved as it was typed, and nothing else with it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from evidence.desk import Desk
from evidence.steps import findings
from tests.review.conftest import CHROMIUM, ready, saved, until, view

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext, Dialog, Page

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


def test_a_lift_that_is_emptied_stands_again_as_it_was(serving: Serving, window: Page) -> None:
    """It was refused in the command line's words, and the field stayed empty."""
    window.locator("#p-1").click()
    stood = window.locator("#v-stops").input_value()
    window.locator("#v-stops").fill("")
    window.keyboard.press("Tab")

    assert window.locator("#v-stops").input_value() == stood != ""
    window.locator("#v-shown").fill("a gutter")
    window.keyboard.press("Tab")
    saved(window, "is said")
    with Desk.open(job(serving), write=False) as desk:
        assert not [line for line in desk.job.lines if line.what == "light"]


@pytest.fixture
def finding(serving: Serving, window: Page) -> Page:
    """The view of findings with one that says only what was seen."""
    with Desk.open(job(serving)) as desk:
        findings.add(desk, {"seen": "A step is loose."})
    view(window, "Findings")
    return window


def test_saving_one_part_leaves_what_another_wrote_in_the_others(serving: Serving, finding: Page) -> None:
    """Every part was sent as this window knew it: what had been written elsewhere was taken back unsaid."""
    finding.locator("#f1-seen").press_sequentially("Outside: ")
    with Desk.open(job(serving)) as desk:
        findings.edit(desk, 1, {"why": "Somebody may fall.", "urgent": True})
    until(finding, "() => document.querySelector('#undo').textContent.includes('finding 1')")
    finding.keyboard.press("Tab")
    saved(finding, "Finding 1 is changed")

    with Desk.open(job(serving), write=False) as desk:
        (it,) = desk.state().findings
        assert (it.why, it.urgent) == ("Somebody may fall.", True)
    assert finding.locator("#f1-why").input_value() == "Somebody may fall."
    assert finding.locator("#f1-urgent").is_checked()


def test_what_was_written_is_no_longer_said_to_be_lacking(finding: Page) -> None:
    lacks = finding.locator(".lacks")
    assert lacks.inner_text() == (
        "Lacking: a picture; why it matters; what to do; who should do it; its room"
    )
    finding.locator("#f1-why").fill("Somebody may fall.")
    finding.keyboard.press("Tab")
    saved(finding, "Finding 1 is changed")

    assert "why it matters" not in lacks.inner_text()
    assert finding.evaluate("document.activeElement.id") == "f1-do"


def test_what_is_taken_back_elsewhere_goes_from_the_field_somebody_is_in(
    serving: Serving, finding: Page
) -> None:
    finding.locator("#f1-why").fill("Somebody may fall.")
    finding.locator("#f1-urgent").check()
    finding.wait_for_selector(".urgent")
    finding.locator("#f1-why").focus()
    with Desk.open(job(serving)) as desk:
        findings.edit(desk, 1, {"why": "", "urgent": False})

    until(finding, "() => document.getElementById('f1-why').value === ''")
    assert not finding.locator("#f1-urgent").is_checked()
    finding.locator("#f1-urgent").check()
    finding.wait_for_selector(".urgent")
    finding.locator("#f1-urgent").uncheck()
    finding.wait_for_selector(".urgent", state="detached")
    with Desk.open(job(serving), write=False) as desk:
        assert not desk.state().findings[0].urgent


def test_an_edition_issued_with_a_reason_is_the_last_one_and_its_reason_gone(window: Page) -> None:
    """The form stayed as it was, with the reason and the number: pressed again it issued another edition."""
    window.locator("#p-1").focus()
    window.keyboard.press("v")
    saved(window, "overall view")
    view(window, "Proof")
    window.locator("#issue-reason").fill("The client waits.")
    window.locator("#issue").click()
    until(window, "() => document.getElementById('said').textContent.startsWith('Issuing the edition')")
    saved(window, "Edition 1 is issued")

    assert window.locator(".issue h2").inner_text() == "Issue edition 2"
    assert window.locator("#issue-reason").input_value() == ""
    assert window.locator("#issue").is_enabled()


def test_what_was_decided_before_another_view_was_opened_is_all_saved(serving: Serving, window: Page) -> None:
    """Of decisions that waited their turn, those not yet sent went with the page and nobody said so."""
    window.locator(".shot").first.focus()
    with Desk.open(job(serving)):  # as a command does that is writing just now
        for _ in range(3):
            window.keyboard.press("v")
            window.keyboard.press("ArrowRight")
        window.locator("nav a", has_text="Gaps").click(no_wait_after=True)
    window.wait_for_url("**/gaps")

    with Desk.open(job(serving), write=False) as desk:
        assert len([line for line in desk.job.lines if line.what == "view"]) == 3


def test_what_was_refused_stays_in_sight_though_another_view_was_asked_for(
    serving: Serving, context: BrowserContext
) -> None:
    with Desk.open(job(serving)) as desk:
        findings.add(desk, {"seen": "A step is loose."})
    page = context.new_page()
    page.goto(serving.address)
    page.wait_for_url("**/walk")
    view(page, "Findings")
    page.locator("#f1-seen").fill("")
    page.locator("nav a", has_text="Gaps").click()
    page.wait_for_selector("#trouble:not([hidden])")

    assert "without what was seen" in page.locator("#trouble").inner_text()
    assert page.url.endswith("/findings")


def test_the_browser_asks_before_words_that_are_not_saved_are_lost(finding: Page) -> None:
    asked: list[str] = []

    def leave(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.accept()

    finding.on("dialog", leave)
    finding.locator("#f1-why").press_sequentially("Somebody may")
    finding.reload()
    assert asked == ["beforeunload"]

    ready(finding)
    finding.locator("#f1-why").press_sequentially("Somebody may fall.")
    finding.keyboard.press("Tab")
    saved(finding, "Finding 1 is changed")
    finding.reload()
    assert asked == ["beforeunload"]


def test_a_distance_chosen_by_mistake_is_taken_back_where_it_was_chosen(
    serving: Serving, window: Page
) -> None:
    window.locator("#p-1").click()
    window.locator("#v-distance").select_option("mid-range")
    saved(window, "is said")
    window.wait_for_selector("#v-distance [selected]", state="attached")
    window.locator("#v-distance").select_option("")
    window.wait_for_selector("#v-distance [selected]", state="detached")

    with Desk.open(job(serving), write=False) as desk:
        assert [line.value for line in desk.job.lines if line.what == "distance"] == ["mid-range", None]
