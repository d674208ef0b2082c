"""Rewrite a JPEG for delivery: the picture bit for bit, and of the metadata only what may go out.

Position, serial number, maker notes, hidden thumbnails, comments and whatever follows the picture
are left behind, because nothing goes along but what is named here. Hides JPEG's segments, the
small Exif block and the XMP packet that are written in their place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final
from xml.sax.saxutils import escape

from PIL import Image

from evidence.errors import BadPicture
from evidence.pictures import segments
from evidence.pictures.readers import Tag
from evidence.words import Capture, TimeSource

if TYPE_CHECKING:
    from collections.abc import Iterator

_PICTURE: Final = frozenset(
    {*segments.BASELINE, segments.PROGRESSIVE, segments.DHT, segments.DQT, segments.DRI, segments.SOS}
)
_LEFT: Final = frozenset({*range(segments.APP0, segments.APP15 + 1), segments.COM})
_JFIF: Final = b"JFIF\0"
_ADOBE: Final = b"Adobe"
_ICC: Final = b"ICC_PROFILE\0"
_XMP: Final = b"http://ns.adobe.com/xap/1.0/\0"
_LARGEST_SEGMENT: Final = 65_533
_LONGEST_TEXT: Final = 6_000
"""Letters of each text kept in the packet: two such texts at 5 bytes a letter ("&amp;") still fit."""
_EXIF_IFD: Final = 0x8769
_DATES: Final = {
    TimeSource.TAKEN: (Tag.DATE_TIME_ORIGINAL, Tag.SUB_SEC_TIME_ORIGINAL, Tag.OFFSET_TIME_ORIGINAL),
    TimeSource.DIGITIZED: (Tag.DATE_TIME_DIGITIZED, Tag.SUB_SEC_TIME_DIGITIZED, Tag.OFFSET_TIME_DIGITIZED),
    TimeSource.CHANGED: (Tag.DATE_TIME, Tag.SUB_SEC_TIME, Tag.OFFSET_TIME),
}


@dataclass(frozen=True, slots=True)
class Caption:
    """What a delivered copy says of itself (IPTC Photo Metadata 2025.1, in XMP).

    Attributes
    ----------
    text
        The caption, written as dc:description.
    alternative
        What is to be seen, for those who cannot see it: Iptc4xmpCore:AltTextAccessibility.
    original
        Digest of the original the copy was made of: xmpMM:DerivedFrom; "" writes none.
    """

    text: str = ""
    alternative: str = ""
    original: str = ""


def delivered_jpeg(
    original: bytes, capture: Capture | None = None, caption: Caption | None = None, *, upright: bool = False
) -> bytes:
    """Rewrite a JPEG with its picture untouched and its metadata replaced.

    Parameters
    ----------
    original
        The whole JPEG file.
    capture
        What :func:`evidence.pictures.read_exif` gave; of it the camera's time with fraction and
        zone, make, model and orientation are written. None writes none.
    caption
        None writes no XMP.
    upright
        The pixels stand upright already, so no orientation is written.

    Returns
    -------
    A JPEG that decodes to the same pixels.

    Raises
    ------
    BadPicture
        The stream is not plainly made of a JPEG's parts, or its picture is of a kind that not
        every program shows. Decode it and use :func:`evidence.pictures.print_jpeg` instead.

    Notes
    -----
    Segments as in ITU-T T.81, Annex B. Kept are the colour profile and what says how colours are
    coded: JFIF (without its thumbnail) and Adobe's APP14.
    """
    stream = segments.walk(original)
    kept = list(_kept(original, stream))
    jfif = [part for part in kept if part[1] == segments.APP0]
    rest = [part for part in kept if part[1] != segments.APP0]
    ours = []
    if capture:
        ours.append(_segment(_exif(replace(capture, orientation=1) if upright else capture)))
    if caption:
        ours.append(_segment(_XMP + _packet(caption)))
    return b"".join([b"\xff\xd8", *jfif[:1], *ours, *rest, b"\xff\xd9"])


def _kept(data: bytes, stream: segments.Stream) -> Iterator[bytes]:
    """Give the segments that may go out, refusing a stream with anything between or beside them."""
    if stream.end is None:
        raise BadPicture("The JPEG breaks off before its end.")
    if stream.frame not in _PICTURE or stream.precision != 8:
        raise BadPicture("The JPEG is of a kind that not every program shows.")
    at, framed = 2, False
    for segment in stream.segments:
        if data[at : segment.start].strip(b"\xff"):
            raise BadPicture("The JPEG has bytes between its parts that belong to none.")
        at = segment.end
        text = data[segment.body : segment.stop]
        if segment.marker in _PICTURE:
            framed = framed or segment.marker == stream.frame
            if not _sound(segment.marker, text) or (segment.marker == segments.SOS and not framed):
                raise BadPicture("The JPEG has a part that does not hold what it says.")
            yield data[segment.start : segment.end]
        elif segment.marker not in _LEFT:
            raise BadPicture("The JPEG has a part that no camera writes.")
        elif segment.marker == segments.APP0 and text.startswith(_JFIF) and len(text) >= 14:
            yield b"\xff\xe0\x00\x10" + text[:12] + b"\0\0"
        elif (segment.marker == segments.APP14 and text.startswith(_ADOBE)) or (
            segment.marker == segments.APP2 and text.startswith(_ICC)
        ):
            yield data[segment.start : segment.end]
    if data[at : stream.end - 2].strip(b"\xff"):
        raise BadPicture("The JPEG has bytes before its end that belong to no part.")


def _sound(marker: int, text: bytes) -> bool:
    """Tell whether a part's header is as long as its content calls for (ITU-T T.81, B.2), no longer."""
    if not text:
        return False
    if marker == segments.DQT:
        at = 0
        while at < len(text):
            at += 1 + (128 if text[at] >> 4 else 64)
        return at == len(text)
    if marker == segments.DHT:
        at = 0
        while at < len(text):
            at += 17 + sum(text[at + 1 : at + 17])
        return at == len(text)
    if marker == segments.DRI:
        return len(text) == 2
    if marker == segments.SOS:
        return len(text) == 4 + 2 * text[0] <= 12
    return len(text) > 5 and len(text) == 6 + 3 * text[5]


def _segment(text: bytes) -> bytes:
    """Wrap text as an APP1 segment."""
    if len(text) > _LARGEST_SEGMENT:
        raise BadPicture("The metadata to be written do not fit into a JPEG.")
    return b"\xff\xe1" + (len(text) + 2).to_bytes(2, "big") + text


def _exif(capture: Capture) -> bytes:
    """Write the small Exif block: whose camera's kind, when by its clock, which side is up."""
    exif = Image.Exif()
    deeper = exif.get_ifd(_EXIF_IFD)
    deeper[0x9000] = b"0232"
    exif[Tag.ORIENTATION] = capture.orientation
    for tag, text in ((Tag.MAKE, capture.make), (Tag.MODEL, capture.model)):
        if text:
            exif[tag] = text
    time = capture.time
    if time and time.source in _DATES:
        date, subsec, zone = _DATES[time.source]
        (exif if date == Tag.DATE_TIME else deeper)[date] = f"{time.moment:%Y:%m:%d %H:%M:%S}"
        digits = capture.subsec or (f"{time.moment.microsecond:06}".rstrip("0"))
        if digits:
            deeper[subsec] = digits
        if time.offset_min is not None:
            hours, minutes = divmod(abs(time.offset_min), 60)
            deeper[zone] = f"{'-' if time.offset_min < 0 else '+'}{hours:02}:{minutes:02}"
    return exif.tobytes()


def _packet(caption: Caption) -> bytes:
    """Write the XMP packet (ISO 16684-1)."""
    parts = []
    for name, text in (
        ("dc:description", caption.text),
        ("Iptc4xmpCore:AltTextAccessibility", caption.alternative),
    ):
        if text:
            parts.append(
                f'<{name}><rdf:Alt><rdf:li xml:lang="x-default">{_clean(text)}</rdf:li></rdf:Alt></{name}>'
            )
    if caption.original:
        parts.append(
            '<xmpMM:DerivedFrom rdf:parseType="Resource">'
            f"<stRef:documentID>sha256:{_clean(caption.original)}</stRef:documentID></xmpMM:DerivedFrom>"
        )
    return (
        '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>'
        '<x:xmpmeta xmlns:x="adobe:ns:meta/">'
        '<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"'
        ' xmlns:Iptc4xmpCore="http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/"'
        ' xmlns:xmpMM="http://ns.adobe.com/xap/1.0/mm/"'
        ' xmlns:stRef="http://ns.adobe.com/xap/1.0/sType/ResourceRef#">'
        f'{"".join(parts)}</rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="r"?>'
    ).encode()


def _clean(text: str) -> str:
    """Keep what XML 1.0 may hold (2.2), escape its marks, and bound the length."""
    fit = (
        c
        for c in text[:_LONGEST_TEXT]
        if c in "\t\n" or " " <= c <= "\ud7ff" or "\ue000" <= c <= "\ufffd" or c > "\uffff"
    )
    return escape("".join(fit))
