"""What the register holds about people, as the engine sees it.

Plain frozen values: no database, no clock. Every instant is an aware
``datetime`` in UTC; a site's calendar day is always asked for together with a
named time zone. Identifiers are opaque strings; within one
:class:`Evidence` every record's ``id`` is unique across all kinds.

Each record has two times: when the thing happened (``start``, ``assessed_at``,
``issued`` ...) and ``recorded_at``, when the register learned of it. A record
that corrects another names it in ``supersedes``; with ``withdrawn`` it says
that the earlier record should not have been there at all.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any, Generic, Literal, Protocol, TypeAlias, TypeVar, get_args
from zoneinfo import ZoneInfo

from registry.engine.calendar import local_date
from registry.engine.harmless import folded

if TYPE_CHECKING:
    from registry.engine.fast.batches import Worked

Operation: TypeAlias = Literal["erection", "climbing", "repositioning", "dismantling"]
OPERATIONS: tuple[str, ...] = get_args(Operation)

Role: TypeAlias = Literal[
    "erector",
    "trainee",
    "erection_supervisor",
    "overseeing_engineer",
    "rigger",
    "signal_person",
    "crane_operator",
    "assist_crane_operator",
    "assessor",
]
ROLES: tuple[str, ...] = get_args(Role)

Origin: TypeAlias = Literal["register", "paper", "import"]
ORIGINS: tuple[str, ...] = get_args(Origin)
"""How a record got here: entered in the register, transcribed from paper with
a scan attached, or imported from another register with its signature verified."""

DEFAULT_ZONE = ZoneInfo("UTC")


@dataclass(frozen=True, slots=True)
class Person:
    """A worker. ``name`` is only for explanations."""

    id: str
    name: str


@dataclass(frozen=True, slots=True)
class Employer:
    """The organisation that assigns crews and owes the duty."""

    id: str
    name: str


@dataclass(frozen=True, slots=True)
class Model:
    """A crane model: maker's name, model designation and crane class."""

    id: str
    maker: str
    designation: str
    crane_class: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """What every record carries.

    ``recorded_by`` is an opaque key of the author (``account:12``): equal keys are one author.
    ``None``: not known who recorded it.
    """

    id: str
    recorded_at: datetime
    recorded_by: str | None = None
    supersedes: str | None = None
    withdrawn: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyDeclaration(Record):
    """The maker's own statement that models are equivalent for training.

    In force from the start of ``valid_from`` through the end of ``valid_until``
    (``None``: open) in the zone of the site in question.
    """

    maker: str
    models: frozenset[str]
    document: str
    valid_from: date
    valid_until: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CranePlacement(Record):
    """A crane stood on a site from ``start`` until ``end`` (``None``: still there)."""

    crane: str
    model: str
    site: str
    start: datetime
    end: datetime | None = None


@dataclass(frozen=True, slots=True)
class Countersignature:
    """Somebody's confirmation of an hours entry: signed at one instant, recorded at another."""

    by: str
    at: datetime
    recorded_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class HoursEntry(Record):
    """Time actually worked, ``[start, end)``, in one operation on one crane model.

    ``capacity`` is the role the person worked in. ``crane`` and ``site`` let
    the engine check that the crane stood there. ``document`` is the scan of an
    entry transcribed from paper; ``issuer`` the other register of an imported
    one, whose signature was verified.
    """

    worker: str
    model: str
    operation: str
    start: datetime
    end: datetime
    employer: str
    capacity: str = "erector"
    configuration: str | None = None
    zone: ZoneInfo = DEFAULT_ZONE
    crane: str | None = None
    site: str | None = None
    origin: str = "register"
    document: str | None = None
    issuer: str | None = None
    countersignatures: tuple[Countersignature, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment(Record):
    """A demonstrated performance judged by ``assessor``: ``pass`` or ``not_yet_competent``.

    ``third_party`` says on whose behalf it was given: an independent body, or
    the employer ``employer``, for whose work alone it then counts.
    ``signed_by_assessor``: the assessor recorded it in their own account.
    """

    worker: str
    role: str
    model: str
    operations: frozenset[str]
    assessed_at: datetime
    outcome: str
    assessor: str
    third_party: bool
    employer: str | None = None
    kind: str = "practical"
    configuration: str | None = None
    signed_by_assessor: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Certification(Record):
    """A third party's certificate: valid through the end of the ``expires`` day."""

    worker: str
    scheme: str
    number: str
    issued: date
    expires: date | None = None
    scope: frozenset[str] = frozenset()
    models: frozenset[str] = frozenset()
    classes: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificationStatus(Record):
    """The certificate is ``suspended``, ``revoked`` or ``reinstated`` from an instant on."""

    worker: str
    certification: str
    status: str
    effective_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Instruction(Record):
    """Classroom or maker's course; never counts as hands-on.

    ``after_stand_down`` names the stand-down that this retraining answers.
    """

    worker: str
    topic: str
    completed_at: datetime
    provider: str = "employer"
    model: str | None = None
    after_stand_down: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Appointment(Record):
    """The employer's (or, for ``maker_instructor``, the maker's) dated written act.

    ``kind`` is ``duty``, ``founding`` (an employer's first assessors, with the
    outside document ``document``) or ``maker_instructor``.
    """

    worker: str
    duty: str
    start: datetime
    end: datetime | None = None
    kind: str = "duty"
    employer: str | None = None
    maker: str | None = None
    document: str | None = None
    stop_work_authority: bool = False
    model: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StandDown(Record):
    """A dated bar for a role (``None``: every role) and a model (``None``: every model).

    ``only_at`` is the employer at whose work alone it bars (``None``: everywhere).
    """

    worker: str
    start: datetime
    reason: str
    role: str | None = None
    model: str | None = None
    only_at: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StandDownSuspension(Record):
    """The registrar suspends a stand-down: it does not bar within ``[start, end)`` (``None``: no end)."""

    worker: str
    stand_down: str
    start: datetime
    end: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LanguageSkill(Record):
    """The worker can work in ``language`` (BCP 47 tag)."""

    worker: str
    language: str


class _OfAWorker(Protocol):
    @property
    def worker(self) -> str: ...


CertificateKey = tuple[str, str]
"""Scheme and number of a certificate, folded."""

AnyRecord = TypeVar("AnyRecord", bound=Record)
PersonalRecord = TypeVar("PersonalRecord", bound=_OfAWorker)


@dataclass(frozen=True)
class Evidence:
    """Everything one decision may look at.

    Record tuples may hold several versions of one record; :meth:`known_at`
    gives what the register knew at an instant, with superseded versions gone.
    """

    people: dict[str, Person] = field(default_factory=dict)
    employers: dict[str, Employer] = field(default_factory=dict)
    models: dict[str, Model] = field(default_factory=dict)
    families: tuple[FamilyDeclaration, ...] = ()
    placements: tuple[CranePlacement, ...] = ()
    hours: tuple[HoursEntry, ...] = ()
    assessments: tuple[Assessment, ...] = ()
    certifications: tuple[Certification, ...] = ()
    certification_statuses: tuple[CertificationStatus, ...] = ()
    instruction: tuple[Instruction, ...] = ()
    appointments: tuple[Appointment, ...] = ()
    stand_downs: tuple[StandDown, ...] = ()
    stand_down_suspensions: tuple[StandDownSuspension, ...] = ()
    languages: tuple[LanguageSkill, ...] = ()
    every_certification: tuple[Certification, ...] = ()
    """Every version of every certificate, whenever recorded, corrected and withdrawn ones too: what was
    suspended or revoked is recognised by them. :meth:`known_at` fills it."""

    def record_kinds(self) -> Iterator[tuple[str, tuple[Record, ...]]]:
        """Yield ``(field name, records)`` for every kind of record."""
        for each in fields(self):
            if each.name not in ("people", "employers", "models", "every_certification"):
                yield each.name, getattr(self, each.name)

    def known_at(self, instant: datetime | None) -> Evidence:
        """The evidence as the register knew it at ``instant`` (``None``: the latest).

        A record whose ``recorded_at`` is later does not exist; a record
        superseded by one that exists is gone, and so is a withdrawal itself.
        """
        known: dict[str, Any] = {name: _known(records, instant) for name, records in self.record_kinds()}
        if all(records is known[name] for name, records in self.record_kinds()):
            return self
        # What names a corrected stand-down is about the version that was known.
        version = _Versions(self.stand_downs, instant)
        known["instruction"] = tuple(
            each
            if each.after_stand_down is None
            else replace(each, after_stand_down=version.known_of(each.after_stand_down))
            for each in known["instruction"]
        )
        known["stand_down_suspensions"] = tuple(
            replace(each, stand_down=version.known_of(each.stand_down)) for each in known["stand_down_suspensions"]
        )
        return Evidence(
            people=self.people,
            employers=self.employers,
            models=self.models,
            every_certification=self.every_certification or self.certifications,
            **known,
        )

    @cached_property
    def hours_of(self) -> dict[str, list[HoursEntry]]:
        """Hours entries by worker."""
        return _by_worker(self.hours)

    @cached_property
    def arranged_hours(self) -> dict[tuple[str, timedelta, timedelta], Worked]:
        """Kept here by :func:`batches.worked_by`, its arguments → its result."""
        return {}

    @cached_property
    def assessments_of(self) -> dict[str, list[Assessment]]:
        """Assessments by worker, in order of time."""
        return _by_worker(sorted(self.assessments, key=lambda each: each.assessed_at))

    @cached_property
    def certifications_of(self) -> dict[str, list[Certification]]:
        """Certifications by worker."""
        return _by_worker(self.certifications)

    @cached_property
    def certificate_keys(self) -> dict[str, frozenset[CertificateKey]]:
        """By what each version of a certificate is recognised, were it entered again.

        Its corrections are one certificate with it: schemes and numbers of all of them are in it.
        """
        version = _Versions(self.every_certification or self.certifications, None)
        keys: dict[str, set[CertificateKey]] = defaultdict(set)
        for each in version.records.values():
            keys[version.first_of(each.id)].add((folded(each.scheme), folded(each.number)))
        return {each: frozenset(keys[version.first_of(each)]) for each in version.records}

    @cached_property
    def same_certificate(self) -> dict[str, str]:
        """The first version of each certificate, by any of its versions."""
        version = _Versions(self.every_certification or self.certifications, None)
        return {each: version.first_of(each) for each in version.records}

    @cached_property
    def statuses_of(self) -> dict[str, list[CertificationStatus]]:
        """Status changes by worker, in order of time.

        Of two at the same instant the one recorded later governs, and in doubt
        the one that is not a reinstatement.
        """
        return _by_worker(
            sorted(
                self.certification_statuses,
                key=lambda each: (each.effective_at, each.recorded_at, each.status != "reinstated"),
            )
        )

    def statuses_about(self, held: Certification, zone: ZoneInfo) -> list[CertificationStatus]:
        """The status changes that tell of ``held``, in order of time.

        Those of any of its versions, whenever recorded. And those of a certificate of the same worker, scheme
        and number, compared without case, spaces and signs: what was suspended or revoked is not in force
        because it was entered again. One issued on a later day in ``zone`` is another certificate.
        """
        keys = self.certificate_keys[held.id]

        def is_about(change: CertificationStatus) -> bool:
            first = self.same_certificate.get(change.certification, change.certification)
            if first == self.same_certificate[held.id]:
                return True
            other = self.certificate_keys.get(change.certification, frozenset())
            return not keys.isdisjoint(other) and held.issued <= local_date(change.effective_at, zone)

        return [each for each in self.statuses_of.get(held.worker, []) if is_about(each)]

    @cached_property
    def instruction_of(self) -> dict[str, list[Instruction]]:
        """Instruction by worker."""
        return _by_worker(self.instruction)

    @cached_property
    def appointments_of(self) -> dict[str, list[Appointment]]:
        """Appointments by worker."""
        return _by_worker(self.appointments)

    @cached_property
    def stand_downs_of(self) -> dict[str, list[StandDown]]:
        """Stand-downs by worker."""
        return _by_worker(self.stand_downs)

    @cached_property
    def languages_of(self) -> dict[str, list[LanguageSkill]]:
        """Language skills by worker."""
        return _by_worker(self.languages)

    @cached_property
    def placements_of(self) -> dict[tuple[str | None, str | None, str], list[CranePlacement]]:
        """Placements by crane, site and model."""
        found: dict[tuple[str | None, str | None, str], list[CranePlacement]] = defaultdict(list)
        for each in self.placements:
            found[each.crane, each.site, each.model].append(each)
        return found

    @cached_property
    def suspensions_of(self) -> dict[str, list[StandDownSuspension]]:
        """Suspensions by stand-down."""
        found: dict[str, list[StandDownSuspension]] = defaultdict(list)
        for each in self.stand_down_suspensions:
            found[each.stand_down].append(each)
        return found

    @cached_property
    def signed_for(self) -> dict[str, dict[str, datetime]]:
        """Whose records each person signed, and when first: countersigner or assessor → worker → instant."""
        signed = [(each.by, entry.worker, each.at) for entry in self.hours for each in entry.countersignatures]
        signed += [(each.assessor, each.worker, each.assessed_at) for each in self.assessments]
        found: dict[str, dict[str, datetime]] = defaultdict(dict)
        for signer, worker, at in signed:
            found[signer][worker] = min(at, found[signer].get(worker, at))
        return found

    def name_of(self, person: str) -> str:
        """The person's name, or the identifier where the name is not held."""
        return self.people[person].name if person in self.people else person


def _known(records: tuple[AnyRecord, ...], instant: datetime | None) -> tuple[AnyRecord, ...]:
    if instant is not None:
        records = tuple(each for each in records if each.recorded_at <= instant)
    superseded = {each.supersedes for each in records if each.supersedes is not None}
    if superseded:
        records = tuple(each for each in records if each.id not in superseded and not each.withdrawn)
    if instant is not None:
        records = tuple(_signed_by_then(each, instant) for each in records)
    return records


class _Versions(Generic[AnyRecord]):
    """The versions of records: which correct which, by what was known at ``instant``."""

    def __init__(self, records: Iterable[AnyRecord], instant: datetime | None) -> None:
        self.records = {each.id: each for each in records}
        self._corrected = {
            each.supersedes: each.id
            for each in self.records.values()
            if each.supersedes is not None and (instant is None or each.recorded_at <= instant)
        }

    def first_of(self, record: str) -> str:
        """The record as it was first entered, whenever that was."""
        while (each := self.records.get(record)) is not None and each.supersedes is not None:
            record = each.supersedes
        return record

    def known_of(self, record: str) -> str:
        """The last version that was known, also of a record that names a later one."""
        record = self.first_of(record)
        while record in self._corrected:
            record = self._corrected[record]
        return record


def _signed_by_then(entry: AnyRecord, instant: datetime) -> AnyRecord:
    if not isinstance(entry, HoursEntry) or all(
        signature.recorded_at <= instant for signature in entry.countersignatures
    ):
        return entry
    signed = tuple(each for each in entry.countersignatures if each.recorded_at <= instant)
    return replace(entry, countersignatures=signed)


def _by_worker(records: Iterable[PersonalRecord]) -> dict[str, list[PersonalRecord]]:
    found: dict[str, list[PersonalRecord]] = defaultdict(list)
    for each in records:
        found[each.worker].append(each)
    return found
