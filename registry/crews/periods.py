"""The role standards that may be asked about a person: those of the places their employers work from."""

from __future__ import annotations

from datetime import date

from django.db.models import Q

from registry.engine.standard import Standard
from registry.people.models import Employer, Worker
from registry.standards.queries import parsed, standards_for


def standards_about(worker: Worker, *, day: date) -> list[Standard]:
    """The standards in force on ``day`` in the jurisdictions of the worker's employers of that day.

    Periods of validity are the standard's own; no employer's figures change them.
    The statements grow with the jurisdictions, of which a person has few.
    """
    employers = Employer.objects.filter(
        Q(employments__end__isnull=True) | Q(employments__end__gte=day),
        employments__worker=worker,
        employments__superseded_by__isnull=True,
        employments__withdrawn=False,
        employments__start__lte=day,
    )
    jurisdictions = employers.order_by("jurisdiction").values_list("jurisdiction", flat=True).distinct()
    return [parsed(version, {}) for each in jurisdictions for version in standards_for(each, day)]
