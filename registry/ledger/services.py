"""Making checkpoints: giving entries their places and signing what the tree says then."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import connection, transaction

from registry.database.repeating import repeating
from registry.ledger.memory import Memory
from registry.ledger.models import Checkpoint, SigningKey
from registry.ledger.notes import CheckpointText, Signer, signed_note
from registry.ledger.queries import latest_checkpoint, size_of_the_log
from registry.ledger.store import Hashes, keep_nodes
from registry.ledger.tree import EMPTY

BATCH = 5_000
"""So many entries get their places while the lock is held."""


@repeating
def make_checkpoint(*, at: datetime, signers: Sequence[Signer], memory: Memory | None = None) -> Checkpoint:
    """Sign the log as it is at ``at``; where nothing was added, the latest checkpoint is the answer.

    The first of ``signers`` is the current key; it is recorded, and so logged,
    before its first signature. ``memory`` is what a machine knows of earlier
    checkpoints: raises :class:`registry.ledger.memory.SecondHistory` where the
    log does not go on from them. With one this is no part of a larger
    transaction, whose end might take back what was signed.
    """
    record_key(signers[0], at=at)
    place_entries()
    with transaction.atomic(durable=memory is not None):
        # Nothing gets a place until this is signed; writers do not need one and go on.
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended('places in the log', 0))")
        size, latest = size_of_the_log(), latest_checkpoint()
        keep_nodes(size)
        hashes = Hashes()
        if memory is not None:
            memory.require_growth(size, hashes, latest)
        if latest is not None and latest.size == size:
            return latest
        root = hashes(0, size) if size else EMPTY
        note = signed_note(str(CheckpointText(signers[0].name, size, root, at)), signers)
        if memory is not None:
            memory.remember(note)
        return Checkpoint.objects.create(size=size, root=root, note=note, made_at=at)


@repeating
def record_key(signer: Signer, *, at: datetime) -> None:
    """Record the signer's public key unless it is known."""
    key = signer.verifier_key
    SigningKey.objects.get_or_create(
        verifier_key=str(key), defaults={"name": key.name, "public_key": key.public, "recorded_at": at}
    )


def place_entries() -> int:
    """Give committed entries their places, batch by batch; returns how many got one."""
    placed = 0
    with connection.cursor() as cursor:
        while True:
            cursor.execute("SELECT ledger_sequence(%s)", [BATCH])
            (batch,) = cursor.fetchone()
            placed += batch
            if batch < BATCH:
                return placed
