"""Keep the talk of picture libraries from people: what is wrong with a file is said once, by us."""

from __future__ import annotations

import logging
import threading
import warnings
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

_LOCK = threading.RLock()

for _library in ("exifread", "PIL", "pi_heif"):
    logging.getLogger(_library).addHandler(logging.NullHandler())


@contextmanager
def quietly() -> Iterator[None]:
    """Drop warnings; one thread at a time, since Python keeps its warning filters for all threads at once."""
    with _LOCK, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield
