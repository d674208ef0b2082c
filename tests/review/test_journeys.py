"""Whole evenings in a real browser: from a freshly read card to an edition, by keys and by pointer.

Chromium is the system's own, driven by Playwright; no browser is ever downloaded.
"""

from __future__ import annotations

import shutil
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from evidence import verify
from evidence.desk import Desk
from evidence.review.server import Serving
from evidence.steps import attach, findings, rooms
from evidence.words import Distance
from tests.review.conftest import CHROMIUM, lose, ready, saved, served, until, view, violations
from tests.review.test_spoken import talk

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import BrowserContext, Page, Route

pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="no Chromium on this machine: the review page is not tried in a browser"
)


@pytest.fixture
def page(window: Page) -> Page:
    return window


def looked(page: Page, number: int) -> None:
    """Wait until so many printed pictures are ticked."""
    until(page, "n => document.querySelector('.proof-head b').textContent.startsWith(n + ' of')", number)


def look_through(page: Page, tick: Callable[[], None]) -> None:
    """Tick each picture of the series once it is the one shown; a tick before that is ignored on purpose."""
    series = str(page.locator("#look-next").get_attribute("data-look")).split(",")
    for number, frame in enumerate(series, 1):
        page.wait_for_selector(f"#viewer-title:text-is('Picture {frame}')")
        page.wait_for_selector("#v-looked:not([disabled])")
        tick()
        looked(page, number)
    page.wait_for_selector("#viewer:not([open])", state="attached")


def kept_back(page: Page, asked: list[Route]) -> Route:
    """Give the request that a test keeps back, once the browser, which is another process, has told of it."""
    for _ in range(600):
        if asked:
            return asked[-1]
        page.wait_for_timeout(100)
    raise AssertionError("nothing was asked for within a minute")


def job(serving: Serving) -> Path:
    return serving.review.folder


def test_from_card_to_edition_by_keys_alone(serving: Serving, page: Page) -> None:
    keys = page.keyboard
    page.locator(".shot").first.focus()

    keys.press("ArrowRight")
    keys.press("ArrowRight")
    keys.press("ArrowRight")
    keys.press("ArrowRight")
    keys.press("n")
    saved(page, "Picture 5 begins a new visit")
    keys.press("r")
    page.wait_for_selector("#namer[open]")
    keys.type("Attic north")
    keys.press("Enter")
    saved(page, "is Attic north")
    keys.press(",")
    keys.press("r")
    page.wait_for_selector("#namer[open] .offers li")
    keys.press("1")
    saved(page, "Visit 1 is Attic north")
    keys.press("r")
    page.wait_for_selector("#namer[open]")
    keys.type("Kitchen")
    keys.press("ArrowDown")
    keys.press("Enter")
    saved(page, "Visit 1 is Kitchen")
    keys.press("v")
    saved(page, "overall view")
    keys.press(".")
    keys.press("v")
    saved(page, "overall view")
    keys.press("Space")
    keys.press("ArrowRight")
    keys.press("Space")
    keys.press("w")
    page.wait_for_selector("#maker[open]")
    keys.type("bth fan hose")
    page.wait_for_selector("#maker .offers .likeliest")
    keys.press("Enter")
    saved(page, "Finding 1 is written")
    keys.press("Space")
    keys.press("1")
    saved(page, "attached to finding 1, overall")
    keys.press("Enter")
    page.wait_for_selector("#viewer[open] img.lit")
    keys.press("o")
    keys.press("Enter")
    for key in ("ArrowRight", "ArrowRight", "ArrowRight", "ArrowDown", "ArrowDown", "ArrowDown"):
        keys.press(key)
    keys.press("Enter")
    saved(page, "Ring drawn")
    keys.press("+")
    saved(page, "lifted")
    keys.press("t")
    saved(page, "as taken")
    keys.press("Escape")
    page.wait_for_selector("#viewer:not([open])", state="attached")
    page.locator("nav a", has_text="Proof").focus()
    keys.press("Enter")
    page.wait_for_url("**/proof")
    ready(page)
    page.locator("#look-next").focus()
    keys.press("Enter")
    look_through(page, lambda: keys.press("l"))
    page.locator("#issue").focus()
    keys.press("Enter")
    saved(page, "Edition 1")

    with Desk.open(job(serving), write=False) as desk:
        state = desk.state()
    assert [(v.room, len(v.frames)) for v in state.visits] == [("Kitchen", 4), ("Attic north", 4)]
    assert state.findings[0].standard == "ATT-06"
    assert {a.frame for a in state.attachments} == {5, 6}
    assert [m.shape.value for p in state.pictures for m in p.marks] == ["ring"]
    assert (job(serving) / "issued" / "edition-1" / "appendix.pdf").is_file()
    assert verify.verify(job(serving)).sound


def test_enter_takes_what_answers_all_that_was_typed_however_slow_the_search(
    serving: Serving, page: Page
) -> None:
    def slowly(route: Route) -> None:
        time.sleep(0.3)
        route.continue_()

    page.route("**/search?*", slowly)
    page.locator(".shot").first.focus()
    page.keyboard.press("w")
    page.wait_for_selector("#maker[open]")
    page.keyboard.type("bth fan hose")
    page.keyboard.press("Enter")
    saved(page, "Finding 1 is written")

    with Desk.open(job(serving), write=False) as desk:
        assert [finding.standard for finding in desk.state().findings] == ["ATT-06"]


def test_from_card_to_edition_by_pointer_alone(serving: Serving, page: Page) -> None:
    page.locator('[data-take="5"]').click()
    page.locator("#hand-new-visit").click()
    saved(page, "Picture 5 begins a new visit")
    page.locator("#name-5").click()
    page.locator("#namer .offers button").first.click()
    saved(page, "Visit 2 is")
    page.locator("#name-1").click()
    page.locator("#namer .offers button").last.click()
    saved(page, "Visit 1 is")
    page.locator("#hand-view").click()
    saved(page, "overall view")
    page.locator('[data-take="6"]').click()
    page.locator("#hand-new").click()
    page.locator("#maker-seen").fill("hose loose")  # words are typed with whatever types words
    page.locator("#maker .offers button").first.click()
    saved(page, "Finding 1 is written")
    page.locator("#p-6").click()
    page.wait_for_selector("#viewer[open] img.lit")
    page.locator("#v-box").click()
    frame = page.locator(".frame").bounding_box()
    assert frame
    page.mouse.click(frame["x"] + frame["width"] * 0.3, frame["y"] + frame["height"] * 0.3)
    page.mouse.click(frame["x"] + frame["width"] * 0.6, frame["y"] + frame["height"] * 0.6)
    saved(page, "Box drawn")
    page.locator("#v-arrow").click()
    page.mouse.move(frame["x"] + frame["width"] * 0.1, frame["y"] + frame["height"] * 0.1)
    page.mouse.down()
    page.mouse.move(frame["x"] + frame["width"] * 0.25, frame["y"] + frame["height"] * 0.25)
    page.mouse.up()
    saved(page, "Arrow drawn")
    page.locator("#v-off-1").click()
    saved(page, "Taken off")
    page.locator("#v-close").click()
    view(page, "Proof")
    page.locator("#per-page").select_option("4")
    page.locator("#set-pages").click()
    page.wait_for_selector(".sheet img", timeout=60_000)
    saved(page, "pages are set.")
    assert page.locator("#per-page").input_value() == "4"
    assert "with 4 photos a page" in page.locator(".proof-head").inner_text()
    assert "Saved" not in page.locator("#said").inner_text()  # nothing was decided
    sheets = page.locator(".sheet").count()
    assert page.locator(".paper rect").count() == 2
    page.locator("#look-next").click()
    look_through(page, page.locator("#v-looked").click)
    page.locator("#issue").click()
    saved(page, "Edition 1")

    assert sheets >= 3
    with Desk.open(job(serving), write=False) as desk:
        state = desk.state()
    assert [m.shape.value for p in state.pictures for m in p.marks] == ["arrow"]
    assert verify.verify(job(serving)).sound


def test_a_round_through_the_day_writes_what_is_shown_and_nothing_else(serving: Serving, page: Page) -> None:
    page.locator(".shot").first.focus()
    page.keyboard.press("g")
    page.wait_for_selector("#round[open] .thing")
    first = page.locator("#round .thing b").all_inner_texts()
    assert "view 1 of the day's " in page.locator("#round").inner_text()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("4")
    page.keyboard.type("bth fan hose")
    page.keyboard.press("Enter")
    saved(page, "Finding 1 is written")
    until(page, "at => document.getElementById('round').dataset.at !== at", first[0])
    with Desk.open(job(serving), write=False) as desk:
        lines = len(desk.job.lines)
    second = page.locator("#round .thing b").all_inner_texts()
    page.keyboard.press("Enter")  # nothing to report
    page.keyboard.press("PageUp")
    until(page, "at => document.getElementById('round').dataset.at === at", second[0])
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Delete")
    page.wait_for_selector("#round .thing.out")
    page.keyboard.press("Escape")
    page.wait_for_selector("#round:not([open])", state="attached")

    with Desk.open(job(serving), write=False) as desk:
        state = desk.state()
        assert len(desk.job.lines) == lines  # looking and leaving out decide nothing
    assert [str(a.frame) for a in state.attachments] == first
    assert state.attachments[-1].distance == "close-up with scale"
    page.keyboard.press("Control+z")
    saved(page, "Taken back")
    with Desk.open(job(serving), write=False) as desk:
        assert not desk.state().findings


def test_what_was_said_becomes_a_finding_by_two_keys_or_two_clicks(serving: Serving, page: Page) -> None:
    talk(job(serving))
    page.wait_for_selector("#s-1")
    page.locator(".shot").first.focus()

    page.keyboard.press("s")
    page.wait_for_selector("#teller[open] .offers .likeliest")
    assert violations(page) == []
    page.keyboard.press("1")
    saved(page, "Finding 1 is made of sentence 1")
    focus = page.evaluate("document.activeElement.dataset.frame")
    page.locator("#s-3").click()
    page.wait_for_selector("#teller[open] .offers .likeliest")
    page.locator("#teller-standard").check()
    page.locator("#teller .offers button").first.click()
    saved(page, "Finding 2 is made of sentence 3")
    page.locator("#s-1").click()
    page.wait_for_selector("#teller[open]")
    told = page.locator("#teller").inner_text()
    page.keyboard.press("Escape")

    assert focus == "1"
    assert "It is finding 1." in told
    assert violations(page) == []
    with Desk.open(job(serving), write=False) as desk:
        first, second = desk.state().findings
    assert first.seen == "The bath fan hose just ends up here under the roof."
    assert second.seen != "There is a breaker with two wires under one screw."


def test_in_the_round_enter_takes_what_was_said_and_page_down_passes_it_by(
    serving: Serving, page: Page
) -> None:
    with Desk.open(job(serving)) as desk:
        rooms.overall(desk, [3])
    talk(job(serving))
    page.wait_for_selector("#s-1")
    page.locator("#go-round").click()
    page.wait_for_selector("#round[open] .offers .likeliest")
    shown = page.locator("#round .thing b").all_inner_texts()
    page.keyboard.press("PageDown")
    page.keyboard.press("PageUp")
    page.wait_for_selector("#round[open] .offers .likeliest")
    page.keyboard.press("Enter")
    saved(page, "Finding 1 is made of sentence 1")

    with Desk.open(job(serving), write=False) as desk:
        state = desk.state()
    assert [finding.standard for finding in state.findings] == ["ATT-06"]
    assert [str(a.frame) for a in state.attachments] == shown


def test_every_gap_leads_to_the_place_where_it_is_settled_and_the_focus_goes_along(
    serving: Serving, page: Page
) -> None:
    """WCAG 2.2, 2.4.3: who goes there by keyboard goes on from there, not from the head of the page."""
    folder = job(serving)
    with Desk.open(folder) as desk:
        rooms.name(desk, {1: "Attic"})
        by_view = findings.add(desk, {"seen": "A vent pipe is loose.", "room": "Attic"}).number
        in_room = findings.add(desk, {"seen": "A wall is stained.", "room": "Attic"}).number
        spelt = findings.add(desk, {"seen": "A tile is cracked.", "room": "Attik"}).number
        for number in (by_view, spelt):
            attach.attach(desk, number, [3], distance=Distance.CLOSE_UP)
    talk(folder)
    page.goto(page.url.rsplit("/", 1)[0] + "/gaps")
    ready(page)
    ways = page.evaluate(
        "() => [...document.querySelectorAll('.gap')].map((e) => e.querySelector('a')?.href)"
    )
    arrived = {}
    for way in ways:
        page.locator(f".gap a[href='/{way.rsplit('/', 1)[1]}']").first.click()
        page.wait_for_url(way)
        ready(page)
        page.wait_for_timeout(200)  # a browser that takes the focus away does so after the page is there
        arrived[way.rsplit("/", 1)[1]] = page.evaluate("() => document.activeElement.id")
        page.go_back()
        ready(page)

    assert arrived[f"walk#finding-{by_view}-p-3"] == "p-3"
    assert arrived[f"walk#finding-{in_room}-p-1"] == "p-1"
    assert arrived[f"findings#finding-{spelt}-f{spelt}-seen"] == f"f{spelt}-seen"
    assert [way for way in arrived if way.startswith("walk#s-")] != []
    assert [way for way, place in arrived.items() if not way.endswith(place or "nowhere")] == []


def test_the_round_begins_behind_the_overall_view_that_has_the_focus(serving: Serving, page: Page) -> None:
    """Common practice: a room is entered, an overall view taken, and its things looked at from there on."""
    with Desk.open(job(serving)) as desk:
        rooms.settle(desk, 5, begins=True)
        rooms.overall(desk, [5])
    page.wait_for_selector('.visit[data-first="5"] #p-5[data-overall]')
    page.locator("#p-5").focus()
    page.keyboard.press("g")
    page.wait_for_selector("#round[open] .thing")

    assert int(str(page.locator("#round").get_attribute("data-at"))) > 5


def test_what_was_saved_is_to_be_read_in_full_size_and_in_the_round_too(page: Page) -> None:
    """docs/review.md: the page says that a decision is saved; what lies over the page must not hide that."""
    page.locator("#p-2").click()
    page.wait_for_selector("#viewer[open] #v-shown")
    page.locator("#v-shown").fill("a vent pipe")
    page.keyboard.press("Tab")
    saved(page, "Saved as line")
    in_full_size = page.locator("#viewer .told").inner_text()
    page.keyboard.press("Escape")
    page.locator("#go-round").click()
    page.wait_for_selector("#round[open] .thing")
    page.keyboard.type("loose hose")
    page.keyboard.press("Control+Enter")
    saved(page, "Finding 1")
    in_the_round = page.locator("#round .told").inner_text()

    assert "Saved as line" in in_full_size
    assert "Finding 1 is written" in in_the_round


def test_what_takes_a_while_is_not_said_to_be_under_way_once_it_was_refused(
    serving: Serving, context: BrowserContext
) -> None:
    page = context.new_page()  # not the fixture's: what is refused is an error to the browser's console
    page.goto(serving.address)
    ready(page)
    view(page, "Proof")
    page.locator("#set-pages").click()
    until(page, "() => document.getElementById('trouble').textContent.includes('no picture to print')")
    until(page, "() => document.getElementById('said').textContent === ''")
    page.close()


def test_what_was_typed_stands_there_again_when_it_could_not_be_saved(page: Page) -> None:
    """Common practice: no words are lost because a program did not answer."""
    page.route("**/act/*", lambda asked: asked.abort())
    page.locator("#p-2").focus()
    page.keyboard.press("w")
    page.wait_for_selector("#maker[open]")
    page.keyboard.type("A hose ends under the roof.")
    page.keyboard.press("Control+Enter")
    page.wait_for_selector("#trouble:popover-open")
    kept = page.locator("#maker-seen").input_value()
    page.unroute("**/act/*")
    page.keyboard.press("Control+Enter")
    saved(page, "Finding 1 is written")
    page.route("**/act/*", lambda asked: asked.abort())
    page.locator("#name-1").click()
    page.wait_for_selector("#namer[open]")
    page.keyboard.type("Attic 2nd")
    page.keyboard.press("Enter")
    page.wait_for_selector("#trouble:popover-open")
    page.unroute("**/act/*")

    assert kept == "A hose ends under the roof."
    assert page.locator("#namer-name").input_value() == "Attic 2nd"
    assert page.evaluate("() => document.activeElement.id") == "namer-name"


def test_words_in_a_finding_that_another_window_withdraws_stay_and_the_focus_goes_to_its_neighbour(
    serving: Serving, page: Page
) -> None:
    with Desk.open(job(serving)) as desk:
        first = findings.add(desk, {"seen": "A hose is loose."}).number
        second = findings.add(desk, {"seen": "A tile is cracked."}).number
    view(page, "Findings")
    page.locator(f"#f{second}-why").focus()
    page.keyboard.type("Water runs behind it")
    with Desk.open(job(serving)) as desk:
        findings.withdraw(desk, second)
    until(page, "() => document.getElementById('saved').textContent.includes('line')")
    page.wait_for_timeout(1500)
    kept = page.locator(f"#f{second}-why").input_value()
    page.locator(f"#f{second}-why").fill("")
    page.locator(f"#withdraw{first}").focus()
    page.keyboard.press("Enter")
    saved(page, f"Finding {first} is withdrawn")

    assert kept == "Water runs behind it"
    assert page.evaluate("() => document.activeElement.id") == "view"


def test_what_is_proposed_is_taken_together_and_looked_at_together(serving: Serving, page: Page) -> None:
    page.locator('[data-take="5"]').click()
    page.locator("#hand-new-visit").click()
    saved(page, "Picture 5 begins a new visit")
    page.locator(".overalls summary").click()
    proposed = page.locator(".overalls input:checked").count()
    page.locator("#take-overalls").click()
    saved(page, "printed as overall view")
    page.locator("#name-1").click()
    page.wait_for_selector("#namer[open] .glance img")
    page.keyboard.type("Hall")
    page.keyboard.press("Enter")
    saved(page, "Visit 1 is Hall")
    page.wait_for_selector("#namer[open] .offers li")
    page.keyboard.press("1")  # it has gone on to the second visit by itself
    saved(page, "Visit 2 is")
    view(page, "Proof")
    page.locator("#look-together").click()
    page.wait_for_selector("#spread-tick:not([disabled])")
    least = min(box.evaluate("one => one.clientWidth") for box in page.locator(".spread img").all())
    page.keyboard.press("2")
    page.wait_for_selector("#viewer[open] img.lit")
    page.keyboard.press("Escape")
    page.wait_for_selector("#viewer:not([open])", state="attached")
    page.keyboard.press("l")
    saved(page, "the last ones to look at")

    assert proposed == 2
    assert least >= 528  # as wide as it prints, in CSS pixels
    with Desk.open(job(serving), write=False) as desk:
        state = desk.state()
    assert [p.looked for p in state.pictures if p.view] == [True, True]
    page.keyboard.press("Control+z")
    saved(page, "Taken back")
    with Desk.open(job(serving), write=False) as desk:
        assert [p.looked for p in desk.state().pictures if p.view] == [False, False]


def test_naming_begins_with_one_button_for_as_long_as_a_visit_has_no_name(page: Page) -> None:
    """Letters narrow what is offered, and a digit still takes one of those."""
    page.locator("#name-visits").click()
    page.wait_for_selector("#namer[open] .offers li")
    page.keyboard.type("bed")
    page.keyboard.press("2")
    saved(page, "Visit 1 is Bedroom 2")

    page.wait_for_selector("#namer:not([open])", state="attached")
    page.wait_for_selector("#name-visits", state="hidden")
    page.keyboard.press("Control+z")
    saved(page, "Taken back")
    page.wait_for_selector("#name-visits", state="visible")


def test_two_windows_agree_and_undo_goes_through_the_record(
    serving: Serving, page: Page, context: BrowserContext
) -> None:
    other = context.new_page()
    other.goto(page.url)
    ready(other)

    page.locator("#name-1").click()
    page.locator("#namer-name").fill("Cellar")
    page.keyboard.press("Enter")
    other.wait_for_selector("h2:has-text('Cellar')")
    other.locator("#undo").click()
    page.wait_for_selector("h2:has-text('Nameless visit')")
    page.locator("#redo").click()
    other.wait_for_selector("h2:has-text('Cellar')")

    with Desk.open(job(serving), write=False) as desk:
        assert [line.what for line in desk.job.lines[-3:]] == ["room", "undo", "undo"]


def test_two_windows_agree_while_decisions_come_quickly_from_both(
    serving: Serving, page: Page, context: BrowserContext
) -> None:
    """Nobody waits for an answer before the next key; in the end both show what the record holds."""
    other = context.new_page()
    other.goto(page.url)
    ready(other)

    for mine, theirs in ((1, 5), (2, 6), (3, 7), (4, 8)):
        for window, frame in ((page, mine), (other, theirs)):
            window.evaluate("frame => document.getElementById('p-' + frame).focus()", frame)
            window.keyboard.press("v")
    for window in (page, other):
        until(
            window,
            "() => document.querySelectorAll('.visit .shot[aria-label*=\"overall view\"]').length === 8",
        )

    digests = (
        "() => [...document.getElementById('parts').children].map(part => [part.id, part.dataset.digest])"
    )
    assert page.evaluate(digests) == other.evaluate(digests)
    assert page.locator("#saved").inner_text() == other.locator("#saved").inner_text()
    with Desk.open(job(serving), write=False) as desk:
        assert sorted(int(line.about) for line in desk.job.lines if line.what == "view") == list(range(1, 9))


def test_what_is_typed_is_not_lost_when_another_changes_the_same_finding(
    serving: Serving, page: Page, context: BrowserContext
) -> None:
    page.locator("#hand-new").click()
    page.locator("#maker-seen").fill("A step is loose.")
    page.locator("#maker-own").click()
    saved(page, "Finding 1")
    view(page, "Findings")
    page.locator("#f1-why").press_sequentially("Somebody may")
    with Desk.open(job(serving)) as desk:
        desk.decide("room", 1, "Stairs")
    until(page, "() => document.querySelector('nav .count').textContent === 'all visits named'")

    assert page.locator("#f1-why").input_value() == "Somebody may"
    page.locator("#f1-why").press_sequentially(" fall.")
    page.locator("#f1-do").focus()
    saved(page, "Finding 1 is changed")
    with Desk.open(job(serving), write=False) as desk:
        assert desk.state().findings[0].why == "Somebody may fall."


def test_a_dead_server_is_said_and_nothing_shown_as_saved_is_lost(serving: Serving, page: Page) -> None:
    page.locator("#name-1").click()
    page.locator("#namer-name").fill("Cellar")
    page.keyboard.press("Enter")
    saved(page, "Visit 1 is Cellar")
    serving.end()
    page.wait_for_selector("#trouble:not([hidden])")
    page.locator("#name-1").click()
    page.locator("#namer-name").fill("Attic")
    page.keyboard.press("Enter")

    until(
        page,
        "() => document.getElementById('trouble').textContent.includes('not known whether that was saved')",
    )
    with Desk.open(job(serving), write=False) as desk:
        assert {v.room for v in desk.state().visits} == {"Cellar"}


def test_a_key_held_down_decides_once(serving: Serving, page: Page) -> None:
    """A keyboard repeats a key that is held (UI Events, KeyboardEvent.repeat); common practice: act once."""
    before = len((job(serving) / "record.jsonl").read_bytes().splitlines())
    page.locator(".shot").first.focus()
    page.keyboard.press("r")
    page.wait_for_selector("#namer[open]")
    page.keyboard.type("Attic")
    for _ in range(6):
        page.keyboard.down("Enter")
    page.keyboard.up("Enter")
    saved(page, "is Attic")
    page.keyboard.down("Control")
    for _ in range(6):
        page.keyboard.down("z")
    page.keyboard.up("z")
    page.keyboard.up("Control")
    saved(page, "Taken back")
    page.locator(".shot").first.focus()
    page.keyboard.press("t")  # acts go one after the other: after it none is on its way
    saved(page, "as taken")

    assert len((job(serving) / "record.jsonl").read_bytes().splitlines()) == before + 3
    assert page.locator("dialog[open]").count() == 0


def test_what_is_typed_before_a_question_stands_is_no_command(serving: Serving, page: Page) -> None:
    asked: list[Route] = []

    def keep(route: Route) -> None:
        asked.append(route)

    page.route("**/offers/*", keep)
    before = len((job(serving) / "record.jsonl").read_bytes().splitlines())
    page.locator(".shot").nth(2).focus()

    page.keyboard.type("rnv")  # "n" would begin a visit here, "v" print the picture as overall view
    until(page, "() => document.activeElement.matches('.shot')")
    kept_back(page, asked).continue_()
    page.wait_for_selector("#namer[open]")
    page.keyboard.press("Escape")
    page.wait_for_selector("#namer:not([open])", state="attached")
    page.keyboard.press("t")  # acts go one after the other: after it none is on its way
    saved(page, "as taken")

    assert len((job(serving) / "record.jsonl").read_bytes().splitlines()) == before + 1


def test_the_next_room_typed_at_once_is_no_command(serving: Serving, page: Page) -> None:
    page.locator(".shot").nth(4).focus()
    page.keyboard.press("n")
    saved(page, "Picture 5 begins a new visit")
    before = len((job(serving) / "record.jsonl").read_bytes().splitlines())
    page.locator(".shot").first.focus()
    page.keyboard.press("r")
    page.wait_for_selector("#namer[open]")

    page.keyboard.type("Attic")
    page.keyboard.press("Enter")
    page.keyboard.type("vnx")  # in the same breath, before the next question stands there
    page.wait_for_selector("#namer[open][data-frame='5']")
    page.keyboard.press("Escape")
    page.wait_for_selector("#namer:not([open])", state="attached")
    page.locator(".shot").first.focus()
    page.keyboard.press("t")
    saved(page, "as taken")

    assert len((job(serving) / "record.jsonl").read_bytes().splitlines()) == before + 2


def test_a_picture_that_was_left_is_not_opened_again_by_a_late_answer(page: Page) -> None:
    asked: list[Route] = []
    leaving: list[bool] = []

    def keep(route: Route) -> None:
        if leaving:
            asked.append(route)
        else:
            route.continue_()  # asked for in advance

    # From the start on: of what is asked while the browser begins to hand requests over some is not.
    page.route("**/picture/2", keep)
    with page.expect_response("**/picture/2"):
        page.locator(".shot").first.focus()
        page.keyboard.press("Enter")
        page.wait_for_selector("#viewer[open] #v-next-one")
    leaving.append(True)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Escape")
    page.wait_for_selector("#viewer:not([open])", state="attached")

    with page.expect_response("**/picture/2"):
        kept_back(page, asked).continue_()
    page.evaluate("() => new Promise((done) => setTimeout(done, 100))")

    assert page.locator("dialog[open]").count() == 0


def test_a_page_of_another_origin_can_neither_read_nor_write(
    serving: Serving, page: Page, context: BrowserContext
) -> None:
    """A page of another port is another origin (RFC 6454); it has the same host, so it is near."""
    before = (job(serving) / "record.jsonl").read_bytes()
    own = page.url.removesuffix("/walk")
    evil = context.new_page()
    context.route(
        "http://evil.test/", lambda route: route.fulfill(body="<title>evil</title>", content_type="text/html")
    )
    evil.goto("http://evil.test/")

    told = evil.evaluate(
        """async (own) => {
            const tried = {};
            for (const [name, path, how] of [
                ["read", "/walk", {credentials: "include"}],
                ["write", "/act/room", {method: "POST", credentials: "include", body: "frame=1&name=Evil",
                    headers: {"Content-Type": "application/x-www-form-urlencoded"}}],
                ["blind", "/act/room", {method: "POST", mode: "no-cors", credentials: "include",
                    body: new URLSearchParams("frame=1&name=Evil")}],
            ]) {
                try { tried[name] = (await fetch(own + path, how)).type; } catch { tried[name] = "refused"; }
            }
            const image = new Image();
            tried.image = await new Promise((done) => {
                image.onload = () => done("loaded"); image.onerror = () => done("refused");
                image.src = own + "/static/mark.svg";
            });
            return tried;
        }""",
        own,
    )

    assert told["read"] == told["write"] == told["image"] == "refused"
    assert told["blind"] in {"opaque", "refused"}
    assert (job(serving) / "record.jsonl").read_bytes() == before
    evil.set_content(
        f'<form method="post" action="{own}/act/room"><input name="frame" value="1">'
        '<input name="name" value="Evil"><button>go</button></form>'
    )
    evil.locator("button").click()
    evil.wait_for_load_state()
    assert (job(serving) / "record.jsonl").read_bytes() == before


def test_a_picture_whose_original_is_gone_stands_as_one_that_cannot_be_shown(
    taken_in: Path, tmp_path: Path, context: BrowserContext
) -> None:
    folder = Path(shutil.copytree(taken_in, tmp_path / "job"))
    shutil.rmtree(folder / "copies", ignore_errors=True)
    name = lose(folder, 2)
    for serving in served(folder):
        page = context.new_page()
        page.goto(serving.address)
        page.wait_for_url("**/walk")
        ready(page)

        page.locator("#p-2 .blank").wait_for()
        until(page, "name => document.getElementById('trouble').textContent.startsWith(name)", name)
        assert page.locator("#p-1 img").count() == 1
        page.locator("#p-2").click()
        page.wait_for_selector("#viewer[open] img.lit")
        until(page, "() => document.getElementById('trouble').matches(':popover-open')")  # over the viewer
        assert page.locator("#v-looked").is_disabled()
        page.keyboard.press("Escape")
        until(page, "() => document.getElementById('trouble').checkVisibility()")
        assert not page.locator("#viewer").is_visible()
        page.close()
