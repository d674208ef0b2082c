"""Time reading, look-alikes and light against the bare decoding of the same files, in one run.

``python -m tests.bench.bench_read [--files 300] [--rounds 1] [--pictures DIR]``

The floor decodes every file once, reduced to half by the DCT, on as many processes as there are
cores, and does nothing else. The work reads metadata, decodes, describes likeness, measures
quality, proposes light, looks for room cards and appearances, writes every answer, and arranges
the day. The files are the pictures of the made-up house enlarged to 12 MP, each a little different.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np

from evidence import run
from evidence.desk import Desk
from evidence.steps import intake, read
from evidence.steps.start import start

HOUSE = Path(__file__).resolve().parents[2] / "fixtures" / "card"


def make_card(pictures: Path, folder: Path, number: int) -> Path:
    """Write pictures of 4000 x 3000 under DCF names."""
    shots = folder / "CARD" / "DCIM" / "100ABCDE"
    shots.mkdir(parents=True)
    chance = np.random.default_rng(1)
    found = sorted(pictures.rglob("*.JPG"))
    readable = [path for path in found if cv2.imread(str(path)) is not None]
    for n in range(1, number + 1):
        small = cv2.imread(str(readable[n % len(readable)]))
        assert small is not None
        large = cv2.resize(small, (4000, 3000), interpolation=cv2.INTER_CUBIC)
        grain = chance.integers(0, 7, (750, 1000, 3), np.uint8)
        large = cv2.add(large, cv2.resize(grain, (4000, 3000), interpolation=cv2.INTER_NEAREST))
        cv2.imwrite(str(shots / f"ABCD{n:04d}.JPG"), large, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return folder / "CARD"


def decode(path: Path) -> int:
    """Decode one file, reduced to half, and nothing else."""
    cv2.setNumThreads(1)
    image = cv2.imread(str(path), cv2.IMREAD_REDUCED_COLOR_2)
    return 0 if image is None else int(image.size)


def floor_s(paths: list[Path], pool: ProcessPoolExecutor) -> float:
    """Decode every file."""
    begun = time.perf_counter()
    assert all(pool.map(decode, paths))
    return time.perf_counter() - begun


def main() -> None:
    """Print seconds, milliseconds a picture and core, and the ratio."""
    words = argparse.ArgumentParser()
    words.add_argument("--files", type=int, default=300)
    words.add_argument("--rounds", type=int, default=1)
    words.add_argument("--pictures", type=Path, default=HOUSE)
    words.add_argument("--folder", type=Path)
    asked = words.parse_args()
    cores = os.cpu_count() or 1
    with (
        tempfile.TemporaryDirectory(dir=asked.folder) as name,
        ProcessPoolExecutor(cores, mp_context=get_context("spawn")) as pool,
    ):
        folder = Path(name)
        card = make_card(asked.pictures, folder, asked.files)
        paths = sorted(card.rglob("*.JPG"))
        floor_s(paths[: 2 * cores], pool)  # start the workers
        floors, works, arranged = [], [], []
        for _ in range(asked.rounds):
            floors.append(floor_s(paths, pool))
            start(folder / "job", {}).close()
            with Desk.open(folder / "job") as desk:
                intake.intake(desk.job, [card])
                desk.store.put_originals(desk.job.taken())
                with run.workers() as workers:
                    list(workers.map(decode, paths[: 2 * cores]))
                    begun = time.perf_counter()
                    read.read(desk, executor=workers)
                    read_s = time.perf_counter() - begun
                begun = time.perf_counter()
                desk.state()
                arranged.append(time.perf_counter() - begun)
                works.append(read_s + arranged[-1])
            shutil.rmtree(folder / "job")
        floor, work = statistics.median(floors), statistics.median(works)
        each = 1000 * cores / asked.files
        print(f"{asked.files} pictures of 12 MP on {cores} cores, median of {asked.rounds}")
        print(f"bare decoding           {floor:8.2f} s  {each * floor:6.1f} ms a picture and core")
        print(f"read, judge and arrange {work:8.2f} s  {each * work:6.1f} ms a picture and core")
        print(f"  of it arranging       {statistics.median(arranged):8.2f} s")
        print(f"ratio                   {work / floor:8.2f}")


if __name__ == "__main__":
    main()
