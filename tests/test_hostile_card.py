"""A card that means harm, through the real command: nothing is followed, mixed up, decoded or lost."""

from __future__ import annotations

import io
import json
import os
import re
import struct
import subprocess
import sys
import unicodedata
import zlib
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from tests.pictures.made_up import box, jpeg, scene, tiff

HOME = Path(__file__).resolve().parents[1]
MOMENT = 1_795_000_000

MEASURED = """
import runpy, sys
from tests import memory
sys.argv = ["evidence", *sys.argv[1:]]
try:
    runpy.run_module("evidence", run_name="__main__")
finally:
    print(max(memory.own_bytes(), memory.children_bytes()), file=sys.stderr)
"""


def typed(*words: object) -> tuple[int, str, str]:
    """Run the installed command in a process of its own; give its exit code, its result and its talk."""
    command = [sys.executable, "-c", MEASURED, *map(str, words)]
    done = subprocess.run(command, cwd=HOME, capture_output=True, text=True, check=False)
    assert "Traceback" not in done.stderr
    return done.returncode, done.stdout, done.stderr


def most_bytes(talk: str) -> int:
    """The greatest memory of the command and of the readers it started."""
    return int(talk.rsplit(maxsplit=1)[-1])


def taken(job: Path) -> dict[str, Path]:
    """Where the job has each file of the card, by its name there."""
    lines = [json.loads(line) for line in (job / "record.jsonl").read_text("utf-8").splitlines()]
    return {
        line["value"]["name_on_card"]: job / "originals" / "data" / line["about"]
        for line in lines
        if line["what"] == "intake"
    }


def put(card: Path, name: str, data: bytes) -> None:
    path = card / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    os.utime(path, (MOMENT, MOMENT))


def result(job: Path, card: Path) -> tuple[int, Any, int]:
    code, out, err = typed("intake", job, card, "--json")
    return code, json.loads(out), most_bytes(err)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    assert typed("start", tmp_path / "job")[0] == 0
    return tmp_path / "job"


def test_names_that_differ_by_case_or_unicode_form_are_all_kept_and_known_again(
    job: Path, tmp_path: Path
) -> None:
    """Unicode forms C and D (UAX 15)."""
    card = tmp_path / "PHONE"
    composed = "Küche.jpg"
    names = ["Attic.jpg", "ATTIC.JPG", composed, unicodedata.normalize("NFD", composed)]
    for n, name in enumerate(names):
        put(card, name, jpeg(scene(96 + n, 64)))
    if len(list(card.iterdir())) < 4:
        pytest.skip("this disk itself cannot keep such names apart")

    code, first, _ = result(job, card)

    assert code == 0
    kept = taken(job)
    assert {name: kept[name].read_bytes() for name in names} == {n: (card / n).read_bytes() for n in names}
    folded = {unicodedata.normalize("NFC", str(path)).casefold() for path in kept.values()}
    assert len(folded) == 4
    assert len(first["intake"]["taken"]) == 4
    assert result(job, card)[1]["intake"]["taken"] == []


def test_links_out_of_the_card_are_not_followed(job: Path, tmp_path: Path) -> None:
    card, outside = tmp_path / "CARD", tmp_path / "private"
    put(outside, "secret.jpg", jpeg(scene(200, 100)))
    put(card, "DCIM/100OSTRE/OSTR0001.JPG", jpeg())
    (card / "DCIM/100OSTRE/OSTR0002.JPG").symlink_to(outside / "secret.jpg")
    (card / "DCIM/101OSTRE").symlink_to(outside)
    (card / "loop").symlink_to(card)

    code, found, _ = result(job, card)

    assert code == 0
    assert list(taken(job)) == ["DCIM/100OSTRE/OSTR0001.JPG"]
    assert sorted(one["name"] for one in found["intake"]["left_out"]) == [
        "DCIM/100OSTRE/OSTR0002.JPG",
        "DCIM/101OSTRE",
        "loop",
    ]
    secret = (outside / "secret.jpg").read_bytes()
    assert not any(secret in path.read_bytes() for path in job.rglob("*") if path.is_file())


@pytest.mark.skipif(sys.platform == "win32", reason="such paths cannot be made there")
def test_folders_nested_beyond_reason_cost_only_what_lies_in_them(job: Path, tmp_path: Path) -> None:
    """Deeper than Python nests calls, and once so long that the path fits on the card and not in the job."""
    card = tmp_path / "C"
    put(card, "DCIM/100OSTRE/OSTR0001.JPG", jpeg())
    subprocess.run(["mkdir", "-p", card / "/".join(["d"] * 1100)], check=True)  # deeper than Path.mkdir
    put(card, "/".join(["d"] * 1100) + "/deep.jpg", jpeg(scene(200, 100)))
    longest = os.pathconf(card, "PC_PATH_MAX") - len(os.fsencode(card)) - 10
    far = "/".join(["e" * 99] * (longest // 100))
    subprocess.run(["mkdir", "-p", card / far], check=True)
    put(card, f"{far}/{'f' * (longest - len(far) - 5)}.jpg", jpeg(scene(200, 120)))
    try:
        code, found, _ = result(job, card)

        assert code == 3
        assert len(found["intake"]["taken"]) == 2
        assert [one["name"][0] for one in found["intake"]["set_aside"]] == ["e"]
        assert typed("verify", job)[0] == 0
    finally:
        subprocess.run(["rm", "-rf", card, job], check=True)  # shutil.rmtree does not go so deep


def bombs() -> dict[str, bytes]:
    """Small files that claim, or unpack to, far more pixels than any camera makes."""

    def chunk(kind: bytes, text: bytes) -> bytes:
        return struct.pack(">I", len(text)) + kind + text + struct.pack(">I", zlib.crc32(kind + text))

    rows = zlib.compress(b"\0" * 40_000_000, 9)
    header = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    picture = jpeg()
    frame = picture.index(b"\xff\xc0") + 5
    ispe = box(b"ispe", b"\0\0\0\0" + struct.pack(">II", 60_000, 60_000))
    links = box(b"ipma", b"\0\0\0\0" + struct.pack(">IHBB", 1, 1, 1, 1))
    meta = box(b"pitm", b"\0\0\0\0\0\1") + box(b"iprp", box(b"ipco", ispe) + links)
    fields = {0x0100: 60_000, 0x0101: 60_000, 0x0111: 8, 0x0117: 100, 0x0115: 1, 0x0116: 60_000, 0x0106: 1}
    wide = [(tag, 4, 1, struct.pack("<I", value)) for tag, value in sorted(fields.items())]
    kept = io.BytesIO()
    Image.new("P", (1, 1)).save(kept, "GIF")
    gif = bytearray(kept.getvalue())
    gif[6:10] = struct.pack("<HH", 65_000, 65_000)
    return {
        "A.PNG": b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", rows) + chunk(b"IEND", b""),
        "B.JPG": picture[:frame] + struct.pack(">HH", 60_000, 60_000) + picture[frame + 4 :],
        "C.HEIC": box(b"ftyp", b"heic\0\0\0\0mif1heic") + box(b"meta", b"\0\0\0\0" + meta),
        "D.TIF": tiff(wide) + b"\0" * 100,
        "E.GIF": bytes(gif),
    }


@pytest.mark.skipif(sys.platform == "win32", reason="the system does not tell a process's greatest memory")
def test_decompression_bombs_are_kept_named_and_not_decoded(job: Path, tmp_path: Path) -> None:
    card = tmp_path / "CARD"
    made = bombs()
    for name, data in made.items():
        put(card, name, data)

    code, found, most = result(job, card)

    assert code == 3
    reasons = {one["place"].rsplit("/", 1)[-1]: one["reason"] for one in found["status"]["damaged"]}
    assert set(reasons) == set(made)
    assert all("pixels" in reason for reason in reasons.values()), reasons
    assert {name: path.read_bytes() for name, path in taken(job).items()} == made
    assert most < 1e9


SAY_SO = (
    *("broken.png", "corrupted.heic", "corrupted.hif", "decompression_bomb.gif", "empty.heic"),
    *("png_decompression_dos.png", "tRNS_null_1x1.png", "truncated_image.png", "truncated_jpeg.jpg"),
    *("unknown_compression_method.png", "zero_width.gif"),
)
"""Files of the open data whose own names say that there is no picture to be had of them."""


@pytest.mark.skipif(sys.platform == "win32", reason="the system does not tell a process's greatest memory")
def test_broken_files_are_named_with_their_reasons_and_stop_nothing(
    job: Path, open_data: Path, tmp_path: Path
) -> None:
    """Open data: broken/ (test pictures of Pillow and pillow_heif), every twelfth and those that say so.

    What each of all costs, in time and memory, is measured in tests/pictures/test_pixels.py.
    """
    card = tmp_path / "CARD"
    found = sorted(path for path in (open_data / "broken").rglob("*") if path.is_file())
    for path in [*found[::12], *(path for path in found if path.name in SAY_SO)]:
        put(card, path.name, path.read_bytes())

    code, told, most = result(job, card)

    assert code == 3
    reasons = {one["place"].rsplit("/", 1)[-1]: one["reason"] for one in told["status"]["damaged"]}
    assert set(SAY_SO) <= set(reasons)
    assert all(re.fullmatch(r"[A-Z][^\n]{10,180}\.", reason) for reason in reasons.values()), reasons
    assert told["status"]["unread"] == 0
    assert len(told["intake"]["taken"]) + len(told["intake"]["known"]) == len(list(card.iterdir()))
    assert most < 1e9
