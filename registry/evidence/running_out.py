"""What of people's papers runs out, and on which day: the last day on which it still holds.

Certificates by their expiry, appointments and employment by their end; what has
been revoked, corrected, withdrawn, or is continued by a later record of the same
kind does not run out. For one person also what a role standard keeps valid only
for so many months: a practical assessment, instruction, and the hours on a crane
model, which a longer pause takes away.

Nothing here decides anything: whether a person may do a job is asked of the engine.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Case, Count, Exists, F, OuterRef, Q, QuerySet, Subquery, TextField, Value, When
from django.db.models.expressions import RawSQL
from django.db.models.functions import Coalesce, TruncMonth
from django.utils.translation import gettext

from registry.database.local_day import LocalDay
from registry.database.together import Given, Together
from registry.engine.calendar import DAY, first_day_outside, local_date, months_before
from registry.engine.harmless import spelled_alike
from registry.engine.requirements.assessment import PracticalAssessment
from registry.engine.requirements.hours import Hours
from registry.engine.requirements.instruction import Instructed
from registry.engine.requirements.leaf import of_kind
from registry.engine.standard import RoleStandard, Standard
from registry.evidence.models import (
    Appointment,
    Assessment,
    Certification,
    Countersignature,
    HoursEntry,
    Instruction,
)
from registry.language.said import authored
from registry.language.words import in_words
from registry.people.models import Employment, Worker

CERTIFICATION, APPOINTMENT, EMPLOYMENT = "certification", "appointment", "employment"
ASSESSMENT, INSTRUCTION, PAUSE = "assessment", "instruction", "pause"
SOON = timedelta(days=30)
"""What ends within this time is marked wherever it is shown. Common practice, no source."""
OTHERWISE = "UTC"
"""The clock of people who have worked on no site yet."""


@dataclass(frozen=True, slots=True)
class RunsOut:
    """Something of a worker's that holds through ``day`` and no longer.

    ``what`` says it in the language in force; ``kind`` is ``certification``,
    ``appointment``, ``employment``, ``assessment``, ``instruction`` or ``pause``
    (hours on a model, after too long a pause); ``under`` is the title of the role
    standard that keeps it valid so long, blank where the record itself ends.
    """

    worker_id: int
    what: str
    day: date
    kind: str
    under: str = ""


def running_out(worker: Worker, *, since: date, until: date, standards: Iterable[Standard] = ()) -> list[RunsOut]:
    """What of the worker's runs out from ``since`` through ``until``, soonest first, in one statement.

    ``standards`` are the role standards whose periods of validity are told as well
    (:func:`registry.crews.periods.standards_about`); a day is one of the site last
    worked at.
    """
    *ending, worked, assessments, instruction, zones = _of_one().read(worker=worker.pk, since=since, until=until)
    found = [each for kind, records in zip(ENDINGS, ending, strict=True) for each in map(kind.told, records)]
    read = _Dated(worked, assessments, instruction, ZoneInfo(zones[0][0] if zones else OTHERWISE))
    found += [each for each in _periods(worker, read, standards) if since <= each.day <= until]
    return sorted(found, key=_soonest)


def first_to_run_out(workers: QuerySet[Worker], *, since: date, until: date) -> dict[int, RunsOut]:
    """For each of the workers whose papers run out from ``since`` through ``until``, what runs out first.

    Three statements whatever their number. Certificates, appointments and
    employment only: the role standards' periods depend on each person's record
    read whole, see :func:`running_out`.
    """
    first: dict[int, RunsOut] = {}
    for ending in ENDINGS:
        soonest = ending.within(_one_of(workers), since, until).order_by("worker_id", "last_day", "pk")
        for each in map(ending.told, soonest.distinct("worker_id")):
            known = first.get(each.worker_id)
            if known is None or _soonest(each) < _soonest(known):
                first[each.worker_id] = each
    return first


def zone_of(worker: Worker) -> str:
    """The clock that a worker's days go by where a record belongs to no site: that of the site last worked at."""
    (zone,) = _zone_of(worker).first() or (OTHERWISE,)
    return zone


def _zone_of(worker: Worker | Given) -> QuerySet[Any, Any]:
    return HoursEntry.objects.filter(worker=worker).order_by("-end").values_list("site__time_zone")


def running_out_by_month(workers: QuerySet[Worker], *, since: date, until: date) -> dict[date, dict[str, int]]:
    """How many papers of the workers run out, by the first day of the month and by kind, in three statements.

    Every month from that of ``since`` through that of ``until`` is there. As in
    :func:`first_to_run_out` the role standards' periods are left out.
    """
    month = since.replace(day=1)
    months: dict[date, dict[str, int]] = {}
    while month <= until:
        months[month] = dict.fromkeys((CERTIFICATION, APPOINTMENT, EMPLOYMENT), 0)
        month = months_before(month, -1)
    for ending in ENDINGS:
        counted = ending.within(_one_of(workers), since, until).annotate(month=TruncMonth("last_day")).order_by()
        for first_day, number in counted.values("month").annotate(number=Count("pk")).values_list("month", "number"):
            months[first_day][ending.kind] = number
    return months


def _soonest(each: RunsOut) -> tuple[date, str, str]:
    return each.day, each.kind, each.what


@dataclass(frozen=True, slots=True)
class _Ending:
    """A kind of record that ends by itself: those that do, with ``last_day``, and one of them in words."""

    kind: str
    records: Callable[[], QuerySet[Any]]
    said: Callable[[Any], str]

    def within(self, whose: Q, since: date | Given, until: date | Given) -> QuerySet[Any]:
        """The records of ``whose`` of which ``last_day`` lies from ``since`` through ``until``."""
        return self.records().filter(whose, last_day__gte=since, last_day__lte=until)

    def told(self, record: Any) -> RunsOut:
        """One of them in words."""
        return RunsOut(record.worker_id, self.said(record), record.last_day, self.kind)


def _one_of(workers: QuerySet[Worker]) -> Q:
    return Q(worker__in=workers.order_by().values("pk"))


def _not(found: QuerySet[Any]) -> Q:
    """None of ``found`` exists, looked up for each record that is left: a plain ``NOT EXISTS`` joins whole tables."""
    return Q(Case(When(Exists(found), then=Value(value=False)), default=Value(value=True)))


# What is said of a certificate is said of its corrections too.
REVOKED = """
    WITH RECURSIVE revoked (id) AS (
        SELECT certification_id FROM evidence_certificationstatus change
        WHERE change.status = 'revoked' AND NOT change.withdrawn
          AND NOT EXISTS (SELECT FROM evidence_certificationstatus later WHERE later.supersedes_id = change.id)
        UNION
        SELECT corrected.id FROM revoked JOIN evidence_certification corrected ON corrected.supersedes_id = revoked.id
    )
    SELECT id FROM revoked
"""


def _certifications() -> QuerySet[Certification]:
    standing = Certification.objects.current().exclude(pk__in=RawSQL(REVOKED, ()))  # noqa: S611 (constants alone)
    renewed = standing.filter(
        Q(expires__isnull=True) | Q(expires__gt=OuterRef("expires")),
        worker=OuterRef("worker"),
        scheme=OuterRef("scheme"),
        issued__lte=OuterRef("expires"),
        scope__contains=OuterRef("scope"),
        covers_models__contains=OuterRef("covers_models"),
        covers_classes__contains=OuterRef("covers_classes"),
    )
    return standing.filter(~Exists(renewed), expires__isnull=False).annotate(last_day=F("expires"))


def _appointments() -> QuerySet[Appointment]:
    continued = Appointment.objects.current().filter(
        Q(end__isnull=True) | Q(end__gt=OuterRef("end")),
        Q(model__isnull=True) | Q(model=OuterRef("model")),
        Q(employer=OuterRef("employer")) | Q(maker=OuterRef("maker")),
        worker=OuterRef("worker"),
        duty=OuterRef("duty"),
        start__lte=OuterRef("end"),
    )
    last_site = HoursEntry.objects.filter(worker=OuterRef("worker")).order_by("-end").values("site__time_zone")[:1]
    ending = Appointment.objects.current().filter(_not(continued), end__isnull=False)
    return ending.select_related("employer", "maker").annotate(
        # The end itself is the first instant that is not covered.
        last_day=LocalDay(
            F("end") - timedelta(microseconds=1),
            Coalesce(Subquery(last_site), Value(OTHERWISE), output_field=TextField()),
        )
    )


def _employments() -> QuerySet[Employment]:
    continued = Employment.objects.current().filter(
        Q(end__isnull=True) | Q(end__gt=OuterRef("end")),
        worker=OuterRef("worker"),
        employer=OuterRef("employer"),
        start__lte=OuterRef("end") + timedelta(days=1),
    )
    ending = Employment.objects.current().filter(_not(continued), end__isnull=False)
    return ending.select_related("employer").annotate(last_day=F("end"))


def _certification_said(each: Certification) -> str:
    return gettext("Certificate in %(scheme)s, no. %(number)s") % {"scheme": each.scheme, "number": each.number}


def _appointment_said(each: Appointment) -> str:
    return gettext("Appointment as %(duty)s by %(giver)s") % {
        "duty": in_words(each.duty),
        "giver": each.employer or each.maker,
    }


def _employment_said(each: Employment) -> str:
    return gettext("Employment by %(employer)s") % {"employer": each.employer}


ENDINGS = (
    _Ending(CERTIFICATION, _certifications, _certification_said),
    _Ending(APPOINTMENT, _appointments, _appointment_said),
    _Ending(EMPLOYMENT, _employments, _employment_said),
)


# What a role standard keeps valid for so many months


@dataclass(frozen=True, slots=True)
class _Dated:
    """A worker's records on which periods of validity are set, newest first: hours one of each kind of work."""

    worked: list[HoursEntry]
    assessments: list[Assessment]
    instruction: list[Instruction]
    zone: ZoneInfo


@cache
def _of_one() -> Together:
    """What of one worker's ends by itself, kind by kind; then :class:`_Dated`."""
    worker = Given("worker")
    ending = (
        each.within(Q(worker=worker), Given("since"), Given("until")).order_by("last_day", "pk") for each in ENDINGS
    )
    # Claimed hours never count, so they bridge no pause either.
    signed = Countersignature.objects.filter(entry=OuterRef("pk"))
    worked = (
        HoursEntry.objects.current()
        .filter(Exists(signed), worker=worker)
        .select_related("model__maker")
        .order_by("model_id", "operation", "capacity", "-end")
        .distinct("model_id", "operation", "capacity")
    )
    return Together(
        *ending,
        worked,
        _newest_first(Assessment.objects.filter(kind="practical"), worker, "assessed_at"),
        _newest_first(Instruction.objects.all(), worker, "completed_at"),
        _zone_of(worker)[:1],
    )


def _periods(worker: Worker, dated: _Dated, standards: Iterable[Standard]) -> Iterator[RunsOut]:
    """Every period of validity that the standards set on records of the worker's, each told once."""
    last_worked = sorted(dated.worked, key=lambda each: each.end, reverse=True)
    zone, assessments, instruction = dated.zone, dated.assessments, dated.instruction
    told: set[tuple[str, int, int]] = set()
    for standard in standards:
        for role in standard.roles:
            for kind, months, records in _kept_valid(role, assessments, instruction, last_worked):
                for record in records:
                    if (kind, record.pk, months) not in told:
                        told.add((kind, record.pk, months))
                        said, happened = TOLD[kind](record)
                        last = first_day_outside(local_date(happened, zone), months) - DAY
                        yield RunsOut(worker.pk, said, last, kind, authored(standard.title))


def _kept_valid(
    role: RoleStandard,
    assessments: list[Assessment],
    instruction: list[Instruction],
    last_worked: list[HoursEntry],
) -> Iterator[tuple[str, int, Iterable[Any]]]:
    """``(kind, months, records)``: what the role standard keeps valid, and for how long."""
    for assessed in of_kind(PracticalAssessment, role.leaves()):
        if assessed.within_months is not None:
            yield ASSESSMENT, assessed.within_months, _governing(assessments, assessed, role)
    for instructed in of_kind(Instructed, role.leaves()):
        if instructed.within_months is not None:
            yield INSTRUCTION, instructed.within_months, _latest_on(instruction, instructed)
    for hours in of_kind(Hours, role.leaves()):
        if hours.scope == "model" and hours.longest_gap_months is not None:
            yield PAUSE, hours.longest_gap_months, _last_on_models(last_worked, hours, role)


def _newest_first(records: Any, worker: Given, by: str) -> QuerySet[Any]:
    found: QuerySet[Any] = records.current().filter(worker=worker)
    return found.select_related("model__maker").order_by(f"-{by}", "-pk")


def _last_on_models(last_worked: list[HoursEntry], leaf: Hours, role: RoleStandard) -> list[HoursEntry]:
    """On each model the latest work that the requirement counts; it is by the operation where that is asked for."""
    latest: dict[Any, HoursEntry] = {}
    for each in last_worked:
        counts = each.operation in (leaf.operations or role.operations)
        if counts and leaf.capacity in (None, each.capacity):
            latest.setdefault(each.model_id if leaf.operations else (each.model_id, each.operation), each)
    return list(latest.values())


def _governing(assessments: list[Assessment], leaf: PracticalAssessment, role: RoleStandard) -> list[Assessment]:
    """Of each scope and operation the latest assessment, where it was passed: it is the one that runs out.

    A family counts model by model here: which sister models an assessment carries
    to is the decision's to say.
    """
    asked = leaf.role or role.role
    operations = leaf.operations or role.operations
    latest: dict[Any, Assessment] = {}
    for each in assessments:
        if each.role == asked:
            for operation in operations.intersection(each.operations):
                latest.setdefault((_scope(leaf.scope, each), operation), each)
    passed = {each.pk: each for each in latest.values() if each.outcome == "pass"}
    wanted = {"any": (True, False), "third_party": (True,), "employer": (False,)}[leaf.assessor]
    return [each for each in passed.values() if bool(each.third_party) in wanted]


def _scope(scope: str, each: Assessment) -> Any:
    if scope == "any":
        return None
    if scope == "class":
        return each.model.crane_class
    return (each.model_id, each.configuration) if scope == "configuration" else each.model_id


def _latest_on(instruction: list[Instruction], leaf: Instructed) -> list[Instruction]:
    """The latest instruction on the topic, model by model where the standard asks for the model."""
    latest: dict[int | None, Instruction] = {}
    for each in instruction:
        if spelled_alike(each.topic, leaf.topic) and (not leaf.providers or each.provider in leaf.providers):
            latest.setdefault(each.model_id if leaf.scope == "model" else None, each)
    return list(latest.values())


def _assessment_told(each: Assessment) -> tuple[str, datetime]:
    said = gettext("Practical assessment as %(role)s on %(model)s")
    return said % {"role": in_words(each.role), "model": each.model}, each.assessed_at


def _instruction_told(each: Instruction) -> tuple[str, datetime]:
    topic = in_words(each.topic)
    if each.model is None:
        return gettext("Instruction: %(topic)s") % {"topic": topic}, each.completed_at
    said = gettext("Instruction: %(topic)s, %(model)s") % {"topic": topic, "model": each.model}
    return said, each.completed_at


def _pause_told(each: HoursEntry) -> tuple[str, datetime]:
    return gettext("Hours on %(model)s, unless more are worked") % {"model": each.model}, each.end


TOLD: dict[str, Callable[[Any], tuple[str, datetime]]] = {
    ASSESSMENT: _assessment_told,
    INSTRUCTION: _instruction_told,
    PAUSE: _pause_told,
}
"""A record in words, and the instant from which its period counts."""
