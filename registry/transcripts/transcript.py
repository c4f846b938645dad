"""The training transcript: a worker's own complete record, as the register knew it at an instant.

:func:`transcript_of` gathers it, in a fixed number of statements. Nothing is
left out: what was corrected or withdrawn stays, and says so. Its machine-readable
form is described by ``transcript.schema.json``; :func:`document_number` is made
from it, so that a document and the data in it belong together.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, fields, is_dataclass
from datetime import UTC, date, datetime
from functools import cached_property
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Q

from registry.database.readers import as_the_register
from registry.engine.calendar import local_date, whole_minutes
from registry.equipment.models import CraneModel
from registry.evidence.models import (
    Appointment,
    Assessment,
    Certification,
    CertificationStatus,
    Countersignature,
    HoursEntry,
    Instruction,
    StandDown,
    StandDownSuspension,
)
from registry.people.models import Employment, LanguageSkill, Worker
from registry.standards.models import StandardVersion

SCHEMA = Path(__file__).with_name("transcript.schema.json")
OF_NO_SITE = ZoneInfo("UTC")
FORMAT, FORMAT_VERSION = "training-transcript", 1

WITNESSED, LATE, TRANSCRIBED, IMPORTED, CLAIMED = (
    "witnessed",
    "countersigned_late",
    "transcribed",
    "imported",
    "claimed",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What every record says about itself: its name in the register, when it came, what became of it."""

    record: str
    recorded_at: datetime
    supersedes: str | None
    superseded_by: str | None
    superseded_at: datetime | None
    withdrawn_at: datetime | None

    @property
    def current(self) -> bool:
        """Neither corrected nor withdrawn."""
        return self.superseded_by is None and self.withdrawn_at is None

    @property
    def number(self) -> str:
        """The register's number of the record among its kind."""
        return number_of(self.record)


def number_of(record: str) -> str:
    """``hours:12`` → ``12``."""
    return record.partition(":")[2]


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """A countersignature under hours."""

    name: str
    number: str
    signed_at: datetime
    recorded_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours(Kept):
    """Time worked on a crane, ``[start, end)``; ``minutes`` is its length."""

    start: datetime
    end: datetime
    minutes: int
    time_zone: str
    maker: str
    model: str
    configuration: str
    crane: str | None
    operation: str
    capacity: str
    site: str
    employer: str
    provenance: str
    issuer: str
    document: str | None
    countersignatures: tuple[Signed, ...]

    @property
    def crane_model(self) -> str:
        """Maker and model designation."""
        return f"{self.maker} {self.model}"

    @property
    def year(self) -> int:
        """The year of the day the work began on, at the site."""
        return self.start.astimezone(ZoneInfo(self.time_zone)).year


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One task of an assessment's list."""

    task: str
    met: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessed(Kept):
    """A practical assessment; ``on_behalf_of`` a third party or an employer."""

    assessed_at: datetime
    role: str
    maker: str
    model: str
    configuration: str
    operations: tuple[str, ...]
    outcome: str
    assessor: str
    assessor_number: str
    on_behalf_of: str
    third_party: bool
    tasks: tuple[Task, ...]
    signature: str
    document: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusChange(Kept):
    """A certificate was suspended, revoked or reinstated."""

    status: str
    effective_at: datetime
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Certified(Kept):
    """A third party's certificate; ``status`` is that of the transcript's instant."""

    scheme: str
    certificate_number: str
    issuer: str
    issued: date
    expires: date | None
    scope: tuple[str, ...]
    models: tuple[str, ...]
    classes: tuple[str, ...]
    status: str
    changes: tuple[StatusChange, ...]
    document: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Instructed(Kept):
    """Classroom or maker's course."""

    topic: str
    provider: str
    provider_name: str
    maker: str | None
    model: str | None
    completed_at: datetime
    minutes: int | None
    after_stand_down: str | None
    document: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Appointed(Kept):
    """A written appointment; ``kind`` is ``duty``, ``founding`` or ``maker_instructor``."""

    kind: str
    duty: str
    appointed_by: str
    on_behalf_of: str
    maker: str | None
    model: str | None
    start: datetime
    end: datetime | None
    stop_work_authority: bool
    document: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspended:
    """A time over which the registrar suspended a stand-down (``end`` ``None``: until it is ended), and why."""

    start: datetime
    end: datetime | None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StoodDown(Kept):
    """A bar, and what speaks for its lifting: retraining, then assessments passed after it.

    Whether it is lifted for a role on a model in an operation is a decision by
    that role's standard; a transcript only says what there is. ``only_at`` is the
    employer at which alone it bars (``None``: everywhere); ``suspensions`` are the times
    over which the registrar let it rest, corrected and withdrawn ones left out.
    """

    start: datetime
    role: str | None
    maker: str | None
    model: str | None
    only_at: str | None
    suspensions: tuple[Suspended, ...]
    reason: str
    retraining: tuple[str, ...]
    passed_after: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoken(Kept):
    """A language the worker can work in (BCP 47)."""

    language: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Employed(Kept):
    """A time on an employer's books, both days included."""

    employer: str
    start: date
    end: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HoursTotal:
    """Current entries on one model in one operation, in whole minutes; ``claimed`` ones nobody signed."""

    maker: str
    model: str
    operation: str
    entries: int
    minutes: int
    as_trainee_minutes: int
    claimed_minutes: int
    first: datetime
    last: datetime

    @property
    def crane_model(self) -> str:
        """Maker and model designation."""
        return f"{self.maker} {self.model}"


@dataclass(frozen=True, kw_only=True)
class Transcript:
    """Everything the register knew about a worker at ``known_at``.

    ``countersign_within_days`` is the shortest delay that a role standard in
    force then allows a countersignature; a later one is *countersigned late*.
    """

    known_at: datetime
    worker_number: str
    given_name: str
    family_name: str
    date_of_birth: date | None
    countersign_within_days: int | None
    employments: tuple[Employed, ...] = ()
    hours: tuple[Hours, ...] = ()
    assessments: tuple[Assessed, ...] = ()
    certifications: tuple[Certified, ...] = ()
    instruction: tuple[Instructed, ...] = ()
    appointments: tuple[Appointed, ...] = ()
    stand_downs: tuple[StoodDown, ...] = ()
    languages: tuple[Spoken, ...] = ()

    @property
    def name(self) -> str:
        """The worker's name."""
        return f"{self.given_name} {self.family_name}"

    @cached_property
    def totals(self) -> list[HoursTotal]:
        """Minutes of the entries that stand, by model and operation."""
        found: dict[tuple[str, str, str], list[Hours]] = defaultdict(list)
        for each in self.hours:
            if each.current:
                found[each.maker, each.model, each.operation].append(each)
        return [
            HoursTotal(
                maker=maker,
                model=model,
                operation=operation,
                entries=len(entries),
                minutes=_minutes(entries),
                as_trainee_minutes=_minutes(each for each in entries if each.capacity == "trainee"),
                claimed_minutes=_minutes(each for each in entries if each.provenance == CLAIMED),
                first=min(each.start for each in entries),
                last=max(each.end for each in entries),
            )
            for (maker, model, operation), entries in sorted(found.items())
        ]

    @property
    def minutes(self) -> int:
        """All minutes that stand."""
        return sum(each.minutes for each in self.totals)

    @cached_property
    def minutes_by_model_and_year(self) -> dict[str, dict[int, int]]:
        """Minutes that stand, by model and then by year."""
        found: dict[str, dict[int, int]] = defaultdict(lambda: defaultdict(int))
        for each in self.hours:
            if each.current:
                found[each.crane_model][each.year] += each.minutes
        return {model: dict(sorted(years.items())) for model, years in sorted(found.items())}

    def as_json(self) -> dict[str, Any]:
        """The machine-readable form, by ``transcript.schema.json``; instants in UTC, lengths in whole minutes."""
        return {
            "format": FORMAT,
            "format_version": FORMAT_VERSION,
            "known_at": _plain(self.known_at),
            "worker": {
                "number": self.worker_number,
                "given_name": self.given_name,
                "family_name": self.family_name,
                "date_of_birth": _plain(self.date_of_birth),
            },
            "countersign_within_days": self.countersign_within_days,
            "total_minutes": self.minutes,
            "totals": _plain(self.totals),
            **{
                name: _plain(getattr(self, name))
                for name in (
                    "employments",
                    "hours",
                    "assessments",
                    "certifications",
                    "instruction",
                    "appointments",
                    "stand_downs",
                    "languages",
                )
            },
        }

    @cached_property
    def canonical(self) -> bytes:
        """The machine-readable form as canonical JSON (RFC 8785).

        Python's own writer gives just that where all keys are ASCII and all
        numbers whole, many times faster than a general one.
        """
        return json.dumps(self.as_json(), ensure_ascii=False, separators=(",", ":"), sort_keys=True).encode()

    @cached_property
    def document_number(self) -> str:
        """``T-`` and 60 bits of the SHA-256 of the canonical form, in base 32 (RFC 4648)."""
        digits = base64.b32encode(hashlib.sha256(self.canonical).digest()).decode()[:12]
        return f"T-{digits[:4]}-{digits[4:8]}-{digits[8:]}"


def _minutes(entries: Iterable[Hours]) -> int:
    return sum(each.minutes for each in entries)


def _plain(value: Any) -> Any:
    if value is None or isinstance(value, str | int):
        return value
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple | list):
        return [_plain(each) for each in value]
    assert is_dataclass(value)
    return {each.name: _plain(getattr(value, each.name)) for each in fields(value)}


@as_the_register()
def transcript_of(worker: Worker, *, known_at: datetime) -> Transcript:
    """The worker's record as the register knew it at ``known_at``."""
    within = _countersign_within_days(known_at)
    instruction = _all(Instruction, "instruction", worker, known_at, _INSTRUCTION)
    stand_downs = _all(StandDown, "stand_down", worker, known_at, _STAND_DOWN)
    suspensions = _all(StandDownSuspension, "suspension", worker, known_at, _SUSPENSION)
    assessments = _all(Assessment, "assessment", worker, known_at, _ASSESSMENT)
    return Transcript(
        known_at=known_at,
        worker_number=worker.number,
        given_name=worker.given_name,
        family_name=worker.family_name,
        date_of_birth=worker.date_of_birth,
        countersign_within_days=within,
        hours=_hours(worker, known_at, within),
        assessments=_sorted((_assessed(*each) for each in assessments.found), "assessed_at"),
        certifications=certifications_of(worker, known_at=known_at),
        instruction=_sorted((_instructed(*each) for each in instruction.found), "completed_at"),
        appointments=_sorted(
            (_appointed(*each) for each in _all(Appointment, "appointment", worker, known_at, _APPOINTMENT).found),
            "start",
        ),
        stand_downs=_sorted(_stood_down(stand_downs, suspensions, instruction, assessments), "start"),
        languages=_sorted(
            (
                Spoken(**kept, language=row["language"])
                for kept, row in _all(LanguageSkill, "language", worker, known_at, ("language",)).found
            ),
            "language",
        ),
        employments=_sorted(
            (
                Employed(**kept, employer=row["employer__name"], start=row["start"], end=row["end"])
                for kept, row in _all(Employment, "employment", worker, known_at, _EMPLOYMENT).found
            ),
            "start",
        ),
    )


_EMPLOYMENT = ("employer__name", "start", "end")
_HOURS = (
    "start",
    "end",
    "site__time_zone",
    "model__maker__name",
    "model__designation",
    "configuration",
    "crane__serial_number",
    "operation",
    "capacity",
    "site__name",
    "employer__name",
    "origin",
    "issuer",
    "document__name",
)
_ASSESSMENT = (
    "assessed_at",
    "role",
    "model_id",
    "model__maker__name",
    "model__designation",
    "configuration",
    "operations",
    "outcome",
    "assessor__given_name",
    "assessor__family_name",
    "assessor__number",
    "third_party",
    "employer__name",
    "tasks",
    "signature",
    "document__name",
)
_CERTIFICATION = (
    "scheme",
    "number",
    "issuer",
    "issued",
    "expires",
    "scope",
    "covers_models",
    "covers_classes",
    "document__name",
)
_STATUS = ("certification_id", "status", "effective_at", "reason")
_INSTRUCTION = (
    "topic",
    "provider",
    "provider_name",
    "model__maker__name",
    "model__designation",
    "completed_at",
    "minutes",
    "after_stand_down_id",
    "document__name",
)
_APPOINTMENT = (
    "kind",
    "duty",
    "appointed_by",
    "employer__name",
    "maker__name",
    "model__maker__name",
    "model__designation",
    "start",
    "end",
    "stop_work_authority",
    "document__name",
)
_STAND_DOWN = ("start", "role", "model_id", "model__maker__name", "model__designation", "employer__name", "reason")
_SUSPENSION = ("stand_down_id", "start", "end", "reason")

Row = dict[str, Any]


@dataclass(slots=True)
class _Found:
    """Records of one kind, each with what every record says about itself; a withdrawal shows at what it withdraws."""

    kind: str
    found: list[tuple[Row, Row]] = field(default_factory=list)
    later: dict[int, int] = field(default_factory=dict)
    """Superseded record → the record that supersedes it."""

    def latest(self, key: int) -> int:
        """The last correction of a record, or the record itself."""
        while key in self.later:
            key = self.later[key]
        return key


def _all(model: Any, kind: str, worker: Worker, known_at: datetime, columns: tuple[str, ...]) -> _Found:
    rows = list(
        model.objects.filter(worker=worker, recorded_at__lte=known_at)
        .order_by("id")
        .values("id", "recorded_at", "supersedes_id", "withdrawn", *columns)
    )
    successor = {each["supersedes_id"]: each for each in rows if each["supersedes_id"] is not None}
    gathered = _Found(kind, later={key: each["id"] for key, each in successor.items()})
    for row in rows:
        if row["withdrawn"]:
            continue
        newer = successor.get(row["id"])
        corrected = newer is not None and not newer["withdrawn"]
        kept = {
            "record": f"{kind}:{row['id']}",
            "recorded_at": row["recorded_at"],
            "supersedes": None if row["supersedes_id"] is None else f"{kind}:{row['supersedes_id']}",
            "superseded_by": f"{kind}:{newer['id']}" if newer is not None and corrected else None,
            "superseded_at": newer["recorded_at"] if newer is not None and corrected else None,
            "withdrawn_at": newer["recorded_at"] if newer is not None and not corrected else None,
        }
        gathered.found.append((kept, row))
    return gathered


def _sorted(records: Iterable[Any], by: str) -> tuple[Any, ...]:
    """By a field, then in the order in which they were recorded."""
    return tuple(sorted(records, key=lambda each: getattr(each, by)))


def _countersign_within_days(known_at: datetime) -> int | None:
    day = known_at.date()
    in_force = StandardVersion.objects.filter(
        Q(in_force_until__isnull=True) | Q(in_force_until__gte=day), in_force_from__lte=day, recorded_at__lte=known_at
    )
    # Of several versions of one standard the newest is in force.
    newest = in_force.order_by("key", "-in_force_from").distinct("key")
    delays = newest.values_list("content__provenance__countersign_within_days", flat=True)
    return min((int(each) for each in delays), default=None)


def _hours(worker: Worker, known_at: datetime, within_days: int | None) -> tuple[Hours, ...]:
    signatures: dict[int, list[Signed]] = defaultdict(list)
    given = Countersignature.objects.filter(entry__worker=worker, recorded_at__lte=known_at).order_by("at", "id")
    for entry, name, family_name, number, at, recorded_at in given.values_list(
        "entry_id", "by__given_name", "by__family_name", "by__number", "at", "recorded_at"
    ):
        signatures[entry].append(
            Signed(name=f"{name} {family_name}", number=number, signed_at=at, recorded_at=recorded_at)
        )
    entries = (
        Hours(
            **kept,
            start=row["start"],
            end=row["end"],
            minutes=whole_minutes(row["start"], row["end"]),
            time_zone=row["site__time_zone"],
            maker=row["model__maker__name"],
            model=row["model__designation"],
            configuration=row["configuration"],
            crane=row["crane__serial_number"],
            operation=row["operation"],
            capacity=row["capacity"],
            site=row["site__name"],
            employer=row["employer__name"],
            provenance=provenance_of(row["origin"], row["end"], signatures[row["id"]], within_days),
            issuer=row["issuer"],
            document=row["document__name"],
            countersignatures=tuple(signatures[row["id"]]),
        )
        for kept, row in _all(HoursEntry, "hours", worker, known_at, _HOURS).found
    )
    return _sorted(entries, "start")


def provenance_of(origin: str, end: datetime, signed: Iterable[Signed], within_days: int | None) -> str:
    """How an entry got here, as the engine tells it, but without judging whether the signer was entitled."""
    recorded = [each.recorded_at for each in signed]
    if origin == "import":
        return IMPORTED
    if not recorded:
        return CLAIMED
    if origin == "paper":
        return TRANSCRIBED
    late = within_days is not None and (min(recorded) - end).total_seconds() > within_days * 86_400
    return LATE if late else WITNESSED


def _assessed(kept: Row, row: Row) -> Assessed:
    return Assessed(
        **kept,
        assessed_at=row["assessed_at"],
        role=row["role"],
        maker=row["model__maker__name"],
        model=row["model__designation"],
        configuration=row["configuration"],
        operations=tuple(row["operations"]),
        outcome=row["outcome"],
        assessor=f"{row['assessor__given_name']} {row['assessor__family_name']}",
        assessor_number=row["assessor__number"],
        on_behalf_of=row["third_party"] or row["employer__name"],
        third_party=bool(row["third_party"]),
        tasks=tuple(Task(task=str(each["task"]), met=bool(each["met"])) for each in row["tasks"]),
        signature=row["signature"],
        document=row["document__name"],
    )


@as_the_register()
def certifications_of(worker: Worker, *, known_at: datetime, zone: ZoneInfo = OF_NO_SITE) -> tuple[Certified, ...]:
    """The worker's certificates as known at ``known_at``, each with its status then and what changed it.

    Whether one has expired goes by the calendar in ``zone``; a printed transcript, which belongs to no site, by UTC.
    """
    certificates = _all(Certification, "certification", worker, known_at, _CERTIFICATION)
    changes: dict[int, list[StatusChange]] = defaultdict(list)
    for kept, row in _all(CertificationStatus, "status", worker, known_at, _STATUS).found:
        changes[certificates.latest(row["certification_id"])].append(
            StatusChange(**kept, status=row["status"], effective_at=row["effective_at"], reason=row["reason"])
        )
    covered = {key for _kept, row in certificates.found for key in row["covers_models"]}
    names = {each.pk: str(each) for each in CraneModel.objects.filter(pk__in=covered).select_related("maker")}
    found = []
    for kept, row in certificates.found:
        # Of two changes at one instant the one recorded later governs, and in doubt the one that reinstates nothing.
        ordered = sorted(
            changes[row["id"]], key=lambda each: (each.effective_at, each.recorded_at, each.status != "reinstated")
        )
        found.append(
            Certified(
                **kept,
                scheme=row["scheme"],
                certificate_number=row["number"],
                issuer=row["issuer"],
                issued=row["issued"],
                expires=row["expires"],
                scope=tuple(row["scope"]),
                models=tuple(names[each] for each in row["covers_models"] if each in names),
                classes=tuple(row["covers_classes"]),
                status=_status_at(known_at, local_date(known_at, zone), row, ordered),
                changes=tuple(ordered),
                document=row["document__name"],
            )
        )
    return _sorted(found, "issued")


def _status_at(instant: datetime, today: date, certificate: Row, changes: list[StatusChange]) -> str:
    """``in_force``, ``not_yet``, ``suspended``, ``revoked`` or ``expired`` at ``instant``, which is on ``today``.

    Revoked is for good, as in a decision; only a suspension ends by a reinstatement.
    """
    in_effect = [each.status for each in changes if each.current and each.effective_at <= instant]
    if "revoked" in in_effect:
        return "revoked"
    if in_effect and in_effect[-1] != "reinstated":
        return in_effect[-1]
    if certificate["expires"] is not None and certificate["expires"] < today:
        return "expired"
    return "not_yet" if certificate["issued"] > today else "in_force"


def _instructed(kept: Row, row: Row) -> Instructed:
    retrains = row["after_stand_down_id"]
    return Instructed(
        **kept,
        topic=row["topic"],
        provider=row["provider"],
        provider_name=row["provider_name"],
        maker=row["model__maker__name"],
        model=row["model__designation"],
        completed_at=row["completed_at"],
        minutes=row["minutes"],
        after_stand_down=None if retrains is None else f"stand_down:{retrains}",
        document=row["document__name"],
    )


def _appointed(kept: Row, row: Row) -> Appointed:
    return Appointed(
        **kept,
        kind=row["kind"],
        duty=row["duty"],
        appointed_by=row["appointed_by"],
        on_behalf_of=row["employer__name"] or row["maker__name"],
        maker=row["model__maker__name"],
        model=row["model__designation"],
        start=row["start"],
        end=row["end"],
        stop_work_authority=row["stop_work_authority"],
        document=row["document__name"],
    )


def _stood_down(
    stand_downs: _Found, suspensions: _Found, instruction: _Found, assessments: _Found
) -> Iterable[StoodDown]:
    for kept, row in stand_downs.found:
        retraining = [
            (each["completed_at"], f"instruction:{each['id']}")
            for about, each in instruction.found
            if about["superseded_by"] is None
            and about["withdrawn_at"] is None
            and each["after_stand_down_id"] is not None
            and stand_downs.latest(each["after_stand_down_id"]) == stand_downs.latest(row["id"])
            and each["completed_at"] >= row["start"]
        ]
        retrained_at = min((at for at, _record in retraining), default=None)
        passed = [
            f"assessment:{each['id']}"
            for about, each in assessments.found
            if about["superseded_by"] is None
            and about["withdrawn_at"] is None
            and retrained_at is not None
            and each["assessed_at"] >= retrained_at
            and each["outcome"] == "pass"
            and row["role"] in ("", each["role"])
            and row["model_id"] in (None, each["model_id"])
        ]
        yield StoodDown(
            **kept,
            start=row["start"],
            role=row["role"] or None,
            maker=row["model__maker__name"],
            model=row["model__designation"],
            only_at=row["employer__name"],
            suspensions=tuple(
                Suspended(start=each["start"], end=each["end"], reason=each["reason"])
                for about, each in suspensions.found
                if about["superseded_by"] is None
                and about["withdrawn_at"] is None
                and stand_downs.latest(each["stand_down_id"]) == stand_downs.latest(row["id"])
            ),
            reason=row["reason"],
            retraining=tuple(record for _at, record in sorted(retraining)),
            passed_after=tuple(passed),
        )
