"""Jobs, slots, decisions, assignments and refusals.

Every table is append-only. What an assignment's standing is *now* is kept by
triggers in :class:`AssignmentState`, which the application can only read.
"""

from __future__ import annotations

import json
from typing import Any, ClassVar

from django.conf import settings
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateTimeRangeField, RangeOperators
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext as _

from registry.database.guards import (
    Trigger,
    added_to,
    entered_now,
    erasable,
    never_changed,
    only_read,
    recorded_now,
)
from registry.engine.evidence import OPERATIONS, ROLES
from registry.evidence.models import StandDown
from registry.language.words import choices_of, in_words
from registry.ledger.guards import logged
from registry.people.guards import named_by, shown_to, worker_is_not_erased

OPERATION_CHOICES = choices_of(OPERATIONS)
ROLE_CHOICES = choices_of(ROLES)


class Job(models.Model):
    """One planned operation on one crane at a site over a window of time.

    A change of plan is a new job that supersedes the old one.
    """

    employer = models.ForeignKey("people.Employer", models.PROTECT, related_name="jobs")
    site = models.ForeignKey("equipment.Site", models.PROTECT, related_name="jobs")
    crane = models.ForeignKey("equipment.Crane", models.PROTECT, related_name="jobs")
    operation = models.CharField(max_length=20, choices=OPERATION_CHOICES)
    configuration = models.CharField(max_length=100, blank=True)
    standard_key = models.CharField(max_length=100)
    start = models.DateTimeField()
    end = models.DateTimeField()
    minutes_per_day = models.PositiveIntegerField(default=480)
    description = models.TextField(blank=True)
    supersedes = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="superseded_by")
    withdrawn = models.BooleanField(default=False)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    guards = (never_changed, recorded_now, added_to, logged, named_by("employer:employer_id"))

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(end__gt=F("start")), name="job_end_is_after_start"),
            models.CheckConstraint(condition=Q(operation__in=OPERATIONS), name="job_operation_is_known"),
            models.CheckConstraint(
                condition=Q(minutes_per_day__gte=1, minutes_per_day__lte=24 * 60),
                name="job_minutes_per_day_fit_a_day",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn=False) | Q(supersedes__isnull=False),
                name="job_withdrawal_supersedes_a_job",
            ),
        ]
        indexes = [models.Index(fields=["employer", "start"])]

    def __str__(self) -> str:
        return _("%(operation)s of %(crane)s at %(site)s") % {
            "operation": in_words(self.operation),
            "crane": self.crane,
            "site": self.site,
        }


class Slot(models.Model):
    """A place on a job's crew for one person in one role."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="slots")
    role = models.CharField(max_length=30, choices=ROLE_CHOICES)
    position = models.PositiveSmallIntegerField(default=1)

    guards = (never_changed, added_to, logged)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["job", "role", "position"], name="slot_position_is_unique_for_job_and_role"
            ),
            models.CheckConstraint(condition=Q(role__in=ROLES), name="slot_role_is_known"),
        ]
        ordering = ["job_id", "id"]

    def __str__(self) -> str:
        return f"{self.get_role_display()} {self.position}"


class Decision(models.Model):
    """One answer of the engine, sealed.

    Only ``statement`` and ``seal`` are given; the database fills the other
    columns from the statement. See :mod:`registry.crews.sealing`.
    """

    # Sealed byte for byte, with the texts of the records that it rests on; the configuration is taken from it.
    verbatim: ClassVar = ("statement", "configuration")

    statement = models.TextField()
    seal = models.BinaryField()
    worker = models.ForeignKey("people.Worker", models.PROTECT, related_name="decisions")
    role = models.CharField(max_length=30)
    model = models.ForeignKey("equipment.CraneModel", models.PROTECT, related_name="+")
    configuration = models.CharField(max_length=100, blank=True)
    operation = models.CharField(max_length=20)
    employer = models.ForeignKey("people.Employer", models.PROTECT, related_name="+")
    jurisdiction = models.CharField(max_length=20)
    start = models.DateTimeField()
    end = models.DateTimeField()
    known_at = models.DateTimeField(null=True)
    outcome = models.CharField(max_length=10)
    holds_until = models.DateTimeField(null=True)
    standard = models.ForeignKey("standards.StandardVersion", models.PROTECT, related_name="+")
    evidence_versions = models.JSONField()
    decided_at = models.DateTimeField()
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    guards = (
        never_changed,
        entered_now("decided_at"),
        added_to,
        logged,
        worker_is_not_erased,
        erasable("statement", "seal"),
        # A decision is between the employer that asked and the worker; no other employer of theirs sees it.
        shown_to(
            "crews_decision",
            "worker_id = (SELECT registry_reader_worker()) OR employer_id = (SELECT registry_reader_employer())",
        ),
    )

    class Meta:
        constraints = [
            # An erasure takes the seal away with the statement.
            models.UniqueConstraint(fields=["seal"], condition=~Q(seal=b""), name="a_decision_is_recorded_once")
        ]
        indexes = [models.Index(fields=["worker", "decided_at"])]

    def __str__(self) -> str:
        return _("%(outcome)s: %(role)s in %(operation)s") % {
            "outcome": in_words(self.outcome),
            "role": in_words(self.role),
            "operation": in_words(self.operation),
        }

    @property
    def permitted(self) -> bool:
        """Whether the engine permitted it."""
        return self.outcome == "permitted"

    @property
    def answer(self) -> dict[str, Any]:
        """The engine's whole answer (:meth:`registry.engine.answer.Decision.as_json`)."""
        answer: dict[str, Any] = json.loads(self.statement)["answer"]
        return answer


class DecisionDependency(models.Model):
    """What a decision looked at, and in which version; filled by the database."""

    decision = models.ForeignKey(Decision, models.PROTECT, related_name="dependencies")
    subject = models.TextField()
    version = models.BigIntegerField()

    guards = (
        never_changed,
        only_read,
        shown_to(
            "crews_decisiondependency", "EXISTS (SELECT FROM crews_decision decision WHERE decision.id = decision_id)"
        ),
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["decision", "subject"], name="decision_depends_on_a_subject_once")
        ]
        indexes = [models.Index(fields=["subject", "decision"])]

    def __str__(self) -> str:
        return f"{self.subject} in version {self.version}"


class Refusal(models.Model):
    """Somebody tried to put a worker into a slot and the answer was no."""

    slot = models.ForeignKey(Slot, models.PROTECT, related_name="refusals")
    decision = models.OneToOneField(Decision, models.PROTECT, related_name="refusal")
    refused_at = models.DateTimeField()
    refused_to = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    guards = (
        never_changed,
        entered_now("refused_at"),
        added_to,
        logged,
        shown_to("crews_refusal", "EXISTS (SELECT FROM crews_decision decision WHERE decision.id = decision_id)"),
    )

    def __str__(self) -> str:
        return _("refused: %(role)s") % {"role": self.slot}


class Assignment(models.Model):
    """A worker put into a slot over ``[start, end)``, by a permitted decision."""

    slot = models.ForeignKey(Slot, models.PROTECT, related_name="assignments")
    worker = models.ForeignKey("people.Worker", models.PROTECT, related_name="assignments")
    start = models.DateTimeField()
    end = models.DateTimeField()
    paired_with = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="trainees")
    decision = models.OneToOneField(Decision, models.PROTECT, related_name="assignment")
    assigned_at = models.DateTimeField()
    assigned_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    guards = (never_changed, entered_now("assigned_at"), added_to, logged, worker_is_not_erased)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(end__gt=F("start")), name="assignment_end_is_after_start")]

    def __str__(self) -> str:
        return _("%(name)s as %(role)s") % {"name": self.worker, "role": self.slot}


class AssignmentEvent(models.Model):
    """What became of an assignment: held, confirmed by a new decision, or ended."""

    KINDS = ("held", "confirmed", "ended")

    assignment = models.ForeignKey(Assignment, models.PROTECT, related_name="events")
    kind = models.CharField(max_length=10, choices=choices_of(KINDS))
    decision = models.OneToOneField(Decision, models.PROTECT, null=True, related_name="assignment_event")
    happened_at = models.DateTimeField()
    reason = models.TextField(blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    guards = (never_changed, recorded_now, added_to, logged, erasable("reason"))

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=["held", "confirmed", "ended"]),
                name="assignment_event_kind_is_known",
            ),
            models.CheckConstraint(
                condition=Q(kind="confirmed", decision__isnull=False)
                | (~Q(kind="confirmed") & Q(decision__isnull=True)),
                name="a_confirmation_needs_a_decision",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind}: {self.assignment_id}"


class AssignmentState(models.Model):
    """The present standing of each assignment, kept by triggers.

    ``standing`` fills its slot; ``held`` does not, but keeps the person and the
    slot from being given away twice; ``ended`` never took effect or was cut to
    nothing. ``during`` is what is left of the window.
    """

    assignment = models.OneToOneField(Assignment, models.PROTECT, primary_key=True, related_name="state")
    slot = models.ForeignKey(Slot, models.PROTECT, related_name="+")
    job = models.ForeignKey(Job, models.PROTECT, related_name="assignment_states")
    worker = models.ForeignKey("people.Worker", models.PROTECT, related_name="+")
    role = models.CharField(max_length=30)
    supervises = models.SmallIntegerField()
    decision = models.ForeignKey(Decision, models.PROTECT, related_name="+")
    during = DateTimeRangeField()
    standing = models.CharField(max_length=10)
    reason = models.TextField(blank=True)

    # Kept by triggers; the application only reads it.
    guards = (only_read,)

    class Meta:
        constraints = [
            ExclusionConstraint(
                name="one_person_in_a_slot_at_a_time",
                expressions=[("slot", RangeOperators.EQUAL), ("during", RangeOperators.OVERLAPS)],
                condition=~Q(standing="ended"),
            ),
            ExclusionConstraint(
                name="nobody_is_on_two_overlapping_jobs",
                expressions=[
                    ("worker", RangeOperators.EQUAL),
                    ("job", RangeOperators.NOT_EQUAL),
                    ("during", RangeOperators.OVERLAPS),
                ],
                condition=~Q(standing="ended"),
            ),
            ExclusionConstraint(
                name="nobody_fills_two_places_of_one_role",
                expressions=[
                    ("job", RangeOperators.EQUAL),
                    ("worker", RangeOperators.EQUAL),
                    ("role", RangeOperators.EQUAL),
                    ("during", RangeOperators.OVERLAPS),
                ],
                condition=~Q(standing="ended"),
            ),
            ExclusionConstraint(
                name="the_supervisor_fills_no_other_role",
                expressions=[
                    ("job", RangeOperators.EQUAL),
                    ("worker", RangeOperators.EQUAL),
                    ("supervises", RangeOperators.NOT_EQUAL),
                    ("during", RangeOperators.OVERLAPS),
                ],
                condition=~Q(standing="ended"),
            ),
        ]
        indexes = [models.Index(fields=["decision"], name="standing_decision", condition=Q(standing="standing"))]

    def __str__(self) -> str:
        return f"{self.standing}: {self.assignment_id}"


GUARDS_ON_OTHERS = (
    (
        StandDown,
        (
            Trigger(
                "stand_down_is_the_firms",
                "BEFORE INSERT",
                "crews_stand_down_is_the_firms()",
                when="NEW.supersedes_id IS NULL",
            ),
        ),
    ),
)
"""What this package adds to the guards of tables that it did not make."""
