"""A guard that differs from this version's is named, as the owner reads it and as the application does."""

from __future__ import annotations

from typing import LiteralString

import pytest
from django.core.management.base import CommandError
from django.db import connections

from registry.database import in_force
from registry.database.guards import READ
from registry.database.management.commands.prepare import require_guards

pytestmark = pytest.mark.django_db(databases=["default", "owner"])

SHRUG = "RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$"


def test_what_was_just_migrated_is_what_is_needed() -> None:
    require_guards()
    with connections["default"].cursor() as cursor:
        assert in_force.differing(cursor) == []


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        (f"CREATE OR REPLACE FUNCTION registry_refuse_change() {SHRUG}", "changed: function registry_refuse_change()"),
        ("DROP TRIGGER never_changed ON crews_job", "changed: table crews_job (without “CREATE TRIGGER never_changed"),
        ("ALTER TABLE crews_job DISABLE TRIGGER never_changed", "-- fires: D;”"),
        (f"ALTER POLICY {READ} ON evidence_standdown USING (false)", "USING (false)"),
        ("ALTER TABLE evidence_standdown DISABLE ROW LEVEL SECURITY", "without “ALTER TABLE evidence_standdown ENABLE"),
        (
            "ALTER TABLE people_worker DROP CONSTRAINT people_worker_pkey CASCADE",
            "without “CONSTRAINT people_",
        ),
        (
            "GRANT UPDATE ON evidence_standdown TO registry_application",
            "UPDATE ON TABLE evidence_standdown TO",
        ),
        ("DROP VIEW registry_own_people CASCADE", "missing: view registry_own_people"),
        ("CREATE RULE mute AS ON INSERT TO crews_refusal DO INSTEAD NOTHING", "with “CREATE RULE mute AS"),
        ("ALTER ROLE registry_application CREATEDB", "changed: role registry_application has rolcreatedb"),
        ("ALTER ROLE registry_application CREATEROLE", "changed: role registry_application has rolcreaterole"),
        (
            "GRANT CREATE ON SCHEMA public TO registry_application",
            "registry_application may create in the",
        ),
        ("ALTER ROLE registry_application SET search_path = pg_temp, public", "changed: search_path is set for role"),
        ("CREATE ROLE helper; GRANT helper TO registry_application", "registry_application is a member of helper"),
    ],
)
def test_whatever_was_changed_by_hand_is_named(statement: LiteralString, told: str) -> None:
    with connections["owner"].cursor() as owner:
        owner.execute(statement)
        found = in_force.differing(owner)
    assert in_force.weakened(found) == found
    assert [each for each in found if told in each], found
    with pytest.raises(CommandError, match="are not those of this version: "):
        require_guards()


def test_what_merely_stands_beside_is_told_apart() -> None:
    with connections["owner"].cursor() as owner:
        owner.execute("CREATE TABLE extra (id integer)")
        found = in_force.differing(owner)
    assert found == ["not of this version: table extra"]
    assert in_force.weakened(found) == []
    assert "not of this version: table extra" in in_force.sentence(found)


def test_a_long_list_says_that_it_stops() -> None:
    assert "changed: 9; and 3 more. If" in in_force.sentence([f"changed: {number}" for number in range(13)])
