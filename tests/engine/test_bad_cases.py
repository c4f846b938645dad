"""A case file that is wrong is refused, and the message says where."""

from __future__ import annotations

import json
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

from registry.engine.bad_input import BadInput
from registry.engine.files.case_file import read_case
from registry.engine.files.checks import check_depth
from registry.engine.files.standard_file import parse_standard

CASES = Path(__file__).parents[2] / "fixtures" / "cases"
Data = dict[str, Any]


def worked(name: str) -> Data:
    data: Data = json.loads((CASES / f"{name}.json").read_text(encoding="utf-8"))
    return data


HOURS = worked("practice-hands-on-and-assessment")
CERTIFICATE = worked("trap-suspended-then-reinstated")


def refused(data: Data | str | bytes) -> BadInput:
    text = data if isinstance(data, str | bytes) else json.dumps(data)
    with pytest.raises(BadInput) as caught:
        read_case(text)
    return caught.value


def changed(base: Data, path: str, value: Any) -> Data:
    data = deepcopy(base)
    place: Any = data
    *parents, last = [int(part) if part.isdigit() else part for part in path.split(".")]
    for part in parents:
        place = place[part]
    place[last] = value
    return data


TREE = "standard.roles.0.requirement.all_of.1.hours"


@pytest.mark.parametrize(
    ("base", "path", "value", "where", "message"),
    [
        (HOURS, "question.end", "2026-06-01T07:00-05:00", "$.question.end", "not after start"),
        (HOURS, "question.end", "2026-05-01T07:00-05:00", "$.question.end", "not after start"),
        (HOURS, "question.start", "2026-06-01T07:00", "$.question.start", "no offset"),
        (HOURS, "question.start", "2026-06-01T07:00:30-05:00", "$.question.start", "whole minute"),
        (HOURS, "question.start", "1st of June at seven", "$.question.start", "ISO 8601"),
        (HOURS, "question.start", "0001-01-01T00:00+14:00", "$.question.start", "years"),
        (HOURS, "question.end", "9999-12-31T23:59-05:00", "$.question.end", "years"),
        (HOURS, "question.time_zone", "Nowhere/Land", "$.question.time_zone", "time zone"),
        (HOURS, "question.worker", "nobody", "$.question.worker", "unknown person"),
        (HOURS, "question.model", "unheard", "$.question.model", "unknown crane model"),
        (HOURS, "question.employer", "unheard", "$.question.employer", "unknown employer"),
        (HOURS, "hours.0.end", "2026-05-05T08:00-05:00", "$.hours[0].end", "24 hours"),
        (HOURS, "hours.0.end", "2026-05-04T07:00-05:00", "$.hours[0].end", "not after start"),
        (HOURS, "hours.0.recorded_at", "2026-05-04T16:59-05:00", "$.hours[0].recorded_at", "before they"),
        (
            HOURS,
            "hours.0.countersignatures.0.at",
            "2026-05-04T16:59-05:00",
            "$.hours[0].countersignatures[0].at",
            "before the work ended",
        ),
        (
            HOURS,
            "hours.0.countersignatures.0.recorded_at",
            "2026-05-04T16:59-05:00",
            "$.hours[0].countersignatures[0].recorded_at",
            "before it was signed",
        ),
        (
            HOURS,
            "hours.0.countersignatures.0.by",
            "nobody",
            "$.hours[0].countersignatures[0].by",
            "unknown person",
        ),
        (HOURS, "hours.0.model", "unheard", "$.hours[0].model", "unknown crane model"),
        (HOURS, "hours.0.operation", "sailing", "$.hours[0].operation", "sailing"),
        (HOURS, "assessments.0.id", "h-1", "$.assessments[0].id", "already"),
        (HOURS, "assessments.0.on_behalf_of", "nobody", "$.assessments[0].on_behalf_of", "employer"),
        (
            HOURS,
            "assessments.0.recorded_at",
            "2026-05-01T09:59-05:00",
            "$.assessments[0].recorded_at",
            "before it was given",
        ),
        (HOURS, "people.1.id", "robin", "$.people[1].id", "already"),
        (HOURS, "hours.0.supersedes", "h-1", "$.hours[0].supersedes", "itself"),
        (HOURS, "hours.0.supersedes", "unheard", "$.hours[0].supersedes", "not among"),
        (HOURS, "hours.0.withdrawn", True, "$.hours[0].withdrawn", "supersedes"),
        (CERTIFICATE, "certifications.0.expires", "2019-12-31", "$.certifications[0].expires", "before"),
        (CERTIFICATE, "certifications.0.expires", "2026-02-30", "$.certifications[0].expires", "date"),
        (
            CERTIFICATE,
            "certification_statuses.0.certification",
            "unheard",
            "$.certification_statuses[0].certification",
            "not among",
        ),
        (HOURS, f"{TREE}.source", "unheard", f"$.{TREE}.source", "unknown source"),
        (HOURS, f"{TREE}.after", "unheard", "$.standard.roles[0].requirement", "unknown"),
        (HOURS, f"{TREE}.after", "model_hours", "$.standard.roles[0].requirement", "itself"),
        (HOURS, f"{TREE}.minimum_minutes", 0, f"$.{TREE}.minimum_minutes", ""),
        (HOURS, f"{TREE}.minimum_minutes", 60.0, f"$.{TREE}.minimum_minutes", ""),
        (HOURS, f"{TREE}.within_months", 12.0, f"$.{TREE}.within_months", ""),
        (HOURS, f"{TREE}.minimum_minutes", {"setting": "x"}, f"$.{TREE}.minimum_minutes", "setting"),
        (
            HOURS,
            "standard.provenance.countersign_within_days",
            10**12,
            "$.standard.provenance.countersign_within_days",
            "maximum",
        ),
        (HOURS, "standard.roles.0.requirement", {"all_of": []}, "$.standard.roles[0].requirement.all_of", "nothing"),
        (
            HOURS,
            "standard.roles.0.requirement",
            {"at_least": {"count": 0, "of": [{"all_of": []}]}},
            "$.standard.roles[0].requirement.at_least",
            "0 of 1",
        ),
    ],
)
def test_what_is_wrong_is_named_by_its_path(base: Data, path: str, value: Any, where: str, message: str) -> None:
    error = refused(changed(base, path, value))
    plain = "".join(f"[{part}]" if part.isdigit() else f".{part}" for part in where[2:].split("."))
    assert error.path in (where, f"${plain}")
    assert message in error.message


def test_the_bases_of_these_tests_are_good() -> None:
    for base in (HOURS, CERTIFICATE):
        assert read_case(json.dumps(base)).evidence


def nested(levels: int) -> Data:
    node: Data = {"no_stand_down": {"key": "k", "sentence": "s", "source": "practice"}}
    for _ in range(levels):
        node = {"all_of": [node]}
    return node


def test_a_tree_a_hundred_levels_deep_is_refused_where_it_gets_too_deep() -> None:
    error = refused(changed(HOURS, "standard.roles.0.requirement", nested(100)))
    assert error.path.startswith("$.standard.roles[0].requirement.all_of[0].all_of[0]")
    assert "levels" in error.message


def test_text_nested_without_end_is_refused() -> None:
    assert refused("[" * 200_000).path == "$"


def test_data_that_contains_itself_is_refused() -> None:
    node: Data = {"all_of": []}
    node["all_of"].append(node)
    data = deepcopy(HOURS["standard"])
    data["roles"][0]["requirement"] = node
    with pytest.raises(BadInput, match=r"\$\.roles\[0\]\.requirement\.all_of\[0\]: refers to itself"):
        parse_standard(data)


def test_shared_parts_that_multiply_without_end_are_refused() -> None:
    data: Any = ["x"]
    for _ in range(30):
        data = [data, data]
    with pytest.raises(BadInput, match="values"):
        check_depth(data)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (b'{"title": "\xff"}', "not UTF-8"),
        ('{"title": "a"}'.encode("utf-16"), "not UTF-8"),
        (b"\xed\xa0\x80", "not UTF-8"),
        ("{", "line 1"),
        ("", "not JSON"),
        ('{"title": "a", "title": "b"}', "'title' stands twice"),
        ('{"question": {"role": "a", "role": "b"}}', "'role' stands twice"),
        ('{"title": "\\ud800"}', "character"),
        ('{"title": ' + "9" * 5000 + "}", "digits"),
        ("[]", ""),
        ("NaN", ""),
    ],
)
def test_text_that_is_no_case_file_is_refused(text: str | bytes, message: str) -> None:
    assert message in str(refused(text))


def test_a_certificate_may_expire_on_the_last_day_there_is() -> None:
    case = read_case(json.dumps(changed(CERTIFICATE, "certifications.0.expires", "9999-12-31")))
    from registry.engine.decide import decide

    assert decide(case.evidence, case.standard, case.question).holds_until is None


def _missing(key: str) -> Callable[[], Data]:
    def make() -> Data:
        data = deepcopy(HOURS)
        del data[key]
        return data

    return make


@pytest.mark.parametrize("key", ["title", "people", "standard", "question"])
def test_a_missing_part_is_named(key: str) -> None:
    assert key in refused(_missing(key)()).message
