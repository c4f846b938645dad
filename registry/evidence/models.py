"""What people can show. Every table is append-only; corrections supersede.

``EvidenceVersion`` counts the changes to each subject (a worker, a crane model,
an employer's figures, a standard); triggers keep it, the application reads it.
"""

from __future__ import annotations

from datetime import timedelta

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Length
from django.utils.translation import gettext as _

from registry.database.guards import AlsoShownTo, Guard, Trigger, append_only, correction_keeps, erasable, only_read
from registry.database.records import Record, in_years_people_enter
from registry.engine.evidence import OPERATIONS, ORIGINS, ROLES
from registry.language.amounts import day
from registry.language.words import choices_of, in_words
from registry.ledger.guards import logged
from registry.people.guards import named_by, shown_to, worker_is_not_erased
from registry.people.models import Employment, LanguageSkill

OPERATION_CHOICES = choices_of(OPERATIONS)
ROLE_CHOICES = choices_of(ROLES)

workers_changed = Trigger("workers_changed", "AFTER INSERT", "evidence_workers_changed()", once_a_statement=True)
"""A new row changes what its worker can show."""


def employer_records_about_its_own(day: str) -> Trigger:
    """An employer records about its own people; of those who left, what happened (column ``day``) in their time."""
    return Trigger(
        "employer_records_about_its_own",
        "BEFORE INSERT",
        f"evidence_employer_records_about_its_own('{day}')",
        when="NEW.recorded_by_id IS NOT NULL",
    )


class Document(models.Model):
    """An attached file, kept in the database with its SHA-256 (hexadecimal).

    Once lawfully erased it has no content any more; size and SHA-256 stay.
    """

    name = models.CharField(max_length=200)
    media_type = models.CharField(max_length=100)
    content = models.BinaryField()
    size = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey("people.Account", models.PROTECT, null=True, blank=True, related_name="+")

    guards = (
        *append_only,
        logged,
        named_by("employer", "worker", "registrar"),
        erasable("name", "content"),
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(size=Length("content")) | Q(content=b""), name="document_size_is_that_of_its_content"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class WorkerRecord(Record):
    """A record about one worker."""

    worker = models.ForeignKey("people.Worker", models.PROTECT, related_name="%(class)s_records")

    guards = (*Record.guards, correction_keeps("worker_id"), logged, worker_is_not_erased, workers_changed)

    class Meta(Record.Meta):
        abstract = True


class HoursEntry(WorkerRecord):
    """Time actually worked on a crane model in one operation, ``[start, end)``."""

    model = models.ForeignKey("equipment.CraneModel", models.PROTECT, related_name="+")
    configuration = models.CharField(max_length=100, blank=True)
    operation = models.CharField(max_length=20, choices=OPERATION_CHOICES)
    capacity = models.CharField(max_length=30, choices=ROLE_CHOICES, default="erector")
    start = models.DateTimeField()
    end = models.DateTimeField()
    employer = models.ForeignKey("people.Employer", models.PROTECT, related_name="+")
    site = models.ForeignKey("equipment.Site", models.PROTECT, related_name="+")
    crane = models.ForeignKey("equipment.Crane", models.PROTECT, null=True, blank=True, related_name="+")
    origin = models.CharField(max_length=10, choices=choices_of(ORIGINS), default="register")
    document = models.ForeignKey(Document, models.PROTECT, null=True, blank=True, related_name="+")
    issuer = models.CharField(max_length=200, blank=True)
    imported_line = models.CharField(max_length=64, blank=True)

    guards = (
        *WorkerRecord.guards,
        named_by("employer:employer_id", "registrar"),
        employer_records_about_its_own("start"),
        erasable("issuer", "imported_line"),
        # A record is shown with what supersedes it: otherwise a corrected record would pass for the present one.
        shown_to(
            "evidence_hoursentry",
            """employer_id = (SELECT registry_reader_employer()) OR {about_person}
                OR registry_shows_entry(id) OR supersedes_id IS NOT NULL AND registry_shows_entry(supersedes_id)
                OR {corrects_named}""",
        ),
    )

    class Meta(WorkerRecord.Meta):
        abstract = False
        constraints = [
            *Record.Meta.constraints,
            models.UniqueConstraint(
                fields=["imported_line"], condition=~Q(imported_line=""), name="an_imported_line_is_recorded_once"
            ),
            models.CheckConstraint(condition=Q(end__gt=F("start")), name="hours_end_is_after_start"),
            models.CheckConstraint(
                condition=Q(end__lte=F("start") + timedelta(hours=24)), name="hours_fit_into_24_hours"
            ),
            models.CheckConstraint(condition=Q(end__lte=F("recorded_at")), name="hours_are_not_in_the_future"),
            models.CheckConstraint(condition=Q(operation__in=OPERATIONS), name="hours_operation_is_known"),
            models.CheckConstraint(condition=Q(capacity__in=ROLES), name="hours_capacity_is_a_role"),
            models.CheckConstraint(condition=Q(origin__in=ORIGINS), name="hours_origin_is_known"),
            models.CheckConstraint(
                condition=~Q(origin="paper") | Q(document__isnull=False), name="hours_from_paper_have_a_scan"
            ),
            # Nothing here verifies another register's signature yet, so nothing is recorded as if it had been.
            models.CheckConstraint(condition=~Q(origin="import"), name="hours_of_another_register_need_its_signature"),
        ]
        indexes = [
            models.Index(fields=["worker", "end"], name="hours_of_a_worker"),
            models.Index(fields=["worker"], condition=Q(capacity="trainee"), name="hours_of_a_trainee"),
        ]

    def __str__(self) -> str:
        return _("%(operation)s on %(day)s") % {"operation": in_words(self.operation), "day": day(self.start)}


def read_with_the_entry(table: str, by: str) -> Guard:
    """What was said about an entry is read with it, by who said it, and by a former employer as long as it was one.

    ``by`` is the column that says whose word it is.
    """
    return shown_to(
        table,
        f"""{by} = (SELECT registry_reader_worker()) OR CASE WHEN (SELECT registry_reader_employer()) IS NULL
            THEN EXISTS (SELECT FROM evidence_hoursentry entry WHERE entry.id = {table}.entry_id)
            ELSE registry_shows_remark({table}.entry_id, {table}.recorded_at) END""",  # noqa: S608
    )


class Countersignature(models.Model):
    """Somebody's confirmation of an hours entry."""

    entry = models.ForeignKey(HoursEntry, models.PROTECT, related_name="countersignatures")
    by = models.ForeignKey("people.Worker", models.PROTECT, related_name="countersignatures_given")
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey("people.Account", models.PROTECT, null=True, blank=True, related_name="+")

    guards = (
        *append_only,
        logged,
        # What was said about a record is read with the record.
        read_with_the_entry("evidence_countersignature", "by_id"),
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["entry", "by"], name="nobody_countersigns_an_entry_twice"),
            models.CheckConstraint(condition=Q(at__lte=F("recorded_at")), name="countersignature_is_not_in_the_future"),
        ]

    def __str__(self) -> str:
        return _("%(name)s on %(day)s") % {"name": self.by, "day": day(self.at)}


class Assessment(WorkerRecord):
    """A practical assessment against a task list; ``tasks`` is ``[{"task": str, "met": bool}]``."""

    OUTCOMES = ("pass", "not_yet_competent")

    kind = models.CharField(max_length=10, default="practical")
    role = models.CharField(max_length=30, choices=ROLE_CHOICES)
    model = models.ForeignKey("equipment.CraneModel", models.PROTECT, related_name="+")
    configuration = models.CharField(max_length=100, blank=True)
    operations = ArrayField(models.CharField(max_length=20))
    assessed_at = models.DateTimeField()
    outcome = models.CharField(max_length=20, choices=choices_of(OUTCOMES))
    tasks = models.JSONField(default=list, blank=True)
    assessor = models.ForeignKey("people.Worker", models.PROTECT, related_name="assessments_given")
    third_party = models.CharField(max_length=200, blank=True)
    employer = models.ForeignKey("people.Employer", models.PROTECT, null=True, blank=True, related_name="+")
    signature = models.CharField(max_length=200, blank=True)
    document = models.ForeignKey(Document, models.PROTECT, null=True, blank=True, related_name="+")

    guards = (
        *WorkerRecord.guards,
        named_by("worker:assessor_id", "employer", "registrar"),
        employer_records_about_its_own("assessed_at"),
        erasable("tasks", "signature"),
        shown_to(
            "evidence_assessment",
            """{about_person} OR assessor_id = (SELECT registry_reader_worker())
                OR employer_id = (SELECT registry_reader_employer()) AND {was_on_books} OR {corrects_own}
                OR supersedes_id IS NOT NULL AND EXISTS (
                    SELECT FROM registry_given_assessments given
                    WHERE given.assessment_id = evidence_assessment.supersedes_id)""",
        ),
    )

    class Meta(WorkerRecord.Meta):
        abstract = False
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=~Q(assessor=F("worker")), name="nobody_assesses_themself"),
            models.CheckConstraint(
                condition=Q(assessed_at__lte=F("recorded_at")), name="assessment_is_not_in_the_future"
            ),
            models.CheckConstraint(
                condition=Q(outcome__in=["pass", "not_yet_competent"]), name="assessment_outcome_is_known"
            ),
            models.CheckConstraint(condition=Q(role__in=ROLES), name="assessment_role_is_known"),
            models.CheckConstraint(
                condition=Q(operations__contained_by=list(OPERATIONS), operations__len__gte=1),
                name="assessment_operations_are_known",
            ),
            models.CheckConstraint(
                condition=Q(third_party="", employer__isnull=False) | (~Q(third_party="") & Q(employer__isnull=True)),
                name="assessment_is_third_partys_or_employers",
            ),
        ]
        indexes = [models.Index(fields=["worker", "assessed_at"], name="assessments_of_a_worker")]

    def __str__(self) -> str:
        return _("%(outcome)s as %(role)s") % {"outcome": in_words(self.outcome), "role": in_words(self.role)}


class Certification(WorkerRecord):
    """A third party's certificate; valid through the end of the day it expires."""

    scheme = models.CharField(max_length=200)
    number = models.CharField(max_length=100)
    issuer = models.CharField(max_length=200)
    issued = models.DateField()
    expires = models.DateField(null=True, blank=True)
    scope = ArrayField(models.CharField(max_length=100), default=list, blank=True)
    covers_models = ArrayField(models.BigIntegerField(), default=list, blank=True)
    covers_classes = ArrayField(models.CharField(max_length=50), default=list, blank=True)
    document = models.ForeignKey(Document, models.PROTECT, null=True, blank=True, related_name="+")

    guards = (
        *WorkerRecord.guards,
        named_by("employer", "registrar"),
        employer_records_about_its_own("issued"),
        erasable("number"),
        shown_to("evidence_certification", "{about_person} OR {corrects_own}"),
    )

    class Meta(WorkerRecord.Meta):
        abstract = False
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(expires__isnull=True) | Q(expires__gte=F("issued")),
                name="certificate_does_not_expire_before_it_was_issued",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn=True) | in_years_people_enter("issued"),
                name="certificate_is_issued_in_a_year_people_enter",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn=True) | in_years_people_enter("expires"),
                name="certificate_expires_in_a_year_people_enter",
            ),
            models.UniqueConstraint(
                fields=["scheme", "number", "issued"],
                condition=Q(supersedes__isnull=True),
                name="certificate_is_recorded_once",
            ),
        ]
        indexes = [
            models.Index(fields=["expires"], condition=Q(expires__isnull=False), name="certificates_that_expire")
        ]

    def __str__(self) -> str:
        return _("%(scheme)s no. %(number)s") % {"scheme": self.scheme, "number": self.number}


class CertificationStatus(WorkerRecord):
    """The certificate is suspended, revoked or reinstated from an instant on; ``document`` is the issuer's paper."""

    STATUSES = ("suspended", "revoked", "reinstated")

    certification = models.ForeignKey(Certification, models.PROTECT, related_name="statuses")
    status = models.CharField(max_length=12, choices=choices_of(STATUSES))
    effective_at = models.DateTimeField()
    reason = models.TextField(blank=True)
    document = models.ForeignKey(Document, models.PROTECT, null=True, blank=True, related_name="+")

    guards = (
        *WorkerRecord.guards,
        named_by("employer", "registrar"),
        employer_records_about_its_own("recorded_at"),
        erasable("reason"),
        shown_to("evidence_certificationstatus", "{about_person} OR {corrects_own}"),
    )

    class Meta(WorkerRecord.Meta):
        abstract = False
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(status__in=["suspended", "revoked", "reinstated"]),
                name="certification_status_is_known",
            ),
        ]

    def __str__(self) -> str:
        return in_words(self.status)


class StandDown(WorkerRecord):
    """A dated bar for a role (blank: every role) and a model (``None``: every model).

    Its occasion is a shift or a job on which the firm had the person: then it bars
    everywhere. Without one it bars at ``employer`` alone. ``on_assignment`` is the
    number of the assignment: the plans of crews lie in a package that knows this one.
    """

    role = models.CharField(max_length=30, choices=ROLE_CHOICES, blank=True)
    model = models.ForeignKey("equipment.CraneModel", models.PROTECT, null=True, blank=True, related_name="+")
    start = models.DateTimeField()
    reason = models.TextField()
    employer = models.ForeignKey("people.Employer", models.PROTECT, null=True, blank=True, related_name="+")
    shift = models.ForeignKey(HoursEntry, models.PROTECT, null=True, blank=True, related_name="+")
    on_assignment = models.BigIntegerField(null=True, blank=True)

    guards = (
        *WorkerRecord.guards,
        named_by("employer", "registrar"),
        erasable("reason"),
        shown_to(
            "evidence_standdown",
            """employer_id = (SELECT registry_reader_employer()) AND {was_on_books}
                OR {about_person} OR {corrects_own}""",
        ),
    )

    class Meta(WorkerRecord.Meta):
        abstract = False
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=Q(role__in=["", *ROLES]), name="stand_down_role_is_known"),
            models.CheckConstraint(condition=~Q(reason=""), name="stand_down_gives_its_reason"),
            models.CheckConstraint(
                condition=Q(shift__isnull=True) | Q(on_assignment__isnull=True), name="stand_down_has_one_occasion"
            ),
        ]

    def __str__(self) -> str:
        return _("stand-down from %(day)s") % {"day": day(self.start)}


class StandDownSuspension(WorkerRecord):
    """The registrar lets a stand-down rest over ``[start, end)`` (``None``: until further notice), with a reason."""

    stand_down = models.ForeignKey(StandDown, models.PROTECT, related_name="suspensions")
    start = models.DateTimeField()
    end = models.DateTimeField(null=True, blank=True)
    reason = models.TextField()

    guards = (
        *WorkerRecord.guards,
        named_by("registrar"),
        erasable("reason"),
        Trigger("suspension_is_the_registrars", "BEFORE INSERT", "evidence_suspension_is_the_registrars()"),
        shown_to("evidence_standdownsuspension"),
    )

    class Meta(WorkerRecord.Meta):
        abstract = False
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(end__isnull=True) | Q(end__gt=F("start")), name="suspension_end_is_after_start"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="suspension_gives_its_reason"),
        ]

    def __str__(self) -> str:
        return _("stand-down suspended from %(day)s") % {"day": day(self.start)}


class Instruction(WorkerRecord):
    """Classroom or maker's course; never counts as hands-on."""

    PROVIDERS = ("maker", "employer", "third_party")

    topic = models.CharField(max_length=200)
    provider = models.CharField(max_length=12, choices=choices_of(PROVIDERS))
    provider_name = models.CharField(max_length=200, blank=True)
    model = models.ForeignKey("equipment.CraneModel", models.PROTECT, null=True, blank=True, related_name="+")
    completed_at = models.DateTimeField()
    minutes = models.PositiveIntegerField(null=True, blank=True)
    after_stand_down = models.ForeignKey(StandDown, models.PROTECT, null=True, blank=True, related_name="retraining")
    document = models.ForeignKey(Document, models.PROTECT, null=True, blank=True, related_name="+")

    guards = (
        *WorkerRecord.guards,
        named_by("employer", "registrar"),
        employer_records_about_its_own("completed_at"),
        erasable("provider_name"),
        shown_to("evidence_instruction", "{about_person} OR {corrects_own}"),
    )

    class Meta(WorkerRecord.Meta):
        abstract = False
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(provider__in=["maker", "employer", "third_party"]), name="instruction_provider_is_known"
            ),
            models.CheckConstraint(
                condition=Q(completed_at__lte=F("recorded_at")), name="instruction_is_not_in_the_future"
            ),
        ]

    def __str__(self) -> str:
        return in_words(self.topic)


class Appointment(WorkerRecord):
    """A dated written act that gives a person a duty: the employer's, or for instructors the maker's."""

    KINDS = ("duty", "founding", "maker_instructor")

    kind = models.CharField(max_length=20, choices=choices_of(KINDS), default="duty")
    duty = models.CharField(max_length=100)
    employer = models.ForeignKey("people.Employer", models.PROTECT, null=True, blank=True, related_name="+")
    maker = models.ForeignKey("equipment.Maker", models.PROTECT, null=True, blank=True, related_name="+")
    model = models.ForeignKey("equipment.CraneModel", models.PROTECT, null=True, blank=True, related_name="+")
    start = models.DateTimeField()
    end = models.DateTimeField(null=True, blank=True)
    stop_work_authority = models.BooleanField(default=False)
    appointed_by = models.CharField(max_length=200, blank=True)
    document = models.ForeignKey(Document, models.PROTECT, null=True, blank=True, related_name="+")

    guards = (
        *WorkerRecord.guards,
        named_by("employer", "registrar"),
        employer_records_about_its_own("start"),
        erasable("appointed_by"),
        shown_to(
            "evidence_appointment",
            "employer_id = (SELECT registry_reader_employer()) OR {about_person} OR {corrects_named}",
        ),
    )

    class Meta(WorkerRecord.Meta):
        abstract = False
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(end__isnull=True) | Q(end__gt=F("start")), name="appointment_end_is_after_start"
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["duty", "founding"], employer__isnull=False)
                | Q(kind="maker_instructor", maker__isnull=False),
                name="appointment_says_who_appoints",
            ),
            models.CheckConstraint(
                condition=Q(kind="duty") | Q(document__isnull=False),
                name="founding_appointment_has_an_outside_document",
            ),
            models.CheckConstraint(
                condition=~Q(kind="founding") | ~Q(appointed_by=""),
                name="founding_appointment_names_the_responsible_person",
            ),
        ]
        indexes = [models.Index(fields=["end"], condition=Q(end__isnull=False), name="appointments_that_end")]

    def __str__(self) -> str:
        return _("%(duty)s from %(day)s") % {"duty": in_words(self.duty), "day": day(self.start)}


class Remark(models.Model):
    """What is said about records rather than by them: append-only, and never itself corrected."""

    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey("people.Account", models.PROTECT, null=True, blank=True, related_name="+")

    guards: tuple[Guard, ...] = (*append_only, logged)

    class Meta:
        abstract = True


class AssessmentSignature(Remark):
    """The assessor's signature as drawn by hand, beside the name in the assessment."""

    assessment = models.OneToOneField(Assessment, models.PROTECT, related_name="drawn_signature")
    image = models.ForeignKey(Document, models.PROTECT, related_name="+")

    guards = (
        *Remark.guards,
        named_by("worker"),
        shown_to(
            "evidence_assessmentsignature",
            "EXISTS (SELECT FROM evidence_assessment assessment WHERE assessment.id = assessment_id)",
        ),
    )

    def __str__(self) -> str:
        return _("signature on: %(assessment)s") % {"assessment": self.assessment}


class CountersignatureRequest(Remark):
    """An employer asks ``of`` to countersign an hours entry, which from then on waits for that person."""

    entry = models.ForeignKey(HoursEntry, models.PROTECT, related_name="countersignature_requests")
    of = models.ForeignKey("people.Worker", models.PROTECT, related_name="countersignatures_asked")

    guards = (
        *Remark.guards,
        named_by("employer", "registrar"),
        read_with_the_entry("evidence_countersignaturerequest", "of_id"),
    )

    class Meta(Remark.Meta):
        abstract = False
        constraints = [
            models.UniqueConstraint(fields=["entry", "of"], name="a_countersignature_is_asked_for_once"),
        ]

    def __str__(self) -> str:
        return _("%(entry)s, asked of %(name)s") % {"entry": self.entry, "name": self.of}


class EntryObjection(Remark):
    """Somebody asked to countersign declines, and says why; the entry stays as it is."""

    entry = models.ForeignKey(HoursEntry, models.PROTECT, related_name="objections")
    by = models.ForeignKey("people.Worker", models.PROTECT, related_name="objections_raised")
    reason = models.TextField()

    guards = (
        *Remark.guards,
        named_by("worker:by_id"),
        erasable("reason"),
        read_with_the_entry("evidence_entryobjection", "by_id"),
    )

    class Meta(Remark.Meta):
        abstract = False
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="objection_gives_its_reason")]
        indexes = [models.Index(fields=["entry", "by"], name="objections_to_an_entry")]

    def __str__(self) -> str:
        return _("%(entry)s, declined by %(name)s") % {"entry": self.entry, "name": self.by}


class ObjectionAnswer(Remark):
    """The employer answers an objection in words and lets the entry stand; it waits for the signer again."""

    objection = models.OneToOneField(EntryObjection, models.PROTECT, related_name="answer")
    reply = models.TextField()

    guards = (
        *Remark.guards,
        named_by("employer"),
        erasable("reply"),
        shown_to(
            "evidence_objectionanswer",
            """EXISTS (
                SELECT FROM evidence_entryobjection objection WHERE objection.id = objection_id
                AND ((SELECT registry_reader_employer()) IS NULL
                     OR registry_shows_remark(objection.entry_id, evidence_objectionanswer.recorded_at)))""",
        ),
    )

    class Meta(Remark.Meta):
        abstract = False
        constraints = [models.CheckConstraint(condition=~Q(reply=""), name="objection_answer_says_something")]

    def __str__(self) -> str:
        return _("answer to: %(objection)s") % {"objection": self.objection}


class DeniedSignature(Remark):
    """Somebody says that a signature in their name is not theirs; the signed record stays as it is.

    ``record_kind`` is ``countersignature`` or ``assessment``, ``record_id`` its identifier.
    """

    RECORD_KINDS = ("countersignature", "assessment")

    by = models.ForeignKey("people.Worker", models.PROTECT, related_name="signatures_denied")
    record_kind = models.CharField(max_length=20, choices=choices_of(RECORD_KINDS))
    record_id = models.BigIntegerField()
    reason = models.TextField()

    guards = (
        *Remark.guards,
        named_by("worker:by_id"),
        erasable("reason"),
        # Whoever sees the signature sees that it is denied.
        shown_to(
            "evidence_deniedsignature",
            """by_id = (SELECT registry_reader_worker())
                OR record_kind = 'countersignature' AND EXISTS (
                    SELECT FROM evidence_countersignature signature
                    WHERE signature.id = evidence_deniedsignature.record_id)
                OR record_kind = 'assessment' AND EXISTS (
                    SELECT FROM evidence_assessment assessment
                    WHERE assessment.id = evidence_deniedsignature.record_id)""",
        ),
    )

    class Meta(Remark.Meta):
        abstract = False
        constraints = [
            models.CheckConstraint(
                condition=Q(record_kind__in=["countersignature", "assessment"]),
                name="a_denied_signature_is_of_a_known_kind",
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="a_denied_signature_gives_its_reason"),
            models.UniqueConstraint(fields=["record_kind", "record_id"], name="a_signature_is_denied_once"),
        ]

    def __str__(self) -> str:
        return _("signature denied by %(name)s on %(day)s") % {"name": self.by, "day": day(self.recorded_at)}


class CorrectionRequest(Remark):
    """Somebody says what is wrong with a record; the employer whose record it is answers.

    What keeps somebody off the crews, and a record that no ``employer`` answers for, the registrar answers for.
    ``record_kind`` is the record's model in lower case, ``record_id`` its identifier.
    """

    RECORD_KINDS = (
        "hoursentry",
        "assessment",
        "certification",
        "certificationstatus",
        "instruction",
        "appointment",
        "standdown",
        "employment",
        "languageskill",
    )

    worker = models.ForeignKey("people.Worker", models.PROTECT, related_name="correction_requests")
    employer = models.ForeignKey(
        "people.Employer", models.PROTECT, null=True, blank=True, related_name="correction_requests"
    )
    record_kind = models.CharField(max_length=20, choices=[(each, each) for each in RECORD_KINDS])
    record_id = models.BigIntegerField()
    what_is_wrong = models.TextField()
    what_it_should_be = models.TextField(blank=True)

    guards = (
        *Remark.guards,
        named_by("worker", "employer", "registrar"),
        worker_is_not_erased,
        erasable("what_is_wrong", "what_it_should_be"),
        shown_to(
            "evidence_correctionrequest",
            """employer_id = (SELECT registry_reader_employer()) OR {about_person}
                OR record_kind = 'assessment' AND EXISTS (
                    SELECT FROM registry_given_assessments given
                    WHERE given.assessment_id = evidence_correctionrequest.record_id)""",
        ),
    )

    class Meta(Remark.Meta):
        abstract = False
        constraints = [
            models.CheckConstraint(condition=~Q(what_is_wrong=""), name="correction_request_says_what_is_wrong"),
            models.CheckConstraint(
                condition=Q(
                    record_kind__in=[
                        "hoursentry",
                        "assessment",
                        "certification",
                        "certificationstatus",
                        "instruction",
                        "appointment",
                        "standdown",
                        "employment",
                        "languageskill",
                    ]
                ),
                name="correction_request_is_about_a_known_kind",
            ),
        ]
        indexes = [models.Index(fields=["employer", "recorded_at"], name="correction_requests_by_firm")]

    def __str__(self) -> str:
        return f"{self.record_kind} {self.record_id}: {self.what_is_wrong[:60]}"


class CorrectionAnswer(Remark):
    """What came of a request: the record was corrected or withdrawn by ``new_record_id``, or the request declined."""

    OUTCOMES = ("corrected", "withdrawn", "declined")

    request = models.OneToOneField(CorrectionRequest, models.PROTECT, related_name="answer")
    outcome = models.CharField(max_length=10, choices=choices_of(OUTCOMES))
    reason = models.TextField(blank=True)
    new_record_id = models.BigIntegerField(null=True, blank=True)

    guards = (
        *Remark.guards,
        named_by("worker", "employer", "registrar"),
        erasable("reason"),
        shown_to(
            "evidence_correctionanswer",
            """EXISTS (
                SELECT FROM evidence_correctionrequest request WHERE request.id = request_id
                AND ((SELECT registry_reader_employer()) IS NULL
                     OR request.employer_id = (SELECT registry_reader_employer())
                     OR EXISTS (SELECT FROM registry_own_people own WHERE own.worker_id = request.worker_id)
                     OR evidence_correctionanswer.recorded_at
                        < ((SELECT registry_left_people()) ->> request.worker_id::text)::timestamptz))""",
        ),
    )

    class Meta(Remark.Meta):
        abstract = False
        constraints = [
            models.CheckConstraint(
                condition=Q(outcome="declined", new_record_id__isnull=True)
                | Q(outcome__in=["corrected", "withdrawn"], new_record_id__isnull=False),
                name="correction_answer_names_the_new_record",
            ),
            models.CheckConstraint(
                condition=~Q(outcome="declined") | ~Q(reason=""), name="declined_correction_gives_its_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{in_words(self.outcome)}: {self.request}"


class EvidenceVersion(models.Model):
    """How often a subject's evidence changed: ``worker:12``, ``model:3``, ``employer:2``, ``standard:key``."""

    subject = models.TextField(primary_key=True)
    version = models.BigIntegerField()

    guards = (only_read,)

    def __str__(self) -> str:
        return f"{self.subject} in version {self.version}"


GUARDS_ON_OTHERS = (
    (
        Employment,
        (
            workers_changed,
            # An assessor has to find the people of the employer that appointed them.
            AlsoShownTo(
                "read_by_assessors",
                """employer_id IN (SELECT assessed.employer_id FROM registry_assessed_employers assessed)
                    OR supersedes_id IS NOT NULL AND EXISTS (
                        SELECT FROM registry_assessed_employments assessed
                        WHERE assessed.employment_id = people_employment.supersedes_id)""",
            ),
        ),
    ),
    (LanguageSkill, (workers_changed, employer_records_about_its_own("recorded_at"))),
)
"""What this package adds to the guards of tables that it did not make."""
