"""Judge look-alikes on labelled pairs, beside four perceptual hashes at their best, in one run.

``python -m tests.bench.bench_likeness`` scores; ``--set tuning`` shows the set the constants were set on;
``--pairs 500`` ends sooner; ``--growth`` measures 300, 2,000 and 20,000 pictures. Needs the open photographs
in ``../shared/data``. What was drawn is kept in a temporary folder (``--drawn``) until the code that draws
or describes changes, so that a second run pays for the comparisons alone.

The four hashes are those of ImageHash, and where the ``imagededup`` library can be imported, its own four
besides (it reduces pictures in another way); it is said when it cannot. Its network is not compared: the
weights are loaded from a hub.
"""

from __future__ import annotations

import argparse
import base64
import dataclasses
import hashlib
import importlib
import json
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import astuple, dataclass, field
from multiprocessing import get_context
from pathlib import Path
from types import SimpleNamespace
from typing import Self

import cv2
import imagehash
import numpy as np
from PIL import Image

from evidence import likeness
from evidence.likeness import prints
from evidence.likeness.groups import candidates
from fixtures.house import camera
from tests.bench import likeness_pairs, likeness_scenes

UNLIKE = 600

DRAWN = Path(tempfile.gettempdir()) / "evidence-likeness-pairs"
"""Where descriptions of drawn pictures are kept."""


Hashes = dict[str, Callable[[likeness_pairs.Rgb8], int]]
"""What gives a picture's 64 bits, by the name of the hash."""


def imagehashes() -> Hashes:
    """Give ImageHash's four hashes of 64 bits, by name."""

    def of(hashed: Callable[[Image.Image], imagehash.ImageHash]) -> Callable[[likeness_pairs.Rgb8], int]:
        return lambda rgb: int(str(hashed(Image.fromarray(rgb))), 16)

    return {
        "phash": of(imagehash.phash),
        "dhash": of(imagehash.dhash),
        "average hash": of(imagehash.average_hash),
        "wavelet hash": of(imagehash.whash),
    }


def imagededup_hashes() -> Hashes:
    """Give imagededup's four hashes of 64 bits, by name; none where it is not installed."""
    # Its hashes need no deep-learning framework, only its network does: that part stays out.
    sys.modules.setdefault("imagededup.methods.cnn", SimpleNamespace(CNN=None))  # type: ignore[arg-type]
    sys.modules.setdefault("imagededup.utils.models", SimpleNamespace(CustomModel=None))  # type: ignore[arg-type]
    try:
        methods = importlib.import_module("imagededup.methods")
    except ImportError:
        return {}

    def of(name: str) -> Callable[[likeness_pairs.Rgb8], int]:
        hasher = getattr(methods, name)(verbose=False)
        return lambda rgb: int(hasher.encode_image(image_array=rgb), 16)

    return {f"imagededup {name}": of(name) for name in ("PHash", "DHash", "AHash", "WHash")}


HASHES = {**imagehashes(), **imagededup_hashes()}


@dataclass(frozen=True)
class Judged:
    """One pair: its label, our verdict, and how many bits the peers' hashes are apart."""

    truth: str
    kind: str
    depth: bool
    verdict: likeness.Verdict
    apart: dict[str, int]


Described = tuple[likeness.Likeness, dict[str, int]]
"""A picture's description, and its 64 bits by the name of the hash."""


@dataclass
class Spent:
    """Processor time by what it went into, and how often."""

    seconds: Counter[str] = field(default_factory=Counter)
    times: Counter[str] = field(default_factory=Counter)

    def __iadd__(self, other: Spent) -> Self:
        """Add another's."""
        self.seconds += other.seconds
        self.times += other.times
        return self


def judge(which: str, index: int, in_depth: bool, kept: Path) -> tuple[list[Judged], Described, Spent]:
    """Judge the labelled pairs of one room, or of one photograph; give its first picture besides."""
    cv2.setNumThreads(1)
    spent = Spent()
    pictures, labels = drawn(which, index, in_depth, kept, spent)
    rows = [
        compared(pictures[label.a], pictures[label.b], (label.truth, label.kind, label.depth), spent)
        for label in labels
    ]
    return rows, pictures["A"], spent


def drawn(
    which: str, index: int, in_depth: bool, kept: Path, spent: Spent, *, retakes_only: bool = False
) -> tuple[dict[str, Described], list[likeness_pairs.Labelled]]:
    """Draw and describe one room's or photograph's pictures, or read what an earlier run kept.

    With ``retakes_only`` a room has neither wide and close views nor pans, and no hash is taken.
    """
    family = ("retakes" if retakes_only else "room") if in_depth else "photograph"
    hashes = {} if retakes_only else HASHES
    place = kept / f"{code()}-{which}-{family}-{index}.json"
    read = json.loads(place.read_text()) if place.exists() else {"pictures": {}}
    if all(hashes.keys() <= bits.keys() for _, bits in read["pictures"].values()) and read["pictures"]:
        return {
            name: (likeness.unpack(base64.b64decode(packed)), bits)
            for name, (packed, bits) in read["pictures"].items()
        }, [likeness_pairs.Labelled(*label) for label in read["pairs"]]
    batches = (
        likeness_pairs.in_depth(which, 1, index, framings=not retakes_only)
        if in_depth
        else likeness_pairs.flat(which, index)
    )
    batch = next(iter(batches))
    pictures = {name: described(rgb, spent, hashes) for name, rgb in batch.pictures.items()}
    written = {
        "pictures": {
            name: (base64.b64encode(likeness.pack(made)).decode(), bits)
            for name, (made, bits) in pictures.items()
        },
        "pairs": [astuple(label) for label in batch.pairs],
    }
    kept.mkdir(parents=True, exist_ok=True)
    beside = place.with_suffix(".part")
    beside.write_text(json.dumps(written))
    beside.replace(place)
    return pictures, batch.pairs


def code() -> str:
    """Stand for all code that draws or describes."""
    digest = hashlib.sha256()
    for module in (likeness_pairs, likeness_scenes, camera, prints):
        digest.update(Path(str(module.__file__)).read_bytes())
    return digest.hexdigest()[:12]


def described(rgb: likeness_pairs.Rgb8, spent: Spent, hashes: Hashes) -> Described:
    """Describe a picture by our method and by hashes."""
    begun = time.process_time()
    made = likeness.describe(rgb)
    spent.seconds["describe"] += time.process_time() - begun  # type: ignore[assignment]
    spent.times["describe"] += 1
    return made, {name: hashed(rgb) for name, hashed in hashes.items()}


def compared(a: Described, b: Described, label: tuple[str, str, bool], spent: Spent) -> Judged:
    """Compare two pictures by our method and by the hashes."""
    begun = time.process_time()
    verdict = likeness.compare(a[0], b[0]).verdict
    spent.seconds["compare"] += time.process_time() - begun  # type: ignore[assignment]
    spent.times["compare"] += 1
    return Judged(*label, verdict, {name: (a[1][name] ^ b[1][name]).bit_count() for name in HASHES})


def judged(which: str, rooms: range, most: int | None, kept: Path) -> list[Judged]:
    """Judge the labelled pairs of a set on all cores, ``most`` of them at most, and pairs of other rooms."""
    rows: list[Judged] = []
    fronts: list[Described] = []
    spent = Spent()
    photographs = len(likeness_pairs.PHOTOS[which])
    tasks = [(which, index, True, kept) for index in rooms]
    tasks += [(which, index, False, kept) for index in range(photographs)]
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        for done, (more, front, took) in enumerate(pool.map(judge, *zip(*tasks, strict=True)), 1):
            rows += more
            fronts.append(front)
            spent += took
            print(f"\r{done} of {len(tasks)} rooms and photographs", end="", file=sys.stderr, flush=True)
            # Two first pictures at least, for the pairs of different rooms.
            if most is not None and len(rows) >= most and len(fronts) > 1:
                pool.shutdown(cancel_futures=True)
                break
    print(file=sys.stderr)
    rows = rows[:most]
    chance = np.random.default_rng(1)
    for _ in range(UNLIKE if most is None else most // 4):
        a, b = chance.choice(len(fronts), 2, replace=False)
        rows.append(compared(fronts[a], fronts[b], ("unlike", "another room", True), spent))
    for name, seconds in spent.seconds.items():
        times = spent.times[name]
        print(f"{name}: {1000 * seconds / times:.0f} ms of processor time each, {times} times")
    return rows


def report(rows: list[Judged]) -> None:
    """Print the table by kind, then the totals against the hashes; "hidden" pairs count in neither."""
    table: dict[tuple[str, str, bool], Counter[str]] = defaultdict(Counter)
    for row in rows:
        table[row.truth, row.kind, row.depth][row.verdict.name] += 1
    print("| label | what was done | pairs | folded | changed | wider | other |")
    print("|---|---|---|---|---|---|---|")
    for (truth, kind, depth), found in sorted(table.items()):
        cells = " | ".join(str(found[name]) for name in ("SAME", "CHANGED", "WIDER", "OTHER"))
        where = "in depth" if depth else "flat"
        print(f"| {truth} | {kind}, {where} | {sum(found.values())} | {cells} |")
    if not any(name.startswith("imagededup") for name in HASHES):
        print("\nThe imagededup library cannot be imported here: its hashes are not compared.")
    print(f"\n{len(rows)} pairs, {sum(row.depth for row in rows)} in depth")
    same_view(rows)
    rows = [row for row in rows if row.truth != "hidden"]
    same = np.array([row.truth == "same" for row in rows])
    score("ours", same, np.array([row.verdict is likeness.Verdict.SAME for row in rows]))
    for name in HASHES:
        apart = np.array([row.apart[name] for row in rows])
        best = max(range(33), key=lambda bits: f1(same, apart <= bits))
        score(f"{name} <= {best} (best F1)", same, apart <= best)
        clean = max((bits for bits in range(-1, 33) if not (~same & (apart <= bits)).any()), default=-1)
        score(f"{name} <= {clean} (no false fold)", same, apart <= clean)


def same_view(rows: list[Judged]) -> None:
    """Print how the first question is answered by itself: is it the same view, whatever changed in it?

    A twin room shows the same walls from the same place, so both answers to it can be defended.
    """
    told = {likeness.Verdict.SAME, likeness.Verdict.CHANGED}
    twins = [row.verdict in told for row in rows if row.truth == "twin"]
    asked = [row for row in rows if row.truth != "twin"]
    same = np.array([row.truth in {"same", "changed", "hidden"} for row in asked])
    score(
        "ours, is it the same view?",
        same,
        np.array([row.verdict in told for row in asked]),
        "told so wrongly",
    )
    print(f"twin rooms told to be the same view, with what differs: {sum(twins)} of {len(twins)}")


def f1(same: np.ndarray, folded: np.ndarray) -> float:
    """Give the harmonic mean of precision and recall."""
    return float(2 * (same & folded).sum() / max(1, same.sum() + folded.sum()))


def score(name: str, same: np.ndarray, folded: np.ndarray, wrongly: str = "false folds") -> None:
    """Print one method's line."""
    false, recall = int((~same & folded).sum()), float((same & folded).sum() / same.sum())
    print(f"{name}: {false} of {(~same).sum()} {wrongly}, recall {recall:.4f}, F1 {f1(same, folded):.4f}")


def growth(rooms: int = 12) -> None:
    """Measure candidates and comparisons as a job grows: real descriptions repeated with random hashes."""
    made: list[likeness.Likeness] = []
    for batch in likeness_pairs.in_depth("tuning", rooms):
        made += [likeness.describe(rgb) for rgb in batch.pictures.values()]
    chance = np.random.default_rng(2)
    for count in (300, 2_000, 20_000):
        # Hashes of real pictures with 24 random bits turned: as far apart as other rooms of one house.
        many = [turned(made[i % len(made)], chance) for i in range(count)]
        seconds = [20.0 * i for i in range(count)]
        begun = time.process_time()
        pairs = candidates(many, seconds)
        print(f"{count}: {len(pairs)} candidates in {time.process_time() - begun:.1f} s", end="")
        sample = pairs[:: max(1, len(pairs) // 400)]
        begun = time.process_time()
        for a, b in sample:
            likeness.compare(many[a], many[b])
        each = (time.process_time() - begun) / len(sample)
        print(f", {1000 * each:.1f} ms each: {each * len(pairs):.0f} s in all")


def turned(one: likeness.Likeness, chance: np.random.Generator) -> likeness.Likeness:
    """Give a description whose hash has 24 of its 64 bits turned."""
    bits = sum(1 << int(bit) for bit in chance.choice(64, 24, replace=False))
    return dataclasses.replace(one, phash=one.phash ^ bits, phash_lit=one.phash_lit ^ bits)


def main() -> None:
    """Read the words typed and measure."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--set", choices=("tuning", "scoring"), default="scoring")
    words.add_argument("--rooms", type=int, default=28)
    words.add_argument("--first", type=int, default=60, help="the first room: below 60 were looked at before")
    words.add_argument("--pairs", type=int, help="stop after so many")
    words.add_argument("--drawn", type=Path, default=DRAWN, help="where drawn pictures are kept")
    words.add_argument("--growth", action="store_true")
    asked = words.parse_args()
    cv2.setNumThreads(1)
    if asked.growth:
        growth()
    else:
        rooms = range(asked.first, asked.first + asked.rooms)
        report(judged(asked.set, rooms, asked.pairs, asked.drawn))


if __name__ == "__main__":
    main()
