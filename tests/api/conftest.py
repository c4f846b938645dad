from __future__ import annotations

from datetime import UTC, datetime

import pytest
from rest_framework.test import APIClient

from tests.world import World, sign_in


@pytest.fixture
def world(db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


@pytest.fixture
def client(world: World) -> APIClient:
    client = APIClient()
    sign_in(client, world.dispatcher())
    return client
