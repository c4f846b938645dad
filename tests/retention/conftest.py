from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tests.retention.leaver import Leaver, leaver_of
from tests.world import World


@pytest.fixture
def world(db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


@pytest.fixture
def later(world: World) -> datetime:
    """When every period has run out."""
    return world.now + timedelta(days=40 * 366)


@pytest.fixture
def leaver(world: World) -> Leaver:
    return leaver_of(world)
