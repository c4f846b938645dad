"""Jobs, crews, the check and the assignment over HTTP."""

from __future__ import annotations

from typing import Any, cast

from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import mixins, status, viewsets
from rest_framework.decorators import action
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from api.problems import problem
from api.serializers import (
    AssignmentOutput,
    CrewOutput,
    DecisionOutput,
    EndInput,
    FillSlotInput,
    JobOutput,
    PlanJobInput,
    SlotOutput,
    SubstituteInput,
)
from registry.crews import access, queries, services
from registry.crews.models import Assignment, Decision, Job, Slot
from registry.people.models import Account

REFUSED = OpenApiResponse(
    description="Refused: problem details (RFC 9457) with the decision, its shortfalls and the remedy."
)


def _account(request: Request) -> Account:
    return cast(Account, request.user)


def _validated(serializer: type[Any], request: Request) -> dict[str, Any]:
    given = serializer(data=request.data)
    given.is_valid(raise_exception=True)
    return cast(dict[str, Any], given.validated_data)


def _answer(outcome: services.Outcome) -> Response:
    if outcome.assignment is not None:
        # Read again with what the database's triggers filled in.
        assigned = Assignment.objects.select_related("state", "decision").get(pk=outcome.assignment.pk)
        return Response(AssignmentOutput(assigned).data, status=status.HTTP_201_CREATED)
    return problem(
        status.HTTP_409_CONFLICT,
        _("Refused"),
        _("The documents do not meet the role standard; nobody was assigned."),
        decision=DecisionOutput(outcome.decision).data,
    )


class JobViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Job]):
    """Planned operations the signed-in person may see."""

    # For the description alone, which is drawn up for nobody; see get_queryset.
    queryset = Job.objects.none()
    serializer_class = JobOutput
    filterset_fields = ["employer", "site", "operation"]

    def get_queryset(self) -> QuerySet[Job]:
        return access.visible_jobs(_account(self.request))

    @extend_schema(request=PlanJobInput, responses={201: JobOutput})
    def create(self, request: Request) -> Response:
        """Plan a job with a slot for each role."""
        account = _account(request)
        given = _validated(PlanJobInput, request)
        job = services.plan_job(
            employer=access.employer_of(account),
            recorded_at=timezone.now(),
            recorded_by=account,
            **given,
        )
        return Response(JobOutput(job).data, status=status.HTTP_201_CREATED)

    @extend_schema(responses=CrewOutput)
    @action(detail=True)
    def crew(self, request: Request, pk: str) -> Response:
        """The job's slots, who fills them, and the crew rules."""
        return Response(CrewOutput(queries.crew_of(self.get_object())).data)


class SlotViewSet(viewsets.GenericViewSet[Slot]):
    """Checking people for a slot, and filling it."""

    # For the description alone, which is drawn up for nobody; see get_queryset.
    queryset = Slot.objects.none()
    serializer_class = SlotOutput

    def get_queryset(self) -> QuerySet[Slot]:
        return access.visible_slots(_account(self.request))

    @extend_schema(request=FillSlotInput, responses=DecisionOutput)
    @action(detail=True, methods=["post"])
    def check(self, request: Request, pk: str) -> Response:
        """Would this worker be permitted? Records the decision, assigns nobody."""
        slot, given, account = self._asked(request)
        start, end = given.get("start", slot.job.start), given.get("end", slot.job.end)
        access.require_employed(slot.job, given["worker"].pk, start, end)
        asking = queries.asking_for_slot(slot, worker=given["worker"].pk, start=start, end=end)
        decision = services.check(asking=asking, decided_at=timezone.now(), decided_by=account)
        return Response(DecisionOutput(decision).data)

    @extend_schema(request=FillSlotInput, responses={201: AssignmentOutput, 409: REFUSED})
    @action(detail=True, methods=["post"])
    def assignments(self, request: Request, pk: str) -> Response:
        """Put a worker into the slot: 201 when permitted, 409 with the whole answer when refused."""
        slot, given, account = self._asked(request)
        return _answer(
            services.assign(
                slot_id=slot.pk,
                worker_id=given["worker"].pk,
                start=given.get("start", slot.job.start),
                end=given.get("end", slot.job.end),
                paired_with=given.get("paired_with"),
                assigned_at=timezone.now(),
                assigned_by=account,
            )
        )

    def _asked(self, request: Request) -> tuple[Slot, dict[str, Any], Account]:
        account = _account(request)
        slot = self.get_object()
        given = _validated(FillSlotInput, request)
        access.require_may_assign(account, slot.job)
        return slot, given, account


class AssignmentViewSet(mixins.RetrieveModelMixin, viewsets.GenericViewSet[Assignment]):
    """What becomes of an assignment."""

    # For the description alone, which is drawn up for nobody; see get_queryset.
    queryset = Assignment.objects.none()
    serializer_class = AssignmentOutput

    def get_queryset(self) -> QuerySet[Assignment]:
        return access.visible_assignments(_account(self.request))

    @extend_schema(request=EndInput, responses=AssignmentOutput)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: str) -> Response:
        """Take the worker out of the slot from an instant on."""
        assignment, account = self._own(request)
        given = _validated(EndInput, request)
        services.end_assignment(assignment=assignment, recorded_at=timezone.now(), recorded_by=account, **given)
        return Response(AssignmentOutput(self.get_object()).data)

    @extend_schema(request=SubstituteInput, responses={201: AssignmentOutput, 409: REFUSED})
    @action(detail=True, methods=["post"])
    def substitute(self, request: Request, pk: str) -> Response:
        """Swap somebody else in from an instant on; a refused substitute changes nothing."""
        assignment, account = self._own(request)
        given = _validated(SubstituteInput, request)
        return _answer(
            services.substitute(
                leaving=assignment,
                worker_id=given["worker"].pk,
                from_instant=given["from_instant"],
                reason=given["reason"],
                assigned_at=timezone.now(),
                assigned_by=account,
            )
        )

    @extend_schema(request=None, responses=DecisionOutput)
    @action(detail=True, methods=["post"], url_path="decide-again")
    def decide_again(self, request: Request, pk: str) -> Response:
        """Decide a held assignment anew."""
        assignment, account = self._own(request)
        decision = services.decide_again(assignment=assignment, decided_at=timezone.now(), decided_by=account)
        return Response(DecisionOutput(decision).data)

    def _own(self, request: Request) -> tuple[Assignment, Account]:
        account = _account(request)
        assignment = get_object_or_404(self.get_queryset(), pk=self.kwargs["pk"])
        access.require_may_assign(account, assignment.slot.job)
        return assignment, account


class DecisionViewSet(mixins.RetrieveModelMixin, viewsets.GenericViewSet[Decision]):
    """Decisions already given."""

    # For the description alone, which is drawn up for nobody; see get_queryset.
    queryset = Decision.objects.none()
    serializer_class = DecisionOutput

    def get_queryset(self) -> QuerySet[Decision]:
        return access.visible_decisions(_account(self.request))
