"""Stored versions: loading, succession, who may write, and what employers set."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from copy import deepcopy
from datetime import UTC, date, datetime
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connections, transaction

from registry.engine.bad_input import BadInput
from registry.people.models import Employer
from registry.people.services import register_employer
from registry.standards.files import read_standard_file
from registry.standards.models import EmployerFigure, StandardVersion
from registry.standards.queries import (
    history_of,
    in_force_window,
    parsed,
    standards_for,
)
from registry.standards.services import (
    load_standard_file,
    load_standards,
    set_employer_figure,
)
from tests.conftest import load_shipped_standards

# Owner and application are two connections; each must see what the other has committed.
pytestmark = pytest.mark.django_db(databases=["default", "owner"], transaction=True)

SHIPPED = Path(__file__).parents[2] / "fixtures" / "standards"
KEY = "us-federal-crane-assembly"
FEDERAL = read_standard_file(SHIPPED / f"{KEY}.yaml")
JANUARY = datetime(2026, 1, 5, 8, tzinfo=UTC)
MARCH = datetime(2026, 3, 2, 8, tzinfo=UTC)

WriteFile = Callable[..., Path]


@pytest.fixture(scope="module")
def tables_without_migrated_rows(tables_without_migrated_rows: list[str]) -> list[str]:
    """Migrations load no standard, and each test here starts from there."""
    return [*tables_without_migrated_rows, "standards_standardversion"]


@pytest.fixture(scope="module", autouse=True)
def _shipped_standards_make_way(
    tables_without_migrated_rows: list[str], empty_tables: Callable[[list[str]], None], django_db_blocker: Any
) -> Iterator[None]:
    """All other tests rely on the shipped standards, so they return afterwards."""
    empty_tables(tables_without_migrated_rows)
    yield
    empty_tables(tables_without_migrated_rows)
    with django_db_blocker.unblock():
        load_shipped_standards()


@pytest.fixture
def write(tmp_path: Path) -> WriteFile:
    """Write the federal set with changes, as a file of its own; of its roles only those that sign."""
    signing = {role for roles in FEDERAL["sign_off"].values() for role in roles}
    fewer = FEDERAL | {"roles": [each for each in FEDERAL["roles"] if each["role"] in signing]}

    def file(name: str, **changes: Any) -> Path:
        path = tmp_path / f"{name}.yaml"
        # JSON is YAML too, and written faster.
        path.write_text(json.dumps(fewer | changes), encoding="utf-8")
        return path

    return file


@pytest.fixture
def employer() -> Employer:
    return register_employer(name="Northern Hoist", jurisdiction="US", recorded_at=JANUARY)


def in_force_by_sql(key: str, day: date) -> int | None:
    with connections["default"].cursor() as cursor:
        cursor.execute("SELECT standard_in_force(%s, %s)", [key, day])
        (found,) = cursor.fetchone()
    assert found is None or isinstance(found, int)
    return found


def evidence_version(subject: str) -> int:
    with connections["owner"].cursor() as cursor:
        cursor.execute("SELECT version FROM evidence_evidenceversion WHERE subject = %s", [subject])
        row = cursor.fetchone()
    return row[0] if row else 0


def test_the_shipped_sets_load_once() -> None:
    first = load_standards(SHIPPED, recorded_at=JANUARY)
    again = load_standards(SHIPPED, recorded_at=MARCH)
    assert [each.version.key for each in first] == ["ca-bc-tower-crane", "makers-practice-us", KEY]
    assert all(each.is_new for each in first)
    assert not any(each.is_new for each in again)
    assert {each.recorded_at for each in StandardVersion.objects.all()} == {JANUARY}


def test_a_stored_version_with_other_content_is_refused(write: WriteFile) -> None:
    load_standard_file(write("first"), recorded_at=JANUARY)
    with pytest.raises(BadInput, match="stored with other content") as refused:
        load_standard_file(write("other", title="Another title"), recorded_at=MARCH)
    assert refused.value.path == "other.yaml: $.version"


def test_a_folder_is_loaded_whole_or_not_at_all(write: WriteFile) -> None:
    folder = write("good").parent
    write("wrong", standard="wrong", roles=[])
    with pytest.raises(BadInput) as refused:
        load_standards(folder, recorded_at=JANUARY)
    assert refused.value.path == "wrong.yaml: $.roles"
    assert not StandardVersion.objects.exists()


def test_a_later_version_ends_the_earlier_the_day_before(write: WriteFile) -> None:
    first = load_standard_file(write("first"), recorded_at=JANUARY).version
    changed = write("second", version=2, in_force={"from": "2026-07-01", "until": "2026-12-31"})
    second = load_standard_file(changed, recorded_at=MARCH).version

    assert in_force_window(first) == (date(2020, 1, 1), date(2026, 6, 30))
    assert in_force_window(second) == (date(2026, 7, 1), date(2026, 12, 31))
    assert in_force_window(first, known_at=JANUARY) == (date(2020, 1, 1), None)
    assert parsed(first, {}).in_force_until == date(2026, 6, 30)
    assert parsed(first, {}, known_at=JANUARY).in_force_until is None
    history = history_of(KEY)
    for known_at in (None, JANUARY):
        assert history.parsed(first, {}, known_at) is parsed(first, {}, known_at)


@pytest.mark.parametrize(
    ("day", "version"),
    [
        (date(2019, 12, 31), None),
        (date(2020, 1, 1), 1),
        (date(2026, 6, 30), 1),
        (date(2026, 7, 1), 2),
        (date(2026, 12, 31), 2),
        # The first version is open in its file, but the second ended it.
        (date(2027, 1, 1), None),
    ],
)
def test_each_day_has_one_version_or_none(write: WriteFile, day: date, version: int | None) -> None:
    load_standard_file(write("first"), recorded_at=JANUARY)
    changed = write("second", version=2, in_force={"from": "2026-07-01", "until": "2026-12-31"})
    load_standard_file(changed, recorded_at=MARCH)

    found = history_of(KEY).in_force(day)
    assert (found.version if found else None) == version
    assert in_force_by_sql(KEY, day) == (found.pk if found else None)
    assert standards_for("US", day) == ([found] if found else [])


def test_before_a_version_was_recorded_it_does_not_exist(write: WriteFile) -> None:
    load_standard_file(write("first"), recorded_at=MARCH)
    day = date(2026, 2, 1)
    assert history_of(KEY).in_force(day) is not None
    assert history_of(KEY).in_force(day, known_at=JANUARY) is None
    assert standards_for("US", day, known_at=JANUARY) == []


def test_other_jurisdictions_see_none_of_it(write: WriteFile) -> None:
    load_standard_file(write("first"), recorded_at=JANUARY)
    assert standards_for("CA-BC", date(2026, 2, 1)) == []


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"version": 1}, "$.version"),
        ({"version": 3, "in_force": {"from": "2026-07-01"}}, "$.in_force.from"),
        ({"version": 3, "in_force": {"from": "2026-06-30"}}, "$.in_force.from"),
        (
            {"version": 3, "in_force": {"from": "2027-01-01"}, "jurisdiction": "CA-BC"},
            "$.jurisdiction",
        ),
    ],
)
def test_a_version_follows_the_newest_in_number_time_and_place(
    write: WriteFile, changes: dict[str, Any], path: str
) -> None:
    newest = write("newest", version=2, in_force={"from": "2026-07-01"})
    load_standard_file(newest, recorded_at=JANUARY)
    with pytest.raises(BadInput) as refused:
        load_standard_file(write("next", **changes), recorded_at=MARCH)
    assert refused.value.path == f"next.yaml: {path}"


@pytest.mark.parametrize("alias", ["default", "owner"])
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE standards_standardversion SET title = 'x'",
        "DELETE FROM standards_standardversion",
        "UPDATE standards_employerfigure SET minutes = 1",
        "DELETE FROM standards_employerfigure",
    ],
)
def test_rows_are_never_edited(write: WriteFile, employer: Employer, alias: str, statement: str) -> None:
    load_standard_file(write("first"), recorded_at=JANUARY)
    _figure(employer, 6000)
    with (
        pytest.raises(DatabaseError),
        transaction.atomic(using=alias),
        connections[alias].cursor() as cursor,
    ):
        cursor.execute(statement)


def test_the_application_may_not_store_a_standard(write: WriteFile) -> None:
    stored = load_standard_file(write("first"), recorded_at=JANUARY).version
    stored.pk = None
    stored.version = 2
    stored.in_force_from = date(2026, 7, 1)
    with pytest.raises(DatabaseError, match="permission denied"):
        stored.save(using="default", force_insert=True)


def test_standards_and_figures_move_the_evidence_version(write: WriteFile, employer: Employer) -> None:
    of_standard, of_employer = f"standard:{KEY}", f"employer:{employer.pk}"
    before = evidence_version(of_standard), evidence_version(of_employer)
    load_standard_file(write("first"), recorded_at=JANUARY)
    assert evidence_version(of_standard) > before[0]
    _figure(employer, 6000)
    assert evidence_version(of_employer) > before[1]


def test_the_latest_recorded_figure_counts(write: WriteFile, employer: Employer) -> None:
    version = load_standard_file(write("first"), recorded_at=JANUARY).version
    _figure(employer, 6000)
    _figure(employer, 5400, recorded_at=MARCH)
    assert history_of(KEY, employer.pk).figures() == {"erector_experience": 5400}
    assert history_of(KEY, employer.pk).figures(known_at=JANUARY) == {"erector_experience": 6000}
    assert parsed(version, history_of(KEY, employer.pk).figures()).figures == {"erector_experience": 5400}


@pytest.mark.parametrize(
    ("setting", "minutes", "message"),
    [
        ("erector_experience", 60, "below the standard's floor"),
        ("erector_experience", 0, "below the standard's floor"),
        ("unheard_of", 6000, "no setting 'unheard_of'"),
    ],
)
def test_a_figure_below_the_floor_or_for_no_setting_is_refused(
    write: WriteFile, employer: Employer, setting: str, minutes: int, message: str
) -> None:
    load_standard_file(write("first"), recorded_at=JANUARY)
    with pytest.raises(BadInput, match=message):
        _figure(employer, minutes, setting=setting)
    assert not EmployerFigure.objects.exists()


def test_a_figure_for_an_unknown_standard_is_refused(employer: Employer) -> None:
    with pytest.raises(BadInput, match="no standard"):
        _figure(employer, 6000)


def test_a_floor_that_rises_lifts_older_figures(write: WriteFile, employer: Employer) -> None:
    load_standard_file(write("first"), recorded_at=JANUARY)
    _figure(employer, 2400)
    settings = deepcopy(FEDERAL["settings"])
    settings["erector_experience"]["at_least_minutes"] = 3000
    risen = write("second", version=2, in_force={"from": "2026-07-01"}, settings=settings)
    version = load_standard_file(risen, recorded_at=MARCH).version

    assert parsed(version, {"erector_experience": 2400}).figures == {"erector_experience": 3000}
    with pytest.raises(BadInput, match="floor of 3000"):
        _figure(employer, 2400, recorded_at=MARCH)


def test_a_figure_for_a_setting_a_version_lacks_says_nothing_there(write: WriteFile) -> None:
    version = load_standard_file(write("first"), recorded_at=JANUARY).version
    assert parsed(version, {"since_dropped": 6000}).figures == {}


def test_parsing_happens_once_for_a_version_and_figures(write: WriteFile) -> None:
    version = load_standard_file(write("first"), recorded_at=JANUARY).version
    again = StandardVersion.objects.get(pk=version.pk)
    assert parsed(version, {}) is parsed(again, {})
    assert parsed(version, {"erector_experience": 6000}) is not parsed(version, {})


def test_the_command_loads_what_is_shipped_and_says_what_it_did() -> None:
    out = StringIO()
    call_command("load_standards", stdout=out)
    call_command("load_standards", stdout=out)
    assert out.getvalue().splitlines() == [
        "ca-bc-tower-crane version 1: loaded",
        "makers-practice-us version 1: loaded",
        f"{KEY} version 1: loaded",
        "ca-bc-tower-crane version 1: already there",
        "makers-practice-us version 1: already there",
        f"{KEY} version 1: already there",
    ]


def test_the_command_names_the_file_and_the_place(write: WriteFile, tmp_path: Path) -> None:
    wrong = write("wrong", sources={})
    with pytest.raises(CommandError, match=r"wrong\.yaml: \$\.sources: "):
        call_command("load_standards", str(wrong))
    with pytest.raises(CommandError, match="No such file"):
        call_command("load_standards", str(tmp_path / "missing.yaml"))


def _figure(
    employer: Employer,
    minutes: int,
    *,
    setting: str = "erector_experience",
    recorded_at: datetime = JANUARY,
) -> EmployerFigure:
    return set_employer_figure(
        employer=employer,
        standard_key=KEY,
        setting=setting,
        minutes=minutes,
        recorded_at=recorded_at,
    )
