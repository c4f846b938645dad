"""A firm bars somebody everywhere only for what happened while it had them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import DatabaseError, transaction

from registry.crews import standing_down
from registry.crews.models import AssignmentState, Slot
from registry.crews.queries import asking_for_slot
from registry.crews.services import check
from registry.crews.standing_down import Occasion
from registry.database.errors import RecordRefused, constraint_of
from registry.evidence import services as evidence
from registry.evidence.models import EvidenceVersion, HoursEntry, StandDown, StandDownSuspension
from registry.people import services as people
from registry.people.models import Account, Employer, Employment, Worker
from tests.world import World


@pytest.fixture
def world(db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


@pytest.fixture
def mira(world: World) -> Worker:
    mira = world.worker("Mira", "Sandoval")
    world.make_erector(mira)
    return mira


@pytest.fixture
def dispatcher(world: World) -> Account:
    return world.dispatcher()


@pytest.fixture
def rival(world: World, mira: Worker) -> Account:
    """A firm on whose books Mira is, with consent, and that never had her on a job."""
    firm = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=world.now)
    people.employ(worker=mira, employer=firm, start=world.now.date(), recorded_at=world.now, recorded_by=None)
    return people.open_account(username="rival", password=None, kind="employer", employer=firm)


def firm_of(account: Account) -> Employer:
    assert account.employer is not None
    return account.employer


def bar(world: World, worker: Worker, by: Account, occasion: Occasion | None, **given: Any) -> standing_down.StoodDown:
    what: dict[str, Any] = {"start": world.now, "reason": "unhooked", "recorded_at": world.now, **given}
    return standing_down.stand_down(worker=worker, employer=firm_of(by), occasion=occasion, recorded_by=by, **what)


def permitted(world: World, slot: Slot, worker: Worker) -> bool:
    asking = asking_for_slot(slot, worker=worker.pk, start=slot.job.start, end=slot.job.end)
    return check(asking=asking, decided_at=world.now, decided_by=None).permitted


def assigned(world: World, worker: Worker, **job: Any) -> AssignmentState:
    outcome = world.assign(world.job(["erector"], **job).slots.get(), worker)
    assert outcome.assignment is not None
    return AssignmentState.objects.get(assignment=outcome.assignment)


def refuses(rule: str, **row: Any) -> None:
    """By SQL as the application's role, whatever the services say."""
    with pytest.raises(DatabaseError) as refused, transaction.atomic():
        StandDown.objects.create(reason="unhooked", **row)
    assert constraint_of(refused.value) == rule


def test_without_an_occasion_it_bars_at_that_firm_alone(world: World, mira: Worker, rival: Account) -> None:
    at_home = assigned(world, mira)
    done = bar(world, mira, rival, None)
    assert done.record.employer == rival.employer
    assert done.held == []
    assert permitted(world, at_home.slot, mira)
    row = {"worker": mira, "start": world.now, "recorded_at": world.now, "recorded_by": rival}
    refuses("without_an_occasion_it_bars_at_its_firm_alone", **row)
    refuses("without_an_occasion_it_bars_at_its_firm_alone", employer=world.employer, **row)


def test_a_rival_names_no_occasion_of_another_firm(world: World, mira: Worker, rival: Account) -> None:
    state = assigned(world, mira, starts_in=-1)
    shift = HoursEntry.objects.filter(worker=mira).latest("end")
    assert standing_down.occasions_of(mira, firm_of(rival), at=world.now) == []
    row = {"worker": mira, "start": world.now, "recorded_at": world.now, "recorded_by": rival}
    refuses("the_occasion_is_the_firms_own", shift=shift, **row)
    refuses("the_occasion_is_the_firms_own", on_assignment=state.pk, **row)
    with pytest.raises(RecordRefused, match="of your firm"):
        bar(world, mira, rival, Occasion("", "", shift=shift.pk))


def test_with_an_occasion_it_bars_everywhere_and_says_what_it_put_on_hold(
    world: World, mira: Worker, dispatcher: Account
) -> None:
    state = assigned(world, mira)
    (latest, *_) = standing_down.occasions_of(mira, world.employer, at=world.now)
    assert latest.shift is not None
    done = bar(world, mira, dispatcher, latest)
    assert done.record.employer is None
    assert [each.pk for each in done.held] == [state.pk]
    assert not permitted(world, state.slot, mira)


def test_an_occasion_is_begun_recent_and_of_that_person(world: World, mira: Worker, dispatcher: Account) -> None:
    other = world.worker("Odo", "Marsh")
    shift = HoursEntry.objects.filter(worker=mira).latest("end")
    coming = assigned(world, mira)
    row = {"recorded_at": world.now, "recorded_by": dispatcher}
    own = "the_occasion_is_the_firms_own"
    refuses(own, worker=other, start=world.now, shift=shift, **row)
    refuses(own, worker=mira, start=world.now, on_assignment=coming.pk, **row)
    refuses(own, worker=mira, start=shift.start - timedelta(minutes=1), shift=shift, **row)
    late = shift.end + timedelta(days=91)
    refuses(own, worker=mira, start=late, shift=shift, recorded_at=late, recorded_by=dispatcher)


def test_who_is_not_on_the_books_is_not_the_firms_to_bar(world: World, mira: Worker, rival: Account) -> None:
    stranger = world.worker("Odo", "Marsh")
    books = "an_employer_records_about_its_own_people"
    row = {"start": world.now, "recorded_at": world.now, "recorded_by": rival, "employer": rival.employer}
    refuses(books, worker=stranger, **row)
    employment = Employment.objects.get(employer=firm_of(rival))
    evidence.correct(
        employment,
        start=world.now.date() - timedelta(days=30),
        end=world.now.date() - timedelta(days=9),
        recorded_at=world.now,
        recorded_by=None,
    )
    refuses(books, worker=mira, **row)


def test_a_firm_bars_for_what_happened_on_the_last_day(world: World, mira: Worker, dispatcher: Account) -> None:
    shift = HoursEntry.objects.filter(worker=mira).latest("end")
    employment = Employment.objects.get(worker=mira)
    evidence.correct(employment, end=shift.end.date(), recorded_at=world.now, recorded_by=None)
    done = bar(world, mira, dispatcher, Occasion("", "", shift=shift.pk))
    assert done.record.employer is None


def test_a_worker_bars_nobody(world: World, mira: Worker) -> None:
    account = people.open_account(username="mira", password=None, kind="worker", worker=mira)
    row = {"worker": world.assessor, "start": world.now, "recorded_at": world.now, "recorded_by": account}
    refuses("a_stand_down_is_an_employers_or_the_registrars", **row)


def test_only_the_registrar_suspends(world: World, mira: Worker, dispatcher: Account, rival: Account) -> None:
    state = assigned(world, mira)
    (occasion, *_) = standing_down.occasions_of(mira, world.employer, at=world.now)
    barred = bar(world, mira, dispatcher, occasion).record
    resting: dict[str, Any] = {"stand_down": barred, "start": world.now, "end": None, "recorded_at": world.now}
    own = people.open_account(username="mira", password=None, kind="worker", worker=mira)
    for account in (dispatcher, rival, own):
        with pytest.raises(RecordRefused, match="Only the registrar"):
            standing_down.suspend(reason="mine", recorded_by=account, **resting)
        with pytest.raises(DatabaseError), transaction.atomic():
            StandDownSuspension.objects.create(worker=mira, reason="mine", recorded_by=account, **resting)
    registrar = people.open_account(username="registrar", password=None, kind="registrar")
    with pytest.raises(RecordRefused, match="Say why"):
        standing_down.suspend(reason=" ", recorded_by=registrar, **resting)
    version = EvidenceVersion.objects.get(subject=f"worker:{mira.pk}").version
    suspended = standing_down.suspend(reason="Two crew members say otherwise.", recorded_by=registrar, **resting)
    assert EvidenceVersion.objects.get(subject=f"worker:{mira.pk}").version == version + 1
    assert permitted(world, state.slot, mira)
    standing_down.end_suspension(suspension=suspended, recorded_at=world.now, recorded_by=registrar)
    assert not permitted(world, state.slot, mira)


def test_a_suspension_is_of_that_persons_stand_down(world: World, mira: Worker, dispatcher: Account) -> None:
    barred = bar(world, mira, dispatcher, None).record
    with pytest.raises(DatabaseError) as refused, transaction.atomic():
        StandDownSuspension.objects.create(
            worker=world.assessor, stand_down=barred, start=world.now, reason="mistaken", recorded_at=world.now
        )
    assert constraint_of(refused.value) == "reference_is_to_the_same_worker"
