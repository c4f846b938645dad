"""RFC 8785 canonical JSON, as the database writes it too (``sql/log.sql``), and commitments over it."""

from __future__ import annotations

from hashlib import sha256
from typing import Any

import orjson
import rfc8785

from registry.ledger.kinds import Kind


def canonical(value: Any) -> bytes:
    """The canonical UTF-8 text of a JSON value."""
    return rfc8785.dumps(value)


def canonical_row(row: dict[str, Any]) -> bytes:
    """The canonical text of a row: an object whose keys are column names (ASCII).

    With text, integers, booleans and nulls alone orjson writes the same text
    many times faster; ``tests/outside`` holds it to the other.
    """
    for value in row.values():
        if value.__class__ in _NOT_PLAIN:
            return canonical(row)
    return orjson.dumps(row, option=orjson.OPT_SORT_KEYS)


_NOT_PLAIN = frozenset({dict, list, float})


def commitment(salt: bytes, personal: dict[str, Any]) -> str:
    """Hexadecimal ``SHA-256(salt ‖ canonical JSON)``; ``salt`` is 32 random bytes."""
    return sha256(salt + canonical_row(personal)).hexdigest()


def leaf_of(kind: Kind, row: dict[str, Any], salt: bytes, entered_at: str) -> str:
    """The leaf for a row as it is now; ``row`` maps columns to JSON values, without those left out."""
    opened = row.copy()
    personal = {key: opened.pop(key) for key in kind.personal if key in opened}
    return (
        f'{{"entered_at":"{entered_at}","kind":"{kind.table}","open":{canonical_row(opened).decode()},'
        f'"personal":"{commitment(salt, personal)}","record":{row["id"]}}}'
    )
