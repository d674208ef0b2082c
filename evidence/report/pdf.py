"""Write the appendix as a tagged, archival PDF.

Typst sets the pages; it never sees a photograph. It would hold every picture decoded (1.9 GB for
300), so it is given a stub of a few hundred bytes for each, and the true JPEGs take the stubs'
places in the finished file as they are. They pass through a file, one at a time, so memory does not
grow with them.
"""

from __future__ import annotations

import re
import tempfile
from io import SEEK_END, BytesIO
from pathlib import Path
from typing import BinaryIO

import pikepdf
from pikepdf import Name

from evidence.report import jpeg, typesetting
from evidence.report.contents import Contents, Printer, PrintSize

_STUB = re.compile(re.escape(typesetting.STUB_MARK) + rb"(\d{8})")
_TAIL_BYTES = 64
"""Enough to hold the last lines of a PDF: "startxref", a number, "%%EOF"."""


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
    with tempfile.TemporaryFile(dir=target.parent) as file:
        with pikepdf.open(BytesIO(set_pages)) as document:
            _name_links(document)
            document.save(file, object_stream_mode=pikepdf.ObjectStreamMode.disable)
        update = _Update(file)
        for index, photo in enumerate(contents.photos):
            update.replace(index, jpeg.bare(printer(photo, size)))
        update.end()
        with pikepdf.open(file, access_mode=pikepdf.AccessMode.stream) as document:
            document.save(target, deterministic_id=True, object_stream_mode=pikepdf.ObjectStreamMode.generate)


class _Update:
    """Pictures written in their stubs' place at the end of a PDF file.

    An incremental update (ISO 32000-1, 7.5.6): of two objects with one number the later counts, and
    qpdf reads its data only when it writes it on. Pictures put in through qpdf's own interface would
    all lie in memory until then.
    """

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self._offsets: dict[int, int] = {}
        self._stubs: dict[int, tuple[int, bytes]] = {}
        with pikepdf.open(file) as document:
            self._size, self._root = int(document.trailer.Size), document.Root.objgen[0]
            for thing in document.objects:
                if isinstance(thing, pikepdf.Stream) and thing.get(Name.Subtype) == Name.Image:
                    match = _STUB.search(thing.read_raw_bytes())
                    if match:
                        self._stubs[int(match[1])] = thing.objgen[0], thing.ColorSpace.unparse()
        file.seek(-_TAIL_BYTES, SEEK_END)
        self._before = int(file.read().rsplit(b"startxref", 1)[1].split()[0])

    def replace(self, index: int, picture: jpeg.Jpeg) -> None:
        """Write a picture under the object number of the photo's stub."""
        number, colours = self._stubs[index]
        if picture.channels == 1:  # allowed by PDF/A where, as here, the file has an output intent
            colours = b"/DeviceGray"
        self._offsets[number] = self._file.seek(0, SEEK_END)
        self._file.write(
            b"%d 0 obj\n<</Type/XObject/Subtype/Image/Width %d/Height %d/BitsPerComponent 8/ColorSpace %b"
            b"/Filter/DCTDecode/Length %d>>\nstream\n"
            % (number, picture.width, picture.height, colours, len(picture.data))
        )
        self._file.write(picture.data)
        self._file.write(b"\nendstream\nendobj\n")

    def end(self) -> None:
        """Write the table of what was replaced."""
        start = self._file.seek(0, SEEK_END)
        self._file.write(b"xref\n0 0\n")
        for number, offset in sorted(self._offsets.items()):
            self._file.write(b"%d 1\n%010d 00000 n \n" % (number, offset))
        self._file.write(b"trailer\n<</Size %d/Root %d 0 R" % (self._size, self._root))
        self._file.write(b"/Prev %d>>\nstartxref\n%d\n%%%%EOF\n" % (self._before, start))
        self._file.seek(0)


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
