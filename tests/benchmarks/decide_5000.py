"""How long one decision takes for a worker with 5,000 records.

Run from the project's root:

    python3 manage.py bench decide_5000

*Cold* gives the engine a new ``Evidence`` each time, so that the time holds the
arranging of the records (``engine/fast/batches.py``); *warm* asks the same
``Evidence`` again. *Reading* goes from the text of a case file with the same
records to the values that the engine works on.
Times are of the processor, as other work on the machine
would only disturb them. The aims are medians of 10 ms for an answer and 150 ms
for reading, on one core.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import cycle, product
from pathlib import Path
from statistics import median, quantiles
from time import process_time
from typing import Any
from zoneinfo import ZoneInfo

sys.path.insert(0, str(Path(__file__).parents[2]))

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
from registry.engine.files.case_file import read_case
from registry.engine.files.standard_file import parse_standard
from registry.engine.question import Question

AIM_MS = 10.0
READING_AIM_MS = 150.0
RECORDS = 5000
SIGNERS = 20
ZONE = ZoneInfo("America/Chicago")
START = datetime(2026, 6, 1, 13, 0, tzinfo=UTC)


def leaf(kind: str, key: str, **more: Any) -> dict[str, Any]:
    """One requirement in the plain data of a standard."""
    return {kind: {"key": key, "sentence": key.replace("_", " "), "source": "practice", **more}}


def standard_data() -> dict[str, Any]:
    """Three hours requirements, an assessment, a certificate and the rest of an erector's."""
    no_stand_down = leaf("no_stand_down", "no_stand_down")
    hours: dict[str, Any] = {"operations": "any", "day_cap_minutes": 600}
    erector = [
        no_stand_down,
        leaf("instruction", "crew_instruction", topic="crew_tasks"),
        leaf("language", "language"),
        leaf("certification", "certificate", schemes=["tower crane erection"], covers="class"),
        leaf(
            "hours",
            "class_hours",
            minimum_minutes=60_000,
            scope="class",
            within_months=120,
            after="crew_instruction",
            **hours,
        ),
        leaf(
            "hours",
            "model_hours",
            minimum_minutes=9_600,
            scope="model",
            within_months=36,
            longest_gap_months=12,
            **hours,
        ),
        leaf(
            "hours",
            "operation_hours",
            minimum_minutes=2_400,
            scope="model",
            within_months=24,
            longest_gap_months=6,
            day_cap_minutes=600,
        ),
        leaf("assessment", "assessment", scope="model", operations="any", within_months=36),
    ]
    assessor = [
        no_stand_down,
        leaf("certification", "assessor_certificate", schemes=["assessor"], covers="class"),
    ]
    return {
        "standard": "benchmark",
        "version": 1,
        "title": "Benchmark standard",
        "jurisdiction": "US",
        "in_force": {"from": "2000-01-01"},
        "sources": {"practice": {"title": "common practice, no source", "kind": "common_practice"}},
        "sign_off": {"countersigners": ["assessor"], "assessors": ["assessor"]},
        "provenance": {
            "counts_in_full": ["witnessed", "imported"],
            "counts_in_part": ["countersigned_late", "transcribed"],
            "part_at_most_percent": 25,
            "countersign_within_days": 14,
        },
        "plausibility": {
            "crane_not_on_site": "in_part",
            "recorded_late": "in_part",
            "recorded_late_after_days": 30,
        },
        "crew": {
            "trainees_per_erector": 1,
            "longest_day_minutes": 720,
            "source": "practice",
            "longest_day_source": "practice",
        },
        "roles": [
            {"role": role, "operations": list(OPERATIONS), "requirement": {"all_of": leaves}}
            for role, leaves in (("erector", erector), ("assessor", assessor))
        ],
    }


def evidence() -> Evidence:
    """Ten years of work on six models in four operations, signed by twenty people."""
    models = {f"model-{n}": Model(f"model-{n}", "Norrland Hoist", f"NH {n}", "flat top") for n in range(6)}
    people = {"worker": Person("worker", "Robin Field")}
    people |= {f"signer-{n}": Person(f"signer-{n}", f"Signer {n}") for n in range(SIGNERS)}
    certificates = [
        Certification(
            id=f"certificate-{person}",
            recorded_at=datetime(2010, 1, 1, tzinfo=UTC),
            worker=person,
            scheme="tower crane erection" if person == "worker" else "assessor",
            number=person,
            issued=date(2010, 1, 1),
            expires=date(2030, 12, 31),
            classes=frozenset({"flat top"}),
        )
        for person in people
    ]
    assessments = [
        Assessment(
            id=f"assessment-{n}",
            recorded_at=START - timedelta(days=200 * n + 30),
            worker="worker",
            role="erector",
            model=f"model-{n % 6}",
            operations=frozenset(OPERATIONS),
            assessed_at=START - timedelta(days=200 * n + 30),
            outcome="pass",
            assessor=f"signer-{n}",
            third_party=True,
        )
        for n in range(SIGNERS)
    ]
    placements = [
        CranePlacement(
            id=f"placement-{model}",
            recorded_at=datetime(2010, 1, 1, tzinfo=UTC),
            crane=f"crane-{model}",
            model=model,
            site="site",
            start=datetime(2010, 1, 1, tzinfo=UTC),
        )
        for model in models
    ]
    count = RECORDS - len(assessments) - 5
    kinds = cycle(product(models, OPERATIONS))
    hours = []
    for n in range(count):
        model, operation = next(kinds)
        start = START - timedelta(hours=17 * (count - n) + 10)
        end = start + timedelta(hours=3 + n % 3)
        signed = end + timedelta(days=1 if n % 40 else 20)
        origin = "register" if n % 25 else "paper"
        hours.append(
            HoursEntry(
                id=f"hours-{n:05}",
                recorded_at=end,
                worker="worker",
                model=model,
                operation=operation,
                start=start,
                end=end,
                employer="employer",
                zone=ZONE,
                crane=f"crane-{model}",
                site="site",
                origin=origin,
                document="scan" if origin == "paper" else None,
                countersignatures=(Countersignature(f"signer-{n % SIGNERS}", signed, signed),),
            )
        )
    first = START - timedelta(days=5000)
    return Evidence(
        people=people,
        employers={"employer": Employer("employer", "Kestrel Tower Works")},
        models=models,
        placements=tuple(placements),
        hours=tuple(hours),
        assessments=tuple(assessments),
        certifications=tuple(certificates),
        instruction=(
            Instruction(
                id="instruction",
                recorded_at=first,
                worker="worker",
                topic="crew_tasks",
                completed_at=first,
            ),
        ),
        appointments=(
            Appointment(
                id="appointment",
                recorded_at=first,
                worker="worker",
                duty="erector",
                start=first,
                employer="employer",
            ),
        ),
        languages=(LanguageSkill(id="language", recorded_at=first, worker="worker", language="en"),),
    )


def question() -> Question:
    """A window of one week."""
    return Question(
        worker="worker",
        role="erector",
        model="model-0",
        operation="erection",
        employer="employer",
        jurisdiction="US",
        start=START,
        end=START + timedelta(days=7),
        zone=ZONE,
        working_language="en",
    )


def case_file(held: Evidence, asked: Question) -> str:
    """The same as a case file."""
    names = {"crane_class": "class", "zone": "time_zone", "third_party": "on_behalf_of"}

    def plain(value: Any) -> Any:
        if is_dataclass(value):
            members = {member.name: getattr(value, member.name) for member in fields(value)}
            return {
                names.get(name, name): plain(content)
                for name, content in members.items()
                if content is not None
                and content != ()
                and not (name == "zone" and value is not asked and content is ZONE)
            }
        if isinstance(value, datetime):
            return value.isoformat()
        if isinstance(value, date):
            return value.isoformat()
        if isinstance(value, frozenset | tuple):
            return [plain(each) for each in value]
        return value.key if isinstance(value, ZoneInfo) else value

    records = {kind: plain(content) for kind, content in held.record_kinds()}
    for each in records["assessments"]:
        each["on_behalf_of"] = "third_party"
    return json.dumps(
        {
            "title": "Five thousand records",
            "people": plain(tuple(held.people.values())),
            "employers": plain(tuple(held.employers.values())),
            "models": plain(tuple(held.models.values())),
            **records,
            "standard": standard_data(),
            "question": plain(asked),
        }
    )


def measured(run: Callable[[], object], times: int) -> list[float]:
    """Milliseconds of processor time of each of ``times`` runs."""
    found = []
    for _ in range(times):
        before = process_time()
        run()
        found.append((process_time() - before) * 1000)
    return found


def fresh(held: Evidence) -> Evidence:
    """The same records in an ``Evidence`` that has kept nothing."""
    return Evidence(
        people=held.people,
        employers=held.employers,
        models=held.models,
        **dict(held.record_kinds()),  # type: ignore[arg-type]
    )


def main() -> None:
    """Measure and print."""
    held, by, asked = evidence(), parse_standard(standard_data()), question()
    text = case_file(held, asked)
    case = read_case(text)
    answer = decide(held, by, asked)
    assert decide(case.evidence, case.standard, case.question).outcome == answer.outcome
    print(f"{RECORDS} records of the worker, {SIGNERS} signers: {answer.outcome}")
    for name, run, times, aim in (
        ("cold", lambda: decide(fresh(held), by, asked), 60, AIM_MS),
        ("warm", lambda: decide(held, by, asked), 60, AIM_MS),
        (f"reading {len(text) / 1e6:.1f} MB", lambda: read_case(text), 20, READING_AIM_MS),
    ):
        figures = measured(run, times)
        typical, slow = median(figures), quantiles(figures, n=20)[-1]
        print(
            f"{name}: least {min(figures):.1f} ms, median {typical:.1f} ms, 95th percentile {slow:.1f} ms, "
            f"{typical / aim:.2f} times the aim of {aim:.0f} ms"
        )


if __name__ == "__main__":
    main()
