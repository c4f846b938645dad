"""Migration operations by which each domain package says what the application may do with its tables."""

from collections.abc import Sequence

from django.db.migrations import RunSQL

from registry.database import roles


def grant(table: str, privileges: Sequence[str]) -> RunSQL:
    """The application may do this, and only this, with the table.

    >>> operations = [grant("evidence_hours", ["SELECT", "INSERT"])]  # append-only
    """
    revoke = f"REVOKE ALL ON {roles.table_identifier(table)} FROM {roles.APPLICATION}"
    return RunSQL(sql=f"{revoke}; {roles.grant_statement(table, privileges)}", reverse_sql=revoke)


def grant_execute(function: str) -> RunSQL:
    """The application, and nobody else but the owner, may call the function.

    >>> operations = [grant_execute("assign(bigint, bigint)")]
    """
    return RunSQL(
        sql=f"REVOKE ALL ON FUNCTION {function} FROM PUBLIC; "
        f"GRANT EXECUTE ON FUNCTION {function} TO {roles.APPLICATION}",
        reverse_sql=f"REVOKE ALL ON FUNCTION {function} FROM {roles.APPLICATION}",
    )
