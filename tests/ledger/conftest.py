from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.db import transaction

from registry.ledger.mirror import Mirror
from registry.ledger.notes import Signer
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


@pytest.fixture
def signer() -> Signer:
    return Signer("registry.example/log", Ed25519PrivateKey.from_private_bytes(b"7" * 32))


@pytest.fixture
def mirror(tmp_path: Path, signer: Signer) -> Mirror:
    """A machine that trusts the signer and has verified nothing yet."""
    mirror = Mirror(tmp_path / "mirror")
    mirror.trust(signer.verifier_key)
    return mirror
