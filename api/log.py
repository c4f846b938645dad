"""The log over HTTP: checkpoints, keys and proofs (``registry.ledger``)."""

from __future__ import annotations

from typing import Any, cast

from django.db.models import QuerySet
from django.http import HttpResponse
from django.urls import path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers, status
from rest_framework.exceptions import NotFound
from rest_framework.generics import ListAPIView
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from registry.inspection.records import require_may_make_checkpoint, visible_record
from registry.ledger import here
from registry.ledger.models import Checkpoint
from registry.ledger.queries import (
    NotInTheLog,
    checkpoint_of,
    consistency_proof,
    inclusion_proof,
    latest_checkpoint,
    recorded_keys,
)
from registry.ledger.records import with_opening
from registry.people.models import Account

NOTE = "text/plain; charset=utf-8"
NOT_FOUND = OpenApiResponse(description="There is no such checkpoint or record: problem details (RFC 9457).")


class CheckpointOutput(serializers.ModelSerializer[Checkpoint]):
    """A checkpoint; ``root`` in hexadecimal, ``note`` the signed note itself."""

    # Declared fields are taken off the class, so the base class's own `root` is not in their way.
    root = serializers.SerializerMethodField("hexadecimal_root")  # type: ignore[assignment]

    class Meta:
        model = Checkpoint
        fields = ["size", "root", "made_at", "note"]

    def hexadecimal_root(self, checkpoint: Checkpoint) -> str:
        return bytes(checkpoint.root).hex()


class KeyOutput(serializers.Serializer[Any]):
    """A public key that signs or has signed checkpoints, in the C2SP signed-note form."""

    verifier_key = serializers.CharField(source="__str__")
    name = serializers.CharField()


class InclusionInput(serializers.Serializer[Any]):
    """Which record, by its table and number; under the newest checkpoint unless ``size`` names another."""

    kind = serializers.CharField(max_length=63)
    record = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    size = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)


class ConsistencyInput(serializers.Serializer[Any]):
    """Two checkpoints by their sizes."""

    earlier = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    later = serializers.IntegerField(min_value=1, max_value=2**63 - 1)


class OpeningOutput(serializers.Serializer[Any]):
    """What opens the leaf's commitment: the personal columns, and the salt in hexadecimal."""

    personal = serializers.JSONField()
    salt = serializers.CharField()


class InclusionOutput(serializers.Serializer[Any]):
    """A record's leaf, the way from it to the checkpoint's root (base64, lowest first), and the record itself."""

    format = serializers.CharField()
    leaf = serializers.CharField()
    index = serializers.IntegerField()
    path = serializers.ListField(child=serializers.CharField())
    checkpoint = serializers.CharField()
    open = serializers.JSONField()
    opening = OpeningOutput(allow_null=True)


class ConsistencyOutput(serializers.Serializer[Any]):
    """The hashes (base64) that lead to the roots of both checkpoints."""

    format = serializers.CharField()
    earlier = serializers.CharField()
    later = serializers.CharField()
    path = serializers.ListField(child=serializers.CharField())


class PlainText(JSONRenderer):
    """Lets a client ask for text; problems stay JSON."""

    media_type = "text/plain"
    format = "txt"


class LatestCheckpoint(APIView):
    """The newest checkpoint."""

    renderer_classes = [PlainText, JSONRenderer]

    @extend_schema(responses={(200, "text/plain"): OpenApiTypes.STR, 404: NOT_FOUND})
    def get(self, request: Request) -> HttpResponse | Response:
        """The newest checkpoint as a signed note."""
        found = latest_checkpoint()
        if found is None:
            raise NotFound("No checkpoint was made yet.")
        return HttpResponse(found.note, content_type=NOTE)


class CheckpointOfSize(APIView):
    """A checkpoint by its size."""

    renderer_classes = [PlainText, JSONRenderer]

    @extend_schema(responses={(200, "text/plain"): OpenApiTypes.STR, 404: NOT_FOUND})
    def get(self, request: Request, size: int) -> HttpResponse | Response:
        """The checkpoint of exactly so many leaves as a signed note."""
        return HttpResponse(_checkpoint_of(size).note, content_type=NOTE)


class Checkpoints(ListAPIView[Checkpoint]):
    """All checkpoints, the newest first, and making one."""

    serializer_class = CheckpointOutput
    filter_backends = []

    def get_queryset(self) -> QuerySet[Checkpoint]:
        return Checkpoint.objects.order_by("-size")

    @extend_schema(request=None, responses={201: CheckpointOutput, 200: CheckpointOutput})
    def post(self, request: Request) -> Response:
        """Make a checkpoint now: 201 with it, or 200 with the newest where nothing was added since."""
        require_may_make_checkpoint(cast(Account, request.user))
        before = latest_checkpoint()
        made = here.sign(at=timezone.now())
        new = before is None or made.size > before.size
        return Response(CheckpointOutput(made).data, status=status.HTTP_201_CREATED if new else status.HTTP_200_OK)


class Keys(APIView):
    """The log's public keys."""

    @extend_schema(responses=KeyOutput(many=True))
    def get(self, request: Request) -> Response:
        """Every key that has signed checkpoints, oldest first; the last one signs."""
        return Response(KeyOutput(recorded_keys(), many=True).data)


class Inclusion(APIView):
    """Proofs that a record is in the log."""

    @extend_schema(
        parameters=[
            OpenApiParameter("kind", str, required=True, description="The record's table, as `evidence_hoursentry`."),
            OpenApiParameter("record", int, required=True, description="The record's number."),
            OpenApiParameter("size", int, description="The checkpoint's size; the newest without it."),
        ],
        responses={200: InclusionOutput, 404: NOT_FOUND},
    )
    def get(self, request: Request) -> Response:
        """The record with its proof, for whoever may see the record; 404 for everybody else."""
        asked = _asked(InclusionInput, request)
        kind, record = asked["kind"], asked["record"]
        if not visible_record(cast(Account, request.user), kind, record):
            raise NotFound(f"There is no {kind} {record} in the log that you may see.")
        checkpoint = _checkpoint_of(asked["size"]) if "size" in asked else None
        try:
            return Response(with_opening(inclusion_proof(kind, record, checkpoint=checkpoint)))
        except NotInTheLog as error:
            raise NotFound(str(error)) from error


class Consistency(APIView):
    """Proofs that the log only grew."""

    @extend_schema(
        parameters=[
            OpenApiParameter("earlier", int, required=True, description="The earlier checkpoint's size."),
            OpenApiParameter("later", int, required=True, description="The later checkpoint's size."),
        ],
        responses={200: ConsistencyOutput, 404: NOT_FOUND},
    )
    def get(self, request: Request) -> Response:
        """That nothing before the earlier checkpoint has changed by the later one."""
        asked = _asked(ConsistencyInput, request)
        earlier, later = _checkpoint_of(asked["earlier"]), _checkpoint_of(asked["later"])
        try:
            return Response(consistency_proof(earlier, later).as_json())
        except NotInTheLog as error:
            raise serializers.ValidationError({"later": [str(error)]}) from error


def _asked(serializer: type[serializers.Serializer[Any]], request: Request) -> dict[str, Any]:
    given = serializer(data=request.query_params)
    given.is_valid(raise_exception=True)
    return cast(dict[str, Any], given.validated_data)


def _checkpoint_of(size: int) -> Checkpoint:
    try:
        return checkpoint_of(size)
    except NotInTheLog as error:
        raise NotFound(str(error)) from error


urlpatterns = [
    path("checkpoint/", LatestCheckpoint.as_view(), name="log-checkpoint"),
    path("checkpoints/", Checkpoints.as_view(), name="log-checkpoints"),
    path("checkpoints/<int:size>/", CheckpointOfSize.as_view(), name="log-checkpoint-of-size"),
    path("keys/", Keys.as_view(), name="log-keys"),
    path("proofs/inclusion/", Inclusion.as_view(), name="log-inclusion"),
    path("proofs/consistency/", Consistency.as_view(), name="log-consistency"),
]
