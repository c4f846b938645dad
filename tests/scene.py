"""The demonstration with something on every page: for tests and benchmarks that go through all of them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from registry.crews import services as crews
from registry.crews.models import Job, Slot
from registry.demo import scenario
from registry.equipment import services as equipment
from registry.evidence import corrections, countersigning
from registry.evidence import services as evidence
from registry.evidence.models import Countersignature, HoursEntry, StandDown
from registry.inspection import services as inspection
from registry.people import services as people
from registry.people.closing import close_account
from registry.people.invitations import accept, hash_of, invite
from registry.people.models import Account, Employer, Employment, PossibleTwin, Worker
from registry.people.second_factor import enrol_authenticator_app
from registry.transcripts import sharing

TABLE = "Who,Crane model,Site,Date,Start,End,Operation\n,Ulvarra UV 210,,,,,climbing\n"


@dataclass
class Scene:
    """Everything of the demonstration, loaded at ``now``, and what its people did since."""

    now: datetime
    grown: int = 0

    def __post_init__(self) -> None:
        scenario.load(now=self.now)
        self.job = Job.objects.get(site__name__startswith="Marrow Quay", employer=self.employer)
        # Signs what others worked; in the demonstration he has no account.
        signer = self.job.assignment_states.get(worker__family_name="Lindqvar").worker
        people.open_account(username="signer", password=None, kind="worker", worker=signer)
        people.open_account(username="registrar", password=None, kind="registrar")
        assessor = Worker.objects.get(family_name="Brandvoll")
        people.open_account(username="assessor", password=None, kind="worker", worker=assessor)
        self.colleague = self._colleague("colleague")
        for days_ago in (3, 2):
            self.entry = self._hours(days_ago)
        self._sign(self._hours(4))
        self.unchecked = self._invited("Castellund", 0)
        (self.objection,) = countersigning.decline_entries(
            entry_ids=[self.entry.pk],
            signer=signer,
            reason="He came at nine.",
            at=self.now,
            recorded_by=self.account("signer"),
        )
        self.request = corrections.request_correction(
            record=self.entry,
            what_is_wrong="It was the other crane.",
            what_it_should_be="",
            recorded_at=self.now,
            recorded_by=self.account(scenario.WORKER.username),
        )
        self.table = evidence.attach_document(
            name="hours.csv",
            media_type="text/csv",
            content=TABLE.encode(),
            recorded_at=self.now,
            recorded_by=self.account(scenario.DISPATCHER.username),
        )
        self.file = inspection.open_file(
            job=self.job,
            reference="PT/2026/31",
            purpose="routine",
            opened_at=self.now,
            opened_by=self.account(scenario.INSPECTOR.username),
        )

        namesake = people.register_worker(
            given_name=self.worker.given_name,
            family_name="Penavale",
            date_of_birth=self.worker.date_of_birth,
            recorded_at=self.now,
            recorded_by=self.account("registrar"),
        )
        self.twin = PossibleTwin.objects.get(worker=namesake)
        self.shared = sharing.share(
            worker=self.worker,
            days=7,
            note="for the yard at Sable Reach",
            at=self.now,
            shared_by=self.account(scenario.WORKER.username),
        )

    @property
    def employer(self) -> Employer:
        """The demonstration's employer."""
        return Employer.objects.get(name=scenario.EMPLOYER)

    @property
    def worker(self) -> Worker:
        """The newcomer, who has an account."""
        return Worker.objects.get(family_name="Pennavale")

    @property
    def open_place(self) -> Slot:
        """The erector's place that nobody fills."""
        return self.job.slots.get(role="erector", position=2)

    def account(self, username: str) -> Account:
        """The account of one of the scene's people."""
        return Account.objects.get(username=username)

    def _colleague(self, username: str) -> Account:
        """Another dispatcher, after one whose account was closed."""
        opened = [
            people.open_account(username=each, password=None, kind="employer", employer=self.employer)
            for each in (f"before-{username}", username)
        ]
        close_account(
            account=opened[0],
            closed_at=self.now,
            closed_by=self.account(scenario.DISPATCHER.username),
            reason="Has left the firm.",
        )
        return opened[1]

    def _sign(self, entry: HoursEntry) -> None:
        """The signer signs, with a second factor as everybody who signs."""
        account = self.account("signer")
        assert account.worker is not None
        enrol_authenticator_app(account=account, secret="INVENTEDFORTESTS")
        countersigning.sign_entries(entry_ids=[entry.pk], signer=account.worker, at=self.now, recorded_by=account)

    def _invited(self, family_name: str, number: int) -> Account:
        """Somebody who opened their account through the firm's mail."""
        made = invite(
            kind="worker",
            worker=Worker.objects.get(family_name=family_name),
            address=f"invited-{number}@post.example",
            invited_by=self.account(scenario.DISPATCHER.username),
            invited_at=self.now,
        )
        return accept(
            token_hash=hash_of(made.token), username=f"invited-{number}", password="braced twice", accepted_at=self.now
        )

    def _hours(self, days_ago: int) -> HoursEntry:
        day = self.now - timedelta(days=days_ago)
        start = day.replace(hour=16, minute=0, second=0, microsecond=0)
        model = self.job.crane.model
        (entry,) = countersigning.record_shift(
            rows=[
                evidence.NewHours(
                    worker=self.worker,
                    model=model,
                    operation="climbing",
                    capacity="trainee",
                    start=start,
                    end=start + timedelta(hours=4),
                    employer=self.employer,
                    site=self.job.site,
                    crane=self.job.crane,
                )
            ],
            signer=Account.objects.get(username="signer").worker,
            recorded_at=self.now,
            recorded_by=self.account(scenario.DISPATCHER.username),
        )
        return entry

    def numbers(self) -> dict[str, object]:
        """What the addresses of pages name."""
        director = self.job.assignment_states.get(slot__role="erection_supervisor")
        noticed = Job.objects.get(site__name__startswith="Lantern Slip")
        refused = self.open_place.refusals.get(decision__worker=self.worker)
        return {
            "assignment": director.assignment_id,
            "colleague": self.colleague.pk,
            "crane": self.job.crane_id,
            "decision": refused.decision_id,
            "entry": self.entry.pk,
            "file": self.file.pk,
            "job": self.job.pk,
            "leader": director.worker_id,
            "bar": StandDown.objects.earliest("id").pk,
            "led": director.slot_id,
            "twin": self.twin.pk,
            "employment": Employment.objects.current().filter(worker=self.worker).latest("start").pk,
            "maker": self.job.crane.model.maker_id,
            "placement": self.job.crane.placements.get().pk,
            "objection": self.objection.pk,
            "unchecked": self.unchecked.pk,
            "signature": Countersignature.objects.filter(recorded_by__username="signer").earliest("pk").pk,
            "request": self.request.pk,
            "place": self.open_place.pk,
            "noticed": noticed.pk,
            "party": noticed.jobparty_records.latest("pk").pk,
            "procedure": noticed.attachedprocedure_records.latest("pk").pk,
            "token": self.shared.token,
            "model": self.job.crane.model_id,
            "standard": self.job.standard_key,
            "day": f"{self.job.start:%Y-%m-%d}",
            "week": f"{self.job.start:%G-W%V}",
            "table": self.table.pk,
            "worker": self.worker.pk,
        }

    def grow(self, people_more: int) -> None:
        """More of everything that pages list: people, jobs, records, looks, refusals."""
        first = self.grown
        self.grown += people_more
        for number in range(first, self.grown):
            past = self.now - timedelta(days=200)
            newcomer = people.register_worker(
                given_name="Wim", family_name=f"Orsk {number}", date_of_birth=None, recorded_at=past, recorded_by=None
            )
            people.employ(
                worker=newcomer, employer=self.employer, start=past.date(), recorded_at=past, recorded_by=None
            )
            evidence.record_certification(
                worker=self.worker if number % 2 else newcomer,
                scheme="first aid",
                number=f"FA-{number}",
                issuer="Orrin Bureau of Trade Certificates",
                issued=past.date(),
                expires=(self.now + timedelta(days=10 + number)).date(),
                recorded_at=past,
                recorded_by=None,
            )
            self._hours(5 + 2 * number)
            self._sign(self._hours(6 + 2 * number))
            self._invited(newcomer.family_name, 1 + number)
            self._colleague(f"colleague-{number}")
            dispatcher = self.account(scenario.DISPATCHER.username)
            invite(
                kind="employer",
                employer=self.employer,
                address=f"planner-{number}@post.example",
                invited_by=dispatcher,
                invited_at=self.now,
            )
            self._equip(number)
            plan = crews.plan_job(
                employer=self.employer,
                site=self.job.site,
                crane=self.job.crane,
                operation="climbing",
                standard_key=scenario.STANDARD,
                start=self.job.start + timedelta(days=7 + number),
                end=self.job.end + timedelta(days=7 + number),
                roles=["erector", "signal_person"],
                recorded_at=self.now,
                recorded_by=None,
            )
            self._try(plan.slots.get(role="signal_person"), Worker.objects.get(family_name="Whitcomb-Sael"))
            self._try(self.open_place, newcomer)
            sharing.share(
                worker=self.worker,
                days=1 + number,
                note="",
                at=self.now,
                shared_by=self.account(scenario.WORKER.username),
            )
            inspection.open_file(
                job=self.job,
                reference=f"PT/2026/{40 + number}",
                purpose="routine",
                opened_at=self.now,
                opened_by=self.account(scenario.INSPECTOR.username),
            )

    def _equip(self, number: int) -> None:
        maker = equipment.register_maker(name=f"Osterly {number}", recorded_at=self.now)
        model = equipment.register_model(
            maker=maker, designation=f"OC {number}", crane_class=scenario.CRANE_CLASS, recorded_at=self.now
        )
        site = equipment.register_site(
            name=f"Pier {number}", time_zone=scenario.ZONE.key, jurisdiction="US", recorded_at=self.now
        )
        crane = equipment.register_crane(model=model, serial_number=f"{number}", recorded_at=self.now)
        equipment.place_crane(crane=crane, site=site, start=self.now, recorded_at=self.now, recorded_by=None)

    def _try(self, slot: Slot, worker: Worker) -> None:
        crews.assign(
            slot_id=slot.pk,
            worker_id=worker.pk,
            start=slot.job.start,
            end=min(slot.job.end, slot.job.start + timedelta(hours=9)),
            assigned_at=self.now,
            assigned_by=None,
        )


def scene() -> Scene:
    """The scene as of now."""
    return Scene(timezone.now())
