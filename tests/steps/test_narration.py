"""A transcript on the job's line of time, and findings from what was said."""

from __future__ import annotations

import errno
import hashlib
import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from evidence import arrange, meanings, tables
from evidence.desk import Desk
from evidence.errors import BadTranscript, DiskFull, UnknownFinding, WrongUsage
from evidence.findings import suggest
from evidence.state import Arrangement
from evidence.steps import moments, narration, picture, read, rooms
from evidence.steps.start import start
from evidence.verify import verify
from evidence.words import FrameNumber
from tests.conftest import draw
from tests.pictures.made_up_films import patch_film, write_film
from tests.pictures.test_frames import numbered
from tests.test_meanings import write_model

POOL = ThreadPoolExecutor(2)
SAID = """WEBVTT

00:05.000 --> 00:08.000
Finding. The bath fan hose just ends up here under the roof.

00:20.000 --> 00:22.000
What a lovely day.

00:24.000 --> 00:27.000
There is a breaker with two wires under one screw.
"""
NINE = datetime(2026, 3, 4, 9, 0, tzinfo=UTC).timestamp()


@pytest.fixture
def desk(taken_in: Path, tmp_path: Path) -> Iterator[Desk]:
    """Pictures 1 to 4 at 9:00:10, :20, :30 and :40, 5 to 8 ten minutes later."""
    shutil.copytree(taken_in, tmp_path / "job")
    with Desk.open(tmp_path / "job") as opened:
        yield opened


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "walk.vtt"
    path.write_text(SAID, "utf-8")
    return path


def placed(desk: Desk, file: Path, starts: str = "09:00:00") -> None:
    transcript = narration.take_in(desk, file)
    narration.place(desk, transcript, moments.of_the_day(desk, starts), "as said")


def test_a_transcript_becomes_an_original_like_any_other(desk: Desk, file: Path) -> None:
    taken = narration.take_in(desk, file)

    assert taken.original.digest == hashlib.sha256(SAID.encode()).hexdigest()
    assert taken.original.place == "narration/walk.vtt"
    assert desk.job.original(taken.original.place).read_text("utf-8") == SAID
    assert narration.take_in(desk, file) == taken
    assert narration.take_in(desk, Path("walk.vtt")) == taken
    assert verify(desk.job.folder).sound


def test_sentences_lie_beside_the_pictures_taken_with_them(desk: Desk, file: Path) -> None:
    placed(desk, file)

    state = desk.state()

    assert [(s.number, s.starts - NINE, s.near, s.own) for s in state.sentences] == [
        (1, 5.0, (1, 2), (1,)),
        (2, 20.0, (2, 3, 1), (2,)),
        (3, 24.0, (3, 2, 4, 1), (3, 4)),
    ]
    assert [s.marked for s in state.sentences] == [True, False, False]


def test_each_sentence_offers_standard_findings_and_none_is_hidden(desk: Desk, file: Path) -> None:
    placed(desk, file)

    first, second, third = desk.state().sentences

    assert first.suggestions[0].id == "ATT-06"
    assert third.suggestions[0].id == "ELE-02"
    assert all(len(one.suggestions) <= 3 for one in (first, second, third))
    assert first.likelihood == 1.0
    assert third.likelihood > second.likelihood


def test_an_accepted_sentence_is_a_finding_with_its_words_room_and_pictures(desk: Desk, file: Path) -> None:
    placed(desk, file)
    desk.decide("room", 1, "Attic")

    made = narration.accept(desk, 1, standard="ATT-06")

    state = desk.state()
    assert made.seen == "The bath fan hose just ends up here under the roof."
    assert (made.room, made.standard) == ("Attic", "ATT-06")
    assert made.why
    assert [a.frame for a in state.attached_to(made.number)] == [1]
    assert state.sentences[0].finding == made.number
    with pytest.raises(WrongUsage, match="already"):
        narration.accept(desk, 1)


def test_of_a_sentence_s_look_alikes_the_one_put_in_front_is_printed_first(
    desk: Desk, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """README: the program proposes, and the inspector decides."""
    alike = Arrangement(sets=((FrameNumber(2), FrameNumber(3), FrameNumber(4)),))
    monkeypatch.setattr(arrange, "VERSION", "as proposed here")
    monkeypatch.setattr(arrange, "propose", lambda *_, **__: (alike, ()))
    placed(desk, file)
    own = desk.state().sentences[2].own
    for frame in own:
        picture.in_front(desk, frame)
        made = narration.accept(desk, 3)

        assert desk.state().attached_to(made.number)[0].frame == frame
        desk.undo()
    assert len(own) > 1


def test_one_undo_takes_an_accepted_sentence_back(desk: Desk, file: Path) -> None:
    placed(desk, file)
    narration.accept(desk, 3)

    desk.undo()

    state = desk.state()
    assert state.findings == ()
    assert state.sentences[2].finding is None
    assert narration.accept(desk, 3).number == 2


def test_it_is_set_by_words_said_at_a_picture_or_by_a_clap(desk: Desk, file: Path) -> None:
    transcript = narration.take_in(desk, file)

    starts, how = narration.by_picture(desk, transcript, 3, says="a lovely day")
    assert starts == NINE + 30 - 20
    assert "picture 3" in how
    assert narration.by_picture(desk, transcript, 3, second=12.5)[0] == NINE + 17.5
    with pytest.raises(WrongUsage, match="exactly one sentence"):
        narration.by_picture(desk, transcript, 3, says="the")


def test_it_is_moved_by_hand_and_back(desk: Desk, file: Path) -> None:
    placed(desk, file)
    transcript = narration.take_in(desk, file)

    moved = narration.shift(desk, transcript, -2.5)
    assert moved.starts == NINE - 2.5
    assert moved.how == "as said; moved by -2.5 s"
    desk.undo()
    assert desk.state().narrations[0].starts == NINE
    narration.take_off(desk, transcript)
    assert desk.state().sentences == ()


@pytest.mark.parametrize(
    ("seconds", "why"),
    [(float("nan"), "cannot have begun then"), (-1e12, "more than a day"), (float("inf"), "more than a day")],
)
def test_it_is_not_moved_to_another_day(desk: Desk, file: Path, seconds: float, why: str) -> None:
    placed(desk, file)

    with pytest.raises(WrongUsage, match=why):
        narration.shift(desk, narration.take_in(desk, file), seconds)

    assert desk.state().narrations[0].starts == NINE


def test_what_could_not_be_read_in_a_transcript_is_told_beside_it(desk: Desk, tmp_path: Path) -> None:
    # W3C WebVTT 6.3: a time has three digits behind a point; such cues are left out.
    typed = "WEBVTT\n\n00:01.000 --> 00:02.000\nThe roof.\n\n00:03,000 --> 00:04,000\nThe attic.\n"
    (tmp_path / "typed.vtt").write_text(typed, "utf-8")
    placed(desk, tmp_path / "typed.vtt")

    (told,) = desk.state().narrations

    assert told.remarks == ("1 of 2 cues had no time that can be read and were left out.",)
    assert told.remarks[0] in tables.narration(desk.state(), {})


def test_it_begins_with_the_film_of_its_name(tmp_path: Path) -> None:
    card = tmp_path / "card"
    for n in range(1, 4):
        draw(card / "DCIM" / "100OSTRE" / f"OSTR{n:04d}.JPG", n, datetime(2026, 3, 4, 9, n))  # noqa: DTZ001
    film = write_film(card / "DCIM" / "100OSTRE" / "OSTR0004.MP4", numbered(20))
    # A local start that a whole-hour zone cannot also be, and too short to have ended then.
    patch_film(film, created=datetime(2026, 3, 4, 9, 2, 30))  # noqa: DTZ001
    (card / "DCIM" / "100OSTRE" / "OSTR0004.SRT").write_text(
        "1\n00:00:01,000 --> 00:00:02,000\nThe pan is rusty.\n", "utf-8"
    )
    start(tmp_path / "job", {"address": "14 Alder Court"}).close()
    with Desk.open(tmp_path / "job") as desk:
        read.take_in(desk, [card], executor=POOL)
        transcript = narration.take_in(desk, Path("OSTR0004.SRT"))
        with pytest.raises(WrongUsage, match="more than one way"):
            narration.by_recording(desk, transcript)
        desk.decide("film time", "card", "local time at the start")

        starts, how = narration.by_recording(desk, transcript)

    assert starts == datetime(2026, 3, 4, 9, 2, 30, tzinfo=UTC).timestamp()
    assert how == "OSTR0004.MP4: local time at the start, as you said"


def test_of_two_cards_transcripts_of_one_name_neither_is_taken_for_the_other(
    desk: Desk, tmp_path: Path
) -> None:
    for card, words in (("A", "The pan is rusty."), ("B", "The roof leaks.")):
        (tmp_path / card).mkdir()
        (tmp_path / card / "note.vtt").write_text(f"WEBVTT\n\n00:01.000 --> 00:02.000\n{words}\n", "utf-8")
        read.take_in(desk, [tmp_path / card], executor=POOL)

    with pytest.raises(WrongUsage, match=r"A/note\.vtt, B/note\.vtt"):
        narration.take_in(desk, Path("note.vtt"))
    assert narration.take_in(desk, Path("B/note.vtt")).original.place == "B/note.vtt"


def test_a_full_disk_for_temporary_files_is_told(
    desk: Desk, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(shutil, "copy2", full)

    with pytest.raises(DiskFull, match=rf"the copy of {file.name} in .* was not written"):
        narration.take_in(desk, file)


def test_what_cannot_be_placed_is_said(desk: Desk, file: Path, tmp_path: Path) -> None:
    with pytest.raises(WrongUsage, match="no file"):
        narration.take_in(desk, tmp_path / "none.vtt")
    (tmp_path / "letter.vtt").write_text("Dear Sir", "utf-8")
    with pytest.raises(BadTranscript, match=r"letter\.vtt is no transcript: it is neither WebVTT"):
        narration.take_in(desk, tmp_path / "letter.vtt")
    with pytest.raises(WrongUsage, match="No film or sound note"):
        narration.by_recording(desk, narration.take_in(desk, file))
    placed(desk, file)
    with pytest.raises(UnknownFinding):
        narration.accept(desk, 1, standard="XXX-01")
    with pytest.raises(WrongUsage, match="no sentence 9"):
        narration.accept(desk, 9)
    assert desk.state().findings == ()


@pytest.mark.parametrize(("text", "seconds"), [("72.5", 72.5), ("1:12.5", 72.5), ("0:01:12", 72.0)])
def test_times_in_a_recording_are_read_as_people_type_them(text: str, seconds: float) -> None:
    assert moments.within(text) == seconds


@pytest.mark.parametrize("text", ["", "x", "1:72", "-3", "1:2:3:4"])
def test_what_is_no_time_in_a_recording_is_refused(text: str) -> None:
    with pytest.raises(WrongUsage, match="no time in a recording"):
        moments.within(text)


def test_a_model_of_the_inspectors_own_counts_beside_the_words(desk: Desk, file: Path) -> None:
    folder = write_model(desk.job.folder / "model")
    desk.job.set_details(replace(desk.job.details, sentence_model="model"))

    placed(desk, file)

    said = desk.state().sentences[2]
    words = said.sentence.text
    near = meanings.Model(folder).nearness([words], desk.catalogue.rows)[0]
    expected = suggest(words, among=desk.catalogue, nearness=near.round(4).tolist())
    assert [one.id for one in said.suggestions] == [one.id for one in expected]
    assert said.suggestions[0].score == pytest.approx(expected[0].score, abs=0.01)
    assert said.suggestions[0].score != pytest.approx(suggest(words)[0].score, abs=0.5)


def test_what_a_model_found_is_kept_when_only_rooms_change(
    desk: Desk, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_model(desk.job.folder / "model")
    desk.job.set_details(replace(desk.job.details, sentence_model="model"))
    placed(desk, file)
    before = desk.state().sentences

    def asked(*_: object) -> None:
        raise AssertionError("the model was asked again")

    monkeypatch.setattr(meanings.Model, "nearness", asked)
    rooms.name(desk, {1: "Attic"})

    assert desk.state().sentences[0].room == "Attic"
    assert [one.sentence for one in desk.state().sentences] == [one.sentence for one in before]
