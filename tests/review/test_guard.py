"""Who is let in: the browser with the key, from this machine, for this page, and nobody else."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from evidence.review.guard import COOKIE
from tests.review.conftest import Asker, served


def test_without_the_key_nothing_is_answered(stranger: Asker) -> None:
    for path in ("/", "/walk", "/events", "/static/page.js", "/picture/1", "/search?words=roof"):
        assert stranger.get(path).status == 403
    assert stranger.get("/enter?key=guess").status == 403


def test_the_key_is_good_once(stranger: Asker) -> None:
    assert stranger.enter().status == 200
    stranger.cookie = ""

    assert stranger.enter().status == 403
    assert stranger.get("/enter?key=").status == 403


def test_the_cookie_is_out_of_reach_of_scripts_and_of_other_sites(stranger: Asker) -> None:
    """RFC 6265 and its revision: HttpOnly hides it from scripts, SameSite=Strict from other sites."""
    given = stranger.enter().headers["set-cookie"]

    assert given.startswith(COOKIE)
    assert "HttpOnly" in given
    assert "samesite=strict" in given.lower()


def test_two_jobs_are_open_in_one_browser(page: Asker, taken_in: Path, tmp_path: Path) -> None:
    """RFC 6265, 8.5: cookies do not know ports; of two with the same name the later replaces the first."""
    other = Path(shutil.copytree(taken_in, tmp_path / "other job"))
    for serving in served(other):
        second = Asker(serving.address, other)
        second.enter()
        jar = dict(asker.cookie.partition("=")[::2] for asker in (page, second))
        page.cookie = second.cookie = "; ".join(f"{name}={value}" for name, value in jar.items())

        assert page.get("/walk").status == 200
        assert second.get("/walk").status == 200


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:1", ""])
def test_another_name_for_this_machine_is_refused(page: Asker, host: str) -> None:
    assert page.get("/walk", headers={"Host": host}).status == 421


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:1"])
def test_another_origin_can_neither_read_nor_write(page: Asker, origin: str) -> None:
    assert page.get("/walk", headers={"Origin": origin}).status == 403
    assert page.post("/act/undo", headers={"Origin": origin}).status == 403


def test_a_change_must_say_where_it_comes_from(page: Asker) -> None:
    named = {"Host": page.host, "Cookie": page.cookie, "Content-Length": "0"}
    assert page._ask("POST", "/act/undo", named, b"").status == 403
    assert page.post("/act/undo", headers={"Sec-Fetch-Site": "cross-site"}).status == 403
    assert page.get("/act/undo").status == 405


def test_a_body_longer_than_any_act_is_not_read(page: Asker) -> None:
    assert page.post("/act/add", b"x" * 600_000).status == 413


@pytest.mark.parametrize(
    "path",
    [
        "/static/../server.py",
        "/static/%2e%2e/server.py",
        "/static/..%2fserver.py",
        "/static/%2fetc/passwd",
        "/..%2f..%2fetc%2fpasswd",
        "/image/1/../../x/taken/small.jpg",
        "/image/1/0000/taken/small.jpg",
        "/picture/99999",
        "/page/1/0000.jpg",
        "/walk/..",
        "/unknown",
        "/act/unknown",
    ],
)
def test_a_path_trick_finds_nothing(page: Asker, path: str) -> None:
    answer = page.post(path) if path.startswith("/act") else page.get(path)

    assert answer.status == 404


def test_an_address_longer_than_any_of_the_page_is_refused(page: Asker) -> None:
    """Python reads no number of more than 4,300 digits (sys.set_int_max_str_digits)."""
    assert page.get("/picture/" + "9" * 5000).status == 413


def test_an_unknown_light_or_size_is_no_address(page: Asker) -> None:
    shown = page.get("/picture/1").told

    for light, size in (
        ("stops-99", "small"),
        ("stops-1.50", "small"),
        ("stops-nan", "small"),
        ("taken", "huge"),
    ):
        assert page.get(f"/image/1/{shown['digest']}/{light}/{size}.jpg").status == 404
    assert page.get(f"/image/1/{shown['digest']}/taken/small.jpg").status == 200


def test_every_answer_forbids_whatever_is_not_the_pages_own(page: Asker) -> None:
    for path in ("/walk", "/static/page.js", "/unknown", "/picture/1"):
        policy = page.get(path).headers["content-security-policy"]

        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy


def test_nothing_on_a_page_is_inline_or_from_elsewhere(page: Asker) -> None:
    for view in ("walk", "findings", "gaps", "proof"):
        html = page.get(f"/{view}").text

        assert not re.search(r"<script(?![^>]*\bsrc=)", html)
        assert not re.search(r"\s(on\w+|style)=", html)
        assert not re.search(r"(?:src|href)=[\"'](?:https?:)?//", html)
