"""Reading the log: checkpoints, and proofs about records in it."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import orjson
from django.db import connection
from psycopg import sql

from registry.ledger.kinds import BY_TABLE, Kind
from registry.ledger.models import Checkpoint, Entry, Leaf, SigningKey
from registry.ledger.notes import VerifierKey
from registry.ledger.store import Hashes
from registry.ledger.tree import consistency_path, inclusion_path

INCLUSION = "registry-inclusion-proof-1"
CONSISTENCY = "registry-consistency-proof-1"


class NotInTheLog(LookupError):
    """There is no such record or checkpoint in the log; the message says which."""


def latest_checkpoint() -> Checkpoint | None:
    """The newest checkpoint, if one was ever made."""
    return Checkpoint.objects.order_by("-size").first()


def size_of_the_log() -> int:
    """How many leaves have a place."""
    last = Leaf.objects.order_by("-index").values_list("index", flat=True).first()
    return 0 if last is None else last + 1


def checkpoint_of(size: int) -> Checkpoint:
    """The checkpoint of exactly ``size`` leaves. Raises :class:`NotInTheLog`."""
    found = Checkpoint.objects.filter(size=size).first()
    if found is None:
        raise NotInTheLog(f"There is no checkpoint of {size} leaves.")
    return found


def recorded_keys() -> list[VerifierKey]:
    """The public keys the database knows, oldest first."""
    return [VerifierKey.parse(each.verifier_key) for each in SigningKey.objects.order_by("id")]


@dataclass(frozen=True, slots=True)
class InclusionProof:
    """That a leaf stands at ``index`` in the tree the checkpoint signs; ``path`` is lowest first."""

    kind: str
    record: int
    leaf: str
    index: int
    path: tuple[bytes, ...]
    checkpoint: Checkpoint

    def as_json(self) -> dict[str, Any]:
        """The proof as the stand-alone verifier reads it; hashes in base64."""
        return {
            "format": INCLUSION,
            "leaf": self.leaf,
            "index": self.index,
            "path": [b64encode(each).decode() for each in self.path],
            "checkpoint": self.checkpoint.note,
        }


def inclusion_proof(kind: str, record: int, *, checkpoint: Checkpoint | None = None) -> InclusionProof:
    """Prove a record's leaf under a checkpoint, without it the latest. Raises :class:`NotInTheLog`."""
    proof = inclusion_proofs(kind, [record], checkpoint=checkpoint).get(record)
    if proof is None:
        if Entry.objects.filter(kind=kind, record=record).exists():
            raise NotInTheLog(f"{kind} {record} is not under a checkpoint yet; make one.")
        raise NotInTheLog(f"There is no {kind} {record} in the log.")
    return proof


def inclusion_proofs(
    kind: str, records: Sequence[int], *, checkpoint: Checkpoint | None = None, hashes: Hashes | None = None
) -> dict[int, InclusionProof]:
    """Proofs for those of the records that the checkpoint covers, by number; ``hashes`` may serve many calls."""
    signed = checkpoint or latest_checkpoint()
    if signed is None:
        return {}
    entries = Entry.objects.filter(kind=kind, record__in=records, place__index__lt=signed.size)
    hashes = hashes or Hashes()
    return {
        record: InclusionProof(kind, record, leaf, index, tuple(inclusion_path(index, signed.size, hashes)), signed)
        for record, leaf, index in entries.values_list("record", "leaf", "place__index")
    }


@dataclass(frozen=True, slots=True)
class ConsistencyProof:
    """That the later checkpoint's tree goes on from the earlier one's."""

    earlier: Checkpoint
    later: Checkpoint
    path: tuple[bytes, ...]

    def as_json(self) -> dict[str, Any]:
        """The proof as the stand-alone verifier reads it; hashes in base64."""
        return {
            "format": CONSISTENCY,
            "earlier": self.earlier.note,
            "later": self.later.note,
            "path": [b64encode(each).decode() for each in self.path],
        }


def consistency_proof(earlier: Checkpoint, later: Checkpoint) -> ConsistencyProof:
    """Prove that nothing before ``earlier`` has changed in ``later``. Raises :class:`NotInTheLog`."""
    if not 1 <= earlier.size <= later.size:
        raise NotInTheLog(f"There is no growth from {earlier.size} to {later.size} leaves.")
    return ConsistencyProof(earlier, later, tuple(consistency_path(earlier.size, later.size, Hashes())))


@dataclass(frozen=True, slots=True)
class Opening:
    """What a leaf's commitment stands for: the personal columns and the salt."""

    personal: dict[str, Any]
    salt: bytes

    def as_json(self) -> dict[str, Any]:
        """With it anybody can recompute the commitment; the salt in hexadecimal."""
        return {"personal": self.personal, "salt": self.salt.hex()}


def openings(kind: str, records: list[int]) -> dict[int, Opening]:
    """The openings of some records by number; those lawfully erased have none."""
    known = BY_TABLE[kind]
    entries = Entry.objects.filter(kind=kind, record__in=records).values_list("record", "salt")
    salts = {record: bytes(salt) for record, salt in entries if salt is not None}
    rows = stored_rows(known, sorted(salts))
    return {
        record: Opening({key: row[key] for key in known.personal if key in row}, salts[record])
        for record, row in rows.items()
    }


def stored_rows(kind: Kind, records: list[int]) -> dict[int, dict[str, Any]]:
    """Rows of a logged table as the log sees them: columns to JSON values, by number."""
    # The plainer form costs the database half as much; a document's content never leaves it.
    row = sql.SQL("(pg_catalog.to_jsonb(known) - %(left_out)s::text[])" if kind.left_out else "row_to_json(known)")
    statement = sql.SQL("SELECT id, {}::text FROM {} known WHERE id = ANY(%(records)s)")
    with connection.cursor() as cursor:
        cursor.execute(
            statement.format(row, sql.Identifier(kind.table)), {"left_out": list(kind.left_out), "records": records}
        )
        return {record: orjson.loads(row) for record, row in cursor.fetchall()}
