from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from django.test import Client

from registry.people import services as people
from registry.people.models import Account, Worker
from tests.world import World, sign_in

SignedIn = Callable[[Account], Client]


@pytest.fixture
def world(db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


@pytest.fixture
def signed_in() -> SignedIn:
    """A browser of its own for each account."""

    def of(account: Account) -> Client:
        client = Client()
        sign_in(client, account)
        return client

    return of


@pytest.fixture
def dispatcher(world: World, signed_in: SignedIn) -> Client:
    return signed_in(world.dispatcher())


@pytest.fixture
def inspector(world: World, signed_in: SignedIn) -> Client:
    return signed_in(people.open_account(username="inspector", password=None, kind="inspector"))


@pytest.fixture
def another_employer(world: World, signed_in: SignedIn) -> Client:
    other = people.register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=world.now)
    return signed_in(people.open_account(username="other", password=None, kind="employer", employer=other))


@pytest.fixture
def as_worker(world: World, signed_in: SignedIn) -> Callable[[Worker], Client]:
    """The browser of a worker who has an account."""

    def of(worker: Worker) -> Client:
        return signed_in(people.open_account(username=f"w{worker.pk}", password=None, kind="worker", worker=worker))

    return of
