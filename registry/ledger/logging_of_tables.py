"""The migration operation by which a package lets its table be logged."""

from __future__ import annotations

from django.db.migrations import RunSQL

from registry.ledger.kinds import BY_TABLE


def log_table(table: str) -> RunSQL:
    """Log the table's rows from now on, and those that are there already.

    The table must stand in :data:`registry.ledger.kinds.KINDS`; the migration
    must depend on ``ledger.0002_log``.
    """
    kind = BY_TABLE[table]
    arguments: list[object] = [kind.table, list(kind.personal), list(kind.left_out)]
    return RunSQL(sql=[("CALL ledger_log(%s, %s, %s)", arguments)])
