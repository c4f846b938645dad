"""Questions as of a past instant over HTTP: by what the register knew then and by what it knows now."""

from __future__ import annotations

from typing import Any, cast

from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from registry.crews.access import visible_workers
from registry.crews.queries import asking_for_slot
from registry.database.errors import RecordRefused
from registry.inspection.as_known import WHY, compare, parse_instant
from registry.inspection.crew_as_known import crew_as_known
from registry.inspection.plans import instants_read, visible_among, visible_places, visible_plans
from registry.people.models import Account


class InstantField(serializers.CharField):
    """ISO 8601 with an offset from UTC; an instant without one is refused, not guessed."""

    def to_internal_value(self, data: Any) -> Any:
        # In a query a plus sign that is not percent-encoded arrives as a space.
        text = super().to_internal_value(data).replace(" ", "+")
        try:
            return parse_instant(text, field=str(self.field_name))
        except RecordRefused as refused:
            raise serializers.ValidationError(refused.problems[0].message) from None


class SlotAsKnownInput(serializers.Serializer[Any]):
    """About whom, as of when; the window defaults to the whole job."""

    worker = serializers.IntegerField()
    at = InstantField()
    start = InstantField(required=False)
    end = InstantField(required=False)


class CrewAsKnownInput(serializers.Serializer[Any]):
    """As of when, and at which instant of the work."""

    at = InstantField()
    during = InstantField()


class EffectOutput(serializers.Serializer[Any]):
    """A requirement that the record bears on: what was found then and is found now."""

    requirement = serializers.CharField()
    sentence = serializers.CharField()
    then = serializers.CharField()
    now = serializers.CharField()


class DifferenceOutput(serializers.Serializer[Any]):
    """A record that makes the difference; number and worker are null where the reader may not see whose it is."""

    kind = serializers.CharField()
    number = serializers.IntegerField(allow_null=True)
    worker = serializers.IntegerField(allow_null=True)
    of_a_signer = serializers.BooleanField()
    record = serializers.CharField()
    recorded_at = serializers.DateTimeField()
    why = serializers.ChoiceField(sorted(WHY))
    sentence = serializers.CharField()
    effects = EffectOutput(many=True)


class AnswerThenOrNow(serializers.Serializer[Any]):
    """The engine's whole answer in English, or null with the sentence that says why there is none."""

    outcome = serializers.ChoiceField(["permitted", "refused", "none"])
    sentence = serializers.CharField()
    answer = serializers.JSONField(allow_null=True)


class ComparisonOutput(serializers.Serializer[Any]):
    """Both answers, and the records that make the difference."""

    worker = serializers.IntegerField()
    worker_name = serializers.CharField()
    role = serializers.CharField()
    operation = serializers.CharField()
    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    time_zone = serializers.CharField()
    known_at = serializers.DateTimeField()
    now = serializers.DateTimeField()
    sentence = serializers.CharField()
    outcome_differs = serializers.BooleanField()
    then = AnswerThenOrNow()
    by_now = AnswerThenOrNow()
    differences = DifferenceOutput(many=True)
    caution = serializers.CharField()


class InPlaceOutput(serializers.Serializer[Any]):
    """Somebody in a place on the crew."""

    assignment = serializers.IntegerField()
    worker = serializers.IntegerField()
    worker_name = serializers.CharField()
    standing = serializers.ChoiceField(["standing", "held"])
    reason = serializers.CharField()
    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    assigned_at = serializers.DateTimeField()


class WhatCameSinceOutput(serializers.Serializer[Any]):
    """What was recorded since about who stood in the place."""

    recorded_at = serializers.DateTimeField()
    worker = serializers.IntegerField()
    sentence = serializers.CharField()


class PlaceAsKnownOutput(serializers.Serializer[Any]):
    """A place on the crew in both views."""

    slot = serializers.IntegerField()
    role = serializers.CharField()
    position = serializers.IntegerField()
    differs = serializers.BooleanField()
    then = InPlaceOutput(many=True)
    by_now = InPlaceOutput(many=True)
    since = WhatCameSinceOutput(many=True)
    comparisons = ComparisonOutput(many=True)


class CrewRuleOutput(serializers.Serializer[Any]):
    """One crew rule."""

    rule = serializers.CharField()
    met = serializers.BooleanField()
    sentence = serializers.CharField()


class CrewRulesOutput(serializers.Serializer[Any]):
    """The crew rules over the whole job; without findings the sentence says why they cannot be told."""

    met = serializers.BooleanField()
    sentence = serializers.CharField()
    findings = CrewRuleOutput(many=True)


class CrewAsKnownOutput(serializers.Serializer[Any]):
    """A job's crew at an instant of the work, in both views."""

    job = serializers.IntegerField()
    during = serializers.DateTimeField()
    known_at = serializers.DateTimeField()
    now = serializers.DateTimeField()
    not_planned_yet = serializers.CharField()
    replaced = serializers.CharField()
    differs = serializers.BooleanField()
    places = PlaceAsKnownOutput(many=True)
    rules_then = CrewRulesOutput(allow_null=True)
    rules_by_now = CrewRulesOutput(allow_null=True)
    caution = serializers.CharField()


WRONG = OpenApiResponse(description="Problem details (RFC 9457): an instant is wrong, or the question cannot be put.")
HIDDEN = OpenApiResponse(description="Problem details (RFC 9457): not there, or not for this account to see.")


def _instant(name: str, description: str, *, required: bool = True) -> OpenApiParameter:
    return OpenApiParameter(name, OpenApiTypes.DATETIME, required=required, description=description)


AT = _instant("at", "The past instant, ISO 8601 with an offset from UTC.")


class SlotAsKnownAt(APIView):
    """A place on the crew of a job, current or an earlier plan."""

    @extend_schema(
        operation_id="slots_as_known_at",
        parameters=[
            OpenApiParameter("worker", OpenApiTypes.INT, required=True),
            AT,
            _instant("start", "The start of the window; the job's without it.", required=False),
            _instant("end", "The end of the window; the job's without it.", required=False),
        ],
        responses={200: ComparisonOutput, 400: WRONG, 404: HIDDEN},
    )
    def get(self, request: Request, slot_id: int) -> Response:
        """Might this worker have filled the place, by what was known then and by what is known now?"""
        account = cast(Account, request.user)
        slot = get_object_or_404(visible_places(account), pk=slot_id)
        given = _validated(SlotAsKnownInput, request)
        if not visible_workers(account).filter(pk=given["worker"]).exists():
            raise NotFound(_("There is no such worker, or not for this account to see."))
        asking = asking_for_slot(
            slot,
            worker=given["worker"],
            start=given.get("start", slot.job.start),
            end=given.get("end", slot.job.end),
        )
        now = timezone.now()
        instants = instants_read(account, given["worker"], known_at=given["at"], now=now)
        comparison = compare(asking, known_at=instants.known_at, now=instants.now)
        visible = visible_among(account, comparison.workers, at=now) | {given["worker"]}
        return Response(comparison.seen_by(visible).as_json())


class JobAsKnownAt(APIView):
    """The crew of a job, current or an earlier plan."""

    @extend_schema(
        operation_id="jobs_as_known_at",
        parameters=[AT, _instant("during", "The instant of the work, ISO 8601 with an offset from UTC.")],
        responses={200: CrewAsKnownOutput, 400: WRONG, 404: HIDDEN},
    )
    def get(self, request: Request, job_id: int) -> Response:
        """Who stood in each place at that instant of the work, by what was known then and is known now?"""
        account = cast(Account, request.user)
        job = get_object_or_404(visible_plans(account), pk=job_id)
        given = _validated(CrewAsKnownInput, request)
        now = timezone.now()
        crew = crew_as_known(job, day_instant=given["during"], known_at=given["at"], now=now)
        visible = visible_among(account, crew.workers, at=now)
        return Response(crew.seen_by(visible, whole_crew=account.kind != "worker").as_json())


def _validated(serializer: type[serializers.Serializer[Any]], request: Request) -> dict[str, Any]:
    given = serializer(data=request.query_params)
    given.is_valid(raise_exception=True)
    return cast(dict[str, Any], given.validated_data)
