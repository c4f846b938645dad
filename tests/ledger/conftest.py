from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import transaction

from tests.ledger.superuser import connected_as_superuser
from tests.world import World


@pytest.fixture
def world(db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


@pytest.fixture(scope="module")
def ruled_world(django_db_setup: None, django_db_blocker: Any) -> Iterator[World]:
    """A world on a connection of the superuser's, made once for a module; see :mod:`tests.ledger.superuser`."""
    with django_db_blocker.unblock(), connected_as_superuser():
        world = World(datetime.now(UTC).replace(second=0, microsecond=0))
        world.make_erector(world.worker("Oda", "Renquist"), days=30)
        yield world


@pytest.fixture
def ruled(ruled_world: World, django_db_blocker: Any) -> Iterator[World]:
    """The module's world, as it was made."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield ruled_world
        transaction.set_rollback(True)
