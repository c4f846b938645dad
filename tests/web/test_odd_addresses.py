"""Whatever stands behind the question mark of an address, no page and no answer fails at it."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import parse_qsl, urlencode, urlsplit

import pytest
from django.test import Client

from registry.ledger import here
from tests.own_log import keep_log_in
from tests.pages import INSPECTOR, JOB, PAGES, Page
from tests.scene import Scene, scene
from tests.world import sign_in

ODD = [
    "0001-01-01",
    "9999-12-31",
    "0001-01-01T00:00:00Z",
    "9999-12-31T23:59",
    "9999-W52",
    "9" * 30,
    "\0",
]
ANSWERS = [
    Page("job-list", INSPECTOR, query="?employer=&site=&operation=&limit=&offset="),
    Page("log-checkpoints", INSPECTOR, query="?limit=1&offset=1"),
    Page("log-inclusion", INSPECTOR, query="?kind=evidence_hoursentry&record=1&size=1"),
    Page("consistency_json", INSPECTOR, query="?earlier=1&later=1"),
    Page("log-consistency", INSPECTOR, query="?earlier=1&later=1"),
    Page(
        "slot-as-known-at",
        INSPECTOR,
        {"slot_id": "led"},
        query="?worker={leader}&at=2024-05-07T07:00Z&start=2024-05-07T07:00Z&end=2024-05-07T17:00Z",
    ),
    Page("job-as-known-at", INSPECTOR, JOB, query="?at=2024-05-07T07:00Z&during=2024-05-07T07:00Z"),
]
ASKED = {
    "home": "week page",
    "account": "back",
    "in_your_name": "page",
    "identities": "page",
    "jobs": "page",
    "founding": "page",
    "job": "closed",
    "fill_slot": "q start end worker paired_with",
    "substitute": "q from_instant worker reason",
    "workers": "q page",
    "inspection": "q day",
    "job_as_known": "at during",
    "slot_as_known": "worker at",
    "looks": "page",
    "log": "earlier later page",
    "log_record": "as",
    "hours_sheet": "job",
    "countersigning": "page tick waiting declined",
    "to_countersign": "page tick declined",
    "assessments": "page",
    "person_records": "page request",
    "correct_record": "request",
    "correction_requests": "page",
    "add_party": "employer",
    "transcript": "paper",
    "wanted_role": "role operation model configuration employer standard day",
    "check": "number",
}
"""What pages read of their addresses."""


def test_every_name_that_a_page_reads_of_its_address_is_tried() -> None:
    tried = {name for names in ASKED.values() for name in names.split()}
    web = Path(__file__).parents[2] / "registry" / "web"
    read = {
        name
        for each in web.rglob("*.py")
        for name in re.findall(r'request\.GET(?:\.get\(|\[)"(\w+)"', each.read_text())
    }
    assert read - tried == set()


@pytest.fixture
def running(db: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Scene:
    keep_log_in(tmp_path, monkeypatch)
    return scene()


def test_no_page_and_no_answer_fails_at_what_it_is_asked(running: Scene) -> None:
    here.sign(at=running.now)
    clients: dict[str, Client] = {}
    numbers = running.numbers()
    failed = []
    # Each once, as the last of the list: that one has the fullest address.
    for page in {each.name: each for each in PAGES + ANSWERS}.values():
        address = urlsplit(page.path(numbers))
        asked = dict.fromkeys(ASKED.get(page.name, "").split(), "") | dict(
            parse_qsl(address.query, keep_blank_values=True)
        )
        if page.by not in clients:
            clients[page.by] = Client(raise_request_exception=False)
            if page.by:
                sign_in(clients[page.by], running.account(page.by))
        for name in asked:
            for odd in ODD:
                query = urlencode(asked | {name: odd})
                answer = clients[page.by].get(f"{address.path}?{query}")
                if answer.status_code >= 500:
                    failed.append(f"{page} {name}={odd[:40]!r}")
    assert failed == []
