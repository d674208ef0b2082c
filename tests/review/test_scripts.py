"""The page's scripts: their own tests under node, and what they say beside what the documents say."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
STATIC = ROOT / "evidence" / "review" / "static"
NODE = shutil.which("node")


@pytest.mark.skipif(NODE is None, reason="node is not installed: the page's scripts are not tested alone")
def test_the_scripts_pass_their_own_tests() -> None:
    tests = sorted(str(path) for path in (ROOT / "tests" / "review" / "js").glob("*.test.mjs"))
    done = subprocess.run(
        [str(NODE), "--test", *tests], capture_output=True, text=True, check=False, timeout=120
    )

    assert done.returncode == 0, done.stdout


@pytest.mark.skipif(NODE is None, reason="node is not installed: the page's scripts are not checked")
@pytest.mark.parametrize("script", sorted(STATIC.glob("*.js")), ids=lambda path: path.name)
def test_every_script_is_sound(script: Path) -> None:
    done = subprocess.run(
        [str(NODE), "--input-type=module", "--check"],
        input=script.read_text("utf-8"),
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )

    assert done.returncode == 0, done.stderr


def test_no_script_makes_code_or_markup_from_text() -> None:
    """One place takes markup, and only the server's own templates'; no other does, and none evaluates."""
    found = []
    for script in STATIC.glob("*.js"):
        text = script.read_text("utf-8")
        found += [
            (script.name, match[0])
            for match in re.finditer(
                r"\.(?:inner|outer)HTML\b|insertAdjacentHTML|\beval\(|new Function|document\.write", text
            )
        ]

    assert found == [("talk.js", ".innerHTML")]


def test_every_module_that_is_asked_for_is_there() -> None:
    for script in STATIC.glob("*.js"):
        for name in re.findall(r'(?:from|import) "\./([\w-]+\.js)"', script.read_text("utf-8")):
            assert (STATIC / name).is_file(), f"{script.name} asks for {name}"


def test_every_letter_key_is_in_the_documents() -> None:
    """WCAG 2.2, 3.3.5 in spirit: what a key does is said where one looks for it."""
    keys = (STATIC / "keys.js").read_text("utf-8")
    text = (ROOT / "docs" / "review.md").read_text("utf-8")
    letters = {
        letter for row in re.findall(r'\["([^"]+)",', keys) for letter in row.split() if len(letter) == 1
    }

    assert [
        k for k in sorted(letters) if k.isascii() and k.isalpha() and k.islower() and f"`{k}`" not in text
    ] == []
