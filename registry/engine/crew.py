"""Rules over a whole crew, once each member's own documents are in order.

:func:`crew_findings` looks at one job: its slots, who fills them and when. Pure,
like the rest of the engine. A held assignment is not a filled slot.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from registry.engine.calendar import DAY, INSTANT, bounds_of_day, local_date, whole_minutes
from registry.engine.intervals import Timeline, at_least
from registry.engine.sentences import authored, day_of, duration, listed, moment, say, say_many
from registry.engine.standard import CrewRules, Source, Standard

SUPERVISOR = "erection_supervisor"
ENGINEER = "overseeing_engineer"


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One person in one slot over ``[start, end)``. ``key`` names the assignment."""

    key: str
    worker: str
    name: str
    role: str
    slot: str
    start: datetime
    end: datetime
    held: bool = False
    paired_with: str | None = None
    languages: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherWork:
    """Another job a crew member is assigned to over ``[start, end)``."""

    worker: str
    job: str
    start: datetime
    end: datetime
    minutes_per_day: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    """A job as the crew rules see it. ``slots`` maps each slot to its role."""

    start: datetime
    end: datetime
    zone: ZoneInfo
    minutes_per_day: int
    slots: dict[str, str]
    members: tuple[Member, ...] = ()
    other_work: tuple[OtherWork, ...] = ()
    working_language: str | None = None


@dataclass(frozen=True, slots=True)
class CrewFinding:
    """One crew rule: met or not, in words, with its source."""

    rule: str
    met: bool
    sentence: str
    source: Source


def crew_findings(standard: Standard, crew: Crew) -> tuple[CrewFinding, ...]:
    """Every crew rule and whether the crew meets it throughout the job's window."""
    rules = standard.crew
    standing = [each for each in crew.members if not each.held]
    return (
        *_slots_filled(standard, crew, standing),
        _supervised(standard, crew, standing),
        *_engineer_named(standard, crew, standing),
        *_trainees_paired(rules, crew, standing),
        *_not_elsewhere(rules, crew, standing),
        *_hours_of_work(rules, crew, standing),
        _common_language(rules, crew, standing),
    )


def _slots_filled(standard: Standard, crew: Crew, standing: list[Member]) -> Iterator[CrewFinding]:
    positions: Counter[str] = Counter()
    for slot, role in crew.slots.items():
        positions[role] += 1
        filled = Timeline.of((each.start, each.end) for each in standing if each.slot == slot)
        gap = filled.first_gap(crew.start, crew.end)
        title = authored(standard.title_of(role))
        if list(crew.slots.values()).count(role) > 1:
            title = say("%(role)s %(number)s", role=title, number=positions[role])
        if gap is None:
            sentence = say("%(role)s: the slot is filled throughout", role=title)
        else:
            since = moment(gap, crew.zone)
            sentence = say("%(role)s: nobody in the slot from %(instant)s", role=title, instant=since)
        yield CrewFinding("slot_filled", gap is None, sentence, standard.crew.source)


def _supervised(standard: Standard, crew: Crew, standing: list[Member]) -> CrewFinding:
    free = [
        interval
        for each in standing
        if each.role == SUPERVISOR
        for interval in Timeline.of([(each.start, each.end)]).minus(_in_other_roles(each, standing)).intervals
    ]
    gap = Timeline.of(free).first_gap(crew.start, crew.end)
    title = authored(standard.title_of(SUPERVISOR))
    if gap is None:
        sentence = say("%(role)s with no other role: present throughout", role=title)
    else:
        since = moment(gap, crew.zone)
        sentence = say("%(role)s with no other role: nobody from %(instant)s", role=title, instant=since)
    return CrewFinding("supervised_throughout", gap is None, sentence, standard.crew.source)


def _in_other_roles(supervisor: Member, standing: list[Member]) -> Timeline:
    return Timeline.of(
        (each.start, each.end) for each in standing if each.worker == supervisor.worker and each.role != SUPERVISOR
    )


def _engineer_named(standard: Standard, crew: Crew, standing: list[Member]) -> Iterator[CrewFinding]:
    if standard.crew.overseeing_engineer:
        named = any(each.role == ENGINEER for each in standing)
        title = authored(standard.title_of(ENGINEER))
        sentence = say("%(role)s: named", role=title) if named else say("%(role)s: nobody is named", role=title)
        yield CrewFinding("engineer_named", named, sentence, standard.crew.source)


def _trainees_paired(rules: CrewRules, crew: Crew, standing: list[Member]) -> Iterator[CrewFinding]:
    erectors = {each.key: each for each in standing if each.role == "erector"}
    led: dict[str, list[Member]] = defaultdict(list)
    for trainee in (each for each in standing if each.role == "trainee"):
        erector = erectors.get(trainee.paired_with or "")
        if erector is None:
            sentence = say("%(trainee)s is not paired with an erector of this crew", trainee=trainee.name)
        elif not (erector.start <= trainee.start and trainee.end <= erector.end):
            sentence = say(
                "%(trainee)s stays when %(erector)s, the erector, is not there",
                trainee=trainee.name,
                erector=erector.name,
            )
        else:
            led[erector.key].append(trainee)
            sentence = say("%(trainee)s is paired with %(erector)s", trainee=trainee.name, erector=erector.name)
            yield CrewFinding("trainee_paired", True, sentence, rules.source)
            continue
        yield CrewFinding("trainee_paired", False, sentence, rules.source)
    for key, trainees in led.items():
        most = _most_at_once(trainees)
        if most > rules.trainees_per_erector:
            sentence = say_many(
                "%(erector)s is paired with %(count)s trainee at once, at most %(most)s allowed",
                "%(erector)s is paired with %(count)s trainees at once, at most %(most)s allowed",
                count=most,
                erector=erectors[key].name,
                most=rules.trainees_per_erector,
            )
            yield CrewFinding("trainee_ratio", False, sentence, rules.source)


def _most_at_once(members: Iterable[Member]) -> int:
    timelines = [Timeline.of([(each.start, each.end)]) for each in members]
    return max(count for count in range(1, len(timelines) + 1) if at_least(count, timelines).intervals)


def _not_elsewhere(rules: CrewRules, crew: Crew, standing: list[Member]) -> Iterator[CrewFinding]:
    for other in crew.other_work:
        for each in standing:
            if each.worker == other.worker and each.start < other.end and other.start < each.end:
                sentence = say("%(name)s is also on %(job)s at the same time", name=each.name, job=other.job)
                yield CrewFinding("one_job_at_a_time", False, sentence, rules.source)


def _hours_of_work(rules: CrewRules, crew: Crew, standing: list[Member]) -> Iterator[CrewFinding]:
    for worker, name in {each.worker: each.name for each in standing}.items():
        here = Timeline.of((each.start, each.end) for each in standing if each.worker == worker)
        there: dict[date, int] = defaultdict(int)
        for start, end in here.intervals:
            for day, minutes in _minutes_by_day(start, end, crew.zone):
                there[day] += minutes
        planned = {day: min(minutes, crew.minutes_per_day) for day, minutes in there.items()}
        for other in crew.other_work:
            if other.worker == worker:
                for day, minutes in _minutes_by_day(other.start, other.end, crew.zone):
                    if day in planned:
                        planned[day] += min(minutes, other.minutes_per_day)
        too_long = [day for day, minutes in planned.items() if minutes > rules.longest_day]
        if too_long:
            day = min(too_long)
            sentence = say(
                "%(name)s is planned for %(amount)s on %(day)s, at most %(most)s allowed",
                name=name,
                amount=duration(planned[day]),
                day=day_of(day),
                most=duration(rules.longest_day),
            )
            yield CrewFinding("hours_of_work", False, sentence, rules.hours_source)


def _minutes_by_day(start: datetime, end: datetime, zone: ZoneInfo) -> Iterator[tuple[date, int]]:
    """Each local day of ``[start, end)`` with its minutes in it: no more can be worked on it."""
    day = local_date(start, zone)
    last = local_date(end - INSTANT, zone)
    while day <= last:
        midnight, next_midnight = bounds_of_day(day, zone)
        yield day, whole_minutes(max(start, midnight), min(end, next_midnight))
        day += DAY


def _common_language(rules: CrewRules, crew: Crew, standing: list[Member]) -> CrewFinding:
    if not standing:
        return CrewFinding("common_language", False, say("there is no crew yet"), rules.source)
    common = frozenset.intersection(*(each.languages for each in standing))
    if crew.working_language is not None and crew.working_language not in common:
        without = [each.name for each in standing if crew.working_language not in each.languages]
        sentence = say(
            "without the working language %(language)s: %(names)s",
            language=crew.working_language,
            names=listed(without),
        )
        return CrewFinding("common_language", False, sentence, rules.source)
    if not common:
        return CrewFinding("common_language", False, say("the crew has no language in common"), rules.source)
    sentence = say("the crew shares: %(languages)s", languages=listed(sorted(common)))
    return CrewFinding("common_language", True, sentence, rules.source)
