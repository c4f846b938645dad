"""What raw SQL cannot do, by the application's role and, where it says so, by the owner."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import psycopg
import pytest
from django.db import IntegrityError, ProgrammingError, connections, transaction

from registry.evidence.models import Countersignature, Document, HoursEntry

RECORD_TABLES = (
    "evidence_hoursentry",
    "evidence_countersignature",
    "evidence_assessment",
    "evidence_certification",
    "evidence_certificationstatus",
    "evidence_instruction",
    "evidence_appointment",
    "evidence_standdown",
    "evidence_document",
    "people_employment",
    "people_languageskill",
    "people_worker",
    "people_employer",
    "people_closedaccount",
    "equipment_maker",
    "equipment_cranemodel",
    "equipment_familydeclaration",
    "equipment_site",
    "equipment_crane",
    "equipment_craneplacement",
)


def run(statement: str, *values: Any) -> None:
    with transaction.atomic(), connections["default"].cursor() as cursor:
        cursor.execute(statement, values)


def as_owner() -> "psycopg.Connection[tuple[Any, ...]]":
    return psycopg.connect(**connections["owner"].get_connection_params())


@pytest.fixture
def watched_clock(db: None) -> Iterator[None]:
    """Tests set up a past, so the database does not watch the clock in them unless it is told to."""
    policy = "UPDATE database_policy SET recorded_at_tolerance = %s"
    with as_owner() as owner:
        owner.execute(policy, [timedelta(minutes=10)])
    yield
    with as_owner() as owner:
        owner.execute(policy, [None])


@pytest.mark.django_db
@pytest.mark.parametrize("table", RECORD_TABLES)
def test_application_appends_and_does_nothing_else(table: str) -> None:
    run(f"SELECT FROM {table}")
    for statement in (f"UPDATE {table} SET recorded_at = recorded_at", f"DELETE FROM {table}", f"TRUNCATE {table}"):
        with pytest.raises(ProgrammingError, match="permission denied"):
            run(statement)


@pytest.mark.django_db
@pytest.mark.parametrize("table", RECORD_TABLES)
def test_every_record_table_refuses_change_to_everybody_and_watches_the_clock(table: str) -> None:
    query = "SELECT tgname FROM pg_trigger WHERE tgrelid = %s::regclass AND tgenabled = 'O' AND NOT tgisinternal"
    with connections["default"].cursor() as cursor:
        cursor.execute(query, [table])
        assert {"never_changed", "recorded_now"} <= {name for (name,) in cursor.fetchall()}


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("statement", ["UPDATE {table} SET recorded_at = now()", "DELETE FROM {table}"])
def test_not_even_the_owner_changes_a_record(statement: str, books: Any) -> None:
    books.sign(books.hours(), books.bo)
    for table in ("evidence_countersignature", "evidence_hoursentry", "people_worker", "equipment_crane"):
        with pytest.raises(psycopg.errors.RestrictViolation) as refused, as_owner() as owner:
            owner.execute(statement.format(table=table))
        assert refused.value.diag.constraint_name == "records_are_never_changed"


@pytest.mark.django_db
@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO evidence_evidenceversion VALUES ('worker:1', 7)",
        "UPDATE evidence_evidenceversion SET version = 0",
        "SELECT evidence_bump(ARRAY['worker:1'])",
        "UPDATE database_policy SET recorded_at_tolerance = NULL",
        "INSERT INTO database_policy DEFAULT VALUES",
        "SELECT setval('people_worker_number', 1)",
        "ALTER TABLE evidence_hoursentry DISABLE TRIGGER ALL",
        "SET session_replication_role = replica",
    ],
)
def test_application_may_not(statement: str) -> None:
    with pytest.raises(ProgrammingError, match="permission denied|must be owner"):
        run(statement)


@pytest.mark.usefixtures("watched_clock")
@pytest.mark.parametrize("minutes", [-60, 60])
def test_application_dates_nothing_back_or_ahead(minutes: int) -> None:
    insert = "INSERT INTO equipment_maker (name, recorded_at) VALUES ('Cedar', now() + %s)"
    with pytest.raises(IntegrityError, match="recorded_at_is_the_present"):
        run(insert, timedelta(minutes=minutes))
    run(insert, timedelta(minutes=minutes / 10))


@pytest.mark.usefixtures("watched_clock")
def test_owner_brings_in_an_old_register() -> None:
    with as_owner() as owner:
        owner.execute("INSERT INTO equipment_maker (name, recorded_at) VALUES ('Cedar', '2020-01-01Z')")
        owner.rollback()


def raw_copy(entry: HoursEntry, **columns: Any) -> None:
    """Insert a copy of the row with some columns changed, past every service."""
    own = [each.column for each in HoursEntry._meta.concrete_fields if each.column != "id"]
    quoted = [f'"{each}"' for each in own]
    values = [columns.get(each) for each in own if each in columns]
    selected = ["%s" if each in columns else name for each, name in zip(own, quoted, strict=True)]
    run(
        f"INSERT INTO evidence_hoursentry ({', '.join(quoted)}) "
        f"SELECT {', '.join(selected)} FROM evidence_hoursentry WHERE id = %s",
        *values,
        entry.pk,
    )


@pytest.mark.parametrize(
    ("rule", "columns"),
    [
        ("hours_end_is_after_start", {"end": "2026-01-14 15:00Z"}),
        ("hours_fit_into_24_hours", {"end": "2026-01-15 15:01Z"}),
        ("hours_are_not_in_the_future", {"recorded_at": "2026-01-14 16:00Z"}),
        ("hours_are_in_whole_minutes", {"end": "2026-01-14 19:00:30Z"}),
        ("hours_operation_is_known", {"operation": "painting"}),
        ("hours_capacity_is_a_role", {"capacity": "onlooker"}),
        ("hours_origin_is_known", {"origin": "hearsay"}),
        ("hours_from_paper_have_a_scan", {"origin": "paper"}),
        ("hours_of_another_register_need_its_signature", {"origin": "import", "issuer": "Mill register"}),
        ("withdrawal_supersedes_a_record", {"withdrawn": True}),
    ],
)
def test_hours_that_break_a_rule_are_refused_by_name(books: Any, rule: str, columns: dict[str, object]) -> None:
    entry = books.hours()
    with pytest.raises(IntegrityError, match=rule):
        raw_copy(entry, **columns)


def test_a_correction_keeps_the_worker(books: Any) -> None:
    entry = books.hours()
    with pytest.raises(IntegrityError, match="correction_keeps_its_subject"):
        raw_copy(entry, supersedes_id=entry.pk, worker_id=books.bo.pk)


def test_a_record_is_superseded_once(books: Any) -> None:
    entry = books.hours()
    raw_copy(entry, supersedes_id=entry.pk)
    with pytest.raises(IntegrityError, match="supersedes_id"):
        raw_copy(entry, supersedes_id=entry.pk)


def test_nobody_countersigns_their_own_hours_or_before_the_end(books: Any) -> None:
    entry = books.hours()
    for by, at, rule in (
        (books.ana, entry.end, "nobody_countersigns_their_own_hours"),
        (books.bo, entry.end - timedelta(minutes=1), "countersignature_follows_the_work"),
    ):
        with pytest.raises(IntegrityError, match=rule), transaction.atomic():
            Countersignature.objects.create(entry=entry, by=by, at=at, recorded_at=books.now)


def test_a_document_is_what_its_checksum_says(books: Any) -> None:
    with pytest.raises(IntegrityError, match="document_matches_its_sha256"), transaction.atomic():
        Document.objects.create(
            name="scan.pdf",
            media_type="application/pdf",
            content=b"scan",
            size=4,
            sha256="0" * 64,
            recorded_at=books.now,
        )
