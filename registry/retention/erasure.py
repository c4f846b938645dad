"""Lawful erasure of a worker: personal data and salts go, rows, links and proofs stay.

What is blanked are the worker's name and date of birth, numbers, reasons and
other free text in the worker's records, the documents attached to nobody else's,
the reasoning of decisions about the worker, and the worker's account. Crane
models, hours, dates and outcomes stay, without a person behind them: the
signatures the worker gave go on counting for those who got them.

What is *not* touched is other people's evidence. A decision about somebody else
may name the erased person as signer: it is that worker's sealed evidence and
keeps the name until its own period has run out. So does a job's description or
a reason written about somebody else. :class:`Erased` lists such records.

Only the owner's database role can erase; the append-only triggers let it through
for the columns of ``registry_erasable`` alone (``database/sql/append_only.sql``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.apps import apps
from django.db import connections, transaction
from django.db.backends.utils import CursorWrapper
from django.utils.text import capfirst
from psycopg import sql

from registry.database.errors import Problem, RecordRefused, broken
from registry.database.repeating import repeating
from registry.database.router import OWNER_ALIAS
from registry.evidence.models import Document
from registry.language import amounts
from registry.ledger.kinds import KINDS, title_of
from registry.ledger.models import Erasure
from registry.people.models import Account, Worker
from registry.retention.kept import in_assignments, what_is_kept

ERASED = "Erased"
"""What stands where a name or a reason stood."""

OWN_HOURS = "SELECT id FROM evidence_hoursentry WHERE worker_id = %(worker)s"
OWN_LINKS = "SELECT id FROM transcripts_sharedlink WHERE worker_id = %(worker)s"
OWN_ACCOUNTS = "account_id IN (SELECT id FROM people_account WHERE worker_id = %(worker)s)"
OBJECTIONS = f"by_id = %(worker)s OR entry_id IN ({OWN_HOURS})"

ABOUT: dict[str, str] = {
    # Every logged kind that says whose record it is …
    **{each.table: f"{each.about_worker} = %(worker)s" for each in KINDS if each.about_worker},
    # … and what hangs on such a record.
    "evidence_document": "id = ANY(%(documents)s)",
    "evidence_entryobjection": OBJECTIONS,
    "evidence_objectionanswer": f"objection_id IN (SELECT id FROM evidence_entryobjection WHERE {OBJECTIONS})",  # noqa: S608
    "evidence_correctionanswer": (
        "request_id IN (SELECT id FROM evidence_correctionrequest WHERE worker_id = %(worker)s)"
    ),
    "people_employmentdecline": (
        "request_id IN (SELECT id FROM people_employmentrequest WHERE worker_id = %(worker)s)"
    ),
    "crews_assignmentevent": "assignment_id IN (SELECT id FROM crews_assignment WHERE worker_id = %(worker)s)",
    "transcripts_endedlink": f"link_id IN ({OWN_LINKS})",
    "transcripts_linkopening": f"link_id IN ({OWN_LINKS})",
    "people_settledtwin": (
        "twin_id IN (SELECT id FROM people_possibletwin WHERE worker_id = %(worker)s OR other_id = %(worker)s)"
    ),
    "people_closedaccount": OWN_ACCOUNTS,
    "people_accountevent": OWN_ACCOUNTS,
    "people_identitycheck": OWN_ACCOUNTS,
    "evidence_deniedsignature": "by_id = %(worker)s",
    "notices_sentnotice": "id IN (SELECT notice_id FROM notices_namedsupervisor WHERE worker_id = %(worker)s)",
}
"""Which rows of which table an erasure concerns; their log entries lose their salts."""

REASON = f"CASE WHEN reason = '' THEN '' ELSE '{ERASED}' END"
NO_REASONING = '{"requirements": [], "remedy": null, "objections": [], "erased": true}'

WITHOUT_THE_SUPERVISOR = (
    "jsonb_set(content::jsonb, '{supervisors}', (SELECT jsonb_agg(CASE"  # noqa: S608 (put together from constants alone)
    " WHEN each -> 'worker' ->> 'record' = 'worker:' || %(worker)s"
    f""" THEN jsonb_build_object('worker', each -> 'worker' || '{{"name": "{ERASED} person", "number": ""}}',"""
    " 'title', each -> 'title', 'standing', each -> 'standing', 'from', each -> 'from', 'until', each -> 'until',"
    """ 'erased', true) ELSE each END) FROM jsonb_array_elements(content::jsonb -> 'supervisors') each))::text"""
)
"""A sent notice in which the erased person is a supervisor without a name and qualifications."""

BLANKED: dict[str, dict[str, str]] = {
    "people_worker": {
        "given_name": f"'{ERASED}'",
        "family_name": "'person'",
        "name_key": "''",
        "lookalike_keys": "'{}'",
        "date_of_birth": "NULL",
    },
    "evidence_document": {"name": f"'{ERASED}'", "content": "''"},
    "evidence_hoursentry": {
        "issuer": f"CASE WHEN issuer = '' THEN '' ELSE '{ERASED}' END",
        "imported_line": "''",
    },
    "evidence_assessment": {"tasks": "'[]'", "signature": "''"},
    # The number stays unique among certificates of the scheme.
    "evidence_certification": {"number": f"'{ERASED} ' || id"},
    "evidence_certificationstatus": {"reason": "''"},
    "evidence_standdown": {"reason": f"'{ERASED}'"},
    "evidence_standdownsuspension": {"reason": f"'{ERASED}'"},
    "evidence_instruction": {"provider_name": "''"},
    "evidence_appointment": {"appointed_by": f"CASE WHEN appointed_by = '' THEN '' ELSE '{ERASED}' END"},
    "evidence_entryobjection": {"reason": f"'{ERASED}'"},
    "evidence_objectionanswer": {"reply": f"'{ERASED}'"},
    "evidence_correctionrequest": {"what_is_wrong": f"'{ERASED}'", "what_it_should_be": "''"},
    "evidence_correctionanswer": {"reason": REASON},
    # The question, the outcome and the standard stay, so that an assignment still shows what it rests on.
    "crews_decision": {
        "statement": (
            "(statement::jsonb || jsonb_build_object('answer', "
            f"coalesce(statement::jsonb -> 'answer', '{{}}') || '{NO_REASONING}'::jsonb))::text"
        ),
        "seal": "''",
    },
    "crews_assignmentevent": {"reason": REASON},
    "transcripts_sharedlink": {"note": f"CASE WHEN note = '' THEN '' ELSE '{ERASED}' END"},
    "people_closedaccount": {"reason": f"'{ERASED}'"},
    "people_settledtwin": {"reason": f"'{ERASED}'"},
    "people_identitycheck": {"looked_at": f"'{ERASED}'"},
    "evidence_deniedsignature": {"reason": f"'{ERASED}'"},
    "people_employmentrequest": {"number": f"'{ERASED}'"},
    "people_employmentconsent": {"code_typed": "''", "reason": REASON},
    # What the notice says about everybody else stays.
    "notices_sentnotice": {"content": WITHOUT_THE_SUPERVISOR},
    "notices_namedsupervisor": {"content": "''"},
}
"""What stands in each personal column afterwards, as SQL. The columns are those of ``registry_erasable``."""

LINKED_THROUGH = {
    "evidence_assessmentsignature": "assessment__worker",
    # A job's procedure is nobody's own record, except whoever attached it.
    "notices_attachedprocedure": "recorded_by__worker",
}
"""How tables that hold a document lead to the worker, where they have no ``worker`` themselves."""

FREE_TEXT: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("people_employer", ("responsible_person",)),
    ("evidence_document", ("name",)),
    ("evidence_certificationstatus", ("reason",)),
    ("evidence_standdown", ("reason",)),
    ("evidence_standdownsuspension", ("reason",)),
    ("people_employmentconsent", ("reason",)),
    ("evidence_instruction", ("provider_name",)),
    ("evidence_appointment", ("appointed_by",)),
    ("evidence_assessment", ("signature", "third_party")),
    ("evidence_entryobjection", ("reason",)),
    ("evidence_objectionanswer", ("reply",)),
    ("evidence_correctionrequest", ("what_is_wrong", "what_it_should_be")),
    ("evidence_correctionanswer", ("reason",)),
    ("crews_job", ("description",)),
    ("crews_assignmentevent", ("reason",)),
    ("transcripts_sharedlink", ("note",)),
    ("people_closedaccount", ("reason",)),
    ("people_settledtwin", ("reason",)),
    ("people_identitycheck", ("looked_at",)),
    ("evidence_deniedsignature", ("reason",)),
    ("notices_jobparty", ("name", "contact_person", "address")),
    ("notices_noticeparticulars", ("site_address", "scope")),
    ("notices_attachedprocedure", ("title",)),
    ("notices_sentnotice", ("content",)),
)
"""Where other people's records may name somebody in words."""


@dataclass(frozen=True, slots=True)
class NamedStill:
    """Somebody else's record that goes on naming the erased person; ``kind`` is its table."""

    kind: str
    record: int

    def __str__(self) -> str:
        return f"{title_of(self.kind)} {self.record}"


@dataclass(frozen=True, slots=True)
class Erased:
    """What an erasure did, or would do (``erasure`` is ``None`` then).

    ``documents`` lost their content; ``shared_documents`` kept it, since other
    workers' records need them. ``named_still`` are other people's records that
    keep the name until their own period has run out.
    """

    erasure: Erasure | None
    entries: int
    documents: tuple[int, ...]
    shared_documents: tuple[int, ...]
    named_still: tuple[NamedStill, ...]


@repeating
def erase_worker(*, worker: Worker, ground: str, at: datetime, recorded_by: Account | None) -> Erased:
    """Erase a worker's personal data on a lawful ``ground``, all of it or nothing.

    The ground is public and stays for ever: it says the law or the request, and
    names nobody. Raises :class:`RecordRefused` naming every record still within
    its period, every assignment that is not over, an open or empty ground, and
    where there is nothing left to erase.
    """
    with transaction.atomic(using=OWNER_ALIAS), connections[OWNER_ALIAS].cursor() as cursor:
        # Whoever records something about the worker at this moment came first, or waits and is refused.
        known = Worker.objects.using(OWNER_ALIAS).select_for_update().get(pk=worker.pk)
        problems = [*_ground_problems(known, ground), *erasure_problems(known, at, using=OWNER_ALIAS)]
        own, shared = _documents(known, OWNER_ALIAS)
        values: dict[str, Any] = {"worker": known.pk, "documents": own}
        entries = _entries(cursor, values)
        if not entries:
            problems.append(broken("a_worker_is_erased_once"))
        if problems:
            raise RecordRefused(problems)
        erasure = Erasure.objects.using(OWNER_ALIAS).create(
            subject=f"worker:{known.pk}",
            ground=ground.strip(),
            entries=entries,
            erased_at=at,
            recorded_by=recorded_by,
        )
        _blank(cursor, values)
        _close_accounts(cursor, known)
        cursor.execute("SELECT ledger_erase(%s)", [erasure.pk])
        return Erased(erasure, len(entries), tuple(own), tuple(shared), tuple(_named_still(cursor, known, own)))


def would_erase(worker: Worker) -> Erased:
    """What an erasure would do, without doing it."""
    own, shared = _documents(worker, OWNER_ALIAS)
    with connections[OWNER_ALIAS].cursor() as cursor:
        entries = _entries(cursor, {"worker": worker.pk, "documents": own})
        named = _named_still(cursor, worker, own)
    return Erased(None, len(entries), tuple(own), tuple(shared), tuple(named))


def erasure_problems(worker: Worker, at: datetime, *, using: str = "default") -> list[Problem]:
    """Why the worker may not be erased at ``at``: assignments that are not over, and records to keep."""
    problems = [
        broken(
            "nobody_in_an_assignment_is_erased",
            number=each.pk,
            end=f"{amounts.instant(each.during.upper, ZoneInfo('UTC'))} UTC",
        )
        for each in in_assignments([worker.pk], at, using=using)
    ]
    problems += [
        broken("records_are_kept_for_their_period", record=capfirst(str(each)))
        for each in what_is_kept(worker, at, using=using)
    ]
    return problems


def _ground_problems(worker: Worker, ground: str) -> list[Problem]:
    problems = []
    if not ground.strip():
        problems.append(broken("an_erasure_states_its_ground"))
    if worker.family_name and worker.family_name.lower() in ground.lower():
        problems.append(broken("the_ground_names_nobody"))
    return problems


def _documents(worker: Worker, using: str) -> tuple[list[int], list[int]]:
    """The documents that only this worker's records hold, and those that others hold too."""
    holders = [
        (each.model, each.name, LINKED_THROUGH.get(each.model._meta.db_table, "worker"))
        for model in apps.get_models()
        for each in model._meta.concrete_fields
        if each.related_model is Document
    ]
    mine: set[int] = set(Document.objects.using(using).filter(recorded_by__worker=worker).values_list("pk", flat=True))
    uploaded = set(mine)
    for model, field, path in holders:
        rows = model._base_manager.using(using)
        mine.update(rows.filter(**{path: worker, f"{field}__isnull": False}).values_list(f"{field}_id", flat=True))
    others: set[int] = set()
    for model, field, path in holders:
        rows = model._base_manager.using(using)
        others.update(
            rows.filter(**{f"{field}__in": mine}).exclude(**{path: worker}).values_list(f"{field}_id", flat=True)
        )
    return sorted(mine - others), sorted((mine & others) - uploaded)


def _entries(cursor: CursorWrapper, values: dict[str, Any]) -> list[int]:
    """The log entries about the worker that still have their salt."""
    found: list[int] = []
    for table, condition in ABOUT.items():
        cursor.execute(
            sql.SQL(
                "SELECT id FROM ledger_entry WHERE kind = {kind} AND salt IS NOT NULL"
                " AND record IN (SELECT id FROM {table} WHERE {condition})"
            ).format(kind=sql.Literal(table), table=sql.Identifier(table), condition=sql.SQL(condition)),
            values,
        )
        found += [entry for (entry,) in cursor.fetchall()]
    return sorted(found)


def _blank(cursor: CursorWrapper, values: dict[str, Any]) -> None:
    cursor.execute("SELECT set_config('registry.erasing', 'on', true)")
    # What hangs on other rows first: none of the conditions reads a column that is blanked.
    for table, columns in BLANKED.items():
        assignments = sql.SQL(", ").join(
            sql.SQL("{} = {}").format(sql.Identifier(column), sql.SQL(value)) for column, value in columns.items()
        )
        cursor.execute(
            sql.SQL("UPDATE {} SET {} WHERE {}").format(sql.Identifier(table), assignments, sql.SQL(ABOUT[table])),
            values,
        )
    # Kept by triggers and not in the log, but it repeats the reason of the last event.
    cursor.execute(
        f"UPDATE crews_assignmentstate SET reason = {REASON} WHERE worker_id = %(worker)s AND reason <> ''",  # noqa: S608
        values,
    )


def _close_accounts(cursor: CursorWrapper, worker: Worker) -> None:
    """Nobody signs in as the worker again, and nothing that their accounts held about the person is left."""
    cursor.execute("DELETE FROM people_invitation WHERE worker_id = %s", [worker.pk])
    for account in Account.objects.using(OWNER_ALIAS).filter(worker=worker):
        cursor.execute(
            "DELETE FROM django_session WHERE session_key IN"
            " (SELECT session_key FROM usersessions_usersession WHERE user_id = %s)",
            [account.pk],
        )
        cursor.execute(
            "DELETE FROM account_emailconfirmation WHERE email_address_id IN"
            " (SELECT id FROM account_emailaddress WHERE user_id = %s)",
            [account.pk],
        )
        for table in ("usersessions_usersession", "account_emailaddress", "mfa_authenticator"):
            cursor.execute(sql.SQL("DELETE FROM {} WHERE user_id = %s").format(sql.Identifier(table)), [account.pk])
        account.username = f"erased-{account.pk}"
        account.first_name = account.last_name = account.email = ""
        account.last_login = None
        account.is_active = False
        account.set_unusable_password()
        account.save(using=OWNER_ALIAS)


def _named_still(cursor: CursorWrapper, worker: Worker, documents: list[int]) -> list[NamedStill]:
    """Other people's records in which the worker's whole name stands (``worker`` as it was before)."""
    name = str(worker)
    values: dict[str, Any] = {
        "worker": worker.pk,
        "documents": documents,
        "name": name,
        "subject": f"worker:{worker.pk}",
    }
    cursor.execute(
        "SELECT decision.id FROM crews_decision decision"
        " JOIN crews_decisiondependency dependency ON dependency.decision_id = decision.id"
        " WHERE dependency.subject = %(subject)s AND decision.worker_id <> %(worker)s"
        " AND strpos(decision.statement, %(name)s) > 0 ORDER BY decision.id",
        values,
    )
    found = [NamedStill("crews_decision", record) for (record,) in cursor.fetchall()]
    for table, columns in FREE_TEXT:
        mine = sql.SQL(ABOUT.get(table, "false"))
        text = sql.SQL(" || ' ' || ").join(sql.Identifier(column) for column in columns)
        cursor.execute(
            sql.SQL("SELECT id FROM {} WHERE NOT ({}) AND strpos({}, %(name)s) > 0 ORDER BY id").format(
                sql.Identifier(table), mine, text
            ),
            values,
        )
        found += [NamedStill(table, record) for (record,) in cursor.fetchall()]
    return found


def erased_workers(workers: Sequence[int]) -> set[int]:
    """Which of the workers have been erased."""
    subjects = {f"worker:{each}": each for each in workers}
    return {subjects[each] for each in Erasure.objects.filter(subject__in=subjects).values_list("subject", flat=True)}
