"""What the inspector may set, and the only file a person edits."""

from __future__ import annotations

from dataclasses import fields
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evidence.errors import BadSetting
from evidence.required import packaged
from evidence.settings import FORMAT, SETTINGS, Details, details, parse, written

FULL = Details(
    address="14 Alder Court",
    client='P. “Quoted" \\ Name',
    zone="America/Chicago",
    inspected=date(2026, 11, 25),
    paper="a4",
    language="en-GB",
    per_page=4,
    retention_years=7,
    required_text=('One.\n  Indented,  "word for word".', "Two."),
    notes="first\nsecond",
)


def test_every_detail_is_a_setting_with_a_meaning_and_a_source() -> None:
    assert [one.name for one in SETTINGS] == [one.name for one in fields(Details)]
    assert all(one.meaning.endswith(".") and one.source for one in SETTINGS)


@pytest.mark.parametrize("job", [Details(), FULL])
def test_what_is_written_is_read_back(job: Details) -> None:
    """Read by Python's own tomllib (TOML 1.0)."""
    assert parse(written(job)) == (FORMAT, job)


def test_each_setting_stands_in_the_file_with_its_meaning() -> None:
    text = written(Details())

    for setting in SETTINGS:
        assert f"# {setting.meaning}\n" in text
        assert f"{setting.name} =" in text


def test_every_setting_can_be_filled_in_where_it_stands_empty() -> None:
    """Between the quotes, as the file itself says: nothing but the remarks stands behind a “#”."""
    text = written(Details())
    text = text.replace('due = ""', 'due = "2026-11-28"').replace(
        'retention_years = ""', 'retention_years = "5"'
    )

    job = parse(text)[1]

    assert (job.due, job.retention_years, job.inspected) == (date(2026, 11, 28), 5, None)
    assert [line for line in text.splitlines() if line.endswith("=")] == []


def test_the_remark_above_required_list_names_every_packaged_list() -> None:
    (setting,) = (one for one in SETTINGS if one.name == "required_list")

    assert [one.name for one in packaged() if one.name not in setting.meaning] == []


@given(st.text(), st.text())
def test_any_text_survives(address: str, notes: str) -> None:
    job = details({"address": address, "notes": notes})

    assert parse(written(job))[1] == job


@pytest.mark.parametrize("name", ["client", "notes", "required_text", "required_shots"])
def test_what_no_file_can_hold_is_refused_before_it_is_written(name: str) -> None:
    """A byte of the command line that is no UTF-8 arrives as a lone surrogate (PEP 383)."""
    value = "a\udcffb"

    with pytest.raises(BadSetting, match=f"“{name}” holds letters that are not UTF-8"):
        details({name: [value] if name.startswith("required") else value})


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("per_page = 3", "“per_page” must be one of 1, 2, 4, 6"),
        ("per_page = true", "“per_page” must be one of"),
        ("per_page = 2.0", "“per_page” must be one of"),
        ('paper = "A5"', "“paper” must be one of a4, letter"),
        ("address = 14", "“address” must be text in quotes"),
        ('due = "tomorrow"', "“due” must be a day such as 2026-11-25"),
        ('due = "2026-02-30"', "“due” must be a day"),
        ('zone = "Alder/Court"', "“zone” must be a time zone's name"),
        ('zone = "../../etc/passwd"', "“zone” must be a time zone's name"),
        ('language = "de"', "“language” must be one of en-US, en-GB"),
        ("retention_years = -1", "“retention_years” must be a whole number"),
        ('required_text = "one"', "“required_text” must be a list"),
        ('adress = "14"', "“adress” is not a setting"),
        ("format = 0", "“format” must be a whole number"),
        ("address = ", "job.toml cannot be read"),
    ],
)
def test_a_value_that_cannot_be_is_told_by_its_name(line: str, said: str) -> None:
    with pytest.raises(BadSetting, match=said):
        parse(line)


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(BadSetting, match=r"per_page.*paper"):
        details({"per_page": 3, "paper": "A5"})


def test_a_day_may_be_written_with_or_without_quotes() -> None:
    assert parse("due = 2026-12-01")[1] == parse('due = "2026-12-01"')[1]
    assert parse('due = ""')[1].due is None


def test_settings_of_a_newer_form_are_not_judged() -> None:
    assert parse("format = 99\nunheard_of = 1")[0] == 99
