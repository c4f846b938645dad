"""Rules over a whole crew (design, section 2): common practice, no source, unless said otherwise."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from registry.engine.crew import Crew, CrewFinding, Member, OtherWork, crew_findings
from registry.engine.files.standard_file import parse_standard
from registry.engine.standard import Standard
from registry.standards.files import read_standard_file

STANDARD = Path(__file__).parents[2] / "fixtures" / "standards" / "makers-practice-us.yaml"
START = datetime(2026, 6, 1, 14, tzinfo=UTC)
END = START + timedelta(days=4)
SLOTS = {
    "s1": "erection_supervisor",
    "s2": "erector",
    "s3": "trainee",
    "s4": "overseeing_engineer",
}


@pytest.fixture(scope="module")
def standard() -> Standard:
    return parse_standard(read_standard_file(STANDARD))


def member(slot: str, worker: str | None = None, **more: object) -> Member:
    settings: dict[str, object] = {
        "key": f"a-{slot}",
        "worker": worker or f"w-{slot}",
        "name": f"Person {slot}",
        "role": SLOTS[slot],
        "slot": slot,
        "start": START,
        "end": END,
        "languages": frozenset({"en"}),
    }
    return Member(**(settings | more))  # type: ignore[arg-type]


def whole_crew(**changes: Member) -> tuple[Member, ...]:
    crew = {slot: member(slot) for slot in SLOTS}
    crew["s3"] = member("s3", paired_with="a-s2")
    return tuple((crew | changes).values())


def findings(standard: Standard, members: tuple[Member, ...], **more: object) -> list[CrewFinding]:
    settings: dict[str, object] = {
        "start": START,
        "end": END,
        "zone": ZoneInfo("America/Vancouver"),
        "minutes_per_day": 480,
        "slots": SLOTS,
        "members": members,
        "working_language": "en",
    }
    return [each for each in crew_findings(standard, Crew(**(settings | more))) if not each.met]  # type: ignore[arg-type]


def test_a_whole_crew_meets_every_rule(standard: Standard) -> None:
    assert findings(standard, whole_crew()) == []


def test_an_empty_crew_meets_none(standard: Standard) -> None:
    rules = {each.rule for each in findings(standard, ())}
    assert {"slot_filled", "supervised_throughout", "common_language"} <= rules


def test_a_held_assignment_does_not_fill_its_slot(standard: Standard) -> None:
    unmet = findings(standard, whole_crew(s2=member("s2", held=True)))
    assert {each.rule for each in unmet} == {"slot_filled", "trainee_paired"}


def test_a_supervisor_who_leaves_early_leaves_a_gap_that_is_named(standard: Standard) -> None:
    unmet = findings(standard, whole_crew(s1=member("s1", end=END - timedelta(minutes=1))))
    assert {each.rule for each in unmet} == {"slot_filled", "supervised_throughout"}
    # One minute before 5 Jun 2026, 07:00 at the site.
    assert all("5 Jun 2026, 06:59" in each.sentence for each in unmet)


def test_two_supervisors_may_follow_one_another(standard: Standard) -> None:
    swap = START + timedelta(days=2)
    second = member("s1", key="a-s1b", worker="w-second", start=swap)
    crew = (*whole_crew(s1=member("s1", end=swap)), second)
    assert findings(standard, crew) == []


def test_a_supervisor_with_another_role_does_not_supervise(standard: Standard) -> None:
    unmet = findings(standard, whole_crew(s2=member("s2", worker="w-s1")))
    assert "supervised_throughout" in {each.rule for each in unmet}


def test_a_trainee_needs_a_named_erector_who_is_there(standard: Standard) -> None:
    alone = findings(standard, whole_crew(s3=member("s3")))
    assert [each.rule for each in alone] == ["trainee_paired"]
    early = findings(standard, whole_crew(s2=member("s2", end=END - timedelta(days=1))))
    assert "trainee_paired" in {each.rule for each in early}


def test_more_trainees_than_the_ratio_allows(standard: Standard) -> None:
    slots = SLOTS | {f"t{number}": "trainee" for number in range(standard.crew.trainees_per_erector)}
    more = tuple(
        Member(
            key=f"a-{slot}",
            worker=f"w-{slot}",
            name=slot,
            role="trainee",
            slot=slot,
            start=START,
            end=END,
            paired_with="a-s2",
            languages=frozenset({"en"}),
        )
        for slot in slots
        if slot not in SLOTS
    )
    unmet = findings(standard, (*whole_crew(), *more), slots=slots)
    assert [each.rule for each in unmet] == ["trainee_ratio"]


def test_trainees_who_follow_one_another_are_one_at_a_time(standard: Standard) -> None:
    swap = START + timedelta(days=2)
    first = member("s3", paired_with="a-s2", end=swap)
    second = member("s3", key="a-s3b", worker="w-second", paired_with="a-s2", start=swap)
    assert findings(standard, (*whole_crew(s3=first), second)) == []


def test_a_person_on_two_jobs_at_once(standard: Standard) -> None:
    elsewhere = OtherWork(worker="w-s2", job="another job", start=END - timedelta(hours=1), end=END, minutes_per_day=60)
    assert "one_job_at_a_time" in {each.rule for each in findings(standard, whole_crew(), other_work=(elsewhere,))}
    after = OtherWork(
        worker="w-s2",
        job="another job",
        start=END + timedelta(days=1),
        end=END + timedelta(days=2),
        minutes_per_day=480,
    )
    assert findings(standard, whole_crew(), other_work=(after,)) == []


def test_two_jobs_on_one_day_past_the_hours_of_work(standard: Standard) -> None:
    evening = OtherWork(
        worker="w-s2",
        job="another job",
        start=END,
        end=END + timedelta(hours=6),
        minutes_per_day=standard.crew.longest_day,
    )
    unmet = findings(standard, whole_crew(), other_work=(evening,))
    assert [each.rule for each in unmet] == ["hours_of_work"]
    assert "5 Jun 2026" in unmet[0].sentence


def test_only_the_time_there_is_counts_as_hours_of_work(standard: Standard) -> None:
    """Four hours are not eight because a job plans eight, and a night belongs to two days."""
    zone = ZoneInfo("America/Vancouver")

    def at(day: int, hour: int) -> datetime:
        return datetime(2026, 6, day, hour, tzinfo=zone).astimezone(UTC)

    def rules(here: tuple[datetime, datetime], there: tuple[datetime, datetime]) -> set[str]:
        start, end = here
        elsewhere = OtherWork(worker="w-s2", job="another job", start=there[0], end=there[1], minutes_per_day=480)
        alone = (member("s2", start=start, end=end),)
        return {each.rule for each in findings(standard, alone, start=start, end=end, other_work=(elsewhere,))}

    assert "hours_of_work" not in rules((at(1, 13), at(1, 17)), (at(1, 7), at(1, 11)))
    assert "hours_of_work" not in rules((at(2, 22), at(3, 6)), (at(1, 22), at(2, 6)))
    assert "hours_of_work" in rules((at(1, 13), at(1, 21)), (at(1, 5), at(1, 11)))


def test_who_was_an_erector_before_may_supervise_after(standard: Standard) -> None:
    changes = START + timedelta(days=1)
    first = member("s1", "w-first", key="a-first", end=changes)
    then = member("s1", "w-s2", key="a-then", start=changes)
    crew = whole_crew(s1=then, s2=member("s2", end=changes), s3=member("s3", end=changes, paired_with="a-s2"))
    assert "supervised_throughout" not in {each.rule for each in findings(standard, (*crew, first))}
    both = whole_crew(s1=then, s2=member("s2", end=changes + timedelta(minutes=1)))
    assert "supervised_throughout" in {each.rule for each in findings(standard, (*both, first))}


def test_no_language_in_common(standard: Standard) -> None:
    french = member("s2", languages=frozenset({"fr"}))
    unmet = findings(standard, whole_crew(s2=french))
    assert [each.rule for each in unmet] == ["common_language"]
    assert "Person s2" in unmet[0].sentence
    unmet = findings(standard, whole_crew(s2=french), working_language=None)
    assert [each.rule for each in unmet] == ["common_language"]


def test_the_overseeing_engineer_is_named_where_the_standard_asks(standard: Standard) -> None:
    crew = tuple(each for each in whole_crew() if each.slot != "s4")
    rules = {each.rule for each in findings(standard, crew)}
    assert ("engineer_named" in rules) == standard.crew.overseeing_engineer
