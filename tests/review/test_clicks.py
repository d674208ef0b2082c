"""A double click decides one thing: its second click lands on whatever the first one brought there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from evidence.desk import Desk
from evidence.steps import findings, mark, rooms
from evidence.words import Mark, Shape
from tests.review.conftest import CHROMIUM, ready, saved, until, view

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Page

    from evidence.review.server import Serving

pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="no Chromium on this machine: the review page is not tried in a browser"
)


def click(page: Page, selector: str, count: int = 1) -> None:
    """Press what stands there; the second press of a double click, if ``count`` is 2, as slow as we like."""
    page.locator(selector).first.scroll_into_view_if_needed()
    box = page.locator(selector).first.bounding_box()
    assert box
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down(click_count=count)
    page.mouse.up(click_count=count)


def record(folder: Path) -> list[str]:
    """Name what the record's lines are about."""
    with Desk.open(folder, write=False) as desk:
        return [line.what for line in desk.job.lines]


def settled(page: Page) -> None:
    """Leave what is open, and wait until nothing is on its way: acts go one after the other."""
    page.keyboard.press("Escape")
    page.wait_for_selector("dialog[open]", state="detached")
    page.locator("#p-8").focus()
    page.keyboard.press("t")
    saved(page, "as taken")


def click_twice_then_once(window: Page, button: str, brought: str) -> None:
    """Click a button twice, the second time on what the first one brought there; then in earnest."""
    click(window, button)
    window.wait_for_selector(brought)
    window.wait_for_selector(f"{button}:not([disabled])")
    click(window, button, 2)
    window.locator(button).click()


def test_the_next_picture_is_not_looked_at_by_a_double_click(serving: Serving, window: Page) -> None:
    with Desk.open(serving.review.folder) as desk:
        rooms.overall(desk, [1, 2, 3])
    view(window, "Proof")
    window.locator("#look-next").click()
    window.wait_for_selector("#v-looked:not([disabled])")

    click_twice_then_once(window, "#v-looked", "#viewer-title:text-is('Picture 2')")
    window.wait_for_selector("#viewer-title:text-is('Picture 3')")
    window.wait_for_selector("#v-looked:not([disabled])")

    assert record(serving.review.folder).count("looked") == 2


def test_the_next_pictures_together_are_not_looked_at_by_a_double_click(
    serving: Serving, window: Page
) -> None:
    with Desk.open(serving.review.folder) as desk:
        rooms.overall(desk, [1, 2, 3, 4])
    view(window, "Proof")
    window.locator("#look-together").click()
    window.wait_for_selector("#spread-tick:not([disabled])")

    click_twice_then_once(window, "#spread-tick", "#spread-title:text-is('Pictures 3, 4')")
    saved(window, "the last ones to look at")

    assert record(serving.review.folder).count("looked") == 4


def test_the_next_visit_is_not_named_by_a_double_click(serving: Serving, window: Page) -> None:
    with Desk.open(serving.review.folder) as desk:
        rooms.settle(desk, 5, begins=True)
    window.wait_for_selector(".visit[data-first='5']")
    window.locator("#name-visits").click()
    window.wait_for_selector("#namer[open] .offers li")

    click(window, "#namer .offers button")
    window.wait_for_selector("#namer[open][data-frame='5'] .offers li")
    click(window, "#namer .offers button", 2)
    settled(window)

    assert record(serving.review.folder).count("room") == 1


def test_no_finding_is_written_by_the_double_click_that_wrote_the_one_before(
    serving: Serving, window: Page
) -> None:
    window.locator("#go-round").click()
    window.locator("#round-seen").fill("bth fan hose")
    window.wait_for_selector("#round .offers .likeliest")
    at = window.locator("#round").get_attribute("data-at")

    click(window, "#round .offers button")
    until(window, "at => document.getElementById('round').dataset.at !== at", at)
    window.locator("#round-seen").fill("bth fan hose")
    window.wait_for_selector("#round .offers .likeliest")
    click(window, "#round .offers button", 2)
    settled(window)

    assert record(serving.review.folder).count("finding") == 1


def test_a_double_click_that_goes_on_passes_by_one_thing_only(window: Page) -> None:
    """Nothing to report is said of what was looked at."""
    window.locator("#go-round").click()
    window.wait_for_selector("#round[open] .thing")
    click(window, "#round-next")
    at = window.locator("#round").get_attribute("data-at")
    click(window, "#round-next", 2)

    assert window.locator("#round[open]").get_attribute("data-at") == at


def test_the_mark_that_moved_up_is_not_taken_off_by_a_double_click(serving: Serving, window: Page) -> None:
    with Desk.open(serving.review.folder) as desk:
        mark.add(desk, 1, [Mark(Shape.RING, 0.1, 0.1, 0.3, 0.3), Mark(Shape.BOX, 0.5, 0.5, 0.7, 0.7)])
    window.locator("#p-1").click()
    window.wait_for_selector("#v-off-2")

    click(window, "#v-off-1")
    window.wait_for_selector("#v-off-2", state="detached")
    click(window, "#v-off-1", 2)
    settled(window)

    with Desk.open(serving.review.folder, write=False) as desk:
        picture = desk.state().picture(1)
    assert picture
    assert [one.shape for one in picture.marks] == [Shape.BOX]


def test_what_a_link_brought_is_not_decided_by_its_second_click(serving: Serving, window: Page) -> None:
    """The view that opens has not seen the first click."""
    with Desk.open(serving.review.folder) as desk:
        findings.add(desk, {"seen": "A step is loose."})
    click(window, "nav a[href='/findings']")
    window.wait_for_url("**/findings")
    ready(window)
    click(window, "#withdraw1", 2)
    window.locator("#f1-why").fill("Somebody may fall.")
    window.locator("#f1-do").focus()
    saved(window, "Finding 1 is changed")

    with Desk.open(serving.review.folder, write=False) as desk:
        assert [finding.why for finding in desk.state().findings] == ["Somebody may fall."]


def test_leafing_and_undoing_go_on_as_quickly_as_one_clicks(serving: Serving, window: Page) -> None:
    with Desk.open(serving.review.folder) as desk:
        rooms.name(desk, {1: "Attic"})
        rooms.name(desk, {1: "Cellar"})
    window.locator("#p-1").click()
    window.wait_for_selector("#viewer-title:text-is('Picture 1')")
    click(window, "#v-next-one")
    window.wait_for_selector("#viewer-title:text-is('Picture 2')")
    click(window, "#v-next-one", 2)
    window.wait_for_selector("#viewer-title:text-is('Picture 3')")
    window.keyboard.press("Escape")
    window.wait_for_selector("h2:has-text('Cellar')")

    click(window, "#undo")
    window.wait_for_selector("h2:has-text('Attic')")
    click(window, "#undo", 2)
    window.wait_for_selector("h2:has-text('Nameless visit')")


def test_quick_single_clicks_at_other_places_each_decide(serving: Serving, window: Page) -> None:
    with Desk.open(serving.review.folder) as desk:
        rooms.settle(desk, 3, begins=True)
        rooms.settle(desk, 5, begins=True)
    window.wait_for_selector(".visit[data-first='5']")

    window.locator("#join-5").scroll_into_view_if_needed()
    places = [window.locator(name).bounding_box() for name in ("#join-5", "#join-3")]
    for place in places:  # the one below first, so that the other stays where it is
        assert place
        window.mouse.click(place["x"] + 5, place["y"] + 5)
    window.wait_for_selector(".visit[data-first='3']", state="detached")
    window.wait_for_selector(".visit[data-first='5']", state="detached")


def test_a_key_held_down_looks_at_one_picture_only(serving: Serving, window: Page) -> None:
    with Desk.open(serving.review.folder) as desk:
        rooms.overall(desk, [1, 2, 3])
    view(window, "Proof")
    window.locator("#look-next").click()
    window.wait_for_selector("#v-looked:not([disabled])")

    window.keyboard.down("l")
    window.wait_for_selector("#viewer-title:text-is('Picture 2')")
    window.wait_for_selector("#v-looked:not([disabled])")
    for _ in range(3):
        window.keyboard.down("l")
    window.keyboard.up("l")
    window.keyboard.press("l")
    window.wait_for_selector("#viewer-title:text-is('Picture 3')")
    window.wait_for_selector("#v-looked:not([disabled])")

    assert record(serving.review.folder).count("looked") == 2
