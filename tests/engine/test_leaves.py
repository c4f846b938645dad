"""Each kind of requirement at its boundaries, and what a refusal says would cure it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from registry.engine.answer import Decision
from registry.engine.decide import decide
from registry.engine.evidence import (
    Appointment,
    Assessment,
    Certification,
    Countersignature,
    Employer,
    Evidence,
    FamilyDeclaration,
    HoursEntry,
    Instruction,
    Model,
    Person,
    Record,
    StandDown,
)
from registry.engine.files.standard_file import parse_standard
from registry.engine.question import Question

MINUTE = timedelta(minutes=1)
ZONES = ["America/Chicago", "Europe/Berlin", "Asia/Tokyo", "Australia/Lord_Howe", "UTC"]
LONG_AGO = datetime(2010, 1, 1, tzinfo=UTC)
OPERATIONS = ["erection", "climbing", "repositioning", "dismantling"]
Data = dict[str, Any]


def leaf(kind: str, key: str, **more: Any) -> Data:
    return {kind: {"key": key, "sentence": key, "source": "own", **more}}


def hours_leaf(key: str = "hours", **more: Any) -> Data:
    return leaf("hours", key, **{"minimum_minutes": 60, "scope": "model", **more})


ASSESSMENT = leaf("assessment", "assessment", scope="model")
NO_STAND_DOWN = leaf("no_stand_down", "no_stand_down")


def local(text: str, zone: str = "America/Chicago") -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


def decided(
    requirement: Data | list[Data],
    *records: Record,
    start: str = "2026-06-01T07:00",
    end: str = "2026-06-01T19:00",
    zone: str = "America/Chicago",
    root_until: str | None = None,
    **more: Any,
) -> Decision:
    """The answer for ``worker`` as erector; ``root`` may countersign and assess anything."""
    leaves = requirement if isinstance(requirement, list) else [requirement]
    standard = parse_standard(
        {
            "standard": "small",
            "version": 1,
            "title": "Small",
            "jurisdiction": "US",
            "in_force": {"from": "2000-01-01"},
            "sources": {"own": {"title": "common practice, no source", "kind": "common_practice"}},
            "sign_off": {"countersigners": ["assessor"], "assessors": ["assessor"]},
            "provenance": {"counts_in_full": ["witnessed"], "countersign_within_days": 3650},
            "plausibility": {
                "crane_not_on_site": "in_full",
                "recorded_late": "in_full",
                "recorded_late_after_days": 0,
            },
            "crew": {
                "trainees_per_erector": 1,
                "longest_day_minutes": 720,
                "source": "own",
                "longest_day_source": "own",
            },
            "roles": [
                {"role": role, "operations": OPERATIONS, "requirement": {"all_of": [NO_STAND_DOWN, *tree]}}
                for role, tree in (
                    ("erector", leaves),
                    ("assessor", [leaf("certification", "certificate", schemes=["assessor"])]),
                )
            ],
        }
    )
    kinds: dict[type[Record], str] = {
        HoursEntry: "hours",
        Assessment: "assessments",
        Certification: "certifications",
        Instruction: "instruction",
        Appointment: "appointments",
        StandDown: "stand_downs",
        FamilyDeclaration: "families",
    }
    held: dict[str, tuple[Record, ...]] = {}
    for record in (certificate("root", "assessor", "2010-01-01", root_until), *records):
        kind = kinds[type(record)]
        held[kind] = (*held.get(kind, ()), record)
    evidence = Evidence(
        people={key: Person(key, key.title()) for key in ("worker", "root")},
        employers={"kestrel": Employer("kestrel", "Kestrel Tower Works")},
        models={
            "m": Model("m", "Norrland Hoist", "NH 280", "flat top"),
            "sister": Model("sister", "Norrland Hoist", "NH 900", "luffing jib"),
        },
        **held,  # type: ignore[arg-type]
    )
    question = Question(
        worker="worker",
        role="erector",
        model="m",
        operation="erection",
        employer="kestrel",
        jurisdiction="US",
        start=local(start, zone),
        end=local(end, zone),
        zone=ZoneInfo(zone),
        **more,
    )
    return decide(evidence, standard, question)


def certificate(worker: str, scheme: str, issued: str, expires: str | None = None) -> Certification:
    return Certification(
        id=f"{worker}-{scheme}",
        recorded_at=LONG_AGO,
        worker=worker,
        scheme=scheme,
        number="1",
        issued=date.fromisoformat(issued),
        expires=None if expires is None else date.fromisoformat(expires),
    )


def worked(start: str, minutes: int, *, zone: str = "America/Chicago", number: int = 0, **more: Any) -> HoursEntry:
    begun = local(start, zone)
    end = begun + MINUTE * minutes
    signed = more.pop("signed", end)
    content: Data = {
        "id": f"hours-{start}-{number}",
        "recorded_at": end,
        "worker": "worker",
        "model": "m",
        "operation": "erection",
        "start": begun,
        "end": end,
        "employer": "kestrel",
        "zone": ZoneInfo(zone),
        "countersignatures": (Countersignature("root", signed, signed),),
    }
    return HoursEntry(**content | more)


def signed_at_its_end(entry: HoursEntry) -> HoursEntry:
    signature = Countersignature("root", entry.end, entry.end)
    return replace(entry, recorded_at=entry.end, countersignatures=(signature,))


def assessed(at: str, outcome: str = "pass", zone: str = "America/Chicago") -> Assessment:
    return Assessment(
        id=f"assessment-{at}",
        recorded_at=local(at, zone),
        worker="worker",
        role="erector",
        model="m",
        operations=frozenset({"erection"}),
        assessed_at=local(at, zone),
        outcome=outcome,
        assessor="root",
        third_party=True,
    )


def instructed(at: str, topic: str = "tasks", answers: str | None = None) -> Instruction:
    when = local(at)
    return Instruction(
        id=f"instruction-{at}",
        recorded_at=when,
        worker="worker",
        topic=topic,
        completed_at=when,
        after_stand_down=answers,
    )


def stood_down(at: str, **more: Any) -> StandDown:
    content: Data = {"id": "bar", "recorded_at": local(at), "worker": "worker", "start": local(at), "reason": "conduct"}
    return StandDown(**content | more)


# Boundaries

CERTIFIED = leaf("certification", "certification", schemes=["erection"])


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize("day", ["2026-06-01", "2026-03-08", "2026-03-29", "2026-10-25", "2026-11-01", "2028-02-29"])
def test_a_certificate_is_good_to_the_last_minute_of_its_day_at_the_site(zone: str, day: str) -> None:
    held = certificate("worker", "erection", "2020-01-01", day)
    next_day = (date.fromisoformat(day) + timedelta(days=1)).isoformat()
    window = {"start": f"{day}T20:00", "zone": zone}
    inside = decided(CERTIFIED, held, **window, end=f"{next_day}T00:00")
    assert inside.permitted
    assert inside.holds_until == local(f"{next_day}T00:00", zone)
    outside = decided(CERTIFIED, held, **window, end=f"{next_day}T00:01")
    assert not outside.permitted
    assert outside.fails_from == inside.holds_until


def test_a_certificate_begins_with_its_first_day_at_the_site() -> None:
    held = certificate("worker", "erection", "2026-06-01")
    assert decided(CERTIFIED, held, start="2026-06-01T00:00").permitted
    assert not decided(CERTIFIED, held, start="2026-05-31T23:59").permitted


@pytest.mark.parametrize(
    ("at", "months", "last"),
    [
        ("2024-02-29T12:00", 24, "2026-02-28"),
        ("2024-02-28T12:00", 24, "2026-02-28"),
        ("2026-01-31T12:00", 1, "2026-02-28"),
        ("2026-03-31T23:59", 6, "2026-09-30"),
        ("2026-10-25T02:30", 12, "2027-10-25"),
    ],
)
@pytest.mark.parametrize("kind", ["assessment", "instruction", "hours"])
def test_within_months_ends_with_the_last_day_that_looks_back_so_far(
    at: str, months: int, last: str, kind: str
) -> None:
    requirement, record = {
        "assessment": (leaf("assessment", "a", scope="model", within_months=months), assessed(at)),
        "instruction": (leaf("instruction", "i", topic="tasks", within_months=months), instructed(at)),
        "hours": (hours_leaf(minimum_minutes=1, within_months=months), worked(at, 1)),
    }[kind]
    next_day = (date.fromisoformat(last) + timedelta(days=1)).isoformat()
    decision = decided(requirement, record, start=f"{last}T13:00", end=f"{next_day}T00:00")
    assert decision.permitted
    assert decision.holds_until == local(f"{next_day}T00:00")
    assert not decided(requirement, record, start=f"{last}T13:00", end=f"{next_day}T00:01").permitted


def test_an_appointment_is_half_open() -> None:
    def act(end: str) -> Appointment:
        return Appointment(
            id="act",
            recorded_at=LONG_AGO,
            worker="worker",
            duty="erector",
            start=local("2026-06-01T07:00"),
            end=local(end),
            employer="kestrel",
        )

    wanted = leaf("appointment", "appointment", duty="erector")
    assert decided(wanted, act("2026-06-01T19:00")).permitted
    assert decided(wanted, act("2026-06-01T18:59")).fails_from == local("2026-06-01T18:59")
    assert not decided(wanted, act("2026-06-01T19:00"), start="2026-06-01T06:59").permitted


def test_a_stand_down_or_setback_at_the_end_of_the_window_is_outside_it() -> None:
    passed = assessed("2026-05-01T10:00")
    assert decided(ASSESSMENT, passed, stood_down("2026-06-01T19:00")).permitted
    assert not decided(ASSESSMENT, passed, stood_down("2026-06-01T18:59")).permitted
    assert decided(ASSESSMENT, passed, assessed("2026-06-01T19:00", "not_yet_competent")).permitted
    assert not decided(ASSESSMENT, passed, assessed("2026-06-01T18:59", "not_yet_competent")).permitted


def test_a_stand_down_for_another_role_or_model_bars_nothing() -> None:
    passed = assessed("2026-05-01T10:00")
    assert decided(ASSESSMENT, passed, stood_down("2026-05-02T10:00", role="rigger")).permitted
    assert decided(ASSESSMENT, passed, stood_down("2026-05-02T10:00", model="other")).permitted
    assert not decided(ASSESSMENT, passed, stood_down("2026-05-02T10:00", role="erector", model="m")).permitted


def test_hours_count_from_their_countersignature_on() -> None:
    def signed(at: str) -> HoursEntry:
        return worked("2026-05-04T07:00", 60, signed=local(at))

    assert decided(hours_leaf(), signed("2026-06-01T07:00")).permitted
    late = decided(hours_leaf(), signed("2026-06-01T07:01"))
    assert not late.permitted
    assert late.requirements[1].not_counted[0].reason == "after_the_window_starts"


def test_hours_count_from_the_earliest_of_several_countersignatures_on() -> None:
    entry = worked("2026-05-01T08:00", 60)
    late = Countersignature("root", local("2026-07-01T08:00"), local("2026-07-01T08:00"))
    assert not decided(hours_leaf(), replace(entry, countersignatures=(late,))).permitted
    assert decided(hours_leaf(), replace(entry, countersignatures=(late, *entry.countersignatures))).permitted


@pytest.mark.parametrize(
    ("zone", "start", "minutes"),
    [
        ("America/Chicago", "2026-03-08T00:00", 23 * 60),
        ("America/Chicago", "2025-11-02T00:00", 25 * 60),
        ("Europe/Berlin", "2026-03-29T00:00", 23 * 60),
        ("Europe/Berlin", "2025-10-26T00:00", 25 * 60),
        ("Asia/Tokyo", "2026-03-08T00:00", 24 * 60),
    ],
)
def test_a_whole_local_day_counts_as_long_as_it_was_and_spills_into_the_next(
    zone: str, start: str, minutes: int
) -> None:
    half, rest = minutes // 2, minutes - minutes // 2
    morning = worked(start, half, zone=zone)

    def evening(length: int) -> HoursEntry:
        return replace(morning, id="evening", start=morning.end, end=morning.end + MINUTE * length)

    capped = hours_leaf(minimum_minutes=300, day_cap_minutes=300)
    for length, found in ((rest, 300), (rest + 1, 301)):
        decision = decided(capped, morning, signed_at_its_end(evening(length)), zone=zone)
        assert decision.requirements[1].found_minutes == found


@pytest.mark.parametrize("zone", ZONES)
def test_hours_may_come_after_other_hours(zone: str) -> None:
    first = hours_leaf("first")
    then = hours_leaf("then", after="first", minimum_minutes=30)
    early, later = worked("2026-05-04T07:00", 60, zone=zone), worked("2026-05-04T08:00", 30, zone=zone)
    assert decided([first, then], early, later, zone=zone).permitted
    refused = decided([first, then], early, zone=zone)
    assert refused.requirements[2].not_counted[0].reason == "before_what_must_come_first"


# Corrections


def test_retraining_that_answers_a_stand_down_answers_its_correction_too() -> None:
    bar = stood_down("2026-05-02T10:00")
    corrected = stood_down("2026-05-02T10:00", id="bar-2", supersedes="bar", recorded_at=local("2026-05-20T10:00"))
    lifted = [instructed("2026-05-10T10:00", "again", answers="bar"), assessed("2026-05-11T10:00")]
    assert decided(ASSESSMENT, bar, *lifted).permitted
    assert decided(ASSESSMENT, bar, corrected, *lifted).permitted


# What would cure it


def cure(decision: Decision) -> list[tuple[str, int | None]]:
    assert decision.remedy is not None
    return [(each.leaf, each.minutes) for each in decision.remedy.items]


def test_what_once_came_first_need_not_come_again_for_new_hours() -> None:
    """The instruction lapsed, but hours worked now are still worked after it."""
    instruction = leaf("instruction", "instruction", topic="tasks", within_months=1, cost=50)
    either = {"any_of": [instruction, leaf("certification", "certification", schemes=["erection"])]}
    after = hours_leaf(after="instruction")
    lapsed, held = instructed("2025-01-01T10:00"), certificate("worker", "erection", "2020-01-01")
    assert cure(decided([either, after], lapsed, held)) == [("hours", 60)]
    assert cure(decided([either, after], held)) == [("instruction", None), ("hours", 60)]


def test_hours_that_serve_two_requirements_are_asked_for_once_and_in_the_narrower_words() -> None:
    here = hours_leaf("here", scope="any", minimum_minutes=120, operations=["erection"])
    as_erector = hours_leaf("as_erector", operations="any", capacity="erector", minimum_minutes=90)
    decision = decided([here, as_erector])
    assert sum(minutes or 0 for _, minutes in cure(decision)) == 120
    assert decision.remedy is not None
    first = decision.remedy.items[0].sentence
    assert "on the model in erection as erector" in first


@pytest.mark.parametrize("months", [None, 24])
def test_nothing_obtained_before_cures_a_setback_inside_the_window(months: int | None) -> None:
    wanted = leaf("assessment", "assessment", scope="model", **({"within_months": months} if months else {}))
    setback = assessed("2026-06-01T12:00", "not_yet_competent")
    for held in ([assessed("2026-05-01T10:00")], []):
        remedy = decided(wanted, setback, *held).remedy
        assert remedy is not None
        assert not remedy.items
        assert "overturns" in remedy.obstacle


def test_nothing_obtained_before_cures_a_second_stand_down_inside_the_window() -> None:
    bars = [stood_down("2026-05-01T10:00"), stood_down("2026-06-01T12:00", id="bar-2")]
    remedy = decided(ASSESSMENT, assessed("2026-04-01T10:00"), *bars).remedy
    assert remedy is not None
    assert "begins inside the window" in remedy.obstacle


def test_a_configuration_that_is_not_stated_cannot_be_shown() -> None:
    remedy = decided(hours_leaf(scope="configuration"), worked("2026-05-04T07:00", 60)).remedy
    assert remedy is not None
    assert remedy.obstacle == "The crane's configuration is not stated."


def test_a_reassessment_in_another_operation_does_not_lift_a_stand_down() -> None:
    elsewhere = leaf("assessment", "elsewhere", scope="model", operations=["climbing"])
    items = cure(decided(elsewhere, stood_down("2026-05-01T10:00")))
    assert items == [("no_stand_down", None), ("no_stand_down", None), ("elsewhere", None)]


def test_the_cheapest_of_many_branches_is_found_without_trying_every_combination() -> None:
    groups = [
        {"any_of": [leaf("instruction", f"i_{group}_{n}", topic=f"t{group}{n}", cost=4 - n) for n in range(4)]}
        for group in range(12)
    ]
    assert cure(decided(groups)) == [(f"i_{group}_3", None) for group in range(12)]


# What a remedy says is what must be obtained


def wanted(decision: Decision) -> list[str]:
    assert decision.remedy is not None
    return [each.sentence for each in decision.remedy.items]


def test_a_remedy_says_what_a_certificate_must_cover_and_how_long() -> None:
    for covers, where in (
        ("class", ", for cranes of this class or this very model"),
        ("model", ", for this very model"),
        ("any", ""),
    ):
        certified = leaf("certification", "certification", schemes=["erection"], covers=covers)
        (sentence,) = wanted(decided(certified, end="2026-06-02T00:00"))
        assert sentence == f"a certificate of the scheme erection, valid through 1 Jun 2026{where}"


def test_a_remedy_says_on_what_somebody_is_to_be_assessed() -> None:
    (sentence,) = wanted(decided(ASSESSMENT))
    assert sentence.endswith("passed and given by an entitled assessor, on the model")


def test_each_stand_down_is_answered_by_a_retraining_of_its_own() -> None:
    first, second = stood_down("2026-05-01T10:00"), stood_down("2026-05-10T10:00", id="second")
    refused = decided([], first, second)
    assert wanted(refused)[:2] == [
        "retraining that answers the stand-down of 1 May 2026, then a re-assessment",
        "retraining that answers the stand-down of 10 May 2026, then a re-assessment",
    ]
    again = (instructed("2026-05-20T08:00", "retraining", "second"), assessed("2026-05-21T08:00"))
    half = decided([], first, second, *again)
    assert wanted(half)[:1] == ["retraining that answers the stand-down of 1 May 2026, then a re-assessment"]
    answered = (instructed("2026-05-20T09:00", "retraining", "bar"), *again)
    assert decided([], first, second, *answered).permitted


def test_after_a_stand_down_an_assessment_on_any_model_does_not_do() -> None:
    anywhere = leaf("assessment", "anywhere", scope="any")
    refused = decided(anywhere, stood_down("2026-05-01T10:00"))
    # One assessment does for both, on this very model.
    assert cure(refused) == [("no_stand_down", None), ("anywhere", None)]
    assert wanted(refused)[1].endswith(", on the model")
    retrained = instructed("2026-05-20T08:00", "retraining", "bar")
    elsewhere = replace(assessed("2026-05-21T08:00"), model="sister")
    assert not decided(anywhere, stood_down("2026-05-01T10:00"), retrained, elsewhere).permitted
    assert decided(anywhere, stood_down("2026-05-01T10:00"), retrained, assessed("2026-05-21T08:00")).permitted


def test_a_setback_on_a_sister_model_counts_only_while_the_family_does() -> None:
    of_family = leaf("assessment", "of_family", scope="family")
    setback = replace(assessed("2025-08-01T08:00", "not_yet_competent"), model="sister")

    def family(until: str | None) -> FamilyDeclaration:
        return FamilyDeclaration(
            id="family",
            recorded_at=LONG_AGO,
            maker="Norrland Hoist",
            models=frozenset({"m", "sister"}),
            document="letter",
            valid_from=date(2020, 1, 1),
            valid_until=None if until is None else date.fromisoformat(until),
        )

    passed = assessed("2025-05-01T08:00")
    assert decided(of_family, passed, setback, family("2020-12-31")).permitted
    refused = decided(of_family, passed, setback, family(None))
    assert not refused.permitted
    assert "overturned" in {each.reason for leaf in refused.requirements for each in leaf.not_counted}


@pytest.mark.parametrize("asked_in", ["America/Vancouver", "Europe/Berlin"])
def test_a_signer_is_entitled_by_the_clock_where_the_work_was(asked_in: str) -> None:
    """In Berlin the signer's certificate has ended; in Vancouver it is still the day before."""
    night = worked("2026-05-11T01:00", 300, zone="Europe/Berlin")
    assert not decided(hours_leaf(), night, zone=asked_in, root_until="2026-05-10").permitted
    assert decided(hours_leaf(), night, zone=asked_in, root_until="2026-05-11").permitted
