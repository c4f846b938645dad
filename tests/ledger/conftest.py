from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from registry.ledger.mirror import Mirror
from registry.ledger.notes import Signer
from tests.world import World


@pytest.fixture
def world(db: None) -> World:
    return World(datetime.now(UTC).replace(second=0, microsecond=0))


@pytest.fixture
def signer() -> Signer:
    return Signer("registry.example/log", Ed25519PrivateKey.from_private_bytes(b"7" * 32))


@pytest.fixture
def mirror(tmp_path: Path, signer: Signer) -> Mirror:
    """A machine that trusts the signer and has verified nothing yet."""
    mirror = Mirror(tmp_path / "mirror")
    mirror.trust(signer.verifier_key)
    return mirror
