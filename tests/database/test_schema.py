"""The database can be read: ``schema.sql`` is what the migrations make, and each guard stands in one living file."""

import re
from collections import Counter
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings
from django.db import connections
from django.db.migrations.loader import MigrationLoader

from registry.database.guards import READ, declared
from registry.database.schema import SCHEMA, described, differences, objects
from registry.database.schema_page import page

# From the lowest up, as import-linter has them for Python; what has no tables is left out.
PACKAGES = [
    "database",
    "ledger",
    "people",
    "equipment",
    "evidence",
    "standards",
    "crews",
    "transcripts",
    "notices",
    "inspection",
]


@pytest.mark.django_db(databases=["default", "owner"])
def test_the_schema_is_written_down() -> None:
    with connections["owner"].cursor() as cursor:
        assert described(cursor) == SCHEMA.read_text(encoding="utf-8"), "run: python3 manage.py schema"
    assert page(apps) == SCHEMA.with_suffix(".md").read_text(encoding="utf-8"), "run: python3 manage.py schema"


@pytest.mark.django_db(databases=["default", "owner"])
def test_guards_can_be_brought_into_force_again() -> None:
    with connections["owner"].cursor() as cursor:
        before = objects(cursor)
    loader = MigrationLoader(connections["owner"])
    with connections["owner"].schema_editor() as editor:
        for package in PACKAGES:
            name = "0001_initial" if package == "database" else "0002_guards"
            state = loader.project_state((package, name))
            for operation in import_module(f"registry.{package}.migrations.{name}").Migration.operations:
                if package != "database" or getattr(operation, "sql", "CREATE UNLOGGED TABLE").find("UNLOGGED") < 0:
                    operation.database_forwards(package, editor, state, state)
    with connections["owner"].cursor() as cursor:
        assert differences(objects(cursor), before) == []


@pytest.mark.django_db(databases=["default", "owner"])
def test_a_guard_that_was_changed_by_hand_is_named() -> None:
    with connections["owner"].cursor() as cursor:
        wanted = objects(cursor)
        cursor.execute("DROP TRIGGER never_changed ON crews_job")
        cursor.execute("ALTER FUNCTION registry_recorded_now() SECURITY INVOKER")
        cursor.execute(f"ALTER POLICY {READ} ON evidence_standdown USING (false)")
        cursor.execute("GRANT UPDATE ON evidence_standdown TO registry_application")
        cursor.execute("CREATE TABLE extra (id integer)")
        assert differences(objects(cursor), wanted) == [
            "not of this version: table extra",
            "changed: table crews_job",
            "changed: table evidence_standdown",
            "changed: function registry_recorded_now()",
        ]


def test_a_function_is_defined_in_one_file() -> None:
    defined = Counter(
        name
        for file in _sql_files()
        for name in re.findall(r"CREATE OR REPLACE (?:FUNCTION|PROCEDURE|VIEW) (\w+)", file.read_text(encoding="utf-8"))
    )
    assert [name for name, times in defined.items() if times > 1] == []


def test_every_living_file_is_run_by_a_migration() -> None:
    for file in _sql_files():
        folder = file.parent.parent / "migrations"
        migrations = "".join(each.read_text(encoding="utf-8") for each in folder.glob("*.py"))
        assert f'"{file.name}"' in migrations, file


def test_arrows_point_down_in_sql_too() -> None:
    wrong = []
    for height, package in enumerate(PACKAGES):
        higher = "|".join(PACKAGES[height + 1 :])
        # Who signs in is the framework's setting, which every package may ask.
        upward = re.compile(rf"\b(?:{higher})_(?!account\b)\w+") if higher else re.compile(r"(?!)")
        wrong += [f"{where}: {name}" for where, text in _said_in_sql(package) for name in upward.findall(text)]
    assert wrong == []


def _sql_files() -> list[Path]:
    """The living files: those that make something, and not only ask."""
    files = sorted((settings.PROJECT / "registry").glob("*/sql/*.sql"))
    return [each for each in files if "CREATE OR REPLACE" in each.read_text(encoding="utf-8")]


def _said_in_sql(package: str) -> Iterator[tuple[str, str]]:
    for file in _sql_files():
        if file.parent.parent.name == package:
            yield f"{package}/sql/{file.name}", re.sub(r"--.*", "", file.read_text(encoding="utf-8"))
    for model, guards in declared(package):
        for guard in guards:
            yield f"{package}: {model.__name__}", "\n".join(guard.statements(model._meta.db_table))
