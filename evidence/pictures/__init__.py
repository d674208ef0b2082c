"""What a file holds: its kind, its pixels, its metadata, and the copies made of it."""

from __future__ import annotations

from evidence.pictures.copies import upright_jpeg
from evidence.pictures.exif import EXIF_VERSION, read_exif, read_exif_bytes
from evidence.pictures.formats import HEAD_BYTES, format_of, kind_of
from evidence.pictures.pixels import decode, decode_bytes, shrink, study_sizes

__all__ = [
    "EXIF_VERSION",
    "HEAD_BYTES",
    "decode",
    "decode_bytes",
    "format_of",
    "kind_of",
    "read_exif",
    "read_exif_bytes",
    "shrink",
    "study_sizes",
    "upright_jpeg",
]
