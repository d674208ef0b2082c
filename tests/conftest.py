"""What many tests need: a small made-up camera card, a job, and the open data if it is at hand."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from evidence.desk import Desk
from evidence.job import Job
from evidence.settings import Details
from evidence.steps import read
from evidence.steps.start import start


def pytest_configure() -> None:
    """Hear Ctrl-C: what a shell starts in the background ignores it, and so would all that is tested."""
    signal.signal(signal.SIGINT, signal.default_int_handler)


def make_card(root: Path, pictures: int = 6) -> Path:
    """Write a small camera card by DCF (CIPA DC-009): shots a minute apart, a raw twin, a sound note."""
    shots = root / "DCIM" / "100ABCDE"
    shots.mkdir(parents=True)
    for n in range(1, pictures + 1):
        _shot(shots / f"ABCD{n:04d}.JPG", b"\xff\xd8\xff\xe1" + bytes([n]) * (1000 * n), n)
    _shot(shots / "ABCD0002.DNG", b"II*\0" + b"raw" * 900, 2)
    _shot(shots / "ABCD0003.WAV", b"RIFF\x24\0\0\0WAVEfmt " + b"note" * 50, 3)
    _shot(root / "MISC" / "notes.txt", b"foreign, and kept\n", 9)
    return root


def _shot(path: Path, data: bytes, minute: int) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    at = 1_795_000_000 + 60 * minute
    os.utime(path, (at, at))


@pytest.fixture(autouse=True)
def _nobody_at_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep a person's own standard findings out of the tests."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.getbasetemp() / "no settings"))


@pytest.fixture
def camera_card(tmp_path: Path) -> Path:
    """A card of six pictures, one with a raw twin, one with a sound note, and a foreign file."""
    return make_card(tmp_path / "EOSTREL")


@pytest.fixture
def job(tmp_path: Path) -> Iterator[Job]:
    """A new job, open for writing."""
    with Job.create(
        tmp_path / "14 Alder Court", Details(address="14 Alder Court", inspector="A. Wren")
    ) as it:
        yield it


@pytest.fixture(scope="session")
def open_data() -> Path:
    """The folder of open data, beside the repository; tests that need it are left out without it."""
    folder = Path(__file__).resolve().parents[2] / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("the open data is not beside the repository")
    return folder


def draw(path: Path, seed: int, taken: datetime) -> None:
    """Write a picture of blocks with a camera time, different for each seed."""
    chance = np.random.default_rng(seed)
    blocks = chance.integers(60, 220, (12, 16, 3), np.uint8)
    image = Image.fromarray(blocks).resize((320, 240), Image.Resampling.NEAREST)
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Ostrel", "F2"
    exif.get_ifd(0x8769)[0x9003] = taken.strftime("%Y:%m:%d %H:%M:%S")
    path.parent.mkdir(parents=True, exist_ok=True)
    image.save(path, quality=90, exif=exif)


@pytest.fixture(scope="session")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eight pictures ten seconds apart, with ten minutes between the fourth and the fifth."""
    root = tmp_path_factory.mktemp("card")
    moment = datetime(2026, 3, 4, 9, 0)  # noqa: DTZ001 - a camera's clock has no zone
    for number in range(1, 9):
        moment += timedelta(minutes=10) if number == 5 else timedelta(seconds=10)
        draw(root / "DCIM" / "100OSTRE" / f"OSTR{number:04d}.JPG", number, moment)
    return root


@pytest.fixture(scope="session")
def taken_in(card: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job that has taken the card in; to be copied, never changed."""
    folder = tmp_path_factory.mktemp("taken") / "job"
    start(folder, {"address": "14 Alder Court", "inspector": "A. Wren"}).close()
    with Desk.open(folder) as opened, ThreadPoolExecutor(2) as pool:
        read.take_in(opened, [card], executor=pool)
    return folder
