"""Employers, workers, employment periods, language skills and accounts."""

from __future__ import annotations

from datetime import timedelta

from django.contrib.auth.models import AbstractUser
from django.contrib.postgres.indexes import GinIndex
from django.db import models
from django.db.models import F, Func, Q
from django.utils.translation import gettext as _

from registry.database.guards import Granted, Trigger, append_only, correction_keeps, entered_now, erasable
from registry.database.records import Record, in_years_people_enter
from registry.language.amounts import day
from registry.language.words import choices_of, in_words
from registry.ledger.guards import logged
from registry.people.fields import LookalikeKeys
from registry.people.guards import named_by, shown_to, worker_is_not_erased
from registry.people.likeness import DATES, NAMES, Likeness


class Employer(models.Model):
    """The organisation that assigns crews and owes the duty."""

    name = models.CharField(max_length=200, unique=True)
    jurisdiction = models.CharField(max_length=20)
    responsible_person = models.CharField(max_length=200, blank=True)
    address = models.TextField(blank=True)
    recorded_at = models.DateTimeField()

    guards = (*append_only, logged)

    def __str__(self) -> str:
        return self.name


class Worker(models.Model):
    """A person with records.

    ``number`` (``W-000123``) is made by the database; ``name_key`` finds people
    whose names may be the same (:func:`registry.people.names.name_key`),
    ``lookalike_keys`` those who may be the same person (:mod:`registry.people.lookalikes`).
    """

    number = models.CharField(max_length=20, unique=True, editable=False)
    given_name = models.CharField(max_length=100)
    family_name = models.CharField(max_length=100)
    name_key = models.CharField(max_length=250, editable=False, db_index=True)
    date_of_birth = models.DateField(null=True, blank=True)
    lookalike_keys = LookalikeKeys()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey("people.Account", models.PROTECT, null=True, blank=True, related_name="+")

    guards = (
        *append_only,
        logged,
        named_by("employer", "registrar"),
        erasable("given_name", "family_name", "name_key", "date_of_birth", "lookalike_keys"),
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=in_years_people_enter("date_of_birth"), name="date_of_birth_is_in_a_year_people_enter"
            ),
            # An erased worker is found by nothing.
            models.CheckConstraint(
                condition=Q(lookalike_keys__len__gt=0) | Q(name_key=""), name="a_worker_is_found_by_how_the_name_looks"
            ),
        ]
        indexes = [
            GinIndex(fields=["lookalike_keys"], name="workers_by_lookalike_key"),
            models.Index(fields=["family_name", "given_name"], name="worker_by_name"),
            models.Index(Func(F("family_name"), function="lower"), name="worker_by_lower_name"),
        ]

    def __str__(self) -> str:
        return f"{self.given_name} {self.family_name}"


class PossibleTwin(models.Model):
    """Somebody who was registered although another person looks the same, for the registrar to look into.

    ``names`` and ``dates`` say in what they are alike (:mod:`registry.people.likeness`).
    ``told_apart``: whoever registered ``worker`` was shown ``other`` and said that they are two people.
    """

    worker = models.ForeignKey(Worker, models.PROTECT, related_name="looks_like")
    other = models.ForeignKey(Worker, models.PROTECT, related_name="looked_like_by")
    names = models.CharField(max_length=12, choices=choices_of(NAMES))
    dates = models.CharField(max_length=12, choices=choices_of(DATES))
    told_apart = models.BooleanField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey("people.Account", models.PROTECT, null=True, blank=True, related_name="+")

    guards = (
        *append_only,
        logged,
        named_by("employer", "registrar"),
        worker_is_not_erased,
        # That somebody is registered is told to nobody else, least of all to whoever registered the other.
        shown_to("people_possibletwin", "false"),
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["worker", "other"], name="two_possible_twins_are_noted_once"),
            models.CheckConstraint(condition=~Q(worker=F("other")), name="nobody_is_their_own_twin"),
        ]
        indexes = [models.Index(fields=["-recorded_at", "-id"], name="latest_possible_twins")]

    def __str__(self) -> str:
        return f"{self.worker.number} / {self.other.number}"

    @property
    def likeness(self) -> Likeness:
        """In what they are alike."""
        return Likeness(self.names, self.dates)


class SettledTwin(models.Model):
    """The registrar looked into a possible twin: ``found`` says what came of it, ``reason`` what showed it. Once."""

    FOUND = ("two_people", "one_person")

    twin = models.OneToOneField(PossibleTwin, models.PROTECT, related_name="settled")
    found = models.CharField(max_length=12, choices=choices_of(FOUND))
    reason = models.TextField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey("people.Account", models.PROTECT, related_name="+")

    guards = (
        *append_only,
        logged,
        named_by("registrar"),
        erasable("reason"),
        # As the possible twin itself: told to nobody else.
        shown_to("people_settledtwin", "false"),
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(found__in=["two_people", "one_person"]), name="a_settled_twin_is_two_people_or_one"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="settling_a_twin_gives_its_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.twin}: {in_words(self.found)}"


class Account(AbstractUser):
    """Somebody who signs in: for an employer, as an inspector, or as a worker."""

    KINDS = ("employer", "inspector", "worker", "registrar")

    kind = models.CharField(max_length=10, choices=choices_of(KINDS), default="registrar")
    employer = models.ForeignKey(Employer, models.PROTECT, null=True, blank=True, related_name="accounts")
    # More than one where the earlier ones are closed.
    worker = models.ForeignKey(Worker, models.PROTECT, null=True, blank=True, related_name="accounts")
    # In which the account is written to; blank: nobody has chosen yet.
    language = models.CharField(max_length=10, blank=True)

    # Accounts are no records: people change their passwords and employers their staff.
    guards = (Granted(("SELECT", "INSERT", "UPDATE")), worker_is_not_erased)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="employer", employer__isnull=False, worker__isnull=True)
                | Q(kind="worker", worker__isnull=False, employer__isnull=True)
                | Q(kind__in=["inspector", "registrar"], employer__isnull=True, worker__isnull=True),
                name="account_kind_fits_what_it_is_for",
            ),
            models.UniqueConstraint(
                fields=["worker"], condition=Q(is_active=True), name="a_worker_has_one_open_account"
            ),
        ]


class ClosedAccount(models.Model):
    """Who closed an account, when and why; recording it is what closes the account, for good.

    ``recorded_by`` is ``None`` where somebody at the machine closed it before there was a registrar.
    """

    account = models.OneToOneField(Account, models.PROTECT, related_name="closing")
    reason = models.TextField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Account, models.PROTECT, null=True, blank=True, related_name="+")

    guards = (
        *append_only,
        logged,
        erasable("reason"),
        # A worker's account is the worker's own affair, a dispatcher's the employer's.
        shown_to(
            "people_closedaccount",
            """EXISTS (
                SELECT FROM people_account closed WHERE closed.id = people_closedaccount.account_id
                AND (closed.employer_id = (SELECT registry_reader_employer())
                     OR closed.worker_id = (SELECT registry_reader_worker())))""",
        ),
    )

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="closing_an_account_gives_its_reason")]

    def __str__(self) -> str:
        return _("closing of %(name)s") % {"name": self.account}


class EmploymentRequest(models.Model):
    """An employer asks somebody whom it says to be registered to be on its books from ``start``.

    ``worker`` is who fitted what was typed, ``None`` where nobody did; the employer never reads which.
    """

    employer = models.ForeignKey(Employer, models.PROTECT, related_name="employment_requests")
    worker = models.ForeignKey(Worker, models.PROTECT, null=True, blank=True, related_name="employment_requests")
    number = models.CharField(max_length=20)
    start = models.DateField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Account, models.PROTECT, related_name="+")

    guards = (
        *append_only,
        logged,
        worker_is_not_erased,
        erasable("number"),
        Trigger("employer_asks_for_itself", "BEFORE INSERT", "people_employer_asks_for_itself()"),
        # Whether anybody fitted what an employer typed is the person's and the registrar's to know.
        shown_to("people_employmentrequest", "worker_id = (SELECT registry_reader_worker())"),
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=in_years_people_enter("start"), name="employment_request_is_for_a_year_people_enter"
            ),
        ]

    def __str__(self) -> str:
        return _("request of %(employer)s about %(number)s") % {"employer": self.employer, "number": self.number}


class EmploymentDecline(models.Model):
    """The person does not want to be on the books of the employer that asked; the employer is not told."""

    request = models.OneToOneField(EmploymentRequest, models.PROTECT, related_name="decline")
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Account, models.PROTECT, related_name="+")

    guards = (
        *append_only,
        logged,
        Trigger("declined_by_the_person", "BEFORE INSERT", "people_request_is_declined_by_the_person()"),
        shown_to(
            "people_employmentdecline",
            """EXISTS (SELECT FROM people_employmentrequest request
                WHERE request.id = people_employmentdecline.request_id)""",
        ),
    )

    def __str__(self) -> str:
        return _("declined: %(request)s") % {"request": self.request}


class EmploymentCode(models.Model):
    """A code that somebody hands to an employer to be put on its books, once; only its SHA-256 is kept.

    ``employer`` is the only one that can use it (``None``: any), ``start`` the earliest day it is good for.
    """

    worker = models.ForeignKey(Worker, models.PROTECT, related_name="employment_codes")
    employer = models.ForeignKey(Employer, models.PROTECT, null=True, blank=True, related_name="+")
    start = models.DateField()
    code_hash = models.CharField(max_length=64, unique=True, editable=False)
    expires_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Account, models.PROTECT, related_name="+")

    guards = (
        *append_only,
        logged,
        worker_is_not_erased,
        Trigger("made_by_its_worker", "BEFORE INSERT", "people_code_is_made_by_its_worker()"),
        shown_to("people_employmentcode", "worker_id = (SELECT registry_reader_worker())"),
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(expires_at__gt=F("recorded_at")) & Q(expires_at__lte=F("recorded_at") + timedelta(days=7)),
                name="employment_code_lasts_at_most_7_days",
            ),
            models.CheckConstraint(
                condition=Q(code_hash__regex=r"^[0-9a-f]{64}$"), name="employment_code_keeps_only_its_sha256"
            ),
        ]

    def __str__(self) -> str:
        return _("code of %(day)s") % {"day": day(self.recorded_at)}


class EmploymentConsent(models.Model):
    """Somebody who is registered agrees to be on an employer's books from ``start``, once.

    By accepting its request with their own account, by the code they handed over
    (``code_typed`` proves that the employer had it), or by what the registrar was shown (``reason``).
    """

    HOWS = ("own_account", "code", "registrar")

    worker = models.ForeignKey(Worker, models.PROTECT, related_name="employment_consents")
    employer = models.ForeignKey(Employer, models.PROTECT, related_name="employment_consents")
    how = models.CharField(max_length=12, choices=choices_of(HOWS))
    start = models.DateField()
    request = models.OneToOneField(EmploymentRequest, models.PROTECT, null=True, blank=True, related_name="consent")
    code = models.OneToOneField(EmploymentCode, models.PROTECT, null=True, blank=True, related_name="consent")
    code_typed = models.CharField(max_length=40, blank=True)
    reason = models.TextField(blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Account, models.PROTECT, related_name="+")

    guards = (
        *append_only,
        logged,
        worker_is_not_erased,
        erasable("code_typed", "reason"),
        Trigger("consent_is_the_persons_own", "BEFORE INSERT", "people_consent_is_the_persons_own()"),
        shown_to(
            "people_employmentconsent",
            "worker_id = (SELECT registry_reader_worker()) OR employer_id = (SELECT registry_reader_employer())",
        ),
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(how="own_account", request__isnull=False, code__isnull=True)
                | Q(how="code", request__isnull=True, code__isnull=False)
                | (Q(how="registrar", request__isnull=True, code__isnull=True) & ~Q(reason="")),
                name="consent_says_how_it_was_given",
            ),
        ]

    def __str__(self) -> str:
        return _("consent to %(employer)s") % {"employer": self.employer}


class Employment(Record):
    """A worker is on an employer's books from ``start`` through ``end`` (``None``: open).

    Somebody whom the register knows through others is there with their ``consent`` only.
    """

    worker = models.ForeignKey(Worker, models.PROTECT, related_name="employments")
    employer = models.ForeignKey(Employer, models.PROTECT, related_name="employments")
    start = models.DateField()
    end = models.DateField(null=True, blank=True)
    consent = models.ForeignKey(
        EmploymentConsent, models.PROTECT, null=True, blank=True, related_name="employments", editable=False
    )

    guards = (
        *Record.guards,
        correction_keeps("worker_id"),
        logged,
        named_by("employer:employer_id", "worker:worker_id", "registrar"),
        worker_is_not_erased,
        Trigger("taken_on_with_consent", "BEFORE INSERT", "people_taken_on_with_consent()"),
        # An employer reads all employments of its own people at itself, and what became of them, also what was recorded
        # once they had left.
        shown_to(
            "people_employment",
            """{about_person} OR {corrects_own}
                OR {was_on_books} AND (
                    employer_id = (SELECT registry_reader_employer())
                    OR supersedes_id IS NOT NULL AND EXISTS (
                        SELECT FROM registry_own_employments own
                        WHERE own.employment_id = people_employment.supersedes_id))""",
        ),
    )

    class Meta(Record.Meta):
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(end__isnull=True) | Q(end__gte=F("start")),
                name="employment_does_not_end_before_it_starts",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn=True) | in_years_people_enter("start"),
                name="employment_starts_in_a_year_people_enter",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn=True) | in_years_people_enter("end"),
                name="employment_ends_in_a_year_people_enter",
            ),
        ]
        indexes = [
            models.Index(fields=["employer", "worker"], name="employment_by_employer"),
            models.Index(fields=["end"], condition=Q(end__isnull=False), name="employments_that_end"),
        ]

    def __str__(self) -> str:
        return _("%(name)s at %(employer)s") % {"name": self.worker, "employer": self.employer}


class LanguageSkill(Record):
    """The worker can work in ``language`` (BCP 47 tag)."""

    worker = models.ForeignKey(Worker, models.PROTECT, related_name="languages")
    language = models.CharField(max_length=35)

    guards = (
        *Record.guards,
        correction_keeps("worker_id"),
        logged,
        named_by("employer", "registrar"),
        worker_is_not_erased,
        shown_to("people_languageskill", "{about_person} OR {corrects_own}"),
    )

    class Meta(Record.Meta):
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(language__regex=r"^[a-z]{2,3}(-[A-Za-z0-9]{1,8})*$"),
                name="language_is_a_bcp_47_tag",
            ),
        ]

    def __str__(self) -> str:
        return self.language


class AccountEvent(models.Model):
    """What happened to an account that its holder must hear of.

    ``recorded_by`` is the account that did it, the holder's own in most cases, and
    ``None`` where it was done at the command line or before anybody was signed in.
    """

    KINDS = ("opened", "second_factor_added", "second_factor_removed", "password_changed", "address_changed")

    account = models.ForeignKey(Account, models.PROTECT, related_name="events")
    what = models.CharField(max_length=30, choices=choices_of(KINDS))
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Account, models.PROTECT, null=True, blank=True, related_name="+")

    guards = (
        *append_only,
        logged,
        shown_to(
            "people_accountevent",
            """account_id = (SELECT registry_reader_account()) OR EXISTS (
                SELECT FROM people_account account WHERE account.id = people_accountevent.account_id
                AND account.worker_id = (SELECT registry_reader_worker()))""",
        ),
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    what__in=[
                        "opened",
                        "second_factor_added",
                        "second_factor_removed",
                        "password_changed",
                        "address_changed",
                    ]
                ),
                name="account_event_is_of_a_known_kind",
            )
        ]
        indexes = [models.Index(fields=["account", "recorded_at"], name="events_of_an_account")]

    def __str__(self) -> str:
        return f"{in_words(self.what)}: {self.account}"


class IdentityCheck(models.Model):
    """A registrar or inspector saw the person behind an account.

    ``looked_at`` says what was looked at, such as "driving licence, photo compared";
    no copy and no number of it is kept.
    """

    account = models.ForeignKey(Account, models.PROTECT, related_name="identity_checks")
    looked_at = models.CharField(max_length=200)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Account, models.PROTECT, related_name="+")

    guards = (
        *append_only,
        logged,
        erasable("looked_at"),
        # Whether somebody outside saw the person is told with the account: to its holder and its employer.
        shown_to(
            "people_identitycheck",
            """EXISTS (
                SELECT FROM people_account account WHERE account.id = people_identitycheck.account_id
                AND (account.id = (SELECT registry_reader_account())
                     OR account.employer_id = (SELECT registry_reader_employer())
                     OR account.worker_id = (SELECT registry_reader_worker())))""",
        ),
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(looked_at=""), name="an_identity_check_says_what_was_looked_at")
        ]

    def __str__(self) -> str:
        return _("identity of %(name)s, checked on %(day)s") % {"name": self.account, "day": day(self.recorded_at)}


class Invitation(models.Model):
    """A link that opens one account, once; only the SHA-256 of its token is kept.

    ``way`` is how the link reaches the person: by mail to ``address``, as a code on
    ``paper`` that the registrar or an inspector hands over, or ``printed`` at the
    machine, where ``invited_by`` is ``None`` before there is a registrar.
    """

    WAYS = ("mail", "paper", "printed")

    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    kind = models.CharField(max_length=10, choices=choices_of(Account.KINDS))
    employer = models.ForeignKey(Employer, models.PROTECT, null=True, blank=True, related_name="+")
    worker = models.ForeignKey(Worker, models.PROTECT, null=True, blank=True, related_name="+")
    invited_by = models.ForeignKey(Account, models.PROTECT, null=True, blank=True, related_name="+")
    way = models.CharField(max_length=10, choices=choices_of(WAYS))
    address = models.EmailField(blank=True)
    invited_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    account = models.OneToOneField(Account, models.PROTECT, null=True, blank=True, related_name="+")

    guards = (Granted(("SELECT", "INSERT", "UPDATE")), entered_now("invited_at"), worker_is_not_erased)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="employer", employer__isnull=False, worker__isnull=True)
                | Q(kind="worker", worker__isnull=False, employer__isnull=True)
                | Q(kind__in=["inspector", "registrar"], employer__isnull=True, worker__isnull=True),
                name="invitation_kind_fits_what_it_is_for",
            ),
            models.CheckConstraint(
                condition=Q(way="mail", invited_by__isnull=False) & ~Q(address="")
                | Q(way="paper", invited_by__isnull=False, address="")
                | Q(way="printed", address=""),
                name="an_invitation_says_which_way_it_goes",
            ),
            models.CheckConstraint(
                condition=Q(expires_at__gt=F("invited_at")) & Q(expires_at__lte=F("invited_at") + timedelta(days=30)),
                name="invitation_lasts_at_most_30_days",
            ),
            models.CheckConstraint(
                condition=Q(accepted_at__isnull=True, account__isnull=True)
                | Q(accepted_at__gte=F("invited_at"), account__isnull=False),
                name="an_accepted_invitation_names_its_account",
            ),
            models.CheckConstraint(
                condition=Q(token_hash__regex=r"^[0-9a-f]{64}$"),  # noqa: S106
                name="invitation_keeps_only_the_tokens_sha256",
            ),
        ]

    def __str__(self) -> str:
        return _("%(kind)s invitation of %(day)s") % {"kind": in_words(self.kind), "day": day(self.invited_at)}
