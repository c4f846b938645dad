"""The list of OWASP ASVS requirements names files that are there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parent.parent.parent
ROWS = re.findall(r"^\| (\d.*) \|$", (PROJECT / "registry/web/asvs.md").read_text(encoding="utf-8"), flags=re.MULTILINE)
NAMED = {each for row in ROWS for each in re.findall(r"`([\w/.-]+\.(?:py|md|lock))`", row)}


@pytest.mark.parametrize("name", sorted(NAMED))
def test_a_file_it_names_is_there(name: str) -> None:
    assert (PROJECT / name).is_file()


@pytest.mark.parametrize("row", ROWS, ids=lambda each: each.partition(" |")[0])
def test_every_line_says_where_it_is_tested(row: str) -> None:
    numbers, _what, _where, tested = row.split(" | ")
    assert re.fullmatch(r"\d+\.\d+\.\d+(, \d+\.\d+\.\d+)*( \(level 3\))?", numbers)
    assert "`tests/" in tested


def test_no_requirement_is_listed_twice() -> None:
    numbers = [each for row in ROWS for each in re.findall(r"\d+\.\d+\.\d+", row.partition(" |")[0])]
    assert len(numbers) == len(set(numbers)) > 40
