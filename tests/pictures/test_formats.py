"""What sort of file a card gave."""

from pathlib import Path

import pytest

from evidence.pictures import FORMATS, HEAD_BYTES, Format, format_of, kind_of
from evidence.words import FileKind


@pytest.mark.parametrize("row", FORMATS, ids=lambda row: f"{row.name} {row.suffixes[:1]}")
def test_every_row_is_met_by_each_of_its_suffixes(row: Format) -> None:
    for suffix in row.suffixes:
        assert kind_of(f"ABCD0001{suffix}", b"") is row.kind
        assert kind_of(f"abcd0001{suffix.lower()}", b"") is row.kind


def test_no_suffix_stands_for_two_kinds() -> None:
    kinds: dict[str, set[FileKind]] = {}
    for row in FORMATS:
        for suffix in row.suffixes:
            kinds.setdefault(suffix, set()).add(row.kind)

    assert {suffix for suffix, several in kinds.items() if len(several) > 1} == set()


@pytest.mark.parametrize(
    ("name", "head", "kind"),
    [
        ("A.TXT", "ffd8ffe0", FileKind.PICTURE),  # ITU-T T.81, B.1.1.3
        ("A", "89504e470d0a1a0a", FileKind.PICTURE),  # PNG 3rd edition, 5.2
        ("A", "49492a00", FileKind.PICTURE),  # TIFF 6.0, section 2
        ("A.NEF", "4d4d002a", FileKind.RAW),
        ("A.DNG", "49492a00", FileKind.RAW),
        ("A", "49492a00100000004352", FileKind.RAW),  # CR2: "CR" at 8 (common practice)
        ("A", "0000001866747970686569630000000068656963", FileKind.PICTURE),  # ISO/IEC 23008-12, heic
        ("A", "00000018667479706d696631000000006d69663168656963", FileKind.PICTURE),
        ("A", "0000001c667479706372782000000001", FileKind.RAW),  # CR3 (common practice)
        ("A", "0000001466747970717420200000000071742020", FileKind.FILM),  # QuickTime
        ("A", "000000186674797069736f6d0000020069736f6d", FileKind.FILM),  # ISO/IEC 14496-12
        ("A.M4A", "000000186674797069736f6d0000020069736f6d", FileKind.SOUND),
        ("A", "000000186674797058585858000000005858585800000000", FileKind.FILM),
        ("A", "52494646240000005741564566", FileKind.SOUND),  # RIFF WAVE
        ("A", "52494646240000004156492066", FileKind.FILM),
        ("A", "52494646240000005745425066", FileKind.PICTURE),  # RFC 9649, 2.4
        ("A", "2321414d520a", FileKind.SOUND),  # RFC 4867, 5
        ("A", "494433030000", FileKind.SOUND),
    ],
)
def test_content_tells_the_kind_and_the_name_only_where_content_leaves_a_choice(
    name: str, head: str, kind: FileKind
) -> None:
    assert kind_of(name, bytes.fromhex(head)) is kind


def test_a_text_named_as_a_picture_is_a_picture_so_that_it_is_not_lost_silently() -> None:
    assert kind_of("ABCD0007.JPG", b"Dear Sir or Madam") is FileKind.PICTURE
    assert kind_of("ABCD0007.JPG", b"") is FileKind.PICTURE


def test_a_films_thumbnail_is_a_sidecar_although_it_is_a_jpeg() -> None:
    """Common practice: a camera writes ABCD0007.THM, a small JPEG, beside ABCD0007.AVI."""
    assert kind_of("ABCD0007.THM", bytes.fromhex("ffd8ffe1")) is FileKind.SIDECAR


def test_what_macos_writes_beside_a_picture_is_none() -> None:
    """RFC 1740, Appendix A: AppleDouble begins with 00051607."""
    assert kind_of("._ABCD0007.JPG", bytes.fromhex("0005160700020000")) is FileKind.OTHER


def test_what_nothing_tells_is_other() -> None:
    assert kind_of("README", b"hello") is FileKind.OTHER
    assert format_of("", b"") is None


def test_the_open_data_is_known_by_content_under_a_meaningless_name(open_data: Path) -> None:
    """Kind by file name, as the data's makers named it, against ours by content alone."""
    wanted = {
        ".jpg": FileKind.PICTURE,
        ".heic": FileKind.PICTURE,
        ".png": FileKind.PICTURE,
        ".webp": FileKind.PICTURE,
        ".gif": FileKind.PICTURE,
        ".tif": FileKind.PICTURE,
        ".mov": FileKind.FILM,
        ".mp4": FileKind.FILM,
    }
    wrong = []
    for path in sorted([*(open_data / "exif").rglob("*"), *(open_data / "broken").rglob("*")]):
        kind = wanted.get(path.suffix.lower())
        if kind and path.is_file():
            with path.open("rb") as file:
                head = file.read(HEAD_BYTES)
            if kind_of("x", head) is not kind:
                wrong.append(path.name)

    broken_heads = {"corrupted.heic", "empty.heic", "ukbench09268_corrupt.jpg"}
    assert set(wrong) - broken_heads == set()
