"""How serving ends: at once, with one sentence, however many pages are open."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests import saboteurs
from tests.review.conftest import Asker, served


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


def test_an_archive_that_cannot_be_written_is_opened_for_looking_only(taken_in: Path, tmp_path: Path) -> None:
    """A real read-only mount, which stops root too; small copies of pictures are kept elsewhere meanwhile."""
    with saboteurs.SmallDisk(tmp_path / "archive", 8_000_000) as disk:
        folder = Path(shutil.copytree(taken_in, disk.folder / "job"))
        shutil.rmtree(folder / "copies", ignore_errors=True)
        disk.read_only(on=True)
        for serving in served(folder):
            asker = Asker(serving.address, folder)
            asker.enter()
            for view in ("walk", "findings", "gaps", "proof"):
                seen = asker.get(f"/{view}")
                assert (seen.status, "For looking only" in seen.text) == (200, True)
            image = re.search(r"/image/[^\" ]+/small\.jpg", asker.get("/walk").text)
            assert image
            assert asker.get(image[0]).status == 200

            refused = asker.act("room", frame=1, name="Attic")

            assert refused["problem"] == "job cannot be written: read-only file system."
            disk.read_only(on=False)
            assert "problem" not in asker.act("room", frame=1, name="Attic")
            assert "For looking only" not in asker.get("/walk").text
