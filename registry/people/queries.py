"""Reading people."""

from __future__ import annotations

from datetime import date

from django.db.models import Q, QuerySet

from registry.people.models import Employment, Worker
from registry.people.records import current


def employed_by(employer_id: int, *, on: date) -> QuerySet[Worker]:
    """The workers whom the employer employs on a day, by name."""
    employments = current(Employment.objects.all()).filter(
        Q(end__isnull=True) | Q(end__gte=on), employer=employer_id, start__lte=on
    )
    return Worker.objects.filter(pk__in=employments.values("worker")).order_by("family_name", "given_name", "id")


def find_workers(text: str) -> QuerySet[Worker]:
    """Workers whose number starts with ``text`` or whose name contains it."""
    return Worker.objects.filter(
        Q(number__istartswith=text) | Q(given_name__icontains=text) | Q(family_name__icontains=text)
    ).order_by("family_name", "given_name", "id")
