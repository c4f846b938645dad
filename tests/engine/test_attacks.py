"""What somebody might try so that the engine permits, or so that another person's signature is void."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from registry.engine.answer import Decision
from registry.engine.decide import decide
from registry.engine.evidence import CertificationStatus, Countersignature, HoursEntry, Instruction
from tests.engine.small_world import (
    ASSESSMENT,
    CERTIFIED_ASSESSOR,
    FOUNDED_ASSESSOR,
    LONG_AGO,
    appointed,
    asked,
    assessed,
    at,
    certificate,
    decided,
    evidence_of,
    hours_leaf,
    leaf,
    reasons,
    retrained,
    standard_of,
    status,
    stood_down,
    suspended,
    worked,
)

# What makes entries alike


def test_a_signature_after_the_certificate_ended_does_not_count_for_a_neighbour_in_another_time_zone() -> None:
    """By the clock of Honolulu the signer's certificate still has hours to run; by that of the entry it has ended."""
    standard = standard_of(hours_leaf(minimum_minutes=600))
    ends = certificate("sasha", expires=date(2026, 5, 10))
    late = worked("2026-05-11T01:00", 600, by="sasha", signed=at("2026-05-11T11:30"), zone=ZoneInfo("Asia/Tokyo"))
    late = replace(late, countersignatures=(Countersignature("sasha", late.end, late.end),))
    alone = decided(standard, ends, late)
    assert not alone.permitted
    for zone in ("Pacific/Honolulu", "America/Chicago", "UTC"):
        neighbour = worked("2026-05-04T07:00", 1, by="sasha", zone=ZoneInfo(zone), id="a-neighbour")
        beside = decided(standard, ends, late, neighbour)
        assert not beside.permitted, zone
        assert late.id in reasons(beside)["countersigner_not_entitled"], zone


@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize(
    "other",
    [
        {"configuration": "60 m jib"},
        {"employer": "plover"},
        {"crane": "k-2"},
        {"site": "quay"},
        {"origin": "paper", "document": "scan"},
        {"zone": ZoneInfo("Pacific/Honolulu")},
        {"capacity": "rigger"},
        {"operation": "climbing"},
        {"model": "alike"},
        {"by": "nobody"},
        {"signed": at("2026-05-30T07:00")},
        {"recorded_at": at("2026-05-30T07:00")},
    ],
    ids=lambda other: next(iter(other)),
)
def test_whatever_tells_two_entries_apart_each_is_judged_as_if_it_were_alone(order: int, other: Any) -> None:
    """An entry of one hour that differs in one field does not change what becomes of another."""
    strict = standard_of(
        hours_leaf(scope="any", operations="any", minimum_minutes=120),
        provenance={
            "counts_in_full": ["witnessed"],
            "counts_in_part": ["countersigned_late"],
            "part_at_most_percent": 50,
            "countersign_within_days": 3,
        },
        plausibility={"crane_not_on_site": "in_full", "recorded_late": "nothing", "recorded_late_after_days": 3},
    )
    one, two = worked("2026-05-04T07:00", id="b"), worked("2026-05-05T07:00", **other, id="ac"[order])
    signer = certificate("sasha", expires=date(2026, 5, 10))

    def verdicts(*entries: HoursEntry) -> dict[str, str]:
        decision = decided(strict, signer, *entries)
        given = {record: reason for reason, records in reasons(decision).items() for record in records}
        return given | {record: "counted" for each in decision.requirements for record in each.counted}

    assert verdicts(one, two) == verdicts(one) | verdicts(two)


# Independence has time


def test_what_an_assessed_person_signs_for_the_assessor_later_voids_nothing() -> None:
    standard = standard_of(ASSESSMENT)
    given = assessed("2026-03-01T10:00")
    for signed, permitted in (("2026-02-28T10:00", False), ("2026-03-01T10:00", False), ("2026-03-02T10:00", True)):
        hour = worked("2026-02-27T07:00", worker="root", by="worker", signed=at(signed))
        decision = decided(standard, given, hour)
        assert decision.permitted is permitted, signed
        assert ("assessor_not_independent" in reasons(decision)) is not permitted
        other = assessed(signed, worker="root", by="worker", role="rigger", id="of-root")
        assert decided(standard, given, other).permitted is permitted, signed


def test_hours_signed_by_somebody_assessed_stay_when_that_person_later_signs_for_the_assessor() -> None:
    """Three hundred hours turned to nothing by one countersignature of the director's."""
    standard = standard_of(
        hours_leaf(minimum_minutes=600),
        assessor={"any_of": [CERTIFIED_ASSESSOR, leaf("assessment", "assessed", scope="any", role="assessor")]},
    )
    made = assessed("2025-03-01T10:00", worker="director", role="assessor")
    hours = worked("2026-04-01T07:00", 600, by="director")
    later = worked("2026-05-01T07:00", worker="root", by="director")
    assert decided(standard, made, hours).permitted
    assert decided(standard, made, hours, later).permitted
    before = worked("2025-02-01T07:00", worker="root", by="director")
    assert not decided(standard, made, hours, before).permitted


@pytest.mark.parametrize(
    ("hours", "permitted"),
    [
        # Unsigned: one party's word, whoever wrote it.
        ({"start": "2026-02-01T07:00", "by": None}, True),
        ({"start": "2026-02-01T07:00", "by": "root"}, True),
        # Signed, and worked before or while the assessment was given.
        ({"start": "2026-02-01T07:00", "by": "sasha"}, False),
        ({"start": "2026-03-01T09:30", "by": "sasha"}, False),
        # Signed, but worked later.
        ({"start": "2026-03-01T10:01", "by": "sasha"}, True),
        ({"start": "2026-05-01T07:00", "by": "sasha"}, True),
        # Signed, on another model.
        ({"start": "2026-02-01T07:00", "by": "sasha", "model": "alike"}, True),
    ],
)
def test_hours_as_a_trainee_tell_from_when_they_were_worked_and_only_if_signed(
    hours: dict[str, Any], permitted: bool
) -> None:
    standard = standard_of(ASSESSMENT)
    trainee = worked(hours.pop("start"), worker="root", capacity="trainee", **hours)
    decision = decided(standard, assessed("2026-03-01T10:00"), trainee)
    assert decision.permitted is permitted
    assert ("assessor_is_a_trainee" in reasons(decision)) is not permitted


def test_time_as_a_trainee_ends_with_qualified_work_or_a_pass_on_the_model() -> None:
    standard = standard_of(ASSESSMENT)
    given = assessed("2026-03-01T10:00")
    trainee = worked("2026-01-01T07:00", worker="root", capacity="trainee", by="sasha")
    qualified = worked("2026-02-01T07:00", worker="root", by="sasha")
    assert not decided(standard, given, trainee).permitted
    assert decided(standard, given, trainee, qualified).permitted
    assert not decided(standard, given, trainee, replace(qualified, countersignatures=())).permitted, "a claim"
    assert not decided(standard, given, trainee, worked("2026-03-02T07:00", worker="root", by="sasha")).permitted
    passed = assessed("2026-02-01T10:00", worker="root", by="sasha")
    assert decided(standard, given, trainee, passed).permitted
    assert not decided(standard, given, trainee, replace(passed, assessor="root")).permitted
    assert not decided(standard, given, trainee, replace(passed, outcome="not_yet_competent")).permitted


# A certificate that was suspended or revoked

LICENCE = leaf("certification", "licence", schemes=["erection"])


def licensed(*records: Any, **question: Any) -> Decision:
    return decided(standard_of(LICENCE), *records, **question)


HELD = certificate(scheme="erection", number="AB-17", issued=date(2025, 1, 1), id="held")


@pytest.mark.parametrize("said", ["revoked", "suspended"])
def test_a_status_may_be_older_than_the_version_it_names(said: str) -> None:
    """The status was entered first, and names what was recorded later as a correction."""
    corrected = replace(HELD, id="corrected", supersedes="held", recorded_at=at("2026-04-01T07:00"))
    told = status("corrected", said, "2026-03-01T07:00")
    for known_at in (None, at("2026-03-15T07:00"), at("2026-03-01T07:00")):
        assert not licensed(HELD, corrected, told, known_at=known_at).permitted, known_at
    assert licensed(HELD, corrected, told, known_at=at("2026-02-28T07:00")).permitted


def test_a_status_of_a_corrected_certificate_is_one_of_its_correction_whatever_that_changed() -> None:
    told = status("held", "revoked", "2026-03-01T07:00")
    for changed in ({"number": "ZZ-1"}, {"scheme": "erection", "issued": date(2026, 4, 1)}, {}):
        corrected = replace(HELD, **changed, id="corrected", supersedes="held", recorded_at=at("2026-04-01T07:00"))
        assert not licensed(HELD, told, corrected).permitted, changed
        again = replace(HELD, id="again", recorded_at=at("2026-04-02T07:00"))
        assert not licensed(HELD, told, corrected, again).permitted, changed


@pytest.mark.parametrize("number", ["AB-17", "ab 17", "Ab17.", " AB_17 ", "\uff21\uff22-17"])
@pytest.mark.parametrize("issued", [date(2024, 1, 1), date(2025, 1, 1), date(2026, 3, 1)])
def test_what_was_revoked_does_not_count_when_entered_again(number: str, issued: date) -> None:
    told = status("held", "revoked", "2026-03-01T07:00")
    again = replace(HELD, id="again", number=number, issued=issued, recorded_at=at("2026-04-01T07:00"))
    refused = licensed(HELD, told, again)
    assert not refused.permitted
    assert reasons(refused)["suspended_or_revoked"] == ["again", "held"]
    # Nor where the first record was withdrawn as an error.
    withdrawn = replace(HELD, id="withdrawal", supersedes="held", withdrawn=True, recorded_at=at("2026-03-20T07:00"))
    assert not licensed(HELD, told, withdrawn, again).permitted


def test_another_certificate_counts_beside_a_revoked_one() -> None:
    told = status("held", "revoked", "2026-03-01T07:00")
    for changed in ({"number": "AB-18"}, {"issued": date(2026, 3, 2)}):
        other = replace(HELD, **changed, id="other")
        assert licensed(HELD, told, other).permitted, changed
    # Another worker's certificate of that number is that worker's affair.
    theirs = replace(HELD, id="theirs", worker="sasha")
    assert licensed(theirs, status("theirs", "revoked", "2026-03-01T07:00", worker="sasha"), HELD).permitted


def test_a_suspension_ends_for_every_record_of_the_certificate_with_its_reinstatement() -> None:
    again = replace(HELD, id="again", number="ab17")
    told = status("held", "suspended", "2026-03-01T07:00")
    assert not licensed(HELD, told, again).permitted
    assert licensed(HELD, told, again, status("held", "reinstated", "2026-04-01T07:00")).permitted
    revoked = CertificationStatus(
        id="late",
        recorded_at=at("2026-03-02T07:00"),
        worker="worker",
        certification="held",
        status="revoked",
        effective_at=at("2026-03-02T07:00"),
    )
    assert not licensed(HELD, told, again, revoked, status("again", "reinstated", "2026-04-01T07:00")).permitted


# A signer on a configuration


def test_who_may_sign_on_a_configuration_is_asked_on_that_configuration() -> None:
    shown = leaf("assessment", "assessed", scope="configuration", role="assessor")
    standard = standard_of(hours_leaf(), assessor={"any_of": [CERTIFIED_ASSESSOR, shown]})
    made = assessed("2025-03-01T10:00", worker="sasha", role="assessor", configuration="60 m jib")
    hours = worked("2026-05-01T07:00", by="sasha", configuration="60 m jib")
    assert decided(standard, made, hours).permitted
    assert not decided(standard, made, replace(hours, configuration="40 m jib")).permitted
    assert not decided(standard, made, replace(hours, configuration=None)).permitted
    other = worked("2026-05-02T07:00", 59, by="sasha", configuration="40 m jib")
    assert reasons(decided(standard, made, hours, other))["countersigner_not_entitled"] == [other.id]
    given = assessed("2026-05-01T10:00", by="sasha", configuration="60 m jib")
    standard = standard_of(ASSESSMENT, assessor={"any_of": [CERTIFIED_ASSESSOR, shown]})
    assert decided(standard, made, given).permitted
    assert not decided(standard, made, replace(given, configuration="40 m jib")).permitted


# Lifting a stand-down

LIFTING = standard_of(
    leaf("language", "language", any_of=["en"]), assessor={"any_of": [CERTIFIED_ASSESSOR, FOUNDED_ASSESSOR]}
)


def lifted(*records: Any, **question: Any) -> Decision:
    """Only the stand-down is asked of: the language is never there."""
    return decided(LIFTING, stood_down("2026-05-01T10:00", recorded_by="foreman"), *records, **question)


def is_lifted(decision: Decision) -> bool:
    return decision.requirements[0].met


FOUNDED = appointed("crony", "assessor", "2020-01-01T00:00", kind="founding", recorded_at=at("2026-05-02T10:00"))


def re_assessed(**more: Any) -> Any:
    return assessed("2026-05-10T10:00", **{"third_party": False, "employer": "kestrel", **more})


@pytest.mark.parametrize("retrained_by", ["boss", "clerk"])
@pytest.mark.parametrize("assessed_by", ["boss", "clerk"])
@pytest.mark.parametrize("signed", [True, False])
def test_the_author_of_the_retraining_or_re_assessment_does_not_make_the_assessor(
    retrained_by: str, assessed_by: str, signed: bool
) -> None:
    retraining = retrained("2026-05-05T10:00", recorded_by=retrained_by)
    given = re_assessed(by="crony", recorded_by=assessed_by, signed_by_assessor=signed)
    founded = replace(FOUNDED, recorded_by="boss")
    decision = lifted(founded, retraining, given)
    assert is_lifted(decision) is (
        "boss" not in (retrained_by, assessed_by) and (signed or retrained_by != assessed_by)
    )
    if not is_lifted(decision):
        found = reasons(decision)
        assert [given.id] in (found["assessor_made_by_who_lifts"], found["one_author_lifts"])
        assert decision.remedy is not None
        assert any("another account than the retraining" in each.sentence for each in decision.remedy.items)
    # Founded before, by the same author or not: one author of both still needs the assessor's own signature.
    before = lifted(replace(founded, recorded_at=at("2026-04-30T10:00")), retraining, given)
    assert is_lifted(before) is (retrained_by != assessed_by or (signed and retrained_by != "boss"))


@pytest.mark.parametrize("kind", ["founding", "certificate"])
def test_an_assessor_whose_right_has_other_ground_lifts_it(kind: str) -> None:
    retraining = retrained("2026-05-05T10:00", recorded_by="boss")
    given = re_assessed(by="crony", recorded_by="crony's account", signed_by_assessor=True)
    founded = replace(FOUNDED, recorded_by="boss")
    assert not is_lifted(lifted(founded, retraining, given))
    other: Any = replace(founded, id="other", recorded_by="registrar")
    if kind == "certificate":
        other = certificate("crony")
    assert is_lifted(lifted(founded, retraining, given, other))


def test_an_assessor_made_at_one_remove_does_not_lift_it() -> None:
    """The boss founds one crony, who assesses the next, who assesses the worker."""
    standard = standard_of(
        leaf("language", "language", any_of=["en"]),
        assessor={"any_of": [FOUNDED_ASSESSOR, leaf("assessment", "assessed", scope="any", role="assessor")]},
    )
    bar = stood_down("2026-05-01T10:00", recorded_by="foreman")
    made = re_assessed(worker="second", by="crony", role="assessor", id="made", recorded_by="crony's account")
    made = replace(made, assessed_at=at("2026-05-03T10:00"))
    given = re_assessed(by="second", recorded_by="second's account", signed_by_assessor=True)
    retraining = retrained("2026-05-05T10:00", recorded_by="boss")
    founded = replace(FOUNDED, recorded_by="boss")
    assert not is_lifted(decided(standard, bar, made, given, retraining, founded))
    assert is_lifted(decided(standard, bar, made, given, retraining, replace(founded, recorded_by="registrar")))


def test_a_certificate_recorded_by_who_lifts_is_no_ground_either() -> None:
    retraining = retrained("2026-05-05T10:00", recorded_by="boss")
    given = re_assessed(by="crony", recorded_by="crony's account", signed_by_assessor=True)
    bought = certificate("crony", recorded_at=at("2026-05-04T10:00"), recorded_by="boss")
    assert not is_lifted(lifted(bought, retraining, given))
    assert is_lifted(lifted(replace(bought, recorded_by="registrar"), retraining, given))


def test_where_no_author_is_known_a_root_recorded_after_the_stand_down_does_not_lift_it() -> None:
    retraining, given = retrained("2026-05-05T10:00"), re_assessed(by="crony")
    assert not is_lifted(lifted(FOUNDED, retraining, given))
    assert is_lifted(lifted(replace(FOUNDED, recorded_at=at("2026-04-01T10:00")), retraining, given))


def test_a_re_assessment_in_the_minute_of_the_retraining_is_not_after_it() -> None:
    given = assessed("2026-05-10T10:00")
    assert not is_lifted(lifted(retrained("2026-05-10T10:00"), given))
    assert is_lifted(lifted(retrained("2026-05-10T09:59"), given))


def test_a_second_retraining_by_somebody_else_lifts_what_the_first_did_not() -> None:
    own = retrained("2026-05-05T10:00", recorded_by="boss")
    given = re_assessed(recorded_by="boss")
    assert not is_lifted(lifted(own, given))
    assert is_lifted(lifted(own, given, retrained("2026-05-06T10:00", id="second", recorded_by="clerk")))
    assert is_lifted(lifted(own, given, re_assessed(recorded_by="clerk", id="second")))


# A stand-down at one firm, and one that is suspended


def test_a_stand_down_of_one_firm_bars_at_that_firm_only() -> None:
    for employer, barred in (("kestrel", True), ("plover", False)):
        decision = decided(LIFTING, stood_down("2026-05-01T10:00", only_at="kestrel"), employer=employer)
        assert is_lifted(decision) is not barred
    # A signer too: the hours of another firm are signed.
    standard = standard_of(hours_leaf())
    bar = stood_down("2026-05-01T10:00", worker="root", only_at="kestrel")
    assert not decided(standard, bar, worked("2026-05-02T07:00")).permitted
    assert decided(standard, bar, worked("2026-05-02T07:00", employer="plover")).permitted


@pytest.mark.parametrize(
    ("start", "end", "met"),
    [
        ("2026-05-20T00:00", None, True),
        ("2026-05-20T00:00", "2026-06-01T19:00", True),
        ("2026-05-20T00:00", "2026-06-01T18:59", False),
        ("2026-06-01T07:01", None, False),
        ("2026-05-20T00:00", "2026-05-30T00:00", False),
    ],
)
def test_a_suspended_stand_down_bars_nothing_while_it_is_suspended(start: str, end: str | None, met: bool) -> None:
    decision = lifted(suspended(start, end))
    assert is_lifted(decision) is met
    assert (reasons(decision)["stand_down"] == []) is met


def test_a_suspension_taken_back_or_not_yet_known_suspends_nothing() -> None:
    told = suspended("2026-05-20T00:00")
    back = replace(told, id="back", supersedes="suspension", withdrawn=True, recorded_at=at("2026-05-25T00:00"))
    assert not is_lifted(lifted(told, back))
    assert is_lifted(lifted(told, back, known_at=at("2026-05-24T00:00")))
    assert not is_lifted(lifted(told, known_at=at("2026-05-19T00:00")))


def test_the_suspension_of_a_corrected_stand_down_is_one_of_its_correction() -> None:
    corrected = stood_down("2026-05-01T11:00", id="corrected", supersedes="bar", recorded_at=at("2026-05-02T10:00"))
    assert is_lifted(lifted(corrected, suspended("2026-05-20T00:00")))


def test_what_is_suspended_past_the_window_asks_for_no_retraining() -> None:
    other = stood_down("2026-05-02T10:00", id="other")
    decision = lifted(suspended("2026-05-20T00:00", "2026-07-01T00:00"), other)
    assert decision.remedy is not None
    assert [each.kind for each in decision.remedy.items] == ["retraining", "assessment", "language"]


def test_the_answer_is_the_same_whichever_way_the_records_stand() -> None:
    retraining = retrained("2026-05-05T10:00", recorded_by="boss")
    given = re_assessed(by="crony", recorded_by="boss")
    records = [
        certificate("root"),
        stood_down("2026-05-01T10:00"),
        retraining,
        given,
        replace(FOUNDED, recorded_by="boss"),
    ]
    there = decide(evidence_of(*records), LIFTING, asked())
    assert there == decide(evidence_of(*reversed(records)), LIFTING, asked())
    assert isinstance(there.fails_from, datetime)
    assert there.fails_from - asked().start == timedelta()


# Hours that count in part are told as such

HALF = {
    "provenance": {
        "counts_in_full": ["witnessed"],
        "counts_in_part": ["countersigned_late", "transcribed"],
        "part_at_most_percent": 50,
        "countersign_within_days": 3,
    },
    "plausibility": {"crane_not_on_site": "in_full", "recorded_late": "in_part", "recorded_late_after_days": 30},
}


def partly(*entries: HoursEntry, standard: Any = None, **leaf_content: Any) -> Any:
    standard = standard or standard_of(hours_leaf(minimum_minutes=3600, **leaf_content), **HALF)
    return decided(standard, *entries).requirements[1]


def test_hours_signed_late_say_how_many_are_on_record_and_how_many_count() -> None:
    late = [worked(f"2026-04-{day:02}T07:00", 600, signed=at("2026-05-20T07:00")) for day in range(1, 16)]
    full = worked("2026-05-01T07:00", 300)
    leaf_result = partly(*late, full)
    assert leaf_result.found == "35 h (150 h signed late, of which 30 h count)"
    assert (leaf_result.found_minutes, leaf_result.shortfall_minutes) == (35 * 60, 25 * 60)
    part = leaf_result.in_part
    assert (part.minutes, part.counted_minutes, part.reasons) == (150 * 60, 30 * 60, ("countersigned_late",))
    assert part.records == tuple(sorted(each.id for each in late))
    plain = decided(standard_of(hours_leaf(minimum_minutes=3600), **HALF), *late, full).as_json()["requirements"][1]
    assert plain["in_part"]["counted_minutes"] == 30 * 60
    assert plain["in_part"]["sentence"] == "150 h signed late, of which 30 h count"


def test_several_reasons_are_all_told_and_what_is_counted_in_full_tells_of_none() -> None:
    late = [worked(f"2026-04-{day:02}T07:00", 600, signed=at("2026-05-20T07:00")) for day in (1, 2, 3)]
    paper = replace(worked("2026-04-04T07:00", 600), origin="paper", document="scan")
    dawdled = replace(worked("2026-04-05T07:00", 600), recorded_at=at("2026-05-25T07:00"))
    told = partly(*late, paper, dawdled)
    assert told.found == "30 h (50 h signed late, transcribed from paper, recorded late, of which 30 h count)"
    under_the_share = partly(*late)
    assert under_the_share.found == "30 h", "all of it counts"
    assert under_the_share.in_part is None
    assert partly(worked("2026-05-01T07:00", 300)).in_part is None


def test_what_overlaps_or_passes_the_days_limit_is_told_in_figures() -> None:
    one, two = worked("2026-05-01T07:00", 600), worked("2026-05-01T12:00", 600, id="two")
    told = partly(one, two, day_cap_minutes=600)
    assert told.found == "10 h (10 h overlap or lie past the day's limit)"
    assert (told.found_minutes, told.lost_minutes) == (600, 600)
    assert partly(one).lost_minutes == 0
    assert partly(one, two).lost_minutes == 300


@pytest.mark.parametrize("duty", ["trainee", "Trainee", " TRAINEE "])
def test_a_trainee_is_one_however_the_appointment_spells_it(duty: str) -> None:
    appointment = appointed("root", duty, "2026-02-01T07:00")
    decision = decided(standard_of(ASSESSMENT), assessed("2026-03-01T10:00"), appointment)
    assert not decision.permitted
    assert "assessor_is_a_trainee" in reasons(decision)


@pytest.mark.parametrize(
    ("asked_for", "held", "permitted"),
    [
        ("tower_crane", "Tower crane", True),
        ("class 1-5", "CLASS 1.5", True),
        ("level 2", "Level-2", True),
        ("class 1-5", "class 15", False),
        ("class 15", "class 1.5", False),
        ("level 1 2", "level 12", False),
        ("---", " --- ", True),
    ],
)
def test_names_are_told_apart_by_what_stands_between_figures(asked_for: str, held: str, permitted: bool) -> None:
    by_scheme = standard_of(leaf("certification", "paper", schemes=[asked_for]))
    assert decided(by_scheme, certificate(scheme=held)).permitted is permitted
    by_topic = standard_of(leaf("instruction", "course", topic=asked_for))
    course = Instruction(
        id="course", recorded_at=LONG_AGO, worker="worker", topic=held, completed_at=at("2026-01-01T07:00")
    )
    assert decided(by_topic, course).permitted is permitted
    by_duty = standard_of(leaf("appointment", "duty", duty=asked_for))
    assert decided(by_duty, appointed("worker", held, "2026-01-01T07:00")).permitted is permitted
