"""Recording what belongs to a job's notice, and that it was sent.

Every function raises :class:`registry.database.errors.RecordRefused`.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from django.db import transaction

from registry.crews.models import Job
from registry.database.errors import Problem, RecordRefused, broken, refusals
from registry.database.repeating import repeating
from registry.evidence.models import Document
from registry.language.amounts import instant
from registry.notices.content import canonical_text
from registry.notices.models import (
    AttachedProcedure,
    JobParty,
    JobRecord,
    NamedSupervisor,
    NoticeParticulars,
    SentNotice,
)
from registry.notices.packet import Packet, packet_of
from registry.notices.queries import plans_of
from registry.notices.words import missing_in_words
from registry.people.models import Account

AnyRecord = TypeVar("AnyRecord", bound=JobRecord)


@repeating
def record_party(
    *,
    job: Job,
    role: str,
    name: str,
    recorded_at: datetime,
    recorded_by: Account | None,
    contact_person: str = "",
    phone: str = "",
    email: str = "",
    address: str = "",
    supersedes: JobParty | None = None,
) -> JobParty:
    """Record a party, who can be reached by ``phone`` or ``email``; ``role`` is one of ``JobParty.ROLES``."""
    with refusals(), transaction.atomic():
        return JobParty.objects.create(
            job=job,
            role=role,
            name=name,
            contact_person=contact_person,
            phone=phone,
            email=email,
            address=address,
            supersedes=supersedes,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


@repeating
def record_particulars(
    *,
    job: Job,
    recorded_at: datetime,
    recorded_by: Account | None,
    site_address: str = "",
    scope: str = "",
    configuration: str = "",
) -> NoticeParticulars:
    """Record the particulars in place of those before; a blank one leaves what the site and the plan say."""
    with refusals(), transaction.atomic():
        before = NoticeParticulars.objects.current().filter(job__in=plans_of(job)).order_by("-id").first()
        return NoticeParticulars.objects.create(
            job=job,
            site_address=site_address,
            scope=scope,
            configuration=configuration,
            supersedes=before,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


@repeating
def attach_procedure(
    *,
    job: Job,
    title: str,
    document: Document,
    recorded_at: datetime,
    recorded_by: Account | None,
    supersedes: AttachedProcedure | None = None,
) -> AttachedProcedure:
    """Attach a document that was kept already as a work procedure of the job."""
    with refusals(), transaction.atomic():
        return AttachedProcedure.objects.create(
            job=job,
            title=title,
            document=document,
            supersedes=supersedes,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


@repeating
def withdraw(record: AnyRecord, *, job: Job, recorded_at: datetime, recorded_by: Account | None) -> AnyRecord:
    """Take a record back: it was a mistake, or holds no longer. Of a notice this says that it was never sent."""
    same: dict[str, Any] = {
        each.name: getattr(record, each.name)
        for each in record._meta.concrete_fields
        if each.name not in ("id", "job", "supersedes", "withdrawn", "recorded_at", "recorded_by")
    }
    with refusals(), transaction.atomic():
        model: type[Any] = type(record)
        withdrawn: AnyRecord = model.objects.create(
            **same,
            job=job,
            supersedes=record,
            withdrawn=True,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )
        return withdrawn


@repeating
def record_sent(
    *,
    job: Job,
    seen: str,
    how: str,
    sent_to: str,
    sent_at: datetime,
    recorded_at: datetime,
    recorded_by: Account | None,
) -> SentNotice:
    """Record that the employer has sent the notice as it stands; ``how`` is one of ``SentNotice.WAYS``.

    ``seen`` is the packet's fingerprint as it was shown to whoever records this:
    a packet that has changed since is refused, and so is one that lacks a part
    the rule asks for.
    """
    with refusals(), transaction.atomic():
        packet = packet_of(job, at=recorded_at)
        plans = plans_of(job)
        problems = _problems(packet, seen) or _sent_before_planned(job, plans, sent_at)
        if problems:
            raise RecordRefused(problems)
        notice = SentNotice.objects.create(
            job=job,
            rule_key="" if packet.rule is None else packet.rule.key,
            rule_version=None if packet.rule is None else packet.rule.version,
            content=packet.text,
            sha256=packet.sha256,
            sent_at=sent_at,
            how=how,
            sent_to=sent_to,
            # The one before, or the record that took it back.
            supersedes=SentNotice.objects.filter(job__in=plans).order_by("-id").first(),
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )
        for worker, said in _by_worker(packet.content).items():
            NamedSupervisor.objects.create(
                notice=notice, worker_id=worker, content=canonical_text({"supervisor": said}), recorded_at=recorded_at
            )
        return notice


def _problems(packet: Packet, seen: str) -> list[Problem]:
    if packet.fingerprint != seen:
        return [broken("the_packet_is_as_it_was_shown")]
    missing = [missing_in_words(each) for each in packet.missing]
    return [broken("notice_says_what_the_rule_asks_for", what=what, remedy=remedy) for what, remedy in missing]


def _sent_before_planned(job: Job, plans: list[int], sent_at: datetime) -> list[Problem]:
    """Why nothing can have been sent by then; a form tells time in whole minutes."""
    planned_at = Job.objects.get(pk=plans[0]).recorded_at.replace(second=0, microsecond=0)
    if sent_at >= planned_at:
        return []
    first = instant(planned_at, ZoneInfo(job.site.time_zone))
    return [broken("notice_is_sent_after_its_job_was_planned", instant=first)]


def _by_worker(content: dict[str, Any]) -> dict[int, list[dict[str, Any]]]:
    """What is said about each supervisor; one who is on the job twice is named once."""
    found: dict[int, list[dict[str, Any]]] = {}
    for each in content["supervisors"]:
        found.setdefault(int(each["worker"]["record"].partition(":")[2]), []).append(each)
    return found
