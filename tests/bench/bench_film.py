"""Time lifting frames against the film's own length, and see whether the sharpest are found.

    python -m tests.bench.bench_film [--seconds 30] [--film FILE]

Without ``--film`` a walk-through is drawn: one of the made-up house's photographs seen through a moving
window of 1920 x 1080, every frame blurred along its movement by its own amount, with a little noise.
The blur of each frame is known, so is the sharpest of each stretch. It is coded as H.264 by ffmpeg
where that is installed, which is what phones write, else as MPEG-4 part 2 by OpenCV.
Processor time of one process on one core, so that other work running beside it does not count.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from evidence.pictures import frames, read_exif

HOUSE = Path(__file__).resolve().parents[2] / "fixtures" / "card"
SIZE = (1920, 1080)
FPS = 30


def draw(folder: Path, seconds: int) -> tuple[Path, list[float]]:
    """Write the walk-through; give it with the blur of each frame in pixels."""
    chance = np.random.default_rng(3)
    picture = cv2.imread(str(sorted(HOUSE.rglob("*.JPG"))[8]))
    assert picture is not None
    wide = cv2.resize(picture, (3200, 2400), interpolation=cv2.INTER_CUBIC)
    noise = chance.normal(0, 3, (8, SIZE[1], SIZE[0], 3)).astype(np.int8)
    blurs: list[float] = []
    plain = folder / "plain.avi"
    writer = cv2.VideoWriter(str(plain), cv2.VideoWriter.fourcc(*"MJPG"), FPS, SIZE)
    for n in range(seconds * FPS):
        x = int(640 + 600 * np.sin(n / 97))
        y = int(660 + 500 * np.sin(n / 151))
        blur = float(1 + 14 * abs(np.sin(n / 11)) + chance.uniform(0, 6))
        blurs.append(blur)
        length = round(blur)
        seen = wide[y : y + SIZE[1], x : x + SIZE[0]]
        moved = cv2.blur(seen, (length, 1)) if length > 1 else seen
        writer.write(np.clip(moved.astype(np.int16) + noise[n % 8], 0, 255).astype(np.uint8))
    writer.release()
    film = folder / "ABCD0001.MP4"
    if shutil.which("ffmpeg"):
        coding = ["-c:v", "libx264", "-preset", "medium", "-b:v", "17M", "-pix_fmt", "yuv420p"]
        subprocess.run(["ffmpeg", "-v", "error", "-y", "-i", plain, *coding, film], check=True)
    else:
        reader = cv2.VideoCapture(str(plain))
        again = cv2.VideoWriter(str(film), cv2.VideoWriter.fourcc(*"mp4v"), FPS, SIZE)
        while (got := reader.read())[0]:
            again.write(got[1])
        again.release()
    return film, blurs


def decode_only(film: Path) -> float:
    """Processor seconds of decoding every frame and nothing else: the floor."""
    capture = cv2.VideoCapture(str(film), cv2.CAP_FFMPEG, [cv2.CAP_PROP_N_THREADS, 1])
    began = time.process_time()
    while capture.grab():
        pass
    return time.process_time() - began


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=30)
    parser.add_argument("--film", type=Path)
    words = parser.parse_args()
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as name:
        film, blurs = (words.film, []) if words.film else draw(Path(name), words.seconds)
        length = read_exif(film).length_s or float(words.seconds)
        print(
            f"{film.name}: {length:.1f} s, {film.stat().st_size / length / 1e6 * 8:.1f} Mbit/s; "
            f"{frames.decoder()}"
        )
        floor = decode_only(film)
        print(f"decoding alone              {length / floor:5.1f} times real time")
        for title, stretches in (
            ("sharpest of every 2 s", [(t, t + 1.999) for t in np.arange(0, length, 2)]),
            ("sharpest of every 10 s", [(t, t + 9.999) for t in np.arange(0, length, 10)]),
            ("12 s around 2 sentences", [(t, t + 6.0) for t in (length * 0.2, length * 0.7)]),
        ):
            began = time.process_time()
            found = list(frames.sharpest(film, stretches))
            took = time.process_time() - began
            line = f"{title:<27} {length / took:5.1f} times real time"
            if blurs:
                line += "; " + _found(found, stretches, blurs)
            print(line)


def _found(found: list[frames.Frame | None], stretches: list[tuple[float, float]], blurs: list[float]) -> str:
    """How often the sharpest frame, or one blurred by at most a pixel more, was found."""
    hits = exact = 0
    for frame, (start, end) in zip(found, stretches, strict=True):
        inside = [n for n in range(len(blurs)) if start <= n / FPS <= end]
        if frame is None or not inside:
            continue
        number = round(frame.at_s * FPS)
        best = min(round(blurs[n]) for n in inside)
        exact += round(blurs[number]) == best
        hits += round(blurs[number]) <= best + 1
    return f"least blurred found in {exact} of {len(found)}, within a pixel in {hits}"


if __name__ == "__main__":
    main()
