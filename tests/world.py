"""A small invented world for tests: an employer, a site, a crane, a grounded crew and one newcomer."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

from django.test import Client

from registry.crews import services as crews
from registry.crews.models import Job, Slot
from registry.equipment import services as equipment
from registry.equipment.models import Crane, CraneModel, Site
from registry.evidence import services as evidence
from registry.evidence.models import Assessment, Document
from registry.people import services as people
from registry.people.models import Account, Employer, Worker
from registry.people.second_factor import enrol_authenticator_app
from registry.web.security import SECOND_FACTOR_OF

STANDARD = "makers-practice-us"
OPERATIONS = ["erection", "climbing", "repositioning", "dismantling"]


def day(number: int, hour: int = 7) -> datetime:
    """Working day ``number`` counted from 1 June 2024, 07:00 in UTC unless said otherwise."""
    return datetime(2024, 6, 1, hour, tzinfo=UTC) + timedelta(days=number)


def sign_in(client: Client, account: Account) -> None:
    """Sign the account in as if by password and second factor, which it has from then on."""
    enrol_authenticator_app(account=account, secret="INVENTEDFORTESTS")
    client.force_login(account)
    session = client.session
    session[SECOND_FACTOR_OF] = account.pk
    session.save()


@dataclass
class World:
    """Everything is recorded as of ``now``; the job lies in the week after it."""

    now: datetime
    employer: Employer = field(init=False)
    site: Site = field(init=False)
    model: CraneModel = field(init=False)
    crane: Crane = field(init=False)
    scan: Document = field(init=False)
    assessor: Worker = field(init=False)

    def __post_init__(self) -> None:
        past = self.now - timedelta(days=900)
        self.employer = people.register_employer(
            name="Halvorsby Tower Works", jurisdiction="US", responsible_person="Ines Okoro", recorded_at=past
        )
        self.site = equipment.register_site(
            name="Quillon Wharf",
            time_zone="America/Vancouver",
            jurisdiction="US",
            working_language="en",
            recorded_at=past,
        )
        maker = equipment.register_maker(name="Brandvold", recorded_at=past)
        self.model = equipment.register_model(
            maker=maker, designation="BT-180", crane_class="hammerhead", recorded_at=past
        )
        self.crane = equipment.register_crane(model=self.model, serial_number="180-7", recorded_at=past)
        equipment.place_crane(crane=self.crane, site=self.site, start=past, recorded_at=past, recorded_by=None)
        self.scan = evidence.attach_document(
            name="letter.pdf",
            media_type="application/pdf",
            content=b"%PDF-1.7 letter",
            recorded_at=past,
            recorded_by=None,
        )
        self.assessor = self.worker("Petra", "Lindqvist")
        self.make_assessor(self.assessor)

    def worker(self, given: str, family: str) -> Worker:
        """Somebody the employer employs, who speaks English."""
        past = self.now - timedelta(days=890)
        worker = people.register_worker(
            given_name=given, family_name=family, date_of_birth=date(1985, 5, 5), recorded_at=past, recorded_by=None
        )
        self.employed(worker)
        return worker

    def employed(self, worker: Worker) -> None:
        """On the employer's books, and able to work in English."""
        past = self.now - timedelta(days=890)
        people.employ(worker=worker, employer=self.employer, start=past.date(), recorded_at=past, recorded_by=None)
        people.record_language(worker=worker, language="en", recorded_at=past, recorded_by=None)

    def make_assessor(self, worker: Worker) -> None:
        """The founding act that lets a new register begin."""
        past = self.now - timedelta(days=880)
        for topic in ("assessing_and_documenting", "subpart_cc_training", "crew_tasks_and_hazards"):
            self.instruct(worker, topic, past)
        evidence.appoint(
            worker=worker,
            duty="assessor",
            kind="founding",
            employer=self.employer,
            start=past,
            appointed_by="Ines Okoro",
            document=self.scan,
            recorded_at=past,
            recorded_by=None,
        )

    def instruct(self, worker: Worker, topic: str, at: datetime, *, model: bool = False) -> None:
        """Completed instruction; on the model it is the maker's."""
        evidence.record_instruction(
            worker=worker,
            topic=topic,
            provider="maker" if model else "employer",
            completed_at=at,
            model=self.model if model else None,
            recorded_at=at,
            recorded_by=None,
        )

    def make_erector(self, worker: Worker, *, days: int = 30) -> None:
        """Everything the maker's practice asks of an erector: instruction, certificate, hours, assessment."""
        past = self.now - timedelta(days=300)
        for topic in ("crew_tasks_and_hazards", "subpart_cc_training"):
            self.instruct(worker, topic, past)
        self.instruct(worker, "model_instruction", past, model=True)
        evidence.record_certification(
            worker=worker,
            scheme="tower crane erection",
            number=f"E-{worker.pk}",
            issuer="Norrland Board",
            issued=past.date(),
            expires=(self.now + timedelta(days=700)).date(),
            classes=["hammerhead"],
            recorded_at=past,
            recorded_by=None,
        )
        self.hours(worker, days=days)
        self.assess(worker, "erector")

    def hours(self, worker: Worker, *, days: int, operation: str = "dismantling") -> None:
        """Eight countersigned hours on each of the last ``days`` days but ten, a week of them on a sheet."""
        rows = []
        for number in range(days):
            start = (self.now - timedelta(days=10 + days - number)).replace(hour=15, minute=0)
            end = start + timedelta(hours=8)
            rows.append(
                evidence.NewHours(
                    worker=worker,
                    model=self.model,
                    operation=operation,
                    start=start,
                    end=end,
                    employer=self.employer,
                    site=self.site,
                    crane=self.crane,
                    countersigner=self.assessor,
                    countersigned_at=end + timedelta(hours=1),
                )
            )
        # Recorded and signed within the week after which the standards count hours in part only.
        for sheet in (rows[place : place + 7] for place in range(0, len(rows), 7)):
            at = sheet[-1].end + timedelta(hours=10)
            evidence.record_hours_in_bulk(rows=sheet, recorded_at=at, recorded_by=None)

    def assess(self, worker: Worker, role: str, *, outcome: str = "pass", at: datetime | None = None) -> Assessment:
        """The employer's own practical assessment by the founding assessor."""
        at = at or self.now - timedelta(days=5)
        return evidence.record_assessment(
            worker=worker,
            role=role,
            model=self.model,
            operations=OPERATIONS,
            assessed_at=at,
            outcome=outcome,
            assessor=self.assessor,
            employer=self.employer,
            recorded_at=at,
            # A pass after a setback is recorded with the assessor's own account.
            recorded_by=self.assessor.accounts.filter(is_active=True).first(),
        )

    def make_trainee(self, worker: Worker) -> None:
        """Everything the maker's practice asks of a trainee but the erector beside them."""
        for topic in ("crew_tasks_and_hazards", "subpart_cc_training"):
            self.instruct(worker, topic, self.now)
        evidence.appoint(
            worker=worker,
            duty="trainee",
            employer=self.employer,
            start=self.now - timedelta(days=1),
            recorded_at=self.now,
            recorded_by=None,
        )

    def job(self, roles: list[str], *, starts_in: int = 3, days: int = 4, standard_key: str = STANDARD) -> Job:
        """A dismantling at the site."""
        start = (self.now + timedelta(days=starts_in)).replace(hour=15, minute=0, second=0, microsecond=0)
        # The same work is planned once: another such job starts some minutes later.
        start += timedelta(minutes=Job.objects.filter(crane=self.crane).count())
        return crews.plan_job(
            employer=self.employer,
            site=self.site,
            crane=self.crane,
            operation="dismantling",
            standard_key=standard_key,
            start=start,
            end=start + timedelta(days=days),
            roles=roles,
            recorded_at=self.now,
            recorded_by=None,
        )

    def assign(self, slot: Slot, worker: Worker, **more: object) -> crews.Outcome:
        """Put somebody into a slot for the whole job."""
        return crews.assign(
            slot_id=slot.pk,
            worker_id=worker.pk,
            start=slot.job.start,
            end=slot.job.end,
            assigned_at=self.now,
            assigned_by=None,
            **more,  # type: ignore[arg-type]
        )

    def assessors_account(self) -> Account:
        """The founding assessor's own account, with the second factor without which nobody signs."""
        account = people.open_account(username="petra", password=None, kind="worker", worker=self.assessor)
        enrol_authenticator_app(account=account, secret="INVENTEDFORTESTS")
        return account

    def registrar(self) -> Account:
        """Whoever keeps the register; asked again, the same account."""
        known = Account.objects.filter(username="registrar").first()
        return known or people.open_account(username="registrar", password=None, kind="registrar")

    def dispatcher(self) -> Account:
        """An account that assigns for the employer."""
        return people.open_account(
            username="dispatcher", password="a-long-demo-word", kind="employer", employer=self.employer
        )
