"""Count what a practised person does for the made-up house, from a freshly read card to edition 1.

``python -m tests.bench.count_actions JOB`` takes a job that holds the made-up house and no decision, and
makes every decision of ``fixtures/decisions.toml`` in the review page. One action is one key, one click,
or one text typed; going to a picture is one click on it. The script knows beforehand what to decide, so
the figure is of handling, not of thinking.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, sync_playwright

from evidence.desk import Desk
from evidence.steps import findings

HOUSE = Path(__file__).resolve().parents[2] / "fixtures"
DISTANCES = ["overall", "mid-range", "close-up", "close-up with scale", "data plate", "obstruction"]


class Evening:
    """A page whose every key and click is counted by what it was for."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.done: Counter[str] = Counter()
        self.part = ""

    def key(self, key: str) -> None:
        self.done[self.part] += 1
        self.page.keyboard.press(key)

    def click(self, selector: str) -> None:
        self.done[self.part] += 1
        self.page.locator(selector).first.click()

    def words(self, text: str) -> None:
        self.done[self.part] += 1
        self.page.keyboard.insert_text(text)

    def saved(self, act: str, *args: str) -> None:
        """Do one thing and wait until the page says that it is on the disk."""
        self.page.evaluate("() => { document.getElementById('said').textContent = ''; }")
        getattr(self, act)(*args)
        self.page.wait_for_function("() => document.getElementById('said').textContent.includes('Saved')")

    def at(self, frame: int) -> None:
        """Go to a picture, wherever it is: counted as one click."""
        self.done[self.part] += 1
        self.page.evaluate("f => document.getElementById('p-' + f)?.focus()", frame)


def evening(page: Page, job: Path, decided: dict[str, Any]) -> Counter[str]:
    """Make every decision of the made-up house."""
    one = Evening(page)
    with Desk.open(job, write=False) as desk:
        state = desk.state()
        frames = {Path(t.original.place).stem: t.frame for t in desk.job.taken() if t.frame is not None}
    behind = {f for s in state.look_alikes for f in s.others}
    order = [p.frame for p in state.pictures]

    one.part = "visits split and joined"
    wanted = {frames[visit["first"]] for visit in decided["visit"]}
    proposed = {visit.frames[0] for visit in state.visits}
    for frame in sorted(wanted - proposed, key=order.index):
        if frame != order[0] and frame not in behind:
            one.at(frame)
            one.saved("key", "n")
    for begins in sorted(proposed - wanted, key=order.index):
        if begins != order[0]:
            one.saved("click", f"#join-{begins}")

    one.part = "rooms named"
    for visit in decided["visit"]:
        frame = frames[visit["first"]]
        if not page.locator(f"#name-{frame}").count():
            continue
        one.click(f"#name-{frame}")
        page.wait_for_selector("#namer[open] .offers li")
        offered = [text.split(" ", 1)[1] for text in page.locator("#namer .offers button").all_inner_texts()]
        place = next((n for n, text in enumerate(offered, 1) if text.strip().startswith(visit["room"])), 0)
        if place:
            one.saved("key", str(place))
        else:
            one.words(visit["room"])
            one.saved("key", "Enter")

    one.part = "overall views"
    for name in decided["overall"]:
        if frames[name] not in behind:
            one.at(frames[name])
            one.saved("key", "v")

    one.part = "findings written, pictures attached"
    for row in decided["finding"]:
        one.click("#hand-new")
        standard = row.get("from", "")
        one.words(row.get("seen") or next(r.seen for r in findings.search(standard) if r.id == standard))
        page.wait_for_selector("#maker[data-found]:not([data-found=''])")
        time.sleep(0.3)
        one.saved("key", "Enter" if standard else "Control+Enter")
        by_distance: dict[str, list[int]] = {}
        for name, distance in row["pictures"].items():
            by_distance.setdefault(distance, []).append(frames[name])
        for distance, shown in by_distance.items():
            here = [number for number in shown if page.locator(f"#p-{number}").count()]
            for number in here[:-1] if len(here) > 1 else []:
                one.click(f'[data-take="{number}"]')
            if here:
                if len(here) > 1:
                    one.click(f'[data-take="{here[-1]}"]')
                else:
                    one.at(here[-1])
                key = str(DISTANCES.index(distance) + 1)
                if len(here) > 1:
                    one.saved("click", f"#as-{key}")
                else:
                    one.saved("key", key)

    one.part = "printed pictures looked at"
    one.click("nav a[href='/proof']")
    page.wait_for_url("**/proof")
    page.wait_for_selector("#look-next")
    waiting = str(page.locator("#look-next").get_attribute("data-look")).split(",")
    one.click("#look-next")
    for shown_now in waiting:
        page.wait_for_selector(f"#viewer-title:text-is('Picture {shown_now}')")
        page.wait_for_selector("#v-looked:not([disabled])")
        one.saved("key", "l")
    one.part = "issue"
    page.wait_for_selector("#viewer:not([open])", state="attached")
    one.saved("click", "#issue")
    return one.done


def main(job: Path) -> None:
    """Run it and print the count by part."""
    decided = tomllib.loads((HOUSE / "decisions.toml").read_text("utf-8"))
    serving = subprocess.Popen(
        [sys.executable, "-m", "evidence", "review", str(job), "--no-open"], stdout=subprocess.PIPE, text=True
    )
    try:
        assert serving.stdout
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            page = browser.new_page(viewport={"width": 1400, "height": 1000})
            page.set_default_timeout(120_000)
            page.goto(serving.stdout.readline().strip())
            page.wait_for_selector("html[data-ready]")
            begun = time.monotonic()
            done = evening(page, job, decided)
            took = time.monotonic() - begun
            browser.close()
        for part, number in done.items():
            print(f"{number:5d} {part}")
        print(f"{done.total():5d} actions in all; the program itself took {took:.0f} s of waiting")
    finally:
        serving.terminate()
        serving.wait()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
