"""The page for everybody: keyboard, zoom, touch, paper, no motion, and what is drawn where.

Chromium is the system's own, driven by Playwright; no browser is ever downloaded.
"""

from __future__ import annotations

import shutil
import subprocess
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from PIL import Image, ImageChops

from evidence.desk import Desk
from evidence.steps import findings, moments, narration, picture, read, rooms
from evidence.steps.start import start
from tests.review.conftest import CHROMIUM, ready, saved, served, until, view, violations
from tests.review.test_spoken import talk

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext, Page

    from evidence.review.server import Serving

pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="no Chromium on this machine: the review page is not tried in a browser"
)


@pytest.fixture
def page(window: Page) -> Page:
    return window


@pytest.fixture(scope="module")
def meter_job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job of two pictures of the made-up house: one electric meter, read twice (see its truth.csv)."""
    folder = tmp_path_factory.mktemp("meter")
    card = folder / "card" / "DCIM" / "100KSTRV"
    card.mkdir(parents=True)
    for name in ("KSTV9944.JPG", "KSTV9945.JPG"):
        shutil.copy(Path(__file__).parents[2] / "fixtures" / "card" / "DCIM" / "100KSTRV" / name, card)
    start(folder / "job", {"address": "14 Alder Court"}).close()
    with Desk.open(folder / "job") as desk:
        read.take_in(desk, [folder / "card"], executor=None)
    return folder / "job"


def test_what_differs_is_boxed_where_it_was_found(meter_job: Path, context: BrowserContext) -> None:
    """Of the picture alone and with its box, nothing differs but on the box's own lines.

    The house's truth: "the meter reads 48629, not 48170"; the reading stands in the middle of the picture's
    upper half, as anybody sees who opens the two.
    """
    with Desk.open(meter_job, write=False) as desk:
        (pair,) = desk.state().changed
    x0, _, x1, y1 = pair.boxes[0]
    assert 0.3 < (x0 + x1) / 2 < 0.7
    assert y1 < 0.6
    for serving in served(meter_job):
        page = context.new_page()
        page.goto(serving.address)
        ready(page)
        page.locator(f"#p-{pair.first}").focus()
        page.keyboard.press("u")
        shown = page.locator(".behind .shot img")
        shown.wait_for()
        until(page, "() => document.querySelector('.behind .shot img').naturalWidth > 0")
        drawn = Image.open(BytesIO(shown.screenshot())).convert("RGB")
        page.locator(".boxes").evaluate("one => one.remove()")
        bare = Image.open(BytesIO(shown.screenshot())).convert("RGB")
        page.close()

    found = ImageChops.difference(drawn, bare).getbbox()
    assert found is not None
    width, height = bare.size
    first = min(box[0] for box in pair.boxes) * width, min(box[1] for box in pair.boxes) * height
    last = max(box[2] for box in pair.boxes) * width, max(box[3] for box in pair.boxes) * height
    for got, wanted in zip(found, (*first, *last), strict=True):
        assert abs(got - wanted) <= 5  # a line's width and its shadow


def test_every_view_fits_320_pixels_without_scrolling_sideways(page: Page) -> None:
    """WCAG 2.2, 1.4.10: reflow at 320 CSS pixels, which is also 400 % zoom of 1280."""
    page.locator("#hand-new").click()
    page.locator("#maker-seen").fill("A" * 60 + " stain, " + "long " * 40)
    page.locator("#maker-own").click()
    saved(page, "Finding 1")
    page.set_viewport_size({"width": 320, "height": 640})
    for name in ("walk", "findings", "gaps", "proof"):
        page.goto(page.url.rsplit("/", 1)[0] + f"/{name}")
        ready(page)

        assert page.evaluate("document.documentElement.scrollWidth") <= 320, name
        assert page.evaluate("document.getElementById('foot').scrollWidth") <= 320, name


def test_at_200_percent_nothing_is_lost_or_covered(window: Page, context: BrowserContext) -> None:
    """WCAG 2.2, 1.4.4: 200 % zoom of 1280 x 800 is a viewport of 640 x 400 at two pixels each."""
    zoomed = context.browser.new_context(  # type: ignore[union-attr]
        viewport={"width": 640, "height": 400}, device_scale_factor=2, storage_state=context.storage_state()
    )
    page = zoomed.new_page()
    for name in ("walk", "findings", "gaps", "proof"):
        page.goto(window.url.rsplit("/", 1)[0] + f"/{name}")
        ready(page)

        assert page.evaluate("document.documentElement.scrollWidth") <= 640, name
        covered = page.evaluate(
            """() => [...document.querySelectorAll('body *')].filter((e) => /fixed|sticky/.test(
            getComputedStyle(e).position)).reduce((sum, e) => sum + e.getBoundingClientRect().height, 0)"""
        )
        assert covered <= 0.4 * 400, name
    zoomed.close()


@pytest.mark.parametrize("motion", ["reduce", "no-preference"])
def test_nothing_moves_for_who_wants_no_motion(window: Page, motion: str) -> None:
    """WCAG 2.2, 2.3.3 in spirit: no animation, transition or gliding, asked for or not."""
    window.emulate_media(reduced_motion=motion)  # type: ignore[arg-type]
    moving = window.evaluate(
        """() => [...document.querySelectorAll('*')].filter((e) => {
        const s = getComputedStyle(e);
        const moves = s.animationName !== 'none' || parseFloat(s.transitionDuration) > 0;
        return moves || s.scrollBehavior === 'smooth';
        }).map((e) => e.outerHTML.slice(0, 80))"""
    )

    assert moving == []


def test_fingers_find_every_target(window: Page, context: BrowserContext) -> None:
    """WCAG 2.2, 2.5.8 asks for 24 CSS pixels, 2.5.5 (AAA) for 44: so much where pointers are coarse."""
    tablet = context.browser.new_context(  # type: ignore[union-attr]
        viewport={"width": 1024, "height": 768},
        has_touch=True,
        is_mobile=True,
        storage_state=context.storage_state(),
    )
    page = tablet.new_page()
    for name in ("walk", "findings", "gaps", "proof"):
        page.goto(window.url.rsplit("/", 1)[0] + f"/{name}")
        ready(page)
        small = page.evaluate(
            """() => [...document.querySelectorAll('button, summary, select, input')].map((e) => {
            const b = e.getBoundingClientRect();
            return [e.id || e.className || e.tagName, Math.min(b.width, b.height)];
            }).filter(([, side]) => side > 0 && side < 44)"""
        )
        assert small == [], name
    page.goto(window.url)
    ready(page)
    page.locator("#p-2").tap()
    page.wait_for_selector("#viewer[open] img.lit")
    tablet.close()


def test_printed_views_hold_what_they_say_and_no_controls(window: Page) -> None:
    """A view on paper has no use for buttons; what was written stands there whole."""
    window.locator('[data-take="2"]').click()
    window.locator("#hand-new").click()
    window.locator("#maker-seen").fill("A hose is loose above the bath.")
    window.locator("#maker-own").click()
    saved(window, "Finding 1")
    for name in ("Walk", "Findings", "Gaps", "Proof"):
        view(window, name)
        window.emulate_media(media="print")
        controls = window.evaluate(
            """() => [...document.querySelectorAll('button:not(.shot, .take), #head, #hand')]
            .filter((e) => e.checkVisibility()).map((e) => e.outerHTML.slice(0, 80))"""
        )
        assert controls == [], name
        if name == "Findings":
            assert window.locator("#f1-seen").is_visible()
            assert window.locator(".pick img").is_visible()
        window.emulate_media(media="screen")


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="no pdftotext on this machine")
def test_printed_a_heading_stands_with_its_first_picture(page: Page, tmp_path: Path) -> None:
    """Common practice of typesetting: no heading is left alone at the foot of a page."""
    apart = []
    for push in range(500, 1000, 25):
        page.evaluate("push => { document.querySelector('h1').style.paddingTop = `${push}px`; }", push)
        page.pdf(path=tmp_path / "walk.pdf", format="Letter")
        sheets = subprocess.run(
            ["pdftotext", "-layout", tmp_path / "walk.pdf", "-"], capture_output=True, text=True, check=True
        ).stdout.split("\f")
        apart += [push for sheet in sheets if "Nameless visit" in sheet and "09:00:10" not in sheet]
        apart += [push for sheet in sheets if "pictures" in sheet and "Nameless visit" not in sheet]

    assert apart == []


def test_long_words_stay_in_their_place_and_stand_there_whole_on_paper_too(
    serving: Serving, page: Page
) -> None:
    """Common practice: what was written is to be read, however long it is."""
    long = "W" * 180
    with Desk.open(serving.review.folder) as desk:
        rooms.name(desk, {1: long})
        findings.add(desk, {"seen": long, "room": long, "place": "at the far end of the wall, " * 9})
        picture.describe(desk, [2], shown=long)
    for name in ("Walk", "Findings", "Gaps"):
        view(page, name)
        wide = page.evaluate(
            """() => [...document.querySelectorAll('main *')].filter((e) => {
            const b = e.getBoundingClientRect();
            return b.width > 0 && b.right > innerWidth + 1;
            }).map((e) => e.outerHTML.slice(0, 80))"""
        )
        assert wide == [], name
    view(page, "Findings")
    page.emulate_media(media="print")
    cut = page.evaluate(
        """() => [...document.querySelectorAll('.finding :is(input, textarea)')].filter((e) =>
        e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1).map((e) => e.id)"""
    )
    page.emulate_media(media="screen")

    assert cut == []


STOP = """() => {
    const e = document.activeElement, s = getComputedStyle(e), b = e.getBoundingClientRect();
    if (e === document.body) return null;
    const top = document.elementFromPoint(b.left + b.width / 2, b.top + b.height / 2);
    return {id: e.id || e.outerHTML.slice(0, 80),
            outlined: s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2,
            seen: !!top && (e.contains(top) || top.contains(e))};
}"""


def test_focus_is_always_to_be_seen_and_never_lost(page: Page) -> None:
    """WCAG 2.2, 2.4.7 and 2.4.11: each stop of the Tab key is outlined and not wholly covered."""
    unseen = []
    for _ in range(40):
        page.keyboard.press("Tab")
        told = page.evaluate(STOP)
        if told and not (told["outlined"] and told["seen"]):
            unseen.append(told)

    assert unseen == []


@pytest.mark.parametrize(("width", "height"), [(390, 800), (800, 600), (1280, 800), (1400, 900)])
def test_what_is_said_covers_no_control(page: Page, width: int, height: int) -> None:
    page.set_viewport_size({"width": width, "height": height})
    page.locator('[data-take="2"]').click()
    page.locator("#hand-view").click()
    saved(page, "overall view")
    page.keyboard.press("Control+z")
    saved(page, "Taken back")
    covered = page.evaluate(
        """() => [...document.querySelectorAll('#head button, #head a, #foot button')].filter((e) => {
            e.scrollIntoView({ block: "nearest" });
            const b = e.getBoundingClientRect();
            const top = document.elementFromPoint(b.left + b.width / 2, b.top + b.height / 2);
            return !top || !e.contains(top);
        }).map((e) => e.id || e.textContent)"""
    )
    hidden = []
    for _ in range(30):
        page.keyboard.press("Tab")
        told = page.evaluate(STOP)
        if told and not told["seen"]:
            hidden.append(told)

    assert covered == []
    assert hidden == []


@pytest.mark.parametrize(("width", "height"), [(800, 600), (390, 800), (640, 400)])
def test_the_question_of_the_round_is_in_sight_however_many_pictures_stand_above_it(
    page: Page, width: int, height: int
) -> None:
    """WCAG 2.2, 2.4.11, with four views at once: more than such a window shows above the field."""
    page.set_viewport_size({"width": width, "height": height})
    page.locator("#go-round").click()
    page.wait_for_selector("#round[open] .thing")
    for _ in range(3):
        page.keyboard.press("+")
    page.wait_for_selector("#round .thing:nth-child(4)")
    stops = []
    for _ in range(20):
        if told := page.evaluate(STOP):  # nothing when it stands behind the last one, outside the page
            stops.append(told)
        page.keyboard.press("Tab")

    assert stops[0]["id"] == "round-seen"
    assert len({stop["id"] for stop in stops}) > 12
    assert [stop for stop in stops if not (stop["outlined"] and stop["seen"])] == []


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1366, 768), (1920, 950)])
def test_in_the_round_pictures_what_was_said_and_what_is_offered_are_in_sight_together(
    serving: Serving, page: Page, width: int, height: int
) -> None:
    """Common practice: what is asked about stands beside the question, on a small laptop too."""
    page.set_viewport_size({"width": width, "height": height})
    with Desk.open(serving.review.folder) as desk:
        rooms.overall(desk, [3])
    talk(serving.review.folder)
    page.wait_for_selector("#s-1")
    page.locator("#go-round").click()
    page.wait_for_selector("#round[open] .offers .likeliest")
    page.keyboard.press("+")
    page.wait_for_selector("#round .thing:nth-child(2)")
    covered = page.evaluate(
        """() => [...document.querySelectorAll('#round :is(.frame, .spoken, .offers button, p.row button)')]
            .filter((e) => {
                const b = e.getBoundingClientRect();
                return [[b.left + 2, b.top + 2], [b.right - 2, b.bottom - 2]].some(([x, y]) => {
                    const top = document.elementFromPoint(x, y);
                    return !top || !(e.contains(top) || top.contains(e)) || top.matches('#round, dialog');
                });
            }).map((e) => e.outerHTML.slice(0, 80))"""
    )

    assert page.locator("#round .offers button").count() == 3
    assert covered == []


def test_however_much_was_said_the_field_of_the_round_is_in_sight(
    serving: Serving, page: Page, tmp_path: Path
) -> None:
    """WCAG 2.2, 2.4.11, in a small window."""
    page.set_viewport_size({"width": 640, "height": 400})
    said = "Finding. The bath fan hose just ends up here" + ", and a board beside it is damp" * 20
    (tmp_path / "much.vtt").write_text(f"WEBVTT\n\n00:05.000 --> 00:08.000\n{said}.\n", "utf-8")
    with Desk.open(serving.review.folder) as desk:
        rooms.overall(desk, [3])
        transcript = narration.take_in(desk, tmp_path / "much.vtt")
        narration.place(desk, transcript, moments.of_the_day(desk, "09:00:00"), "as said")
    page.wait_for_selector("#s-1")
    page.locator("#go-round").click()
    page.wait_for_selector("#round[open] .spoken")
    told = page.evaluate(STOP)

    assert page.locator("#round .asked").evaluate("one => one.scrollHeight > one.clientHeight")
    assert told["id"] == "round-seen"
    assert told["seen"]


def test_axe_finds_no_violation_in_any_view_or_question(page: Page) -> None:
    """axe-core (Deque, MPL-2.0) tests by the W3C's own rules for WCAG 2.2 AA."""
    page.emulate_media(color_scheme="dark")
    assert violations(page) == []
    page.emulate_media(color_scheme="light")
    assert violations(page) == []
    page.locator(".overalls summary").click()
    assert violations(page) == []
    page.locator("#take-overalls").click()
    saved(page, "overall view")
    page.locator("#name-1").click()
    page.wait_for_selector("#namer[open] .offers li")
    assert violations(page) == []
    page.keyboard.press("1")
    saved(page, "Visit 1 is")
    page.locator("#go-round").click()
    page.wait_for_selector("#round[open] .thing")
    assert violations(page) == []
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Delete")
    assert violations(page) == []
    page.keyboard.press("Escape")
    page.locator('[data-take="2"]').click()
    page.locator("#hand-new").click()
    page.locator("#maker-seen").fill("roof")
    page.wait_for_selector("#maker .offers .likeliest")
    assert violations(page) == []
    page.keyboard.press("Enter")
    saved(page, "Finding 1")
    page.locator("#show-keys").click()
    assert violations(page) == []
    page.keyboard.press("Escape")
    page.locator("#p-2").click()
    page.wait_for_selector("#v-looked:not([disabled])")
    assert violations(page) == []
    page.keyboard.press("Escape")
    for name in ("Findings", "Gaps", "Proof"):
        view(page, name)
        assert violations(page) == [], name
    page.locator("#set-pages").click()
    page.wait_for_selector(".sheet img", timeout=60_000)
    assert violations(page) == []
    page.locator("#look-together").click()
    page.wait_for_selector("#spread-tick:not([disabled])")
    assert violations(page) == []
