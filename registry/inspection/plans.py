"""Which plans of jobs an account may look back at: current ones and those that were replaced since."""

from __future__ import annotations

from django.db.models import QuerySet

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
