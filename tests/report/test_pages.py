"""Pages planned in millimetres, and set as planned."""

from __future__ import annotations

import importlib.util
import re
import subprocess
from dataclasses import replace
from pathlib import Path

import pikepdf
import pytest

from evidence.report import pages, pdf, typesetting
from evidence.report.contents import Contents, Layout, Paper, PrintSize, sections
from tests.report.made_up import house, printer

CJK = importlib.util.find_spec("noto_cjk_sans_jp_regular") is not None
LONG = "Gutterdownspoutsplashblockandgradewithoutaspace" * 4


def plan(count: int, paper: Paper, per_page: int) -> tuple[pages.Page, ...]:
    contents = house(count)
    heights = pages.TextHeights(
        captions={
            (photo.number, columns): 9.0 * columns for photo in contents.photos for columns in (1, 2, 3)
        },
        findings={
            (finding.number, columns): 24.0 * columns for finding in contents.findings for columns in (1, 2)
        },
        room=5.0,
        title=4.0,
    )
    parts = sections(contents.rooms, contents.findings, contents.photos)
    return pages.compose(parts, Layout(paper, per_page), heights)


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize("per_page", [1, 2, 4, 6])
@pytest.mark.parametrize("count", [0, 3, 40])
def test_each_photo_and_finding_is_planned_once_within_its_page(
    count: int, per_page: int, paper: Paper
) -> None:
    planned = plan(count, paper, per_page)

    numbers = [cell.photo.number for page in planned for part in page.parts for cell in part.cells]
    told = [part.finding for page in planned for part in page.parts if part.finding is not None]
    assert numbers == list(range(1, count + 1))
    assert sorted(told) == [1, 2, 3, 4]
    for page in planned:
        assert page.pictures <= per_page
        for part in page.parts:
            for cell in part.cells:
                assert cell.width <= pages.Area.of(paper).column(part.columns) + 0.01
                assert cell.width / cell.height == pytest.approx(
                    cell.photo.width / cell.photo.height, rel=0.01
                )


@pytest.mark.parametrize("per_page", [2, 4, 6])
def test_a_heading_never_ends_a_page(per_page: int) -> None:
    for page in plan(40, Paper.A4, per_page):
        last = page.parts[-1]
        assert not last.room
        assert not last.title


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize("per_page", [2, 6])
def test_pages_are_set_as_they_were_planned(paper: Paper, per_page: int, tmp_path: Path) -> None:
    """pikepdf reads the pages: none runs over into another, none holds more pictures than asked."""
    contents = replace(house(24), layout=Layout(paper, per_page))
    target = tmp_path / "appendix.pdf"

    pdf.write(contents, printer, PrintSize(120), target)

    with pikepdf.open(target) as document:
        counts = [len(page.Resources.get("/XObject", {})) for page in document.pages]
    assert sum(counts) == 24
    assert max(counts) <= per_page
    first = next(at for at, count in enumerate(counts) if count)
    last = max(at for at, count in enumerate(counts) if count)
    assert all(counts[first : last + 1])


def boxed(contents: Contents, folder: Path) -> str:
    """Every word of the appendix with where it stands, as ``pdftotext -bbox`` tells it."""
    target = folder / "appendix.pdf"
    pdf.write(contents, printer, PrintSize(120), target)
    return subprocess.run(
        ["pdftotext", "-bbox", target, "-"], capture_output=True, text=True, check=True
    ).stdout


def test_no_word_however_long_leaves_the_paper_and_none_is_lost(tmp_path: Path) -> None:
    """pdftotext -bbox: every word lies between the margins."""
    contents = house(3)
    finding = replace(contents.findings[0], seen=LONG, place=LONG)
    photos = (replace(contents.photos[0], place=f"card/{LONG}.JPG", shown=LONG), *contents.photos[1:])
    contents = replace(contents, address=LONG, findings=(finding, *contents.findings[1:]), photos=photos)

    boxes = boxed(contents, tmp_path)

    edges = [float(edge) for edge in re.findall(r'<word [^>]*xMax="([\d.]+)"', boxes)]
    width = pages.PAPER_MM[contents.layout.paper][0] - pages.MARGIN_MM["right"]
    assert edges
    assert max(edges) <= width * 72 / 25.4 + 1
    joined = re.sub(r"<[^>]*>|\s", "", boxes)
    assert joined.count(LONG) >= 3


def test_a_character_without_glyph_is_spelled_out_and_others_are_set(tmp_path: Path) -> None:
    """U+1F600 has no glyph in typst's fonts; Hebrew and Arabic letters have (read back by pdftotext)."""
    contents = replace(
        house(1), client="\u05d9\u05e2\u05dc \u0645\u062d\u0645\u062f", weather="bright \U0001f600"
    )
    target = tmp_path / "appendix.pdf"

    pdf.write(contents, printer, PrintSize(120), target)

    text = subprocess.run(["pdftotext", target, "-"], capture_output=True, text=True, check=True).stdout
    assert "[grinning face]" in text
    assert "\u05d9\u05e2\u05dc" in text
    assert "\u0645\u062d\u0645\u062f" in text


def test_a_room_named_in_letters_without_glyph_is_spelled_out_too(tmp_path: Path) -> None:
    """The room's name stands in the plan of the pages as well as in the captions."""
    contents = house(3)
    contents = replace(
        contents,
        photos=tuple(replace(p, room="\u53f0\u6240", findings=()) for p in contents.photos),
        rooms=(),
    )
    target = tmp_path / "appendix.pdf"

    pdf.write(contents, printer, PrintSize(120), target)

    text = subprocess.run(["pdftotext", target, "-"], capture_output=True, text=True, check=True).stdout
    assert "\u53f0\u6240" in text or "[U+53F0][U+6240]" in text


@pytest.mark.parametrize("per_page", [4, 6])
def test_a_very_long_finding_with_photos_leaves_the_foot_of_the_page_free(
    per_page: int, tmp_path: Path
) -> None:
    """pdftotext -bbox: its words stood under each photo too, over the page's number and off the paper."""
    house_ = house(4, upright=lambda _: False)
    findings = tuple(replace(finding, seen="It was seen here. " * 300) for finding in house_.findings)
    photos = tuple(replace(photo, findings=(1,), shown="") for photo in house_.photos)
    contents = replace(house_, findings=findings, photos=photos, layout=Layout(Paper.A4, per_page))

    boxes = boxed(contents, tmp_path)

    edges = [float(edge) for edge in re.findall(r'<word [^>]*yMax="([\d.]+)">(?:It|was|seen|here)', boxes)]
    below = 4  # points that letters of a last line reach below the area
    assert max(edges) <= (297 - pages.MARGIN_MM["bottom"]) * 72 / 25.4 + below


@pytest.mark.parametrize("per_page", [1, 2, 4, 6])
@pytest.mark.parametrize("upright", [True, False])
def test_words_too_long_to_stand_under_a_photo_are_cut_there_and_stand_whole_behind(
    per_page: int, upright: bool, tmp_path: Path
) -> None:
    """pdftotext -bbox: thousands of letters said of a picture ran over the foot and off the paper."""
    house_ = house(9, upright=lambda _: upright)
    said = {1: "Here it leaks. " * 500, 2: "\u05d9\u05e2\u05dc " * 1500, 3: "A drop hangs here. " * 9}
    photos = tuple(
        replace(
            photo,
            shown=said.get(photo.number, "").strip(),
            room="Long name " * (1 + 300 * (photo.number > 3)),
        )
        for photo in house_.photos
    )
    contents = replace(house_, photos=photos, rooms=(), layout=Layout(Paper.A4, per_page))

    boxes = boxed(contents, tmp_path)

    words = re.findall(r'yMax="([\d.]+)">([^<]*)<', boxes)
    below = 4  # points that letters of a last line reach below the area
    foot = (297 - pages.MARGIN_MM["bottom"]) * 72 / 25.4 + below
    ours = {"leaks.", "hangs", "name", "\u05d9\u05e2\u05dc"}
    assert max(float(edge) for edge, word in words if word in ours) <= foot
    count = [sum(word == one for _, word in words) for one in ("leaks.", "hangs")]
    assert count[0] > 500  # the whole of it, and its beginning under the photo
    assert count[1] == 9  # what fits stands there whole, and nowhere else


@pytest.mark.parametrize("name", ["\u05de\u05d8\u05d1\u05d7 \u05d9\u05e2\u05dc", "\u0645\u0637\u0628\u062e"])
def test_the_contents_have_the_page_of_a_room_named_from_right_to_left_at_their_right_edge(
    name: str, tmp_path: Path
) -> None:
    """pdftotext -bbox: the number stood before the name, where the line begins."""
    contents = house(12)
    photos = tuple(replace(p, room=name, findings=()) for p in contents.photos)

    boxes = boxed(replace(contents, photos=photos, rooms=()), tmp_path)

    listed = next(page for page in boxes.split("<page ") if ">Contents<" in page)
    words = re.findall(r'xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="[\d.]+">([^<]*)<', listed)
    line = next(float(top) for _, top, _, word in words if set(word) & set(name))
    numbers = [float(right) for _, top, right, word in words if abs(float(top) - line) < 4 and word.isdigit()]
    edge = (pages.PAPER_MM[contents.layout.paper][0] - pages.MARGIN_MM["right"]) * 72 / 25.4
    assert max(numbers) == pytest.approx(edge, abs=2)


@pytest.mark.skipif(CJK, reason="the further font is installed: these letters are set")
def test_letters_that_the_pdf_spells_out_are_said_once_with_what_to_install() -> None:
    contents = house(3)
    finding = replace(contents.findings[0], seen="\u6c34\u6f0f\u308c", room="\u53f0\u6240")
    contents = replace(contents, findings=(finding, *contents.findings[1:]), rooms=("Bath", "\u53f0\u6240"))

    assert typesetting.spelled_out(contents) == (
        "The PDF prints code points such as [U+308C] in room “\u53f0\u6240”, finding 1; install Chinese, "
        "Japanese and Korean letters with: pip install 'evidence-appendix[cjk]'."
    )
    thai = replace(house(1), client="\u0e01")
    assert typesetting.spelled_out(thai) == (
        "The PDF prints code points such as [U+0E01] in what is said of the job; no font at hand has these "
        "letters."
    )
    assert typesetting.spelled_out(replace(house(1), weather="bright \U0001f600")) == ""
    assert typesetting.spelled_out(house(1)) == ""


def test_long_lists_of_what_is_spelled_out_are_cut() -> None:
    contents = house(9)
    photos = tuple(replace(p, room=f"\u0e01 {p.number} " + "\u0e01" * 90) for p in contents.photos)

    told = typesetting.spelled_out(replace(contents, photos=photos, findings=(), rooms=()))

    assert " and 5 more; " in told
    assert len(told) < 400
