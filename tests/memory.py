"""How much memory a process has had at most, for tests of commands that must not swell."""

from __future__ import annotations

import re
import sys
from pathlib import Path


def own_bytes() -> int:
    """The most that this process itself had.

    On Linux the usage that the system keeps of a process includes what the one that began it had held
    till then, a run of tests for instance; its status does not (proc(5), VmHWM).
    """
    status = Path("/proc/self/status")
    if status.exists() and (found := re.search(r"VmHWM:\s*(\d+) kB", status.read_text())):
        return int(found[1]) * 1024
    import resource  # noqa: PLC0415 - not on Windows

    return _bytes(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)


def children_bytes() -> int:
    """The most that one of the processes had that this one began and that have ended."""
    import resource  # noqa: PLC0415 - not on Windows

    return _bytes(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)


def _bytes(told: int) -> int:
    return told * (1 if sys.platform == "darwin" else 1024)
