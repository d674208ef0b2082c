"""A page that is really served, and somebody who asks it over HTTP."""

from __future__ import annotations

import http.client
import json
import shutil
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import pytest

from evidence.review.server import Serving

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page


class Answer:
    """What came back."""

    def __init__(self, answer: http.client.HTTPResponse) -> None:
        self.status = answer.status
        self.headers = {name.lower(): value for name, value in answer.getheaders()}
        self.text = answer.read().decode("utf-8", "replace")

    @property
    def told(self) -> dict[str, object]:
        """The JSON object it holds."""
        told: dict[str, object] = json.loads(self.text)
        return told


class Asker:
    """Asks by raw paths and headers, so that what a browser would tidy up arrives as it is."""

    def __init__(self, address: str, folder: Path) -> None:
        self.folder = folder
        self.host = address.split("/")[2]
        self.key = address.partition("?key=")[2]
        self.own = f"http://{self.host}"
        self.cookie = ""

    def get(self, path: str, headers: Mapping[str, str] | None = None) -> Answer:
        """Ask for something."""
        return self._ask("GET", path, headers or {}, None)

    def post(self, path: str, body: str | bytes = b"", headers: Mapping[str, str] | None = None) -> Answer:
        """Change something, as a page of this origin unless the headers say otherwise."""
        return self._ask("POST", path, {"Origin": self.own, **(headers or {})}, body)

    def enter(self) -> Answer:
        """Use the key and keep the cookie."""
        answer = self.get(f"/enter?key={self.key}")
        self.cookie = answer.headers.get("set-cookie", "").split(";")[0]
        return answer

    def act(self, name: str, /, **fields: object) -> dict[str, object]:
        """Make a decision as the page does."""
        return self.post(f"/act/{name}", urlencode(fields), {"Accept": "application/json"}).told

    def parts(self, view: str, known: Mapping[str, str] | None = None) -> dict[str, object]:
        """Ask for the parts of a view that have changed."""
        return self.post(f"/parts/{view}", json.dumps(known or {})).told

    @contextmanager
    def listening(self) -> Iterator[http.client.HTTPResponse]:
        """Listen to what an open page is told."""
        line = http.client.HTTPConnection(self.host, timeout=60)
        try:
            line.request("GET", "/events", headers={"Host": self.host, "Cookie": self.cookie})
            yield line.getresponse()
        finally:
            line.close()

    def _ask(self, method: str, path: str, headers: Mapping[str, str], body: str | bytes | None) -> Answer:
        line = http.client.HTTPConnection(self.host, timeout=60)
        cookie = {"Cookie": self.cookie} if self.cookie else {}
        given = {"Host": self.host, **cookie, **headers}
        try:
            line.putrequest(method, path, skip_host=True)
            for name, value in given.items():
                line.putheader(name, value)
            data = body.encode() if isinstance(body, str) else body
            if data is not None and "Content-Length" not in given:
                line.putheader("Content-Length", str(len(data)))
            line.endheaders(data)
            return Answer(line.getresponse())
        finally:
            line.close()


def served(folder: Path) -> Iterator[Serving]:
    """Serve a job in a thread for as long as it is wanted."""
    serving = Serving(folder)
    thread = threading.Thread(target=serving.run)
    thread.start()
    try:
        yield serving
    finally:
        serving.end()
        thread.join()


def lose(folder: Path, frame: int) -> str:
    """Delete the original of a picture of the small card, as a careless hand would; give its name."""
    (original,) = (folder / "originals" / "data").rglob(f"OSTR{frame:04d}.JPG")
    original.parent.chmod(0o700)
    original.unlink()
    return original.name


@pytest.fixture
def stranger(taken_in: Path, tmp_path: Path) -> Iterator[Asker]:
    """Somebody who has not used the key."""
    folder = Path(shutil.copytree(taken_in, tmp_path / "job"))
    for serving in served(folder):
        yield Asker(serving.address, folder)


@pytest.fixture
def page(stranger: Asker) -> Asker:
    """The browser that has used the key."""
    assert stranger.enter().status == 200
    return stranger


CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
"""The system's own; no browser is ever downloaded."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A browser for all tests of a module."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with sync_api.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture
def serving(taken_in: Path, tmp_path: Path) -> Iterator[Serving]:
    """A job of the small card, being served."""
    yield from served(Path(shutil.copytree(taken_in, tmp_path / "job")))


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    """What several windows share."""
    opened = browser.new_context(viewport={"width": 1280, "height": 800}, reduced_motion="reduce")
    opened.set_default_timeout(15_000)
    yield opened
    opened.close()


@pytest.fixture
def window(serving: Serving, context: BrowserContext) -> Iterator[Page]:
    """The page in a browser; at the end, no script may have failed."""
    opened = context.new_page()
    said: list[str] = []
    opened.on("pageerror", lambda problem: said.append(str(problem)))
    opened.on("console", lambda line: said.append(line.text) if line.type == "error" else None)
    opened.goto(serving.address)
    opened.wait_for_url("**/walk")
    ready(opened)
    yield opened
    # A window is not to be shut while it may still ask.
    assert [line for line in said if "ERR_" not in line] == []


def ready(page: Page) -> None:
    """Wait until the page takes keys."""
    page.wait_for_selector("html[data-ready]")


def saved(page: Page, words: str) -> None:
    """Wait until the page says that something is on the disk."""
    until(page, "words => document.getElementById('said').textContent.includes(words)", words)


def until(page: Page, true: str, arg: object = None) -> None:
    """Wait until a function of the page gives true; a function, for the page's policy forbids eval."""
    page.wait_for_function(true, arg=arg, timeout=60_000)


def view(page: Page, name: str) -> None:
    """Go to another view."""
    page.locator("nav a", has_text=name).click()
    page.wait_for_url(f"**/{name.lower()}*")
    ready(page)


def violations(page: Page) -> list[str]:
    """Say what axe-core finds against WCAG 2.2 AA in the page as it stands."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
    # The policy forbids eval, so axe goes in the way the driver's own scripts do.
    found = axe.Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]})
    assert len(found.response["passes"]) > 10  # it did judge
    return [f"{v['id']}: {n['html'][:160]}" for v in found.response["violations"] for n in v["nodes"]]
