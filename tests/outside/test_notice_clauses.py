"""The notice rule of British Columbia against the published summary of 14.73.1 to 14.73.3.

Source: British Columbia, Occupational Health and Safety Regulation, Part 14 as amended by B.C. Reg. 176/2024, in force
1 October 2024. Read in the official summary, not in the text of the regulation, which governs.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil.relativedelta import relativedelta
from django.conf import settings

from registry.notices.files import read_rule_file
from registry.notices.rules import deadline_of

RULE = read_rule_file(settings.NOTICES / "ca-bc.yaml")

# 14.73.3: what the notice names.
NAMED = {
    "parties": "the responsible parties with contact",
    "address": "the address",
    "scope": "nature and scope",
    "start": "start date",
    "duration": "estimated duration",
    "make": "the crane's make",
    "type": "type",
    "model": "model",
    "serial_number": "serial number",
    "configuration": "configuration",
    "procedures": "site-specific work procedures",
    "supervisors": "the qualifications of the qualified supervisor",
}


def test_the_notice_names_what_the_summary_lists_and_nothing_else() -> None:
    assert {each.part for each in RULE.asks_for} == set(NAMED)
    assert {each.clause for each in RULE.asks_for} == {"14.73.3"}


def test_tower_crane_activity_is_what_14_73_1_calls_so() -> None:
    assert RULE.operations == {"erection", "climbing", "repositioning", "dismantling"}
    assert RULE.operations_clause == "14.73.1 \u2013 14.73.3"


def test_it_is_in_force_from_1_october_2024() -> None:
    assert (RULE.in_force_from, RULE.in_force_until) == (date(2024, 10, 1), None)


@pytest.mark.parametrize("weeks", range(0, 60, 7))
def test_the_notice_reaches_the_authority_at_least_two_weeks_before_the_start(weeks: int) -> None:
    zone = ZoneInfo("America/Vancouver")
    start = datetime(2026, 1, 8, 7, tzinfo=zone) + timedelta(weeks=weeks)
    # 14.73.3: two weeks, by an independent calendar.
    expected = start.date() + relativedelta(weeks=-2)
    assert deadline_of(RULE, start=start, at=start, zone=zone).last_day == expected


def test_changes_are_notified_and_the_information_is_posted() -> None:
    assert (RULE.changes.asked, RULE.changes.clause) == (True, "14.73.3")
    assert (RULE.posting.asked, RULE.posting.clause) == (True, "14.73.3")


def test_the_rule_says_how_it_was_read_and_that_the_official_text_governs() -> None:
    assert RULE.source_status == "read (official summary)"
    assert "B.C. Reg. 176/2024" in RULE.source
    assert "official text governs" in RULE.note
