"""Rank retakes whose order is known: ours against the usual measures of sharpness, in one run.

``python -m tests.bench.bench_quality [--set scoring|studied|tuning] [--scenes N]``

A retake is a base picture photographed again: moved by a few pixels, out of focus, shaken, with more
noise, darker, burnt out, with the flash's reflection or of fewer pixels, each at several
strengths. Of every pair it is known which serves better as evidence; a measure is right when it scores that
one higher.

Tuning: the photographs of scikit-image and scikit-learn in ../shared/data/good and drawn rooms of seeds of
their own, which have been looked at while the method was chosen. Scoring: the made-up house's own clean
renders at half their size (which takes their noise out) and rooms drawn by ``drawn_rooms`` at 800 and 1600
pixels; neither was looked at. Studied: drawn rooms of seeds never used before at 2000 pixels, the size at
which the study has a 12-MP picture when it is judged; not looked at either. A pair whose fault changes no
pixel by a whole code (a bare wall out of focus) has nothing to tell it by: it counts in all columns but the
last, which leaves it out. The camera is the made-up house's: Bayer mosaic, shot and read noise,
demosaicing, sRGB.
"""

from __future__ import annotations

import argparse
import csv
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from evidence import quality
from evidence.words import Rgb
from fixtures.house import camera
from tests.bench import drawn_rooms

ROOT = Path(__file__).resolve().parents[2]
GOOD = ROOT.parent / "shared" / "data" / "good"
MARGIN = 8
"""A retake is framed up to so many pixels elsewhere, each way."""

Linear = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Take:
    """How a picture is taken.

    ``electrons`` 0 leaves the sensor out; then ``white`` is the deviation, in codes, of noise added to
    every value by itself, and ``soft`` blurs that noise by so many pixels. ``spot`` is the radius of the
    flash's reflection, as a share of the picture's height. ``share`` is what the picture is reduced to, as a
    frame of a film or a copy sent by message is.
    """

    defocus: float = 0.0
    shake: float = 0.0
    stops: float = 0.0
    electrons: float = 6000.0
    white: float = 0.0
    soft: float = 0.0
    spot: float = 0.0
    jpeg: int = 92
    share: float = 1.0


FINE = Take()
BARE = Take(electrons=0.0, jpeg=0)

CONDITIONS: dict[str, tuple[tuple[Take, Take], ...]] = {
    "defocus": tuple(
        (replace(FINE, defocus=a), replace(FINE, defocus=b))
        for a, b in ((0, 1), (0, 2), (1, 2), (2, 4), (4, 8))
    ),
    "shake": tuple(
        (replace(FINE, shake=a), replace(FINE, shake=b)) for a, b in ((0, 3), (0, 6), (3, 8), (6, 14))
    ),
    "white noise": tuple(
        (replace(BARE, white=s), replace(BARE, white=t, defocus=b))
        for s, t, b in (
            (5, 5, 1),
            (5, 5, 1.5),
            (5, 10, 2),
            (5, 15, 1.5),
            (10, 10, 1.5),
            (2, 15, 2),
            (15, 15, 2),
            (10, 20, 4),
            (3, 9, 0),
            (0, 5, 0),
        )
    ),
    "correlated noise": (
        *(
            (replace(FINE, electrons=e, jpeg=j), replace(FINE, electrons=f, jpeg=j, defocus=b))
            for e, f, j, b in (
                (1500, 1500, 90, 1.5),
                (600, 600, 85, 2),
                (1500, 400, 85, 3),
                (600, 250, 80, 3),
                (400, 150, 80, 2),
                (3000, 400, 90, 0),
            )
        ),
        *(
            (replace(BARE, white=s, soft=f, jpeg=90), replace(BARE, white=t, soft=f, jpeg=90, defocus=b))
            for s, t, f, b in ((4, 4, 0.8, 2), (4, 8, 0.8, 3), (6, 12, 1.0, 1.5), (5, 10, 1.5, 2))
        ),
    ),
    "under-exposed": tuple(
        (replace(FINE, stops=-a), replace(FINE, stops=-b)) for a, b in ((0, 1), (0, 2), (1, 3), (0, 4))
    ),
    "over-exposed": tuple(
        (replace(FINE, stops=a), replace(FINE, stops=b)) for a, b in ((0, 1.5), (0, 2.5), (1.5, 3))
    ),
    "flash spot": tuple(
        (replace(FINE, spot=a), replace(FINE, spot=b)) for a, b in ((0, 0.08), (0, 0.2), (0.06, 0.2))
    ),
    "two faults": (
        (replace(FINE, stops=-1), replace(FINE, defocus=3)),
        (replace(FINE, stops=-1), replace(FINE, shake=8)),
        (replace(FINE, electrons=1500), replace(FINE, shake=6)),
        (replace(FINE, electrons=800), replace(FINE, defocus=3)),
        (FINE, replace(FINE, spot=0.1, shake=5)),
        (FINE, replace(FINE, stops=-2, electrons=1500)),
    ),
    "fewer pixels": (
        *((FINE, replace(FINE, share=share)) for share in (0.8, 0.64, 0.4, 0.25)),
        *(
            (replace(FINE, defocus=blur), replace(FINE, defocus=blur, share=share))
            for blur, share in ((2, 0.4), (4, 0.4))
        ),
        *(
            (replace(FINE, share=share), replace(FINE, defocus=blur))
            for share, blur in ((0.8, 2), (0.64, 4), (0.4, 8))
        ),
        (replace(FINE, share=0.4), replace(FINE, share=0.4, defocus=4)),
    ),
}


def photograph(base: Linear, take: Take, chance: Generator) -> Rgb:
    """Take one picture of a base; two takes differ in framing and noise by chance."""
    height, width = base.shape[:2]
    x, y = (int(chance.integers(0, 2 * MARGIN + 1)) for _ in range(2))
    light = base[y : y + height - 2 * MARGIN, x : x + width - 2 * MARGIN]
    height, width = light.shape[0] // 2 * 2, light.shape[1] // 2 * 2
    light = np.ascontiguousarray(light[:height, :width])
    if take.spot:
        row, column = np.mgrid[0:height, 0:width].astype(np.float32)
        at = chance.uniform(0.3, 0.7, 2)
        away = np.hypot(row - at[0] * height, column - at[1] * width) / (take.spot * height)
        light = light + (3.0 * np.exp(-(away**2)))[..., None].astype(np.float32)
    light = light * np.float32(2.0**take.stops)
    blur = camera.Blur(take.defocus, take.shake, float(chance.uniform(0, 180)))
    if take.electrons:
        body = camera.Body(take.electrons, vignette=0.0, barrel=0.0, fringe=0.0)
        seed = int(chance.integers(2**31))
        rgb = camera.photograph(light, 0, seed, blur=blur, body=body, size=(width, height), gain=1.0)
    else:
        grain = chance.normal(0, 1, light.shape).astype(np.float32)
        if take.soft:
            grain = np.asarray(cv2.GaussianBlur(grain, (0, 0), take.soft), np.float32)
            grain /= grain.std()
        seen = camera.encode(camera.blurred(np.minimum(light, 8.0), blur)) * 255 + take.white * grain
        rgb = np.clip(np.rint(seen), 0, 255).astype(np.uint8)
    if take.share < 1:
        rgb = np.asarray(cv2.resize(rgb, None, fx=take.share, fy=take.share, interpolation=cv2.INTER_AREA))
    if take.jpeg:
        bgr = np.ascontiguousarray(rgb[..., ::-1])
        coded = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, take.jpeg])[1]
        rgb = np.ascontiguousarray(np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR))[..., ::-1])
    return np.asarray(rgb, np.uint8)


def unseen(base: Linear, better: Take, worse: Take) -> bool:
    """Whether blur alone tells two takes apart, and changes no pixel of this base by a whole code."""
    alike = replace(worse, defocus=better.defocus, shake=better.shake)
    otherwise_worse = (
        alike.electrons < better.electrons
        or alike.white > better.white
        or alike.spot > better.spot
        or abs(alike.stops) > abs(better.stops)
        or alike.share < better.share
    )
    if alike == worse or otherwise_worse:
        return False
    exposed = np.minimum(base * np.float32(2.0**worse.stops), 8.0)
    one, other = (
        camera.encode(camera.blurred(exposed, camera.Blur(take.defocus, take.shake)))
        for take in (better, worse)
    )
    return float(np.abs(one - other).max()) * 255 < 1


def tuning(scenes: int) -> Iterator[tuple[str, Linear]]:
    """Open photographs and drawn rooms."""
    yield from photographs(scenes)
    yield from drawn(60000, scenes)


def scoring(scenes: int) -> Iterator[tuple[str, Linear]]:
    """Renders of the made-up house at half size, and drawn rooms at two sizes."""
    yield from house(2 * scenes)
    yield from drawn(7000, scenes)


def studied(scenes: int) -> Iterator[tuple[str, Linear]]:
    """Drawn rooms at the size at which a 12-MP picture is judged."""
    yield from drawn(81000, scenes, (2000,))


def photographs(scenes: int) -> Iterator[tuple[str, Linear]]:
    """Open photographs, as a camera would have exposed them."""
    paths = [p for p in sorted(GOOD.glob("*.[pj]*g")) if "hubble" not in p.name]
    for path in paths[:scenes]:
        light = camera.decode(_read(path))
        yield "photographs", light * np.float32(camera.meter(light))


def house(scenes: int) -> Iterator[tuple[str, Linear]]:
    """Clean renders of the made-up house, at half size."""
    with (ROOT / "fixtures" / "truth.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["render"]]
    seen: set[str] = set()
    for row in rows:
        plain = not row["blur"] and abs(float(row["stops"] or 0)) < 0.5 and not row["remark"]
        if plain and row["render"] not in seen and len(seen) < scenes:
            seen.add(row["render"])
            light = camera.decode(_read(ROOT / "fixtures" / row["file"]))
            yield "house", np.asarray(cv2.resize(light, (800, 600), interpolation=cv2.INTER_AREA))


def drawn(first: int, scenes: int, widths: Sequence[int] = (1600, 800, 800)) -> Iterator[tuple[str, Linear]]:
    """Views of drawn rooms, by seed, at these widths in turn."""
    for seed in range(scenes):
        chance = np.random.default_rng(first + seed)
        rooms = drawn_rooms.house(first + seed)
        room = rooms[int(chance.integers(len(rooms)))]
        width = widths[seed % len(widths)]
        view = drawn_rooms.draw_view(room, chance)
        # Drawn at twice the size and averaged, as a lens and a sensor's pixels do.
        large = drawn_rooms.render(room, view, 2 * width, 3 * width // 2)
        light = np.asarray(
            cv2.resize(large, (width, 3 * width // 4), interpolation=cv2.INTER_AREA), np.float32
        )
        yield f"drawn {width}", light * np.float32(camera.meter(light))


def _read(path: Path) -> Rgb:
    bgr = cv2.imread(str(path))
    assert bgr is not None, path
    return np.ascontiguousarray(bgr[..., ::-1], np.uint8)


def _grey(rgb: Rgb) -> NDArray[np.uint8]:
    return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8)


def laplacian(rgb: Rgb) -> float:
    """Variance of the Laplacian (Pech-Pacheco et al., ICPR 2000)."""
    return float(cv2.Laplacian(_grey(rgb), cv2.CV_32F).var())


def smooth_laplacian(rgb: Rgb) -> float:
    """The same after a Gaussian of 1.5 pixels."""
    return float(cv2.Laplacian(cv2.GaussianBlur(_grey(rgb), (0, 0), 1.5), cv2.CV_32F).var())


def tenengrad(rgb: Rgb) -> float:
    """Mean squared Sobel gradient (Tenenbaum 1970; Krotkov 1988; both from memory)."""
    grey = _grey(rgb)
    across, down = cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1)
    return float((across**2 + down**2).mean())


MEASURES: dict[str, Callable[[Rgb], float]] = {
    "Laplacian": laplacian,
    "smoothed Laplacian": smooth_laplacian,
    "Tenengrad": tenengrad,
    "ours": lambda rgb: quality.measure(rgb).score,
}


def main() -> None:
    """Print, for each condition, the share of pairs ranked right by each measure."""
    words = argparse.ArgumentParser()
    words.add_argument("--set", choices=("scoring", "studied", "tuning"), default="scoring")
    words.add_argument("--scenes", type=int, default=18)
    words.add_argument("--missed", action="store_true", help="list the pairs that ours ranks wrongly")
    asked = words.parse_args()
    right: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    pairs: dict[str, int] = defaultdict(int)
    missed: dict[str, int] = defaultdict(int)
    blind: dict[str, int] = defaultdict(int)
    told: dict[str, int] = defaultdict(int)
    spent: dict[str, float] = defaultdict(float)
    kinds: dict[str, int] = defaultdict(int)
    bases = {"scoring": scoring, "studied": studied, "tuning": tuning}[asked.set](asked.scenes)
    for number, (kind, base) in enumerate(bases):
        kinds[kind] += 1
        chance = np.random.default_rng(number)
        for condition, takes in CONDITIONS.items():
            for better, worse in takes:
                one, other = photograph(base, better, chance), photograph(base, worse, chance)
                pairs[condition] += 1
                nothing = unseen(base, better, worse)
                blind[condition] += nothing
                for name, measure in MEASURES.items():
                    began = time.process_time()
                    good = measure(one) > measure(other)
                    spent[name] += time.process_time() - began
                    right[condition][name] += good
                    if name == "ours":
                        told[condition] += good and not nothing
                        if not good:
                            which = f"{condition}, {kind}{' (unseen)' if nothing else ''}"
                            missed[f"{which}: {_told(better)} / {_told(worse)}"] += 1
    print(f"{asked.set}: {sum(kinds.values())} scenes ({', '.join(f'{n} {k}' for k, n in kinds.items())})")
    print(f"{'':20s}{'pairs':>6s}" + "".join(f"{name:>20s}" for name in MEASURES) + "     ours, seen pairs")
    for condition, count in pairs.items():
        shares = "".join(f"{right[condition][name] / count:20.3f}" for name in MEASURES)
        seen = count - blind[condition]
        print(f"{condition:20s}{count:6d}{shares}{told[condition] / seen:13.3f} of {seen}")
    each = 2 * sum(pairs.values())
    print(f"{'ms a picture':26s}" + "".join(f"{1000 * spent[name] / each:20.1f}" for name in MEASURES))
    if asked.missed:
        for what, count in sorted(missed.items(), key=lambda item: -item[1]):
            print(f"{count:4d} {what}")


def _told(take: Take) -> str:
    usual = FINE if take.electrons else BARE
    parts = [f"{k} {v:g}" for k in Take.__slots__ if (v := getattr(take, k)) != getattr(usual, k)]
    return ", ".join(parts) or "fine"


if __name__ == "__main__":
    main()
