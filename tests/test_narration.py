"""What was said, and when."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evidence import narration
from evidence.errors import BadTranscript
from evidence.narration import Cue

NARRATIONS = Path(__file__).parent / "bench" / "narrations"


def vtt(body: str) -> bytes:
    return f"WEBVTT\n\n{body}".encode()


def text_nodes(tree: str) -> str:
    """The text of a document tree as the web platform tests write it: quoted, lines kept."""
    return "".join(re.findall(r'^\|\s+"(.*?)"$', tree, re.MULTILINE | re.DOTALL))


def expected_cues(path: Path) -> list[tuple[float, float, str]]:
    cues = json.loads(path.read_text("utf-8"))["cues"]
    return [(cue["startTime"], cue["endTime"], cue["text"]) for cue in cues]


APART = {
    # "120:00.000": the recommendation (6.3) wants two digits of minutes, and so do the web platform tests
    # (timings-too-long.vtt); vtt.js takes it for hours and minutes.
    "minimum-spots-over-sixty.vtt",
    # "-->" alone where an identifier may stand: the cue after it is one by 6.1 and by arrows.vtt of the
    # web platform tests; vtt.js loses it.
    "id.vtt",
    # "000:00.000": as with 120:00.000.
    "min-top-digits.vtt",
}


def test_every_cue_time_of_vttjs_is_met(open_data: Path) -> None:
    """Reference: the expected parses beside the files of vtt.js (Apache-2.0)."""
    compared = 0
    for file in sorted((open_data / "subs" / "vttjs").rglob("*.vtt")):
        table = file.with_suffix(".json")
        if not table.exists():
            continue
        if file.name in APART:
            continue
        expected = expected_cues(table)
        try:
            found = [(c.start_s, c.end_s) for c in narration.read(file.read_bytes()).cues]
        except BadTranscript:
            # Refused because nothing in it is a word: so the reference must have none either.
            assert not any(re.sub("<[^>]*>?", "", text).strip() for _, _, text in expected), file.name
        else:
            assert found == [(start, end) for start, end, _ in expected], file.name
        compared += 1

    assert compared >= 145


def test_the_web_platform_tests_valid_cues_are_read_and_their_invalid_ones_left_out(open_data: Path) -> None:
    """Reference: web-platform-tests (W3C, 3-clause BSD), whose cues say "text1" or "invalid"."""
    folder = open_data / "subs" / "w3c" / "test" / "wpt-file-parsing"
    files = [
        *sorted(folder.glob("timings-*.vtt")),
        *sorted(folder.glob("signature-*.vtt")),
        *sorted(folder.glob("header-*.vtt")),
        folder / "newlines.vtt",
        folder / "ids.vtt",
        folder / "arrows.vtt",
        folder / "whitespace-chars.vtt",
        folder / "nulls.vtt",
        folder / "stylesheets.vtt",
    ]
    for file in files:
        source = file.read_text("utf-8", "replace")
        try:
            found = [cue.text for cue in narration.read(file.read_bytes()).cues]
        except BadTranscript:
            found = []

        assert [text for text in found if "invalid" in text] == [], file.name
        wanted = re.findall(r"text\d+", source)
        assert [m for text in found for m in re.findall(r"text\d+", text)] == wanted, file.name


def test_the_words_of_a_cue_are_the_text_of_its_document_tree(open_data: Path) -> None:
    """Reference: the cue text trees of the web-platform-tests, as JSON beside them."""
    compared = 0
    for table in sorted((open_data / "subs" / "w3c" / "test" / "wpt-cue-parsing").glob("*.json")):
        for case in json.loads(table.read_text("utf-8")):
            source = case["text"].removesuffix("\n").replace("\0", "\ufffd")
            if "-->" in source or "\n\n" in source or not source.strip("\n"):
                continue

            (cue,) = narration.read(
                vtt("00:00.000 --> 00:01.000\n" + source + "\n\n00:02.000 --> 00:03.000\nx")
            ).cues[:1]

            assert cue.text.strip("\n") == text_nodes(case["expectedTree"]).strip("\n"), source
            compared += 1

    assert compared >= 70


def test_every_file_of_the_open_data_is_read_or_refused_with_a_reason(open_data: Path) -> None:
    read = refused = 0
    for file in sorted((open_data / "subs").rglob("*")):
        if file.suffix in {".vtt", ".srt", ".sbv"}:
            try:
                transcript = narration.read(file.read_bytes())
            except BadTranscript:
                refused += 1
            else:
                narration.sentences(transcript.cues)
                read += 1

    assert read >= 240
    assert refused >= 10


@pytest.mark.parametrize(
    ("line", "start", "end"),
    [
        ("00:01.500 --> 00:02.250", 1.5, 2.25),
        ("100:00:00.001 --> 123:59:59.999 align:start", 360000.001, 446399.999),
        ("1:00:00.000 --> 1:00:01.000", 3600.0, 3601.0),
    ],
)
def test_times_are_exact_to_the_millisecond_beyond_99_hours(line: str, start: float, end: float) -> None:
    """W3C WebVTT (CR 2019-04-04), 6.3: hours of two digits and more."""
    (cue,) = narration.read(vtt(f"{line}\nwords")).cues

    assert (cue.start_s, cue.end_s) == (start, end)


@pytest.mark.parametrize("hours", ["99999999999", "9" * 5000])
@pytest.mark.parametrize(("head", "point"), [("WEBVTT\n\n", "."), ("", ",")], ids=["vtt", "srt"])
def test_a_cue_at_a_time_that_no_recording_has_is_left_out_and_counted(
    head: str, point: str, hours: str
) -> None:
    late = f"{hours}:00:00{point}000 --> {hours}:00:01{point}000\nToo late."
    data = f"{head}00:00:01{point}000 --> 00:00:02{point}000\nIn time.\n\n{late}\n"

    found = narration.read(data.encode())

    assert [cue.text.strip() for cue in found.cues] == ["In time."]
    assert found.remarks == ("1 of 2 cues had no time that can be read and were left out.",)


def test_notes_styles_regions_and_identifiers_are_not_speech() -> None:
    """W3C WebVTT, 4.1: comment blocks, style blocks, region definitions, cue identifiers."""
    data = vtt(
        "STYLE\n::cue { color: red }\n\nREGION\nid:a\n\nNOTE\nnot this\n\n"
        "first cue\n00:01.000 --> 00:02.000\nThis.\n\nNOTE nor this\n\n00:02.000 --> 00:03.000\nAnd this."
    )

    assert [cue.text for cue in narration.read(data).cues] == ["This.", "And this."]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_every_line_end_and_a_byte_order_mark_are_read(end: str, mark: bytes) -> None:
    data = mark + end.join(["WEBVTT", "", "00:01.000 --> 00:02.000", "one", "two", "", "x"]).encode()

    (cue,) = narration.read(data).cues

    assert cue.text == "one\ntwo"


def test_voices_tags_and_entities_are_told_from_words() -> None:
    data = vtt(
        "00:01.000 --> 00:05.000\n<v.loud Mary Ann>R&amp;R, <i>if</i> 3 &lt; 4<v Bob>No <00:02.000>way.</v>"
    )

    (cue,) = narration.read(data).cues

    assert cue.text == "R&R, if 3 < 4No way."
    assert cue.voices == (("Mary Ann", "R&R, if 3 < 4"), ("Bob", "No way."))
    assert {s.speaker: s.text for s in narration.sentences([cue])} == {
        "Mary Ann": "R&R, if 3 < 4",
        "Bob": "No way.",
    }


def test_srt_is_read_with_its_numbers_and_its_tags_taken_out() -> None:
    """SRT has no standard; the form common to players: number, two times with a comma, lines."""
    data = (
        "\ufeff1\r\n00:00:01,000 --> 00:00:02,500 X1:1\r\n<b>The pan</b>\r\nhas 2\r\n\r\n"
        "2\r\n100:00:03.000 --> 100:00:04,000\r\n{\\an8}inches.\r\n"
    ).encode()

    cues = narration.read(data).cues

    assert [(c.start_s, c.end_s, c.text) for c in cues] == [
        (1.0, 2.5, "The pan\nhas 2"),
        (360003.0, 360004.0, "inches."),
    ]


def test_cues_without_a_readable_time_are_counted_and_said() -> None:
    transcript = narration.read(vtt("00:01.000 --> 00:02.000\na\n\n00:61.000 --> 00:02.000\nb"))

    assert transcript.remarks == ("1 of 2 cues had no time that can be read and were left out.",)


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", "neither WebVTT"),
        (b"%PDF-1.7", "neither WebVTT"),
        (b"WEBVTT\n\n", "no cue in it"),
        (b"WEBVTT\n\n00:01.000 --> 00:02.000\n<i></i>", "no cue in it"),
        (b"a --> b\nwords", "no time that can be read"),
    ],
)
def test_what_is_no_transcript_is_refused_with_its_reason(data: bytes, reason: str) -> None:
    with pytest.raises(BadTranscript, match=reason):
        narration.read(data)


def test_sentences_run_over_cues_and_cues_hold_several() -> None:
    cues = [Cue(0, 4, "The pan is dry. Nothing"), Cue(4, 6, "drips at 2.5 in. of"), Cue(6, 7, "head. Next")]

    found = narration.sentences(cues)

    assert [s.text for s in found] == ["The pan is dry.", "Nothing drips at 2.5 in.", "of head.", "Next"]
    assert found[0].start_s == 0
    assert found[0].end_s == pytest.approx(4 * 15 / 22, abs=0.2)
    assert found[1].start_s == pytest.approx(4 * 15 / 22, abs=0.2)
    assert found[1].end_s == pytest.approx(4 + 2 * 16 / 19, abs=0.2)


def test_overlapping_cues_of_two_voices_stay_apart() -> None:
    cues = narration.read(
        vtt(
            "00:01.000 --> 00:05.000\n<v A>The beam is\n\n00:02.000 --> 00:03.000\n<v B>Is it bad?\n\n"
            "00:05.000 --> 00:06.000\n<v A>cracked."
        )
    ).cues

    assert [(s.speaker, s.text) for s in narration.sentences(cues)] == [
        ("A", "The beam is cracked."),
        ("B", "Is it bad?"),
    ]


def test_a_line_that_a_rolling_caption_goes_on_with_stays_with_its_voice() -> None:
    cues = narration.read(
        b"WEBVTT\n\n00:00.000 --> 00:02.000\n<v Anna>The pan is\n\n"
        b"00:02.000 --> 00:04.000\n<v Anna>The pan is\nrusty and old."
    ).cues

    (said,) = narration.sentences(cues)

    assert (said.text, said.speaker) == ("The pan is rusty and old.", "Anna")


def test_rolling_captions_are_said_once(open_data: Path) -> None:
    """A video site's captions show each line twice and more (webvtt-py's youtube_dl.vtt)."""
    file = open_data / "subs" / "webvtt-py" / "youtube_dl.vtt"

    words = " ".join(s.text for s in narration.sentences(narration.read(file.read_bytes()).cues)).split()

    assert "this will happen is I'm telling" in " ".join(words)
    assert " ".join(words).count("this will happen is I'm telling") == 1


@pytest.mark.parametrize(
    ("sentence", "is_one"),
    [
        ("Finding. The pan is rusty.", True),
        ("uh okay, new finding the pan is rusty", True),
        ("Finding number 3: rust.", True),
        ("The pan is rusty, call that a finding.", True),
        ("so I'm not finding any weep holes", False),
        ("Finding it was hard.", False),
        ("The findings are in the report.", False),
    ],
)
def test_the_word_finding_marks_one(sentence: str, is_one: bool) -> None:
    assert narration.marked(sentence) is is_one


def test_a_lone_marker_belongs_to_what_follows() -> None:
    cues = [Cue(0, 1, "Finding."), Cue(1.5, 4, "The pan is rusty."), Cue(5, 6, "Okay.")]

    assert [s.text for s in narration.sentences(cues)] == ["Finding. The pan is rusty.", "Okay."]
    assert narration.without_marker("Finding. The pan is rusty.") == "The pan is rusty."


@pytest.mark.parametrize(
    "file", sorted([*NARRATIONS.glob("*.vtt"), *NARRATIONS.glob("*.srt")]), ids=lambda f: f.stem
)
def test_made_up_narrations_come_apart_into_their_sentences(file: Path) -> None:
    """Reference: the sentences as they were written, beside each narration."""
    with file.with_suffix(".csv").open(encoding="utf-8", newline="") as table:
        wanted = [(float(row["start_s"]), row["sentence"]) for row in csv.DictReader(table)]

    found = narration.sentences(narration.read(file.read_bytes()).cues)

    starts = {round(s.start_s, 2) for s in found}
    met = sum(round(start, 2) in starts for start, _ in wanted)
    assert met >= 0.97 * len(wanted)
    assert " ".join(s.text for s in found).split() == " ".join(text for _, text in wanted).split()


def test_pictures_lie_beside_the_sentences_they_were_taken_with() -> None:
    spoken, taken = [(0.0, 4.0), (20.0, 22.0)], [2.0, 10.0, 13.0, 19.0, 80.0]

    assert narration.beside(spoken, taken, 15) == [[0, 1, 2, 3], [3, 2, 1]]
    assert narration.nearest(spoken, taken, 15) == [0, 0, 1, 1, None]


@settings(max_examples=300, deadline=1000)
@given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(lambda t: ("WEBVTT\n\n" + t).encode())))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    try:
        cues = narration.read(data).cues
    except BadTranscript:
        return
    for sentence in narration.sentences(cues):
        assert sentence.text


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 200), st.floats(0, 20)), max_size=8),
    st.lists(st.floats(-50, 250), max_size=8),
)
def test_nearness_is_what_comparing_each_with_each_gives(
    spans: list[tuple[float, float]], taken: list[float]
) -> None:
    spoken = [(start, start + length) for start, length in spans]

    def apart(i: int, j: int) -> float:
        return max(spoken[i][0] - taken[j], taken[j] - spoken[i][1], 0.0)

    beside = narration.beside(spoken, taken, 15)
    nearest = narration.nearest(spoken, taken, 15)

    for i in range(len(spoken)):
        assert sorted(beside[i]) == [j for j in range(len(taken)) if apart(i, j) <= 15]
        assert [apart(i, j) for j in beside[i]] == sorted(apart(i, j) for j in beside[i])
    for j, found in enumerate(nearest):
        least = min((apart(i, j) for i in range(len(spoken))), default=99.0)
        assert (found is None) == (least > 15)
        assert found is None or apart(found, j) == least
