"""Pages and row-level security show an employer the same records, however employments were recorded and corrected."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection

from registry.crews.access import readable, readable_remarks, reading_ends, visible_workers
from registry.database.readers import account_reader, reading_as
from registry.evidence import services as evidence
from registry.evidence.kinds import RECORDS
from registry.evidence.models import Countersignature, LanguageSkill
from registry.inspection.plans import Instants, instants_read, visible_among
from registry.people import services as people
from registry.people.models import Account, Employer, Employment, Worker
from tests.world import World

pytestmark = pytest.mark.django_db

REMARKS = (Countersignature,)


@pytest.fixture
def world(db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


class Life:
    """Two firms, one worker, and what is recorded about them day after day, drawn from a seed."""

    def __init__(self, world: World, seed: int) -> None:
        self.world, self.random = world, random.Random(seed)
        self.firms = [self._firm(name) for name in ("Cormorant Lift Yard", "Sabelo Hoisting")]
        self.worker = people.register_worker(
            given_name="Ada",
            family_name=f"Quist {seed}",
            date_of_birth=date(1985, 5, 5),
            recorded_at=world.now - timedelta(days=400),
            recorded_by=None,
        )
        for days in range(360, 0, -20):
            self._something(world.now - timedelta(days=days) + timedelta(hours=self.random.randrange(24)))

    def _firm(self, name: str) -> tuple[Employer, Account]:
        past = self.world.now - timedelta(days=500)
        firm = people.register_employer(name=name, jurisdiction="US", recorded_at=past)
        return firm, people.open_account(username=name, password=None, kind="employer", employer=firm)

    def _something(self, at: datetime) -> None:
        draw = self.random
        firm, account = draw.choice(self.firms)
        act = draw.choice(("employ", "end", "withdraw", "language", "correct", "hours", "move"))
        known = list(Employment.objects.current().filter(worker=self.worker, employer=firm))
        if act == "employ":
            start = at.date() + timedelta(days=draw.randrange(-40, 20))
            end = draw.choice((None, start + timedelta(days=draw.randrange(60))))
            people.employ(worker=self.worker, employer=firm, start=start, end=end, recorded_at=at, recorded_by=None)
        elif act == "end" and known:
            each = draw.choice(known)
            last = max(each.start, at.date() + timedelta(days=draw.randrange(-40, 20)))
            evidence.correct(
                each, end=last, recorded_at=at, recorded_by=draw.choice((None, account)) if each.end is None else None
            )
        elif act == "withdraw" and known:
            evidence.withdraw(draw.choice(known), recorded_at=at, recorded_by=None)
        elif act == "move" and known:
            evidence.correct(draw.choice(known), employer=draw.choice(self.firms)[0], recorded_at=at, recorded_by=None)
        elif act == "language":
            on_books = [each for each in known if each.end is None or each.end >= at.date()]
            people.record_language(
                worker=self.worker, language="fr", recorded_at=at, recorded_by=account if on_books else None
            )
        elif act == "correct":
            spoken = LanguageSkill.objects.current().filter(worker=self.worker).first()
            if spoken is not None:
                evidence.correct(spoken, language="de", recorded_at=at, recorded_by=None)
        elif act == "hours":
            self._hours(firm, at)

    def _hours(self, firm: Employer, at: datetime) -> None:
        start = at.replace(hour=1, minute=0) - timedelta(days=1)
        entry = evidence.record_hours(
            new=evidence.NewHours(
                worker=self.worker,
                model=self.world.model,
                operation="dismantling",
                start=start,
                end=start + timedelta(hours=4),
                employer=firm,
                site=self.world.site,
                crane=self.world.crane,
            ),
            recorded_at=at,
            recorded_by=None,
        )
        signed = min(self.world.now, at + timedelta(days=self.random.randrange(60)))
        evidence.countersign(entry=entry, by=self.world.assessor, at=signed, recorded_at=signed, recorded_by=None)


def shown_by_the_database(account: Account, model: Any) -> set[int]:
    with reading_as(account_reader(account.pk)), connection.cursor() as cursor:
        cursor.execute(f"SELECT id FROM {model._meta.db_table}")
        return {number for (number,) in cursor.fetchall()}


@pytest.mark.parametrize("seed", range(25))
def test_both_homes_say_the_same(world: World, seed: int) -> None:
    life = Life(world, seed)
    for _firm, account in life.firms:
        for kind, model in RECORDS.items():
            asked = set(readable(account, model.objects.all()).values_list("pk", flat=True))
            assert asked == shown_by_the_database(account, model), (kind, str(account.employer))
        entries = readable(account, RECORDS["hoursentry"].objects.all())
        for remark in REMARKS:
            said = readable_remarks(account, remark.objects.filter(entry__in=entries))
            assert set(said.values_list("pk", flat=True)) == shown_by_the_database(account, remark)
        # A policy may hide a row, and with it that another row is superseded: the answer is the same all the same.
        with reading_as(account_reader(account.pk)):
            mine = list(visible_workers(account)), reading_ends(account, life.worker.pk)
        assert mine == (list(visible_workers(account)), reading_ends(account, life.worker.pk))


def language(world: World, worker: Worker, *, days_ago: int, by: Account | None = None) -> LanguageSkill:
    at = world.now - timedelta(days=days_ago)
    return people.record_language(worker=worker, language="fr", recorded_at=at, recorded_by=by)


def test_a_firm_that_employed_somebody_for_a_day_reads_nothing_recorded_since(world: World) -> None:
    ada = world.worker("Ada", "Quist")
    firm = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=world.now)
    account = people.open_account(username="once", password=None, kind="employer", employer=firm)
    day = (world.now - timedelta(days=700)).date()
    known, since = language(world, ada, days_ago=800), language(world, ada, days_ago=600)
    people.employ(worker=ada, employer=firm, start=day, end=day, recorded_at=world.now, recorded_by=None)
    for seen in (
        set(readable(account, LanguageSkill.objects.all()).values_list("pk", flat=True)),
        shown_by_the_database(account, LanguageSkill),
    ):
        assert known.pk in seen
        assert since.pk not in seen


def test_a_firm_keeps_what_it_recorded_and_what_became_of_it(world: World) -> None:
    ada, dispatcher = world.worker("Ada", "Quist"), world.dispatcher()
    own = language(world, ada, days_ago=30, by=dispatcher)
    employment = Employment.objects.get(worker=ada)
    last = (world.now - timedelta(days=20)).date()
    evidence.correct(employment, end=last, recorded_at=world.now, recorded_by=dispatcher)
    corrected = evidence.correct(own, language="de", recorded_at=world.now, recorded_by=None)
    again = evidence.correct(corrected, language="en", recorded_at=world.now, recorded_by=None)
    others = language(world, ada, days_ago=0)
    for seen in (
        set(readable(dispatcher, LanguageSkill.objects.filter(worker=ada)).values_list("pk", flat=True)),
        shown_by_the_database(dispatcher, LanguageSkill),
    ):
        assert {own.pk, corrected.pk, again.pk} <= seen
        assert others.pk not in seen


def test_an_answer_as_known_stops_at_the_last_day_of_who_left(world: World) -> None:
    ada, dispatcher = world.worker("Ada", "Quist"), world.dispatcher()
    asked = {"known_at": world.now - timedelta(days=1), "now": world.now}
    assert instants_read(dispatcher, ada.pk, **asked) == Instants(**asked)
    last = (world.now - timedelta(days=20)).date()
    evidence.correct(Employment.objects.get(worker=ada), end=last, recorded_at=world.now, recorded_by=dispatcher)
    over = datetime(last.year, last.month, last.day, 12, tzinfo=UTC) + timedelta(days=1)
    assert instants_read(dispatcher, ada.pk, **asked) == Instants(over, over)
    assert visible_among(dispatcher, [ada.pk], at=world.now) == set()
