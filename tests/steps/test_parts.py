"""Two jobs on one card: proposed, never mixed silently, and what is left is never called safe."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from evidence import roomcards, verify
from evidence.card import CardFile, read_card
from evidence.cli import app
from evidence.desk import Desk
from evidence.errors import ExitCode, SeveralJobs, WrongUsage
from evidence.job import Job
from evidence.settings import Details
from evidence.steps import parts, read
from evidence.steps.intake import intake
from evidence.steps.parts import Offer, Wanted, unexpected_job_cards
from evidence.steps.start import start
from tests.bench import drawn_cards
from tests.conftest import draw, make_card

DCIM = "DCIM/100ABCDE"
MORNING = 1_795_000_000
"""2026-11-18 11:06:40 UTC, by GNU date -u -d @1795000000."""


def touch(path: Path, seconds: float) -> None:
    os.utime(path, (MORNING + seconds, MORNING + seconds))


@pytest.fixture
def two_jobs(tmp_path: Path) -> Path:
    """The small card, its last two shots taken 2 h 43 min after the others."""
    card = make_card(tmp_path / "EOSTREL")
    for n in (5, 6):
        touch(card / DCIM / f"ABCD{n:04d}.JPG", 10_000 + n)
    return card


def no_card(_: CardFile) -> bool:
    return False


class Look:
    """Remembers what was looked at, none of which shows a job card."""

    def __init__(self) -> None:
        self.at: list[CardFile] = []

    def __call__(self, file: CardFile) -> bool:
        self.at.append(file)
        return False


def names(job: Job) -> list[str]:
    return [one.original.name for one in job.taken()]


def test_a_card_of_two_jobs_is_not_taken_in_before_the_inspector_chose(job: Job, two_jobs: Path) -> None:
    with pytest.raises(SeveralJobs) as asked:
        intake(job, [two_jobs])

    first, second = asked.value.parts
    assert isinstance(first, Offer)
    assert isinstance(second, Offer)
    assert (first.shots, first.first, first.last, first.why) == (6, "ABCD0001.JPG", "ABCD0004.JPG", "")
    assert (second.shots, second.first, second.why) == (2, "ABCD0005.JPG", "after a pause of 2 h 43 min")
    assert second.began.timestamp() == MORNING + 10_005
    assert "part 2: 2 files" in str(asked.value)
    assert "--part N" in asked.value.remedy
    assert "--whole" in asked.value.remedy
    assert job.taken() == ()
    assert [line.what for line in job.lines] == ["start"]


def test_each_part_goes_into_its_own_job_and_none_is_lost(job: Job, two_jobs: Path, tmp_path: Path) -> None:
    first = intake(job, [two_jobs], wanted=Wanted((1,)))
    with Job.create(tmp_path / "other", Details()) as other:
        second = intake(other, [two_jobs], wanted=Wanted((2,)))
        assert names(other) == ["ABCD0005.JPG", "ABCD0006.JPG", "notes.txt"]

    assert {t.original.name for t in first.taken} & {t.original.name for t in second.taken} == {"notes.txt"}
    assert len(first.taken) + len(second.taken) == 9 + 1
    assert verify.verify(job.folder).faults == []


def test_what_is_left_on_the_card_is_never_called_erasable(job: Job, two_jobs: Path, tmp_path: Path) -> None:
    first = intake(job, [two_jobs], wanted=Wanted((1,)), second_copy=tmp_path / "second")
    again = intake(job, [two_jobs], wanted=Wanted((2,)), second_copy=tmp_path / "second")
    whole = intake(job, [two_jobs], wanted=Wanted(whole=True), second_copy=tmp_path / "second")

    assert first.why_not_erase == (
        "Part 2 of EOSTREL (2 files) was left for another job: this one cannot say that it is safe.",
    )
    assert not again.may_erase
    assert whole.may_erase
    assert whole.left == ()


def test_what_was_chosen_is_noted_once(job: Job, two_jobs: Path) -> None:
    for _ in range(2):
        intake(job, [two_jobs], wanted=Wanted((1,)))

    (noted,) = [line for line in job.lines if line.what == "part"]
    assert noted.by == "A. Wren"
    assert (noted.about, noted.value["taken"], noted.value["of"]) == ("EOSTREL", [1], 2)


def test_several_parts_may_be_one_job_and_the_whole_card_too(
    job: Job, two_jobs: Path, tmp_path: Path
) -> None:
    intake(job, [two_jobs], wanted=Wanted((2, 1)))
    with Job.create(tmp_path / "other", Details()) as other:
        intake(other, [two_jobs], wanted=Wanted(whole=True))
        assert names(other) == names(job)


def test_a_card_whose_parts_the_job_has_all_begun_is_not_asked_about_again(job: Job, two_jobs: Path) -> None:
    intake(job, [two_jobs], wanted=Wanted(whole=True))
    (two_jobs / DCIM / "ABCD0007.JPG").write_bytes(b"\xff\xd8\xffseven")
    touch(two_jobs / DCIM / "ABCD0007.JPG", 10_020)

    assert [one.original.name for one in intake(job, [two_jobs]).taken] == ["ABCD0007.JPG"]


def test_a_new_part_is_asked_about_though_the_job_has_the_others(job: Job, two_jobs: Path) -> None:
    intake(job, [two_jobs], wanted=Wanted((1,)))

    with pytest.raises(SeveralJobs, match="in this job already"):
        intake(job, [two_jobs])


def test_the_part_of_the_inspection_s_day_is_proposed(two_jobs: Path, tmp_path: Path) -> None:
    for n in (5, 6):
        touch(two_jobs / DCIM / f"ABCD{n:04d}.JPG", 3 * 86_400)
    with Job.create(tmp_path / "job", Details(inspected=date(2026, 11, 21))) as job:
        with pytest.raises(SeveralJobs, match="Proposed for this job: --part 2") as asked:
            intake(job, [two_jobs])

        assert [one.this_day for one in asked.value.parts if isinstance(one, Offer)] == [False, True]


@pytest.mark.parametrize(
    ("wanted", "sentence"),
    [
        (Wanted((3,)), "there is no part 3"),
        (Wanted((0,)), "there is no part 0"),
        (Wanted((1,), whole=True), "not both"),
        (Wanted(begins=("ABCD9999.JPG",)), "no file is called ABCD9999.JPG"),
    ],
)
def test_a_part_that_cannot_be_is_refused(wanted: Wanted, sentence: str, job: Job, two_jobs: Path) -> None:
    with pytest.raises(WrongUsage, match=sentence):
        intake(job, [two_jobs], wanted=wanted)

    assert job.taken() == ()


def test_a_part_of_two_cards_at_once_is_refused(job: Job, two_jobs: Path, tmp_path: Path) -> None:
    with pytest.raises(WrongUsage, match="one card at a time"):
        intake(job, [two_jobs, make_card(tmp_path / "B")], wanted=Wanted((1,)))


def test_a_phone_of_many_years_lists_its_latest_parts_only(job: Job, tmp_path: Path) -> None:
    phone = tmp_path / "phone"
    phone.mkdir()
    for day in range(40):
        (phone / f"IMG_{day}.jpg").write_bytes(b"\xff\xd8\xff" + bytes([day]))
        touch(phone / f"IMG_{day}.jpg", day * 86_400)

    with pytest.raises(SeveralJobs) as asked:
        intake(job, [phone], shows_job_card=no_card)

    assert len(asked.value.parts) == 40
    assert len(str(asked.value).splitlines()) == 14
    assert "28 earlier parts" in str(asked.value)


# ---------------------------------------------------------------------------- cards copied in one go


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    """A folder of two houses' pictures, all with the time of copying; a note and a broken one among them."""
    folder = tmp_path / "copied"
    folder.mkdir()
    for n in range(1, 7):
        path = folder / f"IMG_{n}.jpg"
        draw(path, n, datetime(2026, 11, 18, 9 + n // 4 * 5, n))  # noqa: DTZ001 - a camera's clock is naive
        touch(path, 0)
    for name, data in (("IMG_2_2.jpg", b"\xff\xd8\xffbroken"), ("notes.txt", b"notes")):
        (folder / name).write_bytes(data)
        touch(folder / name, 0)
    return folder


def test_where_file_times_say_nothing_a_card_is_parted_by_the_cameras_times(job: Job, copied: Path) -> None:
    with pytest.raises(SeveralJobs) as asked:
        intake(job, [copied], shows_job_card=no_card)

    first, second = asked.value.parts
    assert isinstance(first, Offer)
    assert isinstance(second, Offer)
    assert (first.began.hour, second.began.hour) == (9, 14)
    assert (second.first, second.why) == ("IMG_4.jpg", "after a pause of 5 h 1 min")


def test_files_parted_by_the_cameras_times_are_known_again_by_their_own(job: Job, copied: Path) -> None:
    intake(job, [copied], wanted=Wanted((1,)), shows_job_card=no_card)

    with pytest.raises(SeveralJobs) as asked:
        intake(job, [copied], shows_job_card=no_card)

    assert [one.new for one in asked.value.parts if isinstance(one, Offer)] == [0, 4]


def test_few_of_a_copied_card_are_looked_at_for_a_job_card(job: Job, copied: Path) -> None:
    look = Look()
    for n in range(7, 40):
        path = copied / f"IMG_{n}.jpg"
        draw(path, n, datetime(2026, 11, 18, 14, n))  # noqa: DTZ001 - a camera's clock is naive
        touch(path, 0)
    with pytest.raises(SeveralJobs):
        intake(job, [copied], shows_job_card=look)

    assert 0 < len(look.at) <= 15


def test_a_copied_card_without_camera_times_is_looked_through_and_not_parted(job: Job, copied: Path) -> None:
    look = Look()
    for n in range(1, 7):
        (copied / f"IMG_{n}.jpg").write_bytes(b"\xff\xd8\xff" + bytes([n]))
        touch(copied / f"IMG_{n}.jpg", 0)
    intake(job, [copied], shows_job_card=look)

    assert len(look.at) == 8
    assert len(job.taken()) == 8


# ------------------------------------------------------------------------- job cards, by their pictures


def names_on(card: Path) -> list[str]:
    return [file.path.name for file in read_card(card).files]


def draw_job_card(path: Path, seed: int) -> None:
    """A drawn photograph of the job card, by the drawings of the room cards' benchmark."""
    rng = np.random.default_rng(seed)
    wall = drawn_cards.backgrounds(1, seed, (800, 600))[0]
    picture = drawn_cards.shoot(roomcards.JOB_CARD, drawn_cards.any_shot(rng, "plain"), wall, rng)
    Image.fromarray(picture).save(path, quality=90)


@pytest.fixture
def carded(card: Path, tmp_path: Path) -> Path:
    """Eight shots; the seventh shows a job card, seven minutes after the one before."""
    made = Path(shutil.copytree(card, tmp_path / "OSTREL"))
    for n in range(1, 9):
        path = made / f"DCIM/100OSTRE/OSTR{n:04d}.JPG"
        if n == 7:
            draw_job_card(path, 5)
        touch(path, n * 60 if n < 7 else 780 + n * 60)
    return made


def test_a_job_card_after_a_short_pause_is_seen_before_anything_is_copied(job: Job, carded: Path) -> None:
    with pytest.raises(SeveralJobs) as asked:
        intake(job, [carded])

    second = asked.value.parts[1]
    assert isinstance(second, Offer)
    assert (second.first, second.why) == ("OSTR0007.JPG", "begins with a job card")
    assert job.taken() == ()


@pytest.fixture
def mixed(carded: Path, tmp_path: Path) -> Iterator[Desk]:
    """A job that took in the whole card, because its file times hid the pause."""
    for n in range(1, 9):
        touch(carded / f"DCIM/100OSTRE/OSTR{n:04d}.JPG", n * 60)
    start(tmp_path / "job", {"inspector": "A. Wren"}).close()
    with Desk.open(tmp_path / "job") as desk, ThreadPoolExecutor(2) as pool:
        read.take_in(desk, [carded], executor=pool)
        yield desk


def test_a_job_card_that_the_first_look_passed_over_is_told_after_the_reading(mixed: Desk) -> None:
    (said,) = unexpected_job_cards(mixed)

    assert said.startswith("Picture 7 (OSTR0007.JPG) shows a job card after 6 other pictures")
    assert "--job-begins OSTR0007.JPG" in said


def test_a_job_card_of_a_card_that_is_all_one_job_is_not_told_again(mixed: Desk, carded: Path) -> None:
    with ThreadPoolExecutor(1) as pool:
        read.take_in(mixed, [carded], wanted=Wanted(whole=True), executor=pool)

    assert unexpected_job_cards(mixed) == ()


def name_ends_the_process(path: Path) -> bool:
    """Stand in for the look, in the worker: one file ends its process, as a broken HEIC can libheif's."""
    if path.name == "OSTR0003.JPG":
        os.abort()
    return path.name in {"OSTR0002.JPG", "OSTR0008.JPG"}


@pytest.mark.parametrize("few", [0, 100])
def test_many_are_looked_at_as_few_are(few: int, carded: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parts, "_FEW", few)

    shown = dict(zip(names_on(carded), parts._show_job_card(read_card(carded).files), strict=True))

    assert [name for name, one in shown.items() if one] == ["OSTR0007.JPG"]


def test_a_file_that_ends_its_process_costs_no_other_its_look(
    carded: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parts, "_FEW", 0)
    monkeypatch.setattr(parts, "_shows_job_card", name_ends_the_process)

    shown = dict(zip(names_on(carded), parts._show_job_card(read_card(carded).files), strict=True))

    assert [name for name, one in shown.items() if one] == ["OSTR0002.JPG", "OSTR0008.JPG"]


def test_the_border_of_a_job_can_be_said(job: Job, carded: Path) -> None:
    intake(job, [carded], wanted=Wanted((2,), begins=("OSTR0008.JPG",)), shows_job_card=no_card)

    assert names(job) == ["OSTR0008.JPG"]


# ----------------------------------------------------------------------------------- as it is typed


def typed(*words: object) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, [str(word) for word in words])
    assert "Traceback" not in done.output
    return done.exit_code, done.stdout, done.stderr


@pytest.fixture
def days(tmp_path: Path) -> Path:
    """A card with the pictures of two houses."""
    for n in range(1, 5):
        path = tmp_path / "EOSTREL" / DCIM / f"ABCD{n:04d}.JPG"
        draw(path, n, datetime(2026, 11, 18, 9 + n // 3 * 4, n))  # noqa: DTZ001 - a camera's clock is naive
        touch(path, n * 60 if n < 3 else 14_000 + n * 60)
    return tmp_path / "EOSTREL"


def test_the_command_asks_with_exit_3_and_takes_what_it_is_told(days: Path, tmp_path: Path) -> None:
    job = tmp_path / "job"
    typed("start", job)

    code, out, err = typed("intake", job, days)
    assert (code, out) == (ExitCode.NEEDS_PERSON, "")
    assert "EOSTREL seems to hold 2 parts" in err
    assert "part 2: 2 files" in err
    assert "--part N" in err

    code, out, _ = typed("intake", job, days, "--json")
    assert code == ExitCode.NEEDS_PERSON
    assert [one["shots"] for one in json.loads(out)["parts"]] == [2, 2]

    code, out, _ = typed("intake", job, days, "--part", 2)
    assert code == ExitCode.DONE
    assert "2 files taken in" in out
    assert "Part 1 of EOSTREL (2 files) was left for another job" in out
