"""What a file from a card holds: its kind, its pixels, its metadata, and the copies made of it.

Hides every file format and every library that reads one. Nothing here knows a job.
"""

from __future__ import annotations

from evidence.pictures.copies import SMALL_PX, SMALL_VERSION, kept_copy, print_jpeg, small_jpeg, upright_jpeg
from evidence.pictures.delivery import Caption, delivered_jpeg
from evidence.pictures.exif import EXIF_VERSION, read_exif, read_exif_bytes
from evidence.pictures.formats import FORMATS, HEAD_BYTES, Format, format_of, kind_of
from evidence.pictures.pixels import (
    SIZES_VERSION,
    STUDY_PX,
    decode,
    decode_bytes,
    shown_by,
    shrink,
    study_sizes,
)

__all__ = [
    "EXIF_VERSION",
    "FORMATS",
    "HEAD_BYTES",
    "SIZES_VERSION",
    "SMALL_PX",
    "SMALL_VERSION",
    "STUDY_PX",
    "Caption",
    "Format",
    "decode",
    "decode_bytes",
    "delivered_jpeg",
    "format_of",
    "kept_copy",
    "kind_of",
    "print_jpeg",
    "read_exif",
    "read_exif_bytes",
    "shown_by",
    "shrink",
    "small_jpeg",
    "study_sizes",
    "upright_jpeg",
]
