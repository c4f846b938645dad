"""RFC 8785 canonical JSON, as the database writes it too (``sql/log.sql``), and commitments over it."""

from __future__ import annotations

import json
from hashlib import sha256
from typing import Any

import rfc8785

from registry.ledger.kinds import Kind

_plain = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"), check_circular=False).encode


def canonical(value: Any) -> bytes:
    """The canonical UTF-8 text of a JSON value."""
    return rfc8785.dumps(value)


def canonical_row(row: dict[str, Any]) -> str:
    """The canonical text of a row: an object whose keys are column names (ASCII).

    With text, integers, booleans and nulls alone the standard library writes
    the same text many times faster.
    """
    for value in row.values():
        if value.__class__ in (dict, list, float):
            return canonical(row).decode()
    return _plain(row)


def commitment(salt: bytes, personal: dict[str, Any]) -> str:
    """Hexadecimal ``SHA-256(salt ‖ canonical JSON)``; ``salt`` is 32 random bytes."""
    return sha256(salt + canonical_row(personal).encode()).hexdigest()


def leaf_of(kind: Kind, row: dict[str, Any], salt: bytes, entered_at: str) -> str:
    """The leaf for a row as it is now; ``row`` maps columns to JSON values, without those left out."""
    personal = {key: row[key] for key in kind.personal if key in row}
    opened = {key: value for key, value in row.items() if key not in kind.personal}
    return (
        f'{{"entered_at":"{entered_at}","kind":"{kind.table}","open":{canonical_row(opened)},'
        f'"personal":"{commitment(salt, personal)}","record":{row["id"]}}}'
    )
