"""Write the appendix as a DOCX, to be pasted into the inspector's own report.

Hides python-docx and the XML it leaves to its user (links, page numbers, alternate texts), which is
why names with an underscore are used here: it has no public way to them. One
picture stands below the other, whatever the layout; a word processor is where pages get changed.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from evidence.errors import LibraryMissing
from evidence.report import captions, cautions, jpeg, pages, wording
from evidence.report.contents import Contents, Photo, Printer, PrintSize, sections
from evidence.report.plain import one_line, plain
from evidence.words import Finding

try:
    import docx
    from docx.oxml import OxmlElement
    from docx.oxml.ns import qn
    from docx.shared import Mm, Pt, RGBColor
except ImportError:  # an optional library; its absence is told when a DOCX is asked for
    docx = None  # type: ignore[assignment]

if TYPE_CHECKING:
    from docx.document import Document
    from docx.styles.style import ParagraphStyle
    from docx.text.paragraph import Paragraph

_HEIGHT_SHARE = {1: 0.72, 2: 0.38, 4: 0.3, 6: 0.24}
"""Greatest height of a picture as a share of the printed area, by pictures a page."""

_LONGEST_PROPERTY = 255
"""Letters that python-docx lets a document's property have; on the pages all of them stand."""

_EARLIEST = (1980, 1, 1, 0, 0, 0)
"""The first moment a ZIP entry can carry (PKWARE APPNOTE 4.4.6); the same for all, on purpose."""


def write(contents: Contents, printer: Printer, size: PrintSize, target: Path) -> None:
    """Write the document; the printer is asked once for each photo, in the order of the pages.

    Raises
    ------
    LibraryMissing
        python-docx is not installed.
    BadPicture
        The printer gave something other than a grey or three-channel JPEG.
    """
    if docx is None:
        raise LibraryMissing(
            "python-docx is not installed, so no DOCX can be written;"
            " install it with: pip install python-docx"
        )
    builder = _Builder(docx.Document(), contents)
    builder.fill(lambda photo: jpeg.bare(printer(photo, size)))
    _drop_thumbnail(builder.document)
    made = BytesIO()
    builder.document.save(made)
    _settle(made, target)


def _drop_thumbnail(document: Document) -> None:
    """Take out the picture of another document that python-docx's template carries."""
    links = document.part.package.rels
    for name in [name for name, link in links.items() if link.reltype.endswith("/metadata/thumbnail")]:
        del links[name]


def _settle(made: BytesIO, target: Path) -> None:
    """Write the parts again with one fixed time, so that the same contents give the same bytes."""
    with zipfile.ZipFile(made) as parts, zipfile.ZipFile(target, "w") as settled:
        for part in parts.infolist():
            entry = zipfile.ZipInfo(part.filename, _EARLIEST)
            entry.compress_type = (
                zipfile.ZIP_STORED if part.filename.endswith(".jpg") else zipfile.ZIP_DEFLATED
            )
            settled.writestr(entry, parts.read(part))


class _Builder:
    """The document as it grows, part by part in the order of the pages."""

    def __init__(self, document: Document, contents: Contents) -> None:
        self.document = document
        self._contents = contents
        self._area = pages.Area.of(contents.layout.paper)
        self._bookmarks = 0

    def fill(self, picture: Callable[[Photo], jpeg.Jpeg]) -> None:
        self._set_up()
        self._front()
        self._urgent()
        self._schedule()
        self._rooms(picture)
        self._back()

    def _set_up(self) -> None:
        """Page, styles, properties, and the words above and below each page."""
        contents, document = self._contents, self.document
        section = document.sections[0]
        width, height = pages.PAPER_MM[contents.layout.paper]
        section.page_width, section.page_height = Mm(width), Mm(height)
        for side, mm in pages.MARGIN_MM.items():
            setattr(section, f"{side}_margin", Mm(mm))
        for name, points in (("Normal", 10.5), ("Caption", 9), ("Title", 24)):
            _plain_style(document.styles[name], points)
        for level, points in ((1, 16), (2, 13.5), (3, 11.5)):
            _plain_style(document.styles[f"Heading {level}"], points)
        document.styles["Caption"].font.bold = False
        told = document.core_properties
        told.title = wording.document_title(contents)[:_LONGEST_PROPERTY]
        told.author = one_line(contents.inspector)[:_LONGEST_PROPERTY]
        told.language = contents.language
        told.comments = wording.edition(contents)
        told.created = told.modified = contents.issued_at.astimezone(UTC).replace(tzinfo=None)
        told.last_modified_by = told.author
        head = section.header.paragraphs[0]
        head.text = f"{wording.address(contents)}{captions.SEPARATOR}{wording.edition(contents)}"
        foot = section.footer.paragraphs[0]
        foot.add_run(f"{wording.signature(contents)}{captions.SEPARATOR}Page ")
        _field(foot, "PAGE")
        foot.add_run(" of ")
        _field(foot, "NUMPAGES")

    def _front(self) -> None:
        contents, document = self._contents, self.document
        document.add_paragraph(wording.address(contents), style="Title")
        if contents.draft:
            document.add_paragraph().add_run(wording.edition(contents)).bold = True
        self._pairs(wording.details(contents))
        if contents.changes:
            document.add_heading(f"Changed since edition {contents.edition - 1}", 1)
            self._list(contents.changes)
        document.add_heading("Read this first", 1)
        for words in cautions.cautions(contents):
            document.add_paragraph(words)

    def _urgent(self) -> None:
        self.document.add_heading("Urgent findings", 1)
        if not self._contents.urgent:
            self.document.add_paragraph(wording.NO_URGENT)
        for finding in self._contents.urgent:
            heading = self.document.add_heading("", 2)
            self._link(heading, f"finding-{finding.number}", f"Finding {finding.number}")
            heading.add_run(f": {wording.title(finding)}")
            self._finding_parts(finding)

    def _schedule(self) -> None:
        self.document.add_heading("Schedule of findings", 1)
        heads = ("No.", "What was seen", "Where", "What to do, who", "Photos")
        rows = [
            (
                str(row.number),
                f"Urgent. {row.seen}" if row.urgent else row.seen,
                row.where,
                row.action,
                ", ".join(map(str, row.photos)) or "none",
            )
            for row in wording.schedule(self._contents)
        ]
        self._table(heads, rows, (12, 56, 36, 50, 20), wording.NO_FINDING)

    def _rooms(self, picture: Callable[[Photo], jpeg.Jpeg]) -> None:
        contents = self._contents
        self.document.add_heading(pages.TITLE, 1)
        for section in sections(contents.rooms, contents.findings, contents.photos):
            self.document.add_heading(one_line(section.room), 2)
            for group in section.groups:
                if group.finding is not None:
                    self._finding(group.finding)
                for photo in group.photos:
                    self._photo(photo, picture(photo))

    def _finding(self, finding: Finding) -> None:
        urgent = ", urgent" if finding.urgent else ""
        heading = self.document.add_heading("", 3)
        self._bookmark(heading, f"finding-{finding.number}")
        heading.add_run(f"Finding {finding.number}{urgent}: {wording.title(finding)}")
        self._finding_parts(finding)
        for line in self.document.paragraphs[-1 - len(wording.parts(finding)) :]:
            line.paragraph_format.keep_with_next = bool(self._contents.photos_of(finding.number))

    def _finding_parts(self, finding: Finding) -> None:
        self._pairs(wording.parts(finding))
        line = self.document.add_paragraph()
        line.add_run("Photos: ").italic = True
        photos = self._contents.photos_of(finding.number)
        for at, photo in enumerate(photos):
            line.add_run(", " if at else "")
            self._link(line, f"photo-{photo.number}", f"Photo {photo.number}")
        if not photos:
            line.add_run(wording.NO_PHOTO_OF_FINDING)

    def _photo(self, photo: Photo, copy: jpeg.Jpeg) -> None:
        tallest = self._area.height * _HEIGHT_SHARE[self._contents.layout.per_page]
        width = min(self._area.width, tallest * copy.width / copy.height)
        place = self.document.add_paragraph()
        place.paragraph_format.keep_with_next = True
        shape = place.add_run().add_picture(BytesIO(copy.data), width=Mm(width))
        told = shape._inline.docPr
        told.set("descr", captions.alternative(photo, self._contents))
        told.set("name", f"Photo {photo.number}")
        words = captions.caption(photo, self._contents)
        below = self.document.add_paragraph(style="Caption")
        self._bookmark(below, f"photo-{photo.number}")
        below.add_run(words.photo).bold = True
        for number, name in words.findings:
            below.add_run(captions.SEPARATOR)
            self._link(below, f"finding-{number}", name)
        below.add_run(captions.SEPARATOR + captions.SEPARATOR.join((words.room, words.shown, *words.facts)))

    def _back(self) -> None:
        contents, document = self._contents, self.document
        document.add_heading("What could not be seen, and why", 1)
        unseen = [
            (entry.place, entry.reason, ", ".join(map(str, entry.photos)) or "none")
            for entry in wording.not_seen(contents)
        ]
        parts = ("Part of the house", "Why it could not be seen", "Photos")
        self._table(parts, unseen, (62, 88, 24), wording.NOTHING_UNSEEN)
        document.add_heading("Table of photos", 1)
        rows = [
            (str(row.number), str(row.frame), row.file, row.time, row.room, row.light, row.digest)
            for row in wording.table(contents)
        ]
        heads = ("Photo", "Frame", "File", "Camera time", "Room", "Light", "SHA-256")
        self._table(heads, rows, (13, 14, 40, 34, 24, 24, 25), wording.NO_PHOTO)
        if contents.required_texts:
            document.add_heading("Texts required word for word", 1)
        for text in contents.required_texts:
            document.add_heading(one_line(text.title), 2)
            document.add_paragraph(plain(text.text))
            document.add_paragraph(f"SHA-256 of this text: {text.digest}")
        document.add_heading("Who confirmed what", 1)
        if not contents.confirmed:
            document.add_paragraph(wording.NOTHING_CONFIRMED)
        self._list(contents.confirmed)
        document.add_heading("How to check this appendix", 1)
        for words in cautions.how_to_check(contents):
            document.add_paragraph(words)

    def _pairs(self, lines: Iterable[tuple[str, str]]) -> None:
        for label, words in lines:
            line = self.document.add_paragraph()
            line.paragraph_format.space_after = Pt(2)
            line.add_run(f"{label}: ").italic = True
            line.add_run(words)

    def _list(self, lines: Iterable[str]) -> None:
        for words in lines:
            self.document.add_paragraph(one_line(words), style="List Bullet")

    def _table(
        self, heads: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[int], none: str
    ) -> None:
        """A table whose first row is repeated on each page, or the words for an empty one."""
        if not rows:
            self.document.add_paragraph(none)
            return
        table = self.document.add_table(rows=1 + len(rows), cols=len(heads), style="Table Grid")
        table.autofit = False
        repeated = OxmlElement("w:tblHeader")
        table.rows[0]._tr.get_or_add_trPr().append(repeated)
        for column, mm in zip(table.columns, widths, strict=True):
            column.width = Mm(mm)
        for made in table._tbl.tr_lst:
            made.get_or_add_trPr().insert(0, OxmlElement("w:cantSplit"))
        cells = iter(table._cells)
        for at, words in enumerate(word for row in (heads, *rows) for word in row):
            cell = next(cells)
            cell.width = Mm(widths[at % len(heads)])
            run = cell.paragraphs[0].add_run(words)
            run.font.size = Pt(8.5)
            run.bold = at < len(heads)

    def _link(self, paragraph: Paragraph, target: str, words: str) -> None:
        """A link to a bookmark of this document (ISO/IEC 29500-1, 17.16.22)."""
        link = OxmlElement("w:hyperlink")
        link.set(qn("w:anchor"), target)
        run = paragraph.add_run(words)
        run.underline = True
        link.append(run._r)
        paragraph._p.append(link)

    def _bookmark(self, paragraph: Paragraph, name: str) -> None:
        self._bookmarks += 1
        for tag in ("w:bookmarkStart", "w:bookmarkEnd"):
            mark = OxmlElement(tag)
            mark.set(qn("w:id"), str(self._bookmarks))
            if tag == "w:bookmarkStart":
                mark.set(qn("w:name"), name)
            paragraph._p.append(mark)


def _plain_style(style: ParagraphStyle, points: float) -> None:
    """Black, of one family, of the size given."""
    style.font.size, style.font.color.rgb = Pt(points), RGBColor(0, 0, 0)
    style.font.name = "Georgia"
    # The template's own typefaces and colours go by the theme, which wins over what is named.
    for fonts in style.element.iter(qn("w:rFonts")):
        for key in [key for key in fonts.attrib if key.endswith("Theme")]:
            del fonts.attrib[key]
    for line in style.element.iter(qn("w:bottom")):
        line.set(qn("w:color"), "000000")


def _field(paragraph: Paragraph, name: str) -> None:
    """A field that the word processor fills in, such as the page's number."""
    field = OxmlElement("w:fldSimple")
    field.set(qn("w:instr"), name)
    field.append(paragraph.add_run("1")._r)
    paragraph._p.append(field)
