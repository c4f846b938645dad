"""Reading evidence: for the engine in two statements, and for pages."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

from django.db import connection
from django.db.models import QuerySet

from registry.database.readers import as_the_register
from registry.database.together import Given, Together
from registry.engine import evidence as engine
from registry.equipment.models import CraneModel, CranePlacement, FamilyDeclaration
from registry.evidence.models import (
    Appointment,
    Assessment,
    Certification,
    CertificationStatus,
    Instruction,
    StandDown,
    StandDownSuspension,
)
from registry.people.models import Employer, LanguageSkill, Worker

Ids = Collection[int]

WHO_SIGNED = """
    SELECT signature.by_id FROM evidence_hoursentry entry
    JOIN evidence_countersignature signature ON signature.entry_id = entry.id
    WHERE entry.worker_id = {worker}
    UNION
    SELECT assessor_id FROM evidence_assessment WHERE worker_id = {worker}
"""

# Everybody whose signature stands behind a worker's records, at any remove.
SIGNER_CLOSURE = f"""
    WITH RECURSIVE signer (id) AS (
        SELECT unnest(%s::bigint[])
        UNION
        SELECT signed.by_id FROM signer, LATERAL ({WHO_SIGNED.format(worker="signer.id")}) signed
    )
    SELECT id FROM signer
"""  # noqa: S608 (put together from constants alone)


@as_the_register()
def direct_signers(*worker_ids: int) -> set[int]:
    """Everybody who countersigned or assessed any of the workers."""
    with connection.cursor() as cursor:
        cursor.execute(WHO_SIGNED.format(worker="ANY(%(workers)s)"), {"workers": list(worker_ids)})
        return {each for (each,) in cursor.fetchall()}


@as_the_register()
def signer_closure(*worker_ids: int) -> set[int]:
    """The workers and everybody whose signature stands behind their records, at any remove."""
    with connection.cursor() as cursor:
        cursor.execute(SIGNER_CLOSURE, [list(worker_ids)])
        return {each for (each,) in cursor.fetchall()}


@as_the_register()
def evidence_for(*, worker_ids: Ids, grounds_of: Ids = (), known_at: datetime | None = None) -> engine.Evidence:
    """The engine's evidence about some workers, in two statements.

    The whole record of ``worker_ids``; of ``grounds_of`` only what needs no
    signature, and the few hours and assessments that tell against them as
    signers for ``worker_ids``. What is left out could only speak for them, so a signature
    that counts on this evidence counts on all of it. Identifiers are prefixed
    with their kind: ``worker:12``, ``hours:55``. Records that the register
    learned of after ``known_at`` are left out, but for certificates: a status may be older than the
    certificate it names, and :meth:`~registry.engine.evidence.Evidence.known_at` needs that one
    to tell what the status is about.
    """
    everybody = sorted({*worker_ids, *grounds_of})
    hours = _hours(worker_ids, grounds_of, known_at)
    (
        people,
        employers,
        models,
        families,
        placements,
        assessments,
        assessments_given,
        certifications,
        statuses,
        instruction,
        appointments,
        stand_downs,
        suspensions,
        languages,
    ) = _records(known_at is not None).read(
        whole=sorted(worker_ids),
        others=sorted(grounds_of),
        everybody=everybody,
        cranes=sorted({int(entry.crane.partition(":")[2]) for entry in hours if entry.crane is not None}),
        known_at=known_at,
    )
    return engine.Evidence(
        people={f"worker:{key}": engine.Person(f"worker:{key}", f"{given} {family}") for key, given, family in people},
        employers={f"employer:{key}": engine.Employer(f"employer:{key}", name) for key, name in employers},
        models={f"model:{key}": engine.Model(f"model:{key}", *rest) for key, *rest in models},
        families=tuple(map(_family, families)),
        placements=tuple(map(_placement, placements)),
        hours=tuple(hours),
        assessments=tuple(map(_assessment, (*assessments, *assessments_given))),
        certifications=tuple(map(_certification, certifications)),
        certification_statuses=tuple(map(_status, statuses)),
        instruction=tuple(map(_instruction, instruction)),
        appointments=tuple(map(_appointment, appointments)),
        stand_downs=tuple(map(_stand_down, stand_downs)),
        stand_down_suspensions=tuple(map(_suspension, suspensions)),
        languages=tuple(map(_language, languages)),
    )


def evidence_behind(evidence: engine.Evidence, worker_id: int) -> engine.Evidence:
    """Of evidence about many people, read whole, what is about one and everybody whose signature stands behind it.

    The same as :func:`evidence_for` of that worker's :func:`signer_closure`, without reading it again.
    """
    signers: dict[str, set[str]] = defaultdict(set)
    for signer, signed in evidence.signed_for.items():
        for each in signed:
            signers[each].add(signer)
    behind = {f"worker:{worker_id}"}
    found = behind
    while found:
        found = set().union(*(signers[each] for each in found)) - behind
        behind |= found
    kinds: dict[str, Any] = {
        name: tuple(each for each in records if each.worker in behind)  # type: ignore[attr-defined]
        for name, records in evidence.record_kinds()
        if name not in ("families", "placements")
    }
    cranes = {entry.crane for entry in kinds["hours"]}
    return replace(
        evidence,
        people={key: person for key, person in evidence.people.items() if key in behind},
        placements=tuple(each for each in evidence.placements if each.crane in cranes),
        **kinds,
    )


# Of a record that is not read whole, nothing tells that an entry has been corrected: it is left out here.
STANDS = """NOT EXISTS (
        SELECT FROM evidence_hoursentry later WHERE later.supersedes_id = entry.id
        AND (%(known_at)s::timestamptz IS NULL OR later.recorded_at <= %(known_at)s))"""

# Whole records, and of the others what makes an assessor dependent or a trainee. A union of
# look-ups by index: one condition with OR would read the whole table.
HOURS_WANTED = f"""
    SELECT id FROM evidence_hoursentry WHERE worker_id = ANY(%(whole)s)
    UNION
    SELECT entry.id FROM evidence_countersignature signature
    JOIN evidence_hoursentry entry ON entry.id = signature.entry_id
    WHERE signature.by_id = ANY(%(whole)s) AND entry.worker_id = ANY(%(others)s) AND {STANDS}
    UNION
    SELECT entry.id FROM evidence_hoursentry entry
    WHERE entry.worker_id = ANY(%(others)s) AND entry.capacity = 'trainee' AND {STANDS}
"""  # noqa: S608 (put together from constants alone)

# A worker may have thousands of rows: instants come as whole microseconds since 1970, which
# become datetimes many times faster than their text does. An entry comes once for each of its signatures.
HOURS = f"""
    WITH wanted AS ({HOURS_WANTED})
    SELECT signature.by_id, (extract(epoch FROM signature.at) * 1000000)::bigint,
           (extract(epoch FROM signature.recorded_at) * 1000000)::bigint,
           entry.id, (extract(epoch FROM entry.recorded_at) * 1000000)::bigint, entry.supersedes_id,
           entry.withdrawn, entry.worker_id, entry.model_id, entry.operation,
           (extract(epoch FROM entry.start) * 1000000)::bigint,
           (extract(epoch FROM entry."end") * 1000000)::bigint,
           entry.employer_id, entry.capacity, entry.configuration, site.time_zone, entry.crane_id,
           entry.site_id, entry.origin, entry.document_id, entry.issuer, entry.recorded_by_id
    FROM wanted JOIN evidence_hoursentry entry USING (id) JOIN equipment_site site ON site.id = entry.site_id
    LEFT JOIN evidence_countersignature signature ON signature.entry_id = entry.id
        AND (%(known_at)s::timestamptz IS NULL OR signature.recorded_at <= %(known_at)s)
    WHERE %(known_at)s::timestamptz IS NULL OR entry.recorded_at <= %(known_at)s
    ORDER BY entry.id, signature.id
"""  # noqa: S608 (put together from constants alone)

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def _instant(microseconds: int) -> datetime:
    return EPOCH + timedelta(microseconds=microseconds)


COMMON = ("id", "recorded_at", "supersedes_id", "withdrawn")
AUTHOR = "recorded_by_id"
"""The last column of every row."""
ASSESSMENT = (
    *COMMON,
    "worker_id",
    "role",
    "model_id",
    "operations",
    "assessed_at",
    "outcome",
    "assessor_id",
    "third_party",
    "employer_id",
    "kind",
    "configuration",
    "recorded_by__worker_id",
)
CERTIFICATION = (
    *COMMON,
    "worker_id",
    "scheme",
    "number",
    "issued",
    "expires",
    "scope",
    "covers_models",
    "covers_classes",
)
STATUS = (*COMMON, "worker_id", "certification_id", "status", "effective_at")
INSTRUCTION = (*COMMON, "worker_id", "topic", "completed_at", "provider", "model_id", "after_stand_down_id")
APPOINTMENT = (
    *COMMON,
    "worker_id",
    "duty",
    "start",
    "end",
    "kind",
    "employer_id",
    "maker__name",
    "document_id",
    "stop_work_authority",
    "model_id",
)
STAND_DOWN = (*COMMON, "worker_id", "start", "reason", "role", "model_id", "employer_id")
SUSPENSION = (*COMMON, "worker_id", "stand_down_id", "start", "end")
LANGUAGE = (*COMMON, "worker_id", "language")
FAMILY = (*COMMON, "maker__name", "models_declared", "document", "valid_from", "valid_until")
PLACEMENT = (*COMMON, "crane_id", "crane__model_id", "site_id", "start", "end")


@lru_cache
def _records(at_an_instant: bool) -> Together:
    """Everything but hours: whole records of ``everybody``; of ``cranes`` where they stood.

    Assessments are those of ``whole``, and those that these gave to ``others``, their own signers, who are not
    independent then. ``at_an_instant`` leaves out what was recorded after ``known_at``.
    """
    instant = Given("known_at")

    def known(found: QuerySet[Any]) -> QuerySet[Any]:
        return found.filter(recorded_at__lte=instant) if at_an_instant else found

    def of(worker_ids: str, model: Any, columns: tuple[str, ...]) -> QuerySet[Any, Any]:
        found = model.objects.filter(worker__among=Given(worker_ids)).order_by("id").values_list(*columns, AUTHOR)
        return found if model is Certification else known(found)

    given = Assessment.objects.current_at(instant) if at_an_instant else Assessment.objects.current()
    given = given.filter(worker__among=Given("others"), assessor__among=Given("whole"))
    cranes = CranePlacement.objects.filter(crane__among=Given("cranes"))
    return Together(
        Worker.objects.filter(pk__among=Given("everybody")).values_list("id", "given_name", "family_name"),
        # Decisions name employers only by identifier; explanations never need more than these few.
        Employer.objects.values_list("id", "name"),
        CraneModel.objects.values_list("id", "maker__name", "designation", "crane_class"),
        known(FamilyDeclaration.objects.order_by("id").values_list(*FAMILY, AUTHOR)),
        known(cranes.order_by("id").values_list(*PLACEMENT, AUTHOR)),
        of("whole", Assessment, ASSESSMENT),
        given.order_by("id").values_list(*ASSESSMENT, AUTHOR),
        of("everybody", Certification, CERTIFICATION),
        of("everybody", CertificationStatus, STATUS),
        of("everybody", Instruction, INSTRUCTION),
        of("everybody", Appointment, APPOINTMENT),
        of("everybody", StandDown, STAND_DOWN),
        of("everybody", StandDownSuspension, SUSPENSION),
        of("everybody", LanguageSkill, LANGUAGE),
    )


def _key(kind: str, identifier: int | None) -> str | None:
    return None if identifier is None else f"{kind}:{identifier}"


def _common(kind: str, row: tuple[Any, ...]) -> dict[str, Any]:
    return {
        "id": f"{kind}:{row[0]}",
        "recorded_at": row[1],
        "supersedes": _key(kind, row[2]),
        "withdrawn": row[3],
        "recorded_by": _key("account", row[-1]),
    }


@lru_cache
def zone(name: str) -> ZoneInfo:
    """The named time zone."""
    return ZoneInfo(name)


def _hours(worker_ids: Ids, grounds_of: Ids, known_at: datetime | None) -> list[engine.HoursEntry]:
    asked = {
        "whole": sorted(worker_ids),
        "others": sorted(set(grounds_of) - set(worker_ids)),
        "known_at": known_at,
    }
    found: list[engine.HoursEntry] = []
    with connection.cursor() as cursor:
        cursor.execute(HOURS, asked)
        for (row, *entry), signed in groupby(cursor.fetchall(), key=lambda each: each[3:]):
            signatures = tuple(
                engine.Countersignature(f"worker:{by}", _instant(at), _instant(recorded_at))
                for by, at, recorded_at, *_entry in signed
                if by is not None
            )
            found.append(_hours_entry(signatures, row, *entry))
    return found


def _hours_entry(
    signatures: tuple[engine.Countersignature, ...],
    row: int,
    recorded_at: int,
    supersedes: int | None,
    withdrawn: bool,
    worker: int,
    model: int,
    operation: str,
    start: int,
    end: int,
    employer: int,
    capacity: str,
    configuration: str,
    time_zone: str,
    crane: int | None,
    site: int,
    origin: str,
    document: int | None,
    issuer: str,
    recorded_by: int | None,
) -> engine.HoursEntry:
    return engine.HoursEntry(
        id=f"hours:{row}",
        recorded_at=_instant(recorded_at),
        recorded_by=_key("account", recorded_by),
        supersedes=_key("hours", supersedes),
        withdrawn=withdrawn,
        worker=f"worker:{worker}",
        model=f"model:{model}",
        operation=operation,
        start=_instant(start),
        end=_instant(end),
        employer=f"employer:{employer}",
        capacity=capacity,
        configuration=configuration or None,
        zone=zone(time_zone),
        crane=_key("crane", crane),
        site=f"site:{site}",
        origin=origin,
        document=_key("document", document),
        issuer=issuer or None,
        countersignatures=signatures,
    )


def _assessment(row: Any) -> engine.Assessment:
    return engine.Assessment(
        **_common("assessment", row),
        worker=f"worker:{row[4]}",
        role=row[5],
        model=f"model:{row[6]}",
        operations=frozenset(row[7]),
        assessed_at=row[8],
        outcome=row[9],
        assessor=f"worker:{row[10]}",
        third_party=bool(row[11]),
        employer=_key("employer", row[12]),
        kind=row[13],
        configuration=row[14] or None,
        signed_by_assessor=row[15] is not None and row[15] == row[10],
    )


def _certification(row: Any) -> engine.Certification:
    return engine.Certification(
        **_common("certification", row),
        worker=f"worker:{row[4]}",
        scheme=row[5],
        number=row[6],
        issued=row[7],
        expires=row[8],
        scope=frozenset(row[9]),
        models=frozenset(f"model:{each}" for each in row[10]),
        classes=frozenset(row[11]),
    )


def _status(row: Any) -> engine.CertificationStatus:
    return engine.CertificationStatus(
        **_common("status", row),
        worker=f"worker:{row[4]}",
        certification=f"certification:{row[5]}",
        status=row[6],
        effective_at=row[7],
    )


def _instruction(row: Any) -> engine.Instruction:
    return engine.Instruction(
        **_common("instruction", row),
        worker=f"worker:{row[4]}",
        topic=row[5],
        completed_at=row[6],
        provider=row[7],
        model=_key("model", row[8]),
        after_stand_down=_key("stand_down", row[9]),
    )


def _appointment(row: Any) -> engine.Appointment:
    return engine.Appointment(
        **_common("appointment", row),
        worker=f"worker:{row[4]}",
        duty=row[5],
        start=row[6],
        end=row[7],
        kind=row[8],
        employer=_key("employer", row[9]),
        maker=row[10],
        document=_key("document", row[11]),
        stop_work_authority=row[12],
        model=_key("model", row[13]),
    )


def _stand_down(row: Any) -> engine.StandDown:
    return engine.StandDown(
        **_common("stand_down", row),
        worker=f"worker:{row[4]}",
        start=row[5],
        reason=row[6],
        role=row[7] or None,
        model=_key("model", row[8]),
        only_at=_key("employer", row[9]),
    )


def _suspension(row: Any) -> engine.StandDownSuspension:
    return engine.StandDownSuspension(
        **_common("suspension", row),
        worker=f"worker:{row[4]}",
        stand_down=f"stand_down:{row[5]}",
        start=row[6],
        end=row[7],
    )


def _language(row: Any) -> engine.LanguageSkill:
    return engine.LanguageSkill(**_common("language", row), worker=f"worker:{row[4]}", language=row[5])


def _family(row: Any) -> engine.FamilyDeclaration:
    return engine.FamilyDeclaration(
        **_common("family", row),
        maker=row[4],
        models=frozenset(f"model:{each}" for each in row[5]),
        document=row[6],
        valid_from=row[7],
        valid_until=row[8],
    )


def _placement(row: Any) -> engine.CranePlacement:
    return engine.CranePlacement(
        **_common("placement", row),
        crane=f"crane:{row[4]}",
        model=f"model:{row[5]}",
        site=f"site:{row[6]}",
        start=row[7],
        end=row[8],
    )
