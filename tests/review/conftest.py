"""A page that is really served, and somebody who asks it over HTTP."""

from __future__ import annotations

import http.client
import json
import shutil
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path
from urllib.parse import urlencode

import pytest

from evidence.review.server import Serving


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
