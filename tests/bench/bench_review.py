"""How soon the review page can be used, and what a long job costs it, in Chromium.

``python -m tests.bench.bench_review JOB`` opens a job that has been read (2,000 pictures is what the
page is made for; ``tests.bench.long_day`` makes one) and prints, for each step, the wall time, the
processor time of the program and that of the page's main thread: from the start of the command to its
address, from there to a page that takes keys and to a first screen with all its pictures, decisions from
the key to "Saved", Arrow down, and a scroll through the whole day with the longest time a picture on the
screen stayed blank; then what the page holds. Wall times grow with other work beside it, processor times
hardly. Run it twice: the first time, small copies are still being made. Linux only (``/proc``).
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import CDPSession, Page, sync_playwright

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


class Meter:
    """Tells what a step took: wall time, the program's processor time, the page's main thread's."""

    def __init__(self, serving: subprocess.Popen[str], page: Page) -> None:
        self.page = page
        self._serving = serving
        self._told = page.context.new_cdp_session(page)
        self._told.send("Performance.enable", {"timeDomain": "threadTicks"})

    def metrics(self) -> dict[str, float]:
        """Chromium's own figures of the page."""
        return {m["name"]: m["value"] for m in self._told.send("Performance.getMetrics")["metrics"]}

    def step(self, name: str, do: Callable[[], object], times: int = 1) -> None:
        """Do something a few times and print the median of what it took."""
        took = []
        for _ in range(times):
            before, program, begun = self.metrics(), processor_s(self._serving.pid), time.monotonic()
            do()
            wall = time.monotonic() - begun
            page = self.metrics()["TaskDuration"]
            page -= before["TaskDuration"] if page >= before["TaskDuration"] else 0  # a new page begins at 0
            took.append((wall, processor_s(self._serving.pid) - program, page))
        wall, program, page = (sorted(each)[times // 2] for each in zip(*took, strict=True))
        print(f"{wall:7.2f} s wall {program:6.2f} s program {page:6.2f} s page  {name}")


def processor_s(pid: int) -> float:
    """Give a process's own processor time so far, in steps of 10 ms (proc(5), fields 14 and 15)."""
    fields = Path(f"/proc/{pid}/stat").read_text("utf-8").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def measure(job: Path) -> None:
    """Open, decide, scroll, and say what it took."""
    begun = time.monotonic()
    serving = subprocess.Popen(
        [sys.executable, "-m", "evidence", "review", str(job), "--no-open"], stdout=subprocess.PIPE, text=True
    )
    try:
        assert serving.stdout
        address = serving.stdout.readline().strip()
        wall = time.monotonic() - begun
        print(f"{wall:7.2f} s wall {processor_s(serving.pid):6.2f} s program {'':13} from command to address")
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.set_default_timeout(120_000)
            meter = Meter(serving, page)
            meter.step("from the address to a page that takes keys", lambda: _arrive(page, address))
            meter.step("until each picture of the first screen is shown", lambda: settled(page))
            own = page.url
            meter.step("the same page loaded again (median of 3)", lambda: _arrive(page, own), 3)
            shots = page.locator(".shot").count()
            _act(meter)
            print(f"{shots} pictures in the line of the day")
            _held(browser.new_browser_cdp_session(), meter, "before scrolling")
            meter.step("to scroll through the whole day", lambda: _scroll(page))
            _held(browser.new_browser_cdp_session(), meter, "after it")
            meter.step("to scroll through it once more", lambda: _scroll(page))
            _held(browser.new_browser_cdp_session(), meter, "after that")
            # What Chromium keeps of pictures decoded is a store that it gives back when memory is short.
            page.context.new_cdp_session(page).send(
                "Memory.simulatePressureNotification", {"level": "critical"}
            )
            time.sleep(3)
            _held(browser.new_browser_cdp_session(), meter, "after word that memory is short")
            browser.close()
    finally:
        serving.terminate()
        serving.wait()


def _arrive(page: Page, address: str) -> None:
    page.goto(address)
    page.wait_for_selector("html[data-ready]")


def _scroll(page: Page) -> None:
    longest, screens = 0.0, 0
    page.evaluate("() => scrollTo(0, 0)")
    while True:
        before = page.evaluate("() => scrollY")
        page.evaluate("() => scrollBy(0, innerHeight * .8)")
        longest = max(longest, settled(page))
        screens += 1
        if page.evaluate("() => scrollY") == before:
            break
    print(f"{screens} screens; a picture stayed blank {longest:.2f} s at most")


def _act(meter: Meter) -> None:
    page = meter.page
    shots = page.locator(".shot")
    for at in (3, shots.count() // 2):
        shots.nth(at).focus()
        page.keyboard.press("ArrowRight")
        name = f"one decision, from the key to “Saved”, at picture {at} of the line"
        meter.step(name, lambda: _saved(page, "v"), 5)
        meter.step("taking it back", lambda: _saved(page, "Control+z"))
        meter.step("Arrow down", lambda: page.keyboard.press("ArrowDown"))


def _saved(page: Page, key: str) -> None:
    before = page.locator("#said").inner_text()
    page.keyboard.press(key)
    page.wait_for_function(
        "before => { const said = document.getElementById('said').textContent;"
        " return said !== before && said.includes('Saved'); }",
        arg=before,
    )


def _held(browser: CDPSession, meter: Meter, when: str) -> None:
    """Say what the page holds once what it let go is collected; memory as the system counts it."""
    told = meter.page.context.new_cdp_session(meter.page)
    told.send("HeapProfiler.collectGarbage")
    found = meter.metrics()
    processes = browser.send("SystemInfo.getProcessInfo")["processInfo"]
    tabs = [Path(f"/proc/{one['id']}/status") for one in processes if one["type"] == "renderer"]
    rss = [int(line.split()[1]) for tab in tabs for line in tab.read_text().splitlines() if "VmRSS" in line]
    print(
        f"{max(rss) / 1000:.0f} MB of the tab's process, {found['JSHeapUsedSize'] / 1e6:.1f} MB of its "
        f"scripts, {found['Nodes']:.0f} nodes, {when}"
    )


if __name__ == "__main__":
    measure(Path(sys.argv[1]))
