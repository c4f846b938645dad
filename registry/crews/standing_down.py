"""Standing somebody down: the occasion, what the bar puts on hold, and its suspension by the registrar.

A firm bars somebody everywhere only for what happened while it had them: on a shift it
recorded, or on a job of its own. Otherwise the bar is for that firm alone. The
database holds the same rules (``sql/stand_downs.sql``).

Functions raise :class:`registry.database.errors.RecordRefused`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from registry.crews.models import AssignmentState
from registry.database.errors import RecordRefused, broken, refusals
from registry.database.readers import as_the_register
from registry.database.repeating import repeating
from registry.equipment.models import CraneModel
from registry.evidence import services as evidence
from registry.evidence.models import HoursEntry, StandDown, StandDownSuspension
from registry.language.amounts import instant
from registry.language.words import in_words
from registry.people.models import Account, Employer, Worker
from registry.people.telling import tell_workers

OCCASION_LASTS = timedelta(days=90)
"""How long after a shift or a job a firm may still bar for it: an incident is looked into for weeks, not for years."""
MOST_OCCASIONS = 30


@dataclass(frozen=True, slots=True)
class Occasion:
    """A shift (``shift``) or a job (``on_assignment``) on which a firm had somebody; ``key`` names it in a form."""

    key: str
    said: str
    shift: int | None = None
    on_assignment: int | None = None


@dataclass(frozen=True, slots=True)
class StoodDown:
    """A stand-down, and the firm's own positions that it put on hold."""

    record: StandDown
    held: list[AssignmentState]

    def __str__(self) -> str:
        return str(self.record)


def occasions_of(worker: Worker, employer: Employer, *, at: datetime) -> list[Occasion]:
    """The occasions on which the employer had the worker, latest first; each a reason to bar them everywhere."""
    since = at - OCCASION_LASTS
    jobs = AssignmentState.objects.filter(
        worker=worker, job__employer=employer, during__endswith__gte=since, during__startswith__lte=at
    )
    jobs = jobs.exclude(standing="ended").select_related("job__site", "job__crane__model__maker", "slot")
    shifts = HoursEntry.objects.current().filter(worker=worker, employer=employer, end__gte=since)
    shifts = shifts.select_related("site", "model__maker")
    return [
        *(
            Occasion(
                f"job:{each.assignment_id}",
                _("Job: %(job)s, from %(start)s")
                % {"job": each.job, "start": instant(each.during.lower, ZoneInfo(each.job.site.time_zone))},
                on_assignment=each.assignment_id,
            )
            for each in jobs.order_by("-during")[:MOST_OCCASIONS]
        ),
        *(
            Occasion(
                f"shift:{each.pk}",
                _("Shift: %(operation)s, %(site)s, %(start)s")
                % {
                    "operation": in_words(each.operation),
                    "site": each.site,
                    "start": instant(each.start, ZoneInfo(each.site.time_zone)),
                },
                shift=each.pk,
            )
            for each in shifts.order_by("-start", "-id")[:MOST_OCCASIONS]
        ),
    ]


@repeating
@as_the_register()
def stand_down(
    *,
    worker: Worker,
    employer: Employer,
    occasion: Occasion | None,
    start: datetime,
    reason: str,
    recorded_at: datetime,
    recorded_by: Account | None,
    role: str = "",
    model: CraneModel | None = None,
) -> StoodDown:
    """Bar a worker from an instant on: everywhere for an ``occasion``, at the employer's own work without one."""
    standing = AssignmentState.objects.filter(worker=worker, job__employer=employer, standing="standing")
    with refusals(), transaction.atomic():
        before = set(standing.values_list("pk", flat=True))
        record = evidence.stand_down(
            worker=worker,
            role=role,
            model=model,
            start=start,
            reason=reason,
            employer=employer if occasion is None else None,
            shift_id=None if occasion is None else occasion.shift,
            on_assignment=None if occasion is None else occasion.on_assignment,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )
        tell_workers([worker.pk], what="stood_down", at=recorded_at, by=recorded_by)
        held = AssignmentState.objects.filter(pk__in=before, standing="held").order_by("during")
        return StoodDown(record, list(held.select_related("job__site", "job__crane__model__maker", "slot")))


@repeating
def suspend(
    *,
    stand_down: StandDown,
    start: datetime,
    end: datetime | None,
    reason: str,
    recorded_at: datetime,
    recorded_by: Account | None,
) -> StandDownSuspension:
    """The registrar lets a stand-down rest over ``[start, end)``, and says why."""
    with refusals(), transaction.atomic():
        suspension = StandDownSuspension.objects.create(
            worker_id=stand_down.worker_id,
            stand_down=stand_down,
            start=start,
            end=end,
            reason=reason.strip(),
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )
        tell_workers([stand_down.worker_id], what="stand_down_suspended", at=recorded_at, by=recorded_by)
    return suspension


@repeating
def end_suspension(
    *, suspension: StandDownSuspension, recorded_at: datetime, recorded_by: Account | None
) -> StandDownSuspension:
    """The stand-down bars again from now on; a suspension that had not begun is taken back, one that is over stays."""
    if suspension.end is not None and suspension.end <= recorded_at:
        raise RecordRefused([broken("a_suspension_ends_once")])
    if suspension.start >= recorded_at:
        return evidence.withdraw(suspension, recorded_at=recorded_at, recorded_by=recorded_by)
    return evidence.correct(suspension, end=recorded_at, recorded_at=recorded_at, recorded_by=recorded_by)


def stand_downs_told() -> QuerySet[StandDown]:
    """Every stand-down that nothing took back, as the registrar hears of them, the latest first."""
    found = StandDown.objects.current().select_related("worker", "model__maker", "recorded_by__employer", "employer")
    return found.order_by("-recorded_at", "-id")


def suspensions_in_force(at: datetime) -> QuerySet[StandDownSuspension]:
    """Suspensions that are not over at ``at``."""
    return StandDownSuspension.objects.current().filter(Q(end__isnull=True) | Q(end__gt=at)).order_by("start")
