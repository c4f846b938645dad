"""What is on record about a job's crew, read once and asked of any instant."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime

from registry.crews.models import Assignment, AssignmentEvent, Job, Slot
from registry.people.models import LanguageSkill
from registry.standards.queries import StandardHistory, history_of


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewOnRecord:
    """Everything ever recorded of a job's crew, oldest first, and of the same people's work on other jobs.

    ``events`` are what became of each assignment of either, by its number; ``skills`` are all
    versions of what these people speak.
    """

    job: Job
    slots: tuple[Slot, ...]
    assignments: tuple[Assignment, ...]
    elsewhere: tuple[Assignment, ...]
    events: dict[int, list[AssignmentEvent]]
    skills: tuple[LanguageSkill, ...]
    history: StandardHistory

    def spoken(self, known_at: datetime) -> list[tuple[int, str]]:
        """Which worker speaks which language, by what was recorded by then (``current_at`` in memory)."""
        known = [each for each in self.skills if each.recorded_at <= known_at]
        replaced = {each.supersedes_id for each in known}
        return [(each.worker_id, each.language) for each in known if not each.withdrawn and each.pk not in replaced]


def crew_on_record(job_id: int) -> CrewOnRecord:
    """Read it; the number of statements is fixed."""
    job = Job.objects.select_related("site", "crane__model__maker", "employer", "superseded_by").get(pk=job_id)
    slots = tuple(job.slots.order_by("id"))
    for slot in slots:
        slot.job = job
    assignments = tuple(Assignment.objects.filter(slot__job=job).select_related("worker").order_by("id"))
    workers = {each.worker_id for each in assignments}
    elsewhere = (
        Assignment.objects.filter(worker__in=workers)
        .exclude(slot__job=job)
        .select_related("worker", "slot__job__site", "slot__job__crane__model__maker")
        .order_by("id")
    )
    events: dict[int, list[AssignmentEvent]] = defaultdict(list)
    for event in AssignmentEvent.objects.filter(assignment__worker__in=workers).order_by("id"):
        events[event.assignment_id].append(event)
    return CrewOnRecord(
        job=job,
        slots=slots,
        assignments=assignments,
        elsewhere=tuple(elsewhere),
        events=events,
        skills=tuple(LanguageSkill.objects.filter(worker__in=workers).order_by("id")),
        history=history_of(job.standard_key, job.employer_id),
    )
