"""The record: chained, append-only, forgiving of a kill and of nothing else."""

from __future__ import annotations

import hashlib
import json
import random
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evidence.errors import DiskFull, RecordBroken, WrongUsage
from evidence.record import START, Entry, Line, Record, act_of, in_force, parse, split_torn, undone
from tests import saboteurs


def filled(path: Path) -> Record:
    record = Record(path, by="A. Wren")
    record.append("start", "job", {"format": 1}, by="evidence")
    record.append("room", 12, "attic", "closet")
    record.append("finding", 1, {"seen": "split rafter, 2 ft from the ridge — “open”"})
    return record


def test_each_line_carries_the_hash_of_the_one_before_as_the_text_for_strangers_says(tmp_path: Path) -> None:
    """Recomputed with hashlib alone, by the rule that HOW-TO-CHECK.txt states (our own format)."""
    filled(tmp_path / "record.jsonl")

    before = "0" * 64
    for n, text in enumerate((tmp_path / "record.jsonl").read_bytes().splitlines(), start=1):
        covered = text[: text.rindex(b',"hash":')]
        line = json.loads(text)
        assert line["hash"] == hashlib.sha256(covered).hexdigest()
        assert (line["n"], line["before"]) == (n, before)
        before = line["hash"]


def test_what_was_written_is_read_back(tmp_path: Path) -> None:
    written = filled(tmp_path / "record.jsonl").lines

    read = Record(tmp_path / "record.jsonl").lines

    assert read == written
    assert [(x.what, x.about, x.value, x.proposed, x.by) for x in read[1:2]] == [
        ("room", "12", "attic", "closet", "A. Wren")
    ]


def test_a_record_read_before_is_read_on_from_there_and_a_changed_line_before_that_is_found(
    tmp_path: Path,
) -> None:
    path = tmp_path / "record.jsonl"
    before = filled(path).read
    assert before.lines == ()
    before = Record(path).read
    filled_on = Record(path, by="A. Wren", read=before)
    filled_on.append("room", 14, "cellar")

    again = Record(path, read=before)

    assert again.lines == Record(path).lines
    assert again.lines[0] is before.lines[0]
    path.write_bytes(path.read_bytes().replace(b"attic", b"attik"))
    with pytest.raises(RecordBroken, match="Line 2 of the record is not as it was written"):
        Record(path, read=before)


def test_time_is_iso_8601_with_its_offset(tmp_path: Path) -> None:
    """ISO 8601 extended format, as Python's reader takes it."""
    line = filled(tmp_path / "record.jsonl").lines[0]

    assert datetime.fromisoformat(line.when).utcoffset() is not None


def test_every_single_flipped_bit_is_found(tmp_path: Path) -> None:
    filled(tmp_path / "record.jsonl")
    data = (tmp_path / "record.jsonl").read_bytes()

    for at in range(len(data)):
        for bit in range(8):
            bad = bytearray(data)
            bad[at] ^= 1 << bit
            whole, torn = split_torn(bytes(bad))
            assert not torn
            with pytest.raises(RecordBroken):
                parse(whole)


def test_a_line_left_out_moved_or_doubled_is_found(tmp_path: Path) -> None:
    filled(tmp_path / "record.jsonl")
    first, second, third = (tmp_path / "record.jsonl").read_bytes().splitlines(keepends=True)

    for order in ([first, third], [second, third], [first, third, second], [first, first, second, third]):
        with pytest.raises(RecordBroken, match="Line"):
            parse(b"".join(order))


def test_a_record_cut_at_any_byte_opens_and_goes_on(tmp_path: Path) -> None:
    """What a kill in the middle of a write leaves behind: any beginning of the file."""
    filled(tmp_path / "record.jsonl")
    data = (tmp_path / "record.jsonl").read_bytes()
    ends = [n + 1 for n, byte in enumerate(data) if byte == ord("\n")]

    for cut in range(len(data) + 1):
        path = tmp_path / "cut.jsonl"
        path.write_bytes(data[:cut])
        record = Record(path)
        whole = sum(end - 1 <= cut for end in ends)
        assert len(record.lines) == whole
        record.append("room", 1, "hall")
        assert len(Record(path).lines) == whole + 1


def test_zeros_that_a_power_cut_leaves_at_the_end_are_cut_off(tmp_path: Path) -> None:
    """Some file systems grow a file before its bytes arrive (ext4 and XFS, common knowledge)."""
    filled(tmp_path / "record.jsonl")
    with (tmp_path / "record.jsonl").open("ab") as file:
        file.write(bytes(300))

    record = Record(tmp_path / "record.jsonl")
    record.append("room", 1, "hall")

    assert len(Record(tmp_path / "record.jsonl").lines) == 4


def test_an_acknowledged_line_whose_end_was_damaged_is_not_cut_off(tmp_path: Path) -> None:
    filled(tmp_path / "record.jsonl")
    data = (tmp_path / "record.jsonl").read_bytes()
    (tmp_path / "record.jsonl").write_bytes(data[:-1] + b"\x0b")

    with pytest.raises(RecordBroken, match="Line 3"):
        Record(tmp_path / "record.jsonl")


def test_a_full_disk_leaves_the_record_as_it_stood(tmp_path: Path) -> None:
    record = filled(tmp_path / "record.jsonl")
    before = (tmp_path / "record.jsonl").read_bytes()

    with saboteurs.at_work(saboteurs.FullDisk(100, tmp_path)), pytest.raises(DiskFull):
        record.append("room", 13, "attic")

    assert (tmp_path / "record.jsonl").read_bytes() == before
    assert record.append("room", 13, "attic").n == 4
    assert len(Record(tmp_path / "record.jsonl").lines) == 4


def test_lines_written_together_are_all_there_or_none(tmp_path: Path) -> None:
    record = filled(tmp_path / "record.jsonl")
    entries = [Entry("room", str(n), "attic") for n in range(20)]

    with saboteurs.at_work(saboteurs.FullDisk(2000, tmp_path)), pytest.raises(DiskFull):
        record.extend(entries)

    assert len(Record(tmp_path / "record.jsonl").lines) == 3


def test_a_clock_set_back_does_not_change_the_order(tmp_path: Path) -> None:
    record = Record(tmp_path / "record.jsonl", now=saboteurs.clock_set_back())
    for name in ("hall", "bath", "attic", "crawl space", "garage"):
        record.append("room", 7, name)

    lines = Record(tmp_path / "record.jsonl").lines

    assert lines[-1].when < lines[0].when
    assert in_force(lines)["room", "7"].value == "garage"


def test_undoing_gives_the_decision_before_and_undoing_that_gives_it_back(tmp_path: Path) -> None:
    record = filled(tmp_path / "record.jsonl")
    changed = record.append("room", 12, "crawl space")

    taken_back = record.undo(changed.n)
    assert in_force(record.lines)["room", "12"].value == "attic"
    record.undo(taken_back.n)
    assert in_force(record.lines)["room", "12"].value == "crawl space"
    assert [line.what for line in record.lines[-2:]] == ["undo", "undo"]


def test_lines_of_one_act_name_its_first_line_and_all_others_have_the_form_they_always_had(
    tmp_path: Path,
) -> None:
    record = filled(tmp_path / "record.jsonl")
    with record.one_act():
        record.append("finding", 2, {"seen": "a loose step"})
        with record.one_act():
            record.extend([Entry("attached", "2/7", None), Entry("attached", "2/8", None)])
    record.append("room", 9, "hall")

    again = Record(tmp_path / "record.jsonl").lines
    assert [line.act for line in again] == [0, 0, 0, 0, 4, 4, 0]
    texts = (tmp_path / "record.jsonl").read_bytes().splitlines()
    assert [b'"act":4,"before":' in text for text in texts] == [False] * 4 + [True, True, False]
    assert {tuple(act_of(again, n)) for n in (4, 5, 6)} == {(4, 5, 6)}
    assert [tuple(act_of(again, n)) for n in (1, 3, 7)] == [(1,), (3,), (7,)]


@pytest.mark.parametrize("act", ["0", "3", "-1", '"2"', "[2]", "2.5", "null"])
def test_an_act_that_does_not_begin_before_is_not_the_records(tmp_path: Path, act: str) -> None:
    """A line with its own right hash, made by the rule that HOW-TO-CHECK.txt states, and another act."""
    path = tmp_path / "record.jsonl"
    record = Record(path)
    record.append("start", "job", {"format": 1}, by="evidence")
    record.extend([Entry("room", "1", "attic")])
    with record.one_act():
        record.extend([Entry("room", "3", "attic"), Entry("room", "4", "attic")])
    head, _, last = path.read_bytes().rstrip(b"\n").rpartition(b"\n")
    body = last[: last.rindex(b',"hash":')].replace(b'"act":3', b'"act":' + act.encode())
    digest = hashlib.sha256(body).hexdigest().encode()
    path.write_bytes(head + b"\n" + body + b',"hash":"' + digest + b'"}\n')

    if act == "3":
        assert len(Record(path).lines) == 4
    else:
        with pytest.raises(RecordBroken, match="Line 4"):
            Record(path)


def test_several_lines_are_undone_with_one_wait_all_or_none(tmp_path: Path) -> None:
    record = filled(tmp_path / "record.jsonl")
    record.extend([Entry("room", "7", "attic"), Entry("room", "8", "attic")])
    with pytest.raises(WrongUsage):
        record.undo(5, 1)
    assert len(record.lines) == 5

    record.undo(5, 4)

    now = Record(tmp_path / "record.jsonl").lines
    assert [(line.what, line.about, line.act) for line in now[5:]] == [
        ("undo", "5", 0),
        ("undo", "4", 6),
    ]


def test_a_fact_cannot_be_undone_nor_a_line_that_is_not_there_nor_one_twice(tmp_path: Path) -> None:
    record = filled(tmp_path / "record.jsonl")
    record.undo(2)

    for n, said in ((1, "says what was done"), (0, "no line 0"), (99, "no line 99"), (2, "undone already")):
        with pytest.raises(WrongUsage, match=said):
            record.undo(n)
    assert len(record.lines) == 4


def test_facts_are_no_decisions(tmp_path: Path) -> None:
    record = filled(tmp_path / "record.jsonl")
    record.append("intake", "CARD/a.jpg", {"digest": "0" * 64})

    assert sorted(in_force(record.lines)) == [("finding", "1"), ("room", "12")]


@settings(max_examples=200)
@given(st.lists(st.tuples(st.sampled_from(["say", "undo"]), st.integers(0, 30)), max_size=40))
def test_undo_agrees_with_its_definition(doings: list[tuple[str, int]]) -> None:
    """A line stands unless an undo that stands names it; written out as that recursion."""
    lines: list[Line] = []
    for what, number in doings:
        n = len(lines) + 1
        if what == "undo" and lines:
            lines.append(Line(n, "", "", "undo", str(1 + number % len(lines)), None, None, "", ""))
        else:
            lines.append(Line(n, "", "", "room", str(number % 3), number, None, "", ""))

    def stands(n: int) -> bool:
        return not any(x.what == "undo" and x.about == str(n) and stands(x.n) for x in lines[n:])

    assert undone(lines) == {line.n for line in lines if not stands(line.n)}
    for key, line in in_force(lines).items():
        assert line.n == max(x.n for x in lines if (x.what, x.about) == key and stands(x.n))


def test_an_empty_record_starts_from_zeros(tmp_path: Path) -> None:
    record = Record(tmp_path / "record.jsonl")

    assert record.last_hash == START
    assert record.append("start", "job", None).before == START


@given(st.recursive(st.none() | st.booleans() | st.integers() | st.text(), st.lists, max_leaves=5))
def test_any_value_comes_back(value: object) -> None:
    """Text with line ends, quotes and every plane of Unicode must not break a line."""
    import tempfile  # noqa: PLC0415 - a fresh folder for each example

    with tempfile.TemporaryDirectory() as folder:
        record = Record(Path(folder) / "record.jsonl")
        record.append("note", "x", value)  # type: ignore[arg-type]
        record.append("note", "y", "after")

        assert Record(Path(folder) / "record.jsonl").lines[0].value == value


def test_random_flips_in_a_long_record_are_found(tmp_path: Path) -> None:
    record = filled(tmp_path / "record.jsonl")
    record.extend([Entry("room", str(n), f"room {n % 9}") for n in range(300)])
    data = (tmp_path / "record.jsonl").read_bytes()
    chance = random.Random(20261125)

    for _ in range(100):
        bad = bytearray(data)
        bad[chance.randrange(len(bad))] ^= 1 << chance.randrange(8)
        with pytest.raises(RecordBroken):
            parse(split_torn(bytes(bad))[0])
