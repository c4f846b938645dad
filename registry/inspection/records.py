"""Who may see one record, whatever table it is in: the answer is no unless a rule here says yes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db.models import Model, QuerySet
from django.utils.translation import gettext as _

from registry.crews.access import NotAllowed, readable, readable_remarks, visible_decisions, visible_workers
from registry.crews.models import Assignment, AssignmentEvent, Decision, Job, Refusal, Slot
from registry.crews.record_access import visible_documents
from registry.equipment.models import Crane, CraneModel, CranePlacement, FamilyDeclaration, Maker, Site
from registry.evidence.kinds import RECORDS
from registry.evidence.models import (
    Countersignature,
    Document,
    HoursEntry,
    StandDownSuspension,
)
from registry.ledger.kinds import BY_TABLE
from registry.people.models import (
    Account,
    ClosedAccount,
    Employer,
    EmploymentCode,
    EmploymentConsent,
    EmploymentDecline,
    EmploymentRequest,
    Worker,
)
from registry.standards.models import EmployerFigure, StandardVersion
from registry.transcripts.models import EndedLink, LinkOpening, SharedLink

FOR_EVERY_EMPLOYER: tuple[type[Model], ...] = (
    Maker,
    CraneModel,
    FamilyDeclaration,
    Site,
    Crane,
    CranePlacement,
    StandardVersion,
)
OF_A_JOB: dict[type[Model], str] = {
    Job: "",
    Slot: "job__",
    Refusal: "slot__job__",
    Assignment: "slot__job__",
    AssignmentEvent: "assignment__slot__job__",
}
"""What belongs to a job, and the way from it to the job."""

OF_THE_PERSON: dict[type[Model], str] = {
    Refusal: "decision__worker",
    Assignment: "worker",
    AssignmentEvent: "assignment__worker",
    SharedLink: "worker",
    EndedLink: "link__worker",
    LinkOpening: "link__worker",
    ClosedAccount: "account__worker",
}
"""What is a worker's own beyond what is about them, and the way to that worker."""

THE_WORKERS_OWN: tuple[type[Model], ...] = (SharedLink, EndedLink, LinkOpening)
"""To whom somebody showed their own record, with a note that nobody else reads."""

Rule = Callable[[Account], QuerySet[Any]]


def visible_record(account: Account, kind: str, record: int) -> bool:
    """Whether the account may see the record, personal columns included. At most two statements.

    An inspector sees every logged record but to whom a worker showed their own. An employer sees what concerns its own
    workers and jobs, its own figures, and equipment and standards; a worker what
    concerns themself.
    """
    if kind not in BY_TABLE:
        return False
    if account.kind == "inspector":
        return kind not in map(_table, THE_WORKERS_OWN)
    rules = {"employer": _EMPLOYER, "worker": _WORKER}.get(account.kind, {})
    rule = rules.get(kind)
    return rule is not None and rule(account).filter(pk=record).exists()


def may_make_checkpoint(account: Account) -> bool:
    """Whether the account is an employer's or an inspector's."""
    return account.kind in ("employer", "inspector")


def require_may_make_checkpoint(account: Account) -> None:
    """Raise :class:`NotAllowed` unless :func:`may_make_checkpoint`."""
    if not may_make_checkpoint(account):
        raise NotAllowed(_("Only an employer or an inspector makes checkpoints."))


def _about_workers(model: Any) -> Rule:
    return lambda account: readable(account, model.objects.all())


def _countersignatures(account: Account) -> QuerySet[Countersignature]:
    return readable_remarks(
        account, Countersignature.objects.filter(entry__in=readable(account, HoursEntry.objects.all()))
    )


def _of_own_jobs(model: Any, way: str) -> Rule:
    return lambda account: model.objects.filter(**{f"{way}employer": account.employer_id})


def _own(model: Any, way: str) -> Rule:
    return lambda account: model.objects.filter(**{way: account.worker_id})


def _all(model: Any) -> Rule:
    return lambda account: model.objects.all()


def _table(model: type[Model]) -> str:
    return model._meta.db_table


_FOR_BOTH: dict[str, Rule] = {
    _table(Worker): visible_workers,
    _table(Decision): visible_decisions,
    _table(Document): visible_documents,
    _table(Countersignature): _countersignatures,
    _table(StandDownSuspension): _about_workers(StandDownSuspension),
    **{_table(each): _about_workers(each) for each in RECORDS.values()},
}
_EMPLOYER: dict[str, Rule] = {
    **_FOR_BOTH,
    _table(Employer): lambda account: Employer.objects.filter(accounts=account),
    _table(EmploymentConsent): _of_own_jobs(EmploymentConsent, ""),
    _table(EmployerFigure): _of_own_jobs(EmployerFigure, ""),
    _table(ClosedAccount): lambda account: ClosedAccount.objects.filter(account__employer=account.employer_id),
    **{_table(each): _all(each) for each in FOR_EVERY_EMPLOYER},
    **{_table(each): _of_own_jobs(each, way) for each, way in OF_A_JOB.items()},
}
_WORKER: dict[str, Rule] = {
    **_FOR_BOTH,
    **{_table(each): _own(each, "worker") for each in (EmploymentRequest, EmploymentCode, EmploymentConsent)},
    _table(EmploymentDecline): _own(EmploymentDecline, "request__worker"),
    **{_table(each): _own(each, way) for each, way in OF_THE_PERSON.items()},
}
