"""Write the appendix as a tagged, archival PDF.

Typst sets the pages; it never sees a photograph. It would hold every picture decoded (1.9 GB for
300), so it is given a stub of a few hundred bytes for each, and the true JPEGs take the stubs'
places in the finished file as they are. They pass through a file, one at a time, so memory does not
grow with them.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterable, Iterator
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

import pikepdf
from pikepdf import Name

from evidence.report import jpeg, typesetting
from evidence.report.contents import Contents, Printer, PrintSize

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
        The file to write; beside, sync and rename are the caller's care. Its folder also holds the
        pictures for a moment, in a file without a name.

    Raises
    ------
    BadPicture
        The printer gave something other than a grey or three-channel JPEG.

    Notes
    -----
    The same contents and pictures give the same bytes: times come from ``issued_at``, fonts from
    typst's own wheel, the file's identifier from its content.
    """
    put_together(typesetting.set_pages(contents), contents, printer, size, target)


def put_together(
    set_pages: bytes, contents: Contents, printer: Printer, size: PrintSize, target: Path
) -> None:
    """Put pictures of one size into pages already set, for whoever tries several sizes.

    Parameters and errors are those of :func:`write`; ``set_pages`` comes from
    :func:`evidence.report.typesetting.set_pages` for the same contents.
    """
    pictures = (jpeg.bare(printer(photo, size)) for photo in contents.photos)
    with (
        tempfile.TemporaryFile(dir=target.parent) as pile,
        pikepdf.open(BytesIO(set_pages)) as document,
        pikepdf.open(_pile_up(pictures, pile), access_mode=pikepdf.AccessMode.stream) as piled,
    ):
        _put_in(document, piled)
        _name_links(document)
        document.save(target, deterministic_id=True, object_stream_mode=pikepdf.ObjectStreamMode.generate)


def _pile_up(pictures: Iterable[jpeg.Jpeg], pile: BinaryIO) -> BinaryIO:
    """Write pictures one after the other as the plainest PDF there is (ISO 32000-1, 7.5).

    qpdf copies streams between files without reading them into memory, which nothing else it
    offers does. The catalog lists the pictures in order.
    """
    offsets = []

    def put(body: bytes) -> None:
        offsets.append(pile.tell())
        pile.write(b"%d 0 obj\n%b\nendobj\n" % (len(offsets), body))

    pile.write(b"%PDF-1.7\n")
    for picture in pictures:
        colours = b"DeviceGray" if picture.channels == 1 else b"DeviceRGB"
        put(
            b"<</Type/XObject/Subtype/Image/Width %d/Height %d/BitsPerComponent 8/ColorSpace/%b"
            b"/Filter/DCTDecode/Length %d>>\nstream\n%b\nendstream"
            % (picture.width, picture.height, colours, len(picture.data), picture.data)
        )
    listed = b" ".join(b"%d 0 R" % (at + 1) for at in range(len(offsets)))
    put(b"<</Type/Pages/Kids[]/Count 0>>")
    put(b"<</Type/Catalog/Pages %d 0 R/Pictures[%b]>>" % (len(offsets), listed))
    start = pile.tell()
    pile.write(b"xref\n0 %d\n0000000000 65535 f \n" % (len(offsets) + 1))
    pile.writelines(b"%010d 00000 n \n" % offset for offset in offsets)
    pile.write(b"trailer<</Size %d/Root %d 0 R>>\n" % (len(offsets) + 1, len(offsets)))
    pile.write(b"startxref\n%d\n%%%%EOF\n" % start)
    pile.seek(0)
    return pile


def _put_in(document: pikepdf.Pdf, piled: pikepdf.Pdf) -> None:
    """Give each stub's place to the picture it stands for."""
    pictures = piled.Root.Pictures
    for images, key, index in _stubs(document):
        picture = document.copy_foreign(pictures[index])
        if picture.ColorSpace == Name.DeviceRGB:
            picture.ColorSpace = images[key].ColorSpace  # sRGB as an ICC profile, as typst wrote it
        images[key] = picture


def _stubs(document: pikepdf.Pdf) -> Iterator[tuple[pikepdf.Object, str, int]]:
    """Every stub: the dictionary that names it, under which name, and its photo's index."""
    for page in document.pages:
        images = page.Resources.get(Name.XObject, pikepdf.Dictionary())
        for key in list(images.keys()):
            match = _STUB.search(images[key].read_raw_bytes())
            if match:
                yield images, key, int(match[1])


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
