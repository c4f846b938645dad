"""One record as the log holds it, for whoever may see the record."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from registry.database.readers import as_the_register
from registry.ledger.canonical import leaf_of
from registry.ledger.kinds import BY_TABLE
from registry.ledger.models import Checkpoint, Entry
from registry.ledger.queries import InclusionProof, NotInTheLog, inclusion_proofs, openings, stored_rows


@dataclass(frozen=True, slots=True)
class LoggedRecord:
    """A record's entry; without ``index`` it has no place yet, without ``proof`` no checkpoint covers it yet.

    ``as_entered`` says whether the record as it stands now gives the very same
    leaf; it is None where a lawful erasure took the personal data away, and False
    also where the record is gone.
    """

    kind: str
    record: int
    entered_at: datetime
    leaf: str
    index: int | None
    first_checkpoint: Checkpoint | None
    proof: InclusionProof | None
    as_entered: bool | None


@as_the_register()
def logged_record(kind: str, record: int) -> LoggedRecord:
    """The log's side of a record. Raises :class:`NotInTheLog`."""
    entry = Entry.objects.filter(kind=kind, record=record).select_related("place").first()
    if entry is None or kind not in BY_TABLE:
        raise NotInTheLog(f"There is no {kind} {record} in the log.")
    index = entry.place.index if hasattr(entry, "place") else None
    covering = None if index is None else Checkpoint.objects.filter(size__gt=index).order_by("size").first()
    return LoggedRecord(
        kind=kind,
        record=record,
        entered_at=entry.entered_at,
        leaf=entry.leaf,
        index=index,
        first_checkpoint=covering,
        proof=inclusion_proofs(kind, [record]).get(record),
        as_entered=_as_entered(entry),
    )


def _as_entered(entry: Entry) -> bool | None:
    if entry.salt is None:
        return None
    kind = BY_TABLE[entry.kind]
    row = stored_rows(kind, [entry.record]).get(entry.record)
    if row is None:
        return False
    return leaf_of(kind, row, bytes(entry.salt), json.loads(entry.leaf)["entered_at"]) == entry.leaf


@as_the_register()
def with_opening(proof: InclusionProof) -> dict[str, Any]:
    """The proof with the record itself: its open columns, and what opens the commitment to its personal ones.

    ``opening`` is None where a lawful erasure took it away. Only for eyes that
    may see the record.
    """
    kind = BY_TABLE[proof.kind]
    row = stored_rows(kind, [proof.record]).get(proof.record)
    if row is None:
        raise NotInTheLog(f"{proof.kind} {proof.record} is in the log, but the record itself is gone.")
    opening = openings(proof.kind, [proof.record]).get(proof.record)
    return {
        **proof.as_json(),
        "open": {key: value for key, value in row.items() if key not in kind.personal},
        "opening": None if opening is None else opening.as_json(),
    }
