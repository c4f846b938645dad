"""A worker's data request: everything held about them, found through the tables' own references.

Every model that refers to a worker, or to the worker's account, is found by
introspection, so that a new table is in the answer from its first day.
"""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.apps import apps
from django.db import connection, models
from django.utils.translation import gettext as _
from psycopg import sql

from registry.evidence.models import Document
from registry.ledger.models import Entry
from registry.people.models import Account, Worker

HANGS_ON: tuple[tuple[str, str, str], ...] = (
    ("evidence_countersignature", "entry_id", "evidence_hoursentry"),
    ("evidence_countersignaturerequest", "entry_id", "evidence_hoursentry"),
    ("evidence_entryobjection", "entry_id", "evidence_hoursentry"),
    ("evidence_objectionanswer", "objection_id", "evidence_entryobjection"),
    ("evidence_assessmentsignature", "assessment_id", "evidence_assessment"),
    ("evidence_correctionanswer", "request_id", "evidence_correctionrequest"),
    ("people_employmentdecline", "request_id", "people_employmentrequest"),
    ("crews_decisiondependency", "decision_id", "crews_decision"),
    ("crews_refusal", "decision_id", "crews_decision"),
    ("crews_assignmentevent", "assignment_id", "crews_assignment"),
    ("transcripts_endedlink", "link_id", "transcripts_sharedlink"),
    ("transcripts_linkopening", "link_id", "transcripts_sharedlink"),
)
"""Tables whose rows hang on a record of the worker: table, column, table of the record; parents first."""

SECRETS = {
    "people_account": ("password",),
    "mfa_authenticator": ("data",),
    "people_invitation": ("token_hash",),
    "transcripts_sharedlink": ("token_hash",),
    "people_employmentcode": ("code_hash",),
    "people_employmentconsent": ("code_typed",),
}
"""What only proves who somebody is; said to be there, never handed out."""

IN_FILES = {"evidence_document": ("content",)}


@dataclass(frozen=True, slots=True)
class Reference:
    """A column of a table that leads to a worker."""

    table: str
    column: str


def references_to(target: type[models.Model]) -> list[Reference]:
    """Every column that refers to the model, by table and column."""
    return sorted(
        (
            Reference(model._meta.db_table, str(field.column))
            for model in apps.get_models(include_auto_created=True)
            for field in model._meta.concrete_fields
            if field.related_model is target
        ),
        key=lambda each: (each.table, each.column),
    )


def held_about(worker: Worker, *, at: datetime) -> dict[str, Any]:
    """Everything held about a worker at ``at`` as JSON data, superseded records too.

    ``tables`` leads from each table to its rows (columns to values, instants in
    ISO 8601 in UTC): the worker's own, those that refer to the worker in any
    way, such as signatures given for others, and what hangs on them. A document's
    content is a file (:func:`data_request_zip`). ``log`` says where each record
    stands in the log. The number of SQL statements depends on the tables alone.
    """
    held = _Held(worker)
    tables = held.tables()
    return {
        "worker": worker.number,
        "as_of": at.isoformat(),
        "tables": tables,
        "documents": [
            {**each, "file": _file_name(each) if each["content_is_held"] else None} for each in held.documents(tables)
        ],
        "log": _log({table: [row["id"] for row in rows if "id" in row] for table, rows in tables.items()}),
    }


def data_request_zip(worker: Worker, *, at: datetime) -> bytes:
    """:func:`held_about` as a ZIP file: ``data.json``, the documents, and a README in plain words."""
    held = held_about(worker, at=at)
    files = {each["id"]: each["file"] for each in held["documents"] if each["file"]}
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("README.txt", _readme(held))
        archive.writestr("data.json", json.dumps(held, ensure_ascii=False, indent=1, sort_keys=True))
        for document in Document.objects.filter(pk__in=files).iterator(chunk_size=10):
            archive.writestr(files[document.pk], bytes(document.content))
    return written.getvalue()


class _Held:
    def __init__(self, worker: Worker) -> None:
        self.worker = worker
        self.found: dict[str, dict[Any, dict[str, Any]]] = {}

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        number = self.worker.pk
        self._add("people_worker", "id", [number])
        for each in references_to(Worker):
            self._add(each.table, each.column, [number])
        accounts = list(self.found.get("people_account", {}))
        for each in references_to(Account):
            self._add(each.table, each.column, accounts)
        own = {
            table: [row["id"] for row in rows.values() if "id" in row and row.get("worker_id") == number]
            for table, rows in self.found.items()
        }
        own["evidence_entryobjection"] = []
        for table, column, parent in HANGS_ON:
            self._add(table, column, own.get(parent, []))
            if table == "evidence_entryobjection":
                own[table] = list(self.found.get(table, {}))
        return {table: list(rows.values()) for table, rows in sorted(self.found.items()) if rows}

    def documents(self, tables: dict[str, list[dict[str, Any]]]) -> list[dict[str, Any]]:
        """The documents that the worker's own records hold, or that the worker put in."""
        number, wanted = self.worker.pk, {row["id"] for row in tables.get("evidence_document", [])}
        for each in references_to(Document):
            rows = tables.get(each.table, [])
            wanted |= {row[each.column] for row in rows if row.get("worker_id", number) == number} - {None}
        return self._rows("evidence_document", "id", sorted(wanted))

    def _add(self, table: str, column: str, values: list[Any]) -> None:
        rows = self.found.setdefault(table, {})
        for row in self._rows(table, column, values):
            rows[row.get("id", tuple(sorted(map(str, row.items()))))] = row

    def _rows(self, table: str, column: str, values: list[Any]) -> list[dict[str, Any]]:
        statement = sql.SQL("SELECT (to_jsonb(t) - %s::text[] || {})::text FROM {} t WHERE {} = ANY(%s) ORDER BY 1")
        # Said to be there, without reading it.
        more = sql.SQL(
            "jsonb_build_object('content_is_held', length(content) > 0)" if table in IN_FILES else "'{}'::jsonb"
        )
        hidden = [*SECRETS.get(table, ()), *IN_FILES.get(table, ())]
        with connection.cursor() as cursor:
            cursor.execute(
                statement.format(more, sql.Identifier(table), sql.Identifier(column)),
                [hidden, values],
            )
            rows: list[dict[str, Any]] = [json.loads(row) for (row,) in cursor.fetchall()]
        return rows


def _log(records: dict[str, list[int]]) -> list[dict[str, Any]]:
    """Where each record stands in the log: its place (``None``: not under a checkpoint yet) and its leaf hash."""
    wanted = models.Q(pk__in=[])
    for table, numbers in records.items():
        wanted |= models.Q(kind=table, record__in=numbers)
    entries = Entry.objects.filter(wanted).order_by("id")
    return [
        {
            "kind": kind,
            "record": record,
            "index": index,
            "leaf_hash": bytes(hashed).hex(),
            "entered_at": entered.isoformat(),
        }
        for kind, record, index, hashed, entered in entries.values_list(
            "kind", "record", "place__index", "leaf_hash", "entered_at"
        )
    ]


def _file_name(document: dict[str, Any]) -> str:
    """A name that is unique and safe in every file system; the document's own name is in its row."""
    ending = "".join(each for each in str(document["name"]).rpartition(".")[2][:8] if each.isalnum())
    return f"documents/{document['id']}.{ending or 'bin'}"


def _readme(held: dict[str, Any]) -> str:
    counted = "\n".join(f"  {table}: {len(rows)}" for table, rows in held["tables"].items())
    return _(
        "What this registry holds about worker %(number)s, as of %(at)s.\n"
        "\n"
        "data.json  Every record, those that were corrected later too, as it is stored.\n"
        "           'tables' holds the rows of each table; 'documents' says which file is which;\n"
        "           'log' says where each record stands in the tamper-evident log.\n"
        "documents  The files attached to your records, or put in by you.\n"
        "\n"
        "Passwords, second factors and the codes of invitations are not in here: they only prove\n"
        "who somebody is. Signatures you gave for other people are in here without those people's\n"
        "other records. If something is wrong, ask the employer whose record it is to correct it.\n"
        "\n"
        "Rows in each table:\n"
        "%(counted)s\n"
    ) % {"number": held["worker"], "at": held["as_of"], "counted": counted}
