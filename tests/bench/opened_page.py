"""Serve a job's review page and open it in the system's Chromium, for as long as it is wanted."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Page, sync_playwright


@contextmanager
def opened(job: Path, width: int, height: int) -> Iterator[Page]:
    """Give the page once it takes keys, in a window of so many pixels."""
    serving = subprocess.Popen(
        [sys.executable, "-m", "evidence", "review", str(job), "--no-open"], stdout=subprocess.PIPE, text=True
    )
    try:
        assert serving.stdout
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            page = browser.new_page(viewport={"width": width, "height": height})
            page.set_default_timeout(120_000)
            page.goto(serving.stdout.readline().strip())
            page.wait_for_selector("html[data-ready]")
            yield page
            browser.close()
    finally:
        serving.terminate()
        serving.wait()
