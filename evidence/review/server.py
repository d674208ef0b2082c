"""Serve the review page on this machine's loopback address, and to one browser.

Hides routes, templates and how a browser is told of changes. Pages are made whole on the server;
the scripts on them fetch what has changed. A change is one POST, answered when the record has it.
"""

from __future__ import annotations

import asyncio
import json
import logging
import os
import re
import socket
import tempfile
import threading
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Final
from urllib.parse import parse_qsl

import jinja2
import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.responses import (
    FileResponse,
    HTMLResponse,
    JSONResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route
from starlette.staticfiles import StaticFiles

from evidence.errors import CannotServe, EvidenceError
from evidence.review import acts, remedies, spoken, views
from evidence.review.guard import ENTER, Guard
from evidence.review.reading import Reading, Seen
from evidence.review.round import round_
from evidence.steps import findings, narration, pages, rooms, show

if TYPE_CHECKING:
    from starlette.requests import Request

HERE: Final = Path(__file__).parent
WATCH_S: Final = 0.5
"""How often the job's files are looked at for changes made elsewhere."""
WARM_AFTER_S: Final = 6.0
"""How long the making of small copies waits for the first view to be shown."""
MOST_BODIES: Final = 10_000
"""Rendered parts that are kept; a day of 2,000 pictures has some 300, and each decision changes one."""
_BREAKS: Final = re.compile(r">\n+<")
_FOREVER: Final = {"cache-control": "private, max-age=31536000, immutable"}
_CHECK: Final = "See what is missing with: evidence verify JOB"
_TITLES: Final = {"walk": "Walk", "findings": "Findings", "gaps": "Gaps", "proof": "Proof"}


class Review:
    """The page of one job, as an application behind its guard.

    Parameters
    ----------
    folder
        The job.
    port
        Where it will be served; part of what the guard allows.

    Raises
    ------
    NotAJob, NewerJob, RecordBroken, DatabaseDamaged
        The job cannot be shown.
    """

    def __init__(self, folder: Path, port: int) -> None:
        self.folder = folder
        self._reading = Reading(folder)
        self._making = threading.Semaphore(max(2, os.cpu_count() or 2))
        self._templates = jinja2.Environment(
            loader=jinja2.FileSystemLoader(HERE / "templates"),
            autoescape=True,
            trim_blocks=True,
            lstrip_blocks=True,
            undefined=jinja2.StrictUndefined,
        )
        self._templates.globals["distances"] = views.DISTANCES
        self._laid: dict[str, tuple[Seen, list[views.Part]]] = {}
        self._bodies: dict[tuple[str, str], str] = {}
        self._reading.prepare()
        # Removed when this page is forgotten; used only where the job itself cannot be written.
        self._copies = tempfile.TemporaryDirectory(prefix="evidence-", ignore_cleanup_errors=True)
        self._spare = Path(self._copies.name)
        self.stopping = threading.Event()
        self.guard = Guard(self._app(), port)

    def _app(self) -> Starlette:
        static = StaticFiles(directory=HERE / "static")
        app = Starlette(
            routes=[
                Route("/", self._home),
                Route("/events", self._events),
                Route("/act/{name}", self._act, methods=["POST"]),
                Route("/parts/{view}", self._parts, methods=["POST"]),
                Route("/fold/{frame:int}", self._fold),
                Route("/offers/{frame:int}", self._offers),
                Route("/round", self._round),
                Route("/said/{frame:int}", self._said),
                Route("/search", self._search),
                Route("/picture/{frame:int}", self._picture),
                Route("/image/{frame:int}/{digest}/{light}/{size}.jpg", self._image),
                Route("/page/{number:int}/{digest}.jpg", self._page_image),
                Route("/{view}", self._view),
            ]
        )
        app.mount("/static", static)
        # Routes are tried in order; the mount was added last, so "/{view}" must not swallow it: it
        # cannot, for a view has no slash.
        app.add_exception_handler(EvidenceError, _stopped)
        app.add_exception_handler(OSError, _unread)
        return app

    def _home(self, _: Request) -> Response:
        return RedirectResponse("/walk", 303)

    def _view(self, request: Request) -> Response:
        view = request.path_params["view"]
        if view not in _TITLES:
            return Response("There is no such page.", 404, media_type="text/plain")
        seen = self._reading.seen()
        parts = self._parts_of(view, seen)
        return HTMLResponse(
            self._render(
                "page.html",
                view=view,
                title=_TITLES[view],
                titles=_TITLES,
                head=self._head(seen),
                parts=[(part, self._body(part)) for part in parts],
            )
        )

    async def _parts(self, request: Request) -> Response:
        view = request.path_params["view"]
        if view not in _TITLES:
            return Response("There is no such page.", 404, media_type="text/plain")
        known = _known((await request.body()).decode("utf-8", "replace"))
        if known is None:
            return Response("That is not what the page sends.", 400, media_type="text/plain")
        return await run_in_threadpool(lambda: JSONResponse(self._changed(view, known, self._reading.seen())))

    def _changed(self, view: str, known: dict[str, object], seen: Seen) -> dict[str, object]:
        """Give what a page that shows ``known`` must show anew: parts by name, and all names in order."""
        parts = self._parts_of(view, seen)
        return {
            "version": seen.version,
            "order": [part.id for part in parts],
            "parts": {
                part.id: self._render("part.html", part=part, body=self._body(part))
                for part in parts
                if known.get(part.id) != part.digest
            },
            "head": self._render("head.html", head=self._head(seen), view=view, titles=_TITLES),
        }

    def _body(self, part: views.Part) -> str:
        """Render a part, or give what was rendered of it when it said the same."""
        key = (part.template, part.digest)
        body = self._bodies.get(key)
        if body is None:
            body = self._render(part.template, part=part, it=part.value)
            if len(self._bodies) >= MOST_BODIES:
                self._bodies.clear()
            self._bodies[key] = body
        return body

    def _parts_of(self, view: str, seen: Seen) -> list[views.Part]:
        if view == "proof":
            made = pages.pages_set(seen.job)
            return views.proof(seen, made, pages.changed_since(seen.job, made) if made else 0)
        before = self._laid.get(view)
        if before and before[0] is seen:
            return before[1]
        laid: dict[str, Callable[[Seen], list[views.Part]]] = {
            "walk": views.walk,
            "findings": views.findings,
            "gaps": views.gap_list,
        }
        parts = laid[view](seen)
        self._laid[view] = (seen, parts)
        return parts

    def _head(self, seen: Seen) -> views.Head:
        told = acts.last_told(seen.job.lines)
        return views.head(seen, *told, only_looking=self._reading.only_looking)

    def _render(self, template: str, **values: object) -> str:
        # The templates' line breaks between two tags mean nothing; each would be a node of the page, and
        # were two in five of them. Text cannot look so: its own angle brackets are escaped.
        return _BREAKS.sub("><", self._templates.get_template(template).render(**values))

    async def _act(self, request: Request) -> Response:
        form = dict(parse_qsl((await request.body()).decode("utf-8", "replace"), keep_blank_values=True))
        name = request.path_params["name"]
        return await run_in_threadpool(self._answered, name, form, request.headers.get("accept", ""))

    def _answered(self, name: str, form: dict[str, str], accept: str) -> Response:
        """Do an act, and answer with what a page that says what it shows must show anew."""
        view, known = form.pop("view", ""), _known(form.pop("known", ""))
        (said, saved), seen = self._reading.at_desk(
            lambda desk: acts.do(desk, name, form), acts.LONG.get(name, "")
        )
        if said is None:
            return Response("There is no such act.", 404, media_type="text/plain")
        if "application/json" not in accept:
            back = form.get("back", "walk")
            return RedirectResponse(f"/{back if back in _TITLES else 'walk'}", 303)
        told: dict[str, object] = {"said": said, "version": seen.version, "line": saved}
        if view in _TITLES and known is not None:
            told["changed"] = self._changed(view, known, seen)
        return JSONResponse(told)

    async def _events(self, _: Request) -> Response:
        """Tell an open page, as server-sent events (WHATWG HTML), which version the job has.

        While something long is under way it is told what.
        """

        async def told_of() -> AsyncIterator[str]:
            last = ""
            quiet = 0
            while not self.stopping.is_set():
                try:
                    seen = await run_in_threadpool(self._reading.seen)
                    version = f"busy {doing}" if (doing := self._reading.doing) else seen.version
                except EvidenceError as problem:
                    version = " ".join(f"stopped {problem} {remedies.on_page(problem)}".split())
                if version != last:
                    last = version
                    yield f"data: {version}\n\n"
                    quiet = 0
                quiet += 1
                if quiet * WATCH_S >= 15:
                    yield ": still here\n\n"  # so that a browser that went away is noticed
                    quiet = 0
                await asyncio.sleep(WATCH_S)

        return _stream(told_of())

    def _fold(self, request: Request) -> Response:
        seen, frame = self._reading.seen(), request.path_params["frame"]
        return HTMLResponse(self._render("fold.html", behind=views.unfolded(seen, frame)))

    def _offers(self, request: Request) -> Response:
        frame = request.path_params["frame"]
        state = self._reading.seen().state
        number = next((n for n, v in enumerate(state.visits, 1) if frame in v.frames), 0)
        if not number:
            return Response("There is no such picture.", 404, media_type="text/plain")
        offered = self._reading.ask(lambda desk: rooms.names_offered(desk, number))
        return JSONResponse([{"name": name, "reason": reason} for name, reason in offered])

    def _round(self, _: Request) -> Response:
        seen = self._reading.seen()
        offered = self._reading.ask(lambda desk: narration.offered(desk, seen.state))[0]
        return JSONResponse(round_(seen, offered))

    def _said(self, request: Request) -> Response:
        frame = request.path_params["frame"]
        return JSONResponse(self._reading.ask(lambda desk: spoken.beside(desk, frame)))

    def _search(self, request: Request) -> Response:
        words = request.query_params.get("words", "")[:400]
        found = findings.search(words, folder=self.folder) if words.strip() else []
        return JSONResponse(
            [
                {"id": row.id, "seen": row.seen, "system": row.system, "urgent": row.urgent, "who": row.who}
                for row in found
            ]
        )

    def _picture(self, request: Request) -> Response:
        frame = request.path_params["frame"]
        found = views.pictures(self._reading.seen(), [frame])
        if not found:
            return Response("There is no such picture.", 404, media_type="text/plain")
        return JSONResponse(found[frame])

    def _image(self, request: Request) -> Response:
        seen, asked = self._reading.seen(), request.path_params
        picture = seen.state.picture(asked["frame"])
        if picture is None or picture.taken.original.digest != asked["digest"] or picture.fault:
            return Response("There is no such picture.", 404, media_type="text/plain")
        with self._making:
            path = show.shown(seen.job, picture, asked["size"], asked["light"], self._spare)
        if path is None:
            return Response("There is no such copy.", 404, media_type="text/plain")
        return FileResponse(path, media_type="image/jpeg", headers=_FOREVER)

    def _page_image(self, request: Request) -> Response:
        seen = self._reading.seen()
        made = pages.pages_set(seen.job)
        if made is None or made.digest[:16] != request.path_params["digest"]:
            return Response("These pages have been set anew.", 404, media_type="text/plain")
        path = pages.page(seen.job, made, request.path_params["number"], self._spare)
        if path is None:
            return Response("There is no such page.", 404, media_type="text/plain")
        return FileResponse(path, media_type="image/jpeg", headers=_FOREVER)

    def warm(self) -> None:
        """Make the small copies that the strip shows, in time order, until stopped."""
        if self._reading.only_looking:
            return
        with suppress(EvidenceError):  # said when the day itself is asked for
            self._reading.ask(lambda desk: show.warm(desk, self.stopping.is_set))

    def forget_copies(self) -> None:
        """Remove the copies that were kept outside the job."""
        self._copies.cleanup()


def _known(text: str) -> dict[str, object] | None:
    """Read which parts a page shows, each with its digest; None when that is not what it said."""
    try:
        known = json.loads(text)
    except (ValueError, RecursionError):  # the latter for what is nested too deep
        return None
    return known if isinstance(known, dict) else None


def _stream(chunks: AsyncIterator[str]) -> Response:
    return StreamingResponse(chunks, media_type="text/event-stream")


def _stopped(request: Request, problem: Exception) -> Response:
    assert isinstance(problem, EvidenceError)  # it is registered for these alone
    return _told(request, str(problem), remedies.on_page(problem))


def _told(request: Request, said: str, remedy: str) -> Response:
    if "text/html" in request.headers.get("accept", ""):  # somebody opens a view: no script reads the answer
        return Response(f"{said} {remedy}".strip(), 409, media_type="text/plain")
    return JSONResponse({"problem": said, "remedy": remedy}, 409)


def _unread(request: Request, problem: Exception) -> Response:
    """Answer where a file of the job is gone or unreadable: an original that somebody deleted."""
    name = Path(str(getattr(problem, "filename", None) or "A file of the job")).name
    reason = getattr(problem, "strerror", None) or str(problem)
    return _told(request, f"{name} cannot be read: {reason}.", _CHECK)


class _Server(uvicorn.Server):
    """Lets what each open page listens to end before it waits for that; what is cut off then is no fault."""

    def __init__(self, config: uvicorn.Config, stopping: threading.Event) -> None:
        super().__init__(config)
        self._stopping = stopping

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._stopping.set()
        logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)
        await super().shutdown(sockets)


class Serving:
    """A review page that is being served; closing it ends that.

    Parameters
    ----------
    folder
        The job.
    port
        0 takes any free one.

    Attributes
    ----------
    address
        Where it is, with its one-time key.

    Raises
    ------
    CannotServe
        The port is taken.
    NotAJob, NewerJob, RecordBroken, DatabaseDamaged
        The job cannot be shown.
    """

    def __init__(self, folder: Path, port: int = 0) -> None:
        self._socket = socket.socket()
        try:
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            self._socket.bind(("127.0.0.1", port))
            self._socket.listen()  # at once, so that a browser opened now is answered
            port = self._socket.getsockname()[1]
            self.review = Review(folder, port)
        except OSError as problem:
            self._socket.close()
            raise CannotServe(f"Port {port} cannot be used: {problem.strerror}.") from problem
        except BaseException:
            self._socket.close()
            raise
        self.address = f"http://127.0.0.1:{port}{ENTER}?key={self.review.guard.key}"
        self._server = _Server(
            uvicorn.Config(
                self.review.guard,
                log_level="error",
                access_log=False,
                server_header=False,
                lifespan="off",
                timeout_graceful_shutdown=1,
            ),
            self.review.stopping,
        )

    def run(self) -> None:
        """Serve until interrupted, or until :meth:`end` is called from another thread."""
        try:
            self._server.run(sockets=[self._socket])
        finally:
            self.review.stopping.set()
            self.review.forget_copies()
            self._socket.close()

    def end(self) -> None:
        """Stop serving."""
        self.review.stopping.set()
        self._server.should_exit = True


def serve(folder: Path, port: int, tell: Callable[[str], None], opened: Callable[[str], object]) -> None:
    """Serve a job's review page until interrupted; errors as for :class:`Serving`.

    Parameters
    ----------
    port
        0 takes any free one.
    tell
        Told the address, with its key.
    opened
        Opens an address in a browser, or does nothing.
    """
    serving = Serving(folder, port)
    # Not at once: the first view has the machine to itself.
    warming = threading.Timer(WARM_AFTER_S, serving.review.warm)
    warming.daemon = True
    warming.start()
    tell(serving.address)
    opened(serving.address)
    serving.run()
