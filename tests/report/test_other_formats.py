"""HTML, DOCX and CSV read by independent readers, and the mail limit."""

from __future__ import annotations

import csv
import re
import zipfile
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from evidence.errors import TooLargeToMail
from evidence.report import captions, size, writers
from evidence.report import csv as table
from evidence.report.contents import Contents, PrintSize
from evidence.report.plain import one_line
from evidence.words import Finding
from tests.report import made_up

SMALL = PrintSize(240, 70)


@pytest.fixture(scope="module")
def house() -> Contents:
    return made_up.house(6)


def written(name: str, contents: Contents, folder: Path) -> Path:
    row = writers.writer(name)
    row.write(contents, made_up.printer, SMALL, folder / row.file_name)
    return folder / row.file_name


def test_a_document_with_a_very_long_address_names_as_much_of_it_as_its_properties_hold(
    house: Contents, tmp_path: Path
) -> None:
    long = replace(house, address="Flat 3, " + "Alder Court " * 25, inspector="A. Wren " * 40)

    with zipfile.ZipFile(written("docx", long, tmp_path)) as parts:
        told = parts.read("docProps/core.xml").decode()
        page = parts.read("word/document.xml").decode()

    (title,) = re.findall("<dc:title>(.*)</dc:title>", told)
    assert title == f"Photo appendix, {one_line(long.address)}"[:255]
    assert one_line(long.address) in page


class Reader(HTMLParser):
    """Collects text, ids, links, alternate texts and anything that would leave the file."""

    def __init__(self) -> None:
        super().__init__()
        self.text: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.alternates: list[str] = []
        self.outside: list[str] = []
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.tags.append(tag)
        if "id" in given:
            self.ids.append(str(given["id"]))
        if tag == "a":
            self.links.append(str(given.get("href")))
        if tag == "img":
            self.alternates.append(str(given.get("alt", "")))
        for key in ("src", "href"):
            if (value := given.get(key)) and not value.startswith(("#", "data:")):
                self.outside.append(value)

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def read(path: Path) -> Reader:
    reader = Reader()
    reader.feed(path.read_text("utf-8"))
    return reader


def flat(text: str) -> str:
    return re.sub(r"\s+", "", text)


def test_html_holds_every_caption_and_hash_and_leads_nowhere_outside(house: Contents, tmp_path: Path) -> None:
    found = read(written("html", house, tmp_path))
    text = flat("".join(found.text))

    for photo in house.photos:
        caption = captions.caption(photo, house)
        assert flat(caption.photo) in text
        assert photo.short_digest in text
        assert all(flat(fact) in text for fact in caption.facts)
    assert found.outside == []
    assert "script" not in found.tags
    assert len(found.ids) == len(set(found.ids))
    assert {link[1:] for link in found.links if link.startswith("#")} <= set(found.ids)
    assert sorted(found.alternates) == sorted(captions.alternative(p, house) for p in house.photos)


def test_html_shows_what_was_typed_as_text(house: Contents, tmp_path: Path) -> None:
    found = read(written("html", replace(house, client="<script>alert(1)</script>&amp;"), tmp_path))

    assert "script" not in found.tags
    assert "<script>alert(1)</script>&amp;" in "".join(found.text)


def test_docx_is_read_by_python_docx_with_captions_and_alternate_texts(
    house: Contents, tmp_path: Path
) -> None:
    docx = pytest.importorskip("docx")
    document = docx.Document(str(written("docx", house, tmp_path)))
    cells = [cell.text for t in document.tables for row in t.rows for cell in row.cells]
    text = flat("".join([p.text for p in document.paragraphs] + cells))

    for photo in house.photos:
        assert flat(captions.caption(photo, house).text) in text
        assert flat(photo.place) in text
    told = [shape._inline.docPr.get("descr") for shape in document.inline_shapes]
    assert sorted(told) == sorted(captions.alternative(photo, house) for photo in house.photos)
    assert {p.style.name for p in document.paragraphs} >= {"Heading 1", "Heading 3", "Caption"}


def test_docx_keeps_a_finding_with_its_first_picture_and_its_tables_as_wide_as_they_were_planned(
    house: Contents, tmp_path: Path
) -> None:
    """Word keeps a paragraph with the next by w:keepNext (ISO/IEC 29500-1, 17.3.1.15); grid in 17.4.48."""
    docx = pytest.importorskip("docx")
    document = docx.Document(str(written("docx", house, tmp_path)))

    lines = list(document.paragraphs)
    for finding in house.findings:
        if not house.photos_of(finding.number):
            continue
        title = f"Finding {finding.number}{', urgent' if finding.urgent else ''}: "
        at = next(n for n, p in enumerate(lines) if p.style.name == "Heading 3" and p.text.startswith(title))
        while not lines[at + 1]._p.xpath(".//pic:pic"):
            at += 1
            assert lines[at].paragraph_format.keep_with_next, lines[at].text
        assert lines[at + 1].paragraph_format.keep_with_next
    assert [column.width.mm for column in document.tables[0].columns] == pytest.approx(
        [12, 56, 36, 50, 20], 0.01
    )


def test_csv_has_a_row_a_finding_and_runs_no_formula(house: Contents, tmp_path: Path) -> None:
    """OWASP, "CSV Injection": a cell must not begin with = + - @, tab or carriage return."""
    sly = Finding(9, '=HYPERLINK("http://x")', why="+1", do="-2", who="@SUM(A1)", place="\t=1+1")
    path = written("csv", replace(house, findings=(*house.findings, sly)), tmp_path)

    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.reader(file))

    assert rows[0] == list(table.COLUMNS)
    assert len(rows) == 1 + len(house.findings) + 1
    assert [cell for row in rows for cell in row if cell.startswith(("=", "+", "-", "@", "\t", "\r"))] == []


@pytest.mark.parametrize("name", [row.name for row in writers.WRITERS])
def test_the_same_contents_give_the_same_bytes_in_every_format(
    name: str, house: Contents, tmp_path: Path
) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()

    assert (
        written(name, house, tmp_path / "a").read_bytes() == written(name, house, tmp_path / "b").read_bytes()
    )


def test_a_mail_limit_is_met_with_the_largest_pictures_it_allows(house: Contents, tmp_path: Path) -> None:
    loose = size.fit(house, made_up.printer, 8_000_000, tmp_path / "loose.pdf")
    tight = size.fit(house, made_up.printer, 700_000, tmp_path / "tight.pdf")

    assert (tmp_path / "tight.pdf").stat().st_size == tight.size_bytes <= 700_000
    assert tight.ppi < loose.ppi
    assert "0.7 MB allowed" in tight.words


def test_a_limit_that_cannot_be_met_is_refused_and_leaves_nothing(house: Contents, tmp_path: Path) -> None:
    with pytest.raises(TooLargeToMail, match=r"legible within \d+ kB; .*\.$"):
        size.fit(house, made_up.printer, 50_000, tmp_path / "a.pdf")

    assert not (tmp_path / "a.pdf").exists()


@pytest.mark.parametrize("name", ["html", "docx"])
def test_a_room_whose_name_holds_a_control_character_is_printed(
    house: Contents, name: str, tmp_path: Path
) -> None:
    """XML 1.0, 2.2: a control character is no part of a document; a word processor's line break is U+000B."""
    photos = tuple(replace(photo, room="At\x0btic") for photo in house.photos)

    made = written(name, replace(house, photos=photos), tmp_path)

    if name == "docx":
        with zipfile.ZipFile(made) as parts:
            text = parts.read("word/document.xml").decode()
    else:
        text = made.read_text("utf-8")
    assert "\x0b" not in text
    assert "At[U+000B]tic" in text
