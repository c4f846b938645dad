"""The crew rules of a job by what the register knew at an instant."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime

from registry.crews.models import Assignment
from registry.crews.queries import Stay, crew_from, standard_of_job
from registry.engine.crew import CrewFinding, crew_findings
from registry.inspection.crew_on_record import CrewOnRecord
from registry.language.said import finding_in_language


def crew_rules_as_known(crew: CrewOnRecord, *, known_at: datetime) -> tuple[CrewFinding, ...]:
    """Every crew rule in the language in force, and whether the crew met it throughout the job.

    Raises :class:`~registry.engine.bad_input.BadInput` where no version of the
    job's role standard was known to be in force.
    """
    standard = standard_of_job(crew.history, crew.job, known_at)
    here = list(_stays(crew, crew.assignments, known_at))
    workers = {each.worker.pk for each in here}
    others = (each for each in crew.elsewhere if each.worker_id in workers)
    found = crew_from(crew.job, crew.slots, here, _stays(crew, others, known_at), crew.spoken(known_at))
    return tuple(map(finding_in_language, crew_findings(standard, found)))


def _stays(crew: CrewOnRecord, assignments: Iterable[Assignment], known_at: datetime) -> Iterator[Stay]:
    """What is left of each assignment after everything that was recorded of it by then."""
    slots = {each.pk: each for each in crew.slots}
    for each in assignments:
        if each.assigned_at > known_at:
            continue
        end, held = each.end, False
        for event in crew.events.get(each.pk, ()):
            if event.recorded_at > known_at:
                continue
            if event.kind == "ended":
                end = min(end, event.happened_at)
            else:
                held = event.kind == "held"
        if end > each.start:
            slot = slots.get(each.slot_id) or each.slot
            yield Stay(
                assignment=each.pk,
                worker=each.worker,
                slot=each.slot_id,
                job=slot.job,
                paired_with=each.paired_with_id,
                start=each.start,
                end=end,
                held=held,
            )
