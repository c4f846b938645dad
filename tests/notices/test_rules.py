"""Rule files, deadlines by the site's calendar, and the comparison of two contents; nothing here needs a database."""

from __future__ import annotations

import copy
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from hypothesis import HealthCheck, given
from hypothesis import settings as examples
from hypothesis import strategies as st

from registry.engine.bad_input import BadInput
from registry.notices import files
from registry.notices.comparison import NAMED, compare, facts_of
from registry.notices.files import parse_rule, read_rule_file, rule_for
from registry.notices.rules import PARTS, Deadline, NoticeRule, deadline_of, missing_parts
from registry.notices.words import PARTS as PART_NAMES
from registry.notices.words import change_in_words, deadline_in_words, last_day_in_words, missing_in_words
from registry.standards.files import read_standard_file

FILE = settings.NOTICES / "ca-bc.yaml"
RULE = read_rule_file(FILE)
ZONE = ZoneInfo("America/Vancouver")


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (("deadline", "calendar_days"), -1, "$.deadline.calendar_days: -1 is less than the minimum of 0"),
        (("deadline", "calendar_days"), "two weeks", "$.deadline.calendar_days: 'two weeks' is not of type 'integer'"),
        (("asks_for", 0, "part"), "weather", "$.asks_for[0].part: 'weather' is not one of"),
        (("asks_for", 1, "part"), "parties", "$.asks_for[1].part: 'parties' is asked for twice"),
        (("in_force", "from"), "2024-13-01", "$.in_force.from: '2024-13-01' is no day of the calendar"),
        (("in_force", "until"), "2024-09-30", "$.in_force.until: lies before the day it is in force from"),
        (("colour",), "red", "$: Additional properties are not allowed ('colour' was unexpected)"),
    ],
)
def test_a_bad_rule_is_refused_with_the_place_of_what_is_wrong(path: tuple[Any, ...], value: Any, said: str) -> None:
    data = copy.deepcopy(read_standard_file(FILE))
    place: Any = data
    for each in path[:-1]:
        place = place[each]
    place[path[-1]] = value
    with pytest.raises(BadInput) as refused:
        parse_rule(data)
    assert str(refused.value).startswith(said)


def test_a_bad_file_is_named_on_start_up(tmp_path: Path, settings: Any) -> None:
    (tmp_path / "here.yaml").write_text("rule: here\n")
    settings.NOTICES = tmp_path
    [error] = files.check_files(None)
    assert "here.yaml: $" in error.msg
    files.shipped_rules.cache_clear()


def test_a_rule_holds_in_its_jurisdiction_from_its_day_on() -> None:
    def at(jurisdiction: str, day: datetime) -> NoticeRule | None:
        return rule_for(jurisdiction=jurisdiction, operation="climbing", start=day, zone=ZONE)

    first = datetime(2024, 10, 1, 0, 0, tzinfo=ZONE)
    assert at("CA-BC", first) == RULE
    assert at("CA-BC", first - timedelta(minutes=1)) is None
    assert at("US", first) is None


@pytest.mark.parametrize(
    ("now", "left", "said"),
    [
        ((2026, 11, 26, 12), 9, "9 days left: the notice must reach the authority by 5 Dec 2026."),
        ((2026, 12, 4, 23), 1, "1 day left: the notice must reach the authority by 5 Dec 2026."),
        ((2026, 12, 5, 23), 0, "Today is the last day: the notice must reach the authority by the end of 5 Dec 2026."),
        ((2026, 12, 6, 0), -1, "1 day too late: the notice had to reach the authority by 5 Dec 2026."),
        ((2026, 12, 8, 9), -3, "3 days too late: the notice had to reach the authority by 5 Dec 2026."),
    ],
)
def test_the_deadline_is_told_in_days_of_the_sites_calendar(
    now: tuple[int, int, int, int], left: int, said: str
) -> None:
    deadline = deadline_of(
        RULE, start=datetime(2026, 12, 19, 7, tzinfo=ZONE), at=datetime(*now, tzinfo=ZONE), zone=ZONE
    )
    assert (deadline.last_day, deadline.days_left) == (date(2026, 12, 5), left)
    assert deadline_in_words(deadline) == said


@pytest.mark.parametrize(
    ("today", "said"),
    [
        (date(2026, 11, 26), "The last day, 5 Dec 2026, is in 9 days."),
        (date(2026, 12, 4), "The last day, 5 Dec 2026, is in 1 day."),
        (date(2026, 12, 5), "The last day, 5 Dec 2026, is today."),
        (date(2026, 12, 6), "The last day, 5 Dec 2026, was 1 day ago."),
    ],
)
def test_once_a_notice_is_sent_the_last_day_is_still_told(today: date, said: str) -> None:
    assert last_day_in_words(Deadline(date(2026, 12, 5), today)) == said


def test_the_sites_day_counts_and_not_the_day_in_utc() -> None:
    # Seven in the evening in Vancouver is the next day in UTC; so is the start.
    late = datetime(2026, 12, 5, 19, tzinfo=ZONE)
    deadline = deadline_of(RULE, start=datetime(2026, 12, 19, 19, tzinfo=ZONE), at=late, zone=ZONE)
    assert deadline == Deadline(date(2026, 12, 5), date(2026, 12, 5))


def test_two_weeks_across_a_change_of_the_clock_are_fourteen_calendar_days() -> None:
    # The clocks go back on 1 November 2026 in Vancouver (IANA time zone database).
    start = datetime(2026, 11, 8, 0, 30, tzinfo=ZONE)
    assert deadline_of(RULE, start=start, at=start, zone=ZONE).last_day == date(2026, 10, 25)


def test_every_part_that_a_rule_can_ask_for_has_its_words() -> None:
    assert set(PART_NAMES) == set(PARTS) == {each.part for each in RULE.asks_for}


# Contents at random

TEXT = st.text("abc ", max_size=3).map(str.strip)
INSTANTS = st.integers(0, 3).map(lambda hours: f"2026-12-0{hours + 1}T15:00:00Z")
PARTIES = st.fixed_dictionaries(
    {
        "role": st.sampled_from(["employer", "owner"]),
        "name": st.sampled_from(["Ardent", "Brool"]),
        "contact_person": TEXT,
        "phone": TEXT,
        "email": TEXT,
        "address": TEXT,
    }
)
PROCEDURES = st.fixed_dictionaries({"title": st.sampled_from(["Climb", "Tie"]), "sha256": st.sampled_from("ef")})
CERTIFICATES: st.SearchStrategy[Any] = st.fixed_dictionaries(
    {
        "scheme": st.just("erection"),
        "number": st.sampled_from(["1", "2"]),
        "status": st.sampled_from(["in_force", "revoked"]),
        "expires": st.sampled_from(["2027-01-01", None]),
    }
)
SUPERVISORS: st.SearchStrategy[Any] = st.fixed_dictionaries(
    {
        "worker": st.sampled_from(["1", "2"]).map(lambda each: {"record": f"worker:{each}", "name": f"Person {each}"}),
        "standing": st.sampled_from(["stands", "held"]),
        "from": INSTANTS,
        "until": INSTANTS,
        "certificates": st.lists(CERTIFICATES, max_size=2, unique_by=lambda each: each["number"]),
        "hours": st.just({"minutes_on_model": 60}),
        "assessment": st.one_of(st.none(), INSTANTS.map(lambda each: {"assessed_at": each})),
        "appointment": st.one_of(st.none(), INSTANTS.map(lambda each: {"from": each})),
        "decision": st.integers(1, 9).map(lambda each: {"record": f"decision:{each}"}),
    }
)
CONTENTS: st.SearchStrategy[Any] = st.fixed_dictionaries(
    {
        "drawn_up_at": INSTANTS,
        "parties": st.lists(PARTIES, max_size=3),
        "site": st.fixed_dictionaries({"address": TEXT}),
        "work": st.fixed_dictionaries(
            {
                "operation": st.sampled_from(["climbing", "erection"]),
                "scope": TEXT,
                "start": INSTANTS,
                "end": INSTANTS,
            }
        ),
        "crane": st.fixed_dictionaries(
            dict.fromkeys(("make", "type", "model", "serial_number", "configuration"), TEXT)
        ),
        "procedures": st.lists(PROCEDURES, max_size=2),
        "supervisors": st.lists(SUPERVISORS, max_size=2, unique_by=lambda each: each["worker"]["record"]),
    }
)
Content = dict[str, Any]
at_random = examples(max_examples=60, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow])


@at_random
@given(CONTENTS)
def test_nothing_has_changed_in_what_is_equal_whenever_it_was_drawn_up(content: Content) -> None:
    later = {**copy.deepcopy(content), "drawn_up_at": "2027-01-01T00:00:00Z"}
    assert compare(content, later, RULE) == ()


@at_random
@given(CONTENTS, CONTENTS)
def test_a_part_is_told_of_exactly_if_it_says_something_else(before: Content, after: Content) -> None:
    told = {each.part for each in compare(before, after, RULE)}
    assert told == {part for part in PARTS if _told(before, part) != _told(after, part)}


@at_random
@given(CONTENTS, CONTENTS)
def test_the_other_way_round_before_and_after_change_places(before: Content, after: Content) -> None:
    there = {(each.part, each.item, each.aspect, each.before, each.after) for each in compare(before, after, RULE)}
    back = {(each.part, each.item, each.aspect, each.after, each.before) for each in compare(after, before, RULE)}
    assert there == back


@at_random
@given(CONTENTS, CONTENTS)
def test_every_change_of_what_is_asked_for_needs_a_notice_and_without_a_rule_none_does(
    before: Content, after: Content
) -> None:
    asked = compare(before, after, RULE)
    assert all(each.needs_notice and each.duty == RULE.changes for each in asked)
    unasked = compare(before, after, None)
    assert [(each.part, each.item, each.aspect) for each in unasked] == [
        (each.part, each.item, each.aspect) for each in asked
    ]
    assert not any(each.needs_notice for each in unasked)


@at_random
@given(CONTENTS, CONTENTS)
def test_every_change_can_be_told_in_words(before: Content, after: Content) -> None:
    for each in compare(before, after, RULE):
        told = change_in_words(each, ZONE)
        assert told.before
        assert told.after
        assert told.before != told.after
        assert told.clause == "14.73.3"


@pytest.mark.parametrize(
    ("place", "emptied", "part", "why"),
    [
        (("parties",), [], "parties", "parties"),
        (("site", "address"), "", "address", "address"),
        (("work", "scope"), "", "scope", "scope"),
        (("crane", "make"), "", "make", "make"),
        (("crane", "type"), "", "type", "type"),
        (("crane", "model"), "", "model", "model"),
        (("crane", "serial_number"), "", "serial_number", "serial_number"),
        (("crane", "configuration"), "", "configuration", "configuration"),
        (("procedures",), [], "procedures", "procedures"),
        (("supervisors",), [], "supervisors", "supervisors"),
        (("supervisors", 0, "standing"), "held", "supervisors", "supervisor_held"),
        (("supervisors", 0, "until"), "2026-12-02T14:59:00Z", "supervisors", "supervisor_for_part"),
    ],
)
def test_what_is_not_there_is_missing_with_a_cure(
    content: Content, place: tuple[Any, ...], emptied: Any, part: str, why: str
) -> None:
    assert missing_parts(content, RULE) == ()
    there: Any = content
    for each in place[:-1]:
        there = there[each]
    there[place[-1]] = emptied
    [missing] = missing_parts(content, RULE)
    assert (missing.part, missing.why) == (part, why)
    assert all(missing_in_words(missing))
    assert missing_parts(content, None) == ()


def test_hours_worked_since_are_no_change_and_fewer_hours_are(content: Content) -> None:
    more, fewer = copy.deepcopy(content), copy.deepcopy(content)
    more["supervisors"][0]["hours"]["minutes_on_model"] = 120
    fewer["supervisors"][0]["hours"]["minutes_on_model"] = 45
    assert compare(content, more, RULE) == ()
    [change] = compare(content, fewer, RULE)
    assert change_in_words(change, ZONE).after == "0 h 45 min"


def test_erased_qualifications_are_no_change(content: Content) -> None:
    erased = copy.deepcopy(content)
    kept = {key: erased["supervisors"][0][key] for key in ("standing", "from", "until")}
    erased["supervisors"][0] = {"worker": {"record": "worker:1", "name": "Erased person"}, **kept, "erased": True}
    assert "supervisors" not in {each.part for each in compare(erased, content, RULE)}


def test_two_parties_of_one_name_are_two(content: Content) -> None:
    twice = copy.deepcopy(content)
    twice["parties"] = [*twice["parties"], {**twice["parties"][0], "phone": "2"}]
    [change] = compare(content, twice, RULE)
    assert (change.part, change.aspect, change.after) == ("parties", NAMED, "Ardent")


def test_two_certificates_of_one_number_are_two(content: Content) -> None:
    renewed, expired = (
        {"scheme": "rigging", "number": "R-1", "status": status, "expires": expires}
        for status, expires in (("in_force", "2028-05-01"), ("expired", "2026-05-01"))
    )
    content["supervisors"][0]["certificates"] = [renewed, expired]
    revoked = copy.deepcopy(content)
    revoked["supervisors"][0]["certificates"][0]["status"] = "revoked"
    [change] = compare(content, revoked, RULE)
    assert (change.before, change.after) == ("in_force 2028-05-01", "revoked 2028-05-01")


@pytest.fixture
def content() -> Content:
    party = {"role": "employer", "name": "Ardent", "contact_person": "", "phone": "1", "email": "", "address": ""}
    supervisor: Content = {
        "worker": {"record": "worker:1", "name": "Person 1"},
        "standing": "stands",
        "from": "2026-12-01T15:00:00Z",
        "until": "2026-12-02T15:00:00Z",
        "certificates": [],
        "hours": {"minutes_on_model": 60},
        "assessment": None,
        "appointment": None,
    }
    return {
        "parties": [party],
        "site": {"address": "here"},
        "work": {
            "operation": "climbing",
            "scope": "up",
            "start": "2026-12-01T15:00:00Z",
            "end": "2026-12-02T15:00:00Z",
        },
        "crane": dict.fromkeys(("make", "type", "model", "serial_number", "configuration"), "x"),
        "procedures": [{"title": "Climb", "sha256": "e"}],
        "supervisors": [supervisor],
    }


def _told(content: Content, part: str) -> Any:
    """What a part says, without what is blank: a detail that is not given is not there."""
    return {
        item: {aspect: value for aspect, value in said.items() if value}
        for item, said in facts_of(content, part).items()
    }
