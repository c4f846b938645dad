"""Questions as of a past instant over HTTP."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from drf_spectacular.validation import validate_schema
from rest_framework.test import APIClient

from api.inspection import ComparisonOutput, CrewAsKnownOutput
from registry.crews import services as crews
from registry.crews.models import Job
from registry.evidence import services as evidence
from registry.people import services as people
from registry.people.models import Account, Worker
from tests.world import STANDARD, World, sign_in


def signed_in(account: Account) -> APIClient:
    client = APIClient()
    sign_in(client, account)
    return client


@pytest.fixture
def erector(world: World) -> Worker:
    erector = world.worker("Mira", "Sandoval")
    world.make_erector(erector)
    return erector


@pytest.fixture
def job(world: World, erector: Worker) -> Job:
    job = world.job(["erector"])
    world.assign(job.slots.get(), erector)
    return job


@pytest.fixture
def barred_late(world: World, job: Job, erector: Worker) -> None:
    """The assessor's stand-down, in force since long ago and recorded just now: it takes the signatures' worth."""
    evidence.stand_down(
        worker=world.assessor,
        start=world.now - timedelta(days=800),
        reason="signed without looking",
        recorded_at=world.now,
        recorded_by=None,
    )


def slot_url(job: Job) -> str:
    return f"/api/slots/{job.slots.get().pk}/as-known-at/"


def about(worker: Worker, world: World) -> dict[str, str]:
    """The question about a worker as of the minute before the world's present."""
    return {"worker": str(worker.pk), "at": before(world)}


def before(world: World) -> str:
    return (world.now - timedelta(minutes=1)).isoformat()


def test_both_answers_and_the_record_that_makes_the_difference(
    world: World, client: APIClient, job: Job, erector: Worker, barred_late: None
) -> None:
    response = client.get(slot_url(job), about(erector, world))
    assert response.status_code == 200, response.json()
    found = response.json()
    assert (found["then"]["outcome"], found["by_now"]["outcome"]) == ("permitted", "refused")
    (difference,) = found["differences"]
    assert difference["why"] == "stood_down_since"
    assert difference["worker"] == world.assessor.pk
    assert difference["effects"]


def test_what_comes_out_is_what_the_schema_says(
    world: World, client: APIClient, job: Job, erector: Worker, barred_late: None
) -> None:
    found = client.get(slot_url(job), about(erector, world)).json()
    assert_shape(ComparisonOutput(), found)
    during = (job.start + timedelta(hours=1)).isoformat()
    crew = client.get(f"/api/jobs/{job.pk}/as-known-at/", {"at": before(world), "during": during}).json()
    assert crew["places"][0]["since"]
    assert_shape(CrewAsKnownOutput(), crew)
    validate_schema(client.get("/api/schema/", HTTP_ACCEPT="application/json").json())


def assert_shape(serializer: Any, data: Any) -> None:
    """Every key of the serializer is there and no other, at every depth."""
    if hasattr(serializer, "child"):
        for each in data:
            assert_shape(serializer.child, each)
    elif hasattr(serializer, "fields"):
        assert data.keys() == serializer.fields.keys()
        for name, field in serializer.fields.items():
            assert_shape(field, data[name])


def test_who_stood_on_the_crew(world: World, client: APIClient, job: Job, barred_late: None) -> None:
    # The assignment and the hold are recorded at the present; the job was planned before it.
    during = (job.start + timedelta(hours=1)).isoformat()
    url = f"/api/jobs/{job.pk}/as-known-at/"
    found = client.get(url, {"at": before(world), "during": during}).json()
    assert found["not_planned_yet"]
    (place,) = found["places"]
    assert place["then"] == []
    assert [each["standing"] for each in place["by_now"]] == ["held"]
    assert [each["outcome_differs"] for each in place["comparisons"]] == [True]


def test_a_plus_sign_that_nobody_encoded(world: World, client: APIClient, job: Job, erector: Worker) -> None:
    url = f"{slot_url(job)}?worker={erector.pk}&at={before(world)}"
    assert "+00:00" in url
    assert client.get(url).status_code == 200


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"at": "2026-05-01T07:30"}, "at"),
        ({"at": "yesterday"}, "at"),
        ({"at": None}, "at"),
        ({"at": "2999-01-01T00:00Z"}, "at"),
        ({"worker": None}, "worker"),
        ({"worker": "Mira"}, "worker"),
        ({"start": "2026-05-01"}, "start"),
        ({"start": "2026-05-02T07:30Z", "end": "2026-05-01T07:30Z"}, "$.question.end"),
    ],
)
def test_bad_input_names_its_field(
    world: World, client: APIClient, job: Job, erector: Worker, change: dict[str, Any], field: str
) -> None:
    asked = {**about(erector, world), **change}
    response = client.get(slot_url(job), {key: value for key, value in asked.items() if value is not None})
    assert response.status_code == 400
    # RFC 9457, section 3: media type of a problem detail.
    assert response.headers["Content-Type"] == "application/problem+json"
    assert field in {each["field"] for each in response.json()["problems"]}


def test_a_worker_asks_about_themself_alone(world: World, job: Job, erector: Worker, barred_late: None) -> None:
    account = people.open_account(username="mira", password=None, kind="worker", worker=erector)
    client = signed_in(account)
    response = client.get(slot_url(job), about(erector, world))
    assert response.status_code == 200
    (difference,) = response.json()["differences"]
    assert difference["number"] is None
    assert difference["worker"] is None
    assert "Petra" not in difference["sentence"]
    assert "signed without looking" not in response.content.decode()
    other = client.get(slot_url(job), about(world.assessor, world))
    assert other.status_code == 404


def test_of_a_crew_a_worker_sees_themself(world: World, erector: Worker) -> None:
    other = world.worker("Rafe", "Ostrom")
    world.make_erector(other)
    job = world.job(["erector", "erector"])
    for place, worker in zip(job.slots.order_by("id"), (erector, other), strict=True):
        world.assign(place, worker)
    asked = {"at": before(world), "during": job.start.isoformat()}
    client = signed_in(people.open_account(username="mira", password=None, kind="worker", worker=erector))
    body = client.get(f"/api/jobs/{job.pk}/as-known-at/", asked).content.decode()
    assert "Mira Sandoval" in body
    assert "Rafe" not in body


def test_another_employer_finds_nothing(world: World, job: Job, erector: Worker) -> None:
    firm = people.register_employer(name="Other Works", jurisdiction="US", recorded_at=world.now)
    client = signed_in(people.open_account(username="other", password=None, kind="employer", employer=firm))
    assert client.get(slot_url(job), about(erector, world)).status_code == 404
    asked = {"at": before(world), "during": job.start.isoformat()}
    assert client.get(f"/api/jobs/{job.pk}/as-known-at/", asked).status_code == 404
    assert APIClient().get(slot_url(job), about(erector, world)).status_code == 403


def test_an_inspector_looks_back_at_an_earlier_plan(world: World, job: Job, erector: Worker) -> None:
    crews.plan_job(
        employer=world.employer,
        site=world.site,
        crane=world.crane,
        operation="dismantling",
        standard_key=STANDARD,
        start=job.start + timedelta(days=1),
        end=job.end,
        roles=["erector"],
        recorded_at=world.now,
        recorded_by=None,
        supersedes=job,
    )
    client = signed_in(people.open_account(username="inspector", password=None, kind="inspector"))
    asked = {"at": before(world), "during": job.start.isoformat()}
    response = client.get(f"/api/jobs/{job.pk}/as-known-at/", asked)
    assert response.status_code == 200
    assert "was replaced by job" in response.json()["replaced"]
    assert client.get(slot_url(job), about(erector, world)).status_code == 200
