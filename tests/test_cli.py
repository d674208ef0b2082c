"""The command line as a person meets it: exit codes, one clear sentence, never a traceback."""

from __future__ import annotations

import json
import os
import runpy
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from evidence import __version__, study
from evidence.cli import app
from evidence.errors import DiskFull, ExitCode
from evidence.job import Job
from evidence.store import Store

HOME = Path(__file__).resolve().parents[1]


def run(*words: object) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


def said(result: Result) -> str:
    """Everything a person would see; a traceback is never part of it."""
    assert "Traceback" not in result.output
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.output


@pytest.fixture
def job(taken_in: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(taken_in, tmp_path / "job"))


@pytest.fixture
def empty(tmp_path: Path) -> Path:
    assert run("start", tmp_path / "empty").exit_code == 0
    return tmp_path / "empty"


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (["start", ""], ExitCode.USAGE, "has no name"),
        (["start", __file__], ExitCode.STOPPED, "is a file"),
        (["intake", "JOB", "nowhere"], ExitCode.STOPPED, "There is no folder"),
        (["intake", "JOB", __file__], ExitCode.STOPPED, "is a file"),
        (["attach", "JOB", "9", "1"], ExitCode.USAGE, "There is no finding 9"),
        (["findings", "JOB", "--why", "It matters."], ExitCode.USAGE, "Say which finding"),
        (["findings", "JOB", "--from", "XYZ-99"], ExitCode.USAGE, "no standard finding"),
        (["findings", "JOB", "--add", ""], ExitCode.USAGE, "needs to say what was seen"),
        (["findings", "JOB", "--edit", "7"], ExitCode.USAGE, "Say what to change"),
        (["findings", "JOB", "--edit", "7", "--withdraw", "6"], ExitCode.USAGE, "do not go together"),
        (["findings", "JOB", "--edit", "7", "--from", "ATT-06"], ExitCode.USAGE, "do not go together"),
        (["findings", "JOB", "--withdraw", "7", "--why", "x"], ExitCode.USAGE, "Say which finding"),
        (["findings", "JOB", "--add", "caf\udce9"], ExitCode.USAGE, "is not UTF-8"),
        (["attach", "JOB", "1", "2", "--remove", "--best"], ExitCode.USAGE, "do not go together"),
        (["attach", "JOB", "1", "--remove"], ExitCode.USAGE, "Name the pictures"),
        (["picture", "JOB", "1", "99"], ExitCode.USAGE, "There is no picture 99"),
        (["light", "JOB", "1", "99"], ExitCode.USAGE, "There is no picture 99"),
        (["check", "XXX-99"], ExitCode.USAGE, "no standard finding"),
        (["light", "JOB", "99", "--as-taken"], ExitCode.USAGE, "There is no picture 99"),
        (["light", "JOB", "1", "--stops", "9"], ExitCode.USAGE, "A lift must lie between"),
        (["rooms", "JOB", "--name", "Kitchen"], ExitCode.USAGE, "3=Kitchen"),
        (["rooms", "JOB", "--overall", "77"], ExitCode.USAGE, "There is no picture 77"),
        (["review", "JOB", "--port", "65536"], ExitCode.USAGE, "65535"),
        (["review", "JOB", "--port", "-1"], ExitCode.USAGE, "--port"),
        (["clock", "JOB", "--camera", "Nokto", "--add", "5", "--reason", "x"], ExitCode.USAGE, "Nokto"),
        (["clock", "JOB", "--picture", "1", "--shows", "25:99"], ExitCode.USAGE, "no time of day"),
        (["clock", "JOB", "--picture", "1", "--shows", "9:12:30:15"], ExitCode.USAGE, "no time of day"),
        (["clock", "JOB", "--picture", "3", "--add", "60"], ExitCode.USAGE, "needs a reason"),
        (["clock", "JOB", "--camera", "F2", "--picture", "3"], ExitCode.USAGE, "do not go together"),
        (["clock", "JOB", "--camera", "F2", "--shows", "9:12"], ExitCode.USAGE, "go with --picture"),
        (["clock", "JOB", "--picture", "3", "--zone", "-06:00"], ExitCode.USAGE, "goes with --camera"),
        (["narration", "JOB", "a.vtt", "--remove", "--shift", "2"], ExitCode.USAGE, "do not go together"),
        (["clock", "JOB", "--camera", "F2", "--reason", "x"], ExitCode.USAGE, "needs --add or --zone"),
        (
            ["clock", "JOB", "--picture", "3", "--shows", "9:12", "--reason", "x"],
            ExitCode.USAGE,
            "do not go together",
        ),
        (["clock", "JOB", "--add", "60"], ExitCode.USAGE, "Say which clock"),
        (
            ["clock", "JOB", "--camera", "F2", "--add", "nan", "--reason", "x"],
            ExitCode.USAGE,
            "is not corrected by",
        ),
        (
            ["clock", "JOB", "--camera", "F2", "--zone", "+99:99", "--reason", "x"],
            ExitCode.USAGE,
            "no distance from UTC",
        ),
        (
            ["clock", "JOB", "--camera", "F2", "--zone", "+15:01", "--reason", "x"],
            ExitCode.USAGE,
            "no distance from UTC",
        ),
        (["issue", "JOB", "--mail-limit", "ten"], ExitCode.USAGE, "no size such as"),
        (["issue", "JOB", "--mail-limit", "inf"], ExitCode.USAGE, "no size such as"),
        (["issue", "JOB", "--mail-limit", "0MB"], ExitCode.USAGE, "above nothing"),
        (["issue", "JOB", "--mail-limit=-5MB"], ExitCode.USAGE, "above nothing"),
        (["issue", "JOB", "--per-page", "0"], ExitCode.USAGE, "must be one of 1, 2, 4, 6"),
        (["issue", "JOB", "--per-page", "3"], ExitCode.USAGE, "must be one of 1, 2, 4, 6"),
        (["issue", "JOB", "--paper", "foo"], ExitCode.USAGE, "must be one of a4, letter"),
        (["frames", "JOB", "--every", "5"], ExitCode.USAGE, "Name the film"),
        (["frames", "JOB", "--every", "0"], ExitCode.USAGE, "Name the film"),
        (["frames", "JOB", "walk.mp4", "--at", "1"], ExitCode.USAGE, "There is no film"),
        (["narration", "JOB", "nowhere.vtt"], ExitCode.USAGE, "There is no file"),
        (["narration", "JOB", "--says", "here"], ExitCode.USAGE, "go together"),
        (["narration", "JOB", "a.vtt", "--at-picture", "1"], ExitCode.USAGE, "go together"),
        (["narration", "JOB", "--shift", "0"], ExitCode.USAGE, "Name the transcript"),
        (["frames", "JOB", "walk.mp4", "--within", "5"], ExitCode.USAGE, "--within goes with --sentence"),
        (["gaps", "JOB", "--explain", "Attic"], ExitCode.USAGE, "“Attic=hatch was locked”"),
        (["rooms", "JOB", "--move", "5"], ExitCode.USAGE, "such as 55=57"),
        (["status", "JOB", "--pictures", "--files"], ExitCode.USAGE, "do not go together"),
        (["catalogue", "JOB", "--begin", "--show", "ATT-06"], ExitCode.USAGE, "do not go together"),
        (["seal", "JOB", "--new-key", "k.pem", "--ask-time"], ExitCode.USAGE, "do not go together"),
        (["proof", "JOB", "--take-back"], ExitCode.USAGE, "Name the pictures"),
        (["check", "EXT-10", "riser"], ExitCode.USAGE, "Give the measured value with its unit after “riser”"),
        (["check", "EXT-10", "--for", "8/12"], ExitCode.USAGE, "go with a measured value"),
        (["narration", "JOB", "--as", "ATT-06"], ExitCode.USAGE, "go with --accept"),
        (["narration", "JOB", "--shift", "2"], ExitCode.USAGE, "Name the transcript"),
        (["seal", "JOB"], ExitCode.STOPPED, "No edition was issued yet"),
        (["start", "JOB"], ExitCode.STOPPED, "is a job already"),
        (["status", "nowhere"], ExitCode.NOT_A_JOB, "is not a job"),
        (["verify", "nowhere"], ExitCode.USAGE, "nowhere"),
        (["status", "JOB", "--nonsense"], ExitCode.USAGE, "nonsense"),
        (["check", "EXT-10", "8", "in"], ExitCode.USAGE, "Say what was measured"),
        (["catalogue", "JOB", "--show", "XYZ-99"], ExitCode.USAGE, "no standard finding"),
        (["undo", "JOB"], ExitCode.USAGE, "no decision to take back"),
    ],
)
def test_bad_input_is_answered_by_one_sentence_and_the_documented_code(
    job: Path, words: list[str], code: ExitCode, sentence: str
) -> None:
    result = run(*(job if word == "JOB" else word for word in words))

    assert sentence in said(result).replace("\n", " ")
    assert result.exit_code == code


@pytest.mark.parametrize(
    ("words", "remedy", "never"),
    [
        (["search", "nowhere", "alder"], "--help", "card"),
        (["catalogue", "JOB", "--show", "XYZ-99"], "evidence catalogue JOB", "List the findings"),
        (["issue", "JOB"], "evidence proof JOB", "evidence gaps"),
    ],
)
def test_the_remedy_is_one_for_what_went_wrong(job: Path, words: list[str], remedy: str, never: str) -> None:
    run("findings", job, "--add", "A crack.")
    run("attach", job, 1, 1)

    told = said(run(*(job if word == "JOB" else word for word in words)))

    assert remedy in told
    assert never not in told


@pytest.mark.parametrize(
    "words",
    [
        ["undo", "JOB", "--line", "0"],
        ["clock", "JOB", "--picture", "0", "--add", "5", "--reason", "watch"],
        ["deliver", "JOB", "--to", "R. Moss", "--edition", "0"],
        ["narration", "JOB", "--accept", "-1"],
    ],
)
def test_a_number_that_nothing_has_is_refused_not_taken_for_none(job: Path, words: list[str]) -> None:
    run("findings", job, "--add", "A crack.")
    before = (job / "record.jsonl").read_bytes()

    result = run(*(job if word == "JOB" else word for word in words))

    assert result.exit_code == ExitCode.USAGE
    assert "Invalid value for '--" in said(result)
    assert (job / "record.jsonl").read_bytes() == before


@pytest.mark.parametrize(
    ("change", "command", "code", "sentence"),
    [
        ((b"", b"\xef\xbb\xbf"), "status", ExitCode.DONE, "14 Alder Court"),
        ((b"14 Alder", b"14 Ald\xe9r"), "status", ExitCode.USAGE, "job.toml is not UTF-8 text in line 8"),
        (
            (b'own_findings = "', b'own_findings = "~nobody-here/'),
            "catalogue",
            ExitCode.USAGE,
            "no such file",
        ),
        (
            (b'required_list = "', b'required_list = "~nobody-here/a.toml'),
            "gaps",
            ExitCode.USAGE,
            "cannot be read",
        ),
    ],
)
def test_details_are_read_as_editors_write_them_or_what_is_wrong_is_said(
    job: Path, change: tuple[bytes, bytes], command: str, code: ExitCode, sentence: str
) -> None:
    """A byte order mark, an old code page, the folder of a person whom this computer does not know."""
    details = job / "job.toml"
    details.write_bytes(details.read_bytes().replace(*change, 1))

    result = run(command, job)

    assert sentence in said(result)
    assert result.exit_code == code


def test_the_next_command_is_named_so_that_it_can_be_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)

    assert 'Next: evidence intake "./-dash" CARD' in said(run("start", "--", "-dash"))
    assert 'Next: evidence intake "plain" CARD' in said(run("start", "plain"))


def test_the_version_is_told_to_those_who_ask_in_either_way() -> None:
    assert run("--version").output == run("version").output == f"{__version__}\n"


def test_a_distance_is_known_with_or_without_its_hyphen(job: Path) -> None:
    assert run("picture", job, "1", "--distance", "Close up with scale").exit_code == ExitCode.DONE

    refused = run("picture", job, "1", "--distance", "far")
    assert refused.exit_code == ExitCode.USAGE
    assert "“far” is no distance; there are overall, mid-range" in " ".join(said(refused).split())
    assert "close-up with scale" in said(run("picture", job, "1"))


def test_an_empty_card_and_a_folder_without_pictures_are_told_apart(empty: Path, tmp_path: Path) -> None:
    (tmp_path / "card").mkdir()
    nothing = run("intake", empty, tmp_path / "card")
    (tmp_path / "card" / "notes.txt").write_text("no picture here")
    no_picture = run("intake", empty, tmp_path / "card")

    assert (nothing.exit_code, no_picture.exit_code) == (ExitCode.STOPPED, ExitCode.DONE)
    assert "No file was found" in said(nothing)
    assert "0 pictures" in said(no_picture)


def test_a_job_that_another_run_holds_is_left_alone(job: Path) -> None:
    # The lock is one process's; so the second run must be another process.
    with Job.open(job):
        other = subprocess.run(
            [sys.executable, "-m", "evidence", "rooms", str(job), "--name", "1=Kitchen"],
            capture_output=True,
            text=True,
            check=False,
        )

    assert other.returncode == ExitCode.JOB_HELD
    assert "Traceback" not in other.stderr
    assert other.stderr.strip()


def test_findings_are_made_found_attached_and_taken_back(job: Path) -> None:
    assert run("findings", job, "--from", "PLB-09", "--room", "Kitchen").exit_code == 0
    assert run("attach", job, 1, 2, 3, "--distance", "close-up").exit_code == 0
    listed = json.loads(said(run("findings", job, "--json")))

    assert listed["findings"][0]["room"] == "Kitchen"
    assert [a["frame"] for a in listed["attachments"]] == [2, 3]
    assert "and 1 decided with it" in said(run("undo", job))
    assert json.loads(run("findings", job, "--json").output)["attachments"] == []


def test_gaps_end_with_three_until_there_is_none(job: Path) -> None:
    assert run("gaps", job).exit_code == ExitCode.NEEDS_PERSON
    visits = json.loads(run("rooms", job, "--json").output)["visits"]
    names = [f"--name={n}=Attic" for n in range(1, len(visits) + 1)]
    assert run("rooms", job, *names, "--overall", 1).exit_code == 0

    assert said(run("gaps", job)).strip() == "There is no gap."
    assert run("gaps", job).exit_code == ExitCode.DONE


def test_every_result_for_programs_is_json(job: Path) -> None:
    for words in (
        ["status"],
        ["status", "--pictures"],
        ["clock"],
        ["rooms"],
        ["findings"],
        ["gaps"],
        ["light"],
    ):
        assert json.loads(said(run(words[0], job, *words[1:], "--json"))) is not None
    assert json.loads(said(run("verify", job, "--json")))["sound"] is True


def test_a_file_that_was_made_is_told_to_programs_too(
    job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))

    begun = json.loads(run("catalogue", job, "--begin", "--json").stdout)
    made = json.loads(run("seal", job, "--new-key", tmp_path / "key.pem", "--json").stdout)

    assert Path(begun["file"]).is_file()
    assert Path(made["key"]).is_file()


def test_a_damaged_original_is_found_and_named(job: Path) -> None:
    victim = next((job / "originals" / "data").rglob("OSTR0003.JPG"))
    victim.chmod(0o644)
    data = bytearray(victim.read_bytes())
    data[len(data) // 2] ^= 1
    victim.write_bytes(data)

    result = run("verify", job)

    assert result.exit_code == ExitCode.HASH_MISMATCH
    assert "OSTR0003.JPG" in said(result)


def test_what_is_not_read_by_todays_methods_is_said_when_looking_and_read_before_deciding(job: Path) -> None:
    (job / "job.sqlite").unlink()

    assert "not read yet" in said(run("gaps", job))
    assert "not read yet" not in said(run("rooms", job, "--overall", "2"))
    assert "not read yet" not in said(run("gaps", job))


def test_a_measured_value_is_compared_in_words() -> None:
    """IRC R311.7.5.1 (2018): a riser of at most 7 3/4 in (read in a public text)."""
    result = run("check", "EXT-10", "riser", "8", "1/4", "in")

    assert result.exit_code == ExitCode.DONE
    assert "above the figure" in " ".join(said(result).split())


def test_figures_are_listed_for_a_finding_and_for_all() -> None:
    assert "riser" in said(run("check", "EXT-10"))
    assert "ATT-01" in said(run("check"))
    value = ("check", "EXT-10", "riser", "7 in", "--json")
    assert json.loads(run(*value).stdout)["lies"] == "within the figure"
    assert json.loads(run(*value).stdout)["reference"] == ""
    assert {one["reference"] for one in json.loads(run("check", "--json").stdout)} == {""}
    assert "R311" in json.loads(run(*value, "--references").stdout)["reference"]


def test_a_reference_is_shown_on_request_only_with_its_caution() -> None:
    without, with_it = (
        said(run("catalogue", "--show", "PLB-02")),
        said(run("catalogue", "--show", "PLB-02", "--references")),
    )

    assert "P2804" not in without
    assert "P2804" in with_it
    assert "may differ" in with_it


def test_a_narration_is_put_beside_the_pictures_and_a_sentence_becomes_a_finding(
    job: Path, tmp_path: Path
) -> None:
    walk = tmp_path / "walk.vtt"
    walk.write_text("WEBVTT\n\n00:05.000 --> 00:08.000\nFinding: the bath fan ends in the attic.\n", "utf-8")

    listed = said(run("narration", job, walk, "--starts", "09:00:05"))
    assert "1 sentence from 09:00:05 (started at 09:00:05, as you said)" in listed
    assert "ATT-06" in listed
    assert "marked as a finding" in listed
    accepted = said(run("narration", job, "--accept", "1", "--as", "ATT-06", "--room", "Attic"))
    assert "Sentence 1 is finding 1 now." in accepted

    (sentence,) = json.loads(run("narration", job, "--json").output)["sentences"]
    assert (sentence["finding"], sentence["marked"], sentence["own"]) == (1, True, [1, 2])
    taken_back = said(run("undo", job))
    assert taken_back.startswith("Taken back: finding 1")
    assert "of the record" in taken_back
    assert json.loads(run("narration", job, "--json").output)["sentences"][0]["finding"] is None
    assert "as you said" in said(run("narration", job, walk, "--accept", "1"))  # it stays where it was put


def test_a_job_without_films_says_so(job: Path) -> None:
    assert "There is no film in this job." in said(run("frames", job))
    assert json.loads(run("frames", job, "--json").output) == {"films": [], "lifted": []}


FULL = Path("/dev/full")
"""Every write into it finds the disk full."""


def begun(*words: object, into: object) -> subprocess.CompletedProcess[str]:
    """Run a command in a process of its own, its result sent somewhere."""
    command = [sys.executable, "-m", "evidence", *map(str, words)]
    return subprocess.run(command, cwd=HOME, stdout=into, stderr=subprocess.PIPE, text=True, check=False)  # type: ignore[call-overload, no-any-return]


def test_a_reader_that_has_gone_is_no_fault_and_changes_no_exit_code(job: Path) -> None:
    """As of "evidence gaps JOB | head -1" with more than a pipe holds."""
    nobody, ours = os.pipe()
    os.close(nobody)

    done = begun("gaps", job, into=ours)
    os.close(ours)

    assert done.returncode == ExitCode.NEEDS_PERSON
    assert "Broken" not in done.stderr


@pytest.mark.skipif(not FULL.exists(), reason="this system has no file that is always full")
def test_a_result_that_finds_no_room_is_told_apart_from_a_command_that_failed(job: Path) -> None:
    with FULL.open("w") as full:
        done = begun("findings", job, "--add", "A crack.", into=full)

    assert done.returncode == ExitCode.CANNOT_WRITE
    assert "The result cannot be written where it was sent: No space left on device." in done.stderr
    assert "A crack." in run("findings", job).output


@pytest.mark.skipif(os.name == "nt", reason="closes streams as a shell of POSIX does")
def test_a_job_is_made_where_all_streams_are_closed(tmp_path: Path) -> None:
    words = 'exec "$0" -m evidence start "$1" <&- >&- 2>&-'

    done = subprocess.run(["sh", "-c", words, sys.executable, tmp_path / "new"], cwd=HOME, check=False)

    assert done.returncode == ExitCode.DONE
    assert (tmp_path / "new" / "job.toml").is_file()


def test_ctrl_c_while_the_program_loads_leaves_no_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    class Loading:
        def __getattr__(self, name: str) -> object:
            raise KeyboardInterrupt

    monkeypatch.setitem(sys.modules, "evidence.cli", Loading())

    with pytest.raises(SystemExit) as ended:
        runpy.run_module("evidence", run_name="__main__")

    assert ended.value.code == ExitCode.INTERRUPTED


def test_what_cannot_be_shown_is_neither_lifted_nor_marked_nor_an_overall_view(
    empty: Path, tmp_path: Path
) -> None:
    """Nothing would come of it in print, and the command would have said that it was done."""
    card = tmp_path / "card" / "DCIM" / "100OSTRE"
    card.mkdir(parents=True)
    (card / "OSTR0001.JPG").write_bytes(b"no picture")
    run("intake", empty, tmp_path / "card")

    for words in (
        ("light", empty, 1, "--stops", 2),
        ("light", empty, 1, "--as-taken"),
        ("mark", empty, 1, "--ring", ".1,.1,.5,.5"),
        ("rooms", empty, "--overall", 1),
        ("attach", empty, 1, 1),
        ("attach", empty, 1, 1, "--best"),
    ):
        if words[0] == "attach":
            run("findings", empty, "--add", "A crack.")
        result = run(*words)
        assert "Picture 1 cannot be shown: Its content is not that of a picture." in said(result)
        assert result.exit_code == ExitCode.USAGE

    assert "OSTR0001.JPG  cannot be shown" in said(run("light", empty, 1))


def test_light_set_by_hand_is_set_beside_what_today_s_method_proposes(job: Path) -> None:
    """Every other command that decides reads first; what the record keeps as proposed was of an older one."""
    with Store(job / "job.sqlite") as store:
        for digest, answer in store.answers("light").items():
            store.put_answers({"light": "of old"}, digest, {"light": answer})

    assert run("light", job, 1, "--stops", 2).exit_code == ExitCode.DONE

    with Store(job / "job.sqlite") as store:
        assert store.unanswered({"light": study.VERSIONS["light"]}) == {}


@pytest.mark.skipif(sys.platform == "win32", reason="a pseudo-terminal is POSIX")
@pytest.mark.parametrize("columns", [60, 64])
def test_a_table_is_no_wider_than_the_terminal_that_shows_it(taken_in: Path, columns: int) -> None:
    shown, screen = os.openpty()
    env = {**os.environ, "COLUMNS": str(columns)}
    command = [sys.executable, "-m", "evidence", "status", str(taken_in), "--pictures"]
    subprocess.run(command, env=env, stdout=screen, stdin=subprocess.DEVNULL, check=True)
    os.close(screen)
    lines = os.read(shown, 100_000).decode().splitlines()
    os.close(shown)

    piped = subprocess.run(command, env=env, capture_output=True, text=True, check=True).stdout.splitlines()
    assert len(lines) > len(piped) == 10, "folded where it is narrow, and never in a pipe"
    assert max(map(len, lines)) <= columns


def test_what_was_decided_is_not_told_to_have_failed_because_a_proposal_found_no_room(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Run again, as a full disk asks for, the command wrote a second finding."""

    def full(*_: object) -> None:
        raise DiskFull("The disk is full; job.sqlite could not take the last rows.")

    monkeypatch.setattr(Store, "put_proposal", full)

    result = run("clock", job, "--camera", "Ostrel", "--add", "40", "--reason", "slow")

    assert result.exit_code == 0, said(result)
    assert "corrected by +40 s" in result.output
