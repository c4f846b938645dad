"""Reading what belongs to a job's notice, over the job and the plans it replaced."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from django.db import connection
from django.db.models import Prefetch

from registry.crews.models import Job
from registry.evidence.models import Document
from registry.notices.models import AttachedProcedure, JobParty, NoticeParticulars, SentNotice

WITHOUT_CONTENT = Prefetch("document", Document.objects.defer("content"))


@dataclass(frozen=True, slots=True)
class JobRecords:
    """The parties, particulars and procedures of a job as they stand."""

    parties: list[JobParty]
    particulars: NoticeParticulars | None
    procedures: list[AttachedProcedure]


@dataclass(frozen=True, slots=True)
class Sent:
    """A notice that was sent; ``withdrawn`` where its recording was a mistake."""

    notice: SentNotice
    number: int
    withdrawn: bool

    @property
    def content(self) -> dict[str, Any]:
        """What it said."""
        said: dict[str, Any] = json.loads(self.notice.content)
        return said


def plans_of(job: Job) -> list[int]:
    """The job and the plans it replaced, in one statement."""
    with connection.cursor() as cursor:
        cursor.execute(
            "WITH RECURSIVE plans (id) AS (SELECT %s::bigint UNION SELECT job.supersedes_id FROM crews_job job"
            " JOIN plans ON plans.id = job.id WHERE job.supersedes_id IS NOT NULL) SELECT id FROM plans ORDER BY id",
            [job.pk],
        )
        return [plan for (plan,) in cursor.fetchall()]


def records_of(job: Job, plans: list[int]) -> JobRecords:
    """What is recorded for the job's notice: four statements."""
    parties = list(JobParty.objects.current().filter(job__in=plans).order_by("id"))
    parties.sort(key=lambda each: (JobParty.ROLES.index(each.role), each.name, each.pk))
    particulars = NoticeParticulars.objects.current().filter(job__in=plans).order_by("-id").first()
    procedures = AttachedProcedure.objects.current().filter(job__in=plans).prefetch_related(WITHOUT_CONTENT)
    return JobRecords(parties, particulars, list(procedures.order_by("title", "id")))


def history_of(plans: list[int]) -> list[Sent]:
    """Every notice that was recorded as sent, the latest first."""
    rows = list(SentNotice.objects.filter(job__in=plans).select_related("recorded_by").order_by("id"))
    mistaken = {each.supersedes_id for each in rows if each.withdrawn}
    sent = [each for each in rows if not each.withdrawn]
    return [Sent(each, number, each.pk in mistaken) for number, each in enumerate(sent, start=1)][::-1]


def latest_sent(history: list[Sent]) -> Sent | None:
    """The notice that the authority has, if one was sent."""
    return next((each for each in history if not each.withdrawn), None)
