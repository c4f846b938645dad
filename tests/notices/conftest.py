from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.columbia import Columbia
from tests.world import World


@pytest.fixture
def columbia(db: None) -> Columbia:
    """A job whose notice lacks everything that is not in the plan."""
    return Columbia(World(datetime.now(UTC).replace(second=0, microsecond=0)))
