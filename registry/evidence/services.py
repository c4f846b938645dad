"""Recording evidence, correcting and withdrawing it.

Every function is keyword-only, runs in a transaction and raises
:class:`registry.database.errors.RecordRefused` with the problems field by
field. Instants are aware; ``recorded_at`` is when the register learns of it.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from django.db import connection, transaction

from registry.database.errors import Problem, RecordRefused, broken, refusals, within
from registry.database.records import Record
from registry.database.repeating import repeating
from registry.engine.calendar import end_of_day, local_date, start_of_day, whole_minutes
from registry.equipment.models import Crane, CraneModel, Maker, Site
from registry.evidence.models import (
    Appointment,
    Assessment,
    Certification,
    CertificationStatus,
    Countersignature,
    Document,
    HoursEntry,
    Instruction,
    StandDown,
)
from registry.language.amounts import day as written_day
from registry.language.amounts import duration
from registry.people.models import Account, Employer, Worker
from registry.people.telling import tell_workers

LARGEST_DOCUMENT = 20 * 1024 * 1024
AnyRecord = TypeVar("AnyRecord", bound=Record)


@repeating
def attach_document(
    *, name: str, media_type: str, content: bytes, recorded_at: datetime, recorded_by: Account | None
) -> Document:
    """Keep a file with its SHA-256."""
    if not content:
        raise RecordRefused([broken("document_has_content")])
    if len(content) > LARGEST_DOCUMENT:
        raise RecordRefused([broken("document_is_not_too_large", most=LARGEST_DOCUMENT // (1024 * 1024))])
    with refusals(), transaction.atomic():
        return Document.objects.create(
            name=name,
            media_type=media_type,
            content=content,
            size=len(content),
            sha256=hashlib.sha256(content).hexdigest(),
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class NewHours:
    """Hours to record. ``countersigner`` confirms them at ``countersigned_at`` in the same stroke.

    ``imported_line`` is a fingerprint that lets an import find its own line again.
    """

    worker: Worker
    model: CraneModel
    operation: str
    start: datetime
    end: datetime
    employer: Employer
    site: Site
    capacity: str = "erector"
    configuration: str = ""
    crane: Crane | None = None
    origin: str = "register"
    document: Document | None = None
    issuer: str = ""
    imported_line: str = ""
    countersigner: Worker | None = None
    countersigned_at: datetime | None = None

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone, which tells the day of the work."""
        return ZoneInfo(self.site.time_zone)


@dataclass(slots=True)
class HoursOfDays:
    """Minutes already recorded on each worker's local days, to refuse a 25-hour day."""

    minutes: dict[tuple[int, date], int] = field(default_factory=lambda: defaultdict(int))

    def problems(self, new: NewHours) -> list[Problem]:
        """Take the entry's minutes into account and say whether a day overflows."""
        problems = []
        for this_day, minutes in _minutes_by_day(new.start, new.end, new.zone):
            total = self.minutes[new.worker.pk, this_day] + minutes
            self.minutes[new.worker.pk, this_day] = total
            # A day on which the clocks change has 23 or 25 hours.
            longest = whole_minutes(start_of_day(this_day, new.zone), end_of_day(this_day, new.zone))
            if total > longest:
                said = {"amount": duration(total), "day": written_day(this_day), "longest": duration(longest)}
                problems.append(broken("a_day_has_24_hours", **said))
        return problems


def _minutes_by_day(start: datetime, end: datetime, zone: ZoneInfo) -> list[tuple[date, int]]:
    found = []
    while start < end:
        day = local_date(start, zone)
        until = min(end, end_of_day(day, zone))
        found.append((day, whole_minutes(start, until)))
        start = until
    return found


def hours_problems(new: NewHours, *, recorded_at: datetime) -> list[Problem]:
    """What is wrong with hours by themselves; the database holds the same rules."""
    problems = []
    if new.end <= new.start:
        problems.append(broken("hours_end_is_after_start"))
    elif new.end - new.start > timedelta(hours=24):
        problems.append(broken("hours_fit_into_24_hours"))
    if new.end > recorded_at:
        problems.append(broken("hours_are_not_in_the_future"))
    if new.crane is not None and new.crane.model_id != new.model.pk:
        problems.append(broken("crane_is_of_the_model"))
    if new.countersigner is not None:
        if new.countersigner.pk == new.worker.pk:
            problems.append(broken("nobody_countersigns_their_own_hours", "countersigner"))
        if new.countersigned_at is None or not new.end <= new.countersigned_at <= recorded_at:
            problems.append(broken("countersignature_follows_the_work", "countersigned_at"))
    return problems


def record_hours(*, new: NewHours, recorded_at: datetime, recorded_by: Account | None) -> HoursEntry:
    """Record one entry of hands-on hours."""
    (entry,) = record_hours_in_bulk(rows=[new], recorded_at=recorded_at, recorded_by=recorded_by)
    return entry


@repeating
def record_hours_in_bulk(
    *, rows: Sequence[NewHours], recorded_at: datetime, recorded_by: Account | None
) -> list[HoursEntry]:
    """Record many entries, all or none; problems name their row as ``rows[3].end``."""
    with transaction.atomic():
        check_hours(rows=rows, recorded_at=recorded_at)
        return insert_hours(rows=rows, recorded_at=recorded_at, recorded_by=recorded_by)


def check_hours(*, rows: Sequence[NewHours], recorded_at: datetime, instead_of: HoursEntry | None = None) -> None:
    """Refuse hours that are wrong by themselves or overfill a day.

    Must run in the transaction that stores them: it locks the workers' days
    against other recordings until then.
    """
    lock_days_of({new.worker.pk for new in rows})
    problems: list[Problem] = []
    days = hours_of_days(rows, instead_of=instead_of)
    for index, new in enumerate(rows):
        found = hours_problems(new, recorded_at=recorded_at)
        if not found:
            found = days.problems(new)
        problems += [within(each, f"rows[{index}]") if len(rows) > 1 else each for each in found]
    if problems:
        raise RecordRefused(problems)


def lock_days_of(worker_ids: Iterable[int]) -> None:
    """Let two recordings of one worker's hours wait for each other, until the transaction ends."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT evidence_lock_days_of(%s::bigint[])", [sorted(worker_ids)])


@repeating
def insert_hours(*, rows: Sequence[NewHours], recorded_at: datetime, recorded_by: Account | None) -> list[HoursEntry]:
    """Store entries that were checked, with their countersignatures, in two statements."""
    with refusals(), transaction.atomic():
        entries = HoursEntry.objects.bulk_create(
            HoursEntry(
                worker=new.worker,
                model=new.model,
                operation=new.operation,
                capacity=new.capacity,
                configuration=new.configuration,
                start=new.start,
                end=new.end,
                employer=new.employer,
                site=new.site,
                crane=new.crane,
                origin=new.origin,
                document=new.document,
                issuer=new.issuer,
                imported_line=new.imported_line,
                recorded_at=recorded_at,
                recorded_by=recorded_by,
            )
            for new in rows
        )
        signatures = Countersignature.objects.bulk_create(
            Countersignature(
                entry=entry,
                by=new.countersigner,
                at=new.countersigned_at,
                recorded_at=recorded_at,
                # Who copies a signature from paper did not give it.
                recorded_by=None if new.origin == "paper" else recorded_by,
            )
            for entry, new in zip(entries, rows, strict=True)
            if new.countersigner is not None and new.countersigned_at is not None
        )
        tell_workers([each.by_id for each in signatures], what="countersigned", at=recorded_at, by=recorded_by)
    return entries


def hours_of_days(rows: Iterable[NewHours], *, instead_of: HoursEntry | None = None) -> HoursOfDays:
    """What is already recorded on the days of these rows, in one statement; without ``instead_of``."""
    rows = [each for each in rows if each.start < each.end]
    days = HoursOfDays()
    if not rows:
        return days
    first = min(start_of_day(local_date(each.start, each.zone), each.zone) for each in rows)
    last = max(end_of_day(local_date(each.end, each.zone), each.zone) for each in rows)
    recorded = (
        HoursEntry.objects.current()
        .filter(worker__in={each.worker.pk for each in rows}, end__gt=first, start__lt=last)
        .exclude(pk__in=[] if instead_of is None else [instead_of.pk])
        .values_list("worker_id", "start", "end", "site__time_zone")
    )
    for worker, start, end, time_zone in recorded.iterator():
        for day, minutes in _minutes_by_day(start, end, ZoneInfo(time_zone)):
            days.minutes[worker, day] += minutes
    return days


@repeating
def countersign(
    *,
    entry: HoursEntry,
    by: Worker,
    at: datetime,
    recorded_at: datetime,
    recorded_by: Account | None,
) -> Countersignature:
    """Confirm somebody's hours."""
    if HoursEntry.objects.filter(supersedes=entry).exists() or entry.withdrawn:
        raise RecordRefused([broken("entry_is_current")])
    with refusals(), transaction.atomic():
        signature = Countersignature.objects.create(
            entry=entry, by=by, at=at, recorded_at=recorded_at, recorded_by=recorded_by
        )
        tell_workers([by.pk], what="countersigned", at=recorded_at, by=recorded_by)
    return signature


@repeating
def record_assessment(
    *,
    worker: Worker,
    role: str,
    model: CraneModel,
    operations: Sequence[str],
    assessed_at: datetime,
    outcome: str,
    assessor: Worker,
    recorded_at: datetime,
    recorded_by: Account | None,
    third_party: str = "",
    employer: Employer | None = None,
    tasks: Sequence[dict[str, Any]] = (),
    configuration: str = "",
    signature: str = "",
    document: Document | None = None,
) -> Assessment:
    """Record a practical assessment; a pass must have met every task of its list."""
    if outcome == "pass" and not all(each["met"] for each in tasks):
        raise RecordRefused([broken("a_pass_meets_every_task")])
    with refusals(), transaction.atomic():
        assessment = Assessment.objects.create(
            worker=worker,
            role=role,
            model=model,
            configuration=configuration,
            operations=list(operations),
            assessed_at=assessed_at,
            outcome=outcome,
            tasks=list(tasks),
            assessor=assessor,
            third_party=third_party,
            employer=employer,
            signature=signature,
            document=document,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )
        tell_workers([assessor.pk], what="assessed", at=recorded_at, by=recorded_by)
    return assessment


@repeating
def record_certification(
    *,
    worker: Worker,
    scheme: str,
    number: str,
    issuer: str,
    issued: date,
    recorded_at: datetime,
    recorded_by: Account | None,
    expires: date | None = None,
    scope: Sequence[str] = (),
    models: Sequence[CraneModel] = (),
    classes: Sequence[str] = (),
    document: Document | None = None,
) -> Certification:
    """Record a third party's certificate."""
    if issued > recorded_at.date() + timedelta(days=1):
        raise RecordRefused([broken("certificate_is_not_issued_in_the_future")])
    with refusals(), transaction.atomic():
        return Certification.objects.create(
            worker=worker,
            scheme=scheme,
            number=number,
            issuer=issuer,
            issued=issued,
            expires=expires,
            scope=list(scope),
            covers_models=[each.pk for each in models],
            covers_classes=list(classes),
            document=document,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


@repeating
def change_certification_status(
    *,
    certification: Certification,
    status: str,
    effective_at: datetime,
    recorded_at: datetime,
    recorded_by: Account | None,
    reason: str = "",
    document: Document | None = None,
) -> CertificationStatus:
    """Suspend or revoke a certificate from an instant on; a registrar reinstates it, with a reason."""
    with refusals(), transaction.atomic():
        changed = CertificationStatus.objects.create(
            worker_id=certification.worker_id,
            certification=certification,
            status=status,
            effective_at=effective_at,
            reason=reason,
            document=document,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )
        tell_workers([certification.worker_id], what="certificate_status", at=recorded_at, by=recorded_by)
    return changed


@repeating
def record_instruction(
    *,
    worker: Worker,
    topic: str,
    provider: str,
    completed_at: datetime,
    recorded_at: datetime,
    recorded_by: Account | None,
    provider_name: str = "",
    model: CraneModel | None = None,
    minutes: int | None = None,
    after_stand_down: StandDown | None = None,
    document: Document | None = None,
) -> Instruction:
    """Record completed instruction."""
    with refusals(), transaction.atomic():
        return Instruction.objects.create(
            worker=worker,
            topic=topic,
            provider=provider,
            provider_name=provider_name,
            model=model,
            completed_at=completed_at,
            minutes=minutes,
            after_stand_down=after_stand_down,
            document=document,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


@repeating
def appoint(
    *,
    worker: Worker,
    duty: str,
    start: datetime,
    recorded_at: datetime,
    recorded_by: Account | None,
    kind: str = "duty",
    employer: Employer | None = None,
    maker: Maker | None = None,
    model: CraneModel | None = None,
    end: datetime | None = None,
    stop_work_authority: bool = False,
    appointed_by: str = "",
    document: Document | None = None,
) -> Appointment:
    """Record a written appointment; a founding one needs its outside document."""
    with refusals(), transaction.atomic():
        return Appointment.objects.create(
            worker=worker,
            kind=kind,
            duty=duty,
            employer=employer,
            maker=maker,
            model=model,
            start=start,
            end=end,
            stop_work_authority=stop_work_authority,
            appointed_by=appointed_by,
            document=document,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


@repeating
def stand_down(
    *,
    worker: Worker,
    start: datetime,
    reason: str,
    recorded_at: datetime,
    recorded_by: Account | None,
    role: str = "",
    model: CraneModel | None = None,
    employer: Employer | None = None,
    shift_id: int | None = None,
    on_assignment: int | None = None,
) -> StandDown:
    """Bar a worker from a role (blank: all) and a model (``None``: all) from an instant on.

    Everywhere, or at ``employer`` alone. A firm's bar everywhere has its occasion:
    a shift (an hours entry) or a job (an assignment) on which it had the worker.
    """
    with refusals(), transaction.atomic():
        return StandDown.objects.create(
            worker=worker,
            role=role,
            model=model,
            start=start,
            reason=reason,
            employer=employer,
            shift_id=shift_id,
            on_assignment=on_assignment,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


@repeating
def correct(record: AnyRecord, *, recorded_at: datetime, recorded_by: Account | None, **changes: Any) -> AnyRecord:
    """Record a correction: a copy of ``record`` with ``changes`` that supersedes it.

    A corrected hours entry must be countersigned anew. Raises ``TypeError`` for
    a field that is not the record's own.
    """
    return _supersede(record, recorded_at, recorded_by, changes)


@repeating
def withdraw(record: AnyRecord, *, recorded_at: datetime, recorded_by: Account | None) -> AnyRecord:
    """Record that ``record`` should never have been there."""
    return _supersede(record, recorded_at, recorded_by, {"withdrawn": True})


def _supersede(
    record: AnyRecord, recorded_at: datetime, recorded_by: Account | None, changes: dict[str, Any]
) -> AnyRecord:
    if recorded_at < record.recorded_at:
        raise RecordRefused([broken("correction_is_recorded_after_the_record")])
    own = {each.name for each in record._meta.concrete_fields}
    kept_by_register = {"id", "supersedes", "recorded_at", "recorded_by", "imported_line"}
    if unknown := changes.keys() - (own - kept_by_register):
        raise TypeError(f"a correction cannot change {', '.join(sorted(unknown))}")
    copied = {
        each.attname: getattr(record, each.attname)
        for each in record._meta.concrete_fields
        if each.name not in kept_by_register | changes.keys()
    }
    created = type(record)(**copied, **changes, supersedes=record, recorded_at=recorded_at, recorded_by=recorded_by)
    with refusals(), transaction.atomic():
        if isinstance(created, HoursEntry) and isinstance(record, HoursEntry) and not created.withdrawn:
            check_hours(rows=[_as_new(created)], recorded_at=recorded_at, instead_of=record)
        created.save(force_insert=True)
        if isinstance(created, Assessment):
            tell_workers([created.assessor_id], what="assessed", at=recorded_at, by=recorded_by)
    return created


def _as_new(entry: HoursEntry) -> NewHours:
    """What the checks of new hours look at, from an entry not stored yet."""
    return NewHours(
        worker=entry.worker,
        model=entry.model,
        operation=entry.operation,
        start=entry.start,
        end=entry.end,
        employer=entry.employer,
        site=entry.site,
        crane=entry.crane,
    )
