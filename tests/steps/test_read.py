"""Taking a card in and reading it, the one while the other goes on."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import pytest
from PIL import Image

from evidence import run, study
from evidence.desk import Desk
from evidence.memory import Memory
from evidence.state import State
from evidence.steps import attach, findings, light, picture, read, rooms
from evidence.steps.start import start
from evidence.steps.status import status
from evidence.store import Answer
from evidence.words import Distance
from tests.pictures.made_up_films import write_film
from tests.pictures.test_frames import numbered


def test_every_picture_has_every_answer_after_the_intake(desk: Desk) -> None:
    assert desk.store.unanswered(study.VERSIONS) == {}
    assert [p.frame for p in desk.state().pictures] == [1, 2, 3, 4, 5, 6, 7, 8]


def test_reading_again_reads_nothing(desk: Desk) -> None:
    with ThreadPoolExecutor(1) as pool:
        assert read.read(desk, executor=pool).answered == 0


def test_a_text_named_as_a_picture_is_kept_and_named_with_its_reason(card: Path, tmp_path: Path) -> None:
    (tmp_path / "odd" / "DCIM" / "100OSTRE").mkdir(parents=True)
    (tmp_path / "odd" / "DCIM" / "100OSTRE" / "OSTR0001.JPG").write_text("not a picture")
    start(tmp_path / "job", {}).close()

    with Desk.open(tmp_path / "job") as desk, ThreadPoolExecutor(1) as pool:
        read.take_in(desk, [tmp_path / "odd", card], executor=pool)
        broken = read.damaged(desk)

        assert [one.place.rsplit("/", 1)[-1] for one in broken] == ["OSTR0001.JPG"]
        assert broken[0].reason
        assert len([p for p in desk.state().pictures if p.usable]) == 8


def test_a_film_of_which_no_frame_can_be_decoded_is_told_while_it_can_be_taken_again(tmp_path: Path) -> None:
    shots = tmp_path / "cut" / "DCIM" / "100OSTRE"
    shots.mkdir(parents=True)
    whole = write_film(shots / "OSTR0001.MP4", numbered(12)).read_bytes()
    # ISO/IEC 14496-12: without the "moov" box, which is written here last, no sample can be found.
    (shots / "OSTR0002.MP4").write_bytes(whole[: whole.rindex(b"moov") - 4])
    (shots / "OSTR0003.MP4").touch()
    start(tmp_path / "job", {}).close()

    with Desk.open(tmp_path / "job") as desk, ThreadPoolExecutor(1) as pool:
        read.take_in(desk, [tmp_path / "cut"], executor=pool)
        broken = read.damaged(desk)

    assert [one.place.rsplit("/", 1)[-1] for one in broken] == ["OSTR0002.MP4", "OSTR0003.MP4"]
    assert {one.reason for one in broken} == {"Nothing in it can be decoded as a film."}


def test_a_picture_that_lacks_its_library_is_asked_again_until_it_is_there(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also of a job that was read when such a fault still stood for good."""
    shots = tmp_path / "phone" / "DCIM" / "100OSTRE"
    shots.mkdir(parents=True)
    (shots / "IMG_0001.HEIC").write_bytes(bytes.fromhex("0000001866747970686569630000000068656963"))
    monkeypatch.setitem(sys.modules, "pi_heif", None)
    start(tmp_path / "job", {}).close()

    with Desk.open(tmp_path / "job") as desk, ThreadPoolExecutor(1) as pool:
        read.take_in(desk, [tmp_path / "phone"], executor=pool)
        (broken,) = read.damaged(desk)
        assert "evidence-appendix[heic]" in broken.reason
        assert read.unread(desk) == 1

        ((digest, old),) = desk.store.answers("quality").items()
        for fault in (old.fault, "a.HEIC brought the reader down; it is kept and was not decoded."):
            desk.store.put_answers(study.VERSIONS, digest, {"quality": Answer(None, fault)})
            assert "quality" in desk.store.unanswered(study.VERSIONS)[digest]


def test_an_empty_picture_is_said_to_be_empty(tmp_path: Path) -> None:
    (tmp_path / "ABCD0001.JPG").touch()

    answers = study.study(tmp_path / "ABCD0001.JPG", frozenset(study.VERSIONS))

    assert answers["quality"].fault == "The file is empty."


@pytest.mark.parametrize(
    ("size", "name", "reason"),
    [
        ((1, 1), "a.png", "It is only 1 by 1 pixels: too small to show anything."),
        (
            (40000, 300),
            "a.png",
            "Brought down to 1600 pixels it is only 12 across: too narrow to show anything.",
        ),
        (
            (3199, 16),
            "a.jpg",
            "Brought down to 1600 pixels it is only 8 across: too narrow to show anything.",
        ),
        (
            (150, 60000),
            "a.jpg",
            "Brought down to 1600 pixels it is only 4 across: too narrow to show anything.",
        ),
        ((40000, 400), "a.jpg", ""),
    ],
)
def test_a_picture_too_small_or_too_narrow_to_show_anything_is_named_for_what_it_is(
    size: tuple[int, int], name: str, reason: str, tmp_path: Path
) -> None:
    """Whichever way its decoder reduces it; a narrow one was told a size that it does not have."""
    Image.effect_noise(size, 80).convert("RGB").save(tmp_path / name)

    answers = study.study(tmp_path / name, frozenset(study.VERSIONS))

    assert {answer.fault for part, answer in answers.items() if part != study.CAPTURE} == {reason}


@pytest.mark.parametrize("part", sorted(study.VERSIONS))
def test_a_job_that_an_older_version_read_can_be_looked_at_and_says_so(part: str, desk: Desk) -> None:
    """What it answered may have had another form."""
    digest = desk.state().pictures[0].taken.original.digest
    today = desk.store.answers(part)[digest].value
    of_old = today if part in {"cards", study.SMALL} else b'{"of_old":1}'  # the form of two never changed
    desk.store.put_answers({part: "of old"}, digest, {part: Answer(of_old)})
    desk.forget()
    desk.memory = Memory()

    assert len(desk.state().pictures) == 8
    assert status(desk, date(2026, 11, 28)).unread == 1

    read.read(desk)
    assert status(desk, date(2026, 11, 28)).unread == 0
    assert desk.store.answers(part)[digest].value == today


def test_the_database_can_be_thrown_away(desk: Desk, tmp_path: Path) -> None:
    before = desk.store.dump()
    folder = desk.job.folder
    desk.store.close()
    desk.job.close()
    (folder / "job.sqlite").unlink()

    with Desk.open(folder) as again, ThreadPoolExecutor(1) as pool:
        read.read(again, executor=pool)
        again.state()

        assert again.store.dump() == before or _without_proposals(again.store.dump()) == _without_proposals(
            before
        )


@pytest.mark.parametrize("part", sorted(study.VERSIONS))
def test_a_new_version_of_one_method_measures_that_alone_and_every_decision_outlives_it(
    part: str, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A later method that answers otherwise: here with what is true of another picture."""
    number = findings.add(desk, {"seen": "A drain leaks."}).number
    attach.attach(desk, number, [4, 2], distance=Distance.CLOSE_UP)
    light.set_light(desk, [3], light.AS_TAKEN)
    light.set_light(desk, [5], 1.5)
    rooms.name(desk, {1: "Kitchen"})
    picture.describe(desk, [2], shown="The drain", distance=Distance.CLOSE_UP)
    lines, state = desk.job.lines, desk.state()
    places = {p.frame: desk.job.original(p.taken.original.place) for p in state.pictures}
    another = dict(zip(places.values(), reversed(places.values()), strict=True))
    before = {name: desk.store.answers(name) for name in study.VERSIONS}
    asked: list[tuple[Path, frozenset[str]]] = []

    def otherwise(path: Path, parts: frozenset[str]) -> dict[str, Answer]:
        asked.append((path, parts))
        return study.study(another[path], parts)

    monkeypatch.setattr(study, "WORK", run.Work({**study.VERSIONS, part: "a later one"}, otherwise))
    with ThreadPoolExecutor(1) as pool:
        first = read.read(desk, executor=pool)
        second = read.read(desk, executor=pool)

    after = desk.state()
    assert (first.answered, second.answered) == (8, 0)
    assert sorted(asked) == sorted((place, frozenset({part})) for place in places.values())
    assert all(desk.store.answers(name) == answers for name, answers in before.items() if name != part)
    assert desk.job.lines == lines
    assert (after.findings, after.attachments, after.rooms) == (
        state.findings,
        state.attachments,
        state.rooms,
    )
    assert _decided(after) == _decided(state)


def test_an_intake_measures_anew_only_what_changed_of_pictures_taken_in_before(
    card: Path, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[frozenset[str]] = []

    def counted(path: Path, parts: frozenset[str]) -> dict[str, Answer]:
        asked.append(parts)
        return study.study(path, parts)

    later = {**study.VERSIONS, "light": "a later one"}
    monkeypatch.setattr(study, "VERSIONS", later)
    monkeypatch.setattr(study, "WORK", run.Work(later, counted))
    with ThreadPoolExecutor(1) as pool:
        read.take_in(desk, [card], executor=pool)

    assert asked == [frozenset({"light"})] * 8
    assert read.unread(desk) == 0


def _decided(state: State) -> dict[int, tuple[object, ...]]:
    """Give what a person said of each picture."""
    return {p.frame: (p.light_decided, p.shown, p.distance) for p in state.pictures}


def _without_proposals(dump: str) -> str:
    return dump.split('"proposals"', maxsplit=1)[0]
