"""Every worked case in ``fixtures/cases`` gives the answer that it expects."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from registry.eligibility.answer import Decision
from registry.eligibility.case import read_case
from registry.eligibility.decide import decide

CASES = sorted((Path(__file__).parents[2] / "fixtures" / "cases").glob("*.json"))


def answer(decision: Decision, expected: dict[str, Any]) -> dict[str, Any]:
    """The part of the answer that a case may state, in the case file's own terms."""
    plain = decision.as_json()
    short = {leaf["key"]: leaf.get("shortfall_minutes") for leaf in plain["requirements"]}
    given = {group["reason"] for leaf in plain["requirements"] for group in leaf["not_counted"]}
    remedy = plain["remedy"] or {"items": []}
    return {
        "outcome": plain["outcome"],
        "holds_until": decision.holds_until,
        "fails_from": decision.fails_from,
        "not_met": [leaf["key"] for leaf in plain["requirements"] if not leaf["met"]],
        "shortfall_minutes": {key: short[key] for key in expected.get("shortfall_minutes", {})},
        "reasons": [each for each in expected.get("reasons", []) if each in given],
        "remedy": [item["leaf"] for item in remedy["items"]],
    }


def instants(expected: dict[str, Any]) -> dict[str, Any]:
    """The expected answer with its instants read."""
    return {
        key: datetime.fromisoformat(value) if key in ("holds_until", "fails_from") and value is not None else value
        for key, value in expected.items()
    }


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_worked_case_gives_the_expected_answer(path: Path) -> None:
    case = read_case(path.read_bytes())
    expected = instants(case.expected)
    found = answer(decide(case.evidence, case.standard, case.question), case.expected)
    assert {key: found[key] for key in expected} == expected


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_worked_case_names_its_clause_and_its_outcome(path: Path) -> None:
    data = json.loads(path.read_text(encoding="utf-8"))
    assert data["clause"]
    assert data["expected"]["outcome"] in ("permitted", "refused")


def test_there_are_worked_cases() -> None:
    assert len(CASES) > 70
