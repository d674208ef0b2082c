"""What is delivered carries no position, no serial number and no hidden thumbnail.

The values were planted in the made-up house's card: fixtures/house/shoot.py, fixtures/README.md.
"""

from __future__ import annotations

import base64
import io
import re
import shutil
import zipfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pikepdf
import pytest
from PIL import Image

from evidence.desk import Desk
from evidence.progress import Silent
from evidence.steps import attach, findings, issue, read
from evidence.steps.start import start

FIXTURES = Path(__file__).resolve().parents[1] / "fixtures"
HIDDEN = (b"hidden in a maker note", b"hidden in XMP", b"hidden in a comment", b"hidden behind the picture")
PLANTED = (b"KV-2207-118843", b"LV5A0093377", b"118843", b"41.3014", b"-98.0226", b"98.0226", *HIDDEN)


def hide(picture: Path) -> None:
    """Plant values where cameras and phones put what a reader of captions never sees.

    A maker note and a position in rationals (Exif 2.32, tags 0x927C and GPS), XMP, a comment, and a
    second picture behind the first one, as multi-picture files have it (CIPA DC-007).
    """
    note, xmp, comment, behind = HIDDEN
    with Image.open(picture) as image:
        exif = image.getexif()
        exif.get_ifd(0x8769)[0x927C] = note
        exif.get_ifd(0x8825).update({1: "N", 2: (41.0, 18.0, 5.1), 3: "W", 4: (98.0, 1.0, 21.4)})
        packet = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>" + xmp + b" exif:GPSLatitude 41,18.085N</x:xmpmeta>"
        image.save(picture, quality=90, exif=exif, xmp=packet, comment=comment)
    second = io.BytesIO()
    Image.new("RGB", (64, 48)).save(second, "JPEG", comment=behind)
    picture.write_bytes(picture.read_bytes() + second.getvalue())
    assert all(value in picture.read_bytes() for value in HIDDEN)


@pytest.fixture(scope="module")
def delivered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An edition in every format, of pictures that carry the planted values."""
    folder = tmp_path_factory.mktemp("privacy")
    for source in ("card/DCIM/101KSTRV", "phone/DCIM/100LMVNT"):
        (folder / "from" / source).mkdir(parents=True)
        for picture in sorted((FIXTURES / source).glob("*.JPG"))[:3]:
            shutil.copy(picture, folder / "from" / source)
    hide(next(iter(sorted((folder / "from" / "card/DCIM/101KSTRV").glob("*.JPG")))))
    start(folder / "job", {"address": "14 Alder Court"}).close()
    with Desk.open(folder / "job") as desk, ThreadPoolExecutor(2) as pool:
        read.take_in(desk, [folder / "from" / "card", folder / "from" / "phone"], executor=pool)
        carried = {p.capture.serial for p in desk.state().pictures}
        assert {"KV-2207-118843", "LV5A0093377"} <= carried
        assert any(p.capture.position for p in desk.state().pictures)
        number = findings.add(desk, {"seen": "A drain leaks."}).number
        attach.attach(desk, number, [p.frame for p in desk.state().pictures if p.usable])
        wanted = issue.Wanted(formats=issue.FORMATS, mail_limit=5_000_000, unlooked_reason="a test")
        return issue.issue(desk, wanted, progress=Silent()).folder


def layers(path: Path) -> Iterator[tuple[str, bytes]]:
    """The file, and everything that is packed inside it."""
    data = path.read_bytes()
    yield path.name, data
    if path.suffix == ".pdf":
        with pikepdf.open(path) as document:
            for n, thing in enumerate(document.objects):
                if isinstance(thing, pikepdf.Stream):
                    yield f"{path.name}, stream {n}", thing.read_raw_bytes()
                    if "/DCTDecode" not in str(thing.get("/Filter", "")):
                        yield f"{path.name}, stream {n}", thing.read_bytes()
    elif path.suffix == ".docx":
        with zipfile.ZipFile(path) as packed:
            for name in packed.namelist():
                yield f"{path.name}, {name}", packed.read(name)
    elif path.suffix == ".html":
        for n, match in enumerate(re.finditer(rb"base64,([A-Za-z0-9+/=]+)", data)):
            yield f"{path.name}, picture {n}", base64.b64decode(match[1])


def test_no_delivered_file_holds_a_planted_value(delivered: Path) -> None:
    names = {path.suffix for path in delivered.iterdir()}
    assert {".pdf", ".html", ".docx", ".csv"} <= names

    found = [
        (name, value)
        for path in delivered.iterdir()
        for name, data in layers(path)
        for value in PLANTED
        if value in data
    ]

    assert found == []


def test_every_delivered_picture_is_bare_of_metadata_and_thumbnails(delivered: Path) -> None:
    pictures = 0
    for path in delivered.iterdir():
        for name, data in layers(path):
            if not data.startswith(b"\xff\xd8\xff"):
                continue
            pictures += 1
            with Image.open(io.BytesIO(data)) as image:
                assert dict(image.getexif()) == {}, name
            assert data.count(b"\xff\xd8\xff") == 1, name

    assert pictures >= 15
