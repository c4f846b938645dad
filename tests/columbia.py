"""A job in British Columbia in the invented world, with a supervisor who meets its standard."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from registry.crews import services as crews
from registry.crews.models import Assignment, Job
from registry.equipment import services as equipment
from registry.equipment.models import Site
from registry.evidence import services as evidence
from registry.notices import services as notices
from registry.notices.models import AttachedProcedure, JobParty, SentNotice
from registry.notices.packet import Packet, packet_of
from registry.people.models import Account, Worker
from tests.world import World

ZONE = ZoneInfo("America/Vancouver")


@dataclass
class Columbia:
    """A climbing that starts ``starts_in`` calendar days after ``world.now``, at 07:00 by the site's clock."""

    world: World
    starts_in: int = 23
    supervised: bool = True
    site: Site = field(init=False)
    job: Job = field(init=False)
    supervisor: Worker = field(init=False)
    assignment: Assignment | None = None

    def __post_init__(self) -> None:
        world = self.world
        past = world.now - timedelta(days=200)
        self.site = equipment.register_site(
            name="Cobble Spit",
            time_zone=ZONE.key,
            jurisdiction="CA-BC",
            working_language="en",
            recorded_at=past,
        )
        self.job = self.planned(self.starts_in)
        if self.supervised:
            self.supervisor = self.qualified("Ysolde", "Marchetwick")
            self.assignment = self.assigned(self.supervisor)

    def planned(self, starts_in: int, *, supersedes: Job | None = None, days: int = 3) -> Job:
        """A plan for the climbing."""
        first = self.world.now.astimezone(ZONE).date() + timedelta(days=starts_in)
        start = datetime.combine(first, time(7), ZONE)
        end = datetime.combine(first + timedelta(days=days - 1), time(17), ZONE)
        return self.planned_from(start, end, supersedes=supersedes)

    def planned_from(self, start: datetime, end: datetime, *, supersedes: Job | None = None) -> Job:
        """A plan for the climbing from one instant to another."""
        return crews.plan_job(
            employer=self.world.employer,
            site=self.site,
            crane=self.world.crane,
            operation="climbing",
            standard_key="ca-bc-tower-crane",
            start=start,
            end=end,
            roles=["erection_supervisor", "erector"],
            supersedes=supersedes,
            recorded_at=self.world.now,
            recorded_by=None,
        )

    def qualified(self, given: str, family: str) -> Worker:
        """Somebody who meets the standard of a qualified supervisor."""
        world, past = self.world, self.world.now - timedelta(days=290)
        worker = world.worker(given, family)
        world.make_erector(worker, days=25)
        world.instruct(worker, "assembly_procedures", past)
        world.assess(worker, "erection_supervisor")
        evidence.appoint(
            worker=worker,
            duty="erection_supervisor",
            employer=world.employer,
            start=past,
            appointed_by="Ines Okoro",
            stop_work_authority=True,
            recorded_at=past,
            recorded_by=None,
        )
        return worker

    def assigned(self, worker: Worker) -> Assignment:
        """The worker in the supervisor's place."""
        outcome = self.world.assign(self.job.slots.get(role="erection_supervisor"), worker)
        assert outcome.assignment is not None, outcome.decision.answer["remedy"]
        return outcome.assignment

    def party(self, **given: Any) -> JobParty:
        """The employer as a party, unless said otherwise."""
        said = {"role": "employer", "name": "Halvorsby Tower Works", "phone": "555 0100", **given}
        return notices.record_party(job=self.job, recorded_at=self.world.now, recorded_by=None, **said)

    def particulars(self, **given: Any) -> None:
        """Address, scope and configuration."""
        said = {
            "site_address": "1 Cobble Spit Road",
            "scope": "Climb by two sections.",
            "configuration": "Mast 42 m, jib 50 m, two ties",
            **given,
        }
        notices.record_particulars(job=self.job, recorded_at=self.world.now, recorded_by=None, **said)

    def procedure(self, title: str = "Climbing sequence", content: bytes = b"%PDF-1.7 climbing") -> AttachedProcedure:
        """A work procedure."""
        document = evidence.attach_document(
            name="climbing.pdf",
            media_type="application/pdf",
            content=content,
            recorded_at=self.world.now,
            recorded_by=None,
        )
        return notices.attach_procedure(
            job=self.job, title=title, document=document, recorded_at=self.world.now, recorded_by=None
        )

    def complete(self) -> None:
        """Everything that the rule asks for."""
        self.party()
        self.particulars()
        self.procedure()

    def packet(self) -> Packet:
        """The packet as it stands."""
        job = Job.objects.select_related("site", "crane__model__maker", "employer").get(pk=self.job.pk)
        return packet_of(job, at=self.world.now)

    def send(self, *, by: Account | None = None, **given: Any) -> SentNotice:
        """Record the packet as sent now."""
        said = {
            "seen": self.packet().fingerprint,
            "how": "courier",
            "sent_to": "The authority's office",
            "sent_at": self.world.now,
            **given,
        }
        return notices.record_sent(job=self.packet().job, recorded_at=self.world.now, recorded_by=by, **said)
