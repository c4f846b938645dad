"""Tampering as the database's superuser, whom no grant and no trigger holds.

A test's rows are not committed and so only its own connection sees them. That
connection is therefore the superuser's, who acts as the application but where
the test tampers.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import connection, transaction

from registry.database import data_folder
from registry.database.cluster import SUPERUSER
from registry.database.roles import APPLICATION


@contextmanager
def connected_as_superuser() -> Iterator[None]:
    """One transaction of the superuser's, who acts as the application; rolled back at the end."""
    if os.environ.get("DATABASE_URL"):
        pytest.skip("The superuser of a server of one's own is not known to the registry.")
    ordinary = connection.get_connection_params
    connection.close()
    connection.get_connection_params = lambda: {  # type: ignore[method-assign]
        **ordinary(),
        "user": SUPERUSER,
        "password": data_folder.secret(SUPERUSER),
    }
    try:
        within = transaction.atomic()
        # As around any test: what must begin a transaction of its own may begin one in here.
        within._from_testcase = True  # type: ignore[attr-defined]
        with within:
            _run(f"SET SESSION AUTHORIZATION {APPLICATION}")
            yield
            transaction.set_rollback(True)
    finally:
        connection.close()
        connection.get_connection_params = ordinary  # type: ignore[method-assign]


def tamper(*statements: str, values: Sequence[Any] = (), triggers: bool = False) -> None:
    """Run statements as the superuser, by default with every trigger and foreign key off."""
    _run("RESET SESSION AUTHORIZATION")
    # What was written before is checked now, since a deferred check would fail on what the tampering removes.
    _run("SET CONSTRAINTS ALL IMMEDIATE")
    if not triggers:
        _run("SET session_replication_role = replica")
    for each in statements:
        _run(each, values)
    _run("SET session_replication_role = origin")
    _run(f"SET SESSION AUTHORIZATION {APPLICATION}")


def _run(statement: str, values: Sequence[Any] = ()) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values or None)
