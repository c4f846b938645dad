"""Migration operations that put the database's guards on a table of records."""

from __future__ import annotations

from pathlib import Path

from django.db.migrations import RunSQL
from django.db.migrations.operations.base import Operation

from registry.database.grants import grant
from registry.database.roles import table_identifier


def sql_file(package: str, name: str, *, reverse: str) -> RunSQL:
    """Run ``registry/<package>/sql/<name>.sql``.

    >>> sql_file("people", "worker_number", reverse="DROP SEQUENCE people_worker_number").elidable
    False
    """
    folder = Path(__file__).resolve().parent.parent / package / "sql"
    return RunSQL((folder / f"{name}.sql").read_text(), reverse)


def append_only(table: str) -> list[Operation]:
    """The application may insert and read; nobody changes or deletes rows or dates them back."""
    name = table_identifier(table)
    return [
        grant(table, ["SELECT", "INSERT"]),
        RunSQL(
            f"CREATE TRIGGER records_are_never_changed BEFORE UPDATE OR DELETE ON {name} "
            "FOR EACH STATEMENT EXECUTE FUNCTION record_refuse_change(); "
            f"CREATE TRIGGER record_is_recorded_now BEFORE INSERT ON {name} "
            "FOR EACH ROW EXECUTE FUNCTION record_is_recorded_now();",
            f"DROP TRIGGER records_are_never_changed ON {name}; DROP TRIGGER record_is_recorded_now ON {name};",
        ),
    ]


def correctable(table: str, *, subject: str) -> list[Operation]:
    """As :func:`append_only`; a correction keeps the column ``subject`` of what it corrects."""
    name = table_identifier(table)
    return [
        *append_only(table),
        RunSQL(
            f"CREATE TRIGGER correction_is_sound BEFORE INSERT ON {name} "
            f"FOR EACH ROW EXECUTE FUNCTION record_correction_is_sound({table_identifier(subject)});",
            f"DROP TRIGGER correction_is_sound ON {name};",
        ),
    ]
