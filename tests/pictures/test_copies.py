"""Copies that are shown and printed."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from evidence.errors import BadPicture, CannotWrite
from evidence.pictures import Caption, kept_copy, print_jpeg, read_exif_bytes, upright_jpeg
from evidence.words import Capture, Digest
from tests.pictures.made_up import scene

DIGEST = Digest("ab" * 32)


def test_a_copy_shows_what_it_was_made_of() -> None:
    """Reference: decoded by Pillow, an encoder's stranger."""
    image = Image.open(io.BytesIO(upright_jpeg(scene(), 92)))

    assert image.mode == "RGB"
    assert np.abs(np.asarray(image).astype(int) - scene()).mean() < 4
    assert "exif" not in image.info


def test_the_same_pixels_give_the_same_bytes() -> None:
    assert upright_jpeg(scene()) == upright_jpeg(scene())


def test_a_side_longer_than_a_jpeg_may_have_is_refused() -> None:
    with pytest.raises(BadPicture, match="70000"):
        upright_jpeg(np.zeros((1, 70_000, 3), np.uint8))


def test_a_print_is_as_long_as_wanted_and_says_upright() -> None:
    data = print_jpeg(
        scene(400, 300), 200, capture=Capture(make="Wren", orientation=6), caption=Caption("rust")
    )

    assert Image.open(io.BytesIO(data)).size == (200, 150)
    capture = read_exif_bytes(data)
    assert (capture.make, capture.orientation) == ("Wren", 1)


def test_a_kept_copy_is_made_once(tmp_path: Path) -> None:
    made = []

    def make() -> bytes:
        made.append(1)
        return upright_jpeg(scene())

    first = kept_copy(tmp_path / "copies", DIGEST, "256", make)
    second = kept_copy(tmp_path / "copies", DIGEST, "256", make)

    assert first == second
    assert first.read_bytes() == upright_jpeg(scene())
    assert len(made) == 1
    assert kept_copy(tmp_path / "copies", DIGEST, "1600", make) != first


@pytest.mark.parametrize("left", [b"", b"\xff", b"\xff\xd8cut off", b"\0" * 500])
def test_a_kept_copy_that_a_pulled_plug_broke_is_made_again(tmp_path: Path, left: bytes) -> None:
    path = kept_copy(tmp_path, DIGEST, "256", lambda: upright_jpeg(scene()))
    path.write_bytes(left)

    kept_copy(tmp_path, DIGEST, "256", lambda: upright_jpeg(scene()))

    assert path.read_bytes() == upright_jpeg(scene())


def test_a_copy_that_cannot_be_written_leaves_nothing_behind(tmp_path: Path) -> None:
    (tmp_path / "ab").write_text("a file stands where the folder should")

    with pytest.raises(CannotWrite):
        kept_copy(tmp_path, DIGEST, "256", lambda: upright_jpeg(scene()))

    assert [path.name for path in tmp_path.iterdir()] == ["ab"]


def test_a_copy_that_cannot_be_written_there_is_kept_in_the_spare_folder(tmp_path: Path) -> None:
    (tmp_path / "ab").write_text("a file stands where the folder should")
    made = []

    def make() -> bytes:
        made.append(1)
        return upright_jpeg(scene())

    kept = [kept_copy(tmp_path, DIGEST, "256", make, spare=tmp_path / "spare") for _ in range(2)]

    assert kept[0] == kept[1]
    assert kept[0].is_relative_to(tmp_path / "spare")
    assert len(made) == 1


def test_an_error_while_making_a_copy_is_its_own(tmp_path: Path) -> None:
    def fail() -> bytes:
        raise BadPicture("The JPEG breaks off.")

    with pytest.raises(BadPicture):
        kept_copy(tmp_path, DIGEST, "256", fail)

    assert list(tmp_path.rglob("*.*")) == []
