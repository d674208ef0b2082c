"""A small job of eight drawn pictures in two places, for trying steps on."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from evidence.desk import Desk
from evidence.steps import read
from evidence.steps.start import start


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


@pytest.fixture
def desk(taken_in: Path, tmp_path: Path) -> Iterator[Desk]:
    """A copy of that job, laid open for writing."""
    shutil.copytree(taken_in, tmp_path / "job")
    with Desk.open(tmp_path / "job") as opened:
        yield opened
