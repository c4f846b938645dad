"""The two roles that the registry uses, and what they may do.

The owner migrates. The application reads and writes rows as far as each domain package grants it, owns
nothing, and cannot create tables, truncate, or pass by row-level security.
"""

import re
from collections.abc import Iterable
from typing import Any, LiteralString

import psycopg
from psycopg import sql

OWNER = "registry_owner"
APPLICATION = "registry_application"
PRIVILEGES = frozenset({"SELECT", "INSERT", "UPDATE", "DELETE"})
LIMITS = {
    # No page needs a second; what takes a minute hangs or was made to.
    "statement_timeout": "60s",
    # Longer than an assignment waits for an import (10 s), and shorter than a person waits for a page.
    "lock_timeout": "30s",
    # Between two statements of a transaction the engine may decide about a whole crew; nothing else takes minutes.
    "idle_in_transaction_session_timeout": "2min",
    # The longest import that recorded_at allows: its rows are entered within ten minutes of the instant they name.
    "transaction_timeout": "10min",
}
"""How long the application's role takes at most; :func:`registry.database.limits.take_time` lifts it."""
TRANSACTION_TIMEOUT_SINCE = 170000
# Any number will do, as long as nothing else in the database takes it.
ROLE_CHANGE_LOCK = 1926_1427

Connection = psycopg.Connection[tuple[Any, ...]]


def create_owner(superuser: Connection, *, password: str) -> None:
    """The role that owns the registry's database; it may create databases and roles for tests."""
    _create_role(superuser, OWNER, "CREATEDB CREATEROLE NOSUPERUSER NOBYPASSRLS", password)
    found = superuser.execute("SELECT FROM pg_database WHERE datname = 'registry'").fetchone()
    if found is None:
        superuser.execute(sql.SQL("CREATE DATABASE registry OWNER {}").format(sql.Identifier(OWNER)))


def create_application(owner: Connection, *, password: str) -> None:
    """The role that the running registry uses."""
    # Attributes that the owner may not set are the defaults of a new role.
    _create_role(owner, APPLICATION, "", password)
    with owner.transaction():
        owner.execute("SELECT pg_advisory_xact_lock(%s)", [ROLE_CHANGE_LOCK])
        for setting, longest in LIMITS.items():
            if setting == "transaction_timeout" and owner.info.server_version < TRANSACTION_TIMEOUT_SINCE:
                continue
            statement = sql.SQL("ALTER ROLE {role} SET {setting} = {longest}")
            owner.execute(
                statement.format(
                    role=sql.Identifier(APPLICATION), setting=sql.Identifier(setting), longest=sql.Literal(longest)
                )
            )


def _create_role(connection: Connection, role: str, attributes: LiteralString, password: str) -> None:
    with connection.transaction():
        # Two processes that change one role at once would fail on each other.
        connection.execute("SELECT pg_advisory_xact_lock(%s)", [ROLE_CHANGE_LOCK])
        found = connection.execute("SELECT FROM pg_roles WHERE rolname = %s", [role]).fetchone()
        statement = sql.SQL("{verb} ROLE {role} LOGIN {attributes} PASSWORD {password}").format(
            verb=sql.SQL("CREATE" if found is None else "ALTER"),
            role=sql.Identifier(role),
            attributes=sql.SQL(attributes),
            password=sql.Literal(password),
        )
        connection.execute(statement)


def grant_statement(table: str, privileges: Iterable[str]) -> str:
    return f"GRANT {_privilege_list(privileges)} ON {table_identifier(table)} TO {APPLICATION}"


def _privilege_list(privileges: Iterable[str]) -> str:
    wanted = [privilege.upper() for privilege in privileges]
    unknown = set(wanted) - PRIVILEGES
    if unknown or not wanted:
        raise ValueError(f"The application role is never granted {sorted(unknown) or 'nothing'}.")
    return ", ".join(wanted)


def table_identifier(table: str) -> str:
    if not re.fullmatch(r"[a-z_][a-z0-9_]*", table):
        raise ValueError(f"{table!r} is not the plain name of a table.")
    return f'"{table}"'
