"""The work that lies before a person: the places on crews they stand in, or are held in."""

from __future__ import annotations

from datetime import datetime

from django.db.models import QuerySet

from registry.crews.models import AssignmentState
from registry.people.models import Worker


def coming_work(worker: Worker, *, at: datetime) -> QuerySet[AssignmentState]:
    """The worker's places on current jobs that are not over at ``at``, soonest first."""
    return (
        AssignmentState.objects.filter(
            worker=worker, during__endswith__gt=at, job__superseded_by__isnull=True, job__withdrawn=False
        )
        .exclude(standing="ended")
        .select_related("job__site", "job__employer", "job__crane__model__maker", "slot", "decision", "worker")
        .order_by("during", "assignment_id")
    )
