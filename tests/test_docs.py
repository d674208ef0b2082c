"""What the documents say is what the code does."""

from __future__ import annotations

import inspect
import re
from pathlib import Path

import pytest
import typer

from evidence import cli, errors

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


@pytest.mark.parametrize("kind", ERRORS)
def test_every_error_is_documented_with_its_code_and_remedy(kind: type[errors.EvidenceError]) -> None:
    meaning = str(inspect.getdoc(kind)).splitlines()[0]
    remedy = kind.remedy or "said with the error"

    row = f"| `{kind.__name__}` | {int(kind.exit_code)} | {meaning} | {remedy} |"
    assert row in (ROOT / "docs" / "errors.md").read_text("utf-8")


def test_every_exit_code_is_documented() -> None:
    text = (ROOT / "docs" / "commands.md").read_text("utf-8")

    assert [code for code in errors.ExitCode if f"| {int(code)} |" not in text] == []


def test_every_link_between_documents_leads_somewhere() -> None:
    for page in [ROOT / "README.md", ROOT / "DEVELOPERS.md", *ROOT.glob("docs/**/*.md")]:
        text = page.read_text("utf-8")
        places = re.findall(r"\]\((?!https?:|#)([^)#\s]+)", text)
        named = re.findall(r"`((?:docs|tests|fixtures|evidence)/[\w./-]+\.(?:md|py|toml|csv))`", text)

        assert [p for p in places if not (page.parent / p).exists()] == []
        assert [p for p in named if not (ROOT / p).exists()] == []
