"""What runs out when: for one person, for many at once, and by month."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from registry.crews.periods import standards_about
from registry.evidence import services as evidence
from registry.evidence.running_out import RunsOut, first_to_run_out, running_out, running_out_by_month
from registry.people import services as people
from registry.people.models import Worker
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return World(now=timezone.now().replace(second=0, microsecond=0))


@pytest.fixture
def worker(world: World) -> Worker:
    return world.worker("Nadia", "Fenwick")


def certify(world: World, worker: Worker, expires: date | None, number: str = "K-1", **more: Any) -> Any:
    issued = world.now - timedelta(days=300)
    return evidence.record_certification(
        worker=worker,
        scheme="rigging",
        number=number,
        issuer="Norrland Board",
        issued=more.pop("issued", issued.date()),
        expires=expires,
        recorded_at=world.now,
        recorded_by=None,
        **more,
    )


def appoint(world: World, worker: Worker, end: datetime | None, start: datetime | None = None) -> None:
    evidence.appoint(
        worker=worker,
        duty="erection_supervisor",
        kind="duty",
        employer=world.employer,
        start=start or world.now - timedelta(days=30),
        end=end,
        recorded_at=world.now,
        recorded_by=None,
    )


def year_of(world: World, worker: Worker, **more: Any) -> list[RunsOut]:
    today = world.now.date()
    return running_out(worker, since=today, until=today + timedelta(days=365), **more)


def test_certificate_appointment_and_employment_run_out_in_the_order_of_their_days(
    world: World, worker: Worker
) -> None:
    today = world.now.date()
    certify(world, worker, today + timedelta(days=90))
    # Noon in UTC is the same day on the wharf in Vancouver's zone.
    noon = datetime.combine(today + timedelta(days=40), datetime.min.time(), UTC) + timedelta(hours=20)
    appoint(world, worker, noon)
    people.employ(
        worker=worker,
        employer=people.register_employer(name="Marrow Lifting", jurisdiction="US", recorded_at=world.now),
        start=today,
        end=today + timedelta(days=10),
        recorded_at=world.now,
        recorded_by=None,
    )
    assert [(each.what, each.day - today) for each in year_of(world, worker)] == [
        ("Employment by Marrow Lifting", timedelta(days=10)),
        ("Appointment as erection supervisor by Halvorsby Tower Works", timedelta(days=40)),
        ("Certificate in rigging, no. K-1", timedelta(days=90)),
    ]


def test_an_appointment_ends_by_the_clock_of_the_site_last_worked_at(world: World, worker: Worker) -> None:
    # Midnight that ends 30 June on a wharf seven hours behind UTC.
    year = world.now.year + 1
    appoint(world, worker, datetime(year, 7, 1, 7, tzinfo=UTC))
    window: dict[str, Any] = {"since": date(year, 6, 1), "until": date(year, 7, 31)}
    assert [each.day for each in running_out(worker, **window)] == [date(year, 7, 1)]
    world.hours(worker, days=1)
    assert [each.day for each in running_out(worker, **window)] == [date(year, 6, 30)]


def test_what_is_revoked_corrected_or_continued_does_not_run_out(world: World, worker: Worker) -> None:
    today = world.now.date()
    soon = today + timedelta(days=20)
    revoked = certify(world, worker, soon, "K-1", scope=["signals"])
    evidence.change_certification_status(
        certification=revoked,
        status="revoked",
        effective_at=world.now,
        reason="issued in error",
        recorded_at=world.now,
        recorded_by=None,
    )
    evidence.correct(revoked, issuer="Sunder Board", recorded_at=world.now, recorded_by=None)
    certify(world, worker, soon, "K-2")
    certify(world, worker, today + timedelta(days=900), "K-3", issued=today)
    appoint(world, worker, world.now + timedelta(days=20))
    appoint(world, worker, None, start=world.now + timedelta(days=20))
    assert year_of(world, worker) == []


def test_a_renewal_that_covers_less_does_not_hide_what_runs_out(world: World, worker: Worker) -> None:
    today = world.now.date()
    certify(world, worker, today + timedelta(days=20), "K-2", classes=["hammerhead", "luffing"])
    certify(world, worker, today + timedelta(days=900), "K-3", classes=["hammerhead"], issued=today)
    assert [each.what for each in year_of(world, worker)] == ["Certificate in rigging, no. K-2"]


def test_the_first_and_the_last_day_asked_about_count_and_no_other(world: World, worker: Worker) -> None:
    today = world.now.date()
    for number, days in enumerate((-1, 0, 365, 366)):
        certify(world, worker, today + timedelta(days=days), f"K-{number}", scope=[f"scope {number}"])
    assert [each.what[-3:] for each in year_of(world, worker)] == ["K-1", "K-2"]


def test_a_role_standard_lets_assessment_instruction_and_hours_run_out(world: World, worker: Worker) -> None:
    """Periods as makers-practice-us sets them: 36 months, and a pause of 12 months."""
    world.make_erector(worker, days=2)
    today = world.now.date()
    standards = standards_about(worker, day=today)
    assert {each.id for each in standards} == {"makers-practice-us", "us-federal-crane-assembly"}
    found = running_out(worker, since=today, until=today + timedelta(days=4 * 365), standards=standards)
    assert [(each.kind, each.what) for each in found] == [
        ("pause", "Hours on Brandvold BT-180, unless more are worked"),
        ("certification", f"Certificate in tower crane erection, no. E-{worker.pk}"),
        ("instruction", "Instruction: model instruction, Brandvold BT-180"),
        ("assessment", "Practical assessment as erector on Brandvold BT-180"),
    ]
    assert {each.under for each in found if each.kind in ("pause", "instruction", "assessment")} == {
        "Tower crane work to the makers' practice, United States"
    }


def test_hours_that_nobody_signed_bridge_no_pause(world: World, worker: Worker) -> None:
    world.make_erector(worker, days=2)
    standards = standards_about(worker, day=world.now.date())

    def pause_ends() -> list[date]:
        return [each.day for each in year_of(world, worker, standards=standards) if each.kind == "pause"]

    before = pause_ends()
    start = (world.now - timedelta(days=3)).replace(hour=15, minute=0)
    new = evidence.NewHours(
        worker=worker,
        model=world.model,
        operation="climbing",
        start=start,
        end=start + timedelta(hours=6),
        employer=world.employer,
        site=world.site,
    )
    entry = evidence.record_hours(new=new, recorded_at=world.now, recorded_by=None)
    assert pause_ends() == before != []
    evidence.countersign(entry=entry, by=world.assessor, at=world.now, recorded_at=world.now, recorded_by=None)
    assert pause_ends() > before


def test_a_later_assessment_governs_and_one_not_passed_lets_nothing_run_out(world: World, worker: Worker) -> None:
    today = world.now.date()
    standards = standards_about(worker, day=today)

    def assessed() -> list[date]:
        window: dict[str, Any] = {"since": today, "until": today + timedelta(days=4 * 365)}
        found = running_out(worker, standards=standards, **window)
        return [each.day for each in found if each.kind == "assessment"]

    world.assess(worker, "erector", at=world.now - timedelta(days=200))
    (before,) = assessed()
    world.assess(worker, "erector", at=world.now - timedelta(days=100))
    (after,) = assessed()
    assert before < after
    world.assess(worker, "erector", outcome="not_yet_competent", at=world.now - timedelta(days=1))
    assert assessed() == []


def test_many_at_once_agree_with_each_alone_in_few_statements(
    world: World, django_assert_num_queries: Callable[[int], Any]
) -> None:
    today = world.now.date()
    window: dict[str, Any] = {"since": today, "until": today + timedelta(days=365)}
    crew = [world.worker("Ada", f"Crew-{letter}") for letter in "abcdef"]
    for number, each in enumerate(crew[:5]):
        certify(world, each, today + timedelta(days=30 * number), f"K-{number}a", scope=["signals"])
        certify(world, each, today + timedelta(days=50), f"K-{number}b", scope=["loads"])
        appoint(world, each, world.now + timedelta(days=70 - 10 * number))
    everybody = Worker.objects.filter(pk__in=[each.pk for each in crew])
    with django_assert_num_queries(3):
        first = first_to_run_out(everybody, **window)
    alone = {each.pk: running_out(each, **window) for each in crew}
    assert first == {key: found[0] for key, found in alone.items() if found}
    assert len(first) == 5
    with django_assert_num_queries(3):
        by_month = running_out_by_month(everybody, **window)
    told = [(each.day.replace(day=1), each.kind) for found in alone.values() for each in found]
    counted = {(month, kind): n for month, kinds in by_month.items() for kind, n in kinds.items() if n}
    assert counted == {each: told.count(each) for each in told}
    assert len(by_month) == 13


def test_one_person_takes_a_fixed_number_of_statements(
    world: World, worker: Worker, django_assert_num_queries: Callable[[int], Any]
) -> None:
    world.make_erector(worker, days=3)
    standards = standards_about(worker, day=world.now.date())
    with django_assert_num_queries(1):
        year_of(world, worker, standards=standards)
