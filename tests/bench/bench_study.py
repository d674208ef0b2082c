"""Time the whole study of a card, and the comparing of a long day, against bare decoding in the same run.

``python -m tests.bench.bench_study [--files 140] [--described 2000] [--folder DIR] [--copied]``

The pictures are those of ``house_card``: they look like a house, not like one view again and again.
``--files`` of them are written as 12-MP files (kept in ``--folder`` for the next run), taken in, studied
and arranged as the commands do it, and each part of the study is timed by itself on a few of them.
``--described`` of them are described at the 2000 pixels at which the study describes a 12-MP picture, and
then compared on every core as for a job of so many. The floor decodes every file once, reduced to half.
The files carry the times at which they were taken, as on a card; with ``--copied`` they carry one time,
as when a card was copied in one go, and the cameras' times are read to tell whether it holds several jobs.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np

from evidence import desk, light, likeness, pictures, quality, roomcards, rooms, run, study
from evidence.likeness.groups import candidates
from evidence.steps import read
from evidence.steps.start import start
from tests.bench import bench_ready, house_card

SOME = 14
"""So many files are enough for the parts."""


MORNING_S = 1_795_000_000
"""2026-11-18 11:06:40 UTC."""


def parts(paths: list[Path]) -> Counter[str]:
    """Give the seconds of processor time of each part of a study, as they are in a worker's process."""
    cv2.setNumThreads(1)
    spent: Counter[str] = Counter()
    study.study(paths[0], frozenset(study.VERSIONS))  # loads what is loaded once
    for path in paths:
        data = path.read_bytes()
        large, small = pictures.study_sizes(data)
        coded = np.frombuffer(data, np.uint8)
        for name, do in (
            ("bare decoding", partial(cv2.imdecode, coded, cv2.IMREAD_REDUCED_COLOR_2)),
            ("the whole study", partial(study.study, path, frozenset(study.VERSIONS))),
            ("  metadata", partial(pictures.read_exif_bytes, data)),
            ("  two sizes", partial(pictures.study_sizes, data)),
            ("  likeness", partial(likeness.describe, large)),
            ("  quality", partial(quality.measure, large)),
            ("  light", partial(light.propose, large)),
            ("  appearance", partial(rooms.appearance, small)),
            ("  room cards", partial(roomcards.read, small)),
            ("  small copy", partial(pictures.small_jpeg, small)),
        ):
            begun = time.process_time()
            do()
            spent[name] += time.process_time() - begun  # type: ignore[assignment]
    return spent


def take_in(card: Path, folder: Path) -> tuple[tuple[float, float], tuple[float, float]]:
    """Take a card in and study it; then arrange the day."""
    start(folder, {}).close()
    with desk.Desk.open(folder) as opened:
        taken = bench_ready.timed(lambda: read.take_in(opened, [card]))
        return taken, bench_ready.timed(opened.state)


def described(place: int) -> list[bytes]:
    """Describe the pictures of a place."""
    cv2.setNumThreads(1)
    seen = house_card.seen_at(place, 2000)
    return [likeness.pack(likeness.describe(np.ascontiguousarray(bgr[..., ::-1]))) for bgr in seen]


def long_day(number: int) -> None:
    """Compare the pictures of a long day and print what it took."""
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        places = range(-(-number // house_card.AT_A_PLACE))
        packed = [one for some in pool.map(described, places) for one in some][:number]
    many = [likeness.unpack(one) for one in packed]
    seconds = [house_card.second(n) for n in range(number)]
    begun = time.process_time()
    wanted = candidates(many, seconds)
    took = time.process_time() - begun
    print(f"{number} descriptions: {len(wanted)} pairs to compare, found in {took:.1f} s of processor time")
    found: list[likeness.Related] = []
    wall, used = bench_ready.timed(
        lambda: found.append(
            likeness.group_and_relate(many, seconds, compare_them=desk.compare_on_every_core)
        )
    )
    sets = [one for one in found[0].sets if len(one) > 1]
    print(f"compared in {wall:.1f} s, {used:.1f} s of processors: {1000 * used / len(wanted):.1f} ms a pair")
    print(f"{len(sets)} sets of {sum(map(len, sets))} pictures, {len(found[0].pairs)} pairs related")


def main() -> None:
    """Print the times."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--files", type=int, default=140)
    words.add_argument("--described", type=int, default=2000)
    words.add_argument("--folder", type=Path)
    words.add_argument("--copied", action="store_true")
    asked = words.parse_args()
    if asked.folder:
        asked.folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        cores = os.cpu_count()
        if asked.files:
            card = house_card.make(asked.folder or Path(name), asked.files)
            paths = sorted(card.rglob("*.JPG"))
            for n, path in enumerate(paths):
                taken_s = house_card.second(0 if asked.copied else n)
                os.utime(path, (MORNING_S + taken_s, MORNING_S + taken_s))
            some = paths[:: max(1, len(paths) // SOME)]
            with run.workers(1) as pool:
                spent = pool.submit(parts, some).result()
            for said, seconds in spent.items():
                print(f"{said:<28} {1000 * seconds / len(some):6.1f} ms of processor time a picture")
            bare = bench_ready.timed(lambda: bench_ready.decode_all(paths))
            studied, arranged = take_in(card, Path(name) / "job")
            print(f"{len(paths)} files of 12 MP on {cores} cores, {os.getloadavg()[1]:.1f} programs at work")
            for said, (wall, used) in (
                ("bare decoding", bare),
                ("taken in and studied", studied),
                ("arranged", arranged),
            ):
                each = 1000 * used / len(paths)
                print(f"{said:<22} {wall:7.1f} s {used:7.1f} s of processors {each:6.1f} ms a picture")
        if asked.described:
            long_day(asked.described)


if __name__ == "__main__":
    main()
