"""Let in only the browser that was given the key, from this machine, for this page.

Pure ASGI, in front of everything. Hides the key, the cookie, and which requests are refused:

- the Host must be the one served (a name somebody else resolves to this machine is not);
- an Origin, where the browser sends one, must be the page's own, and every change must send it;
- a request that the browser calls cross-site is refused;
- without the cookie nothing is answered; the cookie is given once, for the key in the address.

Sources: OWASP's cheat sheets on cross-site request forgery and DNS rebinding; Fetch Metadata (W3C);
RFC 6265bis for SameSite; all from memory.
"""

from __future__ import annotations

import hmac
import secrets
import threading
from typing import TYPE_CHECKING, Final
from urllib.parse import parse_qs

from starlette.responses import HTMLResponse, PlainTextResponse, Response

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

ENTER: Final = "/enter"
COOKIE: Final = "evidence-review-"
"""Begins the cookie's name; the port follows, for cookies do not know ports (RFC 6265, 8.5) and two jobs may
be open in one browser."""
MOST_BYTES: Final = 512 * 1024
"""Longest body that is read: a finding's four parts are a few thousand letters, and the names and digests of
all parts shown, which come along, some 40 bytes each for at most a few thousand visits."""
LONGEST_PATH: Final = 1000
"""The longest address the page makes, a picture's with its digest, has about 120 letters."""

HEADERS: Final = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "x-frame-options": "DENY",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
"""On every answer: nothing from elsewhere, nothing inline, in nobody's frame."""

_ENTERED: Final = """<!doctype html><html lang="en"><meta charset="utf-8"><title>Review</title>
<link rel="icon" href="/static/mark.svg">
<meta http-equiv="refresh" content="0; url=/walk"><p><a href="/walk">To the review</a></p></html>"""


class Guard:
    """The doorkeeper of one running page.

    Parameters
    ----------
    app
        What is guarded.
    port
        Where it is served, on the loopback address.

    Attributes
    ----------
    key
        To be put in the address that is printed; good once.
    """

    def __init__(self, app: ASGIApp, port: int) -> None:
        self._app = app
        self._hosts = frozenset({f"127.0.0.1:{port}", f"localhost:{port}"})
        self._cookie = f"{COOKIE}{port}"
        self._value = secrets.token_urlsafe(32)
        self._lock = threading.Lock()
        self.key = secrets.token_urlsafe(32)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or hand it on."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        heads = {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}

        begun = False

        async def with_heads(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                given = {name.lower() for name, _ in message["headers"]}
                more = HEADERS | {"cache-control": "no-store"}
                message["headers"] = [
                    *message["headers"],
                    *((n.encode(), v.encode()) for n, v in more.items() if n.encode() not in given),
                ]
            await send(message)

        answer = self._refusal(scope, heads) or (
            self._enter(scope) if scope["path"] == ENTER else self._stranger(heads)
        )
        try:
            await (answer or self._app)(scope, receive, with_heads)
        except Exception as problem:  # noqa: BLE001 - the door: a person never sees a traceback
            said = f"The program met something it does not know: {type(problem).__name__}: {problem}"
            if not begun:
                await PlainTextResponse(said, 500)(scope, receive, with_heads)

    def _refusal(self, scope: Scope, heads: dict[str, str]) -> Response | None:
        host = heads.get("host", "")
        if host not in self._hosts:
            return _no("This page is not served under that name.", 421)
        own = f"http://{host}"
        origin = heads.get("origin")
        changes = scope["method"] not in {"GET", "HEAD"}
        if (origin is None and changes) or (origin is not None and origin != own):
            return _no("Only the review page itself may ask that.")
        site = heads.get("sec-fetch-site", "none")
        if site not in {"same-origin", "none"} and scope["path"] != ENTER:
            return _no("Only the review page itself may ask that.")
        if changes and not heads.get("content-length", "").isdecimal():
            return _no("The length of what is sent must be said.", 411)
        length = int(heads.get("content-length", "0") or 0)
        if length > MOST_BYTES or len(scope["path"]) > LONGEST_PATH:
            return _no("That is longer than anything the page sends.", 413)
        return None

    def _enter(self, scope: Scope) -> Response:
        if scope["method"] != "GET":
            return _no("Open the printed address in a browser.", 405)
        given = parse_qs(scope["query_string"].decode("latin-1")).get("key", [""])[0]
        with self._lock:
            right = bool(self.key) and hmac.compare_digest(given.encode(), self.key.encode())
            if right:
                self.key = ""
        if not right:
            return _no(
                "This address has been used, or is not whole. Each “evidence review” prints a new one."
            )
        answer = HTMLResponse(_ENTERED)
        answer.set_cookie(self._cookie, self._value, httponly=True, samesite="strict", path="/")
        return answer

    def _stranger(self, heads: dict[str, str]) -> Response | None:
        for part in heads.get("cookie", "").split(";"):
            name, _, value = part.strip().partition("=")
            if name == self._cookie and hmac.compare_digest(value.encode(), self._value.encode()):
                return None
        return _no("Open the address that “evidence review” printed; it works once, in one browser.")


def _no(said: str, code: int = 403) -> Response:
    return PlainTextResponse(said, code)
