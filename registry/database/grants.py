"""Migration operations by which each domain package says what the application may do with its tables."""

from collections.abc import Sequence

from django.db.migrations import RunSQL

from registry.database import roles

READ = "read_by_whom_it_concerns"


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


def shown_to(table: str, condition: str) -> RunSQL:
    """The application reads only rows that ``condition`` (SQL) shows to the reader; see ``sql/row_level_security.sql``.

    ``{about_person}`` in it stands for: the row's ``worker_id`` is the reader; or
    on the books of the reader's employer, or was when the row was recorded; or the
    reader's employer recorded it. ``{corrects_own}``: it corrects what the reader's
    employer recorded, or what names that employer. What may be written stays with grants,
    constraints and triggers. What stands in ``(SELECT …)`` is worked out once in
    a statement, and where everything is read the condition is never looked at.

    >>> operations = [shown_to("evidence_hours", "{about_person}")]
    """
    name = roles.table_identifier(table)
    policies = {
        READ: f"FOR SELECT TO {roles.APPLICATION} USING ({_seen(table, condition)})",
        "written_by_the_register": f"FOR INSERT TO {roles.APPLICATION} WITH CHECK (true)",
        # Without these a change would find no rows and pass in silence, where triggers refuse it aloud.
        "updates_are_for_triggers_to_refuse": f"FOR UPDATE TO {roles.APPLICATION} USING (true)",
        "deletions_are_for_triggers_to_refuse": f"FOR DELETE TO {roles.APPLICATION} USING (true)",
    }
    return RunSQL(
        sql=[
            f"ALTER TABLE {name} ENABLE ROW LEVEL SECURITY",
            *(f"CREATE POLICY {policy} ON {name} {what}" for policy, what in policies.items()),
        ],
        reverse_sql=[
            *(f"DROP POLICY {policy} ON {name}" for policy in policies),
            f"ALTER TABLE {name} DISABLE ROW LEVEL SECURITY",
        ],
    )


def shown_instead(table: str, condition: str) -> RunSQL:
    """The application reads other rows than :func:`shown_to` said before; there is no way back to those."""
    name = roles.table_identifier(table)
    return RunSQL(f"ALTER POLICY {READ} ON {name} USING ({_seen(table, condition)})")


def _seen(table: str, condition: str) -> str:
    name = roles.table_identifier(table)
    about_person = (
        "worker_id = (SELECT registry_reader_worker()) OR EXISTS "  # noqa: S608 (put together from constants alone)
        f"(SELECT FROM registry_own_people own WHERE own.worker_id = {name}.worker_id)"
        f" OR recorded_at < ((SELECT registry_left_people()) ->> {name}.worker_id::text)::timestamptz"
        " OR recorded_by_id = ANY ((SELECT registry_reader_colleagues())::bigint[])"
    )
    corrects_own = (
        "supersedes_id IS NOT NULL"
        f" AND registry_corrects_record_of((SELECT registry_reader_employer()), '{table}', supersedes_id)"
    )
    return f"(SELECT registry_reads_everything()) OR {condition.format(about_person=about_person, corrects_own=corrects_own)}"
