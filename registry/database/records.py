"""What every record carries: when the register learned of it, from whom, and what it corrects.

Records are append-only. A correction is a new record that supersedes the old
one; with ``withdrawn`` it says that the old one should never have been there.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, Expression, OuterRef, Q

from registry.database.guards import Guard, append_only
from registry.engine.calendar import EARLIEST_YEAR, LATEST_YEAR


def in_years_people_enter(day: str) -> Q:
    """Whether the field ``day`` holds a day that people enter on purpose; an empty one passes a check.

    Records let their withdrawal pass: it repeats what it takes back, however wrong.
    """
    return Q(**{f"{day}__range": (date(EARLIEST_YEAR, 1, 1), date(LATEST_YEAR, 12, 31))})


class RecordQuerySet(models.QuerySet):
    """Queries over append-only records."""

    def current(self) -> Self:
        """Records that no later one supersedes and that are no withdrawals.

        Put as ``NOT EXISTS``: from a join and its ``IS NULL`` PostgreSQL expects next to no
        record to be left, and then reads whole tables for a page of people.
        """
        superseding = self.model._base_manager.filter(supersedes=OuterRef("pk"))
        return self.filter(~Exists(superseding), withdrawn=False)

    def current_at(self, instant: datetime | Expression) -> Self:
        """Records that were current by what the register had learned by then."""
        known = self.filter(recorded_at__lte=instant, withdrawn=False)
        return known.exclude(superseded_by__recorded_at__lte=instant)


class Record(models.Model):
    """An append-only record."""

    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    supersedes = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="superseded_by")
    withdrawn = models.BooleanField(default=False)

    guards: tuple[Guard, ...] = append_only

    objects = RecordQuerySet.as_manager()

    class Meta:
        abstract = True
        constraints = [
            models.CheckConstraint(
                condition=Q(withdrawn=False) | Q(supersedes__isnull=False),
                name="%(class)s_withdrawal_supersedes_a_record",
            )
        ]
