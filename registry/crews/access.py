"""Who may see and who may assign: an employer its own jobs, an inspector everything, read-only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from allauth.mfa.models import Authenticator
from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet
from django.utils.translation import gettext as _

from registry.crews.models import Assignment, Decision, Job, Slot
from registry.crews.queries import current_jobs, employment_problems, every_plan
from registry.database.errors import RecordRefused
from registry.evidence.models import Appointment, Document
from registry.people.closing import require_closable
from registry.people.models import Account, Employer, Employment, Worker
from registry.people.second_factor import COMPULSORY_KINDS, SECOND_FACTORS


class NotAllowed(PermissionError):
    """The signed-in person may not do this; the message says why."""


@dataclass(frozen=True, slots=True)
class SecondFactor:
    """Whether the account must have a second factor, and whether it has one."""

    compulsory: bool
    set_up: bool


def second_factor_of(account: Account, *, at: datetime) -> SecondFactor:
    """Dispatchers, inspectors, registrars and whoever is an assessor at ``at`` must have one. One statement."""
    authenticators = Authenticator.objects.filter(user=OuterRef("pk"), type__in=SECOND_FACTORS)
    appointments = (
        Appointment.objects.current()
        .filter(Q(end__isnull=True) | Q(end__gt=at), duty="assessor", start__lte=at)
        .filter(worker=OuterRef("worker"))
    )
    asked = Account.objects.filter(pk=account.pk).annotate(set_up=Exists(authenticators), assessor=Exists(appointments))
    set_up, assessor = asked.values_list("set_up", "assessor").get()
    return SecondFactor(compulsory=account.kind in COMPULSORY_KINDS or assessor, set_up=set_up)


def visible_jobs(account: Account) -> QuerySet[Job]:
    """Jobs the account may look at, by their current plans."""
    return _of_account(account, current_jobs())


def visible_plans(account: Account) -> QuerySet[Job]:
    """The jobs the account may look at, with plans that were replaced or called off."""
    return _of_account(account, every_plan())


def _of_account(account: Account, jobs: QuerySet[Job]) -> QuerySet[Job]:
    if account.kind == "employer":
        return jobs.filter(employer=account.employer_id)
    if account.kind == "inspector":
        return jobs
    if account.kind == "worker":
        return jobs.filter(slots__assignments__worker=account.worker_id).distinct()
    return jobs.none()


def visible_slots(account: Account) -> QuerySet[Slot]:
    """Slots of the jobs the account may look at."""
    return Slot.objects.filter(job__in=visible_jobs(account)).select_related("job__site", "job__crane")


def visible_assignments(account: Account) -> QuerySet[Assignment]:
    """Assignments the account may look at; a worker only their own."""
    assignments = Assignment.objects.filter(slot__job__in=visible_jobs(account)).select_related(
        "state", "decision", "slot__job__site", "slot__job__crane"
    )
    if account.kind == "worker":
        return assignments.filter(worker=account.worker_id)
    return assignments


def visible_decisions(account: Account) -> QuerySet[Decision]:
    """Decisions asked for by the account's employer, about the worker, or all for an inspector."""
    if account.kind == "inspector":
        return Decision.objects.all()
    mine = Q(pk__in=[])
    if account.kind == "employer":
        mine = Q(employer=account.employer_id)
    elif account.kind == "worker":
        mine = Q(worker=account.worker_id)
    return Decision.objects.filter(mine)


def visible_workers(account: Account) -> QuerySet[Worker]:
    """People whose whole record the account may look at: its employer's own, oneself, all for an inspector."""
    if account.kind == "inspector":
        return Worker.objects.all()
    if account.kind == "employer":
        employed = Employment.objects.current().filter(employer=account.employer_id)
        return Worker.objects.filter(pk__in=employed.values("worker"))
    if account.kind == "worker" and account.worker_id is not None:
        return Worker.objects.filter(pk=account.worker_id)
    return Worker.objects.none()


def founding_appointments(account: Account) -> QuerySet[Appointment]:
    """The acts by which employers named their first assessors; ``replaced`` where corrected since."""
    acts = Appointment.objects.filter(kind="founding", withdrawn=False).select_related("worker", "employer")
    acts = acts.prefetch_related(Prefetch("document", Document.objects.defer("content")))
    acts = acts.annotate(replaced=Exists(Appointment.objects.filter(supersedes=OuterRef("pk")))).order_by(
        "-start", "id"
    )
    if account.kind == "inspector":
        return acts
    if account.kind == "employer":
        return acts.filter(employer=account.employer_id)
    return acts.none()


def own_worker(account: Account, *, otherwise: str) -> Worker:
    """The worker the account is of. Raises :class:`NotAllowed` with the sentence ``otherwise``."""
    if account.kind != "worker" or account.worker is None:
        raise NotAllowed(otherwise)
    return account.worker


def employer_of(account: Account) -> Employer:
    """The employer the account assigns for. Raises :class:`NotAllowed`."""
    if account.kind != "employer" or account.employer is None:
        raise NotAllowed(_("Only an employer plans jobs and assigns crews."))
    return account.employer


def require_registrar(account: Account) -> None:
    """Raise :class:`NotAllowed` for everybody but the registrar."""
    if account.kind != "registrar":
        raise NotAllowed(_("This page is the registrar's."))


def account_to_close(account: Account, account_id: int) -> Account:
    """The dispatcher's account that the account may close.

    Raises :class:`NotAllowed` unless it is one of the same employer, whether or not there is
    such an account, and :class:`RecordRefused` as
    :func:`registry.people.closing.require_closable`.
    """
    found = Account.objects.filter(pk=account_id, employer=employer_of(account)).first()
    if found is None:
        raise NotAllowed(_("This is not an account of your employer's."))
    require_closable(account=found, closed_by=account)
    return found


def require_sees_whole_crew(account: Account) -> None:
    """Raise :class:`NotAllowed` for a worker, who sees a crew but not everybody's papers."""
    if account.kind == "worker":
        raise NotAllowed(_("The crew sheet is for the employer and the inspector."))


def require_may_assign(account: Account, job: Job) -> None:
    """Raise :class:`NotAllowed` unless the job is the account's own employer's."""
    if employer_of(account).pk != job.employer_id:
        raise NotAllowed(_("This job is another employer's."))


def require_employed(job: Job, worker_id: int, start: datetime, end: datetime) -> None:
    """Raise :class:`RecordRefused` unless the job's employer employs the worker from ``start`` to ``end``."""
    problems = employment_problems(job, worker_id, start, end)
    if problems:
        raise RecordRefused(problems)
