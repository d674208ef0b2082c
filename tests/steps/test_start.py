"""Making a new job from what was typed."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from evidence.errors import BadSetting
from evidence.job import Job
from evidence.steps.start import start


def test_a_job_starts_with_nothing_but_a_folder(tmp_path: Path) -> None:
    start(tmp_path / "job", {}).close()

    assert Job.open(tmp_path / "job", write=False).details.paper == "letter"


def test_what_was_typed_is_kept(tmp_path: Path) -> None:
    typed = {"address": "14 Alder Court", "due": "2026-12-01", "per_page": 4}

    with start(tmp_path / "job", typed) as job:
        assert (job.details.address, job.details.due, job.details.per_page) == (
            "14 Alder Court",
            date(2026, 12, 1),
            4,
        )


def test_a_wrong_value_makes_nothing(tmp_path: Path) -> None:
    with pytest.raises(BadSetting, match="per_page"):
        start(tmp_path / "job", {"per_page": 5})

    assert not (tmp_path / "job").exists()
