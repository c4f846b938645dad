"""Work that may take longer than a request: it says so, for as long as its transaction lasts."""

from __future__ import annotations

from django.db import connection

from registry.database.roles import LIMITS, TRANSACTION_TIMEOUT_SINCE


def take_time() -> None:
    """Lift the limits of the application's role (:data:`registry.database.roles.LIMITS`) until the transaction ends.

    For reading the whole of something, never for writing: rows are entered at present. Must
    run within a transaction.
    """
    with connection.cursor() as cursor:
        newest = cursor.connection.info.server_version >= TRANSACTION_TIMEOUT_SINCE
        for setting in LIMITS:
            if setting != "lock_timeout" and (newest or setting != "transaction_timeout"):
                cursor.execute(f"SET LOCAL {setting} = 0")
