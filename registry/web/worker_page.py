"""A person's record as the page shows it, in a fixed number of statements."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Count, Exists, ExpressionWrapper, F, Max, Min, OuterRef, QuerySet, Sum
from django.db.models.fields import DurationField

from registry.eligibility.account import duration
from registry.evidence.models import (
    Appointment,
    Assessment,
    Certification,
    CertificationStatus,
    Countersignature,
    HoursEntry,
    Instruction,
    StandDown,
)
from registry.people.models import Employment, LanguageSkill, Worker

SOON = timedelta(days=30)
MOST_ENTRIES = 200


@dataclass(frozen=True, slots=True)
class HoursRow:
    """Hours on one model in one operation and capacity, corrected entries left out."""

    model: str
    operation: str
    capacity: str
    total: str
    entries: int
    claimed: int
    first: datetime
    last: datetime


@dataclass(frozen=True, slots=True)
class WorkerRecordPage:
    """Everything the register holds about one person; corrected records stay, marked."""

    worker: Worker
    today: date
    soon: date
    hours: list[HoursRow]
    entries: list[HoursEntry]
    assessments: list[Assessment]
    certifications: list[Certification]
    instruction: list[Instruction]
    appointments: list[Appointment]
    stand_downs: list[StandDown]
    employments: list[Employment]
    languages: list[LanguageSkill]


def record_of(worker: Worker, *, now: datetime) -> WorkerRecordPage:
    """The person's record as the register knows it at ``now``."""
    entries = HoursEntry.objects.filter(worker=worker).select_related(
        "model__maker", "site", "employer", "superseded_by"
    )
    return WorkerRecordPage(
        worker=worker,
        today=now.date(),
        soon=(now + SOON).date(),
        hours=_hours(worker),
        entries=list(entries.prefetch_related("countersignatures__by").order_by("-start")[:MOST_ENTRIES]),
        assessments=_all(Assessment, worker, "-assessed_at", "model__maker", "assessor", "employer"),
        certifications=_certifications(worker),
        instruction=_all(Instruction, worker, "-completed_at", "model__maker"),
        appointments=_all(Appointment, worker, "-start", "employer", "maker", "document"),
        stand_downs=_all(StandDown, worker, "-start", "model__maker"),
        employments=_all(Employment, worker, "-start", "employer"),
        languages=_all(LanguageSkill, worker, "language"),
    )


def _all(model: Any, worker: Worker, order: str, *related: str) -> list[Any]:
    """All records of a kind, withdrawals themselves left out (what they withdraw is marked)."""
    records: QuerySet[Any] = model.objects.filter(worker=worker, withdrawn=False)
    return list(records.select_related("superseded_by", *related).order_by(order, "id"))


def _certifications(worker: Worker) -> list[Certification]:
    found = _all(Certification, worker, "-issued")
    by_certificate = {
        each.certification_id: each.status
        for each in CertificationStatus.objects.current().filter(worker=worker).order_by("effective_at", "recorded_at")
    }
    for each in found:
        each.last_status = by_certificate.get(each.pk, "")
    return found


def _hours(worker: Worker) -> list[HoursRow]:
    signed = Countersignature.objects.filter(entry=OuterRef("pk"))
    length = ExpressionWrapper(F("end") - F("start"), output_field=DurationField())
    entries = HoursEntry.objects.current().filter(worker=worker).annotate(signed=Exists(signed))
    summed = entries.values("model__maker__name", "model__designation", "operation", "capacity", "signed").annotate(
        total=Sum(length), entries=Count("pk"), first=Min("start"), last=Max("end")
    )
    return [
        HoursRow(
            model=f"{each['model__maker__name']} {each['model__designation']}",
            operation=each["operation"],
            capacity=each["capacity"].replace("_", " "),
            total=duration(int(each["total"].total_seconds()) // 60),
            entries=each["entries"],
            claimed=0 if each["signed"] else each["entries"],
            first=each["first"],
            last=each["last"],
        )
        for each in summed.order_by("model__maker__name", "model__designation", "operation", "capacity")
    ]
