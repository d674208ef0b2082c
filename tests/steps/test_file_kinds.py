"""Each kind of picture goes the whole way once: intake, study, printed copy; upright, and in its colours."""

from __future__ import annotations

import base64
import io
import re
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from evidence.desk import Desk
from evidence.progress import Silent
from evidence.steps import attach, findings, issue, read
from evidence.steps.start import start
from evidence.words import FileKind, Rgb
from tests.pictures.made_up import exif, jpeg, scene
from tests.pictures.test_dng import a_dng, encoded, patches
from tests.pictures.test_pixels import STORED, far, saved
from tests.pictures.test_raws import raw

SIZE = (640, 480)
KINDS = {
    "JPG": "JPEG",
    "MPO": "MPO",
    "AVIF": "AVIF",
    "TIF": "TIFF",
    "PNG": "PNG",
    "WEBP": "WEBP",
    "NEF": "raw with a preview",
    "DNG": "raw without one",
    "HEIC": "HEIF",
}


def _second_image() -> Image.Image:
    return Image.fromarray(255 - scene(*SIZE))


def file_of(suffix: str, open_data: Path) -> tuple[bytes, Rgb]:
    """A picture of this kind, stored as Orientation 6 has it, and how it must look."""
    upright = scene(*SIZE)
    stored = np.ascontiguousarray(STORED[6](upright))
    tag = exif({0x0112: 6})
    if suffix == "HEIC":
        data = (open_data / "exif" / "mx" / "heic" / "IMG_2927.HEIC").read_bytes()
        pi_heif = pytest.importorskip("pi_heif")
        reference = pi_heif.open_heif(io.BytesIO(data)).to_pillow().convert("RGB")
        return data, np.asarray(reference)
    if suffix == "DNG":
        pytest.importorskip("rawpy")
        light = np.ascontiguousarray(STORED[6](patches(240)[:, :400]))
        levels = np.vectorize(encoded)(patches(240)[:, :400])
        return a_dng(light, 6), np.asarray(levels + 0.5, np.uint8)
    if suffix == "NEF":
        return raw(orientation=6, previews=(jpeg(stored, quality=95),)), upright
    if suffix == "MPO":
        kept = io.BytesIO()
        Image.fromarray(stored).save(
            kept, "MPO", save_all=True, append_images=[_second_image()], quality=95, exif=tag
        )
        return kept.getvalue(), upright
    return saved(
        stored, KINDS[suffix], exif=tag, **({"quality": 95} if suffix in {"JPG", "AVIF", "WEBP"} else {})
    ), upright


@pytest.mark.parametrize("suffix", KINDS)
def test_it_goes_from_the_card_to_the_printed_copy(suffix: str, open_data: Path, tmp_path: Path) -> None:
    """Stored by Pillow or by our own bytes; the expected picture is the drawing itself, never our decoder."""
    data, expected = file_of(suffix, open_data)
    shots = tmp_path / "OSTREL" / "DCIM" / "100OSTRE"
    shots.mkdir(parents=True)
    (shots / f"OSTR0001.{suffix}").write_bytes(data)
    start(tmp_path / "job", {"inspector": "A. Wren", "address": "14 Alder Court"}).close()
    with Desk.open(tmp_path / "job") as desk, ThreadPoolExecutor(1) as pool:
        read.take_in(desk, [tmp_path / "OSTREL"], executor=pool)

        (picture,) = desk.state().pictures
        assert picture.usable, picture.fault
        assert picture.taken.kind is (FileKind.RAW if suffix in {"NEF", "DNG"} else FileKind.PICTURE)
        assert desk.job.original(picture.taken.original.place).read_bytes() == data
        number = findings.add(desk, {"seen": "A drain leaks."}).number
        attach.attach(desk, number, [picture.frame])
        issued = issue.issue(desk, issue.Wanted(("html",), unlooked_reason="a test"), progress=Silent())

    (page,) = issued.folder.glob("*.html")
    said = re.findall(r"shows the (?:preview in the )?raw file", page.read_text("utf-8"))
    assert bool(said) is (suffix in {"NEF", "DNG"})
    (printed,) = re.findall(rb"data:image/jpeg;base64,([A-Za-z0-9+/=]+)", page.read_bytes())
    with Image.open(io.BytesIO(base64.b64decode(printed))) as image:
        assert image.format == "JPEG"
        shown = np.asarray(image.convert("RGB"))
    width = 96
    height = round(width * expected.shape[0] / expected.shape[1])
    assert abs(shown.shape[0] / shown.shape[1] - height / width) < 0.02
    small = [
        np.asarray(Image.fromarray(one).resize((width, height), Image.Resampling.BOX))
        for one in (shown, expected)
    ]
    assert far(*small) < 6
