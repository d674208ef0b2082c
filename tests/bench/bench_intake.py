"""Time an intake against ``cp`` and ``sha256sum`` of the same files, in one run.

``python -m tests.bench.bench_intake [--files 300] [--mb 5] [--rounds 3] [--folder DIR]``

The floor copies the card's folder with ``cp -r`` and digests the copy with ``sha256sum``; neither
syncs nor reads back from the disk. Older ``sha256sum`` leaves the processor's own SHA instructions
unused and is then three to four times slower than ours, which flatters us: hence a second, harder
floor with ``openssl dgst -sha256``, where there is one. The intake reads, digests, writes, syncs,
drops the cache, reads back, compares, writes manifest and record. Rounds alternate and the median
counts. The card's pages are in the cache for all.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import tempfile
import time
from pathlib import Path

from evidence.job import Job
from evidence.settings import Details
from evidence.steps.intake import intake


def make_card(folder: Path, number: int, size: int) -> Path:
    """Fill a card with files of random bytes, which no disk can shorten."""
    shots = folder / "CARD" / "DCIM" / "100ABCDE"
    shots.mkdir(parents=True)
    for n in range(1, number + 1):
        shot = shots / f"ABCD{n:04d}.JPG"
        shot.write_bytes(b"\xff\xd8\xff" + os.urandom(size - 3))
        os.utime(shot, (1_795_000_000 + 20 * n, 1_795_000_000 + 20 * n))  # as a camera would: 20 s apart
    return folder / "CARD"


def floor_s(card: Path, folder: Path, digest: list[str]) -> float:
    """Copy and digest with the system's own tools."""
    start = time.perf_counter()
    subprocess.run(["cp", "-r", str(card), str(folder / "floor")], check=True)
    names = sorted(map(str, (folder / "floor").rglob("*.JPG")))
    subprocess.run([*digest, *names], check=True, stdout=subprocess.DEVNULL)
    took = time.perf_counter() - start
    shutil.rmtree(folder / "floor")
    return took


def intake_s(card: Path, folder: Path, second: Path | None) -> float:
    """Take the card into a new job."""
    with Job.create(folder / "job", Details()) as job:
        start = time.perf_counter()
        result = intake(job, [card], second_copy=second)
        took = time.perf_counter() - start
    assert result.taken
    shutil.rmtree(folder / "job")
    if second:
        shutil.rmtree(second)
    return took


def main() -> None:
    """Print the medians and their ratio."""
    words = argparse.ArgumentParser()
    words.add_argument("--files", type=int, default=300)
    words.add_argument("--mb", type=float, default=5.0)
    words.add_argument("--rounds", type=int, default=3)
    words.add_argument("--folder", type=Path)
    words.add_argument("--second", action="store_true", help="make a second copy too")
    asked = words.parse_args()
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        folder = Path(name)
        card = make_card(folder, asked.files, int(asked.mb * 1e6))
        tools = {"cp + sha256sum": ["sha256sum"]}
        if shutil.which("openssl"):
            tools["cp + openssl"] = ["openssl", "dgst", "-sha256"]
        took: dict[str, list[float]] = {name: [] for name in (*tools, "intake")}
        for _ in range(asked.rounds):
            for tool, digest in tools.items():
                os.sync()
                took[tool].append(floor_s(card, folder, digest))
            os.sync()
            took["intake"].append(intake_s(card, folder, folder / "second" if asked.second else None))
            print(", ".join(f"{name} {times[-1]:.2f} s" for name, times in took.items()))
    ours = statistics.median(took["intake"])
    for tool in tools:
        floor = statistics.median(took[tool])
        print(
            f"{asked.files} files of {asked.mb} MB: {ours:.2f} / {floor:.2f} s = {ours / floor:.2f} x {tool}"
        )


if __name__ == "__main__":
    main()
