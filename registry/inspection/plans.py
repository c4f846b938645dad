"""What an account may look back at: plans of jobs, current or replaced since, and the people in them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from registry.crews.access import reading_ends, workers_read_at
from registry.crews.models import Job, Slot
from registry.people.models import Account


def visible_plans(account: Account) -> QuerySet[Job]:
    """Jobs the account may look at as :func:`registry.crews.access.visible_jobs` says, earlier plans among them."""
    plans = Job.objects.select_related("site", "crane__model__maker", "employer").order_by("start", "id")
    if account.kind == "inspector":
        return plans
    if account.kind == "employer":
        return plans.filter(employer=account.employer_id)
    if account.kind == "worker" and account.worker_id is not None:
        return plans.filter(slots__assignments__worker=account.worker_id).distinct()
    return plans.none()


def visible_places(account: Account) -> QuerySet[Slot]:
    """Places on the crews of those plans."""
    return Slot.objects.filter(job__in=visible_plans(account)).select_related("job__site", "job__crane")


def visible_among(account: Account, workers: Iterable[int], *, at: datetime) -> set[int]:
    """Those of ``workers`` whose records the account reads to the present instant ``at``: not who left its employer."""
    return set(workers_read_at(account, at=at).filter(pk__in=workers).values_list("pk", flat=True))


@dataclass(frozen=True, slots=True)
class Instants:
    """Between which two instants the account compares what was known about a worker."""

    known_at: datetime
    now: datetime


def instants_read(account: Account, worker_id: int, *, known_at: datetime, now: datetime) -> Instants:
    """The instants asked about, none later than the account reads that worker's record."""
    ends = reading_ends(account, worker_id)
    last = now if ends is None else min(now, ends)
    return Instants(min(known_at, last), last)
