"""Whatever was decided on the page, in whatever order: no method's next version takes it back."""

from __future__ import annotations

import contextlib
import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from evidence import run, study
from evidence.desk import Desk
from evidence.errors import EvidenceError
from evidence.review import acts
from evidence.state import State
from evidence.steps import read
from evidence.store import Answer
from tests.review.test_acts_fuzzed import GOOD

FRAME = st.integers(1, 8).map(str)
ACT = st.one_of(
    st.sampled_from(sorted(GOOD.items())),
    st.tuples(
        st.just("room"), st.fixed_dictionaries({"frame": FRAME, "name": st.sampled_from(["Attic", "Bath"])})
    ),
    st.tuples(
        st.just("begins"), st.fixed_dictionaries({"frame": FRAME, "on": st.sampled_from(["yes", "no"])})
    ),
    st.tuples(st.just("move"), st.fixed_dictionaries({"frame": FRAME, "to": FRAME})),
)


@settings(max_examples=12, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(decided=st.lists(ACT, min_size=4, max_size=16))
def test_every_decision_outlives_the_next_version_of_every_method(
    decided: list[tuple[str, dict[str, str]]], taken_in: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Each later method answers otherwise: with what is true of another picture."""
    folder = Path(shutil.copytree(taken_in, tmp_path_factory.mktemp("outlived") / "job"))
    with Desk.open(folder) as desk, ThreadPoolExecutor(1) as pool, pytest.MonkeyPatch.context() as later:
        for name, form in decided:
            with contextlib.suppress(EvidenceError):
                acts.do(desk, name, form)
        lines, before = desk.job.lines, _said(desk.state())
        places = [desk.job.original(p.taken.original.place) for p in desk.state().pictures]
        another = dict(zip(places, reversed(places), strict=True))

        def otherwise(path: Path, parts: frozenset[str]) -> dict[str, Answer]:
            return study.study(another[path], parts)

        versions = dict(study.VERSIONS)
        for part in study.VERSIONS:
            if part == study.CAPTURE:
                continue  # another picture's time would be another day
            versions[part] = "a later one"
            later.setattr(study, "VERSIONS", dict(versions))
            later.setattr(study, "WORK", run.Work(dict(versions), otherwise))

            assert read.read(desk, executor=pool).answered == len(places)
            assert _said(desk.state()) == before
        assert desk.job.lines == lines


def _said(state: State) -> tuple[object, ...]:
    """Give all that a person said of the job, as it stands."""
    return (
        state.findings,
        state.attachments,
        state.not_seen,
        {
            p.frame: (
                p.light_decided,
                p.shown,
                p.direction,
                p.distance,
                p.marks,
                p.view,
                p.looked,
                p.seconds,
                state.room_of(p.frame),
            )
            for p in state.pictures
        },
    )
