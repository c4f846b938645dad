"""Statements stay prepared between requests, also across a migration under the running registry."""

from __future__ import annotations

import pytest
from django.db import NotSupportedError, connection, connections

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


def asked() -> list[tuple[object, ...]]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM prepared_once WHERE %s = 1", [1])
        return list(cursor.fetchall())


def test_a_connection_begins_anew_after_a_table_changed_under_its_statements() -> None:
    with connections["owner"].cursor() as owner:
        owner.execute("CREATE TABLE prepared_once (word varchar(10))")
        owner.execute("GRANT SELECT ON prepared_once TO registry_application")
    try:
        for _time in range(8):
            assert asked() == []
        with connections["owner"].cursor() as owner:
            owner.execute("ALTER TABLE prepared_once ALTER word TYPE varchar(20)")
        with pytest.raises(NotSupportedError, match="cached plan"):
            asked()
        # As at the beginning and end of every request.
        connection.close_if_unusable_or_obsolete()
        assert asked() == []
    finally:
        with connections["owner"].cursor() as owner:
            owner.execute("DROP TABLE prepared_once")
