"""The report of an inspection: what the register says about a job, printed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils import translation

from registry.crews.described import readable_reason
from registry.crews.models import AssignmentEvent, Decision, Job, Slot
from registry.crews.queries import CrewView, crew_of
from registry.engine.bad_input import BadInput
from registry.inspection.bundle_records import decisions_of, plans_of, records_of
from registry.inspection.models import InspectionFile, Look
from registry.inspection.pointers import RuleWithPointers, second_look, workers_of_job
from registry.inspection.trace import Seen, told
from registry.language.said import authored
from registry.language.words import in_words
from registry.ledger.kinds import title_of
from registry.ledger.models import Checkpoint
from registry.people.models import Account
from registry.transcripts.printing import render
from registry.transcripts.signing import sign


@dataclass(frozen=True, slots=True)
class DecisionLine:
    """A decision on the job: what was asked, when, and what was found wanting."""

    decision: Decision
    place: Slot | None
    unmet: list[str]

    @property
    def role(self) -> str:
        """The role asked for, in words."""
        return in_words(self.decision.role)


@dataclass(frozen=True, slots=True)
class EventLine:
    """What became of an assignment, with its reason for people."""

    event: AssignmentEvent
    reason: str


@dataclass(frozen=True, slots=True)
class JobFile:
    """What a file on a job shows; ``crew`` is ``None`` where no standard is in force for it."""

    file: InspectionFile
    job: Job
    zone: ZoneInfo
    plans: list[Job]
    crew: CrewView | None
    decisions: list[DecisionLine]
    events: list[EventLine]
    pointers: list[RuleWithPointers]
    looks: list[Seen]
    records: list[tuple[str, int]]


def job_file(file: InspectionFile, *, reader: Account | None) -> JobFile:
    """Everything the file's page tells its reader, and (``None``) the printed report."""
    job = Job.objects.select_related("site", "crane__model__maker", "employer").get(pk=file.job_id)
    plans = plans_of(job)
    places = {
        decision: slot
        for slot in Slot.objects.filter(job__in=plans)
        .filter(Q(refusals__isnull=False) | Q(assignments__isnull=False))
        .prefetch_related("refusals", "assignments__events")
        .distinct()
        for decision in (
            *(each.decision_id for each in slot.refusals.all()),
            *(each.decision_id for each in slot.assignments.all()),
            *(event.decision_id for each in slot.assignments.all() for event in each.events.all()),
        )
        if decision is not None
    }
    lines = []
    for decision in decisions_of(plans).select_related("worker", "decided_by").distinct():
        answer = decision.answer if decision.statement else {"requirements": []}
        unmet = [authored(each["sentence"]) for each in answer["requirements"] if each["needed"] and not each["met"]]
        lines.append(DecisionLine(decision, places.get(decision.pk), unmet if not decision.permitted else []))
    looks = Look.objects.filter(job__in=plans).select_related("recorded_by__employer").order_by("recorded_at", "id")
    return JobFile(
        file=file,
        job=job,
        zone=ZoneInfo(job.site.time_zone),
        plans=list(Job.objects.filter(pk__in=plans).order_by("recorded_at", "id")),
        crew=_crew(job),
        decisions=lines,
        events=_events(plans),
        pointers=[each for each in second_look(workers=workers_of_job(job.pk)) if each.pointers],
        looks=[told(each, to=reader) for each in looks],
        records=[(title_of(table), len(numbers)) for table, numbers in records_of(file).items() if numbers],
    )


def _events(plans: list[int]) -> list[EventLine]:
    events = list(
        AssignmentEvent.objects.filter(assignment__slot__job__in=plans)
        .select_related("assignment__worker")
        .order_by("recorded_at", "id")
    )
    names = {f"worker:{each.assignment.worker_id}": str(each.assignment.worker) for each in events}
    return [EventLine(each, readable_reason(each.reason, names)) for each in events]


def _crew(job: Job) -> CrewView | None:
    try:
        return crew_of(job)
    except BadInput:
        return None


def print_report(
    *, file: InspectionFile, checkpoint: Checkpoint, at: datetime, language: str, paper: str = "A4"
) -> bytes:
    """The report as a signed PDF."""
    with translation.override(language):
        shown = job_file(file, reader=None)
    printed = render(
        template="inspection_report.html",
        context={"shown": shown, "zone": shown.job.site.time_zone, "checkpoint": checkpoint},
        language=language,
        created_at=at,
        paper=paper,
    )
    return sign(printed, signed_at=at)
