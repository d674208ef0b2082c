"""Write the appendix as one HTML file that needs neither network nor script.

Built as a tree whose texts are escaped when written, so nothing anybody typed can act as markup.
Written room by room: the pictures are never in memory together.
"""

from __future__ import annotations

import base64
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterable, Iterator, Sequence
from importlib import resources
from pathlib import Path

from evidence.report import captions, cautions, jpeg, pages, wording
from evidence.report.contents import Contents, Photo, Printer, PrintSize, Section, sections
from evidence.report.plain import one_line, plain
from evidence.words import Finding

_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
"""The file itself forbids whatever it does not need: scripts, frames, any address."""


def write(contents: Contents, printer: Printer, size: PrintSize, target: Path) -> None:
    """Write the file; the printer is asked once for each photo, in the order of the pages.

    Headings, lists, tables and figures are what they are called; links lead from photo to finding
    and back; the order read aloud is the order seen. Made to meet WCAG 2.2 AA.

    Raises
    ------
    BadPicture
        The printer gave something other than a grey or three-channel JPEG.
    """
    parts = sections(contents.rooms, contents.findings, contents.photos)

    def picture(photo: Photo) -> jpeg.Jpeg:
        return jpeg.bare(printer(photo, size))

    style = (resources.files(__package__) / "templates" / "appendix.css").read_text(encoding="utf-8")
    with target.open("w", encoding="utf-8", newline="\n") as file:
        file.write(f'<!DOCTYPE html>\n<html lang="{_language(contents)}">\n')
        file.write(_text(_head(contents, style)))
        file.write("<body>\n")
        file.write(_text(_made("a", "Skip to the schedule of findings", href="#schedule", class_="skip")))
        file.write(_text(_front(contents)))
        file.write(_text(_guide(contents, parts)))
        file.write("<main>\n")
        file.write(_text(_urgent(contents)))
        file.write(_text(_schedule(contents)))
        file.write(f'<section aria-labelledby="rooms"><h2 id="rooms">{pages.TITLE}</h2>\n')
        for at, section in enumerate(parts):
            file.writelines(_room(at, section, contents, picture))
        file.write("</section>\n")
        for part in _back(contents):
            file.write(_text(part))
        file.write("</main>\n")
        file.write(_text(_foot(contents)))
        file.write("</body>\n</html>\n")


def _language(contents: Contents) -> str:
    """The language the words are in: English, of the job's country where we know its spelling."""
    return contents.language if contents.language in {"en-US", "en-GB"} else "en"


def _made(tag: str, *inside: str | ET.Element, **attributes: str) -> ET.Element:
    """Make an element; ``class_`` and ``aria_label`` stand for ``class`` and ``aria-label``."""
    made = ET.Element(tag, {key.rstrip("_").replace("_", "-"): value for key, value in attributes.items()})
    last: ET.Element | None = None
    for part in inside:
        if isinstance(part, ET.Element):
            made.append(part)
            last = part
        elif last is None:
            made.text = (made.text or "") + part
        else:
            last.tail = (last.tail or "") + part
    return made


def _text(element: ET.Element) -> str:
    return ET.tostring(element, encoding="unicode", method="html") + "\n"


def _head(contents: Contents, style: str) -> ET.Element:
    draft = "DRAFT: " if contents.draft else ""
    sheet = ET.Element("style")
    sheet.text = style
    return _made(
        "head",
        _made("meta", charset="utf-8"),
        _made("meta", content=_POLICY, http_equiv="Content-Security-Policy"),
        _made("meta", name="viewport", content="width=device-width, initial-scale=1"),
        _made("title", draft + wording.document_title(contents)),
        sheet,
    )


def _front(contents: Contents) -> ET.Element:
    header = _made("header", _made("p", "Photo appendix", class_="kind"))
    if contents.draft:
        header.append(_made("p", _made("strong", wording.edition(contents)), class_="draft"))
    header.append(_made("h1", wording.address(contents)))
    header.append(_pairs(wording.details(contents)))
    if contents.changes:
        header.append(_made("h2", f"Changed since edition {contents.edition - 1}"))
        header.append(_made("ul", *(_made("li", one_line(words)) for words in contents.changes)))
    header.append(_made("h2", "Read this first", id="cautions"))
    header.append(
        _made("div", *(_made("p", words) for words in cautions.cautions(contents)), class_="cautions")
    )
    return header


def _guide(contents: Contents, parts: Sequence[Section]) -> ET.Element:
    rooms = _made(
        "ul", *(_made("li", _link(f"room-{at}", one_line(part.room))) for at, part in enumerate(parts))
    )
    entries = [
        _made("li", _link("urgent", "Urgent findings")),
        _made("li", _link("schedule", "Schedule of findings")),
        _made("li", _link("rooms", pages.TITLE), *([rooms] if parts else [])),
        *(_made("li", _link(target, words)) for target, words in _back_titles(contents)),
    ]
    return _made(
        "nav", _made("h2", "Contents", id="contents"), _made("ul", *entries), aria_labelledby="contents"
    )


def _urgent(contents: Contents) -> ET.Element:
    inside = [_made("h2", "Urgent findings", id="urgent")]
    if not contents.urgent:
        inside.append(_made("p", wording.NO_URGENT))
    for finding in contents.urgent:
        inside.append(_made("h3", _to_finding(finding.number), f": {wording.title(finding)}"))
        inside.append(_finding_parts(finding, contents))
    return _made("section", *inside, aria_labelledby="urgent")


def _schedule(contents: Contents) -> ET.Element:
    rows = []
    for row in wording.schedule(contents):
        seen = [_made("strong", "Urgent."), f" {row.seen}"] if row.urgent else [row.seen]
        number = _made(
            "th", _link(f"finding-{row.number}", str(row.number)), scope="row", id=f"row-{row.number}"
        )
        photos = _made("td", *_to_photos(row.photos))
        rows.append([number, _made("td", *seen), _made("td", row.where), _made("td", row.action), photos])
    heads = ("No.", "What was seen", "Where", "What to do, who", "Photos")
    return _section("schedule", "Schedule of findings", _table(heads, rows, wording.NO_FINDING))


def _room(
    at: int, section: Section, contents: Contents, picture: Callable[[Photo], jpeg.Jpeg]
) -> Iterator[str]:
    """Give one room as it comes, picture by picture."""
    yield f'<section aria-labelledby="room-{at}">\n'
    yield _text(_made("h3", one_line(section.room), id=f"room-{at}"))
    for group in section.groups:
        finding = group.finding
        if finding is not None:
            name = f"finding-{finding.number}"
            urgent = ", urgent" if finding.urgent else ""
            yield f'<article aria-labelledby="{name}">\n'
            yield _text(_made("h4", f"Finding {finding.number}{urgent}: {wording.title(finding)}", id=name))
            yield _text(_finding_parts(finding, contents))
        yield '<div class="photos">\n'
        for photo in group.photos:
            yield _text(_figure(photo, contents, picture(photo)))
        yield "</div>\n</article>\n" if finding else "</div>\n"
    yield "</section>\n"


def _figure(photo: Photo, contents: Contents, picture: jpeg.Jpeg) -> ET.Element:
    words = captions.caption(photo, contents)
    image = _made(
        "img",
        src="data:image/jpeg;base64," + base64.b64encode(picture.data).decode("ascii"),
        width=str(picture.width),
        height=str(picture.height),
        alt=captions.alternative(photo, contents),
    )
    first: list[str | ET.Element] = [_made("strong", _link(f"entry-{photo.number}", words.photo))]
    for number, _ in words.findings:
        first += [captions.SEPARATOR, _to_finding(number)]
    first.append(captions.SEPARATOR + captions.SEPARATOR.join((words.room, words.shown)))
    facts = _made("span", captions.SEPARATOR.join(words.facts), class_="facts")
    return _made("figure", image, _made("figcaption", *first, " ", facts), id=f"photo-{photo.number}")


def _back_titles(contents: Contents) -> tuple[tuple[str, str], ...]:
    return (
        ("not-seen", "What could not be seen, and why"),
        ("table", "Table of photos"),
        *((("texts", "Texts required word for word"),) if contents.required_texts else ()),
        ("confirmed", "Who confirmed what"),
        ("check", "How to check this appendix"),
    )


def _back(contents: Contents) -> Iterable[ET.Element]:
    inside = {
        "not-seen": [_unseen(contents)],
        "table": [_photo_table(contents)],
        "texts": list(_texts(contents)),
        "confirmed": [
            _made("ul", *(_made("li", one_line(words)) for words in contents.confirmed))
            if contents.confirmed
            else _made("p", wording.NOTHING_CONFIRMED)
        ],
        "check": [_made("p", words) for words in cautions.how_to_check(contents)],
    }
    for target, title in _back_titles(contents):
        yield _section(target, title, *inside[target])


def _unseen(contents: Contents) -> ET.Element:
    rows = [
        [
            _made("th", entry.place, scope="row"),
            _made("td", entry.reason),
            _made("td", *_to_photos(entry.photos)),
        ]
        for entry in wording.not_seen(contents)
    ]
    return _table(("Part of the house", "Why it could not be seen", "Photos"), rows, wording.NOTHING_UNSEEN)


def _photo_table(contents: Contents) -> ET.Element:
    rows = []
    for row in wording.table(contents):
        number = _made(
            "th", _link(f"photo-{row.number}", str(row.number)), scope="row", id=f"entry-{row.number}"
        )
        cells = (str(row.frame), row.file, row.time, row.room, row.light)
        rows.append([number, *(_made("td", cell) for cell in cells), _made("td", _made("code", row.digest))])
    heads = ("Photo", "Frame", "File", "Camera time", "Room", "Light", "SHA-256")
    return _table(heads, rows, wording.NO_PHOTO)


def _texts(contents: Contents) -> Iterable[ET.Element]:
    for text in contents.required_texts:
        yield _made("h3", one_line(text.title))
        yield _made("p", plain(text.text), class_="verbatim")
        yield _made("p", "SHA-256 of this text: ", _made("code", text.digest))


def _foot(contents: Contents) -> ET.Element:
    words = f"{wording.address(contents)}. {wording.edition(contents)}, {wording.moment(contents)}."
    return _made("footer", _made("p", words), _made("p", wording.signature(contents)))


def _finding_parts(finding: Finding, contents: Contents) -> ET.Element:
    photos = tuple(photo.number for photo in contents.photos_of(finding.number))
    pairs = _pairs(wording.parts(finding))
    pairs.append(_made("dt", "Photos"))
    row = _link(f"row-{finding.number}", f"row {finding.number} of the schedule")
    pairs.append(_made("dd", *_to_photos(photos, wording.NO_PHOTO_OF_FINDING), captions.SEPARATOR, row))
    return pairs


def _pairs(lines: Iterable[tuple[str, str]]) -> ET.Element:
    inside = [part for label, words in lines for part in (_made("dt", label), _made("dd", words))]
    return _made("dl", *inside)


def _section(target: str, title: str, *inside: ET.Element) -> ET.Element:
    return _made("section", _made("h2", title, id=target), *inside, aria_labelledby=target)


def _table(heads: Sequence[str], rows: Sequence[Sequence[ET.Element]], none: str) -> ET.Element:
    """A table that scrolls within itself on a narrow screen, reachable by keyboard."""
    if not rows:
        return _made("p", none)
    head = _made("thead", _made("tr", *(_made("th", words, scope="col") for words in heads)))
    table = _made("table", head, _made("tbody", *(_made("tr", *cells) for cells in rows)))
    label = f"Table: {', '.join(heads)}"
    return _made("div", table, class_="wide", tabindex="0", role="region", aria_label=label)


def _link(target: str, words: str) -> ET.Element:
    return _made("a", words, href=f"#{target}")


def _to_finding(number: int) -> ET.Element:
    return _link(f"finding-{number}", f"Finding {number}")


def _to_photos(numbers: Iterable[int], none: str = "none") -> list[str | ET.Element]:
    links = [_link(f"photo-{number}", f"Photo {number}") for number in numbers]
    if not links:
        return [none]
    # Each comma is kept with its link: in a narrow column it stood on a line of its own.
    kept = [part for link in links[:-1] for part in (_made("span", link, ",", class_="kept"), " ")]
    return [*kept, links[-1]]
