"""What a job's notice says beyond the plan, and the notices that were sent. Every table is append-only."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from registry.database.guards import Trigger, append_only, erasable
from registry.database.records import Record
from registry.ledger.guards import logged
from registry.people.guards import named_by, shown_to, worker_is_not_erased


class JobRecord(Record):
    """A record about one job. It stays with the plans that replace the job."""

    job = models.ForeignKey("crews.Job", models.PROTECT, related_name="%(class)s_records")

    guards = (
        *Record.guards,
        logged,
        named_by("employer"),
        Trigger(
            "stays_with_its_job",
            "BEFORE INSERT",
            "notices_record_stays_with_its_job()",
            when="NEW.supersedes_id IS NOT NULL",
        ),
    )

    class Meta(Record.Meta):
        abstract = True


class JobParty(JobRecord):
    """Somebody who answers for part of the job, and how to reach them."""

    ROLES = ("employer", "owner", "prime_contractor", "crane_owner", "engineer", "other")

    role = models.CharField(max_length=20, choices=[(each, each) for each in ROLES])
    name = models.CharField(max_length=200)
    contact_person = models.CharField(max_length=200, blank=True)
    phone = models.CharField(max_length=50, blank=True)
    email = models.EmailField(blank=True)
    address = models.TextField(blank=True)

    class Meta(JobRecord.Meta):
        abstract = False
        constraints: ClassVar = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(role__in=["employer", "owner", "prime_contractor", "crane_owner", "engineer", "other"]),
                name="party_role_is_known",
            ),
            models.CheckConstraint(condition=~Q(name=""), name="party_has_a_name"),
            models.CheckConstraint(condition=~Q(phone="") | ~Q(email=""), name="party_can_be_reached"),
        ]
        indexes: ClassVar = [models.Index(fields=["job"], name="parties_of_a_job")]

    def __str__(self) -> str:
        return self.name


class NoticeParticulars(JobRecord):
    """What the plan does not say: the site's address, the scope of the work, the crane's configuration.

    A blank field leaves what the site and the plan say. The latest record of a job governs.
    """

    site_address = models.TextField(blank=True)
    scope = models.TextField(blank=True)
    configuration = models.TextField(blank=True)

    class Meta(JobRecord.Meta):
        abstract = False
        constraints: ClassVar = [*Record.Meta.constraints]
        indexes: ClassVar = [models.Index(fields=["job"], name="particulars_of_a_job")]

    def __str__(self) -> str:
        return f"particulars of job {self.job_id}"


class AttachedProcedure(JobRecord):
    """A work procedure made for this site, as a document."""

    title = models.CharField(max_length=200)
    document = models.ForeignKey("evidence.Document", models.PROTECT, related_name="+")

    class Meta(JobRecord.Meta):
        abstract = False
        constraints: ClassVar = [
            *Record.Meta.constraints,
            models.CheckConstraint(condition=~Q(title=""), name="procedure_has_a_title"),
        ]
        indexes: ClassVar = [models.Index(fields=["job"], name="procedures_of_a_job")]

    def __str__(self) -> str:
        return self.title


class SentNotice(JobRecord):
    """A notice as it was sent: the employer's own act, which the register records.

    ``content`` is RFC 8785 canonical JSON (``notice.schema.json``), ``sha256``
    that of its UTF-8 text. ``rule_key`` is blank where no rule was known. Each
    notice supersedes the one before; one that is withdrawn was never sent.
    """

    # Hashed as it was sent.
    verbatim: ClassVar = ("content",)
    WAYS = ("authoritys_form", "email", "post", "courier", "by_hand", "fax")

    rule_key = models.CharField(max_length=100, blank=True)
    rule_version = models.PositiveIntegerField(null=True, blank=True)
    content = models.TextField()
    sha256 = models.CharField(max_length=64)
    sent_at = models.DateTimeField()
    how = models.CharField(max_length=20, choices=[(each, each) for each in WAYS])
    sent_to = models.CharField(max_length=300)

    guards = (*JobRecord.guards, erasable("content"))

    class Meta(JobRecord.Meta):
        abstract = False
        constraints: ClassVar = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(how__in=["authoritys_form", "email", "post", "courier", "by_hand", "fax"]),
                name="way_of_sending_is_known",
            ),
            models.CheckConstraint(condition=~Q(sent_to=""), name="notice_says_to_whom_it_was_sent"),
            models.CheckConstraint(condition=Q(sent_at__lte=F("recorded_at")), name="notice_is_not_sent_in_the_future"),
            models.CheckConstraint(
                condition=Q(rule_key="", rule_version__isnull=True) | (~Q(rule_key="") & Q(rule_version__isnull=False)),
                name="notice_names_the_version_of_its_rule",
            ),
            models.UniqueConstraint(
                fields=["job"], condition=Q(supersedes__isnull=True), name="notice_follows_the_one_before"
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["job"], name="notices_of_a_job")]

    def __str__(self) -> str:
        return f"notice {self.pk} of job {self.job_id}"


class NamedSupervisor(models.Model):
    """Whom a sent notice names as supervisor, so that it is found with that person's records.

    ``content`` repeats the notice's part about that person (canonical JSON).
    """

    # A part of what was sent.
    verbatim: ClassVar = ("content",)

    notice = models.ForeignKey(SentNotice, models.PROTECT, related_name="named")
    worker = models.ForeignKey("people.Worker", models.PROTECT, related_name="notices_named_in")
    content = models.TextField()
    recorded_at = models.DateTimeField()

    guards = (
        *append_only,
        logged,
        worker_is_not_erased,
        erasable("content"),
        shown_to(
            "notices_namedsupervisor",
            """worker_id = (SELECT registry_reader_worker()) OR {on_books} OR EXISTS (
                SELECT FROM notices_sentnotice notice JOIN crews_job job ON job.id = notice.job_id
                WHERE notice.id = notices_namedsupervisor.notice_id
                    AND job.employer_id = (SELECT registry_reader_employer()))""",
        ),
    )

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["notice", "worker"], name="notice_names_a_supervisor_once")
        ]
        indexes: ClassVar = [models.Index(fields=["worker"], name="notices_naming_a_worker")]

    def __str__(self) -> str:
        return f"{self.worker} in {self.notice}"
