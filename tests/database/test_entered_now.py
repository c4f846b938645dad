"""Whatever the application enters, it enters at present: tried on every table that says when."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import DatabaseError, connection, connections, transaction

from registry.crews.models import Job
from registry.database.errors import constraint_of
from registry.evidence.models import StandDown
from tests.world import World

# Columns that say when a row was entered; whatever else ends in _at says when something happened.
SAYS_WHEN = (
    "recorded_at",
    "decided_at",
    "refused_at",
    "assigned_at",
    "invited_at",
    "made_at",
    "entered_at",
    "erased_at",
)
HAPPENED = (
    "assessed_at",
    "completed_at",
    "effective_at",
    "happened_at",
    "sent_at",
    "expires_at",
    "accepted_at",
    "known_at",
    "last_used_at",
    "created_at",
    "last_seen_at",
    "begun_at",
)
TIMES = """
SELECT attribute.attrelid::regclass::text, attribute.attname::text,
       has_table_privilege('registry_application', attribute.attrelid, 'INSERT')
FROM pg_attribute attribute JOIN pg_class relation ON relation.oid = attribute.attrelid
WHERE relation.relkind = 'r' AND relation.relnamespace = 'public'::regnamespace AND attribute.attnum > 0
  AND attribute.atttypid = 'timestamptz'::regtype AND NOT attribute.attisdropped AND attribute.attname LIKE '%\\_at'
ORDER BY 1, 2
"""
GUARDED = """
SELECT trigger.tgrelid::regclass::text, coalesce(nullif(convert_from(
    substring(trigger.tgargs FROM 1 FOR greatest(length(trigger.tgargs) - 1, 0)), 'UTF8'), ''), 'recorded_at')
FROM pg_trigger trigger
JOIN pg_proc function ON function.oid = trigger.tgfoid AND function.proname = 'registry_recorded_now'
WHERE trigger.tgname = 'recorded_now' AND trigger.tgenabled = 'O'
"""


def rows(statement: str) -> list[tuple[Any, ...]]:
    with connections["owner"].cursor() as cursor:
        cursor.execute(statement)
        return list(cursor.fetchall())


@pytest.mark.django_db(databases=["default", "owner"])
def test_every_table_that_says_when_a_row_was_entered_is_guarded() -> None:
    times = rows(TIMES)
    unknown = {column for _table, column, _writes in times} - set(SAYS_WHEN) - set(HAPPENED)
    assert unknown == set(), "say whether these tell when a row was entered"
    wanted = {(table, column) for table, column, writes in times if writes and column in SAYS_WHEN}
    assert len(wanted) > 40
    assert wanted - set(rows(GUARDED)) == set()


@pytest.mark.django_db
def test_the_application_has_no_table_of_records_without_such_a_time() -> None:
    """A table that the application fills and that neither says when nor hangs on a row that does, with the reason."""
    timeless = {
        "crews_slot": "belongs to a job, and the log says when",
        "ledger_node": "a hash computed from leaves",
        "people_account": "date_joined is not believed; an account is no record",
    }
    found = {
        model._meta.db_table
        for model in apps.get_models()
        if model.__module__.startswith("registry.")
        and not {each.attname for each in model._meta.concrete_fields} & set(SAYS_WHEN)
        and _may_insert(model._meta.db_table)
    }
    assert found == set(timeless)


def _may_insert(table: str) -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT has_table_privilege(%s, 'INSERT')", [table])
        return bool(cursor.fetchone()[0])


class TestAtWork:
    """The tolerance is that of work, which tests otherwise lift; the owner's change is taken back."""

    @pytest.fixture
    def world(self, transactional_db: None) -> Any:
        from datetime import UTC, datetime

        world = World(datetime.now(UTC).replace(second=0, microsecond=0))
        self.tolerate("interval '10 minutes'")
        yield world
        self.tolerate("NULL")

    def tolerate(self, how_much: str) -> None:
        with connections["owner"].cursor() as cursor:
            cursor.execute(f"UPDATE database_policy SET recorded_at_tolerance = {how_much}")

    pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])

    def refused(self, act: Any) -> str | None:
        with pytest.raises(DatabaseError) as error, transaction.atomic():
            act()
        return constraint_of(error.value)

    def test_nothing_is_back_dated(self, world: World) -> None:
        planned: dict[str, Any] = {
            "employer": world.employer,
            "site": world.site,
            "crane": world.crane,
            "operation": "dismantling",
            "standard_key": "makers-practice-us",
            "start": world.now + timedelta(days=3),
            "end": world.now + timedelta(days=4),
        }
        rule = "recorded_at_is_the_present"
        for off in (timedelta(minutes=-11), timedelta(days=-30), timedelta(minutes=12)):
            assert self.refused(lambda by=off: Job.objects.create(recorded_at=world.now + by, **planned)) == rule

    def test_a_transaction_left_open_back_dates_nothing(self, world: World) -> None:
        """The guard asks the clock, not the transaction, which may have been left open."""
        worker = world.assessor
        with connections["owner"].cursor() as cursor:
            cursor.execute("SELECT pg_get_functiondef('registry_recorded_now()'::regprocedure)")
            text = cursor.fetchone()[0]
        assert "now()" not in text.replace("registry_recorded_now()", "")
        an_hour_ago = world.now - timedelta(hours=1)
        create = lambda: StandDown.objects.create(  # noqa: E731
            worker=worker, start=an_hour_ago, reason="x", recorded_at=an_hour_ago
        )
        assert self.refused(create) == "recorded_at_is_the_present"
