"""The whole way: the made-up house, and a real card of many makers, from card to verified appendix."""

from __future__ import annotations

import re
import shutil
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path

import bagit
import pytest
from typer.testing import CliRunner

from evidence import verify
from evidence.cli import app
from evidence.desk import Desk
from evidence.errors import ExitCode
from evidence.packing import from_json
from evidence.progress import Silent
from evidence.report import captions
from evidence.report.contents import Contents
from evidence.steps import demo, gaps, issue

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"


def flat(text: str) -> str:
    return re.sub(r"[\s\u00ad\u200b-]+", "", text)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> demo.Demo:
    return demo.demo(tmp_path_factory.mktemp("demo") / "job", progress=Silent(), tell=lambda _: None)


@pytest.fixture(scope="module")
def contents(made: demo.Demo) -> Contents:
    return from_json((made.issued.folder / issue.CONTENTS).read_bytes(), Contents)


@pytest.fixture
def desk(made: demo.Demo) -> Iterator[Desk]:
    with Desk.open(made.folder, write=False) as opened:
        yield opened


def test_the_demo_ends_with_a_sound_edition_of_more_than_a_dozen_findings(made: demo.Demo) -> None:
    assert made.issued.findings >= 12
    assert made.issued.unlooked == ()
    assert made.status.without_picture == 0
    assert made.status.named == made.status.visits
    assert verify.verify(made.folder).sound


@pytest.mark.parametrize(
    "there", [(), (demo.DECISIONS, "walk.vtt", "card"), (demo.DECISIONS, "card", "phone")]
)
def test_without_its_house_the_demo_says_how_to_get_one_and_makes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, there: tuple[str, ...]
) -> None:
    package = tmp_path / "evidence"
    (package / "house").mkdir(parents=True)
    for name in there:
        (package / "house" / name).symlink_to(FIXTURES / name)
    monkeypatch.setattr("importlib.resources.files", lambda _: package)

    result = CliRunner().invoke(app, ["demo", str(tmp_path / "job")])

    assert result.exit_code == ExitCode.STOPPED
    assert "made-up house" in result.output
    assert "Install the program anew" in result.output
    assert "reader" not in result.output
    assert not (tmp_path / "job").exists()


def test_bagit_and_sha256sum_confirm_the_originals_without_the_program(made: demo.Demo) -> None:
    """RFC 8493 by the bagit package of the Library of Congress; FIPS 180-4 by GNU coreutils."""
    bagit.Bag(str(made.folder / "originals")).validate()
    done = subprocess.run(
        ["sha256sum", "-c", "--quiet", "manifest-sha256.txt"],
        cwd=made.folder / "originals",
        capture_output=True,
        text=True,
        check=False,
    )

    assert (done.returncode, done.stdout) == (0, "")


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")
def test_pdftotext_finds_every_photo_number_time_and_hash(made: demo.Demo, contents: Contents) -> None:
    pdf = made.issued.folder / "appendix.pdf"
    raw = [
        subprocess.run(["pdftotext", way, str(pdf), "-"], capture_output=True, text=True, check=True).stdout
        for way in ("-raw", "-layout")
    ]
    text = flat("".join(raw))

    for photo in contents.photos:
        assert flat(f"Photo {photo.number}") in text
        assert photo.digest[:12] in text
        assert flat(captions.camera_time(photo.time, contents.language)) in text


def test_every_caption_says_the_zone_or_that_it_was_not_recorded(contents: Contents) -> None:
    for photo in contents.photos:
        said = captions.caption(photo, contents).text
        assert "zone not recorded" in said or "UTC" in said


def test_dark_pictures_come_out_brightened_and_say_so(contents: Contents) -> None:
    lifted = [photo for photo in contents.photos if not photo.light.left_alone]

    assert lifted
    assert all("brightened" in captions.caption(photo, contents).text for photo in lifted)


def test_what_cannot_be_shown_is_named_and_room_cards_are_not_printed(
    made: demo.Demo, desk: Desk, contents: Contents
) -> None:
    """fixtures/truth.csv: one text file named .JPG, one truncated JPEG, three room cards."""
    assert len(made.status.damaged) == 2
    printed = {photo.frame for photo in contents.photos}
    cards = {p.frame for p in desk.state().pictures if p.card is not None}
    assert len(cards) == 3
    assert not printed & cards


def test_each_finding_shows_its_best_picture_first(desk: Desk) -> None:
    """A blurred, hopeless or damaged picture never stands first where another was at hand."""
    state = desk.state()
    for finding in state.findings:
        first = state.picture(state.attached_to(finding.number)[0].frame)
        assert first is not None
        assert first.usable
        assert not first.hopeless
        assert not first.unsharp


def test_findings_come_from_the_sentences_their_inspector_said(desk: Desk) -> None:
    """fixtures/decisions.toml: which sentence became which finding, and the pictures of each."""
    decided = tomllib.loads((FIXTURES / "decisions.toml").read_text("utf-8"))["finding"]
    state = desk.state()
    names = {p.frame: Path(p.taken.original.place).stem for p in state.pictures}

    said = {one.finding: one.sentence.text for one in state.sentences if one.finding}

    assert said == {n: one["said"] for n, one in enumerate(decided, 1) if "said" in one}
    for number in said:
        attached = {names[a.frame] for a in state.attached_to(number)}
        assert attached <= set(decided[number - 1]["pictures"])


def test_what_was_said_and_not_photographed_is_a_gap(desk: Desk) -> None:
    """fixtures/house/narrate.py: the cover missing from an outlet was said a minute from any picture."""
    found = [gap.sentence for gap in gaps.gaps(desk) if gap.kind is gaps.GapKind.SAID]

    assert len(found) == 1
    assert "The outlet by the steps" in found[0]


def test_a_real_card_of_many_makers_goes_the_same_way(open_data: Path, tmp_path: Path) -> None:
    """metadata-extractor-images: dozens of makers, odd tags, damaged files (../shared/data/exif/mx)."""

    def run(*words: object) -> int:
        result = CliRunner().invoke(app, [str(word) for word in words])
        assert "Traceback" not in result.output
        return result.exit_code

    job = tmp_path / "job"
    assert run("start", job, "--address", "1 Test Lane") == ExitCode.DONE
    assert run("intake", job, open_data / "exif" / "mx") == ExitCode.NEEDS_PERSON
    assert run("findings", job, "--from", "ROF-12") == ExitCode.DONE
    with Desk.open(job, write=False) as opened:
        pictures = opened.state().pictures
    shown = [picture.frame for picture in pictures if picture.usable]
    assert all(picture.fault or picture.quality for picture in pictures)
    assert len(shown) > 60

    assert run("attach", job, 1, *shown[:40]) == ExitCode.DONE
    assert run("issue", job, "--html", "--csv", "--unlooked", "a test") == ExitCode.DONE
    assert run("verify", job) == ExitCode.DONE
