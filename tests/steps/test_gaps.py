"""The gap list: what is planted is found, and nothing else."""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from evidence import arrange
from evidence import desk as desk_module
from evidence.desk import Desk
from evidence.errors import BadSetting
from evidence.likeness import Likeness, Pair, compare_all
from evidence.record import Entry
from evidence.steps import findings, gaps, narration
from evidence.steps.gaps import GapKind
from evidence.timeline import PictureState
from evidence.words import Distance, Light, Quality

NINE = datetime(2026, 3, 4, 9, 0, tzinfo=UTC).timestamp()
PARTS = {
    "seen": "The pan is rusty.",
    "why": "It may leak.",
    "do": "Repair it.",
    "who": "plumber",
    "room": "Attic",
}


@pytest.fixture
def desk(taken_in: Path, tmp_path: Path) -> Iterator[Desk]:
    """Two visits of four pictures, named, each with an overall; one finding shown near and far: no gap."""
    shutil.copytree(taken_in, tmp_path / "job")
    with Desk.open(tmp_path / "job") as opened:
        opened.decide_all(
            [
                Entry("begins", "5", True), Entry("room", "1", "Attic"), Entry("room", "5", "Kitchen"),
                Entry("view", "1", True), Entry("view", "5", True), Entry("finding", "1", PARTS),
                Entry("attached", "1/2", {"distance": "close-up", "rank": 0}),
                Entry("attached", "1/3", {"distance": "mid-range", "rank": 1}),
            ]
        )  # fmt: skip
        yield opened


@pytest.mark.parametrize(
    ("room", "meant"),
    [("Kichen", "Kitchen"), ("kitchen", "Kitchen"), ("Attic.", "Attic"), ("Cellar", ""), ("Kitchen", "")],
)
def test_a_room_that_is_misspelt_in_a_finding_is_asked_about(desk: Desk, room: str, meant: str) -> None:
    findings.edit(desk, 1, {"room": room})

    told = [gap.sentence for gap in gaps.gaps(desk) if gap.kind is GapKind.ROOM]

    assert [f"is “{meant}” meant?" in one for one in told] == ([True] if meant else [])


def test_rooms_told_apart_by_a_number_or_a_side_are_two(desk: Desk) -> None:
    desk.decide_all([Entry("room", "1", "Bath 1"), Entry("room", "5", "Roof, north")])

    for room in ("Bath 2", "Roof, south"):
        findings.edit(desk, 1, {"room": room})
        assert GapKind.ROOM not in {gap.kind for gap in gaps.gaps(desk)}


def kinds(desk: Desk) -> list[tuple[GapKind, str]]:
    return [(gap.kind, gap.about) for gap in gaps.gaps(desk)]


def blurred(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, frames: set[int], light: Light | None = None
) -> None:
    """Plant pictures that were measured as blurred, or as needing much light."""
    state = desk.state()
    bad = Quality(1, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, blurred=True)
    pictures = tuple(
        p if p.frame not in frames else replace(p, light_proposed=light) if light else replace(p, quality=bad)
        for p in state.pictures
    )
    monkeypatch.setattr(desk, "state", lambda: replace(state, pictures=pictures))


def test_a_job_without_a_gap_has_none(desk: Desk) -> None:
    assert kinds(desk) == []


def test_a_room_without_an_overall_is_found(desk: Desk) -> None:
    desk.decide("view", 5, False)

    assert kinds(desk) == [(GapKind.NO_OVERALL, "Kitchen")]


def test_a_blurred_overall_is_none(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    blurred(desk, monkeypatch, {5})

    assert kinds(desk) == [(GapKind.NO_OVERALL, "Kitchen")]


def test_a_finding_without_a_picture_is_found(desk: Desk) -> None:
    desk.decide_all([Entry("attached", "1/2", None), Entry("attached", "1/3", None)])

    assert kinds(desk) == [(GapKind.NO_PICTURE, "1")]


def test_a_finding_with_only_blurred_pictures_is_found(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    blurred(desk, monkeypatch, {2, 3})

    (gap,) = gaps.gaps(desk)

    assert (gap.kind, gap.about) == (GapKind.UNUSABLE, "1")
    assert "not sharp" in gap.sentence


def test_a_finding_with_only_very_dark_pictures_is_found(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    blurred(desk, monkeypatch, {2, 3}, Light(1, gain=11.3, stops=3.5, left_alone=False))

    (gap,) = gaps.gaps(desk)

    assert gap.kind is GapKind.UNUSABLE
    assert "very dark" in gap.sentence


def test_a_finding_seen_only_from_a_distance_is_found(desk: Desk) -> None:
    desk.decide("attached", "1/2", {"distance": Distance.OVERALL, "rank": 0})

    assert kinds(desk) == [(GapKind.NO_CLOSE, "1")]


def test_places_of_the_chosen_list_without_a_picture_are_found(desk: Desk) -> None:
    desk.job.set_details(replace(desk.job.details, required_list="house walk"))
    desk.decide_all(
        [
            Entry("shown", str(frame), text)
            for frame, text in (
                (3, "Front, roof and condenser"), (4, "Rear, with the panel"), (6, "Bath and stairs"),
                (7, "Furnace and water heater"), (8, "Bedroom above the garage"),
            )
        ]
    )  # fmt: skip

    assert kinds(desk) == [(GapKind.REQUIRED, "Foundation or crawl space")]
    gaps.explain(desk, "Foundation or crawl space", "slab on grade, covered by floors")
    assert kinds(desk) == []


def test_a_required_view_that_only_an_unusable_picture_shows_is_still_missing(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.job.set_details(replace(desk.job.details, required_shots=("Water heater", "Kitchen")))
    desk.decide("shown", "4", "The water heater's plate")
    assert kinds(desk) == []

    blurred(desk, monkeypatch, {4, 5, 6, 7, 8})

    missing = [about for kind, about in kinds(desk) if kind is GapKind.REQUIRED]
    assert missing == ["Water heater", "Kitchen"]


def test_all_lists_of_ones_own_file_count_like_a_packaged_one(desk: Desk) -> None:
    (desk.job.folder / "mine.toml").write_text(
        '[[list]]\nname = "water"\npicture = [{ name = "Well", words = ["well"] }]\n'
        '[[list]]\nname = "waste"\npicture = [{ name = "Septic tank", words = ["septic"] }]\n',
        "utf-8",
    )
    desk.job.set_details(replace(desk.job.details, required_list="mine.toml"))

    assert kinds(desk) == [(GapKind.REQUIRED, "Well"), (GapKind.REQUIRED, "Septic tank")]
    desk.job.set_details(replace(desk.job.details, required_list="none.toml"))
    with pytest.raises(BadSetting, match=r"none\.toml"):
        gaps.gaps(desk)


def test_a_sentence_that_names_a_thing_no_picture_shows_is_found(desk: Desk, tmp_path: Path) -> None:
    """Pictures are at 9:00:10 to :40 and 9:10:40 to 9:11:10."""
    (tmp_path / "walk.vtt").write_text(
        "WEBVTT\n\n00:12.000 --> 00:14.000\nFinding. The pan is rusty.\n\n"
        "05:00.000 --> 05:03.000\nFinding. There is a double tap in the panel.\n\n"
        "05:20.000 --> 05:22.000\nWhat a lovely day.\n",
        "utf-8",
    )
    narration.place(desk, narration.take_in(desk, tmp_path / "walk.vtt"), NINE, "as said")

    assert kinds(desk) == [(GapKind.SAID, "2")]
    assert gaps.gaps(desk)[0].sentence.endswith("has no picture.")
    narration.accept(desk, 2)
    assert (GapKind.SAID, "2") not in kinds(desk)


def test_a_list_on_site_does_not_wait_for_look_alikes_but_of_what_is_too_dark(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As if no view had been compared yet; picture 3 is made too dark to show anything."""
    monkeypatch.setattr(arrange, "VERSION", "the next")
    monkeypatch.setattr(PictureState, "hopeless", property(lambda picture: picture.frame == 3))
    asked: list[tuple[int, int]] = []

    def compare(likenesses: Sequence[Likeness], pairs: Sequence[tuple[int, int]]) -> Sequence[Pair]:
        asked.extend(pairs)
        return compare_all(likenesses, pairs)

    monkeypatch.setattr(desk_module, "compare_on_every_core", compare)
    desk.forget()

    on_site = gaps.gaps(desk)
    first = list(asked)
    desk.state()

    assert first
    assert all(2 in pair for pair in first)
    assert len(asked) > 2 * len(first)
    assert on_site == gaps.gaps(desk)


def test_once_the_day_stands_a_list_asks_nothing_of_the_store(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.state()

    with monkeypatch.context() as without:
        without.setattr(desk, "store", None)
        assert gaps.gaps(desk) == []
