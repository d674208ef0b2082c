"""Time from the card to the gap list, as on site: 300 pictures of 12 MP.

    python -m tests.bench.bench_gaps [--files 300] [--folder DIR]

The files are those of ``bench_read``. Copying, proving, reading, judging, arranging and the gap list with
the list "house walk" are all in it. Wall seconds, and processor seconds of all processes: on a machine
that does other work the second, divided by its cores, is what the first would be without it.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from evidence.desk import Desk
from evidence.steps import gaps, read
from evidence.steps.start import start
from tests.bench.bench_read import HOUSE, make_card


def used_s() -> float:
    """Processor seconds of this process and its ended children."""
    return sum(os.times()[:4])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=300)
    parser.add_argument("--folder", type=Path)
    words = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=words.folder) as name:
        card = make_card(HOUSE, Path(name), words.files)
        job = Path(name) / "job"
        start(job, {"address": "14 Alder Court"}).close()
        began, before = time.perf_counter(), used_s()
        with Desk.open(job) as desk:
            desk.job.set_details(replace(desk.job.details, required_list="house walk"))
            read.take_in(desk, [card])
            taken = time.perf_counter() - began
            found = gaps.gaps(desk)
        whole, processor = time.perf_counter() - began, used_s() - before
        cores = os.cpu_count() or 1
        print(f"{words.files} pictures of 12 MP, {cores} cores, other work running beside it")
        print(f"copied, proved and read   {taken:6.1f} s")
        print(f"gap list ({len(found):>3} gaps)      {whole:6.1f} s from the card, wall")
        print(f"processor                 {processor:6.1f} s, {processor / cores:.1f} s a core")


if __name__ == "__main__":
    main()
