"""The check and the assignment over HTTP."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from drf_spectacular.validation import validate_schema
from rest_framework.test import APIClient

from registry.crews.models import Assignment, Refusal
from registry.people import services as people
from tests.world import STANDARD, World, sign_in


def test_a_refusal_is_a_problem_that_says_what_is_missing(world: World, client: APIClient) -> None:
    newcomer = world.worker("Tomas", "Ferreira")
    world.hours(newcomer, days=1)
    slot = world.job(["erector"]).slots.get()
    response = client.post(f"/api/slots/{slot.pk}/assignments/", {"worker": newcomer.pk})
    assert response.status_code == 409
    # RFC 9457, section 3: media type and members of a problem detail.
    assert response.headers["Content-Type"] == "application/problem+json"
    problem = response.json()
    assert {"type", "title", "status", "detail"} <= problem.keys()
    answer = problem["decision"]["answer"]
    assert answer["outcome"] == "refused"
    short = next(each for each in answer["requirements"] if each["key"] == "model_hours")
    assert short["shortfall_minutes"] > 0
    assert answer["remedy"]["items"]
    assert Refusal.objects.count() == 1
    assert not Assignment.objects.exists()


def test_a_permitted_worker_is_assigned(world: World, client: APIClient) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    job = world.job(["erector"])
    response = client.post(f"/api/slots/{job.slots.get().pk}/assignments/", {"worker": erector.pk})
    assert response.status_code == 201, response.json()
    assert response.json()["standing"] == "standing"
    crew = client.get(f"/api/jobs/{job.pk}/crew/").json()
    assert crew["slots"][0]["members"][0]["worker_name"] == "Mira Sandoval"
    assert not crew["ready"]
    assert "supervised_throughout" in {each["rule"] for each in crew["findings"] if not each["met"]}


def test_a_check_assigns_nobody(world: World, client: APIClient) -> None:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    slot = world.job(["erector"]).slots.get()
    response = client.post(f"/api/slots/{slot.pk}/check/", {"worker": erector.pk})
    assert response.json()["outcome"] == "permitted"
    assert client.get(f"/api/decisions/{response.json()['id']}/").status_code == 200
    assert not Assignment.objects.exists()


def test_a_job_is_planned_with_its_slots(world: World, client: APIClient) -> None:
    start = world.now + timedelta(days=2)
    body = {
        "site": world.site.pk,
        "crane": world.crane.pk,
        "operation": "dismantling",
        "standard_key": STANDARD,
        "start": start.isoformat(),
        "end": (start + timedelta(days=2)).isoformat(),
        "roles": ["erection_supervisor", "erector", "erector"],
    }
    response = client.post("/api/jobs/", body)
    assert response.status_code == 201, response.json()
    crew = client.get(f"/api/jobs/{response.json()['id']}/crew/").json()
    assert [(each["role"], each["position"]) for each in crew["slots"]] == [
        ("erection_supervisor", 1),
        ("erector", 1),
        ("erector", 2),
    ]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"end": "2020-01-01T00:00:00Z"}, "end"),
        ({"operation": "painting"}, "operation"),
        ({"roles": []}, "roles"),
        ({"crane": 0}, "crane"),
        ({"standard_key": "no-such-standard"}, "standard_key"),
        ({"start": "tomorrow"}, "start"),
        ({"start": "0001-01-01T00:00:00Z"}, "start"),
        ({"end": "9999-12-31T23:59:00Z"}, "end"),
    ],
)
def test_bad_input_names_its_field(world: World, client: APIClient, change: dict[str, object], field: str) -> None:
    start = world.now + timedelta(days=2)
    body = {
        "site": world.site.pk,
        "crane": world.crane.pk,
        "operation": "dismantling",
        "standard_key": STANDARD,
        "start": start.isoformat(),
        "end": (start + timedelta(days=2)).isoformat(),
        "roles": ["erector"],
    }
    response = client.post("/api/jobs/", body | change)
    assert response.status_code == 400
    assert field in {each["field"] for each in response.json()["problems"]}


def test_somebody_who_is_not_on_the_books_is_not_assigned(world: World, client: APIClient) -> None:
    stranger = people.register_worker(given_name="Ana", family_name="Brisk", recorded_at=world.now, recorded_by=None)
    slot = world.job(["erector"]).slots.get()
    response = client.post(f"/api/slots/{slot.pk}/assignments/", {"worker": stranger.pk})
    assert response.status_code == 400
    assert response.json()["problems"][0]["field"] == "worker"


def test_refusals_are_in_the_language_asked_for_and_answers_in_english(world: World, client: APIClient) -> None:
    newcomer = world.worker("Tomas", "Ferreira")
    slot = world.job(["erector"]).slots.get()
    at_all = {"worker": newcomer.pk, "start": slot.job.end, "end": slot.job.start}
    english = client.post(f"/api/slots/{slot.pk}/assignments/", at_all).json()
    french = client.post(f"/api/slots/{slot.pk}/assignments/", at_all, headers={"Accept-Language": "fr"}).json()
    assert [each["rule"] for each in french["problems"]] == [each["rule"] for each in english["problems"]]
    assert french["detail"] != english["detail"]
    refused = client.post(
        f"/api/slots/{slot.pk}/assignments/", {"worker": newcomer.pk}, headers={"Accept-Language": "fr"}
    )
    (short,) = [each for each in refused.json()["decision"]["answer"]["requirements"] if each["key"] == "model_hours"]
    assert short["shortfall"].endswith(" h missing")
    assert short["said"]["shortfall"] == {
        "say": "%(amount)s missing",
        "with": {"amount": {"minutes": short["shortfall_minutes"]}},
    }


def test_another_employers_job_is_not_there(world: World) -> None:
    other = people.register_employer(name="Other Works", jurisdiction="US", recorded_at=world.now)
    account = people.open_account(username="other", password="another-long-word", kind="employer", employer=other)
    stranger = APIClient()
    sign_in(stranger, account)
    job = world.job(["erector"])
    assert stranger.get(f"/api/jobs/{job.pk}/").status_code == 404
    response = stranger.post(f"/api/slots/{job.slots.get().pk}/assignments/", {"worker": world.assessor.pk})
    assert response.status_code == 404


def test_an_inspector_reads_and_assigns_nobody(world: World) -> None:
    inspector = APIClient()
    sign_in(inspector, people.open_account(username="inspector", password="a-very-long-word", kind="inspector"))
    job = world.job(["erector"])
    assert inspector.get(f"/api/jobs/{job.pk}/crew/").status_code == 200
    response = inspector.post(f"/api/slots/{job.slots.get().pk}/assignments/", {"worker": world.assessor.pk})
    assert response.status_code == 403


def test_nobody_unknown_gets_in(db: None) -> None:
    response = APIClient().get("/api/jobs/")
    assert response.status_code == 403
    assert response.headers["Content-Type"] == "application/problem+json"


def test_the_schema_is_valid_openapi(client: APIClient) -> None:
    """Checked by drf-spectacular against the OpenAPI 3.1 schema."""
    response = client.get("/api/schema/", HTTP_ACCEPT="application/json")
    validate_schema(response.json())


def test_an_assignment_takes_a_fixed_number_of_statements(world: World, client: APIClient) -> None:
    counts = []
    for name, days in (("Mira", 25), ("Rafe", 50)):
        erector = world.worker(name, "Sandoval")
        world.make_erector(erector, days=days)
        slot = world.job(["erector"]).slots.get()
        with CaptureQueriesContext(connection) as captured:
            assert client.post(f"/api/slots/{slot.pk}/assignments/", {"worker": erector.pk}).status_code == 201
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_check_and_assign_takes_few_statements_however_long_the_record(world: World, client: APIClient) -> None:
    counts = []
    for days, starts_in in ((30, 3), (60, 20)):
        erector = world.worker(f"Mira{days}", "Sandoval")
        world.make_erector(erector, days=days)
        slot = world.job(["erector"], starts_in=starts_in).slots.get()
        with CaptureQueriesContext(connection) as made:
            response = client.post(f"/api/slots/{slot.pk}/assignments/", {"worker": erector.pk})
        assert response.status_code == 201, response.json()
        counts.append(len(made))
    assert counts[0] == counts[1] <= 20
