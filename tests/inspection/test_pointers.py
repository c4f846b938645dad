"""What is worth a second look, and what is not."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from random import Random
from typing import Any

import networkx
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.crews.models import Decision
from registry.equipment import services as equipment
from registry.equipment.models import Site
from registry.evidence import services as evidence
from registry.evidence.models import HoursEntry
from registry.inspection.pointers import (
    NO_ACCUSATION,
    RULES,
    Pointer,
    RuleWithPointers,
    Thresholds,
    second_look,
    workers_of_employer,
    workers_of_job,
)
from registry.inspection.rings import rings
from registry.people import services as people
from registry.people.identity import check_identity
from registry.people.invitations import accept, hash_of, invite
from registry.people.models import Account, Worker
from registry.people.second_factor import enrol_authenticator_app
from tests.world import World

HOUR = timedelta(hours=1)
MINUTE = timedelta(minutes=1)
Work = Callable[..., HoursEntry]


@pytest.fixture
def worker(world: World) -> Worker:
    return world.worker("Mira", "Sandoval")


@pytest.fixture
def elsewhere(world: World) -> Site:
    return equipment.register_site(
        name="Tarn Basin", time_zone="America/Vancouver", jurisdiction="US", recorded_at=world.now
    )


@pytest.fixture
def work(world: World, worker: Worker) -> Work:
    """Record one entry of ``minutes`` that began so many days ago; by default the same day and signed at once."""

    def record(
        days_ago: int,
        *,
        at: timedelta = timedelta(),
        minutes: int = 480,
        after: timedelta = 2 * HOUR,
        signer: Worker | None = world.assessor,
        **more: Any,
    ) -> HoursEntry:
        start = (world.now - timedelta(days=days_ago)).replace(hour=15, minute=0) + at
        end = start + minutes * MINUTE
        given: dict[str, Any] = {
            "worker": worker,
            "model": world.model,
            "operation": "dismantling",
            "start": start,
            "end": end,
            "employer": world.employer,
            "site": world.site,
            "crane": world.crane,
            "countersigner": signer,
            "countersigned_at": None if signer is None else end,
        }
        new = evidence.NewHours(**{**given, **more})
        return evidence.record_hours(new=new, recorded_at=end + after, recorded_by=None)

    return record


def looked(rule: str, **more: Any) -> RuleWithPointers:
    (found,) = (each for each in second_look(**more) if each.key == rule)
    return found


def pointed(rule: str, **more: Any) -> tuple[Pointer, ...]:
    return looked(rule, **more).pointers


def figures(pointer: Pointer) -> dict[str, Any]:
    return {each.key: each.value for each in pointer.figures}


def test_an_orderly_register_gives_no_pointer(world: World, worker: Worker) -> None:
    world.make_erector(worker)
    assert [each.key for each in second_look() if each.pointers] == []


def test_recorded_long_after_the_work(world: World, worker: Worker, work: Work) -> None:
    work(60, after=timedelta(days=30))
    late = work(58, after=timedelta(days=30) + MINUTE)
    (found,) = pointed("recorded_late")
    assert [(each.kind, each.number) for each in found.records] == [("hours", late.pk)]
    assert [each.id for each in found.people] == [worker.pk]
    assert figures(found) == {"entries": 1, "longest_days": 30}
    assert "Mira Sandoval" in found.sentence
    assert not pointed("recorded_late", thresholds=Thresholds(late_days=31))
    evidence.withdraw(late, recorded_at=world.now, recorded_by=None)
    assert not pointed("recorded_late")


def test_many_entries_in_one_sitting(world: World, work: Work) -> None:
    given = Thresholds(sitting_entries=4, sitting_days=4, sitting_break_minutes=10)
    typed = world.now - HOUR

    def record(days_ago: int, minute: int) -> HoursEntry:
        end = (world.now - timedelta(days=days_ago)).replace(hour=15, minute=0) + 8 * HOUR
        return work(days_ago, after=typed + minute * MINUTE - end)

    entries = [record(days, minute) for days, minute in ((20, 0), (19, 9), (18, 19))]
    record(17, 30)
    assert not pointed("one_sitting", thresholds=given)
    entries.append(record(16, 20))
    (found,) = pointed("one_sitting", thresholds=given)
    assert {each.number for each in found.records} >= {each.pk for each in entries}
    # The pause before the last one was as long as allowed: it belongs to the sitting.
    assert figures(found)["entries"] == 5
    assert figures(found)["minutes"] == 30


def test_one_person_countersigning_more_than_one_person_sees(world: World, work: Work, elsewhere: Site) -> None:
    given = Thresholds(signed_minutes_a_day=3 * 480, signed_sites_a_day=2)
    for number in range(3):
        work(5, worker=world.worker("Erector", f"Number{number}"))
    assert not pointed("countersigned_much", thresholds=given)
    last = world.worker("Erector", "Number4")
    work(5, worker=last, minutes=60)
    (found,) = pointed("countersigned_much", thresholds=given)
    assert [each.name for each in found.people] == ["Petra Lindqvist"]
    assert figures(found)["minutes"] == 3 * 480 + 60
    assert figures(found)["people"] == 4
    assert pointed("countersigned_much", thresholds=given, workers=[last.pk]) == (found,)
    outsider = world.worker("Nobody", "Signed")
    assert not pointed("countersigned_much", thresholds=given, workers=[outsider.pk])
    work(9, site=elsewhere, crane=None)
    work(9, at=9 * HOUR, minutes=60)
    sites = pointed("countersigned_much", thresholds=Thresholds(signed_sites_a_day=1))
    assert [figures(each)["sites"] for each in sites] == [2]


def test_people_who_sign_for_one_another(world: World, worker: Worker, work: Work) -> None:
    second, third = world.worker("Bram", "Keld"), world.worker("Ivo", "Tarn")
    work(9, signer=second)
    work(8, worker=second, signer=third)
    assert not pointed("sign_off_ring")
    closing = work(7, worker=third, signer=worker)
    (found,) = pointed("sign_off_ring")
    assert {each.id for each in found.people} == {worker.pk, second.pk, third.pk}
    assert figures(found) == {"people": 3, "signatures": 3}
    assert pointed("sign_off_ring", workers=[second.pk]) == (found,)
    assert not pointed("sign_off_ring", workers=[world.assessor.pk])
    assert not pointed("sign_off_ring", thresholds=Thresholds(ring_people=4))
    evidence.withdraw(closing, recorded_at=world.now, recorded_by=None)
    assert not pointed("sign_off_ring")


def test_on_two_sites_at_once(work: Work, elsewhere: Site) -> None:
    work(9, minutes=240)
    work(9, minutes=120, at=4 * HOUR, site=elsewhere, crane=None)
    assert not pointed("two_sites_at_once")
    one = work(5, minutes=240)
    other = work(5, minutes=240, at=3 * HOUR, site=elsewhere, crane=None)
    (found,) = pointed("two_sites_at_once")
    assert {each.number for each in found.records} == {one.pk, other.pk}
    assert figures(found) == {"pairs": 1, "minutes": 60, "longest": 60}
    assert not pointed("two_sites_at_once", thresholds=Thresholds(overlap_minutes=61))


def test_hours_on_a_crane_before_it_stood_there(world: World, work: Work) -> None:
    crane = equipment.register_crane(model=world.model, serial_number="180-9", recorded_at=world.now)
    came = (world.now - timedelta(days=6)).replace(hour=15, minute=0) + 2 * HOUR
    moved = came + timedelta(days=2)
    equipment.place_crane(crane=crane, site=world.site, start=came, end=moved, recorded_at=world.now, recorded_by=None)
    # Two placements in a row cover what neither covers alone.
    equipment.place_crane(crane=crane, site=world.site, start=moved, recorded_at=world.now, recorded_by=None)
    work(4, crane=crane)
    assert not pointed("crane_not_there")
    early, half = work(7, crane=crane), work(6, crane=crane)
    (found,) = pointed("crane_not_there")
    assert [each.number for each in found.records] == [early.pk, half.pk]
    assert {key: figures(found)[key] for key in ("entries", "before", "minutes")} == {
        "entries": 2,
        "before": 2,
        "minutes": 480 + 120,
    }
    assert "180-9" in found.sentence
    assert "Quillon Wharf" in found.sentence


def test_assessed_minutes_after_the_last_missing_hour(world: World, worker: Worker, work: Work) -> None:
    # The maker's practice asks an erector for 4800 minutes on the model.
    entries = [work(30 - number) for number in range(10)]
    reached = entries[-1].end
    world.assess(worker, "erector", at=reached + 61 * MINUTE)
    assert not pointed("assessed_at_once")
    world.assess(worker, "erector", at=reached + 7 * MINUTE)
    (found,) = pointed("assessed_at_once")
    assert [(each.kind, each.number) for each in found.records][1] == ("hours", entries[-1].pk)
    assert figures(found)["minutes"] == 7
    assert figures(found)["required"] == 4800
    assert "Petra Lindqvist passed Mira Sandoval" in found.sentence
    assert pointed("assessed_at_once", workers=[worker.pk]) == (found,)
    assert not pointed("assessed_at_once", workers=[world.assessor.pk])


def test_results_are_bounded_and_the_rest_is_counted(world: World, work: Work) -> None:
    for number in range(3):
        work(60 + number, worker=world.worker("Late", f"Number{number}"), after=timedelta(days=40 + number))
    found = looked("recorded_late", limit=2)
    assert len(found.pointers) == 2
    assert found.left_off == 1
    assert [figures(each)["longest_days"] for each in found.pointers] == [42, 41]


def test_records_beyond_those_named_are_counted(work: Work) -> None:
    for number in range(23):
        work(90 - number, after=timedelta(days=40))
    (found,) = pointed("recorded_late")
    assert (len(found.records), found.records_left_off) == (20, 3)


def test_scopes(world: World, worker: Worker) -> None:
    other = people.register_employer(name="Other Works", jurisdiction="US", recorded_at=world.now)
    assert worker.pk in workers_of_employer(world.employer.pk)
    assert workers_of_employer(other.pk) == set()
    world.make_erector(worker)
    job = world.job(["erector"])
    world.assign(job.slots.get(), worker)
    assert workers_of_job(job.pk) == {worker.pk}
    assert all(each.pointers == () for each in second_look(workers=[]))


def test_every_rule_says_its_threshold_and_no_pointer_changes_a_decision(world: World, work: Work) -> None:
    odd = Thresholds(
        late_days=9001,
        sitting_entries=9002,
        sitting_days=9003,
        sitting_break_minutes=9004,
        signed_minutes_a_day=9005 * 60,
        signed_sites_a_day=9006,
        ring_people=9007,
        overlap_minutes=9008,
        crane_minutes=9009,
        assessment_minutes=9010,
    )
    words = " ".join(each.words for each in second_look(thresholds=odd)).replace(",", "")
    assert all(str(number) in words for number in range(9001, 9011))
    assert len(RULES) == 8
    assert "not an accusation" in str(NO_ACCUSATION)
    work(90, after=timedelta(days=80))
    before = Decision.objects.count()
    assert second_look()
    assert Decision.objects.count() == before


def test_the_number_of_statements_does_not_depend_on_what_is_found(world: World, work: Work) -> None:
    work(60, after=timedelta(days=40))
    with CaptureQueriesContext(connection) as little:
        second_look()
    for number in range(5):
        work(60 + number, worker=world.worker("Late", f"Number{number}"), after=timedelta(days=40))
    with CaptureQueriesContext(connection) as more:
        assert any(each.pointers for each in second_look())
    assert len(more) == len(little)


@pytest.mark.parametrize("seed", range(40))
def test_rings_are_those_that_networkx_finds(seed: int) -> None:
    """Strongly connected components, by networkx 3 (an independent implementation)."""
    chance = Random(seed)
    people_there = range(chance.randint(1, 30))
    edges = [
        (chance.choice(people_there), chance.choice(people_there))
        for _ in range(chance.randint(0, 2 * len(people_there)))
    ]
    signed_for: dict[int, list[int]] = {}
    for by, whom in edges:
        signed_for.setdefault(by, []).append(whom)
    graph: networkx.DiGraph[int] = networkx.DiGraph(edges)
    expected = [each for each in networkx.strongly_connected_components(graph) if len(each) > 1]
    assert sorted(map(sorted, rings(signed_for))) == sorted(map(sorted, expected))


def test_a_chain_longer_than_the_stack_is_no_trouble() -> None:
    length = 50_000
    chain: dict[int, list[int]] = {number: [number + 1] for number in range(length)}
    assert rings(chain) == []
    chain[length] = [0]
    assert [len(each) for each in rings(chain)] == [length + 1]


def fresh(world: World) -> Account:
    account = people.open_account(username="fresh", password=None, kind="worker", worker=world.assessor)
    enrol_authenticator_app(account=account, secret="INVENTEDFORTESTS")
    return account


def sign_all(world: World, worker: Worker, account: Account, *, entries: int, at: timedelta) -> None:
    for number in range(entries):
        start = world.now - timedelta(days=60 + number)
        new = evidence.NewHours(
            worker=worker,
            model=world.model,
            operation="climbing",
            start=start,
            end=start + 4 * HOUR,
            employer=world.employer,
            site=world.site,
        )
        entry = evidence.record_hours(new=new, recorded_at=world.now, recorded_by=None)
        evidence.countersign(
            entry=entry, by=world.assessor, at=world.now + at, recorded_at=world.now + at, recorded_by=account
        )


def fresh_pointers(**given: Any) -> tuple[Pointer, ...]:
    (rule,) = [each for each in second_look(**given) if each.key == "fresh_account"]
    return rule.pointers


@pytest.mark.parametrize(
    ("opened_ago", "entries", "pointed"),
    [
        (timedelta(days=5), 20, True),
        (timedelta(days=5), 19, False),
        (timedelta(days=31), 20, False),
        (timedelta(minutes=10), 1, True),
        (timedelta(hours=2), 1, False),
    ],
)
def test_much_or_at_once_from_a_fresh_account(
    world: World, worker: Worker, opened_ago: timedelta, entries: int, pointed: bool
) -> None:
    sign_all(world, worker, fresh(world), entries=entries, at=opened_ago)
    found = fresh_pointers()
    assert bool(found) == pointed
    assert bool(fresh_pointers(workers={worker.pk})) == pointed, "also looking at whom was signed for"
    if pointed:
        assert found[0].people[0].id == world.assessor.pk
        assert str(entries) in found[0].sentence


def test_a_fresh_account_that_signs_for_the_firm_that_invited_it(world: World, worker: Worker) -> None:
    made = invite(
        kind="worker",
        worker=world.assessor,
        address="petra@post.example",
        invited_by=world.dispatcher(),
        invited_at=world.now,
    )
    account = accept(
        token_hash=hash_of(made.token), username="petra", password="braced on all four sides", accepted_at=world.now
    )
    enrol_authenticator_app(account=account, secret="INVENTEDFORTESTS")
    sign_all(world, worker, account, entries=1, at=timedelta(days=2))
    (pointer,) = fresh_pointers()
    assert "nobody outside it has seen the person" in pointer.sentence
    inspector = people.open_account(username="seer", password=None, kind="inspector")
    check_identity(account=account, looked_at="passport", checked_at=world.now, checked_by=inspector)
    assert fresh_pointers() == ()
