"""Score every judgement on the made-up house against its truth, in one run.

``python -m tests.bench.bench_house``

The pictures are fixtures/card and fixtures/phone, the truth is fixtures/truth.csv, written by the
shooting plan before any of the program's answers existed. Beside ours, in the same run: a fixed gap
of 35 s for visits, and a perceptual hash (distance at most 10) for look-alikes.
"""

from __future__ import annotations

import csv
import itertools
import time
from pathlib import Path

import imagehash
import numpy as np
from PIL import Image

from evidence import light, likeness, pictures, quality, roomcards, rooms
from evidence.errors import EvidenceError
from evidence.words import Light, Rgb

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
GAP_S = 35.0
HASH_BITS = 10


def main() -> None:
    """Print the table."""
    with (FIXTURES / "truth.csv").open(encoding="utf-8", newline="") as file:
        rows = sorted(csv.DictReader(file), key=lambda row: row["true_time"])
    shown: list[dict[str, str]] = []
    large: list[Rgb] = []
    small: list[Rgb] = []
    seconds: list[float] = []
    for row in rows:
        path = FIXTURES / row["file"]
        capture = pictures.read_exif(path)
        try:
            sizes = pictures.study_sizes(path.read_bytes())
        except EvidenceError:
            continue
        large.append(sizes[0])
        small.append(sizes[1])
        shown.append(row)
        assert capture.time is not None
        seconds.append(capture.time.seconds - (40.0 if row["camera"] == "phone" else 0.0))
    print(f"{len(shown)} readable pictures of {len(rows)}")
    visits(shown, small, seconds)
    look_alikes(shown, large, seconds)
    lights(shown, large)
    best(shown, large)
    cards(shown, small)


def visits(rows: list[dict[str, str]], large: list[Rgb], seconds: list[float]) -> None:
    """Boundaries found, wrongly found, missed; and as many corrections."""
    vectors = [rooms.appearance(rgb) for rgb in large]
    found_cards = [roomcards.read(rgb) for rgb in large]
    begun = time.perf_counter()
    joints = rooms.joints(seconds, vectors, [c[0] if c else None for c in found_cards])
    took = time.perf_counter() - begun
    bare = rooms.joints(seconds, vectors)
    truth = {i for i in range(len(rows) - 1) if rows[i]["visit"] != rows[i + 1]["visit"]}
    gap = {i for i in range(len(rows) - 1) if seconds[i + 1] - seconds[i] > GAP_S}
    for name, found in (
        ("visits, with the card's 3 room cards", {j.after for j in joints if j.boundary}),
        ("visits, without room cards", {j.after for j in bare if j.boundary}),
        (f"visits by a fixed gap of {GAP_S:.0f} s", gap),
    ):
        right = len(found & truth)
        f1 = 2 * right / (len(found) + len(truth))
        print(
            f"{name:40s} F1 {f1:.2f}, {len(found - truth)} wrong, {len(truth - found)} missed of {len(truth)}"
        )
    print(f"{'  time for all joints':40s} {1000 * took:.0f} ms")
    bright = [i for i, v in enumerate(vectors) if not rooms.too_dark(v)]
    same: list[float] = []
    other: list[float] = []
    for a, b in itertools.combinations(bright, 2):
        apart = float(np.linalg.norm(vectors[a] - vectors[b]))
        (same if rows[a]["room"] == rows[b]["room"] else other).append(apart)
    below = np.searchsorted(np.sort(other), same)
    auc = 1 - below.mean() / len(other)
    print(f"{'same room against other room':40s} AUC {auc:.3f}, {len(bright)} pictures")


def look_alikes(rows: list[dict[str, str]], large: list[Rgb], seconds: list[float]) -> None:
    """Pairs folded rightly and wrongly."""
    described = [likeness.describe(rgb) for rgb in large]
    begun = time.perf_counter()
    sets = likeness.group(described, list(seconds))
    took = time.perf_counter() - begun
    folded = {pair for s in sets for pair in itertools.combinations(sorted(s), 2)}
    hashes = [imagehash.phash(Image.fromarray(rgb)) for rgb in large]
    by_hash = {
        (a, b) for a, b in itertools.combinations(range(len(rows)), 2) if hashes[a] - hashes[b] <= HASH_BITS
    }
    truth = {
        (a, b)
        for a, b in itertools.combinations(range(len(rows)), 2)
        if rows[a]["look_alikes"] and rows[a]["look_alikes"] == rows[b]["look_alikes"]
    }
    moved = {(a, b) for a, b in truth if rows[a]["render"] != rows[b]["render"]}
    for name, found in (("look-alikes", folded), (f"look-alikes by pHash <= {HASH_BITS}", by_hash)):
        print(
            f"{name:40s} {len(found & truth)} of {len(truth)} pairs, {len(found & moved)} of {len(moved)}"
            f" with the camera moved; {len(found - truth)} folded wrongly"
        )
        changed = [p for p in found - truth if rows[p[0]]["twin"] or rows[p[1]]["twin"]]
        print(f"{'  of those with one thing changed':40s} {len(changed)}")
        for a, b in sorted(found - truth)[:8]:
            names = (f"{rows[i]['file'][-12:]} {rows[i]['render']}" for i in (a, b))
            print("    " + " / ".join(names))
    print(f"{'  time to group':40s} {took:.1f} s")


def lights(rows: list[dict[str, str]], large: list[Rgb]) -> None:
    """Dark pictures brightened, good ones left alone, black ones called hopeless."""
    proposals = [light.propose(rgb) for rgb in large]
    groups: dict[str, list[Light]] = {}
    for row, proposed in zip(rows, proposals, strict=True):
        stops = float(row["stops"] or 0)
        if row["render"] == "black":
            name = "black frame"
        elif stops <= -5.5:
            name = "six stops under"
        elif stops <= -2:
            name = "two to five stops under"
        elif stops >= -0.5:
            name = "exposed as meant"
        else:
            name = "one stop under"
        groups.setdefault(name, []).append(proposed)
    for name, some in sorted(groups.items()):
        lifted = sum(not p.left_alone for p in some)
        hopeless = sum(p.hopeless for p in some)
        bright = sum(p.too_bright for p in some)
        print(
            f"light: {name:33s} {lifted} of {len(some)} lifted, {hopeless} called hopeless, "
            f"{bright} too bright"
        )


def best(rows: list[dict[str, str]], large: list[Rgb]) -> None:
    """Within a set of look-alikes a spoiled picture scores below an unspoiled one."""
    scores = [quality.measure(rgb).score for rgb in large]
    right = total = 0
    for a, b in itertools.permutations(range(len(rows)), 2):
        first, second = rows[a], rows[b]
        if not first["look_alikes"] or first["look_alikes"] != second["look_alikes"]:
            continue
        clean = not first["blur"] and abs(float(first["stops"] or 0)) < 0.5
        spoiled = bool(second["blur"]) or abs(float(second["stops"] or 0)) >= 1.5
        if clean and spoiled:
            total += 1
            right += scores[a] > scores[b]
    print(f"{'clean picture above spoiled look-alike':40s} {right} of {total} pairs")


def cards(rows: list[dict[str, str]], large: list[Rgb]) -> None:
    """Room cards read, and none where there is none."""
    right = wrong = 0
    for row, rgb in zip(rows, large, strict=True):
        found = roomcards.read(rgb)
        wanted = [int(row["remark"].split()[-1])] if row["remark"].startswith("room card") else []
        right += bool(wanted) and found == wanted
        wrong += found != wanted
    print(f"{'room cards':40s} {right} read, {wrong} pictures read otherwise than they are")


if __name__ == "__main__":
    main()
