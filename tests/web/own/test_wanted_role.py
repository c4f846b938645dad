"""What is missing for a role: the engine's answer about one shift, with nothing recorded."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from registry.crews import wanted
from registry.crews.models import Decision
from registry.engine.files.standard_file import parse_standard
from registry.inspection.models import Look
from registry.people import services as people
from registry.people.models import Account, Worker
from registry.standards.models import StandardVersion
from tests.world import STANDARD, World

AsWorker = Callable[[Worker], Client]
SignedIn = Callable[[Account], Client]


@pytest.fixture
def mira(world: World) -> Worker:
    return world.worker("Mira", "Sandoval")


def question(world: World, **given: Any) -> dict[str, Any]:
    day = (world.now + timedelta(days=3)).date().isoformat()
    asked = {"role": "erector", "operation": "dismantling", "model": world.model.pk, "standard": STANDARD, "day": day}
    return {**asked, **given}


def test_a_worker_sees_what_is_met_what_is_missing_by_how_much_and_what_would_cure_it(
    world: World, mira: Worker, as_worker: AsWorker
) -> None:
    world.hours(mira, days=2)
    shown = as_worker(mira).get(f"/workers/{mira.pk}/role/", question(world)).text
    assert "Something is missing" in shown
    assert "What would cure it" in shown
    assert "Clock and working language are those of Quillon Wharf" in shown
    # 16 hours were worked, but before any instruction, after which alone the standard counts them.
    assert "80 h missing" in shown
    assert "Source:" in shown
    assert "it does not make a lift safe" in shown
    assert not Decision.objects.exists()
    assert not Look.objects.exists()


def test_somebody_qualified_is_told_until_when(world: World, mira: Worker, as_worker: AsWorker) -> None:
    world.make_erector(mira)
    shown = as_worker(mira).get(f"/workers/{mira.pk}/role/", question(world)).text
    assert "Everything is there" in shown
    assert "As things stand this holds until" in shown


def test_a_worker_asks_about_themself_only_and_an_employer_about_its_people(
    world: World, mira: Worker, as_worker: AsWorker, dispatcher: Client, another_employer: Client, inspector: Client
) -> None:
    other = world.worker("Aurel", "Voskuijlen")
    client = as_worker(mira)
    refused = [client.get(f"/workers/{each}/role/", question(world)) for each in (other.pk, 999_999)]
    refused += [each.get(f"/workers/{mira.pk}/role/", question(world)) for each in (another_employer, inspector)]
    for each in refused:
        assert each.status_code == 403
        assert "Voskuijlen" not in each.text
        assert "Sandoval" not in each.text
    assert dispatcher.get(f"/workers/{mira.pk}/role/", question(world)).status_code == 200
    look = Look.objects.get()
    assert (look.what, look.worker_id) == ("wanted_role", mira.pk)


def test_what_cannot_be_asked_is_told_beside_its_field(world: World, mira: Worker, as_worker: AsWorker) -> None:
    client = as_worker(mira)
    today = world.now.date()
    for wrong, field, sentence in (
        ({"day": (today - timedelta(days=2)).isoformat()}, "id_day", "from today on"),
        ({"model": 999_999}, "id_model", "Select a valid choice"),
        ({"role": "captain"}, "id_role", "Select a valid choice"),
        ({"standard": "another"}, "id_standard", "Select a valid choice"),
    ):
        refused = client.get(f"/workers/{mira.pk}/role/", question(world, **wrong))
        assert refused.status_code == 422
        assert f'id="{field}_error"' in refused.text
        assert sentence in refused.text


def test_a_role_that_the_standard_says_nothing_of_is_told_beside_its_field(
    world: World, mira: Worker, as_worker: AsWorker, monkeypatch: pytest.MonkeyPatch
) -> None:
    version = StandardVersion.objects.get(key=STANDARD)
    roles = [each for each in version.content["roles"] if each["role"] != "rigger"]
    without_riggers = parse_standard({**version.content, "roles": roles})
    monkeypatch.setattr(wanted, "standard_for", lambda asking: (version, without_riggers))
    refused = as_worker(mira).get(f"/workers/{mira.pk}/role/", question(world, role="rigger"))
    assert refused.status_code == 422
    assert 'id="id_role_error"' in refused.text
    assert "says nothing of a rigger in dismantling" in refused.text


def test_a_worker_of_two_employers_chooses_one(world: World, mira: Worker, as_worker: AsWorker) -> None:
    client = as_worker(mira)
    assert 'name="employer"' not in client.get(f"/workers/{mira.pk}/role/").text
    other = people.register_employer(name="Cormorant Lift Yard", jurisdiction="XX", recorded_at=world.now)
    people.employ(worker=mira, employer=other, start=world.now.date(), recorded_at=world.now, recorded_by=None)
    assert 'name="employer"' in client.get(f"/workers/{mira.pk}/role/").text
    refused = client.get(f"/workers/{mira.pk}/role/", question(world, employer=other.pk))
    assert refused.status_code == 422
    assert "not in force where the employer is" in refused.text


def test_where_an_employer_works_now_is_told_to_its_own_people_only(
    world: World, mira: Worker, as_worker: AsWorker
) -> None:
    past = world.now - timedelta(days=400)
    left = people.register_worker(given_name="Ida", family_name="Quist", recorded_at=past, recorded_by=None)
    ended: dict[str, Any] = {"start": past.date(), "end": (past + timedelta(days=9)).date()}
    people.employ(worker=left, employer=world.employer, **ended, recorded_at=past, recorded_by=None)
    world.job(["erector"])
    assert "those of Quillon Wharf" in as_worker(mira).get(f"/workers/{mira.pk}/role/", question(world)).text
    told = as_worker(left).get(f"/workers/{left.pk}/role/", question(world)).text
    assert "No site is known yet" in told
    assert "Quillon Wharf" not in told


def test_without_an_employer_there_is_nothing_to_ask(world: World, as_worker: AsWorker) -> None:
    alone = people.register_worker(given_name="Ida", family_name="Quist", recorded_at=world.now, recorded_by=None)
    shown = as_worker(alone).get(f"/workers/{alone.pk}/role/").text
    assert "there is nothing to ask" in shown
