"""How long the application's role takes at most, and what takes longer on purpose."""

from __future__ import annotations

import pytest
from django.db import DatabaseError, connection, transaction

from registry.database.limits import take_time
from registry.database.roles import LIMITS, TRANSACTION_TIMEOUT_SINCE

pytestmark = pytest.mark.django_db


def in_force() -> dict[str, str]:
    known = {"1min": "60s"}
    with connection.cursor() as cursor:
        found = {}
        for each in LIMITS:
            if each == "transaction_timeout" and cursor.connection.info.server_version < TRANSACTION_TIMEOUT_SINCE:
                found[each] = LIMITS[each]
                continue
            cursor.execute(f"SHOW {each}")
            value = cursor.fetchone()[0]
            found[each] = known.get(value, value)
    return found


def test_the_role_has_its_limits() -> None:
    assert in_force() == LIMITS


def test_a_statement_that_hangs_is_ended() -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL statement_timeout = '10ms'")
        with pytest.raises(DatabaseError, match="statement timeout"), transaction.atomic():
            cursor.execute("SELECT pg_sleep(30)")
        cursor.execute("RESET statement_timeout")


def test_reading_everything_lifts_them_for_its_transaction_alone() -> None:
    with transaction.atomic():
        take_time()
        lifted = in_force()
        # A test is itself a transaction; what ends with that one ends here.
        transaction.set_rollback(True)
    assert {each for each, value in lifted.items() if value == "0"} >= {"statement_timeout"}
    assert lifted["lock_timeout"] == LIMITS["lock_timeout"]
    assert in_force() == LIMITS
