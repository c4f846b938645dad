"""Who may see and who may assign: an employer its own jobs, an inspector everything, read-only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Any, TypeVar

from allauth.mfa.models import Authenticator
from django.db.models import (
    BooleanField,
    DateTimeField,
    Exists,
    ExpressionWrapper,
    F,
    Func,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Value,
)
from django.db.models.functions import TruncDate
from django.utils.translation import gettext as _

from registry.crews.models import Assignment, Decision, Job, Slot
from registry.crews.queries import current_jobs, employment_problems, every_plan
from registry.database.errors import RecordRefused
from registry.evidence.models import Appointment, Assessment, CorrectionRequest, Document, HoursEntry, StandDown
from registry.people.closing import require_closable
from registry.people.models import Account, Employer, Employment, Worker
from registry.people.second_factor import COMPULSORY_KINDS, SECOND_FACTORS

DAY_IS_OVER = timedelta(hours=12)
"""A day is over everywhere on earth twelve hours after it is over in UTC."""


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
    """People whose record the account may look at: its employer's own, oneself, all for an inspector.

    Of somebody who left, an employer reads what :func:`readable` says.
    """
    if account.kind == "inspector":
        return Worker.objects.all()
    if account.kind == "employer":
        employed = Employment.objects.current().filter(employer=account.employer_id)
        return Worker.objects.filter(pk__in=employed.values("worker"))
    if account.kind == "worker" and account.worker_id is not None:
        return Worker.objects.filter(pk=account.worker_id)
    return Worker.objects.none()


def reading_ends(account: Account, worker_id: int) -> datetime | None:
    """Up to which instant the account reads the worker's record (``None``: to the present).

    An employer reads what was recorded while somebody was on its books, through the
    end of the last day there, wherever on earth. Who reads nothing of the worker is
    for :func:`visible_workers` to say. In SQL: ``registry_reads_until``.
    """
    if account.kind != "employer":
        return None
    employed = Employment.objects.current().filter(employer=account.employer_id, worker=worker_id)
    ends = list(employed.values_list("end", flat=True))
    last = max((each for each in ends if each is not None), default=None)
    if last is None or None in ends:
        return None
    return datetime.combine(last + timedelta(days=1), time(), tzinfo=UTC) + DAY_IS_OVER


def workers_read_at(account: Account, *, at: datetime) -> QuerySet[Worker]:
    """Of :func:`visible_workers` those whose record the account reads to the present: not who left its employer."""
    if account.kind != "employer":
        return visible_workers(account)
    day = (at.astimezone(UTC) - DAY_IS_OVER).date()
    employed = Employment.objects.current().filter(Q(end__isnull=True) | Q(end__gte=day), employer=account.employer_id)
    return Worker.objects.filter(pk__in=employed.values("worker"))


Records = TypeVar("Records", bound=QuerySet[Any])

NAMING_MAKES_OWN: tuple[type[Any], ...] = (HoursEntry, Appointment, CorrectionRequest)
"""Records that are an employer's for naming it, also where it never had the person."""
NAMING_KEEPS: tuple[type[Any], ...] = (Assessment, StandDown, Employment)
"""Records that an employer they name goes on reading about people it once had."""


def readable(account: Account, records: Records) -> Records:
    """Of records about workers those that the account reads.

    An employer reads what it recorded, the record of people on its books, and of those
    who left what had been recorded until then; and what became of each record of its own.
    The policies of row-level security say the same (:mod:`registry.people.guards`).
    """
    if account.kind in ("inspector", "registrar"):
        return records
    if account.kind == "worker":
        return records.filter(worker=account.worker_id)
    if account.kind != "employer" or account.employer_id is None:
        return records.none()
    model, employer = records.model, account.employer_id
    ever = Employment.objects.current().filter(employer=employer, worker=OuterRef("worker"))
    seen = Q(Exists(_in_time(ever, OuterRef("recorded_at")))) | Q(recorded_by__employer=employer)
    if issubclass(model, NAMING_MAKES_OWN):
        seen |= Q(employer=employer)
    elif issubclass(model, NAMING_KEEPS):
        seen |= Q(Exists(ever), employer=employer)
    if model is Employment:
        seen |= Q(Exists(ever), supersedes__employer=employer)
    if hasattr(model, "supersedes"):
        seen |= Q(
            Func(
                Value(employer),
                Value(model._meta.db_table),
                F("supersedes_id"),
                Value(issubclass(model, NAMING_MAKES_OWN)),
                function="registry_corrects_record_of",
                output_field=BooleanField(),
            )
        )
    return records.filter(seen)


@dataclass(frozen=True, slots=True)
class RecordReader:
    """What an account reads of one worker whom it may look at (:func:`visible_workers`), at an instant.

    ``left`` is the instant up to which it reads the record, where that is past: :func:`readable` is then asked
    of each kind of record. In all other cases nothing is left out, and asking would cost more than reading.
    """

    account: Account | None
    left: datetime | None

    def records(self, records: Records) -> Records:
        """Of the worker's records those that the account reads."""
        return records if self.account is None or self.left is None else readable(self.account, records)

    def remarks(self, remarks: Records) -> Records:
        """Of what was said about the worker's hours entries that which the account reads."""
        return remarks if self.account is None or self.left is None else readable_remarks(self.account, remarks)


WHOLE = RecordReader(account=None, left=None)
"""Whoever reads all of the record: what is asked of the database is then the same for everybody."""


def reader_of(account: Account, worker_id: int, *, at: datetime) -> RecordReader:
    """How the account reads the worker's record at the present instant ``at``."""
    ends = reading_ends(account, worker_id)
    return RecordReader(account, ends if ends is not None and ends < at else None)


def readable_remarks(account: Account, remarks: Records) -> Records:
    """Of what was said about hours entries that the account reads, such as signatures, that which it reads too."""
    if account.kind != "employer" or account.employer_id is None:
        return remarks
    employer = account.employer_id
    ever = Employment.objects.current().filter(employer=employer, worker=OuterRef("entry__worker"))
    in_time = _in_time(_in_time(ever, OuterRef("recorded_at")), OuterRef("entry__recorded_at"))
    corrects = Func(
        Value(employer),
        Value(HoursEntry._meta.db_table),
        F("entry__supersedes_id"),
        Value(True),
        function="registry_corrects_record_of",
        output_field=BooleanField(),
    )
    own = Q(entry__employer=employer) | Q(entry__recorded_by__employer=employer) | Q(corrects)
    return remarks.filter(own | Q(Exists(in_time)))


def _in_time(employments: QuerySet[Employment], recorded_at: Any) -> QuerySet[Employment]:
    """Employments whose last day was not over when something was recorded."""
    day = TruncDate(ExpressionWrapper(recorded_at - DAY_IS_OVER, output_field=DateTimeField()), tzinfo=UTC)
    return employments.filter(Q(end__isnull=True) | Q(end__gte=day))


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
    _require_employers(account)
    assert account.employer is not None
    return account.employer


def _require_employers(account: Account) -> None:
    if account.kind != "employer" or account.employer_id is None:
        raise NotAllowed(_("Only an employer plans jobs and assigns crews."))


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


def require_sees_twins(account: Account) -> None:
    """Raise :class:`NotAllowed` for all but the registrar and inspectors: others are not told who is registered."""
    if account.kind not in ("registrar", "inspector"):
        raise NotAllowed(_("Only the registrar and inspectors see who may be registered twice."))


def require_may_assign(account: Account, job: Job) -> None:
    """Raise :class:`NotAllowed` unless the job is the account's own employer's."""
    _require_employers(account)
    if account.employer_id != job.employer_id:
        raise NotAllowed(_("This job is another employer's."))


def require_employed(job: Job, worker_id: int, start: datetime, end: datetime) -> None:
    """Raise :class:`RecordRefused` unless the job's employer employs the worker from ``start`` to ``end``."""
    problems = employment_problems(job, worker_id, start, end)
    if problems:
        raise RecordRefused(problems)
