"""The trace an inspector leaves, and the files inspectors open. Both append-only and in the log."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q


class InspectionFile(models.Model):
    """An inspector's file on a job: under which reference, and why it was opened."""

    job = models.ForeignKey("crews.Job", models.PROTECT, related_name="inspection_files")
    reference = models.CharField(max_length=100)
    purpose = models.TextField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["reference"], name="inspection_reference_is_used_once"),
            models.CheckConstraint(condition=~Q(reference="") & ~Q(purpose=""), name="inspection_file_says_why"),
        ]

    def __str__(self) -> str:
        return self.reference


class Look(models.Model):
    """Somebody looked at records, or took them away: ``what`` is a key of :data:`registry.inspection.trace.LOOKS`.

    ``worker``, ``job`` and ``crane`` say whose or what records; none of them for
    a list or a search.
    """

    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    what = models.CharField(max_length=60)
    worker = models.ForeignKey("people.Worker", models.PROTECT, null=True, related_name="looks")
    job = models.ForeignKey("crews.Job", models.PROTECT, null=True, related_name="looks")
    crane = models.ForeignKey("equipment.Crane", models.PROTECT, null=True, related_name="looks")
    file = models.ForeignKey(InspectionFile, models.PROTECT, null=True, related_name="looks")
    recorded_at = models.DateTimeField()

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["worker", "recorded_at"], name="looks_at_a_worker"),
            models.Index(fields=["job", "recorded_at"], name="looks_at_a_job"),
        ]

    def __str__(self) -> str:
        return f"{self.what}, {self.recorded_at:%Y-%m-%d %H:%M}"
