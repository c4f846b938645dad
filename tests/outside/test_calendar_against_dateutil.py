"""Calendar months against ``dateutil.relativedelta``, which clamps at month end as SQL does."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta

from registry.engine.calendar import first_day_outside, months_before


def days() -> Iterator[date]:
    """Every day of eight years, a leap year at either end, and the turn of two centuries."""
    for first, count in ((date(2020, 1, 1), 2922), (date(1899, 12, 1), 130), (date(2100, 2, 1), 60)):
        yield from (first + timedelta(days=n) for n in range(count))


# Source: python-dateutil, relativedelta, "the day is set to the last valid day of the month".
@pytest.mark.parametrize("months", [1, 2, 3, 6, 11, 12, 13, 18, 24, 36, 60, 120])
def test_months_before_equals_relativedelta(months: int) -> None:
    for day in days():
        assert months_before(day, months) == day - relativedelta(months=months)
        assert months_before(day, -months) == day + relativedelta(months=months)


# Source: python-dateutil, relativedelta; the first later day is found by trying each day in turn.
@pytest.mark.parametrize("months", [1, 6, 12, 24, 36])
def test_first_day_outside_equals_a_search_with_relativedelta(months: int) -> None:
    for day in days():
        later = day + relativedelta(months=months) - timedelta(days=3)
        while later - relativedelta(months=months) <= day:
            later += timedelta(days=1)
        assert first_day_outside(day, months) == later
