"""The engine against a second evaluator, written straight from the words of the rules and in no way clever.

It knows one operation, one model and one kind of window, and tries every record at every turn: whose
assessments count, by whom they were given, who was a trainee, who had signed for whom, and whether a
stand-down was lifted by records that its own author did not make.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from random import Random
from typing import Any

import pytest

from registry.engine.calendar import start_of_day
from registry.engine.decide import decide
from registry.engine.evidence import (
    Appointment,
    Assessment,
    Certification,
    Countersignature,
    Evidence,
    HoursEntry,
    Instruction,
    StandDown,
    StandDownSuspension,
)
from tests.engine.small_world import (
    CERTIFIED_ASSESSOR,
    CHICAGO,
    FOUNDED_ASSESSOR,
    asked,
    assessed,
    certificate,
    evidence_of,
    leaf,
    standard_of,
)

FIRST = datetime(2026, 1, 1, tzinfo=UTC)
LAST = 40
WINDOW = FIRST + timedelta(days=LAST + 5)
ENDS = WINDOW + timedelta(hours=12)
PEOPLE = ["worker", "ann", "ben", "cyd"]
AUTHORS = [None, "one", "two", "three"]
STANDARD = standard_of(
    leaf("assessment", "assessment", scope="model"),
    assessor={
        "any_of": [
            CERTIFIED_ASSESSOR,
            FOUNDED_ASSESSOR,
            leaf("assessment", "assessed", scope="model", role="assessor"),
        ]
    },
)


def day(number: int) -> datetime:
    return FIRST + timedelta(days=number)


def drawn(chance: Random) -> list[Any]:
    """Records of few people over few days, so that much falls together."""
    records: list[Any] = []
    for number in range(chance.randint(3, 12)):
        when = chance.randint(0, LAST)
        worker, other = chance.sample(PEOPLE, 2)
        role = "erector" if worker == "worker" and chance.random() < 0.7 else chance.choice(["assessor", "erector"])
        common: dict[str, Any] = {"recorded_at": day(when), "recorded_by": chance.choice(AUTHORS), "worker": worker}
        kind = chance.choice(["assessment", "assessment", "assessment", "hours", "founding", "certificate"])
        if kind == "assessment":
            records.append(
                assessed(
                    "2026-01-01",
                    **common,
                    id=f"assessment {number}",
                    by=other,
                    role=role,
                    assessed_at=day(when),
                    outcome=chance.choice(["pass", "pass", "pass", "not_yet_competent"]),
                    third_party=False,
                    employer="kestrel",
                    signed_by_assessor=chance.random() < 0.5,
                )
            )
        elif kind == "hours":
            signed = chance.random() < 0.7
            end = day(when) + timedelta(hours=1)
            records.append(
                HoursEntry(
                    **common | {"recorded_at": end},
                    id=f"hours {number}",
                    model="m",
                    operation="erection",
                    start=day(when),
                    end=end,
                    employer="kestrel",
                    capacity=chance.choice(["erector", "trainee"]),
                    countersignatures=(Countersignature(other, end, end),) if signed else (),
                )
            )
        elif kind == "founding":
            began = day(chance.randint(0, when))
            records.append(
                Appointment(
                    **common,
                    id=f"founding {number}",
                    duty="assessor",
                    kind="founding",
                    start=began,
                    employer="kestrel",
                    document="letter",
                )
            )
        else:
            issued = day(chance.randint(0, when)).date()
            records.append(certificate(**common, id=f"certificate {number}", issued=issued))
    for number in range(chance.randint(0, 2)):
        when = chance.randint(0, LAST - 10)
        worker = chance.choice(["worker", *PEOPLE])
        author = chance.choice(AUTHORS)
        bar = StandDown(
            id=f"bar {number}",
            recorded_at=day(when),
            recorded_by=author,
            worker=worker,
            start=day(when),
            reason="conduct",
            only_at=chance.choice([None, None, "kestrel", "plover"]),
        )
        records.append(bar)
        for turn in range(chance.randint(0, 2)):
            again = min(when + chance.randint(0, 8), LAST)
            records.append(
                Instruction(
                    id=f"retraining {number} {turn}",
                    recorded_at=day(again),
                    recorded_by=chance.choice(AUTHORS),
                    worker=worker,
                    topic="again",
                    completed_at=day(again),
                    after_stand_down=bar.id,
                )
            )
        if chance.random() < 0.3:
            ends = chance.choice([None, day(LAST + 20), day(LAST - 5), WINDOW + timedelta(hours=3)])
            records.append(
                StandDownSuspension(
                    id=f"suspension {number}",
                    recorded_at=day(when),
                    worker=worker,
                    stand_down=bar.id,
                    start=day(min(when + chance.randint(0, 5), LAST - 6)),
                    end=ends,
                )
            )
    return records


@dataclass(frozen=True)
class Naive:
    """``out`` are the appointments and certificates that are not looked at."""

    records: tuple[Any, ...]
    out: frozenset[str] = frozenset()

    def all(self, kind: type[Any]) -> list[Any]:
        return [each for each in self.records if isinstance(each, kind) and each.id not in self.out]

    def met(self) -> tuple[bool, bool]:
        """Whether no stand-down bars the worker, and whether the assessment is passed, throughout the window.

        Looked at when the window starts and at every instant at which something changes inside it.
        """
        good = self.good()
        changes = [each.end for each in self.all(StandDownSuspension) if each.end and WINDOW <= each.end < ENDS]
        instants = [WINDOW, *changes]
        return (
            not any(self.barred("worker", "erector", each, good) for each in instants),
            all(self.passed("worker", "erector", each, good) for each in instants),
        )

    def good(self) -> frozenset[str]:
        """The assessments whose assessor was entitled: from none, until no more are found."""
        found: frozenset[str] = frozenset()
        while True:
            more = frozenset(
                each.id
                for each in self.all(Assessment)
                if self.in_order(each) and self.entitled(each.assessor, each.assessed_at, found)
            )
            if more == found:
                return found
            found = more

    def in_order(self, given: Assessment) -> bool:
        who, whom, when = given.assessor, given.worker, given.assessed_at
        if who in (whom, "worker"):
            return False
        for each in self.all(Assessment):
            if each.assessor == whom and each.worker == who and each.assessed_at <= when:
                return False
        for each in self.all(HoursEntry):
            if each.worker == who and any(one.by == whom and one.at <= when for one in each.countersignatures):
                return False
        return not self.trainee(who, when)

    def trainee(self, who: str, when: datetime) -> bool:
        """Was the last of the person's signed work on the model a trainee's, and nothing passed since?"""
        done = [
            each
            for each in self.all(HoursEntry)
            if each.worker == who and each.start <= when and any(one.by != who for one in each.countersignatures)
        ]
        last: datetime | None = None
        for each in done:
            if each.capacity == "trainee" and (last is None or each.start > last):
                last = each.start
        if last is None:
            return False
        later = any(each.capacity != "trainee" and each.start > last for each in done)
        passed = any(
            each.worker == who and each.assessor != who and each.outcome == "pass" and last < each.assessed_at <= when
            for each in self.all(Assessment)
        )
        return not later and not passed

    def entitled(self, who: str, when: datetime, good: frozenset[str]) -> bool:
        if who == "worker" or self.barred(who, "assessor", when, good):
            return False
        certified = any(each.worker == who and day_starts(each.issued) <= when for each in self.all(Certification))
        founded = any(each.worker == who and each.start <= when for each in self.all(Appointment))
        return certified or founded or self.passed(who, "assessor", when, good)

    def passed(self, who: str, role: str, when: datetime, good: frozenset[str]) -> bool:
        mine = [each for each in self.all(Assessment) if each.worker == who and each.role == role]
        return any(
            each.id in good
            and each.outcome == "pass"
            and each.assessed_at <= when
            and not any(one.outcome != "pass" and each.assessed_at <= one.assessed_at <= when for one in mine)
            for each in mine
        )

    def barred(self, who: str, role: str, when: datetime, good: frozenset[str]) -> bool:
        for bar in self.all(StandDown):
            if bar.worker != who or bar.start > when or bar.only_at == "plover":
                continue
            if any(
                each.stand_down == bar.id and each.start <= when and (each.end is None or when < each.end)
                for each in self.all(StandDownSuspension)
            ):
                continue
            if not any(
                self.lifts(bar, retraining, given)
                for retraining in self.all(Instruction)
                for given in self.all(Assessment)
                if retraining.after_stand_down == bar.id
                and given.worker == who
                and given.role == role
                and given.outcome == "pass"
                and bar.start <= retraining.completed_at < given.assessed_at <= when
                and given.id in good
            ):
                return True
        return False

    def lifts(self, bar: StandDown, retraining: Instruction, given: Assessment) -> bool:
        one_author = retraining.recorded_by is not None and retraining.recorded_by == given.recorded_by
        if one_author and not given.signed_by_assessor:
            return False
        out = set()
        for each in [*self.all(Appointment), *self.all(Certification)]:
            later = each.recorded_at > bar.start
            authors = (retraining.recorded_by, given.recorded_by)
            may_be_theirs = each.recorded_by is None or None in authors or each.recorded_by in authors
            if (later and may_be_theirs) or (one_author and each.recorded_by == retraining.recorded_by):
                out.add(each.id)
        return not out or given.id in without(self, frozenset(out))


@cache
def without(whole: Naive, out: frozenset[str]) -> frozenset[str]:
    return replace(whole, out=whole.out | out).good()


def day_starts(issued: date) -> datetime:
    return start_of_day(issued, CHICAGO)


def engine_says(evidence: Evidence) -> tuple[bool, bool]:
    no_stand_down, assessment = decide(evidence, STANDARD, asked(start=WINDOW, end=ENDS)).requirements
    return no_stand_down.met, assessment.met


@pytest.mark.parametrize("hundred", range(20))
def test_the_engine_says_what_the_naive_evaluator_says(hundred: int) -> None:
    answers = set()
    for number in range(100):
        records = drawn(Random(f"naive {hundred} {number}"))
        expected = Naive(tuple(records)).met()
        assert engine_says(evidence_of(*records)) == expected, (hundred, number)
        answers.add(expected)
    assert len(answers) >= 3, "most answers are among them"
