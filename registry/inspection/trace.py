"""Every look leaves a trace: which pages and downloads show whose records, and who has looked.

An inspector's every look is recorded, and an employer's look at a person's
record. Nobody's look at themself is. A look through a link that the worker
shared is recorded beside the others, also where nobody is signed in
(:mod:`registry.transcripts.sharing`); :func:`seen_by` tells of both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, overload

from django.db.models import Exists, OuterRef, Q, QuerySet, Value
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from registry.crews.access import readable
from registry.crews.models import Assignment, Decision, Refusal, Slot
from registry.database.repeating import repeating
from registry.evidence.kinds import WITH_DOCUMENT
from registry.inspection.models import InspectionFile, Look
from registry.ledger.kinds import BY_TABLE
from registry.ledger.queries import stored_rows
from registry.people.models import Account
from registry.transcripts.models import LinkOpening
from registry.transcripts.sharing import RECORD, TRANSCRIPT

LOOKS: dict[str, Promise] = {
    "home": _("list of jobs"),
    "job": _("crew of a job"),
    "job_as_known": _("crew of a job as known at an instant"),
    "slot_as_known": _("answer about a person as known at an instant"),
    "decision": _("decision"),
    "workers": _("list of people"),
    "worker": _("a person's record"),
    "person_records": _("a person's record, record by record"),
    "bars_of": _("what keeps a person off the crews"),
    "crane": _("a crane and who worked on it"),
    "equipment": _("list of cranes and where they stand"),
    "equipment_sites": _("list of sites"),
    "equipment_models": _("list of makers and models"),
    "founding": _("founding appointments"),
    "inspection": _("search"),
    "second_look": _("lines worth a second look"),
    "second_look_at": _("lines worth a second look about a person"),
    "possible_twins": _("list of people who may be registered twice"),
    "settle_twin": _("people who may be registered twice"),
    "identities": _("accounts whose holder nobody outside their firm has seen"),
    "check_identity": _("account whose holder nobody outside their firm has seen"),
    "open_file": _("a job a file is to be opened on"),
    "file": _("inspection file"),
    "bundle": _("inspection bundle downloaded"),
    "transcript": _("training transcript"),
    "document": _("document"),
    "log_record": _("a record's place in the log"),
    "crew_sheet": _("crew sheet downloaded"),
    "refusal_notice": _("refusal notice downloaded"),
    "notice": _("notice of a job"),
    "notice_pdf": _("notice downloaded"),
    "notice_json": _("notice downloaded"),
    "procedure_file": _("work procedure downloaded"),
    "sent_notice_pdf": _("notice as sent downloaded"),
    "sent_notice_json": _("notice as sent downloaded"),
    "wanted_role": _("what a person lacks for a role"),
    "api": _("record through the programming interface"),
}
"""What a look is called, by the name of the page (or ``api``)."""


@dataclass(frozen=True, slots=True)
class Subject:
    """Whose or what records a page shows; all ``None`` for a list."""

    worker_id: int | None = None
    job_id: int | None = None
    crane_id: int | None = None
    file_id: int | None = None


def subject_of(given: Mapping[str, Any]) -> Subject:
    """The subject behind a page's arguments: ``worker_id``, ``job_id``, ``slot_id`` and so on."""
    if (number := given.get("slot_id")) is not None:
        job = Slot.objects.values_list("job_id", flat=True).get(pk=number)
        return Subject(worker_id=given.get("worker_id"), job_id=job)
    if (number := given.get("worker_id")) is not None:
        return Subject(worker_id=number)
    if (number := given.get("job_id")) is not None:
        return Subject(job_id=number)
    if (number := given.get("decision_id")) is not None:
        return _of_decision(number)
    if (number := given.get("assignment_id")) is not None:
        worker, job = Assignment.objects.values_list("worker_id", "slot__job_id").get(pk=number)
        return Subject(worker_id=worker, job_id=job)
    if (number := given.get("file_id")) is not None:
        return Subject(job_id=InspectionFile.objects.values_list("job_id", flat=True).get(pk=number), file_id=number)
    if "kind" in given and "record" in given:
        return _of_record(given["kind"], int(given["record"]))
    if (number := given.get("document_id")) is not None:
        return Subject(worker_id=_whose_document(number))
    if (number := given.get("account_id")) is not None:
        return Subject(worker_id=Account.objects.values_list("worker_id", flat=True).get(pk=number))
    return Subject(crane_id=given.get("crane_id"))


def _of_record(table: str, number: int) -> Subject:
    """A record by its table in the log: whom it is about, and which job's it is."""
    kind = BY_TABLE[table]
    row = stored_rows(kind, [number])[number]
    worker = row[kind.about_worker] if kind.about_worker else None
    return Subject(worker_id=worker, job_id=number if table == "crews_job" else row.get("job_id"))


def _whose_document(number: int) -> int | None:
    for each in WITH_DOCUMENT:
        worker = each._default_manager.filter(document=number).values_list("worker_id", flat=True).first()
        if worker is not None:
            return worker
    return None


def _of_decision(number: int) -> Subject:
    worker = Decision.objects.values_list("worker_id", flat=True).get(pk=number)
    places = Slot.objects.filter(
        Exists(Refusal.objects.filter(slot=OuterRef("pk"), decision=number))
        | Exists(Assignment.objects.filter(slot=OuterRef("pk"), decision=number))
    )
    return Subject(worker_id=worker, job_id=places.values_list("job_id", flat=True).first())


def leaves_a_trace(account: Account, subject: Subject) -> bool:
    """Whether a look at the subject is recorded."""
    return account.kind == "inspector" or (account.kind != "worker" and subject.worker_id is not None)


@repeating
def record_look(*, account: Account, what: str, subject: Subject, at: datetime) -> Look:
    """Record that the account looked; ``what`` is a key of :data:`LOOKS`."""
    return Look.objects.create(
        recorded_by=account,
        what=what,
        worker_id=subject.worker_id,
        job_id=subject.job_id,
        crane_id=subject.crane_id,
        file_id=subject.file_id,
        recorded_at=at,
    )


LOOKS_THROUGH_LINKS: dict[str, Promise] = {
    RECORD: _("a person's record, through the link shared"),
    TRANSCRIPT: _("training transcript, through the link shared"),
}
"""What a look through a shared link is called, by what was looked at."""


@dataclass(frozen=True, slots=True)
class Seen:
    """A look as its subject sees it: the record of it, what was looked at, and by whom."""

    look: Look | LinkOpening
    what: str
    by: str


class SeenBy(Sequence[Seen]):
    """Who has looked, as one account may know it, latest first; a page of it takes three statements."""

    def __init__(self, account: Account) -> None:
        self.account = account
        own = looks_visible_to(account).order_by().values_list("recorded_at", "pk", Value(True))
        through_links = openings_visible_to(account).order_by().values_list("recorded_at", "pk", Value(False))
        self.all = own.union(through_links, all=True).order_by("-recorded_at", "-pk")

    def __len__(self) -> int:
        return self.all.count()

    @overload
    def __getitem__(self, which: int) -> Seen: ...
    @overload
    def __getitem__(self, which: slice) -> list[Seen]: ...
    def __getitem__(self, which: int | slice) -> Seen | list[Seen]:
        if isinstance(which, int):
            return self[which : which + 1][0]
        rows = list(self.all[which])
        looks = looks_visible_to(self.account).in_bulk([number for _at, number, own in rows if own])
        openings = openings_visible_to(self.account).in_bulk([number for _at, number, own in rows if not own])
        return [
            told(looks[number], to=self.account) if own else _told_opening(openings[number], to=self.account)
            for _at, number, own in rows
        ]


def seen_by(account: Account) -> SeenBy:
    """Everybody's looks that the account may know of, through shared links too, latest first."""
    return SeenBy(account)


def openings_visible_to(account: Account) -> QuerySet[LinkOpening]:
    """Looks through shared links: a worker sees those through their own, everybody else those they took."""
    openings = LinkOpening.objects.select_related("recorded_by__employer", "link__worker")
    if account.kind == "worker":
        return openings.filter(link__worker=account.worker_id)
    return openings.filter(recorded_by=account)


def looks_visible_to(account: Account) -> QuerySet[Look]:
    """Who has looked: at oneself, at the employer's people and jobs; an inspector sees their own looks."""
    looks = Look.objects.select_related(
        "recorded_by__employer", "worker", "job__site", "job__crane__model__maker", "crane__model__maker", "file"
    ).order_by("-recorded_at", "-id")
    if account.kind in ("inspector", "registrar"):
        return looks.filter(recorded_by=account)
    if account.kind == "worker":
        # On which a place was filled with me, or refused to me: the file on a job holds the refused too.
        crews = Slot.objects.filter(
            Q(assignments__worker=account.worker_id) | Q(refusals__decision__worker=account.worker_id)
        )
        on_my_jobs = Q(job__in=crews.values("job"), worker__isnull=True)
        return looks.filter(Q(worker=account.worker_id) | on_my_jobs)
    if account.kind == "employer":
        mine = Q(job__employer=account.employer_id) | Q(pk__in=readable(account, Look.objects.all()).values("pk"))
        # What another employer of the same person looks at is between those two.
        return looks.filter(mine).filter(Q(recorded_by__kind="inspector") | Q(recorded_by=account))
    return looks.none()


def told(look: Look, *, to: Account | None) -> Seen:
    """The look in words, for an account or (``None``) on paper: inspectors are not named, employers by the firm."""
    return Seen(look, str(LOOKS[look.what]), _named(look.recorded_by, to))


def _told_opening(opening: LinkOpening, *, to: Account) -> Seen:
    what = str(LOOKS_THROUGH_LINKS[opening.what])
    if opening.recorded_by is None:
        return Seen(opening, what, str(_("somebody who was not signed in")))
    return Seen(opening, what, _named(opening.recorded_by, to))


def _named(by: Account, to: Account | None) -> str:
    if to is not None and by.pk == to.pk:
        return str(_("you"))
    if by.kind == "inspector":
        return str(_("an inspector of the public authority"))
    if by.kind == "registrar":
        return str(_("the registrar"))
    return str(by.employer or by.get_username())
