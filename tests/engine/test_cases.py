"""Every worked case in ``fixtures/cases`` gives the answer that it expects."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from registry.engine.decide import decide
from registry.engine.files.case_file import read_case
from registry.engine.files.expected import differences
from registry.standards.files import shipped_standards

CASES = sorted((Path(__file__).parents[2] / "fixtures" / "cases").glob("*.json"))


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_worked_case_gives_the_expected_answer(path: Path) -> None:
    case = read_case(path.read_bytes(), shipped=shipped_standards)
    assert case.expected
    assert differences(decide(case.evidence, case.standard, case.question), case.expected) == []


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_worked_case_names_its_clause_and_its_outcome(path: Path) -> None:
    data = json.loads(path.read_text(encoding="utf-8"))
    assert data["clause"]
    assert data["expected"]["outcome"] in ("permitted", "refused")


def test_there_are_worked_cases() -> None:
    assert len(CASES) > 70
