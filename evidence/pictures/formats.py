"""Tell what sort of file a card gave: one row a file kind, content first and name second.

Hides magic bytes and suffixes; decoding is :mod:`evidence.pictures.pixels`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from evidence.words import FileKind

HEAD_BYTES: Final = 256
"""How many first bytes of a file :func:`kind_of` wants to see."""


@dataclass(frozen=True, slots=True)
class Format:
    """One file kind: how it is known, and what sort of thing it is to the inspector.

    Attributes
    ----------
    name
        As printed.
    kind
        What sort of file it is.
    suffixes
        Upper case, with the dot.
    magics
        Alternatives; each a list of (offset, bytes) that must all be there.
    brands
        Major brands (ISO/IEC 14496-12, 4.3) of files that begin with ``ftyp``.
    """

    name: str
    kind: FileKind
    suffixes: tuple[str, ...]
    magics: tuple[tuple[tuple[int, bytes], ...], ...] = ()
    brands: tuple[bytes, ...] = ()

    def knows(self, head: bytes) -> bool:
        """Tell whether a file with these first bytes may be of this kind."""
        if head[4:8] == b"ftyp" and head[8:12] in self.brands:
            return True
        return any(all(head[at : at + len(want)] == want for at, want in magic) for magic in self.magics)


_TIFF = (((0, b"II*\0"),), ((0, b"MM\0*"),), ((0, b"II+\0"),), ((0, b"MM\0+"),))
_BOXES = (((4, b"ftyp"),),)
"""Any brand: those of films and sound are too many to list, and grow."""
_P, _R, _F, _S, _C = FileKind.PICTURE, FileKind.RAW, FileKind.FILM, FileKind.SOUND, FileKind.SIDECAR

FORMATS: Final[tuple[Format, ...]] = (
    Format("JPEG", _P, (".JPG", ".JPEG", ".JPE", ".JFIF"), (((0, b"\xff\xd8\xff"),),)),
    Format("MPO", _P, (".MPO",), (((0, b"\xff\xd8\xff"),),)),
    Format(
        "HEIF",
        _P,
        (".HEIC", ".HEIF", ".HIF"),
        brands=(b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"),
    ),
    Format("AVIF", _P, (".AVIF",), brands=(b"avif", b"avis")),
    Format("CR2", _R, (".CR2",), (((0, b"II*\0"), (8, b"CR")),)),
    Format("TIFF", _P, (".TIF", ".TIFF"), _TIFF),
    Format("PNG", _P, (".PNG",), (((0, b"\x89PNG\r\n\x1a\n"),),)),
    Format("WebP", _P, (".WEBP",), (((0, b"RIFF"), (8, b"WEBP")),)),
    Format("GIF", _P, (".GIF",), (((0, b"GIF8"),),)),
    Format("BMP", _P, (".BMP",), (((0, b"BM"), (6, b"\0\0\0\0")),)),
    Format("JPEG 2000", _P, (".JP2", ".J2K"), (((0, b"\0\0\0\x0cjP  "),), ((0, b"\xff\x4f\xff\x51"),))),
    Format("DNG", _R, (".DNG",), _TIFF),
    Format("NEF", _R, (".NEF", ".NRW"), _TIFF),
    Format("ARW", _R, (".ARW", ".SR2", ".SRF"), _TIFF),
    Format("PEF", _R, (".PEF",), _TIFF),
    Format("SRW", _R, (".SRW",), _TIFF),
    Format("RW2", _R, (".RW2", ".RWL"), (((0, b"IIU\0"),),)),
    Format("ORF", _R, (".ORF",), (((0, b"IIRO"),), ((0, b"IIRS"),), ((0, b"MMOR"),))),
    Format("RAF", _R, (".RAF",), (((0, b"FUJIFILMCCD-RAW"),),)),
    Format("CR3", _R, (".CR3",), brands=(b"crx ",)),
    Format("CRW", _R, (".CRW",), (((0, b"II\x1a\0"), (6, b"HEAPCCDR")),)),
    Format("X3F", _R, (".X3F",), (((0, b"FOVb"),),)),
    Format("M4A", _S, (".M4A", ".M4B"), brands=(b"M4A ", b"M4B ")),
    Format(
        "QuickTime",
        _F,
        (".MOV", ".QT"),
        (((4, b"moov"),), ((4, b"mdat"),), ((4, b"wide"),), ((4, b"free"),), ((4, b"skip"),)),
        brands=(b"qt  ",),
    ),
    Format("MP4", _F, (".MP4", ".M4V", ".3GP", ".3G2"), _BOXES),
    Format("M4A", _S, (".M4A",), _BOXES),
    Format("AVI", _F, (".AVI",), (((0, b"RIFF"), (8, b"AVI ")),)),
    Format("MTS", _F, (".MTS", ".M2TS", ".TS"), (((4, b"G"), (196, b"G")), ((0, b"G"), (188, b"G")))),
    Format("Matroska", _F, (".MKV", ".WEBM"), (((0, b"\x1a\x45\xdf\xa3"),),)),
    Format("MPEG", _F, (".MPG", ".MPEG"), (((0, b"\0\0\x01\xba"),), ((0, b"\0\0\x01\xb3"),))),
    Format("WAV", _S, (".WAV",), (((0, b"RIFF"), (8, b"WAVE")),)),
    Format("MP3", _S, (".MP3",), (((0, b"ID3"),), ((0, b"\xff\xfb"),), ((0, b"\xff\xf3"),))),
    Format("AMR", _S, (".AMR",), (((0, b"#!AMR"),),)),
    Format("AAC", _S, (".AAC",), (((0, b"\xff\xf1"),), ((0, b"\xff\xf9"),))),
    Format("Ogg", _S, (".OGG", ".OPUS"), (((0, b"OggS"),),)),
    Format("FLAC", _S, (".FLAC",), (((0, b"fLaC"),),)),
    Format("AppleDouble", FileKind.OTHER, (), (((0, b"\0\x05\x16\x07"),),)),
    Format("XMP", _C, (".XMP",)),
    Format("thumbnail", _C, (".THM", ".LRV")),
    Format("edits", _C, (".AAE", ".PP3", ".DOP", ".COS")),
    Format("transcript", FileKind.TRANSCRIPT, (".VTT", ".SRT")),
    Format("track", _C, (".GPX", ".NMEA", ".LOG")),
    Format("card notes", _C, (".CTG", ".IND", ".DSC", ".BDM", ".MPL", ".CPI", ".BUP", ".IFO", ".XML")),
)


def format_of(name: str, head: bytes) -> Format | None:
    """Tell which row of the table a file belongs to, None when to none.

    Parameters
    ----------
    name
        The file's name; only its suffix is used, and only where the content leaves a choice.
    head
        The first :data:`HEAD_BYTES` bytes, or more, or all there are.

    Notes
    -----
    A sidecar or a transcript is one by its name, whatever its content: a film's .THM is a JPEG.
    A name that says picture while the content says nothing is a picture: a damaged one. Not so what
    macOS writes beside each file on a camera's card (``._ABCD0001.JPG``): its content says what it is
    (RFC 1740, Appendix A).
    """
    suffix = "." + name.upper().rpartition(".")[2] if "." in name else ""
    named = [row for row in FORMATS if suffix in row.suffixes]
    if named and named[0].kind in {FileKind.SIDECAR, FileKind.TRANSCRIPT}:
        return named[0]
    known = [row for row in FORMATS if row.knows(head)]
    both = [row for row in known if row in named]
    return next(iter([*both, *known, *named]), None)


def kind_of(name: str, head: bytes) -> FileKind:
    """Tell what sort of file this is, by its first bytes and, where they leave a choice, its name.

    Examples
    --------
    >>> kind_of("notes.txt", bytes.fromhex("ffd8ffe1")).name
    'PICTURE'
    >>> kind_of("ABCD0007.JPG", b"Dear Sir").name
    'PICTURE'
    >>> kind_of("ABCD0007.NEF", bytes.fromhex("4d4d002a")).name
    'RAW'
    >>> kind_of("notes.txt", b"Dear Sir").name
    'OTHER'
    """
    row = format_of(name, head)
    return row.kind if row else FileKind.OTHER
