"""The crew board of a week: which jobs are on it, what their places look like, and in how many statements."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.crews import services
from registry.crews.board import Board, Week, board_of, today_for, week_of_next_job
from registry.crews.models import Job
from registry.crews.queries import current_jobs
from registry.equipment import services as equipment
from tests.world import STANDARD, World

ZONE = ZoneInfo("America/Vancouver")
MONDAY = date(2026, 11, 30)
WEEK = Week(MONDAY)


@pytest.fixture
def world(db: None) -> World:
    return World(datetime(2026, 11, 25, 12, tzinfo=UTC))


def at(day: date, hour: int, zone: ZoneInfo = ZONE) -> datetime:
    return datetime(day.year, day.month, day.day, hour, tzinfo=zone)


def planned(world: World, start: datetime, end: datetime, roles: list[str] | None = None) -> Job:
    return services.plan_job(
        employer=world.employer,
        site=world.site,
        crane=world.crane,
        operation="dismantling",
        standard_key=STANDARD,
        start=start,
        end=end,
        roles=roles or ["erector"],
        recorded_at=world.now,
        recorded_by=None,
    )


def board(world: World, week: Week = WEEK) -> Board:
    return board_of(current_jobs(), week=week, at=world.now)


@pytest.mark.parametrize(
    ("written", "monday"),
    [
        ("2026-W49", MONDAY),
        # ISO 8601: the first week of a year holds its first Thursday, so 2026 has 53.
        ("2026-W53", date(2026, 12, 28)),
        ("2027-W01", date(2027, 1, 4)),
        ("2025-W53", None),
        ("2026-W00", None),
        ("0001-W01", None),
        ("9999-W52", None),
        ("next", None),
    ],
)
def test_a_week_is_read_as_iso_8601_writes_it(written: str, monday: date | None) -> None:
    week = Week.read(written)
    assert (week and week.monday) == monday
    assert week is None or str(week) == written


def test_a_week_runs_from_monday_through_sunday() -> None:
    assert {Week.of(each) for each in WEEK.days} == {WEEK}
    assert WEEK.sunday == date(2026, 12, 6)
    assert WEEK.earlier.later == WEEK


def test_a_job_is_in_a_week_by_the_clock_on_its_own_site(world: World) -> None:
    # Late on Sunday at the first site it is Monday in UTC, and has long been at the second.
    sunday_night = planned(world, at(MONDAY - timedelta(days=1), 20), at(MONDAY - timedelta(days=1), 23))
    across = planned(world, at(MONDAY - timedelta(days=1), 20), at(MONDAY, 1))
    world.site = equipment.register_site(
        name="Tern Point", time_zone="Pacific/Auckland", jurisdiction="US", recorded_at=world.now
    )
    early = planned(world, at(MONDAY, 7, ZoneInfo("Pacific/Auckland")), at(MONDAY, 9, ZoneInfo("Pacific/Auckland")))
    assert {line.job for line in board(world).lines} == {across, early}
    assert {line.job for line in board(world, WEEK.earlier).lines} == {sunday_night, across}


def test_a_place_shows_who_stands_what_is_open_and_what_is_held(world: World) -> None:
    job = planned(world, at(MONDAY, 0), at(MONDAY + timedelta(days=7), 0), ["erector", "erector"])
    mira = world.worker("Mira", "Sandoval")
    world.make_erector(mira)
    first, second = job.slots.order_by("position")
    middle = at(MONDAY + timedelta(days=3), 12)
    outcome = services.assign(
        slot_id=first.pk, worker_id=mira.pk, start=middle, end=job.end, assigned_at=world.now, assigned_by=None
    )
    assert outcome.permitted
    (line,) = board(world).lines
    one, two = line.places
    assert (one.state, one.partly, one.gaps) == ("open", True, [(job.start, middle)])
    assert [(each.state, each.left, each.width) for each in one.stretches] == [("open", 0, 0.5), ("stands", 0.5, 0.5)]
    assert (two.slot, two.state, two.partly) == (second, "open", False)
    assert (line.filled, line.state, line.wanting) == (0, "open", [one, two])
    world.instruct(mira, "rigging_refresher", world.now)
    (line,) = board(world).lines
    assert line.places[0].state == "held"
    assert [each.state for each in line.places[0].stretches] == ["open", "held"]


def test_what_lies_outside_the_week_is_not_drawn(world: World) -> None:
    job = planned(world, at(MONDAY - timedelta(days=7), 0), at(MONDAY + timedelta(days=1), 0))
    (line,) = board(world).lines
    assert line.job == job
    assert (line.left, line.width) == (0, pytest.approx(1 / 7))


@pytest.mark.parametrize(("days", "soon"), [(29, True), (31, False)])
def test_documents_that_hold_for_less_than_thirty_days_are_marked(world: World, days: int, soon: bool) -> None:
    job = planned(world, at(MONDAY, 7), at(MONDAY, 17))
    mira = world.worker("Mira", "Sandoval")
    world.make_erector(mira)
    outcome = world.assign(job.slots.get(), mira)
    until = outcome.decision.holds_until
    assert until is not None
    (line,) = board_of(current_jobs(), week=WEEK, at=until - timedelta(days=days)).lines
    assert line.places[0].stays[0].ends_soon is soon


def test_a_job_that_is_over_needs_nobody(world: World) -> None:
    job = planned(world, at(MONDAY, 7), at(MONDAY, 17))
    assert board_of(current_jobs(), week=WEEK, at=job.end - timedelta(minutes=1)).wanting
    assert not board_of(current_jobs(), week=WEEK, at=job.end).wanting


def test_the_next_week_with_a_job_is_found(world: World) -> None:
    planned(world, at(MONDAY, 7), at(MONDAY, 17))
    planned(world, at(MONDAY + timedelta(days=20), 7), at(MONDAY + timedelta(days=20), 17))
    assert week_of_next_job(current_jobs(), after=WEEK.earlier) == WEEK
    assert week_of_next_job(current_jobs(), after=WEEK) == Week(MONDAY + timedelta(days=14))
    assert week_of_next_job(current_jobs(), after=Week(MONDAY + timedelta(days=14))) is None


def test_today_is_the_day_where_the_work_is(world: World) -> None:
    late_evening = datetime(2026, 11, 30, 6, tzinfo=UTC)
    assert today_for(current_jobs(), at=late_evening) == date(2026, 11, 30)
    planned(world, at(MONDAY, 7), at(MONDAY, 17))
    assert today_for(current_jobs(), at=late_evening) == date(2026, 11, 29)


def test_a_board_takes_three_statements_for_few_jobs_and_for_many(world: World) -> None:
    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            for line in board(world).lines:
                for place in line.places:
                    assert [str(each.state.worker) + str(each.state.decision.holds_until) for each in place.stays]
        return len(captured)

    def filled(number: int) -> None:
        job = planned(world, at(MONDAY + timedelta(days=number), 7), at(MONDAY + timedelta(days=number), 17))
        worker = world.worker("Given", f"Family{number}")
        world.make_erector(worker)
        assert world.assign(job.slots.get(), worker).permitted

    filled(0)
    assert statements() == 3
    for number in (1, 2, 3):
        filled(number)
    assert statements() == 3
