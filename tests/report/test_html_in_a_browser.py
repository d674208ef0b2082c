"""The HTML in a real browser: axe finds nothing, it works offline and by keyboard, and fits a phone.

The browser is Debian's Chromium, driven by playwright; the judge is axe-core (Deque), which tests by
WCAG 2.2. Without a browser these tests are skipped, and say so.
"""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from evidence.report import html
from evidence.report.contents import PrintSize
from tests.report.made_up import house, printer

FOCUSABLE = "a[href], [tabindex='0']"


@pytest.fixture(scope="module")
def appendix(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("html") / "appendix.html"
    html.write(house(12), printer, PrintSize(240), target)
    return target


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    program = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if program is None:
        pytest.skip("no Chromium is installed: apt-get install chromium")
    # Chromium refuses its sandbox to root, which a build server usually is.
    alone = ["--no-sandbox"] if os.name == "posix" and os.getuid() == 0 else []
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=program, args=alone)
        yield started
        started.close()


@pytest.fixture
def page(browser: Browser, appendix: Path) -> Iterator[Page]:
    context = browser.new_context(offline=True)
    asked: list[str] = []
    opened = context.new_page()
    opened.on("request", lambda request: asked.append(request.url))
    opened.goto(appendix.as_uri())
    yield opened
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    context.close()


@pytest.mark.parametrize("width", [320, 1100])
def test_axe_finds_no_violation(page: Page, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 800})

    found = Axe().run(page).response

    assert [f"{one['id']}: {one['help']}" for one in found["violations"]] == []
    assert len(found["passes"]) > 20


def test_axe_would_find_one(page: Page) -> None:
    """The judge judges: a picture robbed of its alternate text is found."""
    page.evaluate("document.querySelector('img').removeAttribute('alt')")

    assert "image-alt" in {one["id"] for one in Axe().run(page).response["violations"]}


def test_every_link_is_reached_by_keyboard_in_reading_order_and_seen_when_it_is(
    page: Page,
) -> None:
    """WCAG 2.2, 2.1.1, 2.4.3 and 2.4.7."""
    order = page.eval_on_selector_all(FOCUSABLE, "all => all.map(one => one.outerHTML.slice(0, 80))")
    reached = []
    for _ in order:
        page.keyboard.press("Tab")
        shown = page.evaluate("document.activeElement.outerHTML.slice(0, 80)")
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        reached.append(shown)
        assert outline != "none", shown

    assert reached == order


def test_the_first_key_skips_to_the_schedule(page: Page) -> None:
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")

    page.wait_for_url(re.compile("#schedule$"))
    assert page.evaluate("document.querySelector('#schedule').getBoundingClientRect().top") < 200


def test_every_link_leads_to_a_place_in_the_file(page: Page) -> None:
    lost = page.eval_on_selector_all(
        "a[href]",
        "all => all.map(one => one.getAttribute('href'))"
        ".filter(to => !to.startsWith('#') || !document.getElementById(to.slice(1)))",
    )
    assert lost == []


def test_no_comma_begins_a_line(browser: Browser, tmp_path: Path) -> None:
    """Unicode Standard Annex 14, class IS: there is no break before a comma."""
    made = house(12)
    first = made.findings[0].number
    photos = tuple(replace(photo, findings=(first,)) for photo in made.photos)
    html.write(replace(made, photos=photos), printer, PrintSize(240), tmp_path / "appendix.html")
    page = browser.new_page()
    page.goto((tmp_path / "appendix.html").as_uri())
    alone = []
    for width in range(320, 720, 10):
        page.set_viewport_size({"width": width, "height": 844})
        alone += page.evaluate(
            """() => [...document.querySelectorAll('td a')].filter((a) => {
                const comma = a.nextSibling;
                if (!comma?.textContent.startsWith(',')) return false;
                const range = document.createRange();
                range.setStart(comma, 0);
                range.setEnd(comma, 1);
                return range.getBoundingClientRect().top > a.getBoundingClientRect().bottom - 2;
            }).map((a) => `${innerWidth}: ${a.textContent}`)"""
        )
    commas = page.locator("td", has_text="Photo 1,").first.inner_text().count(",")
    page.close()

    assert commas >= 11
    assert alone == []


def test_nothing_needs_to_be_scrolled_sideways_on_a_phone(page: Page) -> None:
    """WCAG 2.2, 1.4.10: 320 CSS pixels; a table may scroll within itself."""
    page.set_viewport_size({"width": 320, "height": 640})

    assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_every_picture_is_decoded_by_the_browser(page: Page) -> None:
    widths = page.eval_on_selector_all("img", "all => all.map(one => one.naturalWidth)")
    assert len(widths) == 12
    assert min(widths) > 0
