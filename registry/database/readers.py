"""For whom the database is read: the setting ``registry.reader``, by which row-level security goes.

Three kinds of reader: the register itself (its services, its engine, commands,
migrations), which reads everything; an account that is signed in; and the
public, which reads no records. The policies stand on the models they guard (:func:`registry.people.guards.shown_to`).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import cast

from django.db import Error, connection
from psycopg.pq import TransactionStatus

from registry.database.backend.base import DatabaseWrapper

REGISTER = ""
PUBLIC = "public"


def account_reader(account_id: int | None) -> str:
    """The reader that is signed in with this account, or the public where nobody is."""
    return PUBLIC if account_id is None else f"account:{account_id}"


@contextmanager
def reading_as(reader: str) -> Iterator[None]:
    """Read as ``reader``, and afterwards as before; two statements, none where the reader is the same.

    Where the block ends in a transaction that failed, the database takes the
    setting back itself when it rolls that transaction back.
    """
    here = cast(DatabaseWrapper, connection)
    before = here.reader
    if reader == before:
        yield
        return
    here.read_as(reader)
    try:
        yield
    finally:
        if _takes_no_statement(here):
            here.reader = before
        else:
            try:
                here.read_as(before)
            except Error:
                # The connection was lost, or cannot be told any more: the next one begins with the reader of before.
                here.reader = before
                here.close()


@contextmanager
def as_the_register() -> Iterator[None]:
    """Read everything: for what weighs, counts or prints more than the reader may look at one by one.

    As a decorator it covers a function that returns what it has read; a query
    that is returned unread would be read by whoever gets it.
    """
    with reading_as(REGISTER):
        yield


def _takes_no_statement(here: DatabaseWrapper) -> bool:
    if here.connection is None or here.needs_rollback:
        return True
    return here.connection.info.transaction_status in (TransactionStatus.INERROR, TransactionStatus.UNKNOWN)
