"""The seal on a decision: only the engine's answer can be recorded as a decision.

A decision is stored as one text, its *statement*, with an HMAC-SHA-256 seal.
The database checks the seal in a trigger with key material that the
application's database role cannot read, and fills every column from the
statement. So a ``permitted`` that the engine did not give cannot be inserted,
neither through the ORM nor in raw SQL.

The key comes from ``DECISION_SEALING_SECRET`` or, without it, from a secret in
the data folder. The owner places it in the database whenever migrations run;
older keys stay valid until the owner deletes them.
"""

from __future__ import annotations

import hashlib
import hmac
import os
from functools import cache
from typing import Any

from django.db import connections

from registry.database import data_folder

BLOCK = hashlib.sha256().block_size


@cache
def sealing_key() -> bytes:
    """The 32-byte key."""
    secret = os.environ.get("DECISION_SEALING_SECRET") or data_folder.secret("decision-sealing")
    return hashlib.sha256(secret.encode()).digest()


def seal(statement: str) -> bytes:
    """HMAC-SHA-256 over the statement's UTF-8 bytes (RFC 2104)."""
    return hmac.digest(sealing_key(), statement.encode(), "sha256")


def place_key_in_database(*, using: str, **_: Any) -> None:
    """Give the database's trigger the key, as the two padded blocks of RFC 2104."""
    if using != "owner":
        return
    block = sealing_key().ljust(BLOCK, b"\0")
    inner, outer = (bytes(each ^ pad for each in block) for pad in (0x36, 0x5C))
    with connections[using].cursor() as cursor:
        cursor.execute(
            "INSERT INTO crews_sealing_key (inner_block, outer_block) VALUES (%s, %s) ON CONFLICT DO NOTHING",
            [inner, outer],
        )
