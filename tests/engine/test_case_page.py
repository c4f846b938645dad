"""The page that teaches the case format: its example runs, and it names every field there is."""

from __future__ import annotations

import json
import re
from pathlib import Path

from registry.engine.decide import decide
from registry.engine.files.case_file import read_case

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "fixtures" / "cases" / "README.md").read_text(encoding="utf-8")


def test_the_example_of_the_page_gives_the_answer_it_expects() -> None:
    example = re.search(r"```json\n(.*?)```", PAGE, re.DOTALL)
    assert example
    case = read_case(example[1])
    decision = decide(case.evidence, case.standard, case.question)
    assert decision.outcome == case.expected["outcome"]
    short = {each.key: each.shortfall_minutes for each in decision.requirements if not each.met}
    assert short == case.expected["shortfall_minutes"]


def test_the_page_names_every_field_of_the_format() -> None:
    schema = json.loads((ROOT / "registry/engine/files/case.schema.json").read_text(encoding="utf-8"))
    names = set(schema["properties"])
    for each in schema["properties"].values():
        names |= set(each.get("properties", {})) | set(each.get("items", {}).get("properties", {}))
    assert {name for name in names - {"$schema"} if f"`{name}`" not in PAGE} == set()
