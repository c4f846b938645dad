"""Stored versions of role standards, and the figures employers set. Rows are never edited."""

from __future__ import annotations

from typing import Any, ClassVar

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext as _

from registry.database.guards import added_to, only_read, recorded_now
from registry.language.said import authored
from registry.ledger.guards import logged
from registry.people.guards import named_by


class StandardVersion(models.Model):
    """One version of a role standard, as its file said.

    ``in_force_until`` is what the file says; a later version ends this one
    earlier (see ``queries.in_force_window``), as no row is edited.
    """

    key = models.TextField()
    version = models.PositiveIntegerField()
    jurisdiction = models.TextField()
    title = models.TextField()
    in_force_from = models.DateField()
    in_force_until = models.DateField(null=True, blank=True)
    content: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField()
    sha256 = models.CharField(max_length=64)
    recorded_at = models.DateTimeField()

    guards = (only_read, logged)

    class Meta:
        ordering: ClassVar = ["key", "version"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["key", "version"], name="a_standard_has_each_version_once"),
            models.UniqueConstraint(
                fields=["key", "in_force_from"],
                name="two_versions_of_a_standard_do_not_start_on_one_day",
            ),
            models.CheckConstraint(
                condition=Q(in_force_until__isnull=True) | Q(in_force_until__gte=F("in_force_from")),
                name="a_standard_does_not_end_before_it_starts",
            ),
        ]

    def __str__(self) -> str:
        return _("%(title)s, version %(version)s") % {"title": authored(self.title), "version": self.version}


class EmployerFigure(models.Model):
    """An employer's own minutes for a setting of a standard; the latest recorded counts."""

    employer = models.ForeignKey("people.Employer", on_delete=models.PROTECT, related_name="standard_figures")
    standard_key = models.TextField()
    setting = models.TextField()
    minutes = models.PositiveIntegerField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )

    guards = (recorded_now, added_to, logged, named_by("employer:employer_id"))

    class Meta:
        ordering: ClassVar = ["employer", "standard_key", "setting", "recorded_at", "id"]
        indexes: ClassVar = [
            models.Index(fields=["employer", "standard_key", "recorded_at"], name="figures_of_an_employer")
        ]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(minutes__gte=1), name="an_employers_figure_asks_for_something")
        ]

    def __str__(self) -> str:
        return f"{self.standard_key}.{self.setting}: {self.minutes} minutes"
