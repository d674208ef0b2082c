"""Measure what reading one picture costs against the least it could cost, in one run.

    python -m tests.bench.bench_pictures

Processor time of one core, the best of several rounds. The 12-megapixel photograph is a photograph
of the open data made larger, with a sensor's noise added so that it codes as a camera's does.
"""

from __future__ import annotations

import io
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pi_heif
from PIL import Image

from evidence.pictures import (
    Caption,
    blocks,
    decode_bytes,
    delivered_jpeg,
    read_exif,
    read_exif_bytes,
    readers,
    study_sizes,
    upright_jpeg,
)

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"


def twelve_megapixels() -> bytes:
    """Enlarge an open photograph to 4000 x 3000 and add noise of 4 levels."""
    rng = np.random.default_rng(1)
    photo = Image.open(DATA / "exif" / "orientation" / "Landscape_1.jpg").convert("RGB").resize((4000, 3000))
    noisy = np.asarray(photo, np.int16) + rng.normal(0, 4, (3000, 4000, 1)).astype(np.int16)
    kept = io.BytesIO()
    Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save(kept, "JPEG", quality=92)
    return kept.getvalue()


def cost_ms(work: Callable[[], object], rounds: int = 9) -> float:
    """Give the least processor time of several rounds, milliseconds."""
    costs = []
    for _ in range(rounds):
        began = time.process_time()
        work()
        costs.append(time.process_time() - began)
    return min(costs) * 1000


def main() -> None:
    """Print a table of costs and ratios."""
    cv2.setNumThreads(1)
    photo = twelve_megapixels()
    heic = (DATA / "exif" / "mx" / "heic" / "IMG_2929.HEIC").read_bytes()
    raw = np.frombuffer(photo, np.uint8)
    study, _ = study_sizes(photo)
    half = cost_ms(lambda: cv2.imdecode(raw, cv2.IMREAD_REDUCED_COLOR_2 | cv2.IMREAD_IGNORE_ORIENTATION))
    bare = cost_ms(lambda: pi_heif.open_heif(io.BytesIO(heic))[0].data, 3)
    rows = [
        ("JPEG of 12 MP: decoded at 1/2 by OpenCV, nothing else (floor)", half, half),
        ("JPEG of 12 MP: study_sizes", cost_ms(lambda: study_sizes(photo)), half),
        ("JPEG of 12 MP: decode_bytes, full size", cost_ms(lambda: decode_bytes(photo)), half),
        ("JPEG of 12 MP: delivered_jpeg", cost_ms(lambda: delivered_jpeg(photo, None, Caption("a"))), half),
        ("1600 x 1200: upright_jpeg", cost_ms(lambda: upright_jpeg(study)), half),
        ("HEIC of 12 MP: decoded by libheif, nothing else (floor)", bare, bare),
        ("HEIC of 12 MP: study_sizes", cost_ms(lambda: study_sizes(heic), 3), bare),
    ]
    for what, ms, floor in rows:
        sys.stdout.write(f"{ms:8.1f} ms  {ms / floor:5.2f} x  {what}\n")
    files = sorted((DATA / "exif" / "mx" / "jpg").glob("*.*"))
    read = [path.read_bytes() for path in files]
    each = cost_ms(lambda: [read_exif_bytes(data) for data in read], 3) / len(read)
    sys.stdout.write(
        f"{each:8.2f} ms           metadata of a JPEG by two readers, mean of {len(read)} files\n"
    )
    differ = 0
    every = [p for part in ("exif", "broken") for p in (DATA / part).rglob("*") if p.is_file()]
    told = 0
    for path in every:
        for block in blocks.find(path.read_bytes()).blocks if path.stat().st_size < 5e6 else ():
            one, other, _ = readers.twice(block)
            told += bool(one or other)
        differ += any("ExifRead" in remark for remark in read_exif(path).remarks)
    sys.stdout.write(f"{differ:8} of {told} files with tags: the two readers differ in some tag\n")


if __name__ == "__main__":
    main()
