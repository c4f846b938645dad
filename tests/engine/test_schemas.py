"""Case files are read by structures; what is refused is refused as the JSON schema says. Both are one format."""

from __future__ import annotations

import json
from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from registry.engine.bad_input import BadInput
from registry.engine.files import schemas
from registry.engine.files.case_file import read_case
from registry.engine.files.checks import check_schema
from registry.engine.requirements.kinds import KINDS
from registry.standards.files import shipped_standards

CASES = sorted((Path(__file__).parents[2] / "fixtures" / "cases").glob("*.json"))
MANY = settings(max_examples=150, deadline=None)

ODD_VALUES: list[Any] = [
    *(None, True, False, 0, -1, 1, 1.0, 60.5, 10**30, "", "x", "é" * 100, "é" * 101, " ", [], {}, [[]], {"id": "x"}),
    *("2026-02-30", "20260201", "2026-W05-7", "2026-02-01", "2026-02-01\n", "\u0662026-02-01"),
    *("2026-06-01T07:00-05:00", "2026-06-01T07:00", "2026-06-01T07:00:30Z"),
    *(["erection", "erection"], ["erection"], ["sailing"], ["x", "x"], ["x", "y", "x"], [""], [1], [None], "erection"),
    *("third_party", "worker", {"shipped": "us-federal-crane-assembly"}, {"shipped": 1, "version": 1}),
    *({"shipped": "x", "version": 1, "in_force_on": "2026-01-01"}, {"setting": "x"}, {"x": 1}, {"x": 0}, {"x": 1.0}),
]


@pytest.mark.parametrize("name", [schemas.STANDARD, schemas.CASE])
def test_the_schema_on_disk_is_the_one_that_is_put_together(name: str) -> None:
    made = {schemas.STANDARD: schemas.standard_schema(KINDS.values()), schemas.CASE: schemas.case_schema()}[name]
    assert (schemas.FOLDER / name).read_text(encoding="utf-8") == schemas.as_file(made)
    Draft202012Validator.check_schema(made)


def places(data: Any, above: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in the data, by the keys that lead there."""
    if above:
        yield above
    if isinstance(data, dict | list):
        for key, value in data.items() if isinstance(data, dict) else enumerate(data):
            yield from places(value, (*above, key))


def spoiled(data: Any, chance: Random) -> Any:
    """The data with one thing put in another's place, left out or added."""
    data = deepcopy(data)
    # A record is chosen as often as the long standard.
    top = chance.choice(list(data))
    *above, last = chance.choice([place for place in places(data) if place[0] == top])
    holder = data
    for key in above:
        holder = holder[key]
    match chance.choice(["other", "other", "out", "more"]):
        case "out":
            del holder[last]
        case "more" if isinstance(holder[last], dict):
            holder[last][chance.choice(["unheard_of", "recorded_at", "end", "expires", "model"])] = chance.choice(
                ODD_VALUES
            )
        case "more" if isinstance(holder[last], list) and holder[last]:
            holder[last].append(deepcopy(chance.choice(holder[last])))
        case _:
            holder[last] = deepcopy(chance.choice(ODD_VALUES))
    return data


@MANY
@given(st.sampled_from(CASES), st.randoms(use_true_random=False))
def test_what_the_schema_refuses_is_refused_in_its_words_and_nothing_else_is_refused_for_its_form(
    case: Path, chance: Random
) -> None:
    data = spoiled(json.loads(case.read_text(encoding="utf-8")), chance)
    by_schema = refusal(lambda: check_schema(data, schemas.CASE))
    by_reading = refusal(lambda: read_case(json.dumps(data), shipped=shipped_standards))
    if by_schema is not None:
        assert by_reading == by_schema
    elif by_reading is not None:
        # The structures name no place; they are never the ones to refuse.
        assert not by_reading.startswith("$: ")


def refusal(read: Any) -> str | None:
    try:
        read()
    except BadInput as error:
        return str(error)
    return None


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.stem)
def test_the_worked_cases_fit_their_schema(case: Path) -> None:
    check_schema(json.loads(case.read_text(encoding="utf-8")), schemas.CASE)
