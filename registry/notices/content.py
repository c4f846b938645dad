"""What a job's notice says, drawn from the register: one JSON document (``notice.schema.json``)."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q

from registry.crews.models import AssignmentState, Job
from registry.engine.calendar import INSTANT, local_date, whole_minutes
from registry.engine.intervals import Timeline
from registry.evidence.models import Appointment, Assessment, Countersignature, HoursEntry
from registry.ledger.canonical import canonical
from registry.ledger.queries import inclusion_proofs
from registry.notices.comparison import Change
from registry.notices.models import JobParty
from registry.notices.queries import JobRecords, Sent
from registry.notices.rules import NoticeRule
from registry.transcripts.transcript import certifications_of

SCHEMA = Path(__file__).with_name("notice.schema.json")
FORMAT, FORMAT_VERSION = "work-notice", 1
ROLE = "erection_supervisor"


def canonical_text(content: dict[str, Any]) -> str:
    """The content as RFC 8785 canonical JSON, as it is stored and handed out."""
    return canonical(content).decode()


def sha256_of(text: str) -> str:
    """The SHA-256 of the canonical text in UTF-8, in hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


def fingerprint(content: dict[str, Any]) -> str:
    """Equal for two contents that say the same, whenever they were drawn up and whatever the log has grown to."""
    same = {key: value for key, value in content.items() if key != "drawn_up_at"}
    same["supervisors"] = [
        {**each, "decision": each["decision"] and {**each["decision"], "log_proof": None}}
        for each in content["supervisors"]
    ]
    return sha256_of(canonical_text(same))


def content_of(job: Job, records: JobRecords, rule: NoticeRule | None, *, at: datetime) -> dict[str, Any]:
    """What the notice says at ``at``; ``job`` comes with its site, employer, and crane with model and maker.

    The number of statements grows with the supervisors of the job alone.
    """
    zone = ZoneInfo(job.site.time_zone)
    particulars = records.particulars
    crane = job.crane
    address = (particulars and particulars.site_address) or job.site.address
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "drawn_up_at": _iso(at),
        "employer": job.employer.name,
        "job": f"job:{job.pk}",
        "rule": None if rule is None else {"key": rule.key, "version": rule.version, "title": rule.title},
        "parties": [_party(each) for each in records.parties],
        "site": {
            "name": job.site.name,
            "address": address,
            "jurisdiction": job.site.jurisdiction,
            "time_zone": job.site.time_zone,
        },
        "work": {
            "operation": job.operation,
            "scope": (particulars and particulars.scope) or job.description,
            "start": _iso(job.start),
            "end": _iso(job.end),
            "first_day": local_date(job.start, zone).isoformat(),
            # The end itself is the first instant without work: what ends at midnight ends the day before.
            "last_day": local_date(job.end - INSTANT, zone).isoformat(),
        },
        "crane": {
            "make": crane.model.maker.name,
            "type": crane.model.crane_class,
            "model": crane.model.designation,
            "serial_number": crane.serial_number,
            "configuration": (particulars and particulars.configuration) or job.configuration,
        },
        "procedures": [
            {
                "record": f"procedure:{each.pk}",
                "title": each.title,
                "file": each.document.name,
                "media_type": each.document.media_type,
                "size": each.document.size,
                "sha256": each.document.sha256,
            }
            for each in records.procedures
        ],
        "supervisors": _supervisors(job, at),
    }


def changed_notice(sent: Sent | None, changes: Iterable[Change]) -> dict[str, Any] | None:
    """Which notice this one changes, and in which parts; ``None`` where none was sent or nothing has changed.

    It says no names: the parts themselves do, and from them a lawful erasure takes them away.
    """
    parts = list(dict.fromkeys(each.part for each in changes))
    if sent is None or not parts:
        return None
    return {"notice": sent.number, "sent_at": _iso(sent.notice.sent_at), "parts": parts}


def _party(party: JobParty) -> dict[str, str]:
    return {
        "role": party.role,
        "name": party.name,
        "contact_person": party.contact_person,
        "phone": party.phone,
        "email": party.email,
        "address": party.address,
    }


def _supervisors(job: Job, at: datetime) -> list[dict[str, Any]]:
    """Everybody who is, or is held, in a supervisor's place of the job, with their qualifications."""
    states = list(
        AssignmentState.objects.filter(job=job, slot__role=ROLE)
        .exclude(standing="ended")
        .select_related("worker", "decision__standard")
        .order_by("during", "assignment_id")
    )
    workers = sorted({each.worker_id for each in states})
    minutes = _minutes_on_model(workers, job)
    assessments = _assessments(workers, job)
    appointments = _appointments(workers, job)
    proofs = inclusion_proofs("crews_decision", sorted(each.decision_id for each in states)) if states else {}
    certificates = {each.worker_id: certifications_of(each.worker, known_at=at) for each in states}
    found = []
    for each in states:
        decision, answer = each.decision, each.decision.answer
        proof = proofs.get(decision.pk)
        found.append(
            {
                "worker": {
                    "record": f"worker:{each.worker_id}",
                    "name": str(each.worker),
                    "number": each.worker.number,
                },
                "title": answer["question"]["role_title"],
                "standing": "held" if each.standing == "held" else "stands",
                "from": _iso(each.during.lower),
                "until": _iso(each.during.upper),
                "certificates": [
                    {
                        "record": one.record,
                        "scheme": one.scheme,
                        "number": one.certificate_number,
                        "issuer": one.issuer,
                        "issued": one.issued.isoformat(),
                        "expires": one.expires.isoformat() if one.expires else None,
                        "status": one.status,
                    }
                    for one in certificates[each.worker_id]
                    if one.current
                ],
                "hours": minutes[each.worker_id],
                "assessment": assessments.get(each.worker_id),
                "appointment": appointments.get(each.worker_id),
                "decision": {
                    "record": f"decision:{decision.pk}",
                    "outcome": decision.outcome,
                    "decided_at": _iso(decision.decided_at),
                    "holds_until": None if decision.holds_until is None else _iso(decision.holds_until),
                    "standard": {"title": decision.standard.title, "version": decision.standard.version},
                    "log_proof": None if proof is None else proof.as_json(),
                },
            }
        )
    return found


def _minutes_on_model(workers: Sequence[int], job: Job) -> dict[int, dict[str, int]]:
    """Countersigned whole minutes on the crane's model, and of these in the job's operation; overlaps count once."""
    signed = Countersignature.objects.filter(entry=OuterRef("pk"))
    entries = HoursEntry.objects.current().filter(Exists(signed), worker__in=workers, model=job.crane.model_id)
    worked: dict[int, list[tuple[datetime, datetime, str]]] = defaultdict(list)
    for worker, start, end, operation in entries.values_list("worker_id", "start", "end", "operation"):
        worked[worker].append((start, end, operation))
    return {
        worker: {
            "minutes_on_model": _length((start, end) for start, end, _operation in worked[worker]),
            "minutes_in_operation": _length(
                (start, end) for start, end, operation in worked[worker] if operation == job.operation
            ),
            "entries": len(worked[worker]),
        }
        for worker in workers
    }


def _length(intervals: Iterable[tuple[datetime, datetime]]) -> int:
    return sum(whole_minutes(start, end) for start, end in Timeline.of(intervals).intervals)


def _assessments(workers: Sequence[int], job: Job) -> dict[int, dict[str, Any]]:
    """The latest practical assessment of each as supervisor on the model, which governs."""
    given = Assessment.objects.current().filter(worker__in=workers, role=ROLE, model=job.crane.model_id)
    latest = given.order_by("worker_id", "-assessed_at", "-id").distinct("worker_id")
    return {
        each.worker_id: {
            "record": f"assessment:{each.pk}",
            "assessed_at": _iso(each.assessed_at),
            "outcome": each.outcome,
            "operations": sorted(each.operations),
            "assessor": str(each.assessor),
            "on_behalf_of": each.third_party or (each.employer.name if each.employer else ""),
        }
        for each in latest.select_related("assessor", "employer")
    }


def _appointments(workers: Sequence[int], job: Job) -> dict[int, dict[str, Any]]:
    """The employer's latest appointment of each as supervisor that covers the job's first moment."""
    acts = Appointment.objects.current().filter(
        Q(end__isnull=True) | Q(end__gt=job.start), worker__in=workers, duty=ROLE, employer=job.employer_id
    )
    latest = acts.filter(start__lte=job.start).order_by("worker_id", "-start", "-id").distinct("worker_id")
    return {
        each.worker_id: {
            "record": f"appointment:{each.pk}",
            "from": _iso(each.start),
            "until": None if each.end is None else _iso(each.end),
            "appointed_by": each.appointed_by,
            "stop_work_authority": each.stop_work_authority,
        }
        for each in latest
    }


def _iso(instant: datetime) -> str:
    return instant.astimezone(UTC).isoformat().replace("+00:00", "Z")
