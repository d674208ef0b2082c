"""A job laid open, for trying steps on."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from evidence.desk import Desk


@pytest.fixture
def desk(taken_in: Path, tmp_path: Path) -> Iterator[Desk]:
    """A copy of that job, laid open for writing."""
    shutil.copytree(taken_in, tmp_path / "job")
    with Desk.open(tmp_path / "job") as opened:
        yield opened
