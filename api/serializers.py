"""What goes in and comes out of each action."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from rest_framework import serializers

from registry.crews.models import Assignment, AssignmentState, Decision, Job, Slot
from registry.crews.queries import SlotView
from registry.engine.calendar import EARLIEST_YEAR, LATEST_YEAR
from registry.engine.evidence import OPERATIONS, ROLES
from registry.equipment.models import Crane, Site
from registry.people.models import Worker


class Instant(serializers.DateTimeField):
    """An instant in a year that people enter on purpose."""

    def to_internal_value(self, value: Any) -> datetime:
        read: datetime = super().to_internal_value(value)
        if not EARLIEST_YEAR <= read.year <= LATEST_YEAR:
            self.fail("overflow")
        return read


class Record(serializers.PrimaryKeyRelatedField[Any]):
    """A record by its number, which is whole: 1.5 is not taken for 1."""

    def __init__(self, **options: Any) -> None:
        super().__init__(pk_field=serializers.IntegerField(), **options)


class PlanJobInput(serializers.Serializer[Any]):
    """A job to plan, with one slot for each role named."""

    site = Record(queryset=Site.objects.all())
    crane = Record(queryset=Crane.objects.all())
    operation = serializers.ChoiceField(OPERATIONS)
    configuration = serializers.CharField(default="", allow_blank=True, max_length=100)
    standard_key = serializers.CharField(max_length=100)
    start = Instant()
    end = Instant()
    minutes_per_day = serializers.IntegerField(default=480, min_value=1, max_value=1440)
    description = serializers.CharField(default="", allow_blank=True, max_length=5000)
    roles = serializers.ListField(child=serializers.ChoiceField(ROLES), min_length=1, max_length=100)


class FillSlotInput(serializers.Serializer[Any]):
    """Who is to fill the slot; the window defaults to the whole job."""

    worker = Record(queryset=Worker.objects.all())
    start = Instant(required=False)
    end = Instant(required=False)
    paired_with = Record(queryset=Assignment.objects.all(), required=False, allow_null=True)


class EndInput(serializers.Serializer[Any]):
    """From when on the worker no longer fills the slot, and why."""

    ends_at = Instant()
    reason = serializers.CharField(max_length=500)


class SubstituteInput(serializers.Serializer[Any]):
    """Who takes over, from when on, and why."""

    worker = Record(queryset=Worker.objects.all())
    from_instant = Instant()
    reason = serializers.CharField(max_length=500)


class DecisionOutput(serializers.ModelSerializer[Decision]):
    """A decision with the engine's whole answer.

    The texts of the answer are English, as they are stored and sealed, whatever language is asked for. ``said``
    beside them holds how each was made (the pattern, and what fills its placeholders), to be said in another one.
    """

    answer = serializers.JSONField()

    class Meta:
        model = Decision
        fields = ["id", "worker", "outcome", "holds_until", "decided_at", "evidence_versions", "answer"]


class AssignmentOutput(serializers.ModelSerializer[Assignment]):
    """An assignment as it was made, with its present standing."""

    standing = serializers.CharField(source="state.standing")
    during_start = serializers.DateTimeField(source="state.during.lower")
    during_end = serializers.DateTimeField(source="state.during.upper")
    decision = DecisionOutput()

    class Meta:
        model = Assignment
        fields = [
            "id",
            "slot",
            "worker",
            "start",
            "end",
            "paired_with",
            "assigned_at",
            "standing",
            "during_start",
            "during_end",
            "decision",
        ]


class JobOutput(serializers.ModelSerializer[Job]):
    """A job and where it is."""

    time_zone = serializers.CharField(source="site.time_zone")
    crane_model = serializers.IntegerField(source="crane.model_id")

    class Meta:
        model = Job
        fields = [
            "id",
            "employer",
            "site",
            "time_zone",
            "crane",
            "crane_model",
            "operation",
            "configuration",
            "standard_key",
            "start",
            "end",
            "minutes_per_day",
            "description",
        ]


class SlotOutput(serializers.ModelSerializer[Slot]):
    """A place on the crew."""

    class Meta:
        model = Slot
        fields = ["id", "role", "position"]


class CrewMemberOutput(serializers.ModelSerializer[AssignmentState]):
    """Who is in a slot, from when to when, and whether it stands."""

    worker_name = serializers.CharField(source="worker.__str__")
    start = serializers.DateTimeField(source="during.lower")
    end = serializers.DateTimeField(source="during.upper")
    holds_until = serializers.DateTimeField(source="decision.holds_until", allow_null=True)

    class Meta:
        model = AssignmentState
        fields = ["assignment", "worker", "worker_name", "start", "end", "standing", "reason", "holds_until"]


class CrewSlotOutput(serializers.Serializer[SlotView]):
    """A slot with the people in it."""

    id = serializers.IntegerField(source="slot.pk")
    role = serializers.CharField(source="slot.role")
    position = serializers.IntegerField(source="slot.position")
    title = serializers.CharField()
    members = CrewMemberOutput(source="assignments", many=True)


class FindingOutput(serializers.Serializer[Any]):
    """One crew rule, in the language that ``Accept-Language`` asks for, or else in English."""

    rule = serializers.CharField()
    met = serializers.BooleanField()
    sentence = serializers.CharField()
    # Declared fields are taken off the class, so the base class's own `source` is not in their way.
    source = serializers.CharField(source="source.title")  # type: ignore[assignment]


class CrewOutput(serializers.Serializer[Any]):
    """A job's crew, slot by slot, and the crew rules."""

    job = JobOutput()
    ready = serializers.BooleanField()
    slots = CrewSlotOutput(many=True)
    findings = FindingOutput(many=True)
