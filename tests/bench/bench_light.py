"""Score the lift of dark pictures against pictures whose good exposure is known, in one run.

``python -m tests.bench.bench_light`` (everything), ``... --houses 2`` (fewer drawn rooms)

Four parts. *Open pictures*: references are the well-exposed samples in ../shared/data/good (scikit-image,
scikit-learn), darkened by the camera model of fixtures/house/camera.py (exposure, Bayer mosaic, photon and
read noise, demosaic, sRGB); some of them served while thresholds were chosen. *Unused pictures*: four
photographs of ../shared/data/exif that never served for anything. *Drawn rooms*
(:mod:`.light_scenes`, houses never used for tuning): the reference is what a sensor without noise would
have given. A grainy sensor takes half
of them once more. *Left alone*: the same houses and others, exposed as meant; nothing may be lifted.

PSNR is printed plain and mean-matched: the output scaled so that its mean is the reference's, which
hides a wrong guess of the exposure. The matrix library is best kept to one thread
(``OPENBLAS_NUM_THREADS=1``), as the program keeps it in its workers.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from evidence import light
from evidence.words import Rgb
from fixtures.house import camera
from tests.bench import light_peers, light_scenes

ROOT = Path(__file__).resolve().parents[2]
GOOD = ROOT.parent / "shared" / "data" / "good"
LEFT_OUT = {"hubble_deep_field.jpg", "camera.png"}
"""A night sky, and a picture without colour."""
EXIF = ROOT.parent / "shared" / "data" / "exif"
UNUSED = (
    "fixtures/Sumo_Museum.jpg",
    "fixtures/T-45A_Goshawk_03.jpg",
    "orientation/Landscape_1.jpg",
    "orientation/Portrait_1.jpg",
)
IGNORED = cv2.IMREAD_IGNORE_ORIENTATION
"""Upright or not is all one here."""
GRAINY = camera.Body(electrons=1000.0)
"""A small sensor at a high ISO setting: the noise of six times less light."""


def references() -> dict[str, Rgb]:
    """Give the well-exposed colour pictures, at most 1024 pixels long."""
    found = {}
    for path in sorted(GOOD.glob("*.*")):
        bgr = None if path.name in LEFT_OUT or path.suffix == ".txt" else cv2.imread(str(path))
        if bgr is not None and float(np.ptp(bgr, axis=2).mean()) > 1:
            found[path.name] = _small(bgr)
    return found


def unused() -> dict[str, Rgb]:
    """Give the colour pictures that served for nothing before, at most 1024 pixels long."""
    found = {name: cv2.imread(str(EXIF / name), cv2.IMREAD_COLOR | IGNORED) for name in UNUSED}
    return {name: _small(bgr) for name, bgr in found.items() if bgr is not None}


def _small(bgr: cv2.typing.MatLike) -> Rgb:
    scale = min(1.0, 1024 / max(bgr.shape[:2]))
    small = cv2.resize(bgr, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return np.asarray(small[:, :, ::-1].copy(), np.uint8)


def psnr(out: Rgb, reference: Rgb, *, matched: bool) -> float:
    """Peak signal to noise, in dB."""
    a, b = out.astype(np.float64), reference.astype(np.float64)
    if matched:
        a = np.clip(a * b.mean() / max(a.mean(), 1e-6), 0, 255)
    return float(10 * np.log10(255**2 / max(float(((a - b) ** 2).mean()), 1e-9)))


def gamma(rgb: Rgb) -> Rgb:
    """The plain power 1/2.2 on the codes."""
    return np.rint(255 * (rgb / 255.0) ** (1 / 2.2)).astype(np.uint8)


def fused(rgb: Rgb) -> Rgb:
    """Exposure fusion of four derived exposures (Mertens, Kautz and Van Reeth 2007), by OpenCV."""
    return _merged((rgb / 255.0) ** 2.2, (1, 4, 12, 36))


def fused_gently(rgb: Rgb) -> Rgb:
    """The same of exposures 0, 1.5, 3 and 4.5 stops above the picture's own: a harder peer."""
    linear = np.where(rgb <= 10, rgb / 255.0 / 12.92, ((rgb / 255.0 + 0.055) / 1.055) ** 2.4)
    return _merged(linear, [2.0**stops for stops in (0.0, 1.5, 3.0, 4.5)])


def _merged(linear: NDArray[np.float64], gains: Sequence[float]) -> Rgb:
    derived = [np.rint(255 * np.clip(linear * g, 0, 1) ** (1 / 2.2)).astype(np.uint8) for g in gains]
    merged = cv2.createMergeMertens().process(derived)
    return np.asarray(np.rint(255 * np.clip(merged, 0, 1)).astype(np.uint8))


def evened(rgb: Rgb) -> Rgb:
    """Contrast-limited adaptive histogram equalisation of the luma, by OpenCV."""
    lab = cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)
    lab[:, :, 0] = cv2.createCLAHE(3.0, (8, 8)).apply(lab[:, :, 0])
    return np.asarray(cv2.cvtColor(lab, cv2.COLOR_LAB2RGB), np.uint8)


def equalised(rgb: Rgb) -> Rgb:
    """Plain histogram equalisation of the luma, by OpenCV."""
    planes = list(cv2.split(cv2.cvtColor(rgb, cv2.COLOR_RGB2YCrCb)))
    planes[0] = cv2.equalizeHist(planes[0])
    return np.asarray(cv2.cvtColor(cv2.merge(planes), cv2.COLOR_YCrCb2RGB), np.uint8)


def adaptive_gamma(rgb: Rgb) -> Rgb:
    """The power that takes the mean code to 0.45 of full scale."""
    power = np.log(0.45) / np.log(np.clip(rgb.mean() / 255, 0.001, 0.99))
    return np.asarray(np.rint(255 * (rgb / 255.0) ** power), np.uint8)


METHODS: dict[str, Callable[[Rgb], Rgb]] = {
    "as taken": lambda rgb: rgb,
    "gamma 1/2.2": gamma,
    "equalised": equalised,
    "adaptive gamma": adaptive_gamma,
    "CLAHE": evened,
    "exposure fusion": fused,
    "fusion of 0-4.5 stops": fused_gently,
    "LIME": light_peers.lime,
    "BIMEF": light_peers.bimef,
    "ours": lambda rgb: light.correct(rgb)[0],
}


Scored = tuple[Rgb, Rgb]
"""A dark picture and what it should look like."""


def compare(stops: int, pairs: Sequence[Scored]) -> None:
    """Print every method's dB at one level of darkness, and what ours did."""
    cells = []
    for name, method in METHODS.items():
        out = [method(dark) for dark, _ in pairs]
        plain, matched = (
            np.mean([psnr(o, good, matched=m) for o, (_, good) in zip(out, pairs, strict=True)])
            for m in (False, True)
        )
        cells.append(f"{name} {plain:.1f}/{matched:.1f}")
    ours = [light.correct(dark) for dark, _ in pairs]
    burnt = [np.mean(o >= 250) - np.mean(dark >= 250) for (o, _), (dark, _) in zip(ours, pairs, strict=True)]
    lifted = sum(not record.left_alone for _, record in ours)
    print(
        f"{stops} stops under: {'; '.join(cells)}; {lifted} of {len(pairs)} lifted; burnt out grows "
        f"{100 * np.mean(burnt):.2f} % on average, {100 * np.percentile(burnt, 95):.2f} % in the worst of 20",
        flush=True,
    )


def rooms() -> None:
    """Drawn rooms: dB on one view of each room."""
    chosen = list(light_scenes.scenes(light_scenes.SCORING[:2], ("room",), views=1))
    print(f"drawn rooms: {len(chosen)} scenes; dB plain / mean-matched")
    for stops in (2, 3, 4, 5):
        compare(stops, [(light_scenes.taken(s, -stops), light_scenes.true_picture(s)) for s in chosen])
    print(f"the same by a sensor of {GRAINY.electrons:.0f} electrons at white, {len(chosen[::2])} scenes")
    for stops in (2, 3, 4):
        compare(
            stops,
            [(light_scenes.taken(s, -stops, GRAINY), light_scenes.true_picture(s)) for s in chosen[::2]],
        )


def judged(houses: range) -> None:
    """How often each kind of drawn scene is left alone or lifted."""
    print(f"judged: houses {houses[0]}-{houses[-1]}")
    alone, seen = Counter[str](), Counter[str]()
    hopeless, flagged, lifted, dark = 0, 0, Counter[int](), Counter[int]()
    for scene in light_scenes.scenes(houses):
        picture = light_scenes.taken(scene)
        mean = " of mean 50-90" if 50 <= picture.mean() < 90 else ""
        untouched = light.correct(picture)[0] is picture
        for kind in {scene.kind, scene.kind + mean}:
            seen[kind] += 1
            alone[kind] += untouched
        if scene.kind != "room":
            continue
        for stops in (1, 2, 3, 4, 5, 6, 8, 10):
            record = light.propose(light_scenes.taken(scene, -stops))
            dark[stops] += 1
            lifted[stops] += not record.left_alone
            if light_scenes.without_signal(scene, -stops) > 0.6:
                hopeless += 1
                flagged += record.hopeless
    for kind, count in sorted(seen.items()):
        print(f"exposed as meant, {kind}: {alone[kind]} of {count} left alone")
    print("rooms lifted: " + "; ".join(f"{lifted[s]} of {dark[s]} at {s} stops under" for s in dark))
    print(f"without signal in more than 60 %: {flagged} of {hopeless} called hopeless")


def too_bright(houses: range) -> None:
    """How often what is over-exposed by a known amount is called too bright, and what is not."""
    pictures = list((references() | unused()).values())
    rooms = list(light_scenes.scenes(houses, ("room",), views=1))
    for stops in (0, 1, 2, 3):
        open_ones = [camera.darken(rgb, -float(stops), n) if stops else rgb for n, rgb in enumerate(pictures)]
        drawn = [light_scenes.taken(scene, float(stops)) for scene in rooms]
        said = [sum(light.propose(one).too_bright for one in kind) for kind in (open_ones, drawn)]
        print(
            f"{stops} stops over: called too bright {said[0]} of {len(pictures)} open and unused pictures, "
            f"{said[1]} of {len(rooms)} drawn rooms"
        )


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--houses", type=int, default=len(light_scenes.SCORING))
    houses = parser.parse_args().houses
    cv2.setNumThreads(1)
    good = references()
    for name, pictures in {"open": good, "unused": unused()}.items():
        print(f"{name} pictures: {len(pictures)} references; dB plain / mean-matched")
        for stops in (1, 2, 3, 4, 5):
            compare(
                stops,
                [(camera.darken(rgb, float(stops), n), rgb) for n, rgb in enumerate(pictures.values())],
            )
    alone = sum(light.correct(rgb)[0] is rgb for rgb in good.values())
    print(f"well exposed: {alone} of {len(good)} left alone")
    rooms()
    too_bright(light_scenes.FRESH[: min(houses, 3)])
    for scoring in (light_scenes.SCORING, light_scenes.FRESH):
        judged(scoring[:houses])
    large = cv2.resize(next(iter(good.values())), (4000, 3000), interpolation=cv2.INTER_CUBIC)
    dark_one = np.asarray(large // 8, np.uint8)
    begun = time.process_time()
    _, record = light.correct(dark_one)
    with_noise = time.process_time() - begun
    begun = time.process_time()
    light.replay(dark_one, replace(record, noise_luma=0.0, noise_chroma=0.0))
    print(
        f"processor time of one lift at 12 MP: {1000 * with_noise / 12:.0f} ms/MP with noise reduction, "
        f"{1000 * (time.process_time() - begun) / 12:.1f} without"
    )


if __name__ == "__main__":
    main()
