"""What holds of every decision, tried on many small generated worlds.

A world has up to five people, three models, mixed records and a small generated
standard. *Favourable* is what can only help: hours in a qualified capacity, pass
assessments, certificates, instruction, appointments to a duty, languages, of the
worker or of those who sign. Three things look favourable and are not, so they
are left out where records are added:

- a signature of somebody for a person who assesses them, because the
  assessment is then not independent;
- hours as a trainee and an appointment as trainee, because a trainee does not
  assess;
- a maker's family declaration names other makers' models: it is void, so it is
  never generated.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from registry.eligibility.answer import RemedyItem
from registry.eligibility.calendar import local_date, months_before
from registry.eligibility.decide import decide
from registry.eligibility.evidence import (
    Appointment,
    Assessment,
    Certification,
    CertificationStatus,
    Countersignature,
    Employer,
    Evidence,
    FamilyDeclaration,
    HoursEntry,
    Instruction,
    LanguageSkill,
    Model,
    Person,
    Record,
    StandDown,
)
from registry.eligibility.hours import INSTANT, CountedEntry, HoursProfile, HoursRule
from registry.eligibility.leaves import Requirements
from registry.eligibility.question import Asked, Question
from registry.eligibility.signing import Signatures
from registry.eligibility.standard import (
    Appointed,
    Certified,
    Hours,
    Instructed,
    PracticalAssessment,
    SharedLanguage,
    Standard,
    parse_standard,
)

MINUTE = timedelta(minutes=1)
ZONE = ZoneInfo("America/Chicago")
START = datetime(2026, 6, 1, 18, 0, tzinfo=UTC)  # 13:00 at the site
FIRST = datetime(2023, 6, 1, tzinfo=UTC)
PEOPLE = ("worker", "ann", "ben", "cyd", "root")
SIGNERS = ("ann", "ben", "cyd")
MODELS = {
    "m1": Model("m1", "Norrland Hoist", "NH 280", "flat top"),
    "m2": Model("m2", "Norrland Hoist", "NH 320", "flat top"),
    "m3": Model("m3", "Brelo", "BRL 90", "luffing jib"),
}
MANY = settings(
    derandomize=True,
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)

# Worlds

days = st.integers(0, 1090)
operations = st.sampled_from(["erection", "climbing"])
models = st.sampled_from(["m1", "m1", "m2", "m3"])
anybody = st.sampled_from(PEOPLE[:4])


def at(day: int, hour: int = 12, minute: int = 0) -> datetime:
    return FIRST + timedelta(days=day, hours=hour, minutes=minute)


@st.composite
def hours_entries(draw: st.DrawFn, number: int = 0) -> HoursEntry:
    start = at(draw(days), draw(st.integers(0, 23)), draw(st.sampled_from([0, 1, 30])))
    end = start + MINUTE * draw(st.sampled_from([1, 60, 200, 599, 1440]))
    origin = draw(st.sampled_from(["register", "register", "register", "paper", "import"]))
    signatures = []
    for by in draw(st.lists(st.sampled_from([*SIGNERS, "root", "worker"]), max_size=2)):
        signed = end + timedelta(days=draw(st.sampled_from([0, 1, 20])))
        delay = timedelta(days=draw(st.sampled_from([0, 0, 30])))
        signatures.append(Countersignature(by, signed, signed + delay))
    return HoursEntry(
        id=f"hours-{number}",
        recorded_at=end + timedelta(days=draw(st.sampled_from([0, 0, 40]))),
        worker=draw(st.sampled_from(["worker", "worker", *SIGNERS])),
        model=draw(models),
        operation=draw(operations),
        start=start,
        end=end,
        employer=draw(st.sampled_from(["kestrel", "kestrel", "plover"])),
        capacity=draw(st.sampled_from(["erector", "erector", "trainee"])),
        zone=ZONE,
        origin=origin,
        document=draw(st.sampled_from([None, "scan"])),
        issuer=draw(st.sampled_from([None, "other register"])),
        countersignatures=tuple(signatures),
    )


@st.composite
def assessments(draw: st.DrawFn, number: int = 0) -> Assessment:
    when = at(draw(days))
    third_party = draw(st.booleans())
    return Assessment(
        id=f"assessment-{number}",
        recorded_at=when,
        worker=draw(st.sampled_from(["worker", "worker", *SIGNERS])),
        role=draw(st.sampled_from(["erector", "erector", "assessor"])),
        model=draw(models),
        operations=frozenset(draw(st.sets(operations, min_size=1))),
        assessed_at=when,
        outcome=draw(st.sampled_from(["pass", "pass", "pass", "not_yet_competent"])),
        assessor=draw(st.sampled_from([*SIGNERS, "root", "root", "worker"])),
        third_party=third_party,
        employer=None if third_party else draw(st.sampled_from(["kestrel", "plover"])),
    )


@st.composite
def certifications(draw: st.DrawFn, number: int = 0) -> Certification:
    issued = at(draw(days)).date()
    length = draw(st.sampled_from([None, 0, 400, 1200]))
    return Certification(
        id=f"certification-{number}",
        recorded_at=at(0),
        worker=draw(anybody),
        scheme=draw(st.sampled_from(["erection", "assessor"])),
        number=str(number),
        issued=issued,
        expires=None if length is None else issued + timedelta(days=length),
    )


@st.composite
def instructions(draw: st.DrawFn, number: int = 0) -> Instruction:
    when = at(draw(days))
    return Instruction(
        id=f"instruction-{number}",
        recorded_at=when,
        worker=draw(anybody),
        topic="tasks",
        completed_at=when,
        after_stand_down=draw(st.sampled_from([None, None, "stand-down-0"])),
    )


@st.composite
def appointments(draw: st.DrawFn, number: int = 0) -> Appointment:
    start = at(draw(days))
    length = draw(st.sampled_from([None, 30, 1100]))
    return Appointment(
        id=f"appointment-{number}",
        recorded_at=start,
        worker=draw(anybody),
        duty=draw(st.sampled_from(["erector", "erector", "assessor", "trainee"])),
        start=start,
        end=None if length is None else start + timedelta(days=length),
        kind=draw(st.sampled_from(["duty", "duty", "founding"])),
        employer=draw(st.sampled_from(["kestrel", "plover"])),
        document="letter",
    )


@st.composite
def stand_downs(draw: st.DrawFn, number: int = 0) -> StandDown:
    start = at(draw(days))
    return StandDown(
        id=f"stand-down-{number}",
        recorded_at=start,
        worker=draw(st.sampled_from(["worker", "ann"])),
        start=start,
        reason="conduct",
        role=draw(st.sampled_from([None, "erector"])),
        model=draw(st.sampled_from([None, "m1", "m2"])),
    )


@st.composite
def languages(draw: st.DrawFn, number: int = 0) -> LanguageSkill:
    return LanguageSkill(
        id=f"language-{number}",
        recorded_at=at(0),
        worker=draw(anybody),
        language=draw(st.sampled_from(["en", "es"])),
    )


FAMILY = FamilyDeclaration(
    id="family",
    recorded_at=at(0),
    maker="Norrland Hoist",
    models=frozenset({"m1", "m2"}),
    document="letter",
    valid_from=date(2024, 1, 1),
)
ROOT = Certification(
    id="root-certificate",
    recorded_at=at(0),
    worker="root",
    scheme="assessor",
    number="R",
    issued=date(2020, 1, 1),
)


def several(of: Any, most: int) -> st.SearchStrategy[tuple[Any, ...]]:
    return st.integers(0, most).flatmap(lambda count: st.tuples(*(of(number=n) for n in range(count))))


@st.composite
def worlds(draw: st.DrawFn) -> Evidence:
    family = draw(st.sampled_from([None, FAMILY, replace(FAMILY, valid_until=date(2026, 6, 2))]))
    held = draw(several(certifications, 3))
    statuses = [
        CertificationStatus(
            id=f"status-{number}",
            recorded_at=at(day),
            worker=each.worker,
            certification=each.id,
            status=draw(st.sampled_from(["suspended", "reinstated", "revoked"])),
            effective_at=at(day),
        )
        for number, each in enumerate(held)
        if (day := draw(st.none() | days)) is not None
    ]
    return Evidence(
        people={key: Person(key, key.title()) for key in PEOPLE},
        employers={key: Employer(key, key.title()) for key in ("kestrel", "plover")},
        models=MODELS,
        families=() if family is None else (family,),
        hours=draw(several(hours_entries, 6)),
        assessments=draw(several(assessments, 4)),
        certifications=(*held, ROOT),
        certification_statuses=tuple(statuses),
        instruction=draw(several(instructions, 2)),
        appointments=draw(several(appointments, 2)),
        stand_downs=draw(several(stand_downs, 1)),
        languages=draw(several(languages, 2)),
    )


# Standards


def leaf(kind: str, key: str, cost: int = 1, **more: Any) -> dict[str, Any]:
    return {kind: {"key": key, "sentence": key, "source": "own", "cost": cost, **more}}


NO_STAND_DOWN = leaf("no_stand_down", "no_stand_down")
months = st.sampled_from([None, 6, 12, 36])


def without_none(**more: Any) -> dict[str, Any]:
    return {key: value for key, value in more.items() if value is not None}


@st.composite
def hours_leaves(draw: st.DrawFn, key: str, after: bool) -> dict[str, Any]:
    return leaf(
        "hours",
        key,
        draw(st.integers(1, 9)),
        **without_none(
            minimum_minutes=draw(st.sampled_from([1, 60, 199, 200])),
            scope=draw(st.sampled_from(["model", "family", "class", "any"])),
            operations=draw(st.sampled_from(["same", "any", ["climbing"]])),
            capacity=draw(st.sampled_from([None, None, "erector", "trainee"])),
            after=draw(st.sampled_from([None, "instruction"])) if after else None,
            within_months=draw(months),
            longest_gap_months=draw(months),
            day_cap_minutes=draw(st.sampled_from([None, 600])),
        ),
    )


@st.composite
def trees(draw: st.DrawFn) -> dict[str, Any]:
    instruction = leaf(
        "instruction", "instruction", draw(st.integers(1, 9)), topic="tasks", **without_none(within_months=draw(months))
    )
    assessment = leaf(
        "assessment",
        "assessment",
        draw(st.integers(1, 9)),
        **without_none(
            scope=draw(st.sampled_from(["model", "family", "any"])),
            operations=draw(st.sampled_from(["same", "any"])),
            within_months=draw(months),
            assessor=draw(st.sampled_from(["any", "third_party", "employer"])),
            independent=draw(st.booleans()),
        ),
    )
    chosen = draw(
        st.lists(
            st.sampled_from(
                [
                    assessment,
                    leaf("certification", "certification", draw(st.integers(1, 9)), schemes=["erection"]),
                    leaf("appointment", "appointment", draw(st.integers(1, 9)), duty="erector"),
                    leaf("language", "language"),
                    draw(hours_leaves("hours_a", after=True)),
                    draw(hours_leaves("hours_b", after=False)),
                ]
            ),
            min_size=1,
            max_size=4,
            unique_by=str,
        )
    )
    if any("instruction" in str(each) for each in chosen) or draw(st.booleans()):
        chosen.append(instruction)
    split = draw(st.integers(0, len(chosen)))
    inner, outer = chosen[:split], chosen[split:]
    parts = [NO_STAND_DOWN, *outer]
    if len(inner) > 2:
        parts.append({"at_least": {"count": draw(st.integers(1, len(inner))), "of": inner}})
    elif inner:
        parts.append({"any_of": inner})
    return {"all_of": parts}


@st.composite
def standards(draw: st.DrawFn) -> Standard:
    assessor = {
        "all_of": [
            NO_STAND_DOWN,
            {
                "any_of": [
                    leaf("certification", "certificate", schemes=["assessor"]),
                    leaf("appointment", "founding", duty="assessor", kinds=["founding"]),
                    {
                        "all_of": [
                            leaf("hours", "hours", minimum_minutes=60, scope="class", operations="any"),
                            leaf("assessment", "assessed", scope="any", role="assessor", operations="any"),
                        ]
                    },
                ]
            },
        ]
    }
    return parse_standard(
        {
            "standard": "generated",
            "version": 1,
            "title": "Generated",
            "jurisdiction": "US",
            "in_force": {"from": "2000-01-01"},
            "sources": {"own": {"title": "common practice, no source", "kind": "common_practice"}},
            "sign_off": {
                "countersigners": draw(st.sampled_from([["assessor"], ["assessor", "erector"]])),
                "assessors": ["assessor"],
            },
            "provenance": {
                "counts_in_full": draw(st.sampled_from([["witnessed"], ["witnessed", "imported"]])),
                "counts_in_part": draw(st.sampled_from([["transcribed"], ["transcribed", "countersigned_late"]])),
                "part_at_most_percent": draw(st.sampled_from([0, 50, 100])),
                "countersign_within_days": 14,
            },
            "plausibility": {
                "crane_not_on_site": "in_full",
                "recorded_late": draw(st.sampled_from(["in_full", "in_part", "nothing"])),
                "recorded_late_after_days": 30,
            },
            "crew": {
                "trainees_per_erector": 1,
                "longest_day_minutes": 720,
                "source": "own",
                "longest_day_source": "own",
            },
            "roles": [
                {
                    "role": role,
                    "operations": ["erection", "climbing"],
                    "requirement": tree,
                }
                for role, tree in (("erector", draw(trees())), ("assessor", assessor))
            ],
        }
    )


questions = st.builds(
    Question,
    worker=st.just("worker"),
    role=st.just("erector"),
    model=st.sampled_from(["m1", "m2"]),
    operation=operations,
    employer=st.just("kestrel"),
    jurisdiction=st.just("US"),
    start=st.just(START),
    end=st.sampled_from([START + MINUTE, START + timedelta(days=3)]),
    zone=st.just(ZONE),
    working_language=st.just("en"),
)


# More evidence


def with_more(evidence: Evidence, *records: Record) -> Evidence:
    kinds: dict[type[Record], str] = {
        HoursEntry: "hours",
        Assessment: "assessments",
        Certification: "certifications",
        Instruction: "instruction",
        Appointment: "appointments",
        LanguageSkill: "languages",
    }
    for record in records:
        kind = kinds[type(record)]
        evidence = replace(evidence, **{kind: (*getattr(evidence, kind), record)})
    return evidence


def is_favourable(record: Record, evidence: Evidence) -> bool:
    """See the head of this file for what is left out."""
    signed: list[tuple[str, str]] = []
    if isinstance(record, HoursEntry):
        if record.capacity == "trainee":
            return False
        signed = [(each.by, record.worker) for each in record.countersignatures]
    if isinstance(record, Assessment):
        if record.outcome != "pass":
            return False
        signed = [(record.assessor, record.worker)]
    if isinstance(record, Appointment) and record.duty == "trainee":
        return False
    assessed = {(each.worker, each.assessor) for each in evidence.assessments}
    if isinstance(record, Assessment):
        assessed.add((record.worker, record.assessor))
    return not assessed & set(signed) or not _harms(signed, assessed)


def _harms(signed: list[tuple[str, str]], assessed: set[tuple[str, str]]) -> bool:
    """Whether somebody signed for a person who assesses them."""
    return any((signer, worker) in assessed for signer, worker in signed)


additional = st.one_of(
    hours_entries(number=99),
    hours_entries(number=99),
    assessments(number=99),
    certifications(number=99),
    instructions(number=99),
    appointments(number=99),
    languages(number=99),
)


@settings(MANY, max_examples=600)
@given(worlds(), standards(), questions, additional)
def test_a_favourable_record_never_turns_permitted_into_refused(
    world: Evidence, standard: Standard, question: Question, record: Record
) -> None:
    """And so, read from right to left, removing one never turns refused into permitted."""
    assume(is_favourable(record, world))
    if decide(world, standard, question).permitted:
        assert decide(with_more(world, record), standard, question).permitted


@MANY
@given(worlds(), standards(), questions, additional)
def test_with_a_favourable_record_a_permission_holds_at_least_as_long(
    world: Evidence, standard: Standard, question: Question, record: Record
) -> None:
    assume(is_favourable(record, world))
    before = decide(world, standard, question)
    if before.permitted:
        after = decide(with_more(world, record), standard, question)
        assert after.holds_until is None or (before.holds_until is not None and after.holds_until >= before.holds_until)


@MANY
@given(worlds(), standards(), questions, st.randoms(use_true_random=False))
def test_the_order_of_the_records_changes_nothing(
    world: Evidence, standard: Standard, question: Question, chance: Any
) -> None:
    def shuffled(records: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(chance.sample(records, len(records)))

    hours = [replace(each, countersignatures=shuffled(each.countersignatures)) for each in world.hours]
    other = replace(world, **{kind: shuffled(records) for kind, records in world.record_kinds()})
    other = replace(other, hours=shuffled(tuple(hours)))
    assert decide(other, standard, question) == decide(world, standard, question)


@settings(MANY, max_examples=300)
@given(worlds(), standards(), questions)
def test_a_permission_ends_exactly_where_it_says(world: Evidence, standard: Standard, question: Question) -> None:
    def permitted(start: datetime) -> bool:
        return decide(world, standard, replace(question, start=start, end=start + MINUTE)).permitted

    decision = decide(world, standard, question)
    assume(decision.permitted)
    until = decision.holds_until
    if until is None:
        assert all(permitted(datetime(year, 3, 1, tzinfo=UTC)) for year in (2027, 2040, 2200))
    else:
        assert until >= question.end
        assert permitted(until - MINUTE)
        assert not permitted(until)


@MANY
@given(worlds(), standards(), questions)
def test_every_requirement_is_judged_alike_over_a_window_and_at_each_of_its_instants(
    world: Evidence, standard: Standard, question: Question
) -> None:
    role = standard.by_role_and_operation["erector", question.operation]
    leaves = {each.key: each for each in role.leaves()}
    asked = Asked(
        person="worker",
        role="erector",
        model=question.model,
        operation=question.operation,
        employer="kestrel",
        zone=ZONE,
        since=FIRST,
        working_language="en",
    )
    requirements = Requirements(world, Signatures(world, standard, "worker", ZONE))
    timelines = {key: requirements.evaluate(each, asked, leaves).timeline for key, each in leaves.items()}
    edges = {edge for each in timelines.values() for interval in each.intervals for edge in interval}
    for edge in sorted(edges)[:12]:
        for instant in (edge - MINUTE, edge, edge + MINUTE) if edge.year in range(1900, 9000) else ():
            if instant < FIRST:
                continue
            asked_then = replace(question, start=instant, end=instant + MINUTE)
            for result in decide(world, standard, asked_then).requirements:
                assert result.met == timelines[result.key].holds_at(instant), (result.key, instant)


# Totals of hours against a count of single minutes

counted_entries = st.builds(
    lambda number, entry, late, full: CountedEntry(
        replace(entry, id=str(number)),
        entry.end + timedelta(days=late),
        None if full is None else entry.end + timedelta(days=late + full),
    ),
    st.integers(0, 10**9),
    hours_entries(),
    st.sampled_from([0, 0, 3, 300]),
    st.sampled_from([0, 0, 0, 10, None]),
)
rules = st.builds(
    HoursRule,
    st.sampled_from([ZONE, ZoneInfo("Asia/Tokyo")]),
    months,
    months,
    st.sampled_from([300, 600, 1440]),
    st.sampled_from([0, 100, 1000]),
)


def minutes_by_count(entries: list[CountedEntry], rule: HoursRule, instant: datetime) -> int:
    """The total at an instant, minute by minute, straight from the words of the standard."""

    def worked(chosen: list[CountedEntry]) -> dict[date, int]:
        minutes: set[datetime] = set()
        for each in chosen:
            length = (each.entry.end - each.entry.start) // MINUTE
            minutes |= {each.entry.start + MINUTE * n for n in range(length)}
        by_day: dict[date, int] = {}
        for minute in minutes:
            day = local_date(minute, ZONE)
            by_day[day] = min(by_day.get(day, 0) + 1, rule.day_cap)
        return by_day

    every = worked([each for each in entries if each.available_at <= instant])
    full = worked([each for each in entries if each.in_full_from and each.in_full_from <= instant])
    today = local_date(instant, rule.zone)
    cutoff = date.min
    if rule.within_months is not None:
        cutoff = months_before(today, rule.within_months)
    if rule.longest_gap_months is not None:
        since = today
        for day in sorted(every, reverse=True):
            if months_before(since, rule.longest_gap_months) > day:
                break
            since = day
        cutoff = max(cutoff, since)
    total, in_full = (sum(m for day, m in each.items() if day >= cutoff) for each in (every, full))
    return min(total, in_full + rule.part_minutes)


@MANY
@given(
    st.lists(counted_entries, max_size=5, unique_by=lambda each: each.entry.id), rules, st.sampled_from([1, 61, 700])
)
def test_hours_total_and_timeline_equal_a_count_of_single_minutes(
    entries: list[CountedEntry], rule: HoursRule, minimum: int
) -> None:
    profile = HoursProfile.of(entries, rule)
    timeline = profile.timeline(minimum, FIRST)
    instants = {START, *(edge for interval in timeline.intervals for edge in interval)}
    instants |= {each.available_at for each in entries} | {each.in_full_from or START for each in entries}
    near = {each + step for each in instants if each.year < 9000 for step in (-INSTANT, timedelta(), MINUTE)}
    for instant in near:
        if instant >= FIRST:
            total = minutes_by_count(entries, rule, instant)
            assert profile.total_at(instant) == total
            assert timeline.holds_at(instant) == (total >= minimum)
    end = START + timedelta(days=400)
    least = min([minutes_by_count(entries, rule, each) for each in near if START <= each < end])
    assert profile.lowest(START, end) <= least
    assert (profile.lowest(START, end) >= minimum) == timeline.holds_throughout(START, end)


# The remedy


def obtained(
    item: RemedyItem, minutes: int, world: Evidence, standard: Standard, question: Question, number: int
) -> list[Record]:
    """Records that provide one item of a remedy, signed by a root, in time before the window."""
    role = standard.by_role_and_operation[question.role, question.operation]
    wanted = {each.key: each for each in role.leaves()}[item.leaf]
    day_before = START - timedelta(days=1)
    common: dict[str, Any] = {"id": f"new-{number}", "recorded_at": day_before, "worker": "worker"}
    if item.kind == "retraining":
        return [
            Instruction(
                **common | {"id": f"new-{number}-{each.id}"},
                topic="retraining",
                completed_at=day_before,
                after_stand_down=each.id,
            )
            for each in world.stand_downs
            if each.worker == "worker"
        ]
    if item.kind == "assessment":
        employers = isinstance(wanted, PracticalAssessment) and wanted.assessor == "employer"
        return [
            Assessment(
                **common,
                role="erector",
                model=question.model,
                operations=frozenset({question.operation}),
                assessed_at=day_before + MINUTE,
                outcome="pass",
                assessor="root",
                third_party=not employers,
                employer="kestrel" if employers else None,
            )
        ]
    if isinstance(wanted, Hours):
        # The sentence names what counts; the first operation and capacity it names will do.
        text = item.sentence
        operation = next(
            (each for each in ("erection", "climbing") if f"in {each}" in text or f"or {each}" in text),
            question.operation,
        )
        return [
            HoursEntry(
                **common | {"recorded_at": START},
                model=question.model,
                operation=operation,
                start=START - MINUTE * (minutes + offset),
                end=START - MINUTE * offset,
                employer="kestrel",
                capacity="trainee" if " as trainee" in text else "erector",
                zone=ZONE,
                countersignatures=(Countersignature("root", START - MINUTE * offset, START),),
            )
            for offset in [number * 200]
            if minutes
        ]
    if isinstance(wanted, Certified):
        return [Certification(**common, scheme=wanted.schemes[0], number="N", issued=date(2026, 5, 31))]
    if isinstance(wanted, Instructed):
        return [Instruction(**common, topic=wanted.topic, completed_at=day_before)]
    if isinstance(wanted, Appointed):
        return [Appointment(**common, duty=wanted.duty, start=day_before, employer="kestrel")]
    assert isinstance(wanted, SharedLanguage)
    return [LanguageSkill(**common, language="en")]


@settings(MANY, max_examples=400)
@given(worlds(), standards(), questions)
def test_a_remedy_obtained_permits_and_nothing_smaller_does(
    world: Evidence, standard: Standard, question: Question
) -> None:
    decision = decide(world, standard, question)
    assume(decision.remedy is not None)
    remedy = decision.remedy
    assert remedy is not None
    if not remedy.items:
        assert remedy.obstacle
        return
    # Two requirements for hours stay under one day's cap, so that they can be worked that day.
    amounts = [each.minutes or 0 for each in remedy.items]
    order = sorted(range(len(amounts)), key=lambda n: remedy.items[n].kind != "hours")

    def then(amounts: dict[int, int]) -> bool:
        records: list[Record] = []
        for place, n in enumerate(order):
            if n in amounts:
                records += obtained(remedy.items[n], amounts[n], world, standard, question, place)
        return decide(with_more(world, *records), standard, question).permitted

    whole = dict(enumerate(amounts))
    assert then(whole)
    for n, item in enumerate(remedy.items):
        assert not then({key: value for key, value in whole.items() if key != n})
        if item.kind == "hours":
            assert not then({**whole, n: amounts[n] - 1})
