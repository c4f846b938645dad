"""Lists of what waits for a signature say how much there is, go on over pages, and are ticked at one press."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client

from registry.evidence import countersigning
from registry.evidence.models import Countersignature
from registry.evidence.services import NewHours, record_hours_in_bulk
from registry.people.models import Worker
from registry.web.records.views import ENTRIES_ON_A_PAGE
from tests.world import World

AsWorker = Callable[[Worker], Client]
MANY = 2 * ENTRIES_ON_A_PAGE + 50


@pytest.fixture
def signer(world: World) -> Worker:
    return world.worker("Tove", "Lindqvell")


@pytest.fixture
def entries(world: World) -> list[int]:
    """More unsigned days of one person than one page shows."""
    mate = world.worker("Mira", "Sandoval")
    rows = [
        NewHours(
            worker=mate,
            model=world.model,
            operation="dismantling",
            start=start,
            end=start + timedelta(hours=8),
            employer=world.employer,
            site=world.site,
            crane=world.crane,
        )
        for start in (world.now.replace(hour=7, minute=0) - timedelta(days=day + 3) for day in range(MANY))
    ]
    recorded = record_hours_in_bulk(rows=rows, recorded_at=world.now, recorded_by=None)
    return [each.pk for each in recorded]


@pytest.fixture
def asked(world: World, signer: Worker, entries: list[int]) -> None:
    countersigning.ask_about(
        employer=world.employer, entry_ids=entries, of=signer, recorded_at=world.now, recorded_by=None
    )


def ticked_on(page: str) -> list[str]:
    return re.findall(r'name="entries" value="(\d+)" checked', page)


def test_a_signer_sees_how_many_wait_and_reaches_every_one(
    asked: None, entries: list[int], signer: Worker, as_worker: AsWorker
) -> None:
    client = as_worker(signer)
    pages = [client.get(f"/records/to-countersign/?page={number}").content.decode() for number in (1, 2, 3)]
    assert all(f"{MANY} entries wait for you" in page for page in pages)
    shown = [int(entry) for page in pages for entry in re.findall(r'name="entries" value="(\d+)"', page)]
    assert sorted(shown) == sorted(entries)
    assert "Page 3 of 3" in pages[2]


def test_all_on_a_page_are_ticked_and_signed_at_once(
    asked: None, entries: list[int], signer: Worker, as_worker: AsWorker
) -> None:
    client = as_worker(signer)
    page = client.get("/records/to-countersign/?page=1&tick=all").content.decode()
    assert len(ticked_on(page)) == ENTRIES_ON_A_PAGE
    client.post("/records/to-countersign/?page=1&tick=all", {"do": "sign", "entries": ticked_on(page)})
    assert Countersignature.objects.filter(by=signer).count() == ENTRIES_ON_A_PAGE
    left = client.get("/records/to-countersign/").content.decode()
    assert f"{MANY - ENTRIES_ON_A_PAGE} entries wait for you" in left


def test_nothing_is_ticked_for_anybody_who_did_not_press(asked: None, signer: Worker, as_worker: AsWorker) -> None:
    assert ticked_on(as_worker(signer).get("/records/to-countersign/").content.decode()) == []


def test_what_was_ticked_by_hand_stays_ticked_when_it_is_refused(
    asked: None, entries: list[int], signer: Worker, as_worker: AsWorker
) -> None:
    answer = as_worker(signer).post(
        "/records/to-countersign/?tick=all", {"do": "decline", "reason": "", "entries": entries[-1:]}
    )
    assert ticked_on(answer.content.decode()) == [str(entries[-1])]


def test_the_dispatcher_reaches_entries_that_nobody_was_asked_to_sign(
    entries: list[int], dispatcher: Client, signer: Worker
) -> None:
    pages = [
        dispatcher.get(f"/records/countersigning/?page={number}&tick=all").content.decode() for number in (1, 2, 3)
    ]
    assert "Nobody was asked to sign these</h2>" not in pages[0]
    assert f"Nobody was asked to sign these ({MANY})" in pages[0]
    assert sorted(int(entry) for page in pages for entry in ticked_on(page)) == sorted(entries)


def test_the_dispatcher_sees_whom_all_entries_wait_for(asked: None, dispatcher: Client, signer: Worker) -> None:
    page = dispatcher.get("/records/countersigning/").content.decode()
    assert f"What waits for whom ({MANY})" in page
    assert re.search(rf"{signer}.*{signer.number}.* {MANY} entries", page)
    assert "Page 1 of 3" in page
