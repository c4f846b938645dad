"""Invented records: one with everything a transcript can tell, and one of forty years."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from registry.evidence import services as evidence
from registry.evidence.models import Certification, HoursEntry, StandDown
from registry.people import services as people
from registry.people.models import Worker
from registry.transcripts.transcript import Hours, Signed, Transcript
from tests.world import World

MODELS = ["BT-180", "BT-240", "Karvo 12", "Ostrel L-300", "Tamsin 88"]
SITES = ["Quillon Wharf", "Ostrand Lock", "Fennmoor Rise", "Harrow Gate Yard"]


def eventful(world: World) -> Worker:
    """A worker with records of every kind, some of them corrected, withdrawn, suspended or answered."""
    worker = world.worker("Márta", "Øverby-Nguyễn")
    world.make_erector(worker, days=12)
    people.record_language(worker=worker, language="fr", recorded_at=world.now, recorded_by=None)
    _hours(world, worker)
    evidence.record_assessment(
        worker=worker,
        role="erector",
        model=world.model,
        operations=["erection", "climbing"],
        assessed_at=world.now - timedelta(days=200),
        outcome="not_yet_competent",
        assessor=world.assessor,
        third_party="Norrland Board",
        tasks=[{"task": "Sling the climbing frame", "met": True}, {"task": "Set the wedges", "met": False}],
        signature="P. Lindqvist",
        recorded_at=world.now - timedelta(days=199),
        recorded_by=None,
    )
    certificate = Certification.objects.get(worker=worker)
    evidence.change_certification_status(
        certification=certificate,
        status="suspended",
        effective_at=world.now - timedelta(days=3),
        reason="fee not paid",
        recorded_at=world.now - timedelta(days=2),
        recorded_by=None,
    )
    answered = stand_down(world, worker, days_ago=100, reason="walked under the load")
    evidence.record_instruction(
        worker=worker,
        topic="crew_tasks_and_hazards",
        provider="employer",
        completed_at=world.now - timedelta(days=90),
        minutes=240,
        after_stand_down=answered,
        document=world.scan,
        recorded_at=world.now - timedelta(days=90),
        recorded_by=None,
    )
    stand_down(world, worker, days_ago=2, reason="harness not clipped on")
    evidence.appoint(
        worker=worker,
        duty="competent_person",
        employer=world.employer,
        start=world.now - timedelta(days=50),
        stop_work_authority=True,
        appointed_by="Ines Okoro",
        recorded_at=world.now - timedelta(days=50),
        recorded_by=None,
    )
    return worker


def stand_down(world: World, worker: Worker, *, days_ago: int, reason: str) -> StandDown:
    """A bar from erecting on the world's model."""
    at = world.now - timedelta(days=days_ago)
    return evidence.stand_down(
        worker=worker, role="erector", model=world.model, start=at, reason=reason, recorded_at=at, recorded_by=None
    )


def _hours(world: World, worker: Worker) -> None:
    """Entries of every provenance that is recorded, on days of their own; then one corrected and one withdrawn."""
    ways: tuple[dict[str, object], ...] = (
        {"countersigner": world.assessor},
        {"origin": "paper", "document": world.scan, "countersigner": world.assessor},
        {},
        {},
    )
    for number, more in enumerate(ways):
        record_one(world, worker, days_ago=60 + number, late_by=40, **more)
    entries = list(HoursEntry.objects.filter(worker=worker).order_by("start"))
    evidence.correct(entries[-1], end=entries[-1].end - timedelta(minutes=75), recorded_at=world.now, recorded_by=None)
    evidence.withdraw(entries[-2], recorded_at=world.now, recorded_by=None)


def record_one(world: World, worker: Worker, *, days_ago: int, late_by: int = 0, **more: object) -> HoursEntry:
    """One entry of 7 h 45 min, recorded and countersigned ``late_by`` days after the work."""
    start = (world.now - timedelta(days=days_ago)).replace(hour=15, minute=0)
    end = start + timedelta(hours=7, minutes=45)
    if "countersigner" in more:
        more["countersigned_at"] = end + timedelta(hours=1)
    new = evidence.NewHours(
        worker=worker,
        model=world.model,
        operation="climbing",
        start=start,
        end=end,
        employer=world.employer,
        site=world.site,
        crane=world.crane,
        **more,  # type: ignore[arg-type]
    )
    return evidence.record_hours(new=new, recorded_at=end + timedelta(days=late_by, hours=2), recorded_by=None)


def forty_years(entries: int = 3000) -> Transcript:
    """A working life, in memory: 40 years on five models, every fiftieth entry corrected."""
    first = datetime(1984, 3, 1, 14, 0, tzinfo=UTC)
    step = timedelta(days=40 * 365) / entries
    hours = []
    for number in range(entries):
        start = (first + step * number).replace(hour=14, minute=(number % 4) * 15, second=0, microsecond=0)
        minutes = 420 + number % 7 * 15
        end = start + timedelta(minutes=minutes)
        corrected = number % 50 == 3
        model = MODELS[min(4, number * 6 // entries + number % 2) % 5]
        hours.append(
            Hours(
                record=f"hours:{number + 20_000}",
                recorded_at=end + timedelta(hours=3),
                supersedes=f"hours:{number + 19_999}" if number % 50 == 4 else None,
                superseded_by=f"hours:{number + 20_001}" if corrected else None,
                superseded_at=end + timedelta(days=3) if corrected else None,
                withdrawn_at=None,
                start=start,
                end=end,
                minutes=minutes,
                time_zone="America/Vancouver",
                maker="Brandvold",
                model=model,
                configuration="",
                crane=f"{model[-2:]}-{number // 60 % 9}",
                operation=("erection", "climbing", "repositioning", "dismantling")[number // 20 % 4],
                capacity="trainee" if number < 200 else "erector",
                site=f"{SITES[number // 60 % 4]} {number // 60 % 13}",
                employer=("Halvorsby Tower Works", "Cormorant Lift Yard")[number // 700 % 2],
                provenance=("witnessed", "witnessed", "witnessed", "countersigned_late", "claimed")[number % 5],
                issuer="",
                document=None,
                countersignatures=()
                if number % 5 == 4
                else (
                    Signed(
                        name=f"{('Petra', 'Ines', 'Olof', 'Tamar')[number // 35 % 4]} Lindqvist",
                        number=f"W-{number // 35 % 4:06d}",
                        signed_at=end,
                        recorded_at=end + timedelta(hours=2),
                    ),
                ),
            )
        )
    return Transcript(
        known_at=datetime(2024, 6, 1, 12, 0, tzinfo=UTC),
        worker_number="W-004711",
        given_name="Halvard",
        family_name="Aasgaard",
        date_of_birth=date(1964, 2, 29),
        countersign_within_days=7,
        hours=tuple(hours),
    )
