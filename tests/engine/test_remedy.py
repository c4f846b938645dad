"""A remedy is taken at its word: what it asks for is obtained, and then the answer is permitted.

And it is the cheapest: every other set of requirements is tried.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from functools import lru_cache
from itertools import combinations
from random import Random
from typing import Any

import pytest
from hypothesis import assume, given, settings

from registry.engine.answer import RemedyItem
from registry.engine.calendar import DAY, end_of_day, local_date, start_of_day
from registry.engine.decide import decide
from registry.engine.evaluator import Evaluator
from registry.engine.evidence import (
    Appointment,
    Assessment,
    Certification,
    Countersignature,
    Evidence,
    FamilyDeclaration,
    HoursEntry,
    Instruction,
    LanguageSkill,
    Model,
    Record,
)
from registry.engine.files.standard_file import parse_standard
from registry.engine.question import Asked, Question
from registry.engine.remedy import MOST_BOUND, _Finder
from registry.engine.requirements.certificate import Certified
from registry.engine.requirements.instruction import Instructed
from registry.engine.signing import Signatures
from registry.engine.standard import Standard
from registry.engine.tree import Group, Node
from tests.engine.small_world import (
    LONG_AGO,
    appointed,
    at,
    decided,
    hours_leaf,
    leaf,
    standard_data,
    standard_of,
    stood_down,
    worked,
)
from tests.engine.test_properties import (
    MANY,
    MINUTE,
    START,
    ZONE,
    generated,
    with_more,
    without_none,
    worlds,
)
from tests.engine.test_properties import questions as asked_by

BEGINS = START + timedelta(days=60)
ACTS = BEGINS - timedelta(days=55)
"""When all but hours is obtained: after whatever else is on record."""
MODELS = {
    "m1": Model("m1", "Norrland Hoist", "NH 280", "flat top"),
    "m2": Model("m2", "Norrland Hoist", "NH 320", "luffing jib"),
    "m3": Model("m3", "Brelo", "BRL 90", "flat top"),
}
SCOPES = ["model", "family", "class", "any"]


def some_leaf(chance: Random, number: int) -> dict[str, Any]:
    cost = chance.randint(1, 9)
    kind = chance.choice(["hours", "hours", "assessment", "assessment", "certification", "instruction", "appointment"])
    key = f"{kind}_{number}"
    months = chance.choice([None, 6, 12, 36])
    if kind == "hours":
        return leaf(
            kind,
            key,
            cost=cost,
            **without_none(
                minimum_minutes=chance.choice([1, 60, 700, 1500]),
                scope=chance.choice(SCOPES),
                operations=chance.choice(["same", "any", ["climbing"]]),
                capacity=chance.choice([None, "erector", "trainee"]),
                after=chance.choice([None, None, "first"]),
                within_months=months,
                longest_gap_months=chance.choice([None, 6]),
                day_cap_minutes=chance.choice([None, 300, 600]),
            ),
        )
    if kind == "assessment":
        return leaf(
            kind,
            key,
            cost=cost,
            **without_none(
                scope=chance.choice(SCOPES),
                operations=chance.choice(["same", "any", ["climbing"]]),
                role=chance.choice([None, None, "rigger"]),
                within_months=months,
                assessor=chance.choice(["any", "third_party", "employer"]),
                independent=chance.random() < 0.5,
            ),
        )
    if kind == "certification":
        schemes = chance.choice([["erection"], ["rigging"], ["erection", "rigging"]])
        return leaf(kind, key, cost=cost, schemes=schemes, covers=chance.choice(["any", "class", "model"]))
    if kind == "instruction":
        topic = chance.choice(["tasks", "rules"])
        return leaf(
            kind,
            key,
            cost=cost,
            topic=topic,
            scope=chance.choice(["any", "model"]),
            **without_none(within_months=months),
        )
    kinds = chance.choice([["duty"], ["founding"], ["duty", "founding"], ["maker_instructor"]])
    return leaf(kind, key, cost=cost, duty="erector", kinds=kinds, stop_work_authority=chance.random() < 0.5)


def some_group(chance: Random, leaves: list[dict[str, Any]]) -> dict[str, Any]:
    if len(leaves) == 1:
        return leaves[0]
    parts: list[dict[str, Any]] = []
    while leaves:
        size = chance.randint(1, max(len(leaves) - 1, 1))
        parts.append(some_group(chance, leaves[:size]))
        leaves = leaves[size:]
    if len(parts) == 1:
        return parts[0]
    kind = chance.choice(["all_of", "any_of", "at_least"])
    if kind == "at_least":
        return {kind: {"count": chance.randint(1, len(parts)), "of": parts}}
    return {kind: parts}


@lru_cache
def standard_number(number: int) -> Standard:
    chance = Random(f"remedy {number}")
    leaves = [some_leaf(chance, each) for each in range(chance.randint(1, 6))]
    first = leaf("instruction", "first", topic="first", cost=chance.randint(1, 9))
    tree = some_group(chance, [*leaves, first])
    data = standard_data(tree)
    data["provenance"] |= {
        "counts_in_part": ["countersigned_late", "transcribed"],
        "part_at_most_percent": chance.choice([0, 50]),
        "countersign_within_days": 14,
    }
    return parse_standard(data)


def standards(chance: Random) -> Standard:
    return standard_number(chance.randrange(150))


def questions(chance: Random) -> Question:
    length = chance.choice([MINUTE, timedelta(days=3), timedelta(days=100)])
    return replace(asked_by(chance), start=BEGINS, end=BEGINS + length)


def people(chance: Random) -> Evidence:
    family = FamilyDeclaration(
        id="family",
        recorded_at=LONG_AGO,
        maker="Norrland Hoist",
        models=frozenset({"m1", "m2"}),
        document="letter",
        valid_from=chance.choice([date(2024, 1, 1), local_date(BEGINS, ZONE) + DAY]),
        valid_until=chance.choice([None, local_date(BEGINS, ZONE), local_date(BEGINS, ZONE) - DAY]),
    )
    if family.valid_until is not None and family.valid_until < family.valid_from:
        family = replace(family, valid_until=None)
    return replace(worlds(chance), models=MODELS, families=chance.choice([(), (family,), (family,)]))


# Taking a remedy at its word


def where(sentence: str, question: Question, world: Evidence) -> list[str]:
    """The models on which it may be shown, by the words of the remedy."""
    own = MODELS[question.model]
    if "on any crane" in sentence:
        return list(MODELS)
    if "on cranes of the same class" in sentence:
        return [key for key, each in MODELS.items() if each.crane_class == own.crane_class]
    if "on the model or its family" in sentence:
        return sorted(
            {question.model}.union(*(each.models for each in world.families if question.model in each.models))
        )
    assert "on the model" in sentence
    return [question.model]


def one_of(chance: Random, pattern: str, sentence: str) -> str:
    found = re.search(pattern, sentence)
    assert found, sentence
    return chance.choice(found[1].split(" or ")).replace(" ", "_")


def free_days(world: Evidence, taken: set[date], minutes: int, cap: int) -> list[tuple[date, int]]:
    """The last days before the window on which the worker does not work yet, and how long to work on each."""
    busy = {local_date(instant, ZONE) for each in world.hours for instant in (each.start, each.end)}
    day, found = local_date(BEGINS, ZONE), []
    while minutes > 0:
        day -= DAY
        if day in busy or day in taken:
            continue
        taken.add(day)
        length = (end_of_day(day, ZONE) - start_of_day(day, ZONE)) // MINUTE
        found.append((day, min(minutes, cap, length)))
        minutes -= found[-1][1]
    return found


def obeyed(
    items: list[tuple[RemedyItem, int]], world: Evidence, standard: Standard, question: Question, chance: Random
) -> list[Record]:
    """What the items ask for, and no more: ``(item, minutes)``."""
    role = standard.by_role_and_operation[question.role, question.operation]
    leaves = {each.key: each for each in role.leaves()}
    own = MODELS[question.model]
    made: list[Record] = []
    taken: set[date] = set()
    for item, minutes in items:
        text, wanted = str(item.sentence), leaves[item.leaf]
        common: dict[str, Any] = {"id": f"new-{len(made)}", "recorded_at": ACTS, "worker": "worker"}
        if item.kind == "retraining":
            for bar in world.stand_downs:
                if bar.worker == "worker":
                    made.append(
                        Instruction(
                            **common | {"id": f"{common['id']}-{bar.id}"},
                            topic="again",
                            completed_at=ACTS,
                            after_stand_down=bar.id,
                        )
                    )
        elif item.kind == "assessment":
            third = "third-party" in text or ("the employer's" not in text and chance.random() < 0.5)
            made.append(
                Assessment(
                    **common,
                    role=one_of(chance, r"assessment as ([a-z ]+?) in ", text),
                    model=chance.choice(where(text, question, world)),
                    operations=frozenset({one_of(chance, r" in ([a-z ]+), passed", text)}),
                    assessed_at=ACTS + MINUTE,
                    outcome="pass",
                    assessor="root",
                    third_party=third,
                    employer=None if third else "kestrel",
                )
            )
        elif item.kind == "hours":
            cap = re.search(r"of one day at most (?:(\d+) h)? ?(?:(\d+) min)? ?count", text)
            limit = int(cap[1] or 0) * 60 + int(cap[2] or 0) if cap else 24 * 60
            operation = "erection" if "any operation" in text else one_of(chance, r" in ([a-z ]+?)(?: as |,)", text)
            capacity = one_of(chance, r" as ([a-z ]+?),", text) if " as " in text else "erector"
            model = chance.choice(where(text, question, world))
            for day, length in free_days(world, taken, minutes, limit):
                start = start_of_day(day, ZONE)
                end = start + MINUTE * length
                made.append(
                    HoursEntry(
                        **common | {"id": f"new-{len(made)}", "recorded_at": end},
                        model=model,
                        operation=operation,
                        start=start,
                        end=end,
                        employer="kestrel",
                        capacity=capacity,
                        zone=ZONE,
                        countersignatures=(Countersignature("root", end, end),),
                    )
                )
        elif item.kind == "certification":
            assert isinstance(wanted, Certified)
            scheme = one_of(chance, r"scheme ([a-z ]+?)(?:,| covering)", text)
            made.append(
                Certification(
                    **common,
                    scheme=scheme,
                    number=f"N{len(made)}",
                    issued=local_date(ACTS, ZONE),
                    models=frozenset({own.id}) if "very model" in text else frozenset(),
                )
            )
        elif item.kind == "instruction":
            assert isinstance(wanted, Instructed)
            on = question.model if ", on the model" in text else None
            made.append(Instruction(**common, topic=wanted.topic, completed_at=ACTS, model=on))
        elif item.kind == "appointment":
            kind = one_of(chance, r"a written ([a-z' ]+?) appointment", text)
            kind = {"maker's_instructor": "maker_instructor"}.get(kind, kind)
            made.append(
                Appointment(
                    **common,
                    duty="erector",
                    kind=kind,
                    start=ACTS,
                    employer="kestrel",
                    maker=own.maker if kind == "maker_instructor" else None,
                    document="letter" if "document attached" in text else None,
                    stop_work_authority="stop work" in text,
                )
            )
        else:
            assert item.kind == "language"
            made.append(LanguageSkill(**common, language="en"))
    return made


@settings(MANY, max_examples=400)
@given(generated(people, standards, questions, lambda chance: chance))
def test_a_remedy_taken_at_its_word_cures_and_nothing_less_does(
    made: tuple[Evidence, Standard, Question, Random],
) -> None:
    world, standard, question, chance = made
    remedy = decide(world, standard, question).remedy
    assume(remedy is not None)
    assert remedy is not None
    assert bool(remedy.items) is not bool(remedy.obstacle)
    assume(remedy.items)
    whole = [(each, each.minutes or 0) for each in remedy.items]

    def then(items: list[tuple[RemedyItem, int]]) -> bool:
        return decide(with_more(world, *obeyed(items, world, standard, question, chance)), standard, question).permitted

    assert all(then(whole) for _ in range(2)), "whichever of what the words allow is chosen"
    for left_out in range(len(whole)):
        if whole[left_out][0].cost:
            others = [each for number, each in enumerate(whole) if number != left_out]
            # An assessor of the employer's, where any would do, may by chance do for another requirement too.
            assert not all(then(others) for _ in range(8)), whole[left_out][0].sentence


def finder_for(world: Evidence, standard: Standard, question: Question) -> tuple[_Finder, Node]:
    """The finder as :func:`decide` would set it up."""
    role = standard.by_role_and_operation[question.role, question.operation]
    leaves = {each.key: each for each in role.leaves()}
    evaluator = Evaluator(world, Signatures(world, standard, question.worker, question.zone))
    asked = Asked(
        person=question.worker,
        role=question.role,
        model=question.model,
        operation=question.operation,
        employer=question.employer,
        zone=question.zone,
        since=question.start,
        until=question.end,
        working_language=question.working_language,
    )
    evaluations = {key: evaluator.evaluate(each, asked, leaves) for key, each in leaves.items()}
    return _Finder(role, evaluations, question, standard), role.requirement


def holds_with(node: Node, obtained: frozenset[str], finder: _Finder) -> bool:
    if finder._holds(node):
        return True
    if not isinstance(node, Group):
        return node.key in obtained
    return sum(holds_with(each, obtained, finder) for each in node.children) >= node.count


@settings(MANY, max_examples=300)
@given(generated(people, standards, questions))
def test_no_other_set_of_requirements_is_cheaper(made: tuple[Evidence, Standard, Question]) -> None:
    finder, root = finder_for(*made)
    keys = [key for key in sorted(finder._unmet(root)) if finder._is_curable(finder.leaves[key])]
    tried = []
    for number in range(len(keys) + 1):
        for chosen in map(frozenset, combinations(keys, number)):
            if holds_with(root, chosen, finder) and all(finder._with_what_comes_first(key) <= chosen for key in chosen):
                items = finder.items(chosen)
                tried.append((sum(each.cost for each in items), len(items)))
    best = finder.cheapest(root)
    if best is None:
        assert not tried
    else:
        items = finder.items(best)
        assert (sum(each.cost for each in items), len(items)) == min(tried)


# What was known to go wrong


def wanted(requirement: Any, *records: Record, **question: Any) -> list[str]:
    remedy = decided(
        standard_of(*requirement) if isinstance(requirement, list) else standard_of(requirement), *records, **question
    ).remedy
    assert remedy is not None
    return [str(each.sentence) for each in remedy.items]


def test_past_two_hundred_combinations_the_cheapest_is_found() -> None:
    """The cheap way is the last of 1,287 combinations."""
    many = [leaf("instruction", f"i{n}", topic=f"t{n}", cost=9 - n // 8 * 8) for n in range(13)]
    remedy = decided(standard_of({"at_least": {"count": 5, "of": many}})).remedy
    assert remedy is not None
    assert remedy.cost == 5
    assert [each.leaf for each in remedy.items] == ["i8", "i9", "i10", "i11", "i12"]


def test_with_more_bound_requirements_than_are_tried_the_remedy_still_cures_in_short_order() -> None:
    number = 3 * MOST_BOUND
    many = [hours_leaf(f"h{n}", minimum_minutes=60 + n, scope="any", operations="any") for n in range(number)]
    remedy = decided(standard_of({"all_of": many})).remedy
    assert remedy is not None
    assert sum(each.minutes or 0 for each in remedy.items) == 60 + number - 1


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


@pytest.mark.parametrize("of", [hours_leaf(scope="family"), leaf("assessment", "assessment", scope="family")])
def test_a_family_that_ends_inside_the_window_is_not_offered(of: dict[str, Any]) -> None:
    end = "2026-06-03T19:00"
    for until, offered in ((None, True), ("2026-06-03", True), ("2026-06-02", False), ("2026-05-31", False)):
        (sentence,) = wanted(of, family(until), end=at(end))
        assert ("or its family" in sentence) is offered, until
    (sentence,) = wanted(of)
    assert "or its family" not in sentence, "no family is declared"


def test_hours_for_class_and_family_are_offered_only_where_both_count() -> None:
    """The maker's family has a model of another class in it."""
    both = [hours_leaf("of_family", scope="family"), hours_leaf("of_class", scope="class")]
    (sentence,) = wanted(both, family(None))
    assert "on the model in erection" in sentence
    (sentence,) = wanted(both[1], family(None))
    assert "on cranes of the same class" in sentence


def test_a_days_limit_is_said_and_the_days_it_takes_are_looked_at() -> None:
    (sentence,) = wanted(hours_leaf(minimum_minutes=3000, day_cap_minutes=600, within_months=1))
    assert "50 h more" in sentence
    assert "of one day at most 10 h count" in sentence
    remedy = decided(standard_of(hours_leaf(minimum_minutes=60 * 40, day_cap_minutes=60, within_months=1))).remedy
    assert remedy is not None
    assert not remedy.items
    assert "longer than hours stay current" in remedy.obstacle or "grow too old" in remedy.obstacle


def test_a_founding_appointment_is_asked_for_with_its_document() -> None:
    (sentence,) = wanted(leaf("appointment", "founded", duty="erector", kinds=["founding"]))
    assert sentence.endswith("with the outside document attached that it rests on")
    (sentence,) = wanted(leaf("appointment", "either", duty="erector", kinds=["founding", "duty"]))
    assert "founding" not in sentence
    act = appointed("worker", "erector", "2026-05-01T00:00", kind="founding")
    founded = standard_of(leaf("appointment", "founded", duty="erector", kinds=["founding"]))
    assert decided(founded, act).permitted
    assert not decided(founded, replace(act, document=None)).permitted


def test_one_assessment_serves_two_requirements_and_a_stand_down() -> None:
    on_model, anywhere = leaf("assessment", "on_model", scope="model"), leaf("assessment", "anywhere", scope="any")
    remedy = decided(standard_of(on_model, anywhere), stood_down("2026-05-01T10:00")).remedy
    assert remedy is not None
    assert [(each.kind, each.leaf) for each in remedy.items] == [
        ("retraining", "no_stand_down"),
        ("assessment", "on_model"),
    ]
    apart = [
        leaf("assessment", "by_third_party", scope="model", assessor="third_party"),
        leaf("assessment", "by_employer", scope="model", assessor="employer"),
    ]
    assert len(wanted(apart)) == 2


def test_hours_that_would_not_count_in_full_are_no_remedy() -> None:
    standard = standard_of(hours_leaf(), provenance={"counts_in_full": ["imported"], "countersign_within_days": 14})
    remedy = decided(standard).remedy
    assert remedy is not None
    assert "do not count in full" in remedy.obstacle


def test_a_day_worked_full_already_holds_no_more() -> None:
    """A day's limit is reached on the eve: the hour is worked the day before, and that is still current."""
    capped = hours_leaf(minimum_minutes=700, day_cap_minutes=600, within_months=1)
    eve = worked("2026-05-31T07:00", 600)
    assert wanted(capped, eve)[0].startswith("1 h 40 min more")
    more = worked("2026-05-30T07:00", 100)
    assert decided(standard_of(capped), eve, more).permitted


def test_one_paper_serves_two_requirements_that_spell_it_differently() -> None:
    standard = standard_of(
        leaf("certification", "one", schemes=["tower_crane"]),
        leaf("certification", "other", schemes=["Tower crane"], covers="class"),
        leaf("instruction", "course", topic="crew_tasks"),
        leaf("instruction", "same_course", topic="Crew tasks", scope="model"),
        leaf("appointment", "duty", duty="signal_person"),
        leaf("appointment", "same_duty", duty="Signal person", stop_work_authority=True),
    )
    decision = decided(standard)
    assert decision.remedy is not None
    assert [each.kind for each in decision.remedy.items] == ["certification", "instruction", "appointment"]
