"""What a worker's own page shows, in a fixed number of statements."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import Prefetch

from registry.crews.coming import coming_work
from registry.crews.described import readable_reason
from registry.crews.models import AssignmentState
from registry.crews.standing_down import stand_downs_told, suspensions_in_force
from registry.engine.calendar import local_date
from registry.evidence.countersigning import waiting_for
from registry.evidence.models import HoursEntry, StandDown
from registry.evidence.running_out import zone_of
from registry.evidence.unsigned import unsigned_of
from registry.people.consent import open_requests_of
from registry.people.models import EmploymentRequest, Worker
from registry.web.worker_page import ComingYear, year_of

MOST_JOBS = 5
MOST_UNSIGNED = 10


@dataclass(frozen=True, slots=True)
class OwnPage:
    """The worker's day: work ahead, soonest first, hours that wait, and what runs out.

    ``unsigned`` are the oldest of ``unsigned_count`` own entries that nobody has
    countersigned; ``to_sign`` is how many of others wait for this worker; ``asked`` are
    employers that want to take them on; ``stand_downs`` bar them, with ``resting``, their suspensions.
    """

    worker: Worker
    work: list[AssignmentState]
    unsigned: list[HoursEntry]
    unsigned_count: int
    to_sign: int
    year: ComingYear
    asked: list[EmploymentRequest]
    stand_downs: list[StandDown]


def own_page_of(worker: Worker, *, now: datetime) -> OwnPage:
    """The worker's page at ``now``."""
    work = list(coming_work(worker, at=now)[:MOST_JOBS])
    for each in work:
        each.reason = readable_reason(each.reason, {f"worker:{worker.pk}": str(worker)})
    unsigned = unsigned_of(worker)
    return OwnPage(
        worker=worker,
        work=work,
        unsigned=list(unsigned[:MOST_UNSIGNED]),
        unsigned_count=unsigned.count(),
        to_sign=waiting_for(worker).count(),
        year=year_of(worker, today=local_date(now, ZoneInfo(zone_of(worker)))),
        asked=open_requests_of(worker, at=now),
        stand_downs=list(
            stand_downs_told()
            .filter(worker=worker)
            .prefetch_related(Prefetch("suspensions", suspensions_in_force(now), to_attr="resting"))
        ),
    )
