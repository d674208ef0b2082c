"""One window works long; the others go on looking, and what they decide waits its turn."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

from evidence import verify
from evidence.desk import Desk
from evidence.steps import issue, pages, rooms
from tests.review.conftest import CHROMIUM, Asker, ready, saved, until, view

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import BrowserContext, Page

    from evidence.review.server import Serving


class Held:
    """An edition that is under way for as long as a test wants."""

    def __init__(self) -> None:
        self.begun, self.go_on = threading.Event(), threading.Event()


@pytest.fixture
def held(monkeypatch: pytest.MonkeyPatch) -> Iterator[Held]:
    """Let an issue stop in its midst, and at the end go on in any case."""
    held, whole = Held(), issue.issue

    def slowly(desk: Desk, wanted: issue.Wanted, **more: object) -> issue.Issued:
        held.begun.set()
        assert held.go_on.wait(60)
        return whole(desk, wanted, **more)  # type: ignore[arg-type]  # handed on as it came

    monkeypatch.setattr(issue, "issue", slowly)
    yield held
    held.go_on.set()


@contextmanager
def aside(page: Asker, name: str, /, **fields: object) -> Iterator[list[dict[str, object]]]:
    """Act as another window does, beside what a test does; the answer stands in the list at the end."""
    told: list[dict[str, object]] = []
    window = threading.Thread(target=lambda: told.append(page.act(name, **fields)))
    window.start()
    try:
        yield told
    finally:
        window.join(60)


def test_the_job_is_read_as_it_stood_while_an_edition_is_issued(page: Asker, held: Held) -> None:
    page.act("overall", frames="1", on="yes")
    before = page.parts("walk")["version"]
    with aside(page, "issue", reason="The client waits.") as issued:
        assert held.begun.wait(60)
        answers = [page.get(f"/{view}").status for view in ("walk", "findings", "gaps", "proof")]
        answers += [
            page.get("/picture/1").status,
            page.get("/round").status,
            page.get("/search?words=x").status,
        ]
        version = page.parts("walk")["version"]
        with page.listening() as events:
            told = events.readline().decode()
        assert not issued
        held.go_on.set()

    assert set(answers) == {200}
    assert version == before
    assert told == "data: busy An edition is being issued\n"
    assert "Edition 1 is issued" in str(issued[0]["said"])
    assert page.parts("walk")["version"] == issued[0]["version"] != before


def test_what_is_decided_meanwhile_is_saved_after_it_and_no_second_edition_issued(
    page: Asker, held: Held
) -> None:
    line = page.act("overall", frames="1", on="yes")["line"]
    with aside(page, "issue", reason="The client waits.", line=line) as issued:
        assert held.begun.wait(60)
        with aside(page, "room", frame=1, name="Attic") as named, aside(page, "issue", line=line) as again:
            held.go_on.set()

    assert "Edition 1 is issued" in str(issued[0]["said"])
    assert named[0]["said"] == "Visit 1 is Attic."
    assert again[0]["problem"] == "Edition 1 was issued meanwhile; issue again if you want another."
    with Desk.open(page.folder, write=False) as desk:
        assert desk.job.editions() == (1,)
    assert verify.verify(page.folder).sound


def test_a_page_that_is_no_longer_the_drafts_is_not_shown_as_one(page: Asker) -> None:
    """A command may draw up another draft; what was set before keeps its own pages."""
    pytest.importorskip("pypdfium2", reason="pypdfium2 is not installed")
    page.act("overall", frames="1", on="yes")
    page.act("pages")
    with Desk.open(page.folder) as desk:
        made = pages.pages_set(desk.job)
        assert made
        rooms.name(desk, {1: "Attic"})
        draft = desk.job.issued / "draft" / pages.PDF
        draft.write_bytes(draft.read_bytes() + b"\n% another")

        assert pages.page(desk.job, made, 1) is None
    assert page.get(f"/page/1/{made.digest[:16]}.jpg").status == 404


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
def test_another_window_says_what_is_under_way_and_goes_on_by_itself(
    serving: Serving, window: Page, context: BrowserContext, held: Held
) -> None:
    folder: Path = serving.review.folder
    with Desk.open(folder) as desk:
        rooms.overall(desk, [1])
    view(window, "Proof")
    window.locator("#issue-reason").fill("The client waits.")
    window.locator("#issue").click()
    assert held.begun.wait(60)
    other = context.new_page()
    other.goto(window.url.replace("proof", "walk"))
    ready(other)
    saved(other, "An edition is being issued; looking goes on")
    other.locator("#p-1").click()
    other.wait_for_selector("#viewer[open] img.lit")
    other.keyboard.press("Escape")
    other.locator("#p-2").focus()
    other.keyboard.press("v")
    other.wait_for_timeout(300)
    assert not other.locator("#p-2[data-overall]").count()

    held.go_on.set()

    saved(other, "1 picture will be printed as overall view")
    other.wait_for_selector("#p-2[data-overall]")
    saved(window, "Edition 1 is issued")
    other.locator("#p-1").focus()
    until(other, "() => !document.getElementById('said').textContent.includes('being issued')")
