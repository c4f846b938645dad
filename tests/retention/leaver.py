"""Somebody who has left, with a personal word in every kind of record."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from registry.crews.models import AssignmentEvent, Job
from registry.evidence import services as evidence
from registry.evidence.in_your_name import deny_signature
from registry.evidence.models import (
    CertificationStatus,
    CorrectionRequest,
    Document,
    EntryObjection,
    StandDown,
    StandDownSuspension,
)
from registry.notices.content import canonical_text, sha256_of
from registry.notices.models import NamedSupervisor, SentNotice
from registry.people import services as people
from registry.people.closing import close_account
from registry.people.identity import check_identity
from registry.people.lookalikes import settle_twin
from registry.people.models import Account, Employment, PossibleTwin, Worker
from registry.transcripts.sharing import share
from tests.world import World

SCAN = b"%PDF-1.7 a scan about one person alone 5d1f"
NUMBER = "ZQ-88-4417-OBERTH"


@dataclass
class Leaver:
    """Somebody with a record of every kind, who has left, and what must be nowhere afterwards."""

    worker: Worker
    account: Account
    scan: Document
    secrets: tuple[str, ...]


def leaver_of(world: World) -> Leaver:
    """The person, in a world of their own."""
    worker = world.worker("Wilhelmina", "Oberthur")
    world.make_erector(worker)
    past = world.now - timedelta(days=20)
    scan = evidence.attach_document(
        name="oberthur-scan.pdf", media_type="application/pdf", content=SCAN, recorded_at=past, recorded_by=None
    )
    certification = evidence.record_certification(
        worker=worker,
        scheme="rigging",
        number=NUMBER,
        issuer="Norrland Board",
        issued=past.date(),
        document=scan,
        recorded_at=past,
        recorded_by=None,
    )
    common: dict[str, Any] = {"worker": worker, "recorded_at": world.now}
    CertificationStatus.objects.create(
        certification=certification, status="suspended", effective_at=past, reason="Oberthur was ill", **common
    )
    imported = evidence.NewHours(
        worker=worker,
        model=world.model,
        operation="climbing",
        start=past.replace(hour=8, minute=0),
        end=past.replace(hour=9, minute=0),
        employer=world.employer,
        site=world.site,
        issuer="Register kept by Wilhelmina Oberthur",
    )
    entry = evidence.record_hours(new=imported, recorded_at=world.now, recorded_by=None)
    EntryObjection.objects.create(
        entry=entry, by=world.assessor, reason="Oberthur was not there", recorded_at=world.now
    )
    CorrectionRequest.objects.create(
        employer=world.employer,
        record_kind="hoursentry",
        record_id=entry.pk,
        what_is_wrong="Oberthur worked longer",
        what_it_should_be="Two hours, says Oberthur",
        **common,
    )
    job = world.job(["erector"])
    outcome = world.assign(job.slots.get(), worker)
    assert outcome.assignment is not None
    AssignmentEvent.objects.create(
        assignment=outcome.assignment,
        kind="ended",
        happened_at=job.start + timedelta(days=1),
        reason="Oberthur leaves",
        recorded_at=world.now,
    )
    bar = StandDown.objects.create(role="rigger", start=world.now, reason="Oberthur dropped a load", **common)
    StandDownSuspension.objects.create(stand_down=bar, start=world.now, reason="Oberthur was away", **common)
    _named_in_a_notice(world, worker, job)
    first = people.open_account(username="oberthur-first", password=None, kind="worker", worker=worker)
    close_account(account=first, closed_at=world.now, closed_by=None, reason="Oberthur lost the password")
    account = people.open_account(
        username="w.oberthur", password="a-long-demo-word", kind="worker", worker=worker, email="w@oberthur.example"
    )
    checker = people.open_account(username="checker", password=None, kind="registrar")
    check_identity(account=account, looked_at="Oberthur's licence", checked_at=world.now, checked_by=checker)
    alike = {"worker": world.assessor, "other": worker, "names": "initials", "dates": "no_day", "told_apart": False}
    twin = PossibleTwin.objects.create(recorded_at=world.now, **alike)
    settle_twin(
        twin=twin, found="two_people", reason="Oberthur showed a licence", recorded_at=world.now, recorded_by=checker
    )
    _signed_for_somebody(world, worker, account)
    share(worker=worker, days=30, note="For the next employer of Oberthur", at=world.now, shared_by=account)
    leaves_the_employer(world, worker)
    return Leaver(worker, account, scan, ("Oberthur", "Wilhelmina", NUMBER, SCAN.hex()))


def _signed_for_somebody(world: World, worker: Worker, account: Account) -> None:
    """Hours that were signed in the worker's name, which they deny."""
    at = world.now - timedelta(days=2)
    new = evidence.NewHours(
        worker=world.assessor,
        model=world.model,
        operation="repositioning",
        start=at.replace(hour=8, minute=0),
        end=at.replace(hour=9, minute=0),
        employer=world.employer,
        site=world.site,
        countersigner=worker,
        countersigned_at=at.replace(hour=10, minute=0),
    )
    entry = evidence.record_hours(new=new, recorded_at=world.now, recorded_by=None)
    deny_signature(
        kind="countersignature",
        record_id=entry.countersignatures.get().pk,
        reason="Oberthur never signed this",
        denied_at=world.now,
        denied_by=account,
    )


def leaves_the_employer(world: World, worker: Worker) -> None:
    """The employment ends today."""
    employment = Employment.objects.current().get(worker=worker)
    Employment.objects.create(
        worker=worker,
        employer=employment.employer,
        start=employment.start,
        end=world.now.date(),
        supersedes=employment,
        recorded_at=world.now,
    )


def _named_in_a_notice(world: World, worker: Worker, job: Job) -> None:
    """A sent notice names the worker and somebody else as supervisors."""
    said = [
        {
            "worker": {"record": f"worker:{each.pk}", "name": str(each), "number": each.number},
            "title": "supervisor",
            "standing": "stands",
            "from": "2026-01-01T00:00:00Z",
            "until": "2026-01-02T00:00:00Z",
            "certificates": [{"number": NUMBER if each == worker else "S-1"}],
        }
        for each in (worker, world.assessor)
    ]
    text = canonical_text({"parties": [{"name": "Somebody"}], "supervisors": said})
    notice = SentNotice.objects.create(
        job=job,
        content=text,
        sha256=sha256_of(text),
        sent_at=world.now,
        how="post",
        sent_to="the authority",
        recorded_at=world.now,
    )
    for each, part in zip((worker, world.assessor), said, strict=True):
        NamedSupervisor.objects.create(
            notice=notice, worker=each, content=canonical_text({"supervisor": [part]}), recorded_at=world.now
        )
