"""Whoever is on the page is told what to do there; a command only where nothing else will do."""

from __future__ import annotations

import inspect
import re

import pytest

from evidence import errors
from evidence.errors import EvidenceError
from evidence.review import remedies
from tests.review.conftest import Asker

COMMAND = re.compile(r"evidence [a-z]+|--[a-z]|--help|command")
ERRORS = [
    kind
    for kind in vars(errors).values()
    if inspect.isclass(kind) and issubclass(kind, EvidenceError) and kind is not EvidenceError
]
ONLY_A_COMMAND = {
    errors.DatabaseDamaged,  # the database is made anew
    errors.NotAJob,  # the page itself is begun anew
}
NEVER_ON_THE_PAGE = {
    errors.SeveralJobs,  # intake
    errors.SealBroken,  # seal
    errors.NothingToCheck,  # verify
    errors.CannotSay,  # what a command prints
    errors.TooLargeToMail,  # a mail limit
    errors.CannotServe,  # before there is a page
}


@pytest.mark.parametrize("kind", ERRORS, ids=lambda kind: kind.__name__)
def test_no_remedy_on_the_page_is_a_command_where_the_page_can_do_it(kind: type[EvidenceError]) -> None:
    said = remedies.on_page(kind("It is so."))

    assert bool(COMMAND.search(said)) == (kind in ONLY_A_COMMAND | NEVER_ON_THE_PAGE)


@pytest.mark.parametrize(
    ("name", "fields", "problem", "remedy"),
    [
        ("attach", {"finding": 1, "frames": "77"}, "no picture 77", "shows the pictures"),
        ("attach", {"finding": 9, "frames": "1"}, "no finding 9", "Findings shows"),
        ("add", {"seen": " "}, "what was seen", "choose a standard finding"),
        ("add", {"standard": "ATT-99"}, "ATT-99", "A few letters"),
        ("accept", {"sentence": "77"}, "no sentence 77", "Walk shows"),
        ("move", {"frame": 2, "to": 3}, "No visit begins with picture 2", "Walk shows"),
        ("issue", {}, "no finding and no picture", "Write a finding"),
        ("best", {"finding": 1}, "attach some first", ""),
    ],
)
def test_a_refusal_says_what_to_do_on_the_page(
    page: Asker, name: str, fields: dict[str, object], problem: str, remedy: str
) -> None:
    page.act("add", seen="A step is loose.", room="Stairs")
    if name == "issue":
        page.act("undo")

    told = page.act(name, **fields)

    assert problem in str(told["problem"])
    assert remedy in str(told["remedy"])
    assert not COMMAND.search(f"{told['problem']} {told['remedy']}")


def test_pictures_that_were_not_looked_at_are_looked_at_on_the_page(page: Asker) -> None:
    page.act("overall", frames="1,2", on="yes")

    told = page.act("issue")

    assert told == {
        "problem": "2 printed pictures have not been looked at in full size yet.",
        "remedy": "Look at them under Proof, or say there why the edition goes out all the same.",
    }


def test_an_open_page_is_told_what_to_do_when_the_job_cannot_be_read(page: Asker) -> None:
    details = page.folder / "job.toml"
    with page.listening() as heard:
        heard.readline()
        heard.readline()
        details.write_text(details.read_text("utf-8") + "\nper_page = [", "utf-8")
        told = heard.readline().decode()

    assert told.startswith("data: stopped job.toml cannot be read")
    assert "Correct it in job.toml; the page goes on by itself." in told
