"""Make the README's pictures of the review page anew: ``python -m tests.bench.page_pictures JOB FOLDER``.

The job is the demo's (``evidence demo JOB``); nothing is decided in it, only its pages are set for Proof.
"""

from __future__ import annotations

import sys
from io import BytesIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page

from tests.bench.opened_page import opened

SHOWN_AT = (860, 578)
"""Size in the README; taken one and a half times as large, so that letters stay sharp."""


def kept(page: Page, file: Path) -> None:
    """Take what the window shows, in a palette of 256 colours: a quarter of the bytes."""
    page.wait_for_timeout(1500)  # the pictures of the first screen
    whole = Image.open(BytesIO(page.screenshot())).convert("RGB").resize(SHOWN_AT, Image.Resampling.LANCZOS)
    whole.quantize(256).save(file, optimize=True)


def main(job: Path, folder: Path) -> None:
    """Take the four views."""
    folder.mkdir(parents=True, exist_ok=True)
    with opened(job, SHOWN_AT[0] * 3 // 2, SHOWN_AT[1] * 3 // 2) as page:
        for place in (2, 5):  # in the line: which pictures are folded away may change
            page.locator("[data-take]").nth(place).click()
        kept(page, folder / "review-walk.png")
        for view in ("findings", "gaps", "proof"):
            page.locator(f"nav a[href='/{view}']").click()
            page.wait_for_url(f"**/{view}")
            page.wait_for_selector("html[data-ready]")
            if view == "proof":
                page.locator("#set-pages").click()
                page.wait_for_function(
                    "() => document.getElementById('said').textContent.includes('pages are set')"
                )
                page.evaluate("() => document.querySelector('.sheet:has(rect)').scrollIntoView()")
                page.wait_for_function(
                    "() => document.querySelector('.sheet:has(rect) img').naturalWidth > 0"
                )
            kept(page, folder / f"review-{view}.png")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
