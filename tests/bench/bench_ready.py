"""Time a card from the reader to the first look against the slower of the two floors, in one run.

``python -m tests.bench.bench_ready [--files 300] [--rounds 1] [--apart] [--pictures DIR]``

Floors: copying the card with ``cp -r`` and digesting the copy (``sha256sum``, and the faster
``openssl dgst -sha256``); decoding every file once, reduced to half, on every core. The way to the
first look copies, syncs, reads back, writes manifest and record, reads metadata, judges every
picture and arranges the day; copying and reading overlap. ``--apart`` does the same two parts one
after the other too, which tells what the overlap is worth. The pictures are those of
``bench_read``: 12 MP, each a little different; the card's pages are in the cache for all. Wall time
is what the inspector waits; the processor's time beside it depends less on what else the machine
does.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from evidence.desk import Desk
from evidence.steps import intake, read
from evidence.steps.start import start
from tests.bench import bench_intake, bench_read


def timed(do: Callable[[], object]) -> tuple[float, float]:
    """Give the seconds that something took: by the wall, and of processors, children's too."""
    os.sync()
    before, begun = os.times(), time.perf_counter()
    do()
    wall, after = time.perf_counter() - begun, os.times()
    return wall, sum(after[:4]) - sum(before[:4])


def decode_all(paths: list[Path]) -> None:
    """Decode every file on every core, and nothing else."""
    with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as pool:
        assert all(pool.map(bench_read.decode, paths))


def overlapped(card: Path, folder: Path) -> None:
    """Take the card in as the command does, and arrange the day."""
    start(folder, {}).close()
    with Desk.open(folder) as desk:
        read.take_in(desk, [card])
        assert desk.state().pictures


def one_after_the_other(card: Path, folder: Path) -> None:
    """The same work without the overlap."""
    start(folder, {}).close()
    with Desk.open(folder) as desk:
        intake.intake(desk.job, [card])
        read.read(desk)
        assert desk.state().pictures


def main() -> None:
    """Print medians of wall and processor time, and the ratios."""
    words = argparse.ArgumentParser()
    words.add_argument("--files", type=int, default=300)
    words.add_argument("--rounds", type=int, default=1)
    words.add_argument("--pictures", type=Path, default=bench_read.HOUSE)
    words.add_argument("--apart", action="store_true")
    words.add_argument("--folder", type=Path)
    asked = words.parse_args()
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        folder = Path(name)
        card = bench_read.make_card(asked.pictures, folder, asked.files)
        paths = sorted(card.rglob("*.JPG"))
        size = sum(path.stat().st_size for path in paths)
        parts: dict[str, Callable[[], object]] = {
            "cp + sha256sum": lambda: bench_intake.floor_s(card, folder, ["sha256sum"]),
            "bare decoding": lambda: decode_all(paths),
            "overlapped": lambda: overlapped(card, folder / "overlapped"),
        }
        if asked.apart:
            parts["one after the other"] = lambda: one_after_the_other(card, folder / "apart")
        if shutil.which("openssl"):
            openssl = ["openssl", "dgst", "-sha256"]
            parts["cp + openssl"] = lambda: bench_intake.floor_s(card, folder, openssl)
        took: dict[str, list[tuple[float, float]]] = {part: [] for part in parts}
        for _ in range(asked.rounds):
            for part, do in parts.items():
                took[part].append(timed(do))
            for job in ("overlapped", "apart"):
                shutil.rmtree(folder / job, ignore_errors=True)
    wall = {part: statistics.median(one[0] for one in times) for part, times in took.items()}
    used = {part: statistics.median(one[1] for one in times) for part, times in took.items()}
    cores, load = os.cpu_count(), os.getloadavg()[1]
    print(f"{asked.files} pictures of 12 MP, {size / 1e6:.0f} MB, {cores} cores, {load:.1f} programs at work")
    for part in parts:
        print(f"{part:<20} {wall[part]:8.1f} s {used[part]:8.1f} s of processors")
    floors = [part for part in parts if part.startswith(("cp", "bare"))]
    slower = max(floors, key=lambda part: wall[part])
    print(f"ready to review: {wall['overlapped'] / wall[slower]:.2f} x {slower}, the slower floor")
    print(f"by processors: {used['overlapped'] / used['bare decoding']:.2f} x bare decoding")
    if asked.apart:
        print(f"overlapped: {wall['overlapped'] / wall['one after the other']:.2f} x one after the other")


if __name__ == "__main__":
    main()
