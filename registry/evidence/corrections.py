"""Asking for a correction, and answering by correcting, withdrawing or declining.

Every correction through here has its reason beside it: a request with an
answer. An employer that corrects of its own accord states the request itself.
What keeps somebody off the crews is ended by what its source says, or by the
registrar; the database holds the same rules (``sql/bars.sql``).
Functions raise :class:`registry.database.errors.RecordRefused`.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from registry.database.errors import RecordRefused, broken, refusals
from registry.database.repeating import repeating
from registry.evidence import services
from registry.evidence.assessing import employers_assessed_for
from registry.evidence.countersigning import ask_for_countersignature
from registry.evidence.kinds import RECORDS, kind_of
from registry.evidence.models import (
    Assessment,
    CertificationStatus,
    CorrectionAnswer,
    CorrectionRequest,
    HoursEntry,
    Instruction,
    StandDown,
)
from registry.people.models import Account, Employer, Employment, Worker
from registry.people.registrars import is_registrar


def employer_answerable_for(record: Any, *, on: datetime) -> Employer | None:
    """The employer whose record it is.

    The one the record names; else the one whose account recorded it; else the
    one on whose books the worker was when it was recorded, the latest first: not
    whoever employs the worker later.
    """
    named = getattr(record, "employer", None)
    while record.supersedes is not None:
        # Who corrected it, and when, changes nothing about whose record it was.
        record = record.supersedes
    if named is None and record.recorded_by is not None:
        named = record.recorded_by.employer
    if named is None:
        day = min(record.recorded_at, on).date()
        employments = Employment.objects.current().filter(
            Q(end__isnull=True) | Q(end__gte=day), worker=record.worker_id, start__lte=day
        )
        latest = employments.select_related("employer").order_by("-start", "-id").first()
        named = None if latest is None else latest.employer
    return named


def latest_version(record: Any) -> Any:
    """The record that stands where ``record`` stood: itself, or its last correction or withdrawal."""
    while (later := type(record).objects.filter(supersedes=record).first()) is not None:
        record = later
    return record


def record_asked_about(request: CorrectionRequest) -> Any:
    """The record that the request is about, as it was then."""
    return RECORDS[request.record_kind].objects.get(pk=request.record_id)


def open_requests(employer: Employer) -> QuerySet[CorrectionRequest]:
    """Requests that wait for the employer's answer, oldest first."""
    waiting = CorrectionRequest.objects.filter(employer=employer, answer__isnull=True).exclude(
        pk__in=waiting_for_the_registrar().values("pk")
    )
    return waiting.select_related("worker", "recorded_by").order_by("recorded_at", "id")


def open_requests_about_assessments_by(assessor: Worker) -> QuerySet[CorrectionRequest]:
    """Requests about assessments that the assessor gave for an employer, and that wait for an answer."""
    given = Assessment.objects.filter(assessor=assessor, third_party="")
    waiting = CorrectionRequest.objects.filter(
        record_kind="assessment", record_id__in=given.values("pk"), answer__isnull=True
    )
    return waiting.select_related("worker", "employer").order_by("recorded_at", "id")


def requests_of(worker: Worker) -> QuerySet[CorrectionRequest]:
    """What was asked about a worker's records and what came of it, newest first."""
    return (
        CorrectionRequest.objects.filter(worker=worker)
        .select_related("answer", "employer", "recorded_by")
        .order_by("-recorded_at", "-id")
    )


@repeating
def request_correction(
    *, record: Any, what_is_wrong: str, what_it_should_be: str, recorded_at: datetime, recorded_by: Account | None
) -> CorrectionRequest:
    """Say what is wrong with a record and what it should be.

    The employer whose record it is answers; the registrar where :func:`only_the_registrar_corrects`
    says so, or where no employer answers for the record.
    """
    employer = employer_answerable_for(record, on=recorded_at)
    return _request(record, employer, what_is_wrong, what_it_should_be, recorded_at, recorded_by)


@repeating
def correct_with_reason(
    *,
    record: Any,
    changes: dict[str, Any],
    reason: str,
    recorded_at: datetime,
    recorded_by: Account | None,
    request: CorrectionRequest | None = None,
    employer: Employer | None = None,
) -> Any:
    """Correct a record, as the answer to ``request`` or of the ``employer``'s own accord.

    Whoever signed hours before, or was asked to, is asked to sign the corrected ones.
    """
    require_may_correct(record, recorded_by, at=recorded_at)
    _require_reason(record, reason)
    if not {name for name, value in changes.items() if getattr(record, name) != value}:
        raise RecordRefused([broken("a_correction_changes_something")])
    with transaction.atomic():
        request = request or _own_accord(record, employer, reason, recorded_at, recorded_by)
        corrected = services.correct(record, recorded_at=recorded_at, recorded_by=recorded_by, **changes)
        if isinstance(corrected, HoursEntry):
            _ask_signers_again(record, corrected, recorded_at, recorded_by)
        _answer(request, "corrected", reason, corrected.pk, recorded_at, recorded_by)
    return corrected


@repeating
def withdraw_with_reason(
    *,
    record: Any,
    reason: str,
    recorded_at: datetime,
    recorded_by: Account | None,
    request: CorrectionRequest | None = None,
    employer: Employer | None = None,
) -> Any:
    """Withdraw a record, as the answer to ``request`` or of the ``employer``'s own accord."""
    require_may_correct(record, recorded_by, at=recorded_at)
    _require_reason(record, reason)
    with transaction.atomic():
        request = request or _own_accord(record, employer, reason, recorded_at, recorded_by)
        withdrawal = services.withdraw(record, recorded_at=recorded_at, recorded_by=recorded_by)
        _answer(request, "withdrawn", reason, withdrawal.pk, recorded_at, recorded_by)
    return withdrawal


@repeating
def leave_employer(
    *, employment: Employment, last_day: date, recorded_at: datetime, recorded_by: Account
) -> Employment:
    """The worker leaves an employer's books, which needs nobody's leave: it reads nothing recorded afterwards.

    ``last_day`` is today or later. The employer's positions from then on are put on hold.
    """
    is_own = recorded_by.is_active and recorded_by.worker_id == employment.worker_id
    if not is_own or last_day < recorded_at.date() - timedelta(days=1):
        raise RecordRefused([broken("a_person_leaves_from_now_on" if is_own else "consent_is_the_persons_own")])
    reason = _("I no longer work here after this day.")
    with transaction.atomic():
        request = _request(employment, employment.employer, reason, "", recorded_at, recorded_by)
        ended = services.correct(employment, end=last_day, recorded_at=recorded_at, recorded_by=recorded_by)
        _answer(request, "corrected", reason, ended.pk, recorded_at, recorded_by)
    return ended


@repeating
def decline_correction(
    *, request: CorrectionRequest, reason: str, recorded_at: datetime, recorded_by: Account | None
) -> CorrectionAnswer:
    """Leave the record as it is, and say why. What the registrar answers for, the registrar declines."""
    if waiting_for_the_registrar().filter(pk=request.pk).exists() and not is_registrar(recorded_by):
        raise RecordRefused([broken("the_registrar_answers_for_a_bar")])
    return _answer(request, "declined", reason, None, recorded_at, recorded_by)


def is_setback(record: Any) -> bool:
    """Whether the record is an assessment that found somebody not yet competent."""
    return isinstance(record, Assessment) and record.outcome != "pass"


def only_the_assessor_corrects(record: Any) -> bool:
    """Whether the record is a judgement that nobody but who gave it may change: an employer's own assessment."""
    return isinstance(record, Assessment) and not record.third_party


def only_the_registrar_corrects(record: Any) -> bool:
    """Whether the record keeps somebody off the crews on another's word, or ends what does.

    A stand-down and its retraining, what became of a certificate, a third party's *not yet
    competent*. An employer that needs the position filled would otherwise take it back, and nothing
    would be left of "lifted only by retraining and re-assessment" (29 CFR 1926.1428(b), 1926.1430(g)(2)).
    """
    if isinstance(record, Instruction):
        return record.after_stand_down_id is not None
    if isinstance(record, Assessment):
        return is_setback(record) and bool(record.third_party)
    return isinstance(record, StandDown | CertificationStatus)


def the_registrar_corrects(record: Any) -> bool:
    """Whether the registrar may correct and withdraw the record, alone or beside somebody else."""
    on_paper = isinstance(record, Assessment) and bool(record.third_party)
    return only_the_registrar_corrects(record) or is_setback(record) or on_paper


def employers_correct(record: Any) -> bool:
    """Whether the employer that answers for the record corrects and withdraws it."""
    return not only_the_assessor_corrects(record) and not only_the_registrar_corrects(record)


def require_may_correct(record: Any, account: Account | None, *, at: datetime) -> None:
    """Raise :class:`RecordRefused` if the record is not for the account to change."""
    if is_registrar(account) and the_registrar_corrects(record):
        return
    if only_the_registrar_corrects(record):
        raise RecordRefused([broken(_rule_of_the_registrar(record))])
    if not only_the_assessor_corrects(record):
        return
    if account is None or account.worker_id != record.assessor_id:
        raise RecordRefused([broken("an_assessment_is_its_assessors")])
    if not employers_assessed_for(record.assessor_id, at=at).filter(pk=record.employer_id).exists():
        raise RecordRefused([broken("an_assessment_is_changed_by_an_appointed_assessor", employer=record.employer)])


def _rule_of_the_registrar(record: Any) -> str:
    if isinstance(record, Assessment):
        return "only_the_registrar_corrects_a_third_partys_setback"
    if isinstance(record, Instruction):
        return "only_the_registrar_corrects_retraining"
    return "only_the_registrar_takes_back_a_bar"


def _require_reason(record: Any, reason: str) -> None:
    """What ends a bar says why, also where it answers somebody's request."""
    if (only_the_registrar_corrects(record) or is_setback(record)) and not reason.strip():
        raise RecordRefused([broken("the_end_of_a_bar_gives_its_reason")])


# The registrar's part


def waiting_for_the_registrar() -> QuerySet[CorrectionRequest]:
    """Requests that wait for the registrar's answer, oldest first."""
    waiting = CorrectionRequest.objects.filter(_answered_by_the_registrar(), answer__isnull=True)
    return waiting.select_related("worker", "employer", "recorded_by").order_by("recorded_at", "id")


def _answered_by_the_registrar() -> Q:
    """Which requests are the registrar's to answer; the twin of :func:`only_the_registrar_corrects`."""
    setbacks = Assessment.objects.exclude(third_party="").exclude(outcome="pass")
    retraining = Instruction.objects.filter(after_stand_down__isnull=False)
    return (
        Q(employer__isnull=True)
        | Q(record_kind__in=["standdown", "certificationstatus"])
        | Q(record_kind="assessment", record_id__in=setbacks.values("pk"))
        | Q(record_kind="instruction", record_id__in=retraining.values("pk"))
    )


BARS: dict[str, Q] = {
    "standdown": Q(),
    "certificationstatus": Q(),
    "assessment": ~Q(outcome="pass"),
    "instruction": Q(after_stand_down__isnull=False),
}
"""Which records of which kind the registrar takes back: what keeps somebody off the crews, and what ends it."""


def ended_on_paper() -> QuerySet[Assessment]:
    """Passes on a third party's paper after the same third party's *not yet competent*, latest first.

    An employer recorded them, and until the third party itself can prove them the registrar looks at each.
    """
    setbacks = Assessment.objects.current().filter(
        worker=OuterRef("worker"), role=OuterRef("role"), assessed_at__lte=OuterRef("assessed_at")
    )
    setbacks = setbacks.exclude(outcome="pass").exclude(third_party="")
    passes = Assessment.objects.current().filter(Exists(setbacks), outcome="pass", recorded_by__kind="employer")
    passes = passes.exclude(third_party="").select_related(
        "worker", "model__maker", "assessor", "recorded_by__employer"
    )
    return passes.order_by("-recorded_at", "-id")


def _ask_signers_again(
    before: HoursEntry, corrected: HoursEntry, recorded_at: datetime, recorded_by: Account | None
) -> None:
    signers = Worker.objects.filter(
        Q(countersignatures_given__entry=before) | Q(countersignatures_asked__entry=before)
    ).distinct()
    for signer in signers:
        ask_for_countersignature(entries=[corrected], of=signer, recorded_at=recorded_at, recorded_by=recorded_by)


def _own_accord(
    record: Any, employer: Employer | None, reason: str, recorded_at: datetime, recorded_by: Account | None
) -> CorrectionRequest:
    if employer is None and not is_registrar(recorded_by):
        raise TypeError("a correction answers a request, or is an employer's or the registrar's own")
    if not reason.strip():
        raise RecordRefused([broken("correction_gives_its_reason")])
    return _request(record, employer, reason, "", recorded_at, recorded_by)


def _request(
    record: Any,
    employer: Employer | None,
    what_is_wrong: str,
    what_it_should_be: str,
    recorded_at: datetime,
    recorded_by: Account | None,
) -> CorrectionRequest:
    with refusals(), transaction.atomic():
        return CorrectionRequest.objects.create(
            worker_id=record.worker_id,
            employer=employer,
            record_kind=kind_of(record),
            record_id=record.pk,
            what_is_wrong=what_is_wrong.strip(),
            what_it_should_be=what_it_should_be.strip(),
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


def _answer(
    request: CorrectionRequest,
    outcome: str,
    reason: str,
    new_record_id: int | None,
    recorded_at: datetime,
    recorded_by: Account | None,
) -> CorrectionAnswer:
    with refusals(), transaction.atomic():
        return CorrectionAnswer.objects.create(
            request=request,
            outcome=outcome,
            reason=reason.strip(),
            new_record_id=new_record_id,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )
