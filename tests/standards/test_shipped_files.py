"""The role standards that come with the register."""

from __future__ import annotations

from dataclasses import fields
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from registry.engine.evidence import OPERATIONS, ROLES
from registry.engine.files.standard_file import parse_standard
from registry.engine.requirements.appointment import Appointed
from registry.engine.requirements.assessment import PracticalAssessment
from registry.engine.requirements.certificate import Certified
from registry.engine.requirements.hours import Hours
from registry.engine.requirements.leaf import Leaf
from registry.engine.standard import Standard
from registry.engine.tree import Group, Node
from registry.standards.files import read_standard_file

FOLDER = Path(__file__).parents[2] / "fixtures" / "standards"
FILES = sorted(FOLDER.glob("*.yaml"))
AMERICAN = [path for path in FILES if path.stem.endswith("-us") or path.stem.startswith("us-")]
REGULATIONS = {"US": "29 CFR 1926.", "CA-BC": "British Columbia, Occupational Health and Safety Regulation, 14.73."}
SCOPES = ("configuration", "model", "family", "class", "any")


@pytest.fixture(scope="module", params=FILES, ids=lambda path: path.stem)
def path(request: pytest.FixtureRequest) -> Path:
    found = request.param
    assert isinstance(found, Path)
    return found


@pytest.fixture(scope="module")
def standard(path: Path) -> Standard:
    return parse_standard(read_standard_file(path))


@pytest.fixture(scope="module", params=AMERICAN, ids=lambda path: path.stem)
def american(request: pytest.FixtureRequest) -> Standard:
    return parse_standard(read_standard_file(request.param))


@pytest.fixture(scope="module")
def columbian() -> Standard:
    return parse_standard(read_standard_file(FOLDER / "ca-bc-tower-crane.yaml"))


@pytest.fixture(scope="module")
def federal() -> Standard:
    return parse_standard(read_standard_file(FOLDER / "us-federal-crane-assembly.yaml"))


@pytest.fixture(scope="module")
def makers() -> Standard:
    return parse_standard(read_standard_file(FOLDER / "makers-practice-us.yaml"))


def test_the_file_is_named_after_its_standard(path: Path, standard: Standard) -> None:
    assert path.stem == standard.id


def test_both_sets_are_shipped() -> None:
    assert {path.stem for path in FILES} >= {"us-federal-crane-assembly", "makers-practice-us"}


def test_every_role_has_a_standard_in_every_operation(standard: Standard) -> None:
    assert set(standard.by_role_and_operation) == set(product(ROLES, OPERATIONS))


def test_every_leaf_has_a_sentence_a_source_and_a_cost_worth_declaring(path: Path) -> None:
    data = read_standard_file(path)
    for leaf in _leaves_of_data(data["roles"]):
        assert leaf["sentence"].strip()
        assert leaf["source"] in data["sources"]
        assert leaf["cost"] >= 1


def test_every_source_is_used(standard: Standard) -> None:
    used = {leaf.source.id for role in standard.roles for leaf in role.leaves()}
    used |= {standard.crew.source.id, standard.crew.hours_source.id}
    assert used == set(standard.sources)


def test_figures_and_practice_without_a_publication_say_so(standard: Standard) -> None:
    titles = {
        "employer_setting": "set by the employer, no published figure",
        "common_practice": "common practice, no source",
    }
    for source in standard.sources.values():
        if source.kind == "regulation":
            assert source.title.startswith(REGULATIONS[standard.jurisdiction])
        else:
            assert source.title == titles[source.kind]


def test_hours_are_settings_that_cite_no_publication(standard: Standard) -> None:
    for role in standard.roles:
        for leaf in role.leaves():
            if isinstance(leaf, Hours):
                assert leaf.set_by_employer
                assert leaf.source.kind == "employer_setting"


def test_no_setting_can_be_lowered_to_a_day_or_less(standard: Standard) -> None:
    assert all(each.floor > 10 * 60 for each in standard.settings.values())


@pytest.mark.parametrize("path", AMERICAN, ids=lambda path: path.stem)
def test_wording_from_memory_or_a_secondary_text_says_so(path: Path) -> None:
    sources = read_standard_file(path)["sources"]
    for key in ("1404-d", "1404-r"):
        assert "from memory" in sources[key]["note"].lower()
    for key in ("1427-f", "1430-c-d-g", "1430-g-2"):
        assert "secondary text" in sources[key]["note"]


@pytest.mark.parametrize(
    ("role", "leaf", "clause"),
    [
        ("erector", "crew_instruction", "1926.1404(d)"),
        ("erector", "rules_training", "1926.1430(c), (d), (g)"),
        ("erection_supervisor", "competent_person", "1926.32(f)"),
        ("erection_supervisor", "certified_erector", "1926.1404(a)(1)"),
        ("erection_supervisor", "procedures", "1926.1404(b)"),
        ("rigger", "practical_assessment", "1926.1404(r)"),
        ("signal_person", "third_party_assessment", "1926.1428(a)(1)"),
        ("signal_person", "employer_assessment", "1926.1428(a)(2)"),
        ("signal_person", "signal_types", "1926.1428(a)(3)"),
        ("signal_person", "no_stand_down", "1926.1428(b)"),
        ("erector", "no_stand_down", "1926.1430(g)(2)"),
        ("crane_operator", "certified_operator", "1926.1427(a)"),
        ("crane_operator", "practical_assessment", "1926.1427(f)"),
    ],
)
def test_requirements_name_their_clause(american: Standard, role: str, leaf: str, clause: str) -> None:
    for operation in OPERATIONS:
        leaves = _leaves(american, role, operation)
        assert leaves[leaf].source.title == f"29 CFR {clause}"


def test_a_signal_persons_assessment_is_a_third_partys_or_the_employers(
    standard: Standard,
) -> None:
    leaves = _leaves(standard, "signal_person", "climbing")
    third_party, employers = leaves["third_party_assessment"], leaves["employer_assessment"]
    assert isinstance(third_party, PracticalAssessment)
    assert isinstance(employers, PracticalAssessment)
    assert (third_party.assessor, employers.assessor) == ("third_party", "employer")


def test_the_supervisor_may_stop_the_work_and_is_called_by_the_jurisdictions_name(standard: Standard) -> None:
    for operation in OPERATIONS:
        appointment = _leaves(standard, "erection_supervisor", operation)["competent_person"]
        assert isinstance(appointment, Appointed)
        assert appointment.stop_work_authority
    titles = {"US": "A/D director", "CA-BC": "qualified supervisor"}
    assert standard.title_of("erection_supervisor") == titles[standard.jurisdiction]


def test_british_columbia_cites_its_regulation_for_the_qualified_supervisor_alone(columbian: Standard) -> None:
    # Of 14.73.1 - 14.73.3 the published summary says no more about who does what.
    cited = {
        (role.role, leaf.key) for role in columbian.roles for leaf in role.leaves() if leaf.source.kind == "regulation"
    }
    assert cited == {("erection_supervisor", "competent_person")}
    assert "official summary" in columbian.sources["14-73"].note


def test_assessors_can_be_entitled_without_anybodys_signature(standard: Standard) -> None:
    for operation in OPERATIONS:
        root = standard.by_role_and_operation["assessor", operation].requirement
        unsigned = [
            leaf.key
            for leaf in _leaves(standard, "assessor", operation).values()
            if isinstance(leaf, Certified | Appointed) and _met(root, {leaf.key, "no_stand_down"})
        ]
        assert unsigned == ["assessor_certificate", "maker_instructor", "founding_appointment"]


@pytest.mark.parametrize(("role", "operation"), list(product(ROLES, OPERATIONS)))
def test_makers_practice_permits_nothing_that_the_federal_set_refuses(
    federal: Standard, makers: Standard, role: str, operation: str
) -> None:
    ours, theirs = _leaves(makers, role, operation), _leaves(federal, role, operation)
    stricter = {key for key, leaf in ours.items() if key in theirs and _implies(leaf, theirs[key])}
    weak = makers.by_role_and_operation[role, operation].requirement
    strong = federal.by_role_and_operation[role, operation].requirement
    for chosen in product((False, True), repeat=len(ours)):
        met = {key for key, holds in zip(ours, chosen, strict=True) if holds}
        if _met(weak, met):
            assert _met(strong, met & stricter), met


@pytest.mark.parametrize(
    "role",
    ["erector", "erection_supervisor", "rigger", "crane_operator", "assist_crane_operator"],
)
@pytest.mark.parametrize("operation", OPERATIONS)
def test_makers_practice_always_asks_for_hours_and_an_assessment_on_the_very_model(
    makers: Standard, role: str, operation: str
) -> None:
    leaves = _leaves(makers, role, operation)
    root = makers.by_role_and_operation[role, operation].requirement
    for key in ("model_hours", "practical_assessment"):
        leaf = leaves[key]
        assert isinstance(leaf, Hours | PracticalAssessment)
        assert leaf.scope == "model"
        assert not _met(root, set(leaves) - {key})


def test_a_dismantling_is_directed_by_a_certified_erector_or_an_engineer_trained_on_the_model(
    makers: Standard,
) -> None:
    root = makers.by_role_and_operation["erection_supervisor", "dismantling"].requirement
    every = set(_leaves(makers, "erection_supervisor", "dismantling"))
    assert _met(root, every - {"engineer_licence", "experience_hours"})
    assert _met(root, every - {"certified_erector"})
    assert not _met(root, every - {"certified_erector", "engineer_licence"})
    assert not _met(root, every - {"model_instruction"})


def _leaves_of_data(node: Any) -> list[dict[str, Any]]:
    if isinstance(node, list):
        return [leaf for each in node for leaf in _leaves_of_data(each)]
    if not isinstance(node, dict):
        return []
    if "sentence" in node:
        return [node]
    return [leaf for each in node.values() for leaf in _leaves_of_data(each)]


def _leaves(standard: Standard, role: str, operation: str) -> dict[str, Leaf]:
    return {leaf.key: leaf for leaf in standard.by_role_and_operation[role, operation].leaves()}


def _met(node: Node, met: set[str]) -> bool:
    if isinstance(node, Group):
        return sum(_met(child, met) for child in node.children) >= node.count
    return node.key in met


def _implies(strict: Leaf, mild: Leaf) -> bool:
    """Whether meeting ``strict`` means meeting ``mild``, field by field."""
    if type(strict) is not type(mild):
        return False
    for name in {each.name for each in fields(strict)} - {each.name for each in fields(Leaf)}:
        ours, theirs = getattr(strict, name), getattr(mild, name)
        if name == "scope" and not isinstance(strict, Certified):
            if SCOPES.index(ours) > SCOPES.index(theirs):
                return False
        elif name == "operations":
            # Empty means the operation in question, narrower than all of them.
            if ours != theirs and (ours or not theirs):
                return False
        elif name == "within_months":
            if theirs is not None and (ours is None or ours > theirs):
                return False
        elif name == "minimum":
            if ours < theirs:
                return False
        elif ours != theirs:
            return False
    return True
