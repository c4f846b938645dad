"""A worker's own hours that nobody has countersigned yet, and where they lie."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from registry.evidence.models import Countersignature, CountersignatureRequest, EntryObjection, HoursEntry
from registry.people.models import Worker


def unsigned_of(worker: Worker) -> QuerySet[HoursEntry]:
    """The worker's current entries without a countersignature, oldest first.

    Each comes with ``asked``, the requests to countersign it (``of`` whom, since
    ``recorded_at``), and ``declined``, the objections that the employer has not
    answered yet. Three statements.
    """
    signed = Countersignature.objects.filter(entry=OuterRef("pk"))
    asked = CountersignatureRequest.objects.select_related("of").order_by("recorded_at", "id")
    declined = EntryObjection.objects.filter(answer__isnull=True).select_related("by").order_by("recorded_at", "id")
    return (
        HoursEntry.objects.current()
        .filter(~Exists(signed), worker=worker)
        .select_related("model__maker", "site", "employer")
        .prefetch_related(
            Prefetch("countersignature_requests", asked, to_attr="asked"),
            Prefetch("objections", declined, to_attr="declined"),
        )
        .order_by("start", "id")
    )
