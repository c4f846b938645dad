"""What the log holds other packages' tables to: guards that models declare."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from registry.ledger.kinds import BY_TABLE


@dataclass(frozen=True)
class Logged:
    """Every row of the table becomes an entry of the log, those that are there already too.

    The table must stand in :data:`registry.ledger.kinds.KINDS`.
    """

    def statements(self, table: str) -> Iterator[str]:
        kind = BY_TABLE[table]
        yield f"CALL ledger_log('{kind.table}', '{_array(kind.personal)}', '{_array(kind.left_out)}')"


def _array(names: tuple[str, ...]) -> str:
    return "{" + ",".join(names) + "}"


logged = Logged()
