"""Proof by the command line: whatever is handed over can be checked, changed or not, on a small install."""

from __future__ import annotations

import json
import random
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from evidence.cli import app
from evidence.errors import ExitCode
from tests import saboteurs
from tests.bench import kill_whole_way as way

SUBJECTS = {
    "job": "job",
    "job moved": "job",
    "job zipped": "zipped job",
    "originals": "bag",
    "second copy": "bag",
    "edition": "edition",
    "edition alone": "edition",
    "edition zipped": "zipped edition",
    "PDF in its place": "delivered file",
    "PDF sent": "delivered file",
}
"""What may be handed to ``verify``, and what it then says it has checked."""

WITHOUT_LIBRARIES = """
import sys

class Refuses:
    NAMES = {"numpy", "cv2", "PIL", "sqlite3", "sqlite_utils", "exifread", "imagehash", "pikepdf", "pi_heif",
             "typst", "docx", "rapidfuzz", "cattrs", "scipy", "cryptography"}
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in self.NAMES:
            raise ModuleNotFoundError(f"{name} is not on this small install")

sys.meta_path.insert(0, Refuses())
for name in Refuses.NAMES:
    assert name not in sys.modules, name
from evidence.cli import main
main()
"""
"""Runs the command line where no library for pictures, databases or pages can be imported."""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with an edition in every format, a second copy; to be copied, never changed."""
    folder = tmp_path_factory.mktemp("proof")
    way.Way(way.drawn_card(folder / "card", 4), ("pdf", "html", "csv")).go(folder)
    return folder


def handed_over(subject: str, home: Path, to: Path, *, spoilt: bool = False) -> list[str]:
    """Lay down what is to be checked, sound or with one bit of it turned; give the command's words."""
    shutil.copytree(home / "job", to / "job")
    shutil.copytree(home / "second", to / "second")
    edition = to / "job" / "issued" / "edition-1"
    victim = next((to / "job" / "originals" / "data").rglob("OSTR0002.JPG"))
    if subject == "second copy":
        victim = next((to / "second").rglob("OSTR0002.JPG"))
    elif subject.startswith(("edition", "PDF")):
        victim = edition / "appendix.pdf"
    if spoilt:
        saboteurs.flip_a_bit(victim, random.Random(4))
    given: Path | str = to / "job"
    match subject:
        case "job moved":
            (to / "elsewhere").mkdir()
            given = (to / "job").rename(to / "elsewhere" / "another name")
        case "job zipped":
            given = shutil.make_archive(str(to / "handed"), "zip", to, "job")
        case "originals":
            given = to / "job" / "originals"
        case "second copy":
            given = to / "second" / "job"
        case "edition":
            given = edition
        case "edition alone":
            given = shutil.copytree(edition, to / "sent" / "edition-1")
        case "edition zipped":
            given = shutil.make_archive(str(to / "handed"), "zip", edition)
        case "PDF in its place":
            given = edition / "appendix.pdf"
        case "PDF sent":
            given = shutil.copy(edition / "appendix.pdf", to / "from the mail.pdf")
    return [str(given), *(["--job", str(to / "job")] if subject == "PDF sent" else [])]


@pytest.mark.parametrize("subject", SUBJECTS)
def test_what_is_handed_over_is_sound_and_after_one_turned_bit_it_is_not(
    subject: str, home: Path, tmp_path: Path
) -> None:
    sound = CliRunner().invoke(app, ["verify", *handed_over(subject, home, tmp_path / "sound")])
    words = handed_over(subject, home, tmp_path / "spoilt", spoilt=True)
    spoilt = CliRunner().invoke(app, ["verify", *words])
    told = json.loads(CliRunner().invoke(app, ["verify", *words, "--json"]).stdout)

    assert sound.exit_code == ExitCode.DONE, sound.output
    assert sound.stdout.startswith("Everything checked is as it was recorded")
    assert spoilt.exit_code == ExitCode.HASH_MISMATCH
    assert spoilt.stdout.startswith("1 fault was found")
    assert (told["subject"], told["sound"], len(told["faults"])) == (SUBJECTS[subject], False, 1)
    assert told["faults"][0]["where"].endswith(("OSTR0002.JPG", "appendix.pdf", "from the mail.pdf"))


@pytest.mark.parametrize("subject", SUBJECTS)
def test_an_install_without_libraries_checks_it_too(subject: str, home: Path, tmp_path: Path) -> None:
    """In a program that cannot import them: NumPy, OpenCV, Pillow, any database, any page writer."""
    for spoilt, code in ((False, ExitCode.DONE), (True, ExitCode.HASH_MISMATCH)):
        words = handed_over(subject, home, tmp_path / str(spoilt), spoilt=spoilt)
        command = [sys.executable, "-c", WITHOUT_LIBRARIES, "verify", *words]

        done = subprocess.run(command, cwd=saboteurs.HOME, capture_output=True, text=True, check=False)

        assert done.returncode == code, done.stdout + done.stderr


def test_the_libraries_are_really_refused_there() -> None:
    """The test above could pass for the wrong reason: a command that needs them must fail."""
    command = [sys.executable, "-c", WITHOUT_LIBRARIES, "status", "nowhere"]

    done = subprocess.run(command, cwd=saboteurs.HOME, capture_output=True, text=True, check=False)

    assert done.returncode == ExitCode.STOPPED
    assert "is not on this small install" in done.stderr


@pytest.mark.parametrize(("system", "tool"), [("An edition", "sha256sum"), ("Line 1", "sha256sum")])
def test_how_to_check_s_commands_for_editions_and_the_record_do_as_it_says(
    system: str, tool: str, home: Path
) -> None:
    """The very lines of the text, by GNU coreutils and sed, with nothing of ours on the path."""
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed here")
    job = home / "job"
    block = re.search(rf"^{system}.*:\n((?:    .*\n)+)", (job / "HOW-TO-CHECK.txt").read_text(), re.MULTILINE)
    assert block

    done = subprocess.run(
        ["/bin/sh", "-c", "set -e\n" + block[1]],
        cwd=job,
        env={"PATH": "/usr/bin:/bin", "LC_ALL": "C"},
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 0, done.stderr
    if system == "An edition":
        names = sorted(path.name for path in (job / "issued" / "edition-1").iterdir())
        assert done.stdout.splitlines() == [f"{name}: OK" for name in names if "manifest" not in name]
    else:
        first = json.loads((job / "record.jsonl").read_text("utf-8").splitlines()[0])
        assert done.stdout == f"{first['hash']}  -\n"


def test_the_record_holds_the_digest_of_an_edition_s_list_as_how_to_check_says(home: Path) -> None:
    """By sha256sum, not by our own code."""
    manifest = home / "job" / "issued" / "edition-1" / "manifest-sha256.txt"
    told = subprocess.run(["sha256sum", str(manifest)], capture_output=True, text=True, check=True).stdout

    lines = map(json.loads, (home / "job" / "record.jsonl").read_text("utf-8").splitlines())

    assert [line["value"]["manifest"] for line in lines if line["what"] == "issue"] == [told.split()[0]]
