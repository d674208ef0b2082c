"""What a key on a picture means: by how the picture stands, never by words somebody wrote of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from evidence.desk import Desk
from evidence.steps import picture, rooms
from tests.review.conftest import CHROMIUM, saved, until

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from evidence.review.server import Serving

pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="no Chromium on this machine: the review page is not tried in a browser"
)


def test_words_of_a_picture_do_not_turn_what_a_key_means(serving: Serving, window: Page) -> None:
    """“Overall view” in what it shows made v take back a view that it never was; likewise “as taken”."""
    with Desk.open(serving.review.folder) as desk:
        picture.describe(desk, [1], shown="an overall view of the wall, as taken from the path")
    until(window, "() => document.getElementById('p-1').getAttribute('aria-label').includes('the path')")
    window.locator("#p-1").focus()

    window.keyboard.press("v")
    saved(window, "1 picture will be printed as overall view")
    window.keyboard.press("t")
    saved(window, "1 picture as taken")
    window.keyboard.press("t")
    saved(window, "1 picture as proposed")
    window.keyboard.press("v")
    saved(window, "1 picture no longer printed as overall view")


def test_what_is_at_hand_says_what_a_key_means_and_not_the_picture_in_focus(
    serving: Serving, window: Page
) -> None:
    with Desk.open(serving.review.folder) as desk:
        rooms.overall(desk, [1])
    window.wait_for_selector("#p-1[data-overall]")
    frame = window.locator(".shot:not([data-overall])").first.get_attribute("data-frame")
    window.locator(f"[data-take='{frame}']").click()
    window.locator("#p-1").focus()
    window.keyboard.press("v")

    saved(window, "1 picture will be printed as overall view")


def test_enter_that_takes_a_word_from_an_input_method_writes_nothing(serving: Serving, window: Page) -> None:
    """Japanese is typed by its sounds; Enter takes the word that is meant, and must not take the finding."""
    window.locator("#hand-new").click()
    # The driver has no input method; this is the key a browser tells of while one puts a word together.
    window.locator("#maker-seen").fill("かべ")
    window.wait_for_selector("#maker[data-found='0']")
    window.locator("#maker-seen").dispatch_event("keydown", {"key": "Enter", "isComposing": True})
    window.locator("#maker-seen").fill("壁")
    window.keyboard.press("Enter")

    saved(window, "Finding 1 is written")
    with Desk.open(serving.review.folder, write=False) as desk:
        assert [finding.seen for finding in desk.state().findings] == ["壁"]


@pytest.fixture
def two_visits(serving: Serving, window: Page) -> Page:
    """The walk with a second visit, from picture 5 on."""
    with Desk.open(serving.review.folder) as desk:
        rooms.settle(desk, 5, begins=True)
    window.wait_for_selector(".visit[data-first='5']")
    return window


def test_a_visit_begins_one_picture_earlier_whatever_is_unfolded_between(two_visits: Page) -> None:
    """A look-alike unfolded there, taken earlier, was counted, and took the pictures between along."""
    two_visits.evaluate(
        """() => {
        const row = document.getElementById('p-2').closest('.cell').cloneNode(true);
        const behind = document.createElement('li');
        behind.className = 'behind';
        behind.innerHTML = '<ol class="strip one"></ol>';
        behind.firstElementChild.append(row);
        document.getElementById('p-4').closest('.cell').after(behind);
        }"""
    )
    two_visits.locator("#p-5").focus()
    two_visits.keyboard.press("[")

    saved(two_visits, "The visit now begins with picture 4")


def test_a_double_click_decides_once(serving: Serving, two_visits: Page) -> None:
    """Twice in the record, undo had to be pressed twice."""
    two_visits.locator("#join-5").dblclick()
    two_visits.wait_for_selector(".visit[data-first='5']", state="detached")
    two_visits.locator("#p-1").focus()
    two_visits.keyboard.press("v")
    saved(two_visits, "overall view")

    with Desk.open(serving.review.folder, write=False) as desk:
        assert [line.value for line in desk.job.lines if line.what == "begins"] == [True, False]
