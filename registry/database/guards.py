"""What the database itself holds a table to, declared on the model it guards.

A model says it beside its fields, and what it inherits it may repeat and add to::

    class StandDown(WorkerRecord):
        guards = (*WorkerRecord.guards, logged, shown_to("{about_person}"))

The package's ``0002_guards`` migration brings the declarations into force, after
the package's own living SQL files (:func:`living_guards`). A guard changes in its
declaration or file, and a new migration runs :func:`living_guards` again: every
statement here can be run twice.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from django.apps import apps as installed
from django.db import models
from django.db.migrations import RunPython, RunSQL
from django.db.migrations.operations.base import Operation

from registry.database import roles
from registry.database.plain_columns import plain_columns

READ = "read_by_whom_it_concerns"


class Guard(Protocol):
    """Something that the database holds a table to."""

    def statements(self, table: str) -> Iterator[str]:
        """The SQL that brings it into force on the table; running it again changes nothing."""
        ...


@dataclass(frozen=True)
class Trigger:
    """A trigger of the given name. ``timing`` is such as ``BEFORE INSERT``, ``function`` a call, ``when`` SQL.

    ``once_a_statement`` runs it after each statement, with the new rows as ``added``.
    """

    name: str
    timing: str
    function: str
    when: str = ""
    once_a_statement: bool = False

    def statements(self, table: str) -> Iterator[str]:
        name = roles.table_identifier(table)
        rows = "REFERENCING NEW TABLE AS added FOR EACH STATEMENT" if self.once_a_statement else "FOR EACH ROW"
        when = f" WHEN ({self.when})" if self.when else ""
        run = f"{rows}{when} EXECUTE FUNCTION {self.function}"
        yield f"CREATE OR REPLACE TRIGGER {self.name} {self.timing} ON {name} {run}"


@dataclass(frozen=True)
class Granted:
    """The application may do this, and only this, with the table."""

    privileges: tuple[str, ...] = ()

    def statements(self, table: str) -> Iterator[str]:
        yield f"REVOKE ALL ON {roles.table_identifier(table)} FROM {roles.APPLICATION}"
        if self.privileges:
            yield roles.grant_statement(table, self.privileges)


@dataclass(frozen=True)
class ShownTo:
    """The application reads only rows that ``condition`` (SQL) shows to the reader; see ``sql/reader.sql``.

    What may be written stays with grants, constraints and triggers. What stands in
    ``(SELECT …)`` is worked out once in a statement, and where everything is read
    the condition is never looked at.
    """

    condition: str

    def statements(self, table: str) -> Iterator[str]:
        name = roles.table_identifier(table)
        yield f"ALTER TABLE {name} ENABLE ROW LEVEL SECURITY"
        policies = {
            READ: f"FOR SELECT TO {roles.APPLICATION} USING ((SELECT registry_reads_everything()) OR {self.condition})",
            "written_by_the_register": f"FOR INSERT TO {roles.APPLICATION} WITH CHECK (true)",
            # Without these a change would find no rows and pass in silence, where triggers refuse it aloud.
            "updates_are_for_triggers_to_refuse": f"FOR UPDATE TO {roles.APPLICATION} USING (true)",
            "deletions_are_for_triggers_to_refuse": f"FOR DELETE TO {roles.APPLICATION} USING (true)",
        }
        for policy, what in policies.items():
            yield f"DROP POLICY IF EXISTS {policy} ON {name}"
            yield f"CREATE POLICY {policy} ON {name} {what}"


@dataclass(frozen=True)
class AlsoShownTo:
    """A higher package shows further rows of the table to the application, beside :class:`ShownTo`."""

    policy: str
    condition: str

    def statements(self, table: str) -> Iterator[str]:
        name = roles.table_identifier(table)
        yield f"DROP POLICY IF EXISTS {self.policy} ON {name}"
        yield f"CREATE POLICY {self.policy} ON {name} FOR SELECT TO {roles.APPLICATION} USING ({self.condition})"


@dataclass(frozen=True)
class Erasable:
    """A lawful erasure may blank these columns, and no other."""

    columns: tuple[str, ...]

    def statements(self, table: str) -> Iterator[str]:
        columns = ",".join(self.columns)
        yield (
            f"INSERT INTO registry_erasable (table_name, columns) VALUES ('{table}', '{{{columns}}}') "  # noqa: S608
            "ON CONFLICT (table_name) DO UPDATE SET columns = excluded.columns"
        )


def erasable(*columns: str) -> Erasable:
    """See :class:`Erasable`."""
    return Erasable(columns)


def correction_keeps(subject: str) -> Trigger:
    """A correction is about the same ``subject``, a column, as the record that it corrects."""
    return Trigger(
        "correction_keeps_its_subject",
        "BEFORE INSERT",
        f"registry_correction_keeps_its_subject('{subject}')",
        when="NEW.supersedes_id IS NOT NULL",
    )


never_changed = Trigger("never_changed", "BEFORE UPDATE OR DELETE", "registry_refuse_change()")
recorded_now = Trigger("recorded_now", "BEFORE INSERT", "registry_recorded_now()")


def entered_now(column: str) -> Trigger:
    """As ``recorded_now``, where ``column`` says when a row was entered."""
    return Trigger("recorded_now", "BEFORE INSERT", f"registry_recorded_now('{column}')")


added_to = Granted(("SELECT", "INSERT"))
only_read = Granted(("SELECT",))

append_only: tuple[Guard, ...] = (never_changed, recorded_now, added_to)
"""What every table of records is held to: rows are added, at present, and stay as they are."""


def plain_text_of(model: type[models.Model]) -> Iterator[Trigger]:
    """What keeps the texts of the model's table plain; every model of ours is guarded, whatever else it declares."""
    columns = plain_columns(model)
    if not any(columns):
        return
    texts = ", ".join(f"concat({', '.join(f'NEW.{each}' for each in names)})" if names else "''" for names in columns)
    names = ", ".join(f"'{{{','.join(each)}}}'" for each in columns)
    yield Trigger(
        "text_is_plain",
        "BEFORE INSERT OR UPDATE",
        f"registry_text_is_plain({names})",
        when=f"registry_hides_characters({texts})",
    )


def living_guards(migration: str, *files: str) -> list[Operation]:
    """Bring a package's guards into force: its ``sql/<file>`` in order, then what its models declare.

    Args:
        migration: the ``__file__`` of the migration, which says whose guards they are.
    """
    package = Path(migration).resolve().parent.parent
    return [
        *(RunSQL((package / "sql" / name).read_text(encoding="utf-8"), RunSQL.noop) for name in files),
        RunPython(_declare_all_of(package.name), RunPython.noop),
    ]


def declared(package: str) -> Iterator[tuple[type[models.Model], Sequence[Guard]]]:
    """The package's models with what guards them, and models of lower packages with what it adds to those.

    That texts are plain every model is held to, without saying so.
    """
    config = installed.get_app_config(package)
    for model in config.get_models():
        yield model, (*getattr(model, "guards", ()), *plain_text_of(model))
    yield from getattr(config.models_module, "GUARDS_ON_OTHERS", ())


def _declare_all_of(package: str) -> Any:
    # The declarations in force, not those of the migration's own day: as with the SQL files, which live.
    def declare(apps: Any, schema_editor: Any) -> None:
        for model, guards in declared(package):
            for guard in guards:
                for statement in guard.statements(model._meta.db_table):
                    schema_editor.execute(statement, params=None)

    return declare
