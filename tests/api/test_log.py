"""Checkpoints, keys and proofs over HTTP, and who may have which."""

from __future__ import annotations

from base64 import b64decode
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from drf_spectacular.generators import SchemaGenerator
from rest_framework.test import APIClient

from registry.evidence.models import HoursEntry
from registry.ledger import here
from registry.ledger.notes import CheckpointText, VerifierKey
from registry.ledger.tree import verify_consistency, verify_inclusion
from registry.people import services as people
from registry.people.models import Worker
from tests.own_log import keep_log_in
from tests.world import World, sign_in

PROBLEM = "application/problem+json"


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    keep_log_in(tmp_path, monkeypatch)


@pytest.fixture
def worker(world: World) -> Worker:
    worker = world.worker("Tomas", "Ferreira")
    world.hours(worker, days=3)
    return worker


def as_worker(worker: Worker) -> APIClient:
    client = APIClient()
    sign_in(client, people.open_account(username=f"w{worker.pk}", password=None, kind="worker", worker=worker))
    return client


def known_keys(client: APIClient) -> list[VerifierKey]:
    return [VerifierKey.parse(each["verifier_key"]) for each in client.get("/api/log/keys/").json()]


def test_a_checkpoint_is_made_once_for_what_is_there(client: APIClient) -> None:
    made = client.post("/api/log/checkpoints/")
    assert made.status_code == 201, made.content
    again = client.post("/api/log/checkpoints/")
    assert again.status_code == 200
    assert again.json() == made.json()
    newest = client.get("/api/log/checkpoint/")
    assert newest.headers["Content-Type"] == "text/plain; charset=utf-8"
    assert newest.content.decode() == made.json()["note"]
    said = CheckpointText.verified(newest.content.decode(), known_keys(client))
    assert (said.size, said.root.hex()) == (made.json()["size"], made.json()["root"])
    assert client.get(f"/api/log/checkpoints/{said.size}/").content == newest.content
    assert client.get("/api/log/checkpoint/", HTTP_ACCEPT="text/plain").status_code == 200


def test_checkpoints_are_listed_page_by_page_newest_first(world: World, client: APIClient) -> None:
    sizes = []
    for name in ("Ferreira", "Sandoval", "Okonjo"):
        world.worker("Mira", name)
        sizes.append(client.post("/api/log/checkpoints/").json()["size"])
    page = client.get("/api/log/checkpoints/", {"limit": 2}).json()
    assert page["count"] == 3
    assert [each["size"] for each in page["results"]] == sizes[:0:-1]


def test_a_worker_reads_checkpoints_and_makes_none(client: APIClient, worker: Worker) -> None:
    client.post("/api/log/checkpoints/")
    theirs = as_worker(worker)
    refused = theirs.post("/api/log/checkpoints/")
    assert (refused.status_code, refused.headers["Content-Type"]) == (403, PROBLEM)
    for path in ("checkpoint/", "checkpoints/", "keys/"):
        assert theirs.get(f"/api/log/{path}").status_code == 200


def test_an_inspector_makes_a_checkpoint(world: World) -> None:
    inspector = APIClient()
    sign_in(inspector, people.open_account(username="inspector", password=None, kind="inspector"))
    assert inspector.post("/api/log/checkpoints/").status_code == 201


def test_nobody_reads_the_log_without_signing_in(world: World) -> None:
    for path in ("checkpoint/", "checkpoints/", "keys/", "proofs/consistency/?earlier=1&later=2"):
        assert APIClient().get(f"/api/log/{path}").status_code == 403


def test_there_is_no_checkpoint_before_the_first(client: APIClient) -> None:
    for path in ("checkpoint/", "checkpoints/7/", "checkpoints/99999999999999999999/"):
        answer = client.get(f"/api/log/{path}")
        assert (answer.status_code, answer.headers["Content-Type"]) == (404, PROBLEM)


def test_an_inclusion_proof_leads_to_the_signed_root_and_opens(client: APIClient, worker: Worker) -> None:
    entry = HoursEntry.objects.filter(worker=worker).first()
    assert entry is not None
    client.post("/api/log/checkpoints/")
    asked: dict[str, Any] = {"kind": "evidence_hoursentry", "record": entry.pk}
    proof = client.get("/api/log/proofs/inclusion/", asked).json()
    said = CheckpointText.verified(proof["checkpoint"], known_keys(client))
    leaf_hash = sha256(b"\0" + proof["leaf"].encode()).digest()
    verify_inclusion(proof["index"], said.size, leaf_hash, [b64decode(each) for each in proof["path"]], said.root)
    assert proof["open"]["id"] == entry.pk
    assert proof["opening"]["personal"]["worker_id"] == worker.pk
    smaller = client.get("/api/log/proofs/inclusion/", {**asked, "size": said.size}).json()
    assert smaller == proof


def test_an_inclusion_proof_is_only_for_who_may_see_the_record(world: World, client: APIClient, worker: Worker) -> None:
    client.post("/api/log/checkpoints/")
    entry = HoursEntry.objects.filter(worker=worker).first()
    assert entry is not None
    asked: dict[str, Any] = {"kind": "evidence_hoursentry", "record": entry.pk}
    other = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=world.now)
    elsewhere = APIClient()
    sign_in(elsewhere, people.open_account(username="other", password=None, kind="employer", employer=other))
    for stranger in (elsewhere, as_worker(world.assessor)):
        refused = stranger.get("/api/log/proofs/inclusion/", asked)
        assert (refused.status_code, refused.headers["Content-Type"]) == (404, PROBLEM)
    assert as_worker(worker).get("/api/log/proofs/inclusion/", asked).status_code == 200


@pytest.mark.parametrize(
    "asked",
    [
        pytest.param({}, id="nothing"),
        pytest.param({"kind": "evidence_hoursentry", "record": "one"}, id="no number"),
        pytest.param({"kind": "evidence_hoursentry", "record": 1, "size": 0}, id="size zero"),
    ],
)
def test_a_question_with_wrong_fields_is_a_problem(client: APIClient, asked: dict[str, Any]) -> None:
    answer = client.get("/api/log/proofs/inclusion/", asked)
    assert (answer.status_code, answer.headers["Content-Type"]) == (400, PROBLEM)
    assert answer.json()["problems"]


def test_a_record_not_under_a_checkpoint_yet_is_said_to_be_so(client: APIClient, worker: Worker) -> None:
    answer = client.get("/api/log/proofs/inclusion/", {"kind": "people_worker", "record": str(worker.pk)})
    assert answer.status_code == 404
    assert "not under a checkpoint yet" in answer.json()["detail"]


def test_a_consistency_proof_leads_from_one_root_to_the_other(world: World, client: APIClient) -> None:
    earlier = client.post("/api/log/checkpoints/").json()
    world.worker("Mira", "Sandoval")
    later = client.post("/api/log/checkpoints/").json()
    asked = {"earlier": earlier["size"], "later": later["size"]}
    proof = client.get("/api/log/proofs/consistency/", asked).json()
    assert (proof["earlier"], proof["later"]) == (earlier["note"], later["note"])
    roots = [bytes.fromhex(each["root"]) for each in (earlier, later)]
    path = [b64decode(each) for each in proof["path"]]
    verify_consistency(earlier["size"], later["size"], roots[0], roots[1], path)
    backwards = client.get("/api/log/proofs/consistency/", {"earlier": later["size"], "later": earlier["size"]})
    assert backwards.status_code == 400
    assert [each["field"] for each in backwards.json()["problems"]] == ["later"]


def test_an_unusable_key_is_a_problem(client: APIClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LOG_SIGNING_KEY", "no key")
    answer = client.post("/api/log/checkpoints/")
    assert (answer.status_code, answer.headers["Content-Type"]) == (503, PROBLEM)


def test_what_is_signed_here_is_trusted_here(client: APIClient) -> None:
    client.post("/api/log/checkpoints/")
    report = here.check(resume=False)
    assert report.in_order, [str(each) for each in report.findings]
    assert report.notes == []


def test_every_door_is_in_the_schema() -> None:
    paths = SchemaGenerator().get_schema(public=True)["paths"]
    assert {each for each in paths if each.startswith("/api/log/")} == {
        "/api/log/checkpoint/",
        "/api/log/checkpoints/",
        "/api/log/checkpoints/{size}/",
        "/api/log/keys/",
        "/api/log/proofs/inclusion/",
        "/api/log/proofs/consistency/",
    }
    assert {"get", "post"} <= paths["/api/log/checkpoints/"].keys()
