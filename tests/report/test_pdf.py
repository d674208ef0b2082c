"""The PDF, read by independent readers: qpdf, poppler's pdftotext and pdftoppm, and a walk of its tags.

No full validator of PDF/A or PDF/UA was at hand; what stands here is what could be checked without one.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pikepdf
import pytest
from pikepdf import Name

from evidence.report import captions, pdf, size
from evidence.report.contents import Contents, Layout, Paper
from tests.report import made_up


def needs(tool: str) -> pytest.MarkDecorator:
    return pytest.mark.skipif(shutil.which(tool) is None, reason=f"{tool} is not installed")


def run(*words: object) -> str:
    done = subprocess.run(
        [str(w) for w in words], check=True, capture_output=True, text=True, encoding="utf-8"
    )
    return done.stdout


def flat(text: str) -> str:
    """Text without line breaks, hyphenation and spaces, as a reader puts lines together again."""
    return re.sub(r"[\s\u00ad\u200b-]+", "", text)


@pytest.fixture(scope="module")
def house() -> Contents:
    return made_up.house(12)


@pytest.fixture(scope="module")
def printed(house: Contents, tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("pdf") / "appendix.pdf"
    pdf.write(house, made_up.printer, size.at(house.layout, 100), target)
    return target


def elements(node: pikepdf.Object) -> Iterator[pikepdf.Object]:
    """Walk the structure tree (ISO 32000-1, 14.7)."""
    if isinstance(node, pikepdf.Dictionary):
        if Name.S in node:
            yield node
        kids = node.get(Name.K)
        if kids is not None:
            yield from elements(kids)
    elif isinstance(node, pikepdf.Array):
        for kid in node:
            yield from elements(kid)


def images(document: pikepdf.Pdf) -> list[pikepdf.Object]:
    """Every image that a page's resources name, page by page."""
    named = (page.Resources.get(Name.XObject, pikepdf.Dictionary()) for page in document.pages)
    return [image for page in named for image in page.values() if image.Subtype == Name.Image]


@needs("qpdf")
def test_qpdf_finds_no_fault(printed: Path) -> None:
    assert "No syntax or stream encoding errors found" in run("qpdf", "--check", printed)


@needs("pdftotext")
def test_every_caption_number_time_and_hash_is_found_by_another_reader(
    house: Contents, printed: Path
) -> None:
    text = flat(run("pdftotext", "-layout", printed, "-")) + flat(run("pdftotext", "-raw", printed, "-"))

    for photo in house.photos:
        caption = captions.caption(photo, house)
        assert flat(caption.photo) in text
        assert photo.short_digest in text
        for fact in caption.facts:
            assert flat(fact) in text, fact
    for finding in house.findings:
        for part in (finding.seen.rstrip("."), finding.why, finding.do):
            assert flat(part) in text, part


@needs("pdftotext")
def test_address_edition_and_page_stand_on_each_page(house: Contents, printed: Path) -> None:
    pages = run("pdftotext", "-layout", printed, "-").split("\f")[:-1]

    for number, page in enumerate(pages, 1):
        assert house.address in page
        assert "Edition 1" in page
        assert f"Page {number} of {len(pages)}" in page


@needs("pdftoppm")
def test_every_page_can_be_drawn_and_none_is_empty(printed: Path, tmp_path: Path) -> None:
    run("pdftoppm", "-r", "20", "-gray", printed, tmp_path / "page")

    drawn = sorted(tmp_path.glob("page*"))
    assert len(drawn) == len(pikepdf.open(printed).pages)
    for page in drawn:
        pixels = page.read_bytes().split(b"255\n", 1)[1]
        assert sum(pixel < 128 for pixel in pixels) > 20


def test_every_picture_has_its_alternate_text(house: Contents, printed: Path) -> None:
    """ISO 14289-1 (PDF/UA-1), 7.3: figures carry alternate text (from memory)."""
    with pikepdf.open(printed) as document:
        figures = [e for e in elements(document.Root.StructTreeRoot) if Name.Figure == e.S]
        texts = [str(figure.Alt) for figure in figures]

    assert [text for text in texts if not text.strip()] == []
    assert {captions.alternative(photo, house) for photo in house.photos} <= set(texts)


def test_it_is_tagged_named_in_a_language_and_declares_its_profiles(house: Contents, printed: Path) -> None:
    """ISO 19005-2 (PDF/A-2), 6.6.4 and ISO 14289-1, 5: identification in the XMP metadata (from memory)."""
    with pikepdf.open(printed) as document:
        xmp = document.Root.Metadata.read_bytes().decode()

        assert bool(document.Root.MarkInfo.Marked)
        assert str(document.Root.Lang).startswith("en")
        assert bool(document.Root.ViewerPreferences.DisplayDocTitle)
        assert document.Root.OutputIntents[0].S == Name.GTS_PDFA1
        assert document.Root.Outlines.First is not None
        assert "pdfaid:part" in xmp
        assert "pdfuaid:part" in xmp
        assert house.address in xmp
        assert Name.JavaScript not in document.Root.get(Name.Names, {})


def test_every_font_is_embedded(printed: Path) -> None:
    with pikepdf.open(printed) as document:
        described = [
            o
            for o in document.objects
            if isinstance(o, pikepdf.Dictionary) and o.get(Name.Type) == Name.FontDescriptor
        ]

        assert described
        assert all(Name.FontFile2 in o or Name.FontFile3 in o or Name.FontFile in o for o in described)


def test_the_printed_pictures_are_the_very_jpegs_given(house: Contents, printed: Path) -> None:
    """The bytes between the markers are the printer's; only application segments may be gone."""
    wanted = size.at(house.layout, 100)
    scans = {made_up.printer(photo, wanted)[-2000:] for photo in house.photos}

    with pikepdf.open(printed) as document:
        found = {
            image.read_raw_bytes()[-2000:]
            for image in images(document)
            if image.get(Name.Filter) == Name.DCTDecode
        }

    assert scans <= found


def test_the_same_contents_give_the_same_bytes(house: Contents, printed: Path, tmp_path: Path) -> None:
    pdf.write(house, made_up.printer, size.at(house.layout, 100), tmp_path / "again.pdf")

    assert (tmp_path / "again.pdf").read_bytes() == printed.read_bytes()


@needs("pdftotext")
def test_what_a_person_types_is_text_and_never_markup(tmp_path: Path) -> None:
    hostile = '#pagebreak() *bold* $x$ <tag> @ref "quote" \\ {{}} \u202eback'
    house = made_up.house(2)
    house = replace(house, client=hostile, photos=tuple(replace(p, shown=hostile) for p in house.photos))

    pdf.write(house, made_up.printer, size.at(house.layout, 60), tmp_path / "a.pdf")

    text = flat(run("pdftotext", "-raw", tmp_path / "a.pdf", "-"))
    assert flat("#pagebreak() *bold* $x$ <tag> @ref") in text


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize("per_page", [1, 2, 4, 6])
def test_every_paper_and_count_is_laid_out_with_all_photos(
    paper: Paper, per_page: int, tmp_path: Path
) -> None:
    house = replace(made_up.house(9), layout=Layout(paper, per_page))

    pdf.write(house, made_up.printer, size.at(house.layout, 40), tmp_path / "a.pdf")

    with pikepdf.open(tmp_path / "a.pdf") as document:
        width = float(document.pages[0].mediabox[2])
        pictures = len(images(document))
    # A4 is 210 mm wide (ISO 216), Letter 8.5 in (ANSI/ASME Y14.1); a point is 1/72 in.
    assert width == pytest.approx(210 / 25.4 * 72 if paper is Paper.A4 else 612, abs=0.5)
    assert pictures == 9


@needs("pdftotext")
def test_a_draft_says_so_on_each_page(tmp_path: Path) -> None:
    house = replace(made_up.house(3), draft=True)

    pdf.write(house, made_up.printer, size.at(house.layout, 40), tmp_path / "a.pdf")

    pages = run("pdftotext", tmp_path / "a.pdf", "-").split("\f")[:-1]
    assert all("DRAFT" in page.upper() for page in pages)
