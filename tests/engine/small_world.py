"""A small world for tests of the engine: a standard, some records, and the answer.

``worker`` asks as erector on model ``m`` at ``kestrel``. ``root`` holds an assessor's certificate.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import fields
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from registry.engine.answer import Decision
from registry.engine.decide import decide
from registry.engine.evidence import (
    Appointment,
    Assessment,
    Certification,
    CertificationStatus,
    Countersignature,
    CranePlacement,
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
    StandDownSuspension,
)
from registry.engine.files.standard_file import parse_standard
from registry.engine.question import Question
from registry.engine.standard import Standard

Data = dict[str, Any]
CHICAGO = ZoneInfo("America/Chicago")
LONG_AGO = datetime(2010, 1, 1, tzinfo=UTC)
OPERATIONS = ["erection", "climbing", "repositioning", "dismantling"]
KINDS: dict[type[Record], str] = {
    Appointment: "appointments",
    Assessment: "assessments",
    Certification: "certifications",
    CertificationStatus: "certification_statuses",
    CranePlacement: "placements",
    FamilyDeclaration: "families",
    HoursEntry: "hours",
    Instruction: "instruction",
    LanguageSkill: "languages",
    StandDown: "stand_downs",
    StandDownSuspension: "stand_down_suspensions",
}
MODELS = {
    "m": Model("m", "Norrland Hoist", "NH 280", "flat top"),
    "sister": Model("sister", "Norrland Hoist", "NH 900", "luffing jib"),
    "alike": Model("alike", "Brelo", "BRL 90", "flat top"),
}


def leaf(kind: str, key: str, **more: Any) -> Data:
    return {kind: {"key": key, "sentence": key, "source": "own", **more}}


NO_STAND_DOWN = leaf("no_stand_down", "no_stand_down")
CERTIFIED_ASSESSOR = leaf("certification", "certificate", schemes=["assessor"])
FOUNDED_ASSESSOR = leaf("appointment", "founding", duty="assessor", kinds=["founding"])
ASSESSMENT = leaf("assessment", "assessment", scope="model")


def hours_leaf(key: str = "hours", **more: Any) -> Data:
    return leaf("hours", key, **{"minimum_minutes": 60, "scope": "model", **more})


def standard_data(*requirement: Data, assessor: Data = CERTIFIED_ASSESSOR, **more: Any) -> Data:
    return {
        "standard": "small",
        "version": 1,
        "title": "Small",
        "jurisdiction": "US",
        "in_force": {"from": "2000-01-01"},
        "sources": {"own": {"title": "common practice, no source", "kind": "common_practice"}},
        "sign_off": {"countersigners": ["assessor"], "assessors": ["assessor"]},
        "provenance": {"counts_in_full": ["witnessed"], "countersign_within_days": 3650},
        "plausibility": {"crane_not_on_site": "in_full", "recorded_late": "in_full", "recorded_late_after_days": 0},
        "crew": {
            "trainees_per_erector": 1,
            "longest_day_minutes": 720,
            "source": "own",
            "longest_day_source": "own",
        },
        "roles": [
            {"role": role, "operations": OPERATIONS, "requirement": {"all_of": [NO_STAND_DOWN, *tree]}}
            for role, tree in (("erector", requirement), ("assessor", [assessor]))
        ],
        **more,
    }


def standard_of(*requirement: Data, assessor: Data = CERTIFIED_ASSESSOR, **more: Any) -> Standard:
    return parse_standard(standard_data(*requirement, assessor=assessor, **more))


def at(text: str, zone: ZoneInfo = CHICAGO) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=zone).astimezone(UTC)


def evidence_of(*records: Record) -> Evidence:
    held: dict[str, list[Record]] = defaultdict(list)
    for each in records:
        held[KINDS[type(each)]].append(each)
    names = {"worker", "root"}
    for each in records:
        for one in fields(each):
            if one.name in ("worker", "assessor"):
                names.add(getattr(each, one.name))
        if isinstance(each, HoursEntry):
            names |= {signature.by for signature in each.countersignatures}
    return Evidence(
        people={key: Person(key, key.title()) for key in sorted(names)},
        employers={key: Employer(key, key.title()) for key in ("kestrel", "plover")},
        models=MODELS,
        **{kind: tuple(found) for kind, found in held.items()},  # type: ignore[arg-type]
    )


def asked(**more: Any) -> Question:
    return Question(
        **{
            "worker": "worker",
            "role": "erector",
            "model": "m",
            "operation": "erection",
            "employer": "kestrel",
            "jurisdiction": "US",
            "start": at("2026-06-01T07:00"),
            "end": at("2026-06-01T19:00"),
            "zone": CHICAGO,
            **more,
        }
    )


def decided(standard: Standard, *records: Record, **question: Any) -> Decision:
    return decide(evidence_of(certificate("root"), *records), standard, asked(**question))


def reasons(decision: Decision) -> dict[str, list[str]]:
    found: dict[str, list[str]] = defaultdict(list)
    for each in decision.requirements:
        for group in each.not_counted:
            found[group.reason] += group.records
    return found


# Records


def certificate(worker: str = "worker", scheme: str = "assessor", **more: Any) -> Certification:
    return Certification(
        **{
            "id": f"certificate-{worker}-{scheme}",
            "recorded_at": LONG_AGO,
            "worker": worker,
            "scheme": scheme,
            "number": f"{worker} 1",
            "issued": date(2010, 1, 1),
            **more,
        }
    )


def status(certification: str, said: str, when: str, *, worker: str = "worker", **more: Any) -> CertificationStatus:
    content: Data = {"id": f"{said}-{when}", "recorded_at": at(when), "effective_at": at(when), **more}
    return CertificationStatus(worker=worker, certification=certification, status=said, **content)


def worked(start: str, minutes: int = 60, *, by: str | None = "root", **more: Any) -> HoursEntry:
    zone = more.get("zone", CHICAGO)
    begun = at(start, zone)
    end = begun + timedelta(minutes=minutes)
    signed = more.pop("signed", end)
    content: Data = {
        "id": f"hours-{more.get('worker', 'worker')}-{start}",
        "recorded_at": end,
        "worker": "worker",
        "model": "m",
        "operation": "erection",
        "start": begun,
        "end": end,
        "employer": "kestrel",
        "zone": zone,
        "countersignatures": () if by is None else (Countersignature(by, signed, signed),),
        **more,
    }
    return HoursEntry(**content)


def assessed(when: str, *, by: str = "root", **more: Any) -> Assessment:
    content: Data = {
        "id": f"assessment-{more.get('worker', 'worker')}-{when}",
        "recorded_at": at(when),
        "worker": "worker",
        "role": "erector",
        "model": "m",
        "operations": frozenset(OPERATIONS),
        "assessed_at": at(when),
        "outcome": "pass",
        "assessor": by,
        "third_party": True,
        **more,
    }
    return Assessment(**content)


def appointed(worker: str, duty: str, start: str, **more: Any) -> Appointment:
    content: Data = {
        "id": f"appointment-{worker}-{duty}-{start}",
        "recorded_at": at(start),
        "start": at(start),
        "employer": "kestrel",
        "document": "letter",
        **more,
    }
    return Appointment(worker=worker, duty=duty, **content)


def stood_down(when: str, **more: Any) -> StandDown:
    content: Data = {"id": "bar", "recorded_at": at(when), "worker": "worker", "reason": "conduct", **more}
    return StandDown(start=at(when), **content)


def retrained(when: str, **more: Any) -> Instruction:
    content: Data = {"id": "retraining", "recorded_at": at(when), "worker": "worker", "topic": "retraining", **more}
    return Instruction(completed_at=at(when), after_stand_down="bar", **content)


def suspended(start: str, end: str | None = None, **more: Any) -> StandDownSuspension:
    content: Data = {"id": "suspension", "recorded_at": at(start), "worker": "worker", "stand_down": "bar", **more}
    return StandDownSuspension(start=at(start), end=None if end is None else at(end), **content)
