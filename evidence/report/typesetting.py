"""Turn contents into set pages by way of typst, with a stub in place of every picture.

Hides the template, the two passes (measure, then set), and what to do about characters that no
font at hand can show. What anybody typed reaches the template as JSON strings, never as source.
"""

from __future__ import annotations

import importlib.util
import json
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, Final, TypeVar, cast

import cv2
import numpy as np
import typst

from evidence.report import captions, cautions, jpeg, pages, wording
from evidence.report.contents import Contents, Photo, Section, sections
from evidence.report.plain import named, one_line, pieces, plain, spell_missing, spelled
from evidence.words import Finding, cut

STANDARDS: Final = ("a-2a", "ua-1")
"""PDF/A-2a (ISO 19005-2) and PDF/UA-1 (ISO 14289-1) together, as typst names them."""

STUB_MARK = b"stands for photo "
"""Followed by eight digits, the photo's index, in a comment segment of each stub."""

_CJK = "noto_cjk_sans_jp_regular"
"""An optional package holding one font (Noto Sans CJK, SIL Open Font License)."""

_IN_CJK = ("CJK ", "HIRAGANA ", "KATAKANA ", "HANGUL ")
"""How the names of the letters begin that the package has."""

_NAMED = 4
_NAME_LETTERS = 40
"""So many rooms, findings and photos are named in one sentence, and so much of a room's name."""

_HEADER_LETTERS = 150
"""So much of an address, a signature or a room's name stands where there is room for a line or two."""
_LEAST_LETTERS = 40
"""No value of a caption is cut shorter; so many fit in any layout."""
_SHORT_LETTERS = 900
"""A table row up to this long is never parted between two pages."""

_COMMON = 0x017F
"""Last code point of Latin Extended-A; up to here the text font has every letter (a test says so)."""

_COLUMNS = (1, 2, 3)

_READ_OUT = frozenset({"alternative", "document-title", "author", "description"})
"""Keys whose text is stored in the file but not set in type."""

Value = TypeVar("Value")
Json = dict[str, Any]  # what json.dumps takes; a type of its own would only repeat the template


def set_pages(contents: Contents) -> bytes:
    """Set the whole appendix as a PDF with stubs for pictures.

    Returns
    -------
    A tagged PDF that declares :data:`STANDARDS`. Each photo's stub is an image of its own whose
    data holds :data:`STUB_MARK`.

    Raises
    ------
    ValueError
        ``issued_at`` has no zone.
    """
    if contents.issued_at.tzinfo is None:
        raise ValueError("the moment of issue needs its zone")
    parts = sections(contents.rooms, contents.findings, contents.photos)
    setter, heights = _measured(contents, parts)
    planned = pages.compose(parts, contents.layout, heights)
    return setter.set(_plan(planned, contents), contents.issued_at)


def _measured(contents: Contents, parts: tuple[Section, ...]) -> tuple[_Setter, pages.TextHeights]:
    """Measure all texts, with captions cut that no page could hold under their pictures.

    By measuring, for how much fits depends on letters, columns and paper.
    """
    columns, most = pages.tallest_caption(contents.layout)
    letters: dict[int, int] = {}
    while True:
        setter = _Setter(_job(contents, parts, letters))
        heights = _heights(setter.measure(), contents)
        again = dict(letters)
        for photo in contents.photos:
            high = heights.captions[photo.number, columns]
            now = letters.get(photo.number) or max(map(len, _values(captions.caption(photo, contents))))
            if high > most and now > _LEAST_LETTERS:
                again[photo.number] = max(_LEAST_LETTERS, int(0.9 * now * most / high))
        if again == letters:
            return setter, heights
        letters = again


def _values(words: captions.Caption) -> tuple[str, ...]:
    """Give the parts of a caption that hold what was typed."""
    return words.room, words.shown, *words.facts


class _Setter:
    """The template with everything it needs but the plan of the pages."""

    def __init__(self, job: Json) -> None:
        self._template = (resources.files(__package__) / "templates" / "appendix.typ").read_bytes()
        self._fonts, self._missing = _fonts_for(_rare(job))
        self._job = self._spelled(job)

    def measure(self) -> Json:
        """Give the heights in mm of captions, findings and headings at each width."""
        inputs = {"job": json.dumps(self._job | {"measuring": True})}
        answer = typst.query(
            self._template, "<heights>", field="value", one=True, font_paths=self._fonts, sys_inputs=inputs
        )
        heights: Json = json.loads(answer)
        return heights

    def set(self, planned: list[list[Json]], issued_at: datetime) -> bytes:
        inputs = {"job": json.dumps(self._job | {"measuring": False, "pages": self._spelled(planned)})}
        return _compile(self._fonts, self._template, inputs, issued_at)

    def _spelled(self, value: Value) -> Value:
        """Spell out what no font can show."""
        if not self._missing:
            return value
        spelled = _mapped(value, lambda text: spell_missing(text, lambda c: c not in self._missing))
        return cast(Value, spelled)  # the same shape, as _mapped says


def _compile(fonts: typst.Fonts, source: bytes, inputs: dict[str, str], when: datetime) -> bytes:
    made = typst.Compiler(font_paths=fonts).compile(
        source, format="pdf", sys_inputs=inputs, pdf_standards=[*STANDARDS], timestamp=when
    )
    if not isinstance(made, bytes):
        raise TypeError("typst gave several files for one document")
    return made


def _rare(value: object) -> frozenset[str]:
    """Give the characters that not every font has."""
    return frozenset(c for text in _texts(value) for c in text if ord(c) > _COMMON and not c.isspace())


@lru_cache(maxsize=1)
def _fonts_for(rare: frozenset[str]) -> tuple[typst.Fonts, frozenset[str]]:
    """Find fonts and the characters that none of them can show; a further font is tried if installed."""
    fonts = typst.Fonts(include_system_fonts=False)
    if not rare or _shows(fonts, "".join(sorted(rare))):
        return fonts, frozenset()
    further = importlib.util.find_spec(_CJK)
    if further is not None and further.origin is not None:
        fonts = typst.Fonts(include_system_fonts=False, font_paths=[str(Path(further.origin).parent)])
    return fonts, frozenset(c for c in rare if not _shows(fonts, c))


def _shows(fonts: typst.Fonts, text: str) -> bool:
    """Tell whether typst can set a text: under these standards it refuses what it cannot show."""
    source = b"#set document(title: [t])\n#sys.inputs.text"
    try:
        _compile(fonts, source, {"text": text}, datetime(2000, 1, 1, tzinfo=UTC))
    except typst.TypstError:
        return False
    return True


def spelled_out(contents: Contents) -> str:
    """Say which words are printed as code points, and what to install; "" when a font has all letters.

    Signs, told by their Unicode names, are read as well without a font.
    """
    parts = sections(contents.rooms, contents.findings, contents.photos)
    _, missing = _fonts_for(_rare(_job(contents, parts, {})))
    letters = frozenset(c for c in missing if named(c) == spelled(c))
    if not letters:
        return ""
    where = {f"room “{cut(one_line(one.room), _NAME_LETTERS)}”": [one.room] for one in parts}
    where |= {
        f"finding {f.number}": [f.seen, f.why, f.do, f.who, f.place, f.limits] for f in contents.findings
    }
    where |= {f"photo {p.number}": [p.shown, p.direction, p.correction] for p in contents.photos}
    found = [name for name, said in where.items() if not letters.isdisjoint(_rare(said))]
    example = spelled(min(letters))
    some = ", ".join(found[:_NAMED] or ["what is said of the job"])
    more = f" and {len(found) - _NAMED} more" if len(found) > _NAMED else ""
    known = any(unicodedata.name(c, "").startswith(_IN_CJK) for c in letters)
    do = (
        "install Chinese, Japanese and Korean letters with: pip install 'evidence-appendix[cjk]'"
        if known and importlib.util.find_spec(_CJK) is None
        else "no font at hand has these letters"
    )
    return f"The PDF prints code points such as {example} in {some}{more}; {do}."


def _texts(value: object) -> Iterator[str]:
    """Every text of a JSON value that will be set in type."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, list):
        for part in value:
            yield from _texts(part)
    elif isinstance(value, dict):
        for key, part in value.items():
            if key not in _READ_OUT:
                yield from _texts(part)


def _mapped(value: object, change: Callable[[str], str]) -> object:
    """The same JSON value with every text changed that will be set in type."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, list):
        return [_mapped(part, change) for part in value]
    if isinstance(value, dict):
        return {key: part if key in _READ_OUT else _mapped(part, change) for key, part in value.items()}
    return value


def _stub() -> tuple[list[int], list[int]]:
    """The bytes of a small white JPEG before and after the eight digits that make it a photo's own."""
    done, encoded = cv2.imencode(".jpg", np.full((8, 8, 3), 255, np.uint8))
    if not done:
        raise RuntimeError("OpenCV cannot write JPEG")
    data = jpeg.bare(encoded.tobytes()).data
    length = (2 + len(STUB_MARK) + 8).to_bytes(2, "big")
    return list(data[:2] + b"\xff\xfe" + length + STUB_MARK), list(data[2:])


def _say(text: str) -> list[str]:
    return pieces(one_line(text))


def _tell(text: str) -> list[str]:
    """As :func:`_say`, with the line breaks that were typed."""
    return pieces(plain(text).strip())


def _short(*texts: str) -> bool:
    """Tell whether a row of texts is short enough never to be parted between two pages."""
    return max(map(len, texts)) <= _SHORT_LETTERS


def _job(contents: Contents, parts: tuple[Section, ...], letters: Mapping[int, int]) -> Json:
    """Everything the template needs but the plan of the pages.

    ``letters`` says of the photos whose captions are too long how much of each value stands there.
    """
    address = wording.address(contents)
    head, tail = _stub()
    width, height = pages.PAPER_MM[contents.layout.paper]
    area = pages.Area.of(contents.layout.paper)
    measures = {"gutter": pages.GUTTER_MM, "caption-gap": pages.CAPTION_GAP_MM}
    return {
        "document-title": wording.document_title(contents),
        "author": one_line(contents.inspector) or wording.UNKNOWN,
        "description": wording.edition(contents),
        "region": contents.language[3:] if contents.language in {"en-US", "en-GB"} else None,
        "draft": contents.draft,
        "edition": contents.edition,
        "banner": wording.edition(contents),
        "moment": _say(wording.moment(contents)),
        "header": _say(cut(address, _HEADER_LETTERS)),
        "footer": _say(cut(f"Photo appendix. {wording.signature(contents)}", _HEADER_LETTERS)),
        "address": _say(address),
        "page": pages.MARGIN_MM | measures | {"width": width, "height": height},
        "widths": [area.column(columns) for columns in _COLUMNS],
        "pages-title": pages.TITLE,
        "stub-head": head,
        "stub-tail": tail,
        "details": [[label, _tell(words)] for label, words in wording.details(contents)],
        "changes": [_say(words) for words in contents.changes],
        "cautions": [_say(words) for words in cautions.cautions(contents)],
        "check": [_say(words) for words in cautions.how_to_check(contents)],
        "confirmed": [_say(words) for words in contents.confirmed],
        "findings": [
            _finding(finding, row)
            for finding, row in zip(contents.findings, wording.schedule(contents), strict=True)
        ],
        "sections": [_say(cut(section.room, _HEADER_LETTERS)) for section in parts],
        "photos": [_photo(photo, contents, letters.get(photo.number)) for photo in contents.photos],
        "long": [
            {"number": photo.number, "words": _say(captions.caption(photo, contents).told)}
            for photo in contents.photos
            if photo.number in letters
        ],
        "table": [
            {
                "number": row.number,
                "frame": row.frame,
                "file": _say(row.file),
                "time": _say(row.time),
                "room": _say(cut(row.room, _HEADER_LETTERS)),
                "light": _say(row.light),
                "hash": row.digest,
            }
            for row in wording.table(contents)
        ],
        "not-seen": [
            {
                "place": _say(entry.place),
                "reason": _say(entry.reason),
                "photos": _existing(entry.photos, contents),
                "short": _short(entry.place, entry.reason),
            }
            for entry in wording.not_seen(contents)
        ],
        "texts": [
            {"title": _say(text.title), "text": _tell(text.text), "hash": text.digest}
            for text in contents.required_texts
        ],
        "words": {
            "no-urgent": wording.NO_URGENT,
            "no-finding": wording.NO_FINDING,
            "no-photo": wording.NO_PHOTO,
            "no-photo-of-finding": wording.NO_PHOTO_OF_FINDING,
            "nothing-unseen": wording.NOTHING_UNSEEN,
            "nothing-confirmed": wording.NOTHING_CONFIRMED,
        },
    }


def _finding(finding: Finding, row: wording.ScheduleRow) -> Json:
    return {
        "number": finding.number,
        "urgent": finding.urgent,
        "title": _say(wording.title(finding)),
        "seen": _say(row.seen),
        "where": _say(row.where),
        "action": _say(row.action),
        "parts": [[label, _tell(words)] for label, words in wording.parts(finding)],
        "photos": list(row.photos),
        "short": _short(row.seen, row.where, row.action, finding.why),
    }


def _photo(photo: Photo, contents: Contents, letters: int | None) -> Json:
    words = captions.caption(photo, contents)
    room, shown, *facts = (v if letters is None else cut(v, letters) for v in _values(words))
    return {
        "number": photo.number,
        "findings": [number for number, _ in words.findings],
        "room": _say(room),
        "shown": _say(shown),
        "facts": [_say(fact) for fact in facts],
        "alternative": captions.alternative(photo, contents),
    }


def _existing(numbers: tuple[int, ...], contents: Contents) -> list[int]:
    """Keep the photo numbers that this edition prints; a link to another would lead nowhere."""
    printed = {photo.number for photo in contents.photos}
    return [number for number in numbers if number in printed]


def _heights(measured: Json, contents: Contents) -> pages.TextHeights:
    """Name the measured heights by photo, finding and columns."""
    captions_mm, findings_mm = measured["captions"], measured["findings"]
    return pages.TextHeights(
        captions={
            (photo.number, columns): mm
            for photo, row in zip(contents.photos, captions_mm, strict=True)
            for columns, mm in zip(_COLUMNS, row, strict=True)
        },
        findings={
            (finding.number, columns): mm
            for finding, row in zip(contents.findings, findings_mm, strict=True)
            for columns, mm in zip(_COLUMNS[:2], row, strict=True)
        },
        room=measured["room"],
        title=measured["title"],
    )


def _plan(planned: tuple[pages.Page, ...], contents: Contents) -> list[list[Json]]:
    """The pages as the template reads them: photos and findings by their index."""
    photo_at = {photo.number: at for at, photo in enumerate(contents.photos)}
    finding_at = {finding.number: at for at, finding in enumerate(contents.findings)}
    return [
        [
            {
                "gap": part.gap,
                "title": part.title or None,
                "room": _say(cut(part.room, _HEADER_LETTERS)) if part.room else None,
                "finding": None if part.finding is None else finding_at[part.finding],
                "columns": part.columns,
                "cells": [
                    {"index": photo_at[cell.photo.number], "width": cell.width, "height": cell.height}
                    for cell in part.cells
                ],
            }
            for part in page.parts
        ]
        for page in planned
    ]
