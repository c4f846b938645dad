"""What can be brought in: workers, hours, assessments, certifications.

A kind turns rows into records by way of the services, which know the rules;
here is only how a row is read and how one that is there already is told.
"""

from __future__ import annotations

import hashlib
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, ClassVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.db import transaction
from django.db.models import Max

from registry.database.errors import RecordRefused
from registry.eligibility.calendar import MINUTE, end_of_day, start_of_day
from registry.eligibility.evidence import OPERATIONS, ROLES
from registry.equipment.models import CraneModel, Site
from registry.evidence.importing.columns import Field, folded
from registry.evidence.importing.lookup import Lookup
from registry.evidence.importing.report import ImportReport
from registry.evidence.importing.rows import MappedRow
from registry.evidence.importing.values import DATE_ORDERS, ValueRefused
from registry.evidence.models import Assessment, Certification, Document, HoursEntry
from registry.evidence.services import (
    NewHours,
    hours_of_days,
    hours_problems,
    insert_hours,
    record_assessment,
    record_certification,
)
from registry.people.models import Account, Employer, Employment, LanguageSkill, Worker
from registry.people.services import employ, record_language, register_worker


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportOptions:
    """How to read a file.

    ``columns``: headers of the file and the field each one is. ``dates``: what
    comes first in ``03/04/2026``; without it such a date is refused.
    ``time_zone``: for times at no site. ``document``: the scan of the paper
    that the file transcribes.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    ignore_unknown_columns: bool = False
    dates: str | None = None
    sheet: str | None = None
    encoding: str | None = None
    time_zone: str | None = None
    partial: bool = False
    document: Document | None = None

    def __post_init__(self) -> None:
        if self.dates not in (None, *DATE_ORDERS):
            raise ValueError(f"dates are {' or '.join(DATE_ORDERS)}, not {self.dates!r}")
        if self.time_zone is not None:
            try:
                ZoneInfo(self.time_zone)
            except (ZoneInfoNotFoundError, ValueError, OSError):
                raise ValueError(f"there is no time zone {self.time_zone!r}") from None


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What every row of one import has in common."""

    employer: Employer
    options: ImportOptions
    recorded_at: datetime
    recorded_by: Account | None
    report: ImportReport
    lookup: Lookup = field(default_factory=Lookup)


OPERATION_SPELLINGS = {folded(each): each for each in OPERATIONS} | {
    "assembly": "erection",
    "montage": "erection",
    "telescopage": "climbing",
    "hissage": "climbing",
    "repositionnement": "repositioning",
    "disassembly": "dismantling",
    "demontage": "dismantling",
}
ROLE_SPELLINGS = {folded(each): each for each in ROLES} | {
    "monteur": "erector",
    "stagiaire": "trainee",
    "apprenti": "trainee",
    "supervisor": "erection_supervisor",
    "chef de montage": "erection_supervisor",
    "engineer": "overseeing_engineer",
    "ingenieur": "overseeing_engineer",
    "elingueur": "rigger",
    "signaleur": "signal_person",
    "operator": "crane_operator",
    "grutier": "crane_operator",
    "evaluateur": "assessor",
}
OUTCOME_SPELLINGS = {
    "pass": "pass",
    "passed": "pass",
    "competent": "pass",
    "reussi": "pass",
    "not yet competent": "not_yet_competent",
    "fail": "not_yet_competent",
    "failed": "not_yet_competent",
    "pas encore competent": "not_yet_competent",
    "echec": "not_yet_competent",
}
ORIGIN_SPELLINGS = {"register": "register", "registre": "register", "paper": "paper", "papier": "paper"}
IMPORT_SPELLINGS = ("import", "imported", "importe")
LANGUAGE_SPELLINGS = {
    "english": "en",
    "anglais": "en",
    "french": "fr",
    "francais": "fr",
    "german": "de",
    "deutsch": "de",
    "allemand": "de",
    "spanish": "es",
    "espanol": "es",
    "espagnol": "es",
    "portuguese": "pt",
    "portugais": "pt",
    "polish": "pl",
    "polonais": "pl",
}

WORKER_FIELDS = (
    Field("worker", ("worker number", "name", "employee", "travailleur", "salarié", "nom", "matricule"), True),
    Field("worker_date_of_birth", ("date of birth", "born", "date de naissance", "né le")),
)
MODEL_FIELDS = (
    Field("model", ("crane model", "modèle", "modèle de grue", "grue"), True),
    Field("maker", ("manufacturer", "fabricant", "constructeur"), longest=100),
    Field("configuration", ("config",), longest=100),
)


class Kind(ABC):
    """One kind of record; ``write`` stores a batch of rows and counts what became of each."""

    name: ClassVar[str]
    fields: ClassVar[Sequence[Field]]
    one_of: ClassVar[Sequence[Sequence[str]]] = ()

    def __init__(self, context: Context) -> None:
        self.context = context

    @abstractmethod
    def write(self, rows: Sequence[MappedRow]) -> None:
        """Store the rows; what is wrong with one becomes its problem."""

    def _worker(self, row: MappedRow, name: str, *, required: bool = True) -> Worker | None:
        if not row.has(name):
            if required:
                row.required(name)
            return None
        written, born = row.text(name), row.day(f"{name}_date_of_birth")
        return row.take(name, lambda: self.context.lookup.worker(written, born)) if written else None

    def _model(self, row: MappedRow) -> CraneModel | None:
        if not row.required("model"):
            return None
        maker, designation = row.text("maker"), row.text("model")
        if not designation:
            return None
        named = f"{maker} {designation}"
        return row.take("model", lambda: self.context.lookup.model(named.strip()))

    def _configuration(self, row: MappedRow, model: CraneModel | None) -> str:
        written = row.text("configuration")
        if model is None:
            return written
        return row.take("configuration", lambda: self.context.lookup.configuration(model, written)) or ""

    def _site(self, row: MappedRow) -> Site | None:
        written = row.text("site")
        return row.take("site", lambda: self.context.lookup.site(written)) if written else None


class OneByOne(Kind):
    """A kind whose rows are stored one after the other."""

    def write(self, rows: Sequence[MappedRow]) -> None:
        for row in rows:
            new = False
            try:
                with transaction.atomic():
                    new = self.write_row(row)
                    if row.problems:
                        transaction.set_rollback(True)
            except RecordRefused as refused:
                row.add(refused.problems, self.shown_at)
            if row.problems:
                self.context.report.refuse(row.problems)
            elif new:
                self.context.report.new += 1
            else:
                self.context.report.already_there += 1

    shown_at: ClassVar[Mapping[str, str]] = {}

    @abstractmethod
    def write_row(self, row: MappedRow) -> bool:
        """Store the row; whether anything was new. What is wrong is added to the row or raised."""


class Workers(OneByOne):
    """People, from when the employer employs them, and their languages."""

    name = "workers"
    fields = (
        Field("given_name", ("given name", "first name", "forename", "prénom"), True, longest=100),
        Field("family_name", ("family name", "last name", "surname", "nom", "nom de famille"), True, longest=100),
        Field("date_of_birth", ("date of birth", "born", "birth date", "date de naissance", "né le"), True),
        Field("employed_from", ("employed since", "employment start", "start date", "hired", "embauché le")),
        Field("languages", ("language", "langue", "langues")),
    )

    def write_row(self, row: MappedRow) -> bool:
        for each in ("given_name", "family_name", "date_of_birth"):
            row.required(each)
        given, family, born = row.text("given_name"), row.text("family_name"), row.day("date_of_birth")
        employed_from = row.day("employed_from")
        languages = [LANGUAGE_SPELLINGS.get(folded(each), each) for each in row.parts("languages")]
        if row.problems or born is None:
            return False
        recording: dict[str, Any] = {"recorded_at": self.context.recorded_at, "recorded_by": self.context.recorded_by}
        new = False
        worker = Worker.objects.filter(given_name=given, family_name=family, date_of_birth=born).first()
        if worker is None:
            worker = register_worker(given_name=given, family_name=family, date_of_birth=born, **recording)
            new = True
        if employed_from is not None and not self._employed(worker, employed_from):
            employ(worker=worker, employer=self.context.employer, start=employed_from, **recording)
            new = True
        spoken = set(LanguageSkill.objects.current().filter(worker=worker).values_list("language", flat=True))
        for language in dict.fromkeys(languages):
            if language not in spoken:
                record_language(worker=worker, language=language, **recording)
                new = True
        return new

    shown_at = {"language": "languages", "start": "employed_from", "end": "employed_from"}

    def _employed(self, worker: Worker, start: date) -> bool:
        # A corrected employment counts as there too: the file's line led to it.
        return Employment.objects.filter(worker=worker, employer=self.context.employer, start=start).exists()


class Hours(Kind):
    """Hands-on hours, a day's work or a part of it in each row."""

    name = "hours"
    fields = (
        *WORKER_FIELDS,
        *MODEL_FIELDS,
        Field("site", ("job site", "chantier"), True),
        Field("date", ("day", "start date", "date of work", "jour"), True),
        Field("start", ("from", "start time", "début", "de", "heure de début"), True),
        Field("end", ("to", "until", "end time", "fin", "à", "heure de fin")),
        Field("end_date", ("end day", "date de fin")),
        Field("duration", ("hours", "hours worked", "durée", "heures")),
        Field("operation", ("task", "work", "opération"), True),
        Field("capacity", ("role", "as", "worked as", "rôle", "fonction", "qualité")),
        Field("crane", ("serial number", "crane serial", "crane serial number", "numéro de série"), longest=100),
        Field("countersigner", ("countersigned by", "signed by", "contresigné par", "contresignataire")),
        Field("countersigner_date_of_birth", ("countersigner born", "contresignataire né le")),
        Field("countersigned_on", ("date countersigned", "signed on", "contresigné le")),
        Field("countersigned_at", ("time countersigned", "signed at", "heure du contreseing")),
        Field("origin", ("source", "origine")),
    )
    one_of = (("end", "duration"),)
    shown_at = {
        "end": "duration",
        "by": "countersigner",
        "at": "countersigned_at",
        "countersigned_at": "countersigned_on",
    }

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self._last_before = HoursEntry.objects.aggregate(last=Max("id"))["last"] or 0

    def write(self, rows: Sequence[MappedRow]) -> None:
        report = self.context.report
        read = [(row, self._read(row)) for row in rows]
        fresh = self._not_there_yet([(row, new) for row, new in read if new is not None and not row.problems])
        days = hours_of_days([new for _, new in fresh])
        sound = []
        for row, new in fresh:
            row.add(hours_problems(new, recorded_at=self.context.recorded_at), self.shown_at)
            if not row.problems:
                row.add(days.problems(new), self.shown_at)
            if not row.problems:
                sound.append((row, new))
        self._insert(sound)
        for row in rows:
            if row.problems:
                report.refuse(row.problems)

    def _insert(self, sound: Sequence[tuple[MappedRow, NewHours]]) -> None:
        recorded_at, recorded_by = self.context.recorded_at, self.context.recorded_by
        try:
            insert_hours(rows=[new for _, new in sound], recorded_at=recorded_at, recorded_by=recorded_by)
        except RecordRefused as refused:
            if len(sound) == 1:
                sound[0][0].add(refused.problems, self.shown_at)
                return
            # The database refuses a batch as a whole; halve it until the rows are found.
            middle = len(sound) // 2
            self._insert(sound[:middle])
            self._insert(sound[middle:])
        else:
            self.context.report.new += len(sound)

    def _not_there_yet(self, read: Sequence[tuple[MappedRow, NewHours]]) -> list[tuple[MappedRow, NewHours]]:
        lines = [new.imported_line for _, new in read]
        there = dict(HoursEntry.objects.filter(imported_line__in=lines).values_list("imported_line", "id"))
        recorded = HoursEntry.objects.current().filter(
            worker__in={new.worker.pk for _, new in read}, end__in={new.end for _, new in read}
        )
        taken = set(recorded.values_list("worker_id", "start", "end"))
        fresh = []
        for row, new in read:
            span = (new.worker.pk, new.start, new.end)
            if new.imported_line in there:
                self.context.report.already_there += 1
                self.context.report.repeated += there[new.imported_line] > self._last_before
            elif span in taken:
                row.refuse(
                    "start",
                    "hours_are_brought_in_once",
                    f"{new.worker.number} has hours recorded from this start to this end with other values; "
                    "correct or countersign that record instead.",
                )
            else:
                there[new.imported_line] = self._last_before + 1
                taken.add(span)
                fresh.append((row, new))
        return fresh

    def _read(self, row: MappedRow) -> NewHours | None:
        worker, model = self._worker(row, "worker"), self._model(row)
        configuration = self._configuration(row, model)
        row.required("site")
        site = self._site(row)
        row.required("operation")
        operation = row.choice("operation", OPERATION_SPELLINGS)
        capacity = row.choice("capacity", ROLE_SPELLINGS, default="erector")
        origin = self._origin(row)
        serial_number = row.text("crane")
        crane = None
        if serial_number and model is not None:
            crane = row.take("crane", lambda: self.context.lookup.crane(model, serial_number))
        zone = ZoneInfo(site.time_zone) if site else None
        start, end = self._window(row, zone)
        countersigner = self._worker(row, "countersigner", required=False)
        countersigned_at = self._countersigned_at(row, zone)
        if row.problems or not (worker and model and site and start and end):
            return None
        written_signature = (row.day("countersigned_on"), row.clock("countersigned_at"))
        return NewHours(
            worker=worker,
            model=model,
            configuration=configuration,
            operation=operation,
            capacity=capacity,
            start=start,
            end=end,
            employer=self.context.employer,
            site=site,
            crane=crane,
            origin=origin,
            document=self.context.options.document if origin == "paper" else None,
            countersigner=countersigner,
            countersigned_at=countersigned_at,
            imported_line=_fingerprint(
                self.context.employer.pk,
                worker.pk,
                model.pk,
                configuration,
                operation,
                capacity,
                start.isoformat(),
                end.isoformat(),
                site.pk,
                crane and crane.pk,
                origin,
                countersigner and countersigner.pk,
                *written_signature,
            ),
        )

    def _origin(self, row: MappedRow) -> str:
        if folded(row.text("origin")) in IMPORT_SPELLINGS:
            row.refuse(
                "origin",
                "hours_of_another_register_are_signed",
                "Hours of another register come as its signed transcript, not in a table.",
            )
            return ""
        return row.choice("origin", ORIGIN_SPELLINGS, default="register")

    def _window(self, row: MappedRow, zone: ZoneInfo | None) -> tuple[datetime | None, datetime | None]:
        row.required("date")
        row.required("start")
        day, last_day = row.day("date"), row.day("end_date")
        opens, closes, length = row.clock("start"), row.clock("end"), row.duration("duration")
        if not row.has("end") and not row.has("duration"):
            row.refuse("end", "cell_is_filled", "The end or the duration must be given.")
        if zone is None or day is None or opens is None:
            return None, None
        start = row.instant("start", day, opens, zone)
        end = row.instant("end", last_day or day, closes, zone) if closes is not None else None
        if start is None:
            return None, None
        if length is not None and not row.has("end"):
            return start, start + length
        if end is not None and length is not None and start + length != end:
            row.refuse(
                "duration",
                "duration_is_from_start_to_end",
                f"From start to end are {_hours(end - start)}, the duration says {_hours(length)}; "
                "give work before and after a break in rows of their own.",
            )
        return start, end

    def _countersigned_at(self, row: MappedRow, zone: ZoneInfo | None) -> datetime | None:
        day, clock = row.day("countersigned_on"), row.clock("countersigned_at")
        if row.has("countersigned_on") and not row.has("countersigner"):
            row.refuse("countersigner", "countersignature_names_its_signer", "Say who countersigned.")
        if day is None or zone is None:
            return None
        if clock is not None:
            return row.instant("countersigned_at", day, clock, zone)
        # A date alone says no more than that it was signed by the end of that day.
        if start_of_day(day, zone) <= self.context.recorded_at < end_of_day(day, zone):
            return self.context.recorded_at
        return end_of_day(day, zone) - MINUTE


class Assessments(OneByOne):
    """Practical assessments, by the employer or, where one is named, by a third party."""

    name = "assessments"
    fields = (
        *WORKER_FIELDS,
        *MODEL_FIELDS,
        Field("role", ("assessed as", "rôle", "fonction"), True),
        Field("operations", ("operation", "opération", "opérations"), True),
        Field("date", ("assessed on", "date of assessment", "évalué le", "date de l'évaluation"), True),
        Field("time", ("assessed at", "heure")),
        Field("site", ("job site", "chantier")),
        Field("outcome", ("result", "résultat"), True),
        Field("assessor", ("assessed by", "évaluateur", "évalué par"), True),
        Field("assessor_date_of_birth", ("assessor born", "évaluateur né le")),
        Field("third_party", ("third party", "assessed for", "organisme", "tiers")),
    )
    shown_at = {"assessed_at": "date"}

    def write_row(self, row: MappedRow) -> bool:
        worker, model, assessor = self._worker(row, "worker"), self._model(row), self._worker(row, "assessor")
        for each in ("role", "operations", "outcome"):
            row.required(each)
        role = row.choice("role", ROLE_SPELLINGS)
        operations = row.choices("operations", OPERATION_SPELLINGS)
        outcome = row.choice("outcome", OUTCOME_SPELLINGS)
        configuration, third_party = self._configuration(row, model), row.text("third_party")
        assessed_at = self._assessed_at(row)
        if row.problems or not (worker and model and assessor and assessed_at):
            return False
        employer = None if third_party else self.context.employer
        there = Assessment.objects.filter(
            worker=worker,
            role=role,
            model=model,
            assessed_at=assessed_at,
            assessor=assessor,
            configuration=configuration,
            supersedes__isnull=True,
        ).first()
        if there is not None:
            values = (there.outcome, sorted(there.operations), there.third_party, there.employer_id)
            if values != (outcome, sorted(operations), third_party, employer and employer.pk):
                row.refuse(
                    "outcome",
                    "assessment_is_brought_in_once",
                    "This assessment is recorded already with other values; correct that record instead.",
                )
            return False
        record_assessment(
            worker=worker,
            role=role,
            model=model,
            configuration=configuration,
            operations=operations,
            assessed_at=assessed_at,
            outcome=outcome,
            assessor=assessor,
            third_party=third_party,
            employer=employer,
            document=self.context.options.document,
            recorded_at=self.context.recorded_at,
            recorded_by=self.context.recorded_by,
        )
        return True

    def _assessed_at(self, row: MappedRow) -> datetime | None:
        row.required("date")
        day, clock, site = row.day("date"), row.clock("time"), self._site(row)
        named = site.time_zone if site else self.context.options.time_zone
        if day is None:
            return None
        if named is None:
            if not row.has("site"):
                row.refuse("site", "time_zone_is_known", "Give the site, or a time zone for the whole file.")
            return None
        zone = ZoneInfo(named)
        if clock is not None:
            return row.instant("time", day, clock, zone)
        if start_of_day(day, zone) <= self.context.recorded_at < end_of_day(day, zone):
            row.refuse("time", "assessment_of_today_gives_its_time", "An assessment of today must give its time.")
        return end_of_day(day, zone) - MINUTE


class Certifications(OneByOne):
    """Third parties' certificates."""

    name = "certifications"
    fields = (
        *WORKER_FIELDS,
        Field("scheme", ("certificate", "certification", "scheme name", "certificat"), True),
        Field("number", ("certificate number", "certificate no", "no", "numéro", "numéro de certificat"), True, 100),
        Field("issuer", ("issued by", "certifier", "délivré par", "organisme"), True),
        Field("issued", ("issued on", "date of issue", "délivré le", "date de délivrance"), True),
        Field("expires", ("expires on", "expiry", "expiry date", "valid until", "expire le", "valable jusqu'au")),
        Field("scope", ("scopes", "covers", "domaine", "portée")),
        Field("models", ("crane models", "modèles")),
        Field("classes", ("crane classes", "catégories")),
    )

    def write_row(self, row: MappedRow) -> bool:
        worker = self._worker(row, "worker")
        for each in ("scheme", "number", "issuer", "issued"):
            row.required(each)
        scheme, number, issuer = row.text("scheme"), row.text("number"), row.text("issuer")
        issued, expires = row.day("issued"), row.day("expires")
        scope, classes = row.parts("scope"), row.parts("classes")
        for each in scope:
            if len(each) > 100:
                row.refuse("scope", "text_is_not_too_long", f"A scope has {len(each)} characters of 100.")
        for each in classes:
            if len(each) > 50:
                row.refuse("classes", "text_is_not_too_long", f"A class has {len(each)} characters of 50.")
        models = self._models(row)
        if row.problems or worker is None or issued is None:
            return False
        there = Certification.objects.filter(
            scheme=scheme, number=number, issued=issued, supersedes__isnull=True
        ).first()
        if there is not None:
            values = (there.worker_id, there.issuer, there.expires, there.scope, there.covers_classes)
            if values == (worker.pk, issuer, expires, scope, classes) and set(there.covers_models) == {
                each.pk for each in models
            }:
                return False
            row.refuse(
                "number",
                "certificate_is_brought_in_once",
                "This certificate is recorded already with other values; correct that record instead.",
            )
            return False
        record_certification(
            worker=worker,
            scheme=scheme,
            number=number,
            issuer=issuer,
            issued=issued,
            expires=expires,
            scope=scope,
            models=models,
            classes=classes,
            document=self.context.options.document,
            recorded_at=self.context.recorded_at,
            recorded_by=self.context.recorded_by,
        )
        return True

    def _models(self, row: MappedRow) -> list[CraneModel]:
        models = []
        for named in row.parts("models"):
            try:
                models.append(self.context.lookup.model(named))
            except ValueRefused as refused:
                row.refuse("models", refused.rule, refused.message)
        return models


KINDS: dict[str, type[Kind]] = {each.name: each for each in (Workers, Hours, Assessments, Certifications)}


def _fingerprint(*parts: object) -> str:
    written = "\x1f".join("" if each is None else str(each) for each in parts)
    return hashlib.sha256(f"hours 1\x1f{written}".encode()).hexdigest()


def _hours(length: timedelta) -> str:
    minutes = length // MINUTE
    sign = "-" if minutes < 0 else ""
    return f"{sign}{abs(minutes) // 60} h {abs(minutes) % 60} min"
