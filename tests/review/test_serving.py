"""How serving ends: at once, with one sentence, however many pages are open."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.review.conftest import Asker


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C is sent as a signal of POSIX")
def test_ctrl_c_ends_it_without_a_traceback_though_a_page_listens(taken_in: Path, tmp_path: Path) -> None:
    """What an open page listens to was cut off after a second, and said so over forty lines."""
    folder = Path(shutil.copytree(taken_in, tmp_path / "job"))
    command = [sys.executable, "-m", "evidence", "review", str(folder), "--no-open"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        asker = Asker(running.stdout.readline().strip(), folder)
        asker.enter()
        with asker.listening() as events:
            assert events.readline().startswith(b"data: ")
            running.send_signal(signal.SIGINT)
            told = running.stderr.read()

    assert running.returncode == 130
    assert told.strip().splitlines()[-1].startswith("Stopped.")
    assert "Traceback" not in told
    assert "ERROR" not in told
