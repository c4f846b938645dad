"""What JSON does not allow or the database cannot hold is answered as a problem, never with a failure."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.test import override_settings
from rest_framework.test import APIClient

from registry.crews.models import Decision, Job
from tests.world import STANDARD, World

PROBLEM = "application/problem+json"


def planned(world: World, **given: Any) -> dict[str, Any]:
    start = world.now + timedelta(days=2)
    return {
        "site": world.site.pk,
        "crane": world.crane.pk,
        "operation": "dismantling",
        "standard_key": STANDARD,
        "start": start.isoformat(),
        "end": (start + timedelta(days=1)).isoformat(),
        "roles": ["erector"],
        **given,
    }


def refused(client: APIClient, path: str, body: str | bytes, status: int = 400) -> dict[str, Any]:
    answer = client.post(path, body, content_type="application/json")
    assert answer.status_code == status, answer.content
    assert answer.headers["Content-Type"] == PROBLEM
    problem: dict[str, Any] = answer.json()
    assert {"type", "title", "status", "detail"} <= problem.keys()
    return problem


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ('{"worker": 1e400}', "The number 1e400 is too large."),
        ('{"worker": -1e400}', "The number -1e400 is too large."),
        ('{"worker": NaN}', "NaN is no number in JSON."),
        ('{"worker": -Infinity}', "-Infinity is no number in JSON."),
        (r'{"worker": "\ud800"}', "A text holds a zero character or half of a surrogate pair."),
        (r'{"worker": "\u0000"}', "A text holds a zero character or half of a surrogate pair."),
        (r'{"\udfff": 1}', "A text holds a zero character or half of a surrogate pair."),
        ("[" * 100_000, "The body is nested more than 20 deep."),
        ("[" * 100_000 + "]" * 100_000, "The body is nested more than 20 deep."),
        ("[" * 500 + "]" * 500, "The body is nested more than 20 deep."),
        (b'{"worker": "\xff"}', "The body is not JSON as RFC 8259 has it"),
        ('{"worker": 1', "The body is not JSON as RFC 8259 has it"),
        ('{"worker": ' + "9" * 5000 + "}", "The body is not JSON as RFC 8259 has it"),
    ],
)
def test_a_body_that_is_no_json_or_cannot_be_stored_is_refused(
    world: World, client: APIClient, body: str | bytes, says: str
) -> None:
    slot = world.job(["erector"]).slots.get()
    for path in (f"/api/slots/{slot.pk}/check/", f"/api/slots/{slot.pk}/assignments/", "/api/jobs/"):
        assert refused(client, path, body)["detail"].startswith(says)
    assert not Decision.objects.exists()


def test_text_beyond_the_first_plane_is_text(world: World, client: APIClient) -> None:
    # The body writes it as a pair of surrogates, which is how JSON escapes it.
    body = json.dumps(planned(world, description="jib \U0001f3d7"))
    assert r"\ud83c\udfd7" in body
    assert client.post("/api/jobs/", body, content_type="application/json").status_code == 201
    assert Job.objects.get().description == "jib \U0001f3d7"


@pytest.mark.parametrize("number", ["1.5", True, "1e0", [1], {"id": 1}, 10**30, -1])
def test_a_record_is_named_by_a_whole_number(world: World, client: APIClient, number: Any) -> None:
    slot = world.job(["erector"]).slots.get()
    place = f"/api/slots/{slot.pk}/assignments/"
    worker = world.worker("Mira", "Sandoval").pk
    for path, body, field in (
        ("/api/jobs/", planned(world, site=number), "site"),
        ("/api/jobs/", planned(world, crane=number), "crane"),
        (place, {"worker": number}, "worker"),
        (place, {"worker": worker, "paired_with": number}, "paired_with"),
    ):
        problem = refused(client, path, json.dumps(body))
        assert [each["field"] for each in problem["problems"]] == [field]
    assert Job.objects.count() == 1


def test_a_fraction_is_not_taken_for_the_record_before_it(world: World, client: APIClient) -> None:
    for field, record in (("site", world.site), ("crane", world.crane)):
        problem = refused(client, "/api/jobs/", json.dumps(planned(world, **{field: record.pk + 0.5})))
        assert [each["field"] for each in problem["problems"]] == [field]
    slot, worker = world.job(["erector"]).slots.get(), world.worker("Mira", "Sandoval")
    refused(client, f"/api/slots/{slot.pk}/check/", json.dumps({"worker": worker.pk + 0.5}))
    assert not Decision.objects.exists()


def test_a_number_may_be_written_as_text(world: World, client: APIClient) -> None:
    body = planned(world, site=str(world.site.pk), crane=float(world.crane.pk))
    assert client.post("/api/jobs/", body).status_code == 201


def test_a_body_is_as_long_as_the_settings_allow(world: World, client: APIClient) -> None:
    body = json.dumps(planned(world))
    with override_settings(DATA_UPLOAD_MAX_MEMORY_SIZE=len(body) - 1):
        refused(client, "/api/jobs/", body, status=413)
    with override_settings(DATA_UPLOAD_MAX_MEMORY_SIZE=len(body)):
        assert client.post("/api/jobs/", body, content_type="application/json").status_code == 201


def test_only_json_is_taken(world: World, client: APIClient) -> None:
    answer = client.post("/api/jobs/", "site=1", content_type="application/x-www-form-urlencoded")
    assert (answer.status_code, answer.headers["Content-Type"]) == (415, PROBLEM)


def test_a_list_is_given_in_parts_of_bounded_length(world: World, client: APIClient) -> None:
    world.job(["erector"])
    for path in ("/api/jobs/", "/api/log/checkpoints/"):
        for asked in ("limit", "offset"):
            for number in ("99999999999999999999", "9" * 5000, "-1", "\0"):
                assert client.get(path, {asked: number}).status_code == 200
    assert len(client.get("/api/jobs/", {"limit": "99999999999999999999"}).json()["results"]) == 1
    following = client.get("/api/jobs/", {"limit": "99999999999999999999", "offset": "99999999999999999999"}).json()
    assert (following["results"], following["next"]) == ([], None)


@pytest.mark.parametrize(
    "instant", ["0001-01-01T00:00:00Z", "1899-12-31T23:59Z", "2200-01-01T00:00Z", "9999-12-31T23:59Z"]
)
def test_an_instant_as_known_is_in_a_year_of_the_register(world: World, client: APIClient, instant: str) -> None:
    job, worker = world.job(["erector"]), world.worker("Mira", "Sandoval")
    past = (world.now - timedelta(minutes=1)).isoformat()
    place = {"worker": str(worker.pk), "at": past, "start": past, "end": past}
    for path, asked in (
        (f"/api/slots/{job.slots.get().pk}/as-known-at/", place),
        (f"/api/jobs/{job.pk}/as-known-at/", {"at": past, "during": past}),
    ):
        for name in asked.keys() - {"worker"}:
            answer = client.get(path, asked | {name: instant})
            assert (answer.status_code, answer.headers["Content-Type"]) == (400, PROBLEM)
            (problem,) = answer.json()["problems"]
            assert (problem["field"], problem["message"]) == (name, "Give an instant of the years 1900 to 2199.")
