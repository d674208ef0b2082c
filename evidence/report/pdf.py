"""Write the appendix as a tagged, archival PDF.

Typst sets the pages; it never sees a photograph. It would hold every picture decoded (1.9 GB for
300), so it is given a stub of a few hundred bytes for each, and the true JPEGs take the stubs'
places in the finished file as they are.
"""

from __future__ import annotations

import re
from io import BytesIO
from pathlib import Path

import pikepdf
from pikepdf import Name

from evidence.report import jpeg, typesetting
from evidence.report.contents import Contents, Photo, Printer, PrintSize

_STUB = re.compile(re.escape(typesetting.STUB_MARK) + rb"(\d{8})")


def write(contents: Contents, printer: Printer, size: PrintSize, target: Path) -> None:
    """Set the pages and put in the pictures.

    Parameters
    ----------
    contents
        What the appendix holds; photos numbered, each number once.
    printer
        Gives the JPEG of each photo; asked once for each, in the order of ``contents.photos``.
    size
        Longest side and quality to ask for.
    target
        The file to write; beside, sync and rename are the caller's care.

    Raises
    ------
    BadPicture
        The printer gave something other than a grey or three-channel JPEG.

    Notes
    -----
    The same contents and pictures give the same bytes: times come from ``issued_at``, fonts from
    typst's own wheel, the file's identifier from its content.
    """
    with pikepdf.open(BytesIO(typesetting.set_pages(contents))) as document:
        _put_in(document, contents.photos, printer, size)
        _name_links(document)
        document.save(target, deterministic_id=True, object_stream_mode=pikepdf.ObjectStreamMode.generate)


def _put_in(document: pikepdf.Pdf, photos: tuple[Photo, ...], printer: Printer, size: PrintSize) -> None:
    """Give each stub's place to the picture it stands for."""
    stubs = dict(_stubs(document))
    for index, photo in enumerate(photos):
        stub, picture = stubs.pop(index), jpeg.bare(printer(photo, size))
        stub.write(picture.data, filter=Name.DCTDecode)
        stub.Width, stub.Height = picture.width, picture.height
        if picture.channels == 1:  # PDF/A allows plain grey where the file has an output intent
            stub.ColorSpace = Name.DeviceGray


def _stubs(document: pikepdf.Pdf) -> list[tuple[int, pikepdf.Stream]]:
    found = []
    for thing in document.objects:
        if isinstance(thing, pikepdf.Stream) and thing.get(Name.Subtype) == Name.Image:
            match = _STUB.search(thing.read_raw_bytes())
            if match:
                found.append((int(match[1]), thing))
    return found


def _name_links(document: pikepdf.Pdf) -> None:
    """Give links to figures and table rows a description that can be read out.

    Typst 0.15 describes a link by its target's kind and page; a photo has no kind for it, which
    leaves ", page 7".
    """
    for page in document.pages:
        for note in page.get(Name.Annots, pikepdf.Array()):
            words = str(note.get(Name.Contents, ""))
            if words.startswith(", "):
                note.Contents = pikepdf.String(words[2:].capitalize())
