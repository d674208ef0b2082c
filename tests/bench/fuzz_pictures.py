"""Feed broken files to everything in evidence.pictures that reads one, for as long as wanted.

    nice python -m tests.bench.fuzz_pictures --minutes 10

Seeds are the open data's files and a few made up here. A case is one of them with bytes changed,
cut, doubled or joined to another's; each goes through kind, metadata, decoding and rewriting.
Whatever leaves that is not one of our errors, takes over five seconds of processor time or ends
the process is a find; its bytes are kept in the folder given. Plain random mutation, no coverage
feedback: it finds shallow faults quickly and deep ones by luck.
"""

from __future__ import annotations

import argparse
import multiprocessing
import random
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path

from evidence.errors import EvidenceError
from evidence.pictures import decode_bytes, delivered_jpeg, kind_of, read_exif_bytes
from tests.pictures.made_up import box, exif, jpeg, scene, tiff

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
LARGEST_SEED = 60_000
ODD = (
    b"\0",
    b"\xff",
    b"\x7f\xff\xff\xff",
    b"\xff\xff\xff\xff",
    b"\0\0\0\0",
    b"\0\0\0\1",
    b"\x80\0\0\0",
    b"\xff\xd8\xff\xe1",
)


def seeds() -> list[bytes]:
    """Read every file of the open data that is small enough, and make a few."""
    found = [p for part in ("exif", "broken") for p in sorted((DATA / part).rglob("*")) if p.is_file()]
    read = [p.read_bytes() for p in found if p.suffix != ".txt" and p.stat().st_size <= LARGEST_SEED]
    block = exif({0x010F: "Wren", 0x0112: 6}, {0x9003: "2026:11:25 09:30:15"}, {1: "N", 2: (1.0, 2.0, 3.0)})
    raw = tiff([(0x0106, 3, 1, b"\x23\x80"), (0x010F, 2, 5, b"Wren\0")]) + jpeg(scene(48, 32))
    film = box(b"ftyp", b"qt  \0\0\0\0") + box(
        b"moov", box(b"mvhd", b"\0" * 100) + box(b"udta", box(b"\xa9mak", b"\0\4\0\0Wren"))
    )
    return [*read, jpeg(exif=block), jpeg(progressive=True), raw, film]


def changed(chance: random.Random, stock: list[bytes]) -> bytes:
    """Break one seed in one to eight places, most of them near its beginning, where headers are."""
    data = bytearray(chance.choice(stock))
    for _ in range(chance.randint(1, 8)):
        size = len(data) or 1
        at = min(int(size * chance.random() ** chance.choice((1, 4))), size - 1)
        match chance.randrange(6):
            case 0:
                data[at : at + 1] = bytes([chance.randrange(256)])
            case 1:
                noise = chance.choice(ODD)
                data[at : at + len(noise)] = noise
            case 2:
                del data[at : at + chance.choice((1, 4, 1000))]
            case 3:
                data[at:at] = data[at : at + chance.choice((4, 12, 200))] * chance.choice((1, 3, 50))
            case 4:
                other = chance.choice(stock)
                data[at : at + 64] = other[:64] if chance.random() < 0.5 else other[-64:]
            case _:
                del data[max(at, size // 3) :]
    return bytes(data)


def one(data: bytes) -> None:
    """Do everything with one case that the program would."""
    kind_of("ABCD0001.JPG", data)
    capture = read_exif_bytes(data)
    for work in (lambda: decode_bytes(data, 64), lambda: delivered_jpeg(data, capture)):
        try:
            work()
        except EvidenceError:
            continue


def run(seed: int, until: float, finds: Path, tried: Counter[str]) -> None:
    """Try cases until the time is over, leaving each find's bytes behind."""
    warnings.simplefilter("error")
    stock = seeds()
    chance = random.Random(seed)
    while time.time() < until:
        data = changed(chance, stock)
        (finds / "current").write_bytes(data)
        began = time.process_time()
        try:
            one(data)
        except BaseException as odd:  # noqa: BLE001 - whatever comes out is the find
            where = traceback.extract_tb(odd.__traceback__)[-1]
            tried[f"{type(odd).__name__} at {Path(where.filename).name}:{where.lineno}"] += 1
            (finds / f"{type(odd).__name__}-{tried['cases']}").write_bytes(data)
        if time.process_time() - began > 5:
            tried["over 5 s"] += 1
            (finds / f"slow-{tried['cases']}").write_bytes(data)
        tried["cases"] += 1


def _child(seed: int, until: float, finds: Path, pipe: object) -> None:
    tried: Counter[str] = Counter()
    run(seed, until, finds, tried)
    import resource

    tried["greatest memory, MB"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    pipe.send(tried)  # type: ignore[attr-defined]


def main() -> int:
    """Run one child after another until the time is over; a child that dies is a find too."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--finds", type=Path, default=Path(tempfile.gettempdir()) / "evidence-finds")
    wanted = parser.parse_args()
    wanted.finds.mkdir(parents=True, exist_ok=True)
    until = time.time() + 60 * wanted.minutes
    total: Counter[str] = Counter()
    seed = wanted.seed
    while time.time() < until:
        ours, theirs = multiprocessing.Pipe()
        child = multiprocessing.get_context("spawn").Process(
            target=_child, args=(seed, until, wanted.finds, theirs)
        )
        child.start()
        theirs.close()
        try:
            total += ours.recv()
        except EOFError:
            child.join()
            total[f"the process ended by signal {-(child.exitcode or 0)}"] += 1
            (wanted.finds / "current").rename(wanted.finds / f"ended-{seed}")
        child.join()
        seed += 1
    for what, count in sorted(total.items()):
        print(f"{count:8}  {what}")
    return 0 if set(total) <= {"cases", "greatest memory, MB"} else 1


if __name__ == "__main__":
    sys.exit(main())
