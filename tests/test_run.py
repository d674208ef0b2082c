"""Running one function over many files: skipping, faults, workers that die."""

from __future__ import annotations

import io
import os
import platform
import signal
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from multiprocessing import active_children
from pathlib import Path

import numpy as np
import pytest

from evidence import run
from evidence.errors import BadPicture
from evidence.progress import Line
from evidence.store import Answer, Store
from evidence.words import Digest, FileKind, FrameNumber, Original, Taken


def first_letter(path: Path, parts: frozenset[str]) -> Mapping[str, Answer]:
    text = path.read_text()
    if text == "bad":
        raise BadPicture(f"{path.name} is no picture.")
    if text == "odd":
        raise ZeroDivisionError("nobody thought of this")
    if text == "deadly":
        os.kill(os.getpid(), signal.SIGKILL)
    if text == "crash":
        os.kill(os.getpid(), signal.SIGSEGV)
    if text == "huge":
        raise MemoryError
    return {part: Answer(text[:1].encode()) for part in parts}


WORK = run.Work({"letter": "1"}, first_letter)


def job_of(folder: Path, texts: list[str]) -> tuple[Store, dict[Digest, Path]]:
    store = Store(folder / "job.sqlite")
    places: dict[Digest, Path] = {}
    for number, text in enumerate(texts, 1):
        digest = Digest(f"{number:064x}")
        places[digest] = folder / f"{number}.txt"
        places[digest].write_text(text)
        original = Original(digest, 1, f"card/{number}.txt")
        store.put_originals([Taken(original, FileKind.PICTURE, FrameNumber(number), "card", "", "", "")])
    return store, places


def test_every_original_is_answered_once_and_not_again(tmp_path: Path) -> None:
    store, places = job_of(tmp_path, ["alpha", "beta"])

    with store, ThreadPoolExecutor(2) as pool:
        first = run.each(store, places, WORK, executor=pool)
        second = run.each(store, places, WORK, executor=pool)

        assert [a.value for a in store.answers("letter").values()] == [b"a", b"b"]
        assert (first.answered, second.answered) == (2, 0)


def test_a_better_method_asks_again(tmp_path: Path) -> None:
    store, places = job_of(tmp_path, ["alpha"])

    with store, ThreadPoolExecutor(2) as pool:
        run.each(store, places, WORK, executor=pool)
        again = run.each(store, places, run.Work({"letter": "2"}, first_letter), executor=pool)

        assert again.answered == 1


def test_a_bad_file_costs_only_itself_and_keeps_its_reason(tmp_path: Path) -> None:
    store, places = job_of(tmp_path, ["alpha", "bad", "odd", "delta"])

    with store, ThreadPoolExecutor(2) as pool:
        tally = run.each(store, places, WORK, executor=pool)

        assert tally.answered == 4
        assert sorted(tally.faults.values()) == [
            "2.txt is no picture.",
            "3.txt could not be read (ZeroDivisionError: nobody thought of this).",
        ]


def test_a_file_that_kills_its_worker_is_set_aside_and_the_others_are_answered(tmp_path: Path) -> None:
    store, places = job_of(tmp_path, ["alpha", "deadly", "gamma", "delta"])

    with store:
        tally = run.each(store, places, WORK)

        assert list(tally.faults.values()) == [
            "2.txt brought the reader down; it is kept and was not decoded."
        ]
        assert sorted(a.value for a in store.answers("letter").values() if a.value) == [b"a", b"d", b"g"]


def test_a_worker_ended_from_outside_or_short_of_memory_is_asked_again_a_crash_is_not(
    tmp_path: Path,
) -> None:
    """The system ends what takes too much memory with SIGKILL; a decoder's own crash is a SIGSEGV."""
    store, places = job_of(tmp_path, ["deadly", "crash", "huge"])
    killed, crashed, short = places

    with store:
        tally = run.each(store, places, WORK)

        assert tally.faults[crashed] == "2.txt makes the reader crash; it is kept and was not decoded."
        assert tally.faults[short] == "3.txt could not be read: there was not memory enough."
        assert store.unanswered(WORK.versions).keys() == {killed, short}


def test_progress_is_told_once_and_only_of_what_is_still_to_do(tmp_path: Path) -> None:
    """What was answered while the last was handed in needs no line."""
    store, places = job_of(tmp_path, ["alpha"])
    drawn = io.StringIO()

    with store, ThreadPoolExecutor(1) as pool:
        run.each(store, places, WORK, executor=pool, progress=Line(drawn))

    assert drawn.getvalue().count("\n") <= 1
    assert "0/0" not in drawn.getvalue()


def ignores_ctrl_c() -> bool:
    return signal.getsignal(signal.SIGINT) is signal.SIG_IGN


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="asks Linux's /proc")
def test_a_worker_is_deaf_to_ctrl_c_from_birth() -> None:
    """While it still imports: what /proc tells of the signals it ignores (proc(5), SigIgn; 2 is SIGINT)."""
    with run.workers() as pool:
        future = pool.submit(ignores_ctrl_c)
        (child,) = [child for child in active_children() if child.is_alive()]
        status = Path(f"/proc/{child.pid}/status").read_text()

        assert int(status.split("SigIgn:")[1].split()[0], 16) >> (signal.SIGINT - 1) & 1
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
        assert future.result()


def interrupted(runner: run.Runner, places: Mapping[Digest, Path], pool: ThreadPoolExecutor) -> None:
    with runner:
        for digest, path in places.items():
            runner.submit(digest, path, frozenset({"letter"}))
        pool.submit(int).result()
        raise KeyboardInterrupt


def test_an_interrupt_keeps_the_answers_in_hand(tmp_path: Path) -> None:
    store, places = job_of(tmp_path, ["alpha", "beta", "gamma"])

    with store, ThreadPoolExecutor(1) as pool:
        runner = run.Runner(store, WORK, pool)
        with pytest.raises(KeyboardInterrupt):
            interrupted(runner, places, pool)

        assert len(store.answers("letter")) == runner.tally.answered == 3


def test_a_worker_says_nothing_on_standard_error(capfd: pytest.CaptureFixture[str]) -> None:
    """The JPEG library talks there of damaged scans."""
    with run.workers() as pool:
        pool.submit(os.write, 2, b"Corrupt JPEG data").result()

    assert capfd.readouterr().err == ""


def pages_faulted_in() -> int:
    """Make and drop eight maps of 3 MiB three times over, as a comparison does; count the last time's."""
    import resource  # noqa: PLC0415 (not on Windows)

    faults = [0]
    for _ in range(3):
        maps = [np.ones((768, 1024), np.float32) for _ in range(8)]
        del maps
        faults.append(resource.getrusage(resource.RUSAGE_SELF).ru_minflt)
    return faults[-1] - faults[-2]


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="a setting of glibc's malloc")
def test_a_worker_keeps_the_memory_of_one_map_for_the_next() -> None:
    """24 MiB are 6,144 pages of 4 KiB."""
    with run.workers() as pool:
        assert pool.submit(pages_faulted_in).result() < 600


def test_a_fault_of_the_disk_is_told_and_asked_again_the_next_time(tmp_path: Path) -> None:
    """A file that cannot be opened stands for a read error (EIO): both reach us as OSError."""
    store, places = job_of(tmp_path, ["alpha", "beta"])
    (first, path), _ = places.items()
    path.rename(tmp_path / "away")

    with store, ThreadPoolExecutor(1) as pool:
        tally = run.each(store, places, WORK, executor=pool)
        assert tally.faults == {first: "1.txt could not be read: no such file or directory."}
        assert store.answers("letter")[first].fault == tally.faults[first]

        (tmp_path / "away").rename(path)
        again = run.each(store, places, WORK, executor=pool)

        assert (again.answered, store.answers("letter")[first].value) == (1, b"a")
