"""Score the lift of dark pictures against pictures whose good exposure is known, in one run.

``python -m tests.bench.bench_light``

References are the well-exposed samples in ../shared/data/good (scikit-image, scikit-learn), darkened by
the camera model of fixtures/house/camera.py (exposure, Bayer mosaic, photon and read noise, demosaic,
sRGB, JPEG). Nothing of the method was fitted to them. PSNR is printed plain and mean-matched: the output
scaled so that its mean is the reference's, which hides a wrong guess of the exposure.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from evidence import light
from evidence.words import Rgb

ROOT = Path(__file__).resolve().parents[2]
GOOD = ROOT.parent / "shared" / "data" / "good"
LEFT_OUT = {"hubble_deep_field.jpg", "camera.png"}
"""A night sky, and a picture without colour."""


def references() -> dict[str, Rgb]:
    """Give the well-exposed colour pictures, at most 1024 pixels long."""
    found = {}
    for path in sorted(GOOD.glob("*.*")):
        bgr = None if path.name in LEFT_OUT or path.suffix == ".txt" else cv2.imread(str(path))
        if bgr is not None and float(np.ptp(bgr, axis=2).mean()) > 1:
            scale = min(1.0, 1024 / max(bgr.shape[:2]))
            small = cv2.resize(bgr, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
            found[path.name] = np.asarray(small[:, :, ::-1].copy(), np.uint8)
    return found


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
    linear = (rgb / 255.0) ** 2.2
    derived = [np.rint(255 * np.clip(linear * g, 0, 1) ** (1 / 2.2)).astype(np.uint8) for g in (1, 4, 12, 36)]
    return np.rint(255 * np.clip(cv2.createMergeMertens().process(derived), 0, 1)).astype(np.uint8)


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
    "ours": lambda rgb: light.correct(rgb)[0],
}


def main() -> None:
    """Print the table."""
    sys.path.insert(0, str(ROOT / "fixtures"))
    from house import camera

    cv2.setNumThreads(1)
    good = references()
    print(f"{len(good)} references; dB plain / mean-matched")
    for stops in (1, 2, 3, 4, 5):
        dark = {name: camera.darken(rgb, float(stops), n) for n, (name, rgb) in enumerate(good.items())}
        cells = []
        for name, method in METHODS.items():
            out = {key: method(rgb) for key, rgb in dark.items()}
            plain, matched = (
                np.mean([psnr(out[key], good[key], matched=m) for key in good]) for m in (False, True)
            )
            cells.append(f"{name} {plain:.1f}/{matched:.1f}")
        burnt = [np.mean(light.correct(rgb)[0] >= 250) - np.mean(rgb >= 250) for rgb in dark.values()]
        lifted = sum(not light.correct(rgb)[1].left_alone for rgb in dark.values())
        print(
            f"{stops} stops under: {'; '.join(cells)}; {lifted} of {len(dark)} lifted; "
            f"burnt out grows {100 * np.mean(burnt):.2f} %, at most {100 * max(burnt):.2f} %"
        )
    alone = sum(light.correct(rgb)[0] is rgb for rgb in good.values())
    print(f"well exposed: {alone} of {len(good)} left alone")
    large = cv2.resize(next(iter(good.values())), (4000, 3000), interpolation=cv2.INTER_CUBIC)
    dark_one = np.asarray(large // 8, np.uint8)
    begun = time.perf_counter()
    light.correct(dark_one)
    print(f"time of one lift with noise reduction: {1000 * (time.perf_counter() - begun) / 12:.0f} ms/MP")


if __name__ == "__main__":
    main()
