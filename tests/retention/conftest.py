from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from registry.ledger.mirror import Mirror
from registry.ledger.notes import Signer
from registry.people.models import Employment, Worker
from tests.world import World


@pytest.fixture
def world(db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


@pytest.fixture
def later(world: World) -> datetime:
    """When every period has run out."""
    return world.now + timedelta(days=40 * 366)


@pytest.fixture
def signer() -> Signer:
    return Signer("registry.example/log", Ed25519PrivateKey.from_private_bytes(b"7" * 32))


@pytest.fixture
def mirror(tmp_path: Path, signer: Signer) -> Mirror:
    """A machine that trusts the signer and has verified nothing yet."""
    mirror = Mirror(tmp_path / "mirror")
    mirror.trust(signer.verifier_key)
    return mirror


def leaves_the_employer(world: World, worker: Worker) -> None:
    """The employment ends today."""
    employment = Employment.objects.current().get(worker=worker)
    Employment.objects.create(
        worker=worker,
        employer=employment.employer,
        start=employment.start,
        end=world.now.date(),
        supersedes=employment,
        recorded_at=world.now,
    )
