"""Candidates for a place: the sieve and the engine together give the engine's answer for everybody."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoAssertNumQueries

from registry.crews import services as crews
from registry.crews.candidates import candidates_for
from registry.crews.models import Slot
from registry.crews.queries import answer, asking_for_slot, slot_with_job, standard_of
from registry.crews.sieve import Sieve
from registry.database.errors import RecordRefused
from registry.engine.bad_input import BadInput
from registry.engine.calendar import local_date, months_before
from registry.engine.harmless import folded, spelled_alike
from registry.engine.requirements.appointment import Appointed
from registry.engine.requirements.assessment import PracticalAssessment
from registry.engine.requirements.certificate import Certified
from registry.engine.requirements.hours import Hours
from registry.engine.requirements.instruction import Instructed
from registry.engine.requirements.leaf import Leaf
from registry.engine.standard import RoleStandard, Source
from registry.equipment.services import place_crane, register_crane, register_site
from registry.evidence import services as evidence
from registry.evidence.models import Instruction
from registry.people import services as people
from registry.people.models import Worker
from tests.engine.test_new_kind import Medal
from tests.world import World

pytestmark = pytest.mark.django_db

SHARE_IN_ORDER = 0.96
PEOPLE_A_ROLE = 2
ROLES = ["erection_supervisor", "erector", "trainee", "rigger", "signal_person", "crane_operator"]
ROLES += ["assist_crane_operator", "overseeing_engineer"]


@dataclass
class Lives:
    """People who each aim at one role: most of what it asks is there, some of it is just not."""

    world: World
    chance: random.Random

    def make(self, role: RoleStandard, number: int) -> Worker:
        """Somebody whose records aim at ``role``."""
        worker = self.world.worker("Aimo", f"{role.role.title().replace('_', '')} {number}")
        for leaf in role.leaves():
            self.record(leaf, role, worker, in_order=self.chance.random() < SHARE_IN_ORDER)
        return worker

    def record(self, leaf: Leaf, role: RoleStandard, worker: Worker, *, in_order: bool) -> None:
        """A record that meets the leaf, or one that nearly does."""
        now = self.world.now
        long_ago = now - timedelta(days=860)
        at = now - timedelta(days=90) if in_order else self.chance.choice([long_ago, now - timedelta(days=1)])
        if isinstance(leaf, Instructed):
            topic = self.spelled(leaf.topic) if in_order or at == long_ago else "another topic"
            provider = next(iter(sorted(leaf.providers)), "employer")
            model = self.world.model if leaf.scope == "model" else None
            evidence.record_instruction(
                worker=worker,
                topic=topic,
                provider=provider,
                model=model,
                completed_at=at,
                recorded_at=at,
                recorded_by=None,
            )
        elif isinstance(leaf, Certified):
            evidence.record_certification(
                worker=worker,
                scheme=self.spelled(leaf.schemes[0]),
                number=f"{leaf.key}-{worker.pk}",
                issuer="Norrland Board",
                issued=long_ago.date(),
                expires=(now + timedelta(days=400 if in_order else self.chance.choice([-3, 4, 5]))).date(),
                classes=["hammerhead"],
                scope=sorted(leaf.scope),
                recorded_at=long_ago,
                recorded_by=None,
            )
        elif isinstance(leaf, Appointed) and "duty" in leaf.kinds:
            evidence.appoint(
                worker=worker,
                duty=self.spelled(leaf.duty),
                employer=self.world.employer,
                start=long_ago,
                end=None if in_order else now + timedelta(days=self.chance.choice([-2, 5])),
                appointed_by="Ines Okoro",
                stop_work_authority=leaf.stop_work_authority and self.chance.random() < SHARE_IN_ORDER,
                recorded_at=long_ago,
                recorded_by=None,
            )
        elif isinstance(leaf, PracticalAssessment):
            self.world.assess(
                worker,
                leaf.role or role.role,
                outcome="pass" if in_order else self.chance.choice(["pass", "not_yet_competent"]),
                at=at,
            )
        elif isinstance(leaf, Hours):
            days = -(-leaf.minimum // (8 * 60)) + (1 if in_order else -2)
            self.hours(worker, leaf, role, days=max(days, 0))

    def spelled(self, name: str) -> str:
        """A name as it stands in the standard, or as people write it."""
        return self.chance.choice([name, name.replace("_", " ").capitalize(), f" {name.upper()} ", f"{name}…"])

    def hours(self, worker: Worker, leaf: Hours, role: RoleStandard, *, days: int) -> None:
        """Days of eight hours of the kind that the leaf counts."""
        world = self.world
        capacity = leaf.capacity or ("erector" if role.role == "erection_supervisor" else role.role)
        first = world.now - timedelta(days=12 + days)
        signed = self.chance.random() < SHARE_IN_ORDER
        rows = []
        for number in range(days):
            start = (first + timedelta(days=number)).replace(hour=15, minute=0)
            end = start + timedelta(hours=8)
            new = evidence.NewHours(
                worker=worker,
                model=world.model,
                operation=sorted(leaf.operations or {"dismantling"})[number % len(leaf.operations or [1])],
                capacity=capacity,
                start=start,
                end=end,
                employer=world.employer,
                site=world.site,
                crane=world.crane,
                countersigner=world.assessor if signed else None,
                countersigned_at=end + timedelta(hours=1) if signed else None,
            )
            rows.append(new)
        for week in (rows[place : place + 7] for place in range(0, days, 7)):
            evidence.record_hours_in_bulk(rows=week, recorded_at=week[-1].end + timedelta(hours=10), recorded_by=None)


@pytest.mark.parametrize("standard_key", ["makers-practice-us", "us-federal-crane-assembly"])
def test_for_everybody_the_answer_is_the_engines(world: World, standard_key: str) -> None:
    job = world.job(ROLES, days=2, standard_key=standard_key)
    standard = standard_of(job)
    lives = Lives(world, random.Random(41))
    everybody = [
        lives.make(standard.by_role_and_operation[role, "dismantling"], number)
        for role in ROLES
        for number in range(PEOPLE_A_ROLE)
    ]
    outcomes: Counter[str] = Counter()
    for slot in job.slots.all():
        slot = slot_with_job(slot.pk)
        found = candidates_for(slot, start=job.start, end=job.end, most=1000)
        permitted = {each.worker.pk for each in found.permitted}
        assert not found.undecided
        sieve = Sieve(standard.by_role_and_operation[slot.role, "dismantling"], slot.job, job.start, job.end)
        met = sieve.met(everybody)
        minutes = sieve.minutes(everybody)
        missing = {each: sieve.missing(met[each], minutes[each.pk]) for each in everybody}
        for worker in everybody:
            given = answer(asking_for_slot(slot, worker=worker.pk, start=job.start, end=job.end)).answer
            assert given.permitted == (worker.pk in permitted), (slot, worker, missing[worker])
            outcomes[f"{slot.role} {given.outcome}"] += 1
            outcomes["sifted out"] += bool(missing[worker])
            outcomes["refused"] += not given.permitted
    # The lives above give both answers, and the sieve leaves few to the engine.
    assert sum(outcomes[f"{role} permitted"] > 0 for role in ROLES) >= len(ROLES) - 2, outcomes
    assert outcomes["refused"] > len(everybody)
    assert outcomes["sifted out"] > outcomes["refused"] * 0.8, outcomes


def test_a_kind_of_requirement_that_the_sieve_does_not_know_rules_nobody_out(world: World, place: Slot) -> None:
    source = Source("own", "common practice, no source", "common_practice")
    medal = Medal(key="gold", sentence="a medal", source=source, cost=1, rank="gold")
    role = RoleStandard("erector", frozenset({"dismantling"}), medal)
    worker = world.worker("Ulmar", "Orsk")
    sieve = Sieve(role, slot_with_job(place.pk).job, place.job.start, place.job.end)
    met = sieve.met([worker])[worker]
    assert sieve.missing(met, sieve.minutes([worker])[worker.pk]) == []


# What the pages rely on


def offered(slot: Slot, **asked: object) -> list[str]:
    """Names of the permitted, in order."""
    slot = slot_with_job(slot.pk)
    found = candidates_for(slot, start=slot.job.start, end=slot.job.end, **asked)  # type: ignore[arg-type]
    return [str(each.worker) for each in found.permitted]


@pytest.fixture
def place(world: World) -> Slot:
    """An erector's place; three erectors are on the books, and the assessor, who is none."""
    for name in ("Ruvik", "Sabel", "Tammo"):
        world.make_erector(world.worker(name, f"Orsk{name}"))
    return world.job(["erector", "erector"]).slots.first()  # type: ignore[return-value]


def test_the_permitted_are_named_with_how_long_their_documents_hold(place: Slot) -> None:
    slot = slot_with_job(place.pk)
    found = candidates_for(slot, start=slot.job.start, end=slot.job.end)
    assert [str(each.worker) for each in found.permitted] == ["Ruvik OrskRuvik", "Sabel OrskSabel", "Tammo OrskTammo"]
    assert all(each.holds_until and each.holds_until > slot.job.end for each in found.permitted)


def test_the_refused_are_told_what_they_lack_and_by_how_much(world: World, place: Slot) -> None:
    short = world.worker("Ulla", "Brevik")
    world.make_erector(short, days=3)
    slot = slot_with_job(place.pk)
    found = candidates_for(slot, start=slot.job.start, end=slot.job.end)
    lacks = {str(each.worker): each.lacks for each in found.refused}
    assert any("at most 24 h on record" in each for each in lacks["Ulla Brevik"])
    assert list(lacks) == ["Ulla Brevik", "Petra Lindqvist"]


def test_somebody_stood_down_is_refused_by_the_engine_not_overlooked_by_the_sieve(world: World, place: Slot) -> None:
    barred = Worker.objects.get(given_name="Sabel")
    sent_off = world.now - timedelta(days=4)
    act = evidence.stand_down(
        worker=barred, start=sent_off, reason="Unhooked the tag line.", recorded_at=sent_off, recorded_by=None
    )
    assert "Sabel OrskSabel" not in offered(place)
    evidence.record_instruction(
        worker=barred,
        topic="retraining",
        provider="employer",
        completed_at=world.now - timedelta(days=3),
        after_stand_down=act,
        document=world.scan,
        recorded_at=world.now - timedelta(days=3),
        recorded_by=None,
    )
    assert Instruction.objects.filter(after_stand_down=act).exists()
    assert "Sabel OrskSabel" not in offered(place), "retrained, but not assessed again"
    world.assess(barred, "erector", at=world.now - timedelta(days=2))
    assert "Sabel OrskSabel" in offered(place)


def test_whoever_is_on_a_crew_then_comes_last_and_is_said_to_be(world: World, place: Slot) -> None:
    world.assign(place, Worker.objects.get(given_name="Ruvik"))
    elsewhere = world.job(["erector"], starts_in=4).slots.get()
    world.assign(elsewhere, Worker.objects.get(given_name="Sabel"))
    other = slot_with_job(place.job.slots.last().pk)  # type: ignore[union-attr]
    found = candidates_for(other, start=other.job.start, end=other.job.end)
    assert [(str(each.worker), each.busy) for each in found.permitted] == [("Tammo OrskTammo", "")]
    assert [(str(each.worker), each.busy) for each in found.elsewhere] == [
        ("Ruvik OrskRuvik", "is on this crew already: erector"),
        ("Sabel OrskSabel", "is on another job then: Quillon Wharf"),
    ]
    for each in found.elsewhere:
        with pytest.raises(RecordRefused), transaction.atomic():
            world.assign(other, each.worker)
    assert world.assign(other, found.permitted[0].worker).permitted


def test_where_another_employer_has_somebody_work_is_not_said(world: World, place: Slot) -> None:
    past = world.now - timedelta(days=890)
    other = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=past)
    sabel = Worker.objects.get(given_name="Sabel")
    people.employ(worker=sabel, employer=other, start=past.date(), recorded_at=past, recorded_by=None)
    world.assign(place, sabel)
    theirs = crews.plan_job(
        employer=other,
        site=world.site,
        crane=world.crane,
        operation="dismantling",
        standard_key="us-federal-crane-assembly",
        start=place.job.start,
        end=place.job.end,
        roles=["erector"],
        recorded_at=world.now,
        recorded_by=None,
    )
    found = candidates_for(slot_with_job(theirs.slots.get().pk), start=theirs.start, end=theirs.end)
    (busy,) = [each.busy for each in (*found.permitted, *found.elsewhere, *found.refused)]
    assert busy == "This person is on another job at that time."


def test_a_search_narrows_by_name_and_number(place: Slot) -> None:
    assert offered(place, query="orskTAMMO") == ["Tammo OrskTammo"]
    assert offered(place, query=Worker.objects.get(given_name="Sabel").number) == ["Sabel OrskSabel"]
    assert offered(place, query="nobody of this name") == []


def test_no_more_are_asked_about_than_wanted_and_the_others_are_named(place: Slot) -> None:
    slot = slot_with_job(place.pk)
    found = candidates_for(slot, start=slot.job.start, end=slot.job.end, most=1)
    assert [str(each.worker) for each in found.permitted] == ["Ruvik OrskRuvik"]
    assert [str(each.worker) for each in found.undecided] == ["Sabel OrskSabel", "Tammo OrskTammo"]


def test_nobody_whose_employment_ends_before_the_job_does_is_a_candidate(world: World, place: Slot) -> None:
    leaver = people.register_worker(
        given_name="Vidar",
        family_name="Ost",
        date_of_birth=None,
        recorded_at=world.now - timedelta(days=890),
        recorded_by=None,
    )
    people.employ(
        worker=leaver,
        employer=world.employer,
        start=(world.now - timedelta(days=800)).date(),
        end=(place.job.end - timedelta(days=1)).date(),
        recorded_at=world.now - timedelta(days=800),
        recorded_by=None,
    )
    world.make_erector(leaver)
    assert "Vidar Ost" not in offered(place)


def test_a_role_that_the_standard_does_not_know_is_said_so(place: Slot) -> None:
    slot = slot_with_job(place.pk)
    slot.role = "lamplighter"
    with pytest.raises(BadInput, match="says nothing of this role"):
        candidates_for(slot, start=slot.job.start, end=slot.job.end)


def test_the_number_of_statements_does_not_grow_with_the_people(
    world: World, place: Slot, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with CaptureQueriesContext(connection) as few:
        offered(place)
    for number in range(8):
        world.make_erector(world.worker("Wim", f"Orsk {number}"))
        world.worker("Xenia", f"Orsk {number}")
    with django_assert_num_queries(len(few)):
        assert len(offered(place)) == 11


def test_one_branch_of_an_any_of_may_hold_at_first_and_another_later(world: World) -> None:
    """A certificate through tomorrow, an engineer's licence from tomorrow: somebody is qualified all the time."""
    director, past = world.worker("Ulf", "Grane"), world.now - timedelta(days=300)
    recording: dict[str, Any] = {"recorded_at": past, "recorded_by": None}
    world.hours(director, days=90)
    for topic in ("assembly_procedures", "subpart_cc_training", "crew_tasks_and_hazards"):
        world.instruct(director, topic, past)
    world.instruct(director, "model_instruction", past, model=True)
    evidence.appoint(
        worker=director,
        duty="erection_supervisor",
        employer=world.employer,
        start=past,
        appointed_by="Ines Okoro",
        stop_work_authority=True,
        **recording,
    )
    world.assess(director, "erection_supervisor")
    changes = local_date(world.now, ZoneInfo(world.site.time_zone)) + timedelta(days=1)
    held: dict[str, Any] = {"worker": director, "number": "1", "issuer": "Norrland Board", **recording}
    evidence.record_certification(
        scheme="tower crane erection", issued=past.date(), expires=changes, classes=["hammerhead"], **held
    )
    evidence.record_certification(
        scheme="professional engineer licence", issued=changes, **held | {"recorded_at": world.now}
    )
    job = world.job(["erection_supervisor"], starts_in=0)
    found = candidates_for(slot_with_job(job.slots.get().pk), start=job.start, end=job.end)
    assert [each.worker for each in found.permitted] == [director]


def test_hours_count_by_the_clock_of_their_own_site(world: World) -> None:
    """The first night of the months that count has begun in Newfoundland while it is the day before in Vancouver."""
    job = world.job(["erector"])
    role = standard_of(job).by_role_and_operation["erector", "dismantling"]
    leaf = next(each for each in role.leaves() if isinstance(each, Hours) and each.within_months)
    first = months_before(local_date(job.start, ZoneInfo(world.site.time_zone)), leaf.within_months or 0)
    start = datetime(first.year, first.month, first.day, tzinfo=ZoneInfo("America/St_Johns"))
    longer_ago = start - timedelta(days=30)
    away = register_site(
        name="Gannet Slip",
        time_zone="America/St_Johns",
        jurisdiction="US",
        working_language="en",
        recorded_at=longer_ago,
    )
    crane = register_crane(model=world.model, serial_number="180-9", recorded_at=longer_ago)
    place_crane(crane=crane, site=away, start=longer_ago, recorded_at=longer_ago, recorded_by=None)
    worker = world.worker("Ulf", "Grane")
    evidence.record_hours(
        new=evidence.NewHours(
            worker=worker,
            model=world.model,
            operation="dismantling",
            start=start.astimezone(UTC),
            end=(start + timedelta(hours=3)).astimezone(UTC),
            employer=world.employer,
            site=away,
            crane=crane,
            countersigner=world.assessor,
            countersigned_at=start.astimezone(UTC) + timedelta(hours=3),
        ),
        recorded_at=world.now,
        recorded_by=None,
    )
    sieve = Sieve(role, slot_with_job(job.slots.get().pk).job, job.start, job.end)
    assert sieve.minutes([worker])[worker.pk][leaf.key] == 3 * 60


def test_the_database_never_tells_apart_what_the_engine_takes_for_one() -> None:
    """Random names of a few letters, figures, marks and spaces, compared by both."""
    chance = random.Random(17)
    written = ["".join(chance.choices("aAbB12-_. \t\u00e9\u00df\uff21", k=chance.randint(1, 5))) for _ in range(600)]
    pairs = [(one, other) for one in written for other in chance.sample(written, 20)]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT registry_may_be_spelled_as(one, ARRAY[other]) "
            "FROM unnest(%s::text[], %s::text[]) AS pair (one, other)",
            [[one for one, _ in pairs], [folded(other) for _, other in pairs]],
        )
        may_be = [each for (each,) in cursor.fetchall()]
    alike = [spelled_alike(*pair) for pair in pairs]
    assert [pair for pair, same, may in zip(pairs, alike, may_be, strict=True) if same and not may] == []
    assert 50 < sum(alike) < sum(may_be) < len(pairs)
