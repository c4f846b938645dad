"""Calendar months and local days against PostgreSQL's own arithmetic."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection

from registry.engine.calendar import first_day_outside, local_date, months_before, start_of_day

pytestmark = pytest.mark.django_db

FIRST = date(2023, 1, 1)
COUNT = 1500


# Source: PostgreSQL manual, 9.9 Date/Time Functions and Operators, date - interval.
@pytest.mark.parametrize("months", [1, 2, 6, 12, 24, 36, 60])
def test_months_before_equals_date_minus_interval(months: int) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT (%s::date + n), ((%s::date + n) - make_interval(months => %s))::date"
            " FROM generate_series(0, %s) AS n",
            [FIRST, FIRST, months, COUNT],
        )
        rows = cursor.fetchall()
    assert len(rows) == COUNT + 1
    for day, before in rows:
        assert months_before(day, months) == before


# Source: as above; the first day from which the interval no longer reaches back.
@pytest.mark.parametrize("months", [1, 12, 24])
def test_first_day_outside_equals_a_search_by_date_minus_interval(months: int) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT day, (SELECT min(day + m) FROM generate_series(0, %s * 31 + 4) AS m"
            "  WHERE ((day + m) - make_interval(months => %s))::date > day)"
            " FROM (SELECT %s::date + n AS day FROM generate_series(0, 800) AS n) AS days",
            [months, months, FIRST],
        )
        rows = cursor.fetchall()
    for day, outside in rows:
        assert first_day_outside(day, months) == outside


# Source: PostgreSQL manual, 9.9.4 AT TIME ZONE.
@pytest.mark.parametrize("zone", ["America/Chicago", "Europe/Berlin", "Asia/Tokyo", "Africa/Cairo"])
def test_the_local_day_equals_at_time_zone(zone: str) -> None:
    first = datetime(2024, 1, 1, tzinfo=UTC)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT at, (at AT TIME ZONE %s)::date FROM generate_series("
            "%s::timestamptz, %s::timestamptz, '97 minutes') AS at",
            [zone, first, first + timedelta(days=366)],
        )
        rows = cursor.fetchall()
    for instant, day in rows:
        assert local_date(instant, ZoneInfo(zone)) == day


# Source: as above, of a local midnight.
@pytest.mark.parametrize("zone", ["America/Chicago", "Europe/Berlin", "Asia/Tokyo"])
def test_the_start_of_a_day_equals_local_midnight_at_time_zone(zone: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT %s::date + n, (%s::date + n)::timestamp AT TIME ZONE %s FROM generate_series(0, 800) AS n",
            [FIRST, FIRST, zone],
        )
        rows = cursor.fetchall()
    for day, midnight in rows:
        assert start_of_day(day, ZoneInfo(zone)) == midnight
