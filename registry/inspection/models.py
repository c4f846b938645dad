"""The trace an inspector leaves, and the files inspectors open. Both append-only and in the log."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q

from registry.database.guards import append_only
from registry.ledger.guards import logged
from registry.people.guards import shown_to


class InspectionFile(models.Model):
    """An inspector's file on a job: under which reference, and why it was opened."""

    job = models.ForeignKey("crews.Job", models.PROTECT, related_name="inspection_files")
    reference = models.CharField(max_length=100)
    purpose = models.TextField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    guards = (*append_only, logged)

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

    guards = (
        *append_only,
        logged,
        # What another employer of the same person looked at is between those two. Whoever was refused a position on a
        # job sees who looked at that job, as its crew does.
        shown_to(
            "inspection_look",
            """recorded_by_id = (SELECT registry_reader_account()) OR worker_id = (SELECT registry_reader_worker())
                OR worker_id IS NULL AND (
                    EXISTS (
                        SELECT FROM crews_slot slot JOIN crews_assignment assignment ON assignment.slot_id = slot.id
                        WHERE slot.job_id = inspection_look.job_id
                            AND assignment.worker_id = (SELECT registry_reader_worker()))
                    OR EXISTS (
                        SELECT FROM crews_slot slot JOIN crews_refusal refusal ON refusal.slot_id = slot.id
                        JOIN crews_decision decision ON decision.id = refusal.decision_id
                        WHERE slot.job_id = inspection_look.job_id
                            AND decision.worker_id = (SELECT registry_reader_worker())))
                OR EXISTS (SELECT FROM people_account looker
                           WHERE looker.id = inspection_look.recorded_by_id AND looker.kind = 'inspector')
                    AND ({on_books}
                         OR EXISTS (SELECT FROM crews_job job WHERE job.id = inspection_look.job_id
                                    AND job.employer_id = (SELECT registry_reader_employer())))""",
        ),
    )

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["worker", "recorded_at"], name="looks_at_a_worker"),
            models.Index(fields=["job", "recorded_at"], name="looks_at_a_job"),
        ]

    def __str__(self) -> str:
        return f"{self.what}, {self.recorded_at:%Y-%m-%d %H:%M}"
