"""What the documents say is what the code does."""

from __future__ import annotations

import inspect
import re
import tomllib
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from evidence import bag, cli, errors, job, record, settings, store, verify
from evidence.report import writers
from evidence.steps import issue, pages, seal

ROOT = Path(__file__).resolve().parents[1]
COMMANDS = {
    command.name or str(command.callback.__name__): command
    for command in cli.app.registered_commands
    if command.callback
}
ERRORS = [
    kind
    for kind in vars(errors).values()
    if inspect.isclass(kind) and issubclass(kind, errors.EvidenceError) and kind is not errors.EvidenceError
]


def section(name: str) -> str:
    text = (ROOT / "docs" / "commands.md").read_text("utf-8")
    found = re.search(rf"### `evidence {name}\b.*?(?=\n### |\Z)", text, re.DOTALL)
    return found[0] if found else ""


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_and_option_is_documented(name: str) -> None:
    command = typer.main.get_command(cli.app).commands[name]  # type: ignore[attr-defined]
    options = [option for parameter in command.params for option in parameter.opts if option.startswith("--")]

    assert [o for o in options if o != "--help" and f"`{o}" not in section(name)] == []


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_shows_an_example(name: str) -> None:
    if name != "version":
        assert "Example: evidence " in inspect.getdoc(COMMANDS[name].callback)  # type: ignore[operator]


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_no_help_calls_a_default_what_only_stands_for_none(name: str) -> None:
    """The number 0 stands for "not given", and "." is no folder that a person would type."""
    told = CliRunner().invoke(cli.app, [name, "--help"]).output

    assert re.findall(r"default:\s+(?:0|\.)\W", told) == []


@pytest.mark.parametrize("kind", ERRORS)
def test_every_error_is_documented_with_its_code_and_remedy(kind: type[errors.EvidenceError]) -> None:
    meaning = str(inspect.getdoc(kind)).splitlines()[0]
    remedy = kind.remedy or "said with the error"

    row = f"| `{kind.__name__}` | {int(kind.exit_code)} | {meaning} | {remedy} |"
    assert row in (ROOT / "docs" / "errors.md").read_text("utf-8")


def test_every_exit_code_is_documented() -> None:
    text = (ROOT / "docs" / "commands.md").read_text("utf-8")

    assert [code for code in errors.ExitCode if f"| {int(code)} |" not in text] == []


def test_the_floors_are_those_that_the_linter_checks() -> None:
    text = (ROOT / "docs" / "architecture.md").read_text("utf-8")
    table = text.partition("| floor | modules |")[2].partition("\n\n")[0]
    told = [set(re.findall(r"`(\w+)/?`", row.split("|")[2])) for row in table.splitlines()[2:]]
    with (ROOT / "pyproject.toml").open("rb") as file:
        contracts = tomllib.load(file)["tool"]["importlinter"]["contracts"]

    assert told == [set(layer.split(" : ")) for layer in contracts[0]["layers"]]


def test_every_option_that_a_document_names_exists() -> None:
    every = typer.main.get_command(cli.app)
    commands = [every, *every.commands.values()]  # type: ignore[attr-defined]
    known = {one for command in commands for p in command.params for one in (*p.opts, *p.secondary_opts)}

    for page in ("README.md", "docs/commands.md", "docs/catalogue.md", "docs/review.md"):
        text = (ROOT / page).read_text("utf-8")
        typed = "\n".join(re.findall(r"`(?:evidence [^`]*|--[^`]*)`", text))
        assert set(re.findall(r"--[a-z][\w-]*", typed)) - known - {"--help"} == set()


def test_every_key_of_job_toml_is_documented() -> None:
    told = section("start")
    named = {one.name: (f"`{one.name}`", f"`--{one.name.replace('_', '-')}`") for one in settings.SETTINGS}

    assert [name for name, ways in named.items() if not any(way in told for way in ways)] == []


def test_every_file_of_a_job_is_documented() -> None:
    text = (ROOT / "docs" / "architecture.md").read_text("utf-8")
    folder = text.partition("## The job folder")[2].partition("\n## ")[0]
    names = [
        *(settings.JOB_FILE, job.HOW_TO_CHECK, job.STORE, job.LOCK, job.STORE + store.DAMAGED, record.RECORD),
        *(bag.DECLARATION, bag.INFO, bag.MANIFEST, bag.TAG_MANIFEST, verify.CONTENTS, issue.MAIL, pages.NOTE),
        *(seal.PUBLIC_KEY, seal.REQUEST, seal.REPLY),
        *(writer.file_name for writer in writers.WRITERS),
        *(f"{name}/" for name in (bag.ORIGINALS, bag.INCOMING, job.COPIES, f"{bag.ISSUED}/{bag.DRAFT}")),
    ]

    assert [name for name in names if f"`{name}`" not in folder] == []


def test_every_page_is_named_where_a_reader_begins() -> None:
    begun = (ROOT / "README.md").read_text("utf-8")
    methods = (ROOT / "docs" / "methods.md").read_text("utf-8")

    assert [page.name for page in ROOT.glob("docs/*.md") if f"`docs/{page.name}`" not in begun] == []
    assert [page.name for page in ROOT.glob("docs/methods/*.md") if f"/{page.name}`" not in methods] == []


def test_every_link_between_documents_leads_somewhere() -> None:
    for page in [ROOT / "README.md", ROOT / "DEVELOPERS.md", *ROOT.glob("docs/**/*.md")]:
        text = page.read_text("utf-8")
        places = re.findall(r"\]\((?!https?:|#)([^)#\s]+)", text)
        named = re.findall(r"`((?:docs|tests|fixtures|evidence)/[\w./-]+\.(?:md|py|toml|csv))`", text)

        assert [p for p in places if not (page.parent / p).exists()] == []
        assert [p for p in named if not (ROOT / p).exists()] == []
