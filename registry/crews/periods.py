"""The role standards that may be asked about a person: those of the places their employers work from."""

from __future__ import annotations

from datetime import date

from django.db.models import Q

from registry.engine.standard import Standard
from registry.people.models import Employer, Worker
from registry.standards.queries import histories_in


def standards_about(worker: Worker, *, day: date) -> list[Standard]:
    """The standards in force on ``day`` in the jurisdictions of the worker's employers of that day.

    Periods of validity are the standard's own; no employer's figures change them.
    By jurisdiction and key. One statement.
    """
    employers = Employer.objects.filter(
        Q(employments__end__isnull=True) | Q(employments__end__gte=day),
        employments__worker=worker,
        employments__superseded_by__isnull=True,
        employments__withdrawn=False,
        employments__start__lte=day,
    )
    histories = histories_in(employers.order_by().values("jurisdiction"))
    in_force = [(each, version) for each in histories if (version := each.in_force(day)) is not None]
    in_force.sort(key=lambda each: (each[1].jurisdiction, each[1].key))
    return [history.parsed(version, {}) for history, version in in_force]
