from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
from django.conf import settings as shipped
from pytest_django.fixtures import Settings

from registry.retention.periods import ANCHORS, Rule, check_setting, has_run_out, rule_for


@pytest.mark.parametrize(
    ("anchor", "years", "until"),
    [
        (date(2024, 2, 29), 1, date(2025, 2, 28)),
        (date(2024, 2, 29), 4, date(2028, 2, 29)),
        (date(2023, 2, 28), 1, date(2024, 2, 28)),
        (date(2024, 12, 31), 10, date(2034, 12, 31)),
        # 2100 is no leap year.
        (date(2096, 2, 29), 4, date(2100, 2, 28)),
        (date(2024, 5, 5), 0, date(2024, 5, 5)),
        (date(9998, 1, 1), 5, date.max),
    ],
)
def test_a_period_is_whole_calendar_years_clamped_at_month_end(anchor: date, years: int, until: date) -> None:
    assert Rule("hours", "US", years).keep_until(anchor) == until


def test_the_last_day_is_over_once_it_is_over_everywhere() -> None:
    last = date(2030, 6, 1)
    assert not has_run_out(last, datetime(2030, 6, 2, 11, 59, tzinfo=UTC))
    assert has_run_out(last, datetime(2030, 6, 2, 12, 0, tzinfo=UTC))
    # The same instants told on another clock.
    west = timezone(timedelta(hours=-12))
    assert not has_run_out(last, datetime(2030, 6, 1, 23, 59, tzinfo=west))
    assert has_run_out(last, datetime(2030, 6, 2, 0, 0, tzinfo=west))


def test_a_jurisdictions_own_period_goes_before_the_default(settings: Settings) -> None:
    settings.RETENTION = {"default": dict.fromkeys(ANCHORS, 5), "QX": {"hours": 12}}
    assert rule_for("hours", "QX") == Rule("hours", "QX", 12)
    assert rule_for("assessment", "QX") == Rule("assessment", "default", 5)
    assert rule_for("hours", "") == Rule("hours", "default", 5)


def test_the_shipped_setting_is_sound() -> None:
    assert check_setting(None) == []
    assert set(shipped.RETENTION["default"]) == set(ANCHORS)


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ([], "leads from each jurisdiction"),
        ({"default": 5}, "leads from each jurisdiction"),
        ({"QX": {"hours": 5}}, "no default period for: employment"),
        ({"default": {**dict.fromkeys(ANCHORS, 5), "hats": 1}}, "RETENTION['default']['hats']: there is no such kind"),
        ({"default": dict.fromkeys(ANCHORS, 5), "QX": {"hours": -1}}, "RETENTION['QX']['hours'] is -1"),
        ({"default": dict.fromkeys(ANCHORS, 5), "QX": {"hours": 1.5}}, "RETENTION['QX']['hours'] is 1.5"),
        ({"default": dict.fromkeys(ANCHORS, True)}, "is True"),
    ],
)
def test_a_wrong_setting_is_told_on_start_up(settings: Settings, wrong: Any, sentence: str) -> None:
    settings.RETENTION = wrong
    found = check_setting(None)
    assert found
    assert sentence in found[0].msg
