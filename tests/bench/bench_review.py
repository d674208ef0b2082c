"""How soon the review page can be used, and what a long job costs it, in Chromium.

``python -m tests.bench.bench_review JOB`` opens a job that has been read (2,000 pictures is what the
page is made for) and prints: from the start of the command to its address, from the address to a
first screen with all its pictures, a scroll through the whole day with the longest time a picture
on the screen stayed blank, what one decision takes from the key to "Saved", and the memory of the
page's scripts. Wall times; other work beside it makes them longer.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

ON_SCREEN = """() => [...document.querySelectorAll('.shot img')].filter(i => {
    const b = i.getBoundingClientRect();
    return b.width && b.bottom > 0 && b.top < innerHeight;
})"""
BLANK = f"() => ({ON_SCREEN})().filter(i => !(i.complete && i.naturalWidth)).length"


def settled(page: Page, most_s: float = 60.0) -> float:
    """Wait until every picture on the screen is shown; seconds it took."""
    begun = time.monotonic()
    while time.monotonic() - begun < most_s:
        if page.evaluate(BLANK) == 0:
            break
        time.sleep(0.02)
    return time.monotonic() - begun


def measure(job: Path) -> None:
    """Open, scroll, decide, and say what it took."""
    begun = time.monotonic()
    serving = subprocess.Popen(
        [sys.executable, "-m", "evidence", "review", str(job), "--no-open"], stdout=subprocess.PIPE, text=True
    )
    try:
        assert serving.stdout
        address = serving.stdout.readline().strip()
        print(f"{time.monotonic() - begun:6.2f} s from the command to its address")
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.set_default_timeout(120_000)
            begun = time.monotonic()
            page.goto(address)
            page.wait_for_selector("html[data-ready]")
            print(f"{time.monotonic() - begun:6.2f} s from the address to a page that takes keys")
            settled(page)
            print(f"{time.monotonic() - begun:6.2f} s until each picture of the first screen is shown")
            shots, height = page.evaluate(
                "() => [document.querySelectorAll('.shot').length, document.documentElement.scrollHeight]"
            )
            print(f"{shots} pictures in the line of the day, {height} pixels high")
            _scroll(page)
            _decide(page)
            _memory(page)
            browser.close()
    finally:
        serving.terminate()
        serving.wait()


def _scroll(page: Page) -> None:
    begun, longest, screens = time.monotonic(), 0.0, 0
    while True:
        before = page.evaluate("() => scrollY")
        page.evaluate("() => scrollBy(0, innerHeight * .8)")
        longest = max(longest, settled(page))
        screens += 1
        if page.evaluate("() => scrollY") == before:
            break
    took = time.monotonic() - begun
    print(
        f"{took:6.2f} s to scroll through {screens} screens; a picture stayed blank {longest:.2f} s at most"
    )


def _decide(page: Page) -> None:
    taken = []
    shots = page.locator(".shot")
    for at in (3, 40, 80):
        shots.nth(at).focus()
        before = page.locator("#said").inner_text()
        begun = time.monotonic()
        page.keyboard.press("v")
        page.wait_for_function(
            "before => { const said = document.getElementById('said').textContent;"
            " return said !== before && said.includes('Saved'); }",
            arg=before,
        )
        taken.append(time.monotonic() - begun)
        page.keyboard.press("Control+z")
        page.wait_for_function("() => document.getElementById('said').textContent.includes('Taken back')")
    print(f"{sorted(taken)[1]:6.2f} s for one decision, from the key to “Saved” (median of three)")


def _memory(page: Page) -> None:
    client = page.context.new_cdp_session(page)
    client.send("HeapProfiler.collectGarbage")
    client.send("Performance.enable")
    metrics = {m["name"]: m["value"] for m in client.send("Performance.getMetrics")["metrics"]}
    print(f"{metrics['JSHeapUsedSize'] / 1e6:6.1f} MB of the page's scripts, {metrics['Nodes']:.0f} nodes")


if __name__ == "__main__":
    measure(Path(sys.argv[1]))
