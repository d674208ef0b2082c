"""Time and memory of making the PDF, against the same JPEGs wrapped into pages by fpdf2.

Run from the repository: ``python -m tests.bench.bench_issue [PHOTOS] [PER_PAGE]``. Each side runs
three times in a process of its own, the two in turn; the least time and the greatest memory of each
count. Seconds of processor time stand beside those of the clock: other work on the machine distorts
the clock, not the processor time. The pictures are made beforehand, so both sides only read and
wrap them. Needs fpdf2.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

ROUNDS = 3
TARGET_RATIO = 3.0
TARGET_MB = 500
LONG, SHORT = 1600, 1200


def make_pictures(folder: Path, count: int) -> None:
    """Write JPEGs of about the weight of a photograph of that size: smooth shapes and some grain."""
    rng = np.random.default_rng(5)
    for index in range(count):
        height, width = (LONG, SHORT) if index % 4 == 3 else (SHORT, LONG)
        rough = rng.integers(0, 255, (30, 40, 3), dtype=np.uint8)
        smooth = cv2.resize(rough, (width, height), interpolation=cv2.INTER_CUBIC).astype(np.int16)
        grain = rng.integers(-9, 10, (height, width, 1), dtype=np.int16)
        picture = np.clip(smooth + grain, 0, 255).astype(np.uint8)
        cv2.imwrite(str(folder / f"{index + 1:04}.jpg"), picture, [cv2.IMWRITE_JPEG_QUALITY, 82])


def ours(folder: Path, count: int, per_page: int) -> None:
    """Issue the pictures as an appendix."""
    from evidence.report import pdf
    from evidence.report.contents import Layout, Paper, Photo, PrintSize
    from tests.report.made_up import house

    def from_disk(photo: Photo, _size: PrintSize) -> bytes:
        return (folder / f"{photo.frame - 100:04}.jpg").read_bytes()

    contents = replace(house(count), layout=Layout(Paper.LETTER, per_page))
    pdf.write(contents, from_disk, PrintSize(LONG), folder / "ours.pdf")


def floor(folder: Path, count: int, per_page: int) -> None:
    """Wrap the pictures into pages, two lines below each, and nothing else."""
    from fpdf import FPDF

    wide, high = {1: (180, 230), 2: (160, 105), 4: (85, 105), 6: (85, 65)}[per_page]
    document = FPDF(format="letter")
    document.set_font("helvetica", size=8)
    columns = 1 if per_page <= 2 else 2
    for index in range(count):
        on_page = index % per_page
        if on_page == 0:
            document.add_page()
        x, y = 18 + 90 * (on_page % columns), 18 + (high + 14) * (on_page // columns)
        document.image(folder / f"{index + 1:04}.jpg", x=x, y=y, w=wide, h=high, keep_aspect_ratio=True)
        document.set_xy(x, y + high + 1)
        document.multi_cell(wide, 4, f"Photo {index + 1}: what is shown\ntime, light and hash")
    document.output(str(folder / "floor.pdf"))


def measured(side: str, folder: Path, count: int, per_page: int) -> dict[str, float]:
    """Run one side by itself; seconds by the clock and of processor, and peak MB."""
    command = [sys.executable, "-m", "tests.bench.bench_issue", "--side", side, str(folder), str(count)]
    done = subprocess.run(
        [*command, str(per_page)], capture_output=True, text=True, check=True, env=os.environ
    )
    answer: dict[str, float] = json.loads(done.stdout)
    return answer


def run_side(side: str, folder: Path, count: int, per_page: int) -> None:
    """Do the work of one side and print what it took."""
    import resource

    begun = time.perf_counter()
    (ours if side == "ours" else floor)(folder, count, per_page)
    seconds = time.perf_counter() - begun
    used = resource.getrusage(resource.RUSAGE_SELF)
    print(
        json.dumps(
            {"clock": seconds, "processor": used.ru_utime + used.ru_stime, "mb": used.ru_maxrss / 1024}
        )
    )


def main(count: int = 300, per_page: int = 2) -> None:
    """Print the two times, their ratio, and the peak memory of each."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make_pictures(folder, count)
        weight = sum(path.stat().st_size for path in folder.glob("*.jpg")) / 1e6
        rounds = [
            {side: measured(side, folder, count, per_page) for side in ("floor", "ours")}
            for _ in range(ROUNDS)
        ]
        least = {
            (side, what): min(answer[side][what] for answer in rounds)
            for side in ("floor", "ours")
            for what in ("clock", "processor")
        }
        peak = {side: max(answer[side]["mb"] for answer in rounds) for side in ("floor", "ours")}
    print(f"{count} photos, {per_page} a page, {weight:.0f} MB of JPEG, best of {ROUNDS}")
    print("          clock s  processor s  peak MB")
    for side, name in (("floor", "fpdf2"), ("ours", "issue")):
        print(f"{name:8} {least[side, 'clock']:8.2f} {least[side, 'processor']:12.2f} {peak[side]:8.0f}")
    ratios = {what: least["ours", what] / least["floor", what] for what in ("clock", "processor")}
    print(f"ratio    {ratios['clock']:8.2f} {ratios['processor']:12.2f}")
    print(f"aim: ratio at most {TARGET_RATIO}, peak at most {TARGET_MB} MB")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--side"]:
        run_side(sys.argv[2], Path(sys.argv[3]), int(sys.argv[4]), int(sys.argv[5]))
    else:
        main(*map(int, sys.argv[1:]))
