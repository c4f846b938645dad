"""A person's record as the page shows it, in a fixed number of statements."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Count, Exists, F, Max, Min, OuterRef, Prefetch, QuerySet, Sum
from django.db.models.functions import ExtractMonth, ExtractYear

from registry.crews.access import WHOLE, RecordReader, reader_of
from registry.crews.periods import standards_about
from registry.database.local_day import LocalDay
from registry.database.together import Given, Together
from registry.engine.calendar import local_date
from registry.evidence.models import (
    Appointment,
    Assessment,
    Certification,
    Countersignature,
    HoursEntry,
    Instruction,
    StandDown,
    StandDownSuspension,
)
from registry.evidence.running_out import OTHERWISE, SOON, RunsOut, running_out
from registry.language.amounts import duration
from registry.people.models import Account, Employment, LanguageSkill, Worker
from registry.transcripts.hours_chart import SCREEN, hours_chart, period_in_words, quarter_number, rows_of
from registry.transcripts.transcript import certifications_of
from registry.web.unchecked import mark_assessments, mark_people, mark_signatures
from registry.web.year_strip import coming_year, year_strip

MOST_ENTRIES = 50
QUARTERS_FIT = 12
"""So many quarters are drawn as quarters; a longer time is drawn in years."""


@dataclass(frozen=True, slots=True)
class HoursRow:
    """Hours on one model in one operation and capacity, corrected entries left out; days by each site's clock."""

    model: str
    operation: str
    capacity: str
    total: str
    entries: int
    claimed: int
    first: date
    last: date


@dataclass(frozen=True, slots=True)
class HoursOverTime:
    """The chart of hours over time, and its figures: a line for each row of the chart, a column for each period.

    A period is a quarter where ``quarters``, else a year.
    """

    chart: str
    quarters: bool
    periods: list[str]
    lines: list[tuple[str, list[str]]]


@dataclass(frozen=True, slots=True)
class ComingYear:
    """What runs out over the coming year, soonest first, and the drawing that numbers it."""

    papers: list[RunsOut]
    strip: str


@dataclass(frozen=True, slots=True)
class CertificateShown:
    """A certificate and how it stands on the day of asking.

    ``status`` is blank where a correction has taken the record's place: it is the correction's then.
    """

    record: Certification
    status: str
    ran_out: bool
    runs_out_soon: bool


@dataclass(frozen=True, slots=True)
class WorkerRecordPage:
    """Everything the register holds about one person; corrected records stay, marked.

    ``zone`` is the clock of the site last worked at: days of records that belong
    to no site are told by it. ``left`` is the instant after which the reader reads
    nothing more of others, where the person left the reader's employer.
    """

    worker: Worker
    left: datetime | None
    zone: str
    site: str
    year: ComingYear
    hours: list[HoursRow]
    over_time: HoursOverTime
    entries: list[HoursEntry]
    assessments: list[Assessment]
    certifications: list[CertificateShown]
    instruction: list[Instruction]
    appointments: list[Appointment]
    stand_downs: list[StandDown]
    employments: list[Employment]
    languages: list[LanguageSkill]


def record_of(worker: Worker, account: Account, *, now: datetime) -> WorkerRecordPage:
    """The person's record as the register knows it at ``now``, of which the account sees what it reads.

    To whom the person left it is the record as it was on their last day, and what is its reader's own.
    """
    reader = reader_of(account, worker.pk, at=now)
    left = reader.left
    asked = _whole_record() if left is None else Together(*_kinds(reader))
    entries, assessments, certifications, instruction, appointments, stand_downs, employments, languages = asked.read(
        worker=worker.pk
    )
    site = entries[0].site if entries else None
    zone = site.time_zone if site else OTHERWISE
    today = local_date(now, ZoneInfo(zone))
    summed = _summed_hours(worker, reader)
    mark_people([worker])
    mark_signatures(entries)
    mark_assessments(assessments)
    return WorkerRecordPage(
        worker=worker,
        zone=zone,
        site=str(site or ""),
        year=ComingYear([], "") if left else year_of(worker, today=today),
        left=left,
        hours=_hours(summed),
        over_time=_over_time(summed),
        entries=entries,
        assessments=assessments,
        certifications=_certifications(worker, certifications, now=left or now, zone=ZoneInfo(zone)),
        instruction=instruction,
        appointments=appointments,
        stand_downs=stand_downs,
        employments=employments,
        languages=languages,
    )


def year_of(worker: Worker, *, today: date) -> ComingYear:
    """What of the worker's runs out over the coming year."""
    since, until = coming_year(today)
    papers = running_out(worker, since=since, until=until, standards=standards_about(worker, day=today))
    return ComingYear(papers, year_strip(papers, today=today) if papers else "")


@cache
def _whole_record() -> Together:
    return Together(*_kinds(WHOLE))


def _kinds(reader: RecordReader) -> Iterator[QuerySet[Any]]:
    """Every kind of record of the worker that is given, as far as the reader reads it.

    Withdrawals themselves are left out; what they withdraw is marked.
    """

    def of(model: Any, order: str, *related: str) -> QuerySet[Any]:
        records: QuerySet[Any] = reader.records(model.objects.filter(worker=Given("worker"), withdrawn=False))
        return records.select_related("superseded_by", *related).order_by(order, "-id" if model is HoursEntry else "id")

    signatures = Prefetch("countersignatures", reader.remarks(Countersignature.objects.select_related("by")))
    yield of(HoursEntry, "-start", "model__maker", "site", "employer").prefetch_related(signatures)[:MOST_ENTRIES]
    yield of(Assessment, "-assessed_at", "model__maker", "assessor", "employer")
    yield of(Certification, "-issued")
    yield of(Instruction, "-completed_at", "model__maker")
    # A scan may be large, and the page names it only.
    yield of(Appointment, "-start", "employer", "maker", "document").defer("document__content")
    resting = Prefetch("suspensions", reader.records(StandDownSuspension.objects.current()), to_attr="resting")
    yield of(StandDown, "-start", "model__maker", "employer").prefetch_related(resting)
    yield of(Employment, "-start", "employer")
    yield of(LanguageSkill, "language")


def _certifications(
    worker: Worker, records: Iterable[Certification], *, now: datetime, zone: ZoneInfo
) -> list[CertificateShown]:
    """All certificates, as they stand at ``now`` by the clock in ``zone``."""
    today = local_date(now, zone)
    known = certifications_of(worker, known_at=now, zone=zone)
    status_of = {each.record: each.status for each in known if each.current}
    shown = []
    for each in records:
        status = status_of.get(f"certification:{each.pk}", "")
        ends_by = each.expires or date.max
        shown.append(CertificateShown(each, status, ends_by < today, status == "in_force" and ends_by <= today + SOON))
    return shown


@dataclass(frozen=True, slots=True)
class _Summed:
    """Hours of one kind that began in one quarter."""

    model: str
    operation: str
    capacity: str
    signed: bool
    year: int
    month: int
    minutes: int
    entries: int
    first: date
    last: date


def _summed_hours(worker: Worker, reader: RecordReader) -> list[_Summed]:
    """One statement, however many entries; periods and days are those of each site."""
    signed = reader.remarks(Countersignature.objects.filter(entry=OuterRef("pk")))
    day = LocalDay(F("start"), F("site__time_zone"))
    kinds = ("model__maker__name", "model__designation", "operation", "capacity", "signed", "year", "month")
    rows = (
        reader.records(HoursEntry.objects.current().filter(worker=worker))
        .annotate(signed=Exists(signed), day=day, year=ExtractYear(day), month=ExtractMonth(day))
        .annotate(last_day=LocalDay(F("end") - timedelta(microseconds=1), F("site__time_zone")))
        .values(*kinds)
        .annotate(worked=Sum(F("end") - F("start")), number=Count("pk"), first=Min("day"), last=Max("last_day"))
        .order_by(*kinds)
    )
    return [
        _Summed(
            model=f"{each['model__maker__name']} {each['model__designation']}",
            operation=each["operation"],
            capacity=each["capacity"],
            signed=each["signed"],
            year=each["year"],
            month=each["month"],
            minutes=int(each["worked"].total_seconds()) // 60,
            entries=each["number"],
            first=each["first"],
            last=each["last"],
        )
        for each in rows
    ]


def _hours(summed: Iterable[_Summed]) -> list[HoursRow]:
    by_kind: dict[tuple[str, str, str, bool], list[_Summed]] = defaultdict(list)
    for each in summed:
        by_kind[each.model, each.operation, each.capacity, each.signed].append(each)
    return [
        HoursRow(
            model=model,
            operation=operation,
            capacity=capacity,
            total=duration(sum(each.minutes for each in alike)),
            entries=sum(each.entries for each in alike),
            claimed=0 if signed else sum(each.entries for each in alike),
            first=min(each.first for each in alike),
            last=max(each.last for each in alike),
        )
        for (model, operation, capacity, signed), alike in sorted(by_kind.items())
    ]


def _over_time(summed: Iterable[_Summed]) -> HoursOverTime:
    by_quarter: dict[str, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for each in summed:
        by_quarter[each.model][quarter_number(each.year, each.month)] += each.minutes
    worked = sorted({quarter for by_period in by_quarter.values() for quarter in by_period})
    quarters = bool(worked) and worked[-1] - worked[0] < QUARTERS_FIT
    minutes = by_quarter if quarters else _by_year(by_quarter)
    rows = rows_of(minutes)
    periods = sorted({period for _name, by_period in rows for period in by_period})
    return HoursOverTime(
        hours_chart(minutes, layout=SCREEN, quarters=quarters),
        quarters,
        [period_in_words(each, quarters=quarters) for each in periods],
        [
            (name, [duration(by_period[each]) if by_period.get(each) else "" for each in periods])
            for name, by_period in rows
        ],
    )


def _by_year(by_quarter: dict[str, dict[int, int]]) -> dict[str, dict[int, int]]:
    by_year: dict[str, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for model, quarters in by_quarter.items():
        for quarter, minutes in quarters.items():
            by_year[model][quarter // 4] += minutes
    return by_year
