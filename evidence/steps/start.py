"""Make a new job."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evidence.job import Job
from evidence.settings import details

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path


def start(folder: Path, values: Mapping[str, object]) -> Job:
    """Make a new job from what was typed, and open it for writing.

    Raises
    ------
    BadSetting
        A value cannot be; nothing was made.
    AlreadyThere
        The folder is a job already.
    DiskFull, CannotWrite
        It could not be made.
    """
    return Job.create(folder, details(values))
