"""The crew rules of a job by what the register knew at an instant."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime

from django.db.models import QuerySet

from registry.crews.models import Assignment, AssignmentEvent, Job
from registry.crews.queries import Stay, crew_from, standard_of
from registry.engine.crew import CrewFinding, crew_findings
from registry.language.said import finding_in_language
from registry.people.models import LanguageSkill


def crew_rules_as_known(job: Job, *, known_at: datetime) -> tuple[CrewFinding, ...]:
    """Every crew rule in the language in force, and whether the crew met it throughout the job.

    ``job`` comes with its site. Raises :class:`~registry.engine.bad_input.BadInput`
    where no version of its role standard was known to be in force.
    """
    standard = standard_of(job, known_at)
    here = list(_stays(Assignment.objects.filter(slot__job=job), known_at))
    workers = {each.worker.pk for each in here}
    others = Assignment.objects.filter(worker__in=workers).exclude(slot__job=job)
    elsewhere = list(_stays(others, known_at))
    crew = crew_from(job, job.slots.order_by("id"), here, elsewhere, LanguageSkill.objects.current_at(known_at))
    return tuple(map(finding_in_language, crew_findings(standard, crew)))


def _stays(assignments: QuerySet[Assignment], known_at: datetime) -> Iterator[Stay]:
    """What is left of each assignment after everything that was recorded of it by then."""
    known = list(
        assignments.filter(assigned_at__lte=known_at)
        .select_related("worker", "slot__job__site", "slot__job__crane__model__maker")
        .order_by("id")
    )
    events: dict[int, list[AssignmentEvent]] = defaultdict(list)
    for event in AssignmentEvent.objects.filter(assignment__in=known, recorded_at__lte=known_at).order_by("id"):
        events[event.assignment_id].append(event)
    for each in known:
        end, held = each.end, False
        for event in events[each.pk]:
            if event.kind == "ended":
                end = min(end, event.happened_at)
            else:
                held = event.kind == "held"
        if end > each.start:
            yield Stay(
                assignment=each.pk,
                worker=each.worker,
                slot=each.slot_id,
                job=each.slot.job,
                paired_with=each.paired_with_id,
                start=each.start,
                end=end,
                held=held,
            )
