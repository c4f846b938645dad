"""How an employer's roles are covered, by the answers it has been given."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from django.db import connection
from django.db.models import Q, QuerySet

from registry.engine.evidence import ROLES
from registry.people.models import Employer, Employment, Worker

SQL = (Path(__file__).parent / "sql" / "role_coverage.sql").read_text(encoding="utf-8")


@dataclass(frozen=True, slots=True)
class RoleCoverage:
    """How many people hold what the standards ask of a role, by the latest answers about them.

    ``standing``: permitted for at least one crane model and operation, the answer still holds, and
    none of the person's own records has changed since. ``changed``: permitted, but records have changed
    since. ``refused``: refused at the last, or the answer holds no longer. ``not_asked``: everybody else.
    """

    role: str
    standing: int
    changed: int
    refused: int
    not_asked: int


def people_employed(employer: Employer, *, day: date) -> QuerySet[Worker]:
    """Who is on the employer's books on ``day``."""
    employed = Employment.objects.current().filter(
        Q(end__isnull=True) | Q(end__gte=day), employer=employer, start__lte=day
    )
    return Worker.objects.filter(pk__in=employed.values("worker"))


def coverage_of_roles(employer: Employer, *, day: date, at: datetime) -> list[RoleCoverage]:
    """The coverage of every role but the assessor's by the people employed on ``day``, at the instant ``at``.

    Nobody is asked about: only answers given before count. Two statements.
    """
    people = list(people_employed(employer, day=day).values_list("pk", flat=True))
    with connection.cursor() as cursor:
        cursor.execute(SQL, {"at": at, "employer": employer.pk, "workers": people})
        found = {role: counts for role, *counts in cursor.fetchall()}
    coverage = []
    for role in ROLES:
        if role != "assessor":
            standing, changed, refused = found.get(role, (0, 0, 0))
            coverage.append(RoleCoverage(role, standing, changed, refused, len(people) - standing - changed - refused))
    return coverage
