from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.world import World


@pytest.fixture
def world(db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))
