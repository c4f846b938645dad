"""Clauses of 29 CFR 1926 against the worked cases in ``fixtures/cases``.

The clauses are paraphrased; the current official text governs. Each row: the
clause, how its wording is known to us, and the worked cases with the outcome
that the clause asks for.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from registry.engine.decide import decide
from registry.engine.files.case_file import read_case

CASES = Path(__file__).parents[2] / "fixtures" / "cases"
READ, SECONDARY = "read", "read in a secondary text"

CLAUSES = [
    # The director is both a competent and a qualified person.
    ("1926.1404(a)(1)", READ, "cfr-1404-a-1-both-competent-and-qualified", True),
    ("1926.1404(a)(1)", READ, "cfr-1404-a-1-competent-only", False),
    # One person alone must be both.
    ("1926.1404(a)(2)", READ, "cfr-1404-a-2-alone-and-both", True),
    ("1926.1404(a)(2)", READ, "cfr-1404-a-2-alone-and-qualified-only", False),
    # The evaluation names make, model and configuration.
    ("1926.1427(f)", SECONDARY, "cfr-1427-f-evaluated-on-make-model-configuration", True),
    ("1926.1427(f)", SECONDARY, "cfr-1427-f-another-configuration", False),
    ("1926.1427(f)", SECONDARY, "cfr-1427-f-another-model", False),
    # Retraining where it is needed, then evaluation again on that topic.
    ("1926.1427(f)", SECONDARY, "cfr-1427-f-retraining-needed", False),
    ("1926.1427(f)", SECONDARY, "cfr-1427-f-retrained-and-evaluated-again", True),
    # Option 1: a third-party qualified evaluator; it travels.
    ("1926.1428(a)(1)", READ, "cfr-1428-a-1-third-party", True),
    # Option 2: the employer's own; other employers may not use it.
    ("1926.1428(a)(2)", READ, "cfr-1428-a-2-own-evaluator", True),
    ("1926.1428(a)(2)", READ, "cfr-1428-a-2-not-portable", False),
    # The documentation names each type of signalling.
    ("1926.1428(a)(3)", READ, "cfr-1428-a-3-type-documented", True),
    ("1926.1428(a)(3)", READ, "cfr-1428-a-3-other-type-only", False),
    # No signalling until retrained and re-assessed.
    ("1926.1428(b)", READ, "cfr-1428-b-stood-down", False),
    ("1926.1428(b)", READ, "cfr-1428-b-retrained-only", False),
    ("1926.1428(b)", READ, "cfr-1428-b-assessed-before-retraining", False),
    ("1926.1428(b)", READ, "cfr-1428-b-lifted", True),
    # Refresher training when conduct or an evaluation shows the need.
    ("1926.1430(g)(2)", SECONDARY, "cfr-1430-g-2-stood-down-in-the-window", False),
    ("1926.1430(g)(2)", SECONDARY, "cfr-1430-g-2-refreshed", True),
    # A competent person has authority for prompt corrective measures.
    ("1926.32(f)", READ, "cfr-1926-32-f-with-authority", True),
    ("1926.32(f)", READ, "cfr-1926-32-f-without-authority", False),
]


@pytest.mark.parametrize(("clause", "known", "name", "permitted"), CLAUSES)
def test_a_clause_is_applied(clause: str, known: str, name: str, permitted: bool) -> None:
    text = (CASES / f"{name}.json").read_text(encoding="utf-8")
    assert f"29 CFR {clause}" in text
    case = read_case(text)
    decision = decide(case.evidence, case.standard, case.question)
    assert decision.permitted == permitted
    deciding = [each for each in decision.requirements if permitted or each.needed]
    assert f"29 CFR {clause}" in {each.source.title for each in deciding}
