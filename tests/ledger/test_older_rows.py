"""Rows that a table held before it was logged. Apart, since the superuser's connection serves a whole module."""

from __future__ import annotations

import json

from registry.ledger.models import Entry, Pending
from tests.ledger.superuser import tamper
from tests.world import World


def test_rows_from_before_the_log_are_logged_by_the_migration(ruled: World) -> None:
    tamper(
        "CREATE TABLE public.people_oldregister (id bigint PRIMARY KEY, name text, note text)",
        "INSERT INTO people_oldregister VALUES (7, 'Arne', 'kept'), (3, 'Britt', NULL)",
        "CALL ledger_log('people_oldregister', '{name}', '{}')",
        "INSERT INTO people_oldregister VALUES (9, 'Cleo', 'new')",
        triggers=True,
    )
    entries = list(Entry.objects.filter(kind="people_oldregister").order_by("id"))
    assert [each.record for each in entries] == [3, 7, 9]
    assert [json.loads(each.leaf)["open"] for each in entries] == [
        {"id": 3, "note": None},
        {"id": 7, "note": "kept"},
        {"id": 9, "note": "new"},
    ]
    assert Pending.objects.filter(entry__in=entries).count() == 3
