"""Under each shipped set a new register can get from its first assessors to its first erector."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from registry.engine.decide import decide
from registry.engine.evidence import (
    OPERATIONS,
    Appointment,
    Assessment,
    Certification,
    Countersignature,
    CranePlacement,
    Employer,
    Evidence,
    HoursEntry,
    Instruction,
    LanguageSkill,
    Model,
    Person,
)
from registry.engine.files.standard_file import parse_standard
from registry.engine.question import Question
from registry.engine.standard import Standard
from registry.standards.files import read_standard_file

FOLDER = Path(__file__).parents[2] / "fixtures" / "standards"
ZONE = ZoneInfo("America/Chicago")
JANUARY = datetime(2026, 1, 5, 15, tzinfo=UTC)
FEBRUARY = datetime(2026, 2, 2, 15, tzinfo=UTC)
MARCH = datetime(2026, 3, 2, 15, tzinfo=UTC)


@pytest.fixture(params=["us-federal-crane-assembly", "makers-practice-us"])
def standard(request: pytest.FixtureRequest) -> Standard:
    return parse_standard(read_standard_file(FOLDER / f"{request.param}.yaml"))


def _day_as_trainee(index: int) -> HoursEntry:
    start = FEBRUARY + timedelta(days=index)
    end = start + timedelta(hours=8)
    return HoursEntry(
        id=f"day-{index}",
        recorded_at=end,
        worker="newcomer",
        model="model",
        operation="erection",
        start=start,
        end=end,
        employer="employer",
        capacity="trainee",
        zone=ZONE,
        crane="crane",
        site="site",
        countersignatures=(Countersignature("founder", end, end),),
    )


def _evidence() -> Evidence:
    topics = ("crew_tasks_and_hazards", "subpart_cc_training", "model_instruction")
    return Evidence(
        people={key: Person(key, key) for key in ("newcomer", "founder", "examiner")},
        employers={"employer": Employer("employer", "Northern Hoist")},
        models={"model": Model("model", "maker", "T 100", "hammerhead")},
        placements=(
            CranePlacement(
                id="placement",
                recorded_at=JANUARY,
                crane="crane",
                model="model",
                site="site",
                start=JANUARY,
            ),
        ),
        hours=tuple(_day_as_trainee(index) for index in range(20)),
        appointments=(
            Appointment(
                id="founding",
                recorded_at=JANUARY,
                worker="founder",
                duty="assessor",
                start=JANUARY,
                kind="founding",
                employer="employer",
                document="letter",
            ),
        ),
        certifications=(
            Certification(
                id="certificate",
                recorded_at=JANUARY,
                worker="examiner",
                scheme="assessor of crane personnel",
                number="1",
                issued=date(2025, 1, 1),
                classes=frozenset({"hammerhead"}),
            ),
        ),
        instruction=tuple(
            Instruction(
                id=topic,
                recorded_at=JANUARY,
                worker="newcomer",
                topic=topic,
                completed_at=JANUARY,
                provider="maker",
                model="model",
            )
            for topic in topics
        ),
        languages=(LanguageSkill(id="english", recorded_at=JANUARY, worker="newcomer", language="en"),),
        assessments=(
            Assessment(
                id="assessment",
                recorded_at=MARCH,
                worker="newcomer",
                role="erector",
                model="model",
                operations=frozenset(OPERATIONS),
                assessed_at=MARCH,
                outcome="pass",
                assessor="examiner",
                third_party=True,
            ),
        ),
    )


def _question() -> Question:
    start = MARCH + timedelta(days=30)
    return Question(
        worker="newcomer",
        role="erector",
        model="model",
        operation="erection",
        employer="employer",
        jurisdiction="US",
        start=start,
        end=start + timedelta(days=3),
        zone=ZONE,
        working_language="en",
    )


def test_the_founders_signature_carries_the_first_erector(standard: Standard) -> None:
    decision = decide(_evidence(), standard, _question())
    assert decision.outcome == "permitted"


def test_without_the_founding_act_the_same_hours_support_nothing(standard: Standard) -> None:
    rootless = replace(_evidence(), appointments=())
    assert decide(rootless, standard, _question()).outcome == "refused"


def test_hours_before_the_crew_instruction_do_not_count(standard: Standard) -> None:
    evidence = _evidence()
    late = tuple(replace(each, completed_at=MARCH) for each in evidence.instruction)
    decision = decide(replace(evidence, instruction=late), standard, _question())
    assert decision.outcome == "refused"
