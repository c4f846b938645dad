"""The owner's policy on recording times, relaxed while a demonstration or a test sets up a past."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connections

from registry.database.router import OWNER_ALIAS

SET_TOLERANCE = "UPDATE database_policy SET recorded_at_tolerance_minutes = %s"


@contextmanager
def recording_times_unchecked() -> Iterator[None]:
    """Let the application record as of any time within the block.

    Committed through the owner's connection, so it holds for every process; not for a register in use.
    """
    with connections[OWNER_ALIAS].cursor() as cursor:
        cursor.execute("SELECT recorded_at_tolerance_minutes FROM database_policy")
        (tolerance,) = cursor.fetchone()
        cursor.execute(SET_TOLERANCE, [None])
    try:
        yield
    finally:
        with connections[OWNER_ALIAS].cursor() as cursor:
            cursor.execute(SET_TOLERANCE, [tolerance])
