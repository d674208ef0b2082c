"""Films made on the spot, and headers patched as cameras write them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import cv2

from evidence.words import Rgb


def write_film(path: Path, frames: Sequence[Rgb], fps: int = 10) -> Path:
    """Write a film with OpenCV's own encoder, its header after its frames as cameras have it."""
    height, width = frames[0].shape[:2]
    path.parent.mkdir(parents=True, exist_ok=True)
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"mp4v"), fps, (width, height))
    for frame in frames:
        writer.write(cv2.cvtColor(frame, cv2.COLOR_RGB2BGR))
    writer.release()
    return path


def patch_film(
    path: Path,
    *,
    matrix: tuple[int, int, int, int] | None = None,
    lengths_ms: Sequence[int] | None = None,
    created: datetime | None = None,
) -> Path:
    """Patch an MP4's header: the track's turn, how long each frame is shown, when it was made.

    ISO/IEC 14496-12: 8.3.2 (``tkhd``, a, b, c, d of the matrix), 8.6.1.2 (``stts``), 8.2.2 and 8.4.2
    (``mvhd``, ``mdhd``). The header is the last box, so that it may grow.
    """
    data = path.read_bytes()
    start = data.rindex(b"moov") - 4
    path.write_bytes(data[:start] + _patched(data[start:], matrix, lengths_ms, created))
    return path


_PARENTS = {b"moov", b"trak", b"mdia", b"minf", b"stbl"}


def _patched(
    data: bytes,
    matrix: tuple[int, int, int, int] | None,
    lengths_ms: Sequence[int] | None,
    created: datetime | None,
) -> bytes:
    made = b""
    while data:
        size, kind = int.from_bytes(data[:4], "big"), data[4:8]
        body, data = data[8:size], data[size:]
        if kind in _PARENTS:
            body = _patched(body, matrix, lengths_ms, created)
        elif kind == b"tkhd" and matrix:
            a, b, c, d = (n.to_bytes(4, "big", signed=True) for n in (65536 * m for m in matrix))
            zero = bytes(4)
            body = body[:-44] + a + b + zero + c + d + zero + body[-20:]
        elif kind == b"mvhd":
            if lengths_ms:
                body = body[:12] + (1000).to_bytes(4, "big") + sum(lengths_ms).to_bytes(4, "big") + body[20:]
            if created:
                epoch = datetime(1904, 1, 1)  # noqa: DTZ001 - ISO/IEC 14496-12, 8.2.2.3
                body = body[:4] + int((created - epoch).total_seconds()).to_bytes(4, "big") * 2 + body[12:]
        elif kind == b"mdhd" and lengths_ms:
            body = body[:12] + (1000).to_bytes(4, "big") + sum(lengths_ms).to_bytes(4, "big") + body[20:]
        elif kind == b"edts" and lengths_ms:
            continue  # its lengths would no longer fit
        elif kind == b"stts" and lengths_ms:
            runs = b"".join((1).to_bytes(4, "big") + ms.to_bytes(4, "big") for ms in lengths_ms)
            body = bytes(4) + len(lengths_ms).to_bytes(4, "big") + runs
        made += (8 + len(body)).to_bytes(4, "big") + kind + body
    return made
