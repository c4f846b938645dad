"""A job's notice over HTTP: what it says, what is missing, until when, what was sent and has changed since."""

from __future__ import annotations

from typing import Any, cast
from zoneinfo import ZoneInfo

from django.utils import timezone
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from registry.engine.render import CAUTION
from registry.notices.packet import Packet, packet_of
from registry.notices.visibility import visible_job
from registry.notices.words import change_in_words, missing_in_words
from registry.people.models import Account


class RuleOutput(serializers.Serializer[Any]):
    """The rule of the site's jurisdiction and where it comes from."""

    key = serializers.CharField()
    version = serializers.IntegerField()
    title = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    source_status = serializers.CharField()


class DeadlineOutput(serializers.Serializer[Any]):
    """The last day on which the notice is in time, by the site's calendar; below zero once it is over."""

    last_day = serializers.DateField()
    days_left = serializers.IntegerField()
    clause = serializers.CharField()


class MissingOutput(serializers.Serializer[Any]):
    """A part that the rule asks for and that is not there."""

    part = serializers.CharField()
    sentence = serializers.CharField()
    cure = serializers.CharField()
    clause = serializers.CharField()


class ChangeOutput(serializers.Serializer[Any]):
    """Something that is not as it was notified."""

    part = serializers.CharField()
    what = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()
    needs_notice = serializers.BooleanField()
    clause = serializers.CharField(allow_blank=True)


class SentOutput(serializers.Serializer[Any]):
    """A notice that was recorded as sent, the latest first; ``withdrawn`` where that was a mistake."""

    number = serializers.IntegerField()
    sent_at = serializers.DateTimeField()
    how = serializers.CharField()
    sent_to = serializers.CharField()
    recorded_at = serializers.DateTimeField()
    sha256 = serializers.CharField()
    withdrawn = serializers.BooleanField()


class NoticeOutput(serializers.Serializer[Any]):
    """The packet. ``content`` is described by ``notice.schema.json``; ``sha256`` is of its RFC 8785 canonical JSON."""

    content = serializers.JSONField()
    sha256 = serializers.CharField()
    rule = RuleOutput(allow_null=True)
    deadline = DeadlineOutput(allow_null=True)
    complete = serializers.BooleanField()
    missing = MissingOutput(many=True)
    sent = SentOutput(many=True)
    changes_since_sent = ChangeOutput(many=True)
    needs_notice = serializers.BooleanField()
    caution = serializers.CharField()


NOT_ALLOWED = OpenApiResponse(description="Problem details (RFC 9457): a worker does not see the notice.")
HIDDEN = OpenApiResponse(description="Problem details (RFC 9457): not there, or not for this account to see.")


class JobNotice(APIView):
    """The notice of a current job, for its employer and for inspectors."""

    @extend_schema(operation_id="jobs_notice", responses={200: NoticeOutput, 403: NOT_ALLOWED, 404: HIDDEN})
    def get(self, request: Request, job_id: int) -> Response:
        """What the job's notice says now, and how that stands to what was sent."""
        job = visible_job(cast(Account, request.user), job_id)
        return Response(NoticeOutput(_as_data(packet_of(job, at=timezone.now()))).data)


def _as_data(packet: Packet) -> dict[str, Any]:
    rule, deadline = packet.rule, packet.deadline
    zone = ZoneInfo(packet.job.site.time_zone)
    missing = []
    for each in packet.missing:
        why, cure = missing_in_words(each)
        missing.append({"part": each.part, "sentence": why, "cure": cure, "clause": each.asked.clause})
    changes = []
    for change in packet.changes:
        told = change_in_words(change, zone)
        changes.append(
            {
                "part": change.part,
                "what": told.what,
                "before": told.before,
                "after": told.after,
                "needs_notice": told.needs_notice,
                "clause": told.clause,
            }
        )
    return {
        "content": packet.content,
        "sha256": packet.sha256,
        "rule": rule,
        "deadline": None
        if rule is None or deadline is None
        else {"last_day": deadline.last_day, "days_left": deadline.days_left, "clause": rule.deadline_clause},
        "complete": packet.complete,
        "missing": missing,
        "sent": [
            {
                "number": each.number,
                "sent_at": each.notice.sent_at,
                "how": each.notice.how,
                "sent_to": each.notice.sent_to,
                "recorded_at": each.notice.recorded_at,
                "sha256": each.notice.sha256,
                "withdrawn": each.withdrawn,
            }
            for each in packet.history
        ],
        "changes_since_sent": changes,
        "needs_notice": packet.needs_notice,
        "caution": CAUTION,
    }
