"""Tests run as the application's role, in a database that the owner created and migrated."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from unittest.mock import patch

import psycopg
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.conf import settings
from django.db import connections
from django.test import TransactionTestCase
from django.test.utils import setup_databases, teardown_databases
from django.utils import translation
from psycopg import sql

from registry.database import identity
from registry.ledger.mirror import Mirror
from registry.ledger.notes import Signer
from registry.standards.services import load_standards
from tests.own_log import keep_log_in

# The tests' own database server is made where there is none; a register is not begun by that.
identity.begin_if_new()

TABLES = "SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY tablename"
GUARDS = """
SELECT tgrelid::regclass::text, tgname FROM pg_trigger
WHERE NOT tgisinternal AND tgtype & 8 <> 0 AND tgenabled <> 'D' AND tgrelid = ANY (%s::regclass[])
"""
TRIGGERS = """
SELECT tgrelid::regclass::text, tgname FROM pg_trigger
WHERE NOT tgisinternal AND tgenabled <> 'D' AND tgrelid = ANY (%s::regclass[])
"""
# The role standards, which are there from the start, left something in these.
NEVER_EMPTY = ("ledger_entry", "ledger_pending", "evidence_evidenceversion")
COUNTED = """
SELECT attrelid::regclass::text, attname FROM pg_attribute
WHERE pg_get_serial_sequence(attrelid::regclass::text, attname) IS NOT NULL AND attrelid = ANY (%s::regclass[])
"""
GO_ON_COUNTING = sql.SQL("SELECT setval(pg_get_serial_sequence(%s, %s), max({column})) FROM {table}")
COUNT_FROM_THE_START = """
SELECT setval(seqrelid::regclass, seqstart, false) FROM pg_sequence
JOIN pg_depend ON objid = seqrelid AND classid = 'pg_class'::regclass AND deptype IN ('a', 'i')
WHERE refobjid = ANY (%s::regclass[])
"""


@pytest.fixture(autouse=True)
def _in_english() -> Iterator[None]:
    """A request leaves its language in force for its thread, which here runs the next test."""
    with translation.override("en"):
        yield


@pytest.fixture(scope="session")
def django_db_setup(
    django_test_environment: None,
    django_db_modify_db_settings: None,
    django_db_blocker: Any,
    django_db_keepdb: bool,
    django_db_createdb: bool,
) -> Iterator[None]:
    """Sets up every alias: a test that asks for `default` alone needs the database that `owner` makes.

    ``--reuse-db`` leaves it for the next run, and ``--create-db`` makes it anew.
    """
    with django_db_blocker.unblock():
        created = setup_databases(verbosity=0, interactive=False, keepdb=django_db_keepdb and not django_db_createdb)
        with connections["owner"].cursor() as cursor:
            # Tests record a past of their own; the test of the guard itself sets the tolerance again.
            cursor.execute("UPDATE database_policy SET recorded_at_tolerance = NULL")
        load_shipped_standards()
    yield
    if django_db_keepdb:
        return
    # The owner cannot drop a database that the application is still connected to.
    connections.close_all()
    with django_db_blocker.unblock():
        teardown_databases(created, verbosity=0)


@pytest.fixture(scope="session")
def tables_without_migrated_rows(django_db_setup: None, django_db_blocker: Any) -> list[str]:
    """The tables that migrations left empty, so that emptying them restores the start."""
    with django_db_blocker.unblock(), _as_owner() as owner:
        names = [name for (name,) in owner.execute(TABLES)]
        return [name for name in names if not _has_rows(owner, name)]


@pytest.fixture(scope="session")
def empty_tables(django_db_setup: None, django_db_blocker: Any) -> Callable[[list[str]], None]:
    """Empties tables as the owner, since the application may not; the log is left as it was at the start."""

    def empty(tables: list[str]) -> None:
        with django_db_blocker.unblock(), _as_owner() as owner:
            _empty(owner, tables)
            _shorten_log(owner)

    return empty


@pytest.fixture(scope="session")
def shelf(tables_without_migrated_rows: list[str], django_db_blocker: Any) -> "Shelf":
    """Where what a test committed is kept for others that begin with the same."""
    return Shelf([*tables_without_migrated_rows, *NEVER_EMPTY], django_db_blocker)


@pytest.fixture(scope="session", autouse=True)
def _emptying_is_left_to_the_owner() -> Iterator[None]:
    """Append-only tables refuse Django's own flush; ``committed_database`` has the owner empty them instead."""
    with patch.object(TransactionTestCase, "_fixture_teardown"):
        yield


@pytest.fixture
def committed_database(
    transactional_db: None, tables_without_migrated_rows: list[str], empty_tables: Callable[[list[str]], None]
) -> Iterator[None]:
    """For tests that commit; the owner empties the tables afterwards."""
    yield
    connections["default"].close()
    empty_tables(tables_without_migrated_rows)


@pytest.fixture
def signer() -> Signer:
    """Somebody who signs checkpoints."""
    return Signer("registry.example/log", Ed25519PrivateKey.from_private_bytes(b"7" * 32))


@pytest.fixture
def mirror(tmp_path: Path, signer: Signer) -> Mirror:
    """A machine that trusts the signer and has verified nothing yet."""
    mirror = Mirror(tmp_path / "mirror")
    mirror.trust(signer.verifier_key)
    return mirror


@pytest.fixture(autouse=True)
def _own_log(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """What one test signed and took back is not what the next one's log must go on from."""
    keep_log_in(tmp_path_factory.mktemp("log"), monkeypatch)


@pytest.fixture(autouse=True)
def _quick_passwords(settings: Any) -> None:
    """A password takes half a second to hash, on purpose; tests make hundreds."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True)
def _nothing_stays_committed(request: pytest.FixtureRequest) -> None:
    marker = request.node.get_closest_marker("django_db")
    if "transactional_db" in request.fixturenames or (marker and marker.kwargs.get("transaction")):
        request.getfixturevalue("committed_database")


@dataclass
class Shelf:
    """Copies of committed rows, taken and put back by the owner, since the application may not."""

    tables: list[str]
    blocker: Any
    kept: dict[str, dict[str, list[bytes]]] = field(default_factory=dict)

    def bring(self, name: str, make: Callable[[], object]) -> None:
        """What ``make`` commits: by calling it the first time, as a copy from then on."""
        if name in self.kept:
            self._put_back(self.kept[name])
        else:
            make()
            self.kept[name] = self._taken()

    def _taken(self) -> dict[str, list[bytes]]:
        with self.blocker.unblock(), _as_owner() as owner:
            return {each: _rows_of(owner, each) for each in self.tables if _has_rows(owner, each)}

    def _put_back(self, rows: dict[str, list[bytes]]) -> None:
        names = list(rows)
        with self.blocker.unblock(), _as_owner() as owner:
            triggers = owner.execute(TRIGGERS, [names]).fetchall()
            _switch(owner, "DISABLE", triggers)
            for name in NEVER_EMPTY:
                owner.execute(sql.SQL("DELETE FROM {}").format(sql.Identifier(name)))
            for name, lines in rows.items():
                with owner.cursor().copy(sql.SQL("COPY {} FROM STDIN").format(sql.Identifier(name))) as copy:
                    for line in lines:
                        copy.write(line)
            owner.execute("SET CONSTRAINTS ALL IMMEDIATE")
            _switch(owner, "ENABLE", triggers)
            for table, column in owner.execute(COUNTED, [names]).fetchall():
                owner.execute(
                    GO_ON_COUNTING.format(table=sql.Identifier(table), column=sql.Identifier(column)), [table, column]
                )


def _rows_of(owner: "psycopg.Connection[tuple[Any, ...]]", table: str) -> list[bytes]:
    with owner.cursor().copy(sql.SQL("COPY {} TO STDOUT").format(sql.Identifier(table))) as copy:
        return [bytes(each) for each in copy]


def load_shipped_standards() -> None:
    """Committed, and recorded before anything that a test records, so that every test can rely on them."""
    load_standards(settings.STANDARDS, recorded_at=datetime(2020, 1, 1, tzinfo=UTC))


def _as_owner() -> "psycopg.Connection[tuple[Any, ...]]":
    """A connection of its own: a test's `owner` alias may be closed to it or inside a transaction."""
    return psycopg.connect(**connections["owner"].get_connection_params())


def _has_rows(owner: "psycopg.Connection[tuple[Any, ...]]", table: str) -> bool:
    query = sql.SQL("SELECT FROM {} LIMIT 1").format(sql.Identifier(table))
    return owner.execute(query).fetchone() is not None


def _empty(owner: "psycopg.Connection[tuple[Any, ...]]", tables: list[str]) -> None:
    """Deletes rather than truncates: with few rows, new files for every index take far longer."""
    owner.execute("SET LOCAL lock_timeout = '20s'")
    filled = [name for name in tables if _has_rows(owner, name)]
    guards = owner.execute(GUARDS, [filled]).fetchall()
    _switch(owner, "DISABLE", guards)
    for name in filled:
        owner.execute(sql.SQL("DELETE FROM {}").format(sql.Identifier(name)))
    # Foreign keys are checked at the end by default, and until then no trigger can be switched.
    owner.execute("SET CONSTRAINTS ALL IMMEDIATE")
    _switch(owner, "ENABLE", guards)
    owner.execute(COUNT_FROM_THE_START, [tables])


def _shorten_log(owner: "psycopg.Connection[tuple[Any, ...]]") -> None:
    """The log of what is left, the role standards: nothing else, and no entry placed yet."""
    guards = owner.execute(GUARDS, [["ledger_entry"]]).fetchall()
    _switch(owner, "DISABLE", guards)
    owner.execute("DELETE FROM ledger_pending")
    owner.execute(
        "DELETE FROM ledger_entry WHERE kind <> 'standards_standardversion'"
        " OR NOT EXISTS (SELECT FROM standards_standardversion WHERE id = record)"
    )
    owner.execute("INSERT INTO ledger_pending SELECT id FROM ledger_entry")
    owner.execute("SET CONSTRAINTS ALL IMMEDIATE")
    _switch(owner, "ENABLE", guards)


def _switch(owner: "psycopg.Connection[tuple[Any, ...]]", verb: str, triggers: list[tuple[Any, ...]]) -> None:
    for table, trigger in triggers:
        statement = sql.SQL("ALTER TABLE {} {} TRIGGER {}")
        owner.execute(statement.format(sql.Identifier(table), sql.SQL(verb), sql.Identifier(trigger)))
