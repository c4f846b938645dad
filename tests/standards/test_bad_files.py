"""A standard that is wrong is refused, and the message says where."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from registry.engine.bad_input import BadInput
from registry.engine.files.standard_file import parse_standard
from registry.standards.files import plain_data, read_standard_file, sha256_of

Data = dict[str, Any]
ROOT = "$.roles[0].requirement"


def _no_stand_down(key: str = "no_stand_down") -> Data:
    return {"no_stand_down": {"key": key, "sentence": "no stand-down", "source": "rule"}}


def _hours(key: str = "hours", **more: Any) -> Data:
    content = {
        "key": key,
        "sentence": "hours on the model",
        "source": "own",
        "minimum_minutes": {"setting": "experience"},
        "scope": "model",
        **more,
    }
    return {"hours": content}


def _certificate() -> Data:
    return {"certification": {"key": "certificate", "sentence": "certified", "source": "rule", "schemes": ["assessor"]}}


def _standard(requirement: Data | None = None) -> Data:
    return {
        "standard": "small",
        "version": 1,
        "title": "Small standard",
        "jurisdiction": "US",
        "in_force": {"from": "2020-01-01"},
        "sources": {
            "rule": {"title": "A rule", "kind": "regulation"},
            "own": {
                "title": "set by the employer, no published figure",
                "kind": "employer_setting",
            },
        },
        "settings": {"experience": {"sentence": "Hours", "minutes": 2400, "at_least_minutes": 960}},
        "sign_off": {"countersigners": ["assessor"], "assessors": ["assessor"]},
        "provenance": {"counts_in_full": ["witnessed"], "countersign_within_days": 7},
        "plausibility": {
            "crane_not_on_site": "nothing",
            "recorded_late": "nothing",
            "recorded_late_after_days": 30,
        },
        "crew": {
            "trainees_per_erector": 1,
            "longest_day_minutes": 600,
            "source": "rule",
            "longest_day_source": "rule",
        },
        "roles": [
            {
                "role": "assessor",
                "operations": ["erection"],
                "requirement": requirement or {"all_of": [_no_stand_down(), {"any_of": [_hours(), _certificate()]}]},
            }
        ],
    }


def test_the_small_standard_is_valid() -> None:
    assert parse_standard(_standard()).id == "small"


@pytest.mark.parametrize(
    ("requirement", "path"),
    [
        ({"all_of": []}, f"{ROOT}.all_of"),
        ({"any_of": []}, f"{ROOT}.any_of"),
        ({"all_of": [_no_stand_down(), {"all_of": []}]}, f"{ROOT}.all_of[1].all_of"),
        ({"at_least": {"count": 0, "of": [_no_stand_down()]}}, f"{ROOT}.at_least"),
        ({"at_least": {"count": -1, "of": [_no_stand_down()]}}, f"{ROOT}.at_least"),
        ({"at_least": {"count": 2, "of": [_no_stand_down()]}}, f"{ROOT}.at_least"),
        ({"at_least": {"count": 1, "of": []}}, f"{ROOT}.at_least"),
        ({"all_of": [_no_stand_down(), _hours(after="hours")]}, ROOT),
        ({"all_of": [_no_stand_down(), _hours("a", after="b"), _hours("b", after="a")]}, ROOT),
        ({"all_of": [_no_stand_down(), _hours(after="nothing_of_the_kind")]}, ROOT),
        (
            {"all_of": [_no_stand_down(), _hours(source="hearsay")]},
            f"{ROOT}.all_of[1].hours.source",
        ),
        (
            {"all_of": [_no_stand_down(), _hours(minimum_minutes={"setting": "other"})]},
            f"{ROOT}.all_of[1].hours.minimum_minutes",
        ),
        ({"all_of": [_no_stand_down(), _hours(minimum_minutes=0)]}, f"{ROOT}.all_of[1].hours"),
        ({"all_of": [_hours()]}, ROOT),
        ({"any_of": [_no_stand_down(), _hours()]}, ROOT),
        ({"all_of": [_no_stand_down(), _hours(), _hours()]}, ROOT),
        ({"all_of": [_no_stand_down(), {"luck": {"key": "luck"}}]}, f"{ROOT}.all_of[1]"),
    ],
)
def test_a_tree_that_is_wrong_is_refused_with_its_path(requirement: Data, path: str) -> None:
    with pytest.raises(BadInput) as refused:
        parse_standard(_standard(requirement))
    assert refused.value.path.startswith(path)


def test_a_leaf_without_a_source_is_refused() -> None:
    requirement = {"all_of": [_no_stand_down(), _hours()]}
    del requirement["all_of"][1]["hours"]["source"]
    with pytest.raises(BadInput, match="'source' is a required property") as refused:
        parse_standard(_standard(requirement))
    assert refused.value.path == f"{ROOT}.all_of[1].hours"


def test_a_hundred_levels_are_refused_before_anything_recursive_runs() -> None:
    requirement = _no_stand_down()
    for _ in range(100):
        requirement = {"all_of": [requirement]}
    with pytest.raises(BadInput, match="nested deeper than") as refused:
        parse_standard(_standard(requirement))
    assert refused.value.path.startswith(ROOT)


def test_an_employers_figure_below_the_floor_is_refused() -> None:
    with pytest.raises(BadInput, match="below the standard's floor") as refused:
        parse_standard(_standard(), figures={"experience": 60})
    assert refused.value.path == "$.settings.experience"


def test_an_employers_figure_for_no_setting_is_refused() -> None:
    with pytest.raises(BadInput, match="no setting 'other'"):
        parse_standard(_standard(), figures={"other": 6000})


def test_a_setting_below_its_own_floor_is_refused() -> None:
    data = _standard()
    data["settings"]["experience"]["minutes"] = 900
    with pytest.raises(BadInput) as refused:
        parse_standard(data)
    assert refused.value.path == "$.settings.experience.minutes"


def test_a_sign_off_role_without_a_standard_is_refused() -> None:
    data = _standard()
    data["sign_off"]["countersigners"] = ["erection_supervisor"]
    with pytest.raises(BadInput) as refused:
        parse_standard(data)
    assert refused.value.path == "$.sign_off.countersigners"


def _assessed(key: str = "assessed", **more: Any) -> Data:
    return {"assessment": {"key": key, "sentence": "assessed", "source": "rule", "scope": "model", **more}}


def _signed_by(countersigners: list[str], assessors: list[str], **trees: Any) -> Data:
    data = _standard()
    data["sign_off"] = {"countersigners": countersigners, "assessors": assessors}
    data["roles"] = [
        {"role": role, "operations": ["erection", "climbing"], "requirement": {"all_of": [_no_stand_down(), *tree]}}
        for role, tree in trees.items()
    ]
    return data


FROM_HOURS, FROM_ASSESSMENT = [_hours()], [_assessed()]


@pytest.mark.parametrize(
    ("data", "path"),
    [
        # Assessors need countersigned hours, and only assessors countersign.
        (_signed_by(["assessor"], ["assessor"], assessor=FROM_HOURS), "countersigners[0]"),
        # Each needs the other.
        (_signed_by(["erector"], ["assessor"], erector=FROM_ASSESSMENT, assessor=FROM_HOURS), "countersigners[0]"),
        # Countersigners are certified, but nobody assesses the assessors.
        (_signed_by(["erector"], ["assessor"], erector=[_certificate()], assessor=FROM_ASSESSMENT), "assessors[0]"),
        # One of two roles that sign.
        (
            _signed_by(
                ["erector", "rigger"],
                ["erector"],
                erector=[_certificate()],
                rigger=[
                    _assessed(role="rigger"),
                    _hours(after="deadlock"),
                    _hours("deadlock", after="never"),
                    _assessed("never", operations=["dismantling"]),
                ],
            ),
            "countersigners[1]",
        ),
    ],
)
def test_a_standard_in_which_nobody_can_ever_sign_is_refused_and_says_where(data: Data, path: str) -> None:
    with pytest.raises(BadInput, match="nobody can ever sign as") as refused:
        parse_standard(data)
    assert refused.value.path == f"$.sign_off.{path}"


@pytest.mark.parametrize(
    "data",
    [
        _signed_by(["erector"], ["assessor"], erector=[_certificate()], assessor=FROM_HOURS),
        _signed_by(["erector"], ["erector"], erector=[{"any_of": [*FROM_HOURS, _certificate()]}]),
        # Hours of another register need no signer of this one.
        _signed_by(["assessor"], ["assessor"], assessor=FROM_HOURS)
        | {"provenance": {"counts_in_full": ["witnessed", "imported"], "countersign_within_days": 7}},
    ],
)
def test_a_standard_whose_first_signers_need_no_signature_is_valid(data: Data) -> None:
    assert parse_standard(data).id == "small"


# What YAML brings of its own


def test_an_alias_to_itself_is_refused() -> None:
    with pytest.raises(BadInput, match="refers to itself") as refused:
        plain_data("requirement: &whole\n  all_of: [*whole]\n")
    assert refused.value.path == "$.requirement.all_of[0]"


def test_a_hundred_levels_of_yaml_are_refused() -> None:
    with pytest.raises(BadInput, match="nested deeper than"):
        plain_data("a: " + "[" * 100 + "]" * 100)


@pytest.mark.parametrize("depth", [5_000])
def test_absurdly_deep_yaml_is_refused_and_not_a_crash(depth: int) -> None:
    # On one line, each bracket might begin a key, and looking for its colon takes quadratic time.
    with pytest.raises(BadInput):
        plain_data("a: " + "[\n" * depth + "]" * depth)


def test_a_key_given_twice_is_refused_and_not_the_last_taken() -> None:
    text = "hours:\n  minimum_minutes: 4800\n  minimum_minutes: 1\n"
    with pytest.raises(BadInput, match=r"(?s)'minimum_minutes' is given twice.*line 3"):
        plain_data(text)


def test_dates_become_text() -> None:
    assert plain_data("from: 2020-01-31\n") == {"from": "2020-01-31"}


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("- a list\n", "$"),
        ("", "$"),
        ("a: [\n", "$"),
        ("1404: a clause\n", "$"),
        ("sources: {1404: a clause}\n", "$.sources"),
        ("a: !!binary aGVsbG8=\n", "$.a"),
        ("a: !!python/object/apply:os.getcwd []\n", "$"),
    ],
)
def test_what_is_no_plain_mapping_is_refused(text: str, path: str) -> None:
    with pytest.raises(BadInput) as refused:
        plain_data(text)
    assert refused.value.path == path


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "standard.yaml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadInput, match="UTF-8"):
        read_standard_file(path)


def test_the_fingerprint_depends_on_content_and_not_on_order() -> None:
    assert sha256_of({"a": 1, "b": [1, 2]}) == sha256_of({"b": [1, 2], "a": 1})
    assert sha256_of({"a": [1, 2]}) != sha256_of({"a": [2, 1]})
