"""What an account may look back at: plans of jobs, current or replaced since, and the people in them."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import QuerySet

from registry.crews.access import visible_workers
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


def visible_among(account: Account, workers: Iterable[int]) -> set[int]:
    """Those of ``workers`` whose records the account may look at."""
    return set(visible_workers(account).filter(pk__in=workers).values_list("pk", flat=True))
