"""Which records belong to a job: everything its decisions looked at, and everything that came of them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import Model, Q, QuerySet

from registry.crews.models import Assignment, AssignmentEvent, Decision, DecisionDependency, Job, Refusal, Slot
from registry.equipment.models import Crane, CraneModel, CranePlacement, FamilyDeclaration, Maker, Site
from registry.evidence.kinds import RECORDS, WITH_DOCUMENT
from registry.evidence.models import (
    Assessment,
    AssessmentSignature,
    CorrectionAnswer,
    CorrectionRequest,
    Countersignature,
    Document,
    EntryObjection,
    HoursEntry,
    ObjectionAnswer,
)
from registry.evidence.queries import signer_closure
from registry.inspection.models import InspectionFile, Look
from registry.ledger.models import SigningKey
from registry.notices.models import AttachedProcedure, JobParty, NamedSupervisor, NoticeParticulars, SentNotice
from registry.people.models import Employer, Employment, Worker
from registry.standards.models import EmployerFigure, StandardVersion


def plans_of(job: Job) -> list[int]:
    """The job with the plans it replaces and those that replace it."""
    plans = {job.pk}
    while True:
        more = set(
            Job.objects.filter(Q(superseded_by__in=plans) | Q(supersedes__in=plans)).values_list("pk", flat=True)
        )
        if more <= plans:
            return sorted(plans)
        plans |= more


def decisions_of(plans: Iterable[int]) -> QuerySet[Decision]:
    """Every decision that filled, confirmed or refused a place on these plans, in order."""
    places = Q(assignment__slot__job__in=plans) | Q(refusal__slot__job__in=plans)
    confirmed = Q(assignment_event__assignment__slot__job__in=plans)
    return Decision.objects.filter(places | confirmed).order_by("decided_at", "id")


def workers_of(decisions: Iterable[int]) -> set[int]:
    """Whom the decisions are about, and everybody whose signature stood, or stands, behind their records."""
    about = set(Decision.objects.filter(pk__in=decisions).values_list("worker_id", flat=True))
    looked_at = DecisionDependency.objects.filter(decision__in=decisions, subject__startswith="worker:")
    workers = about | {int(each.partition(":")[2]) for each in looked_at.values_list("subject", flat=True)}
    return workers | signer_closure(*about)


def records_of(file: InspectionFile) -> dict[str, list[int]]:
    """The records that belong to the file's job: table to numbers in order."""
    plans = plans_of(file.job)
    decisions = sorted(set(decisions_of(plans).values_list("pk", flat=True)))
    workers = sorted(workers_of(decisions))
    jobs = Job.objects.filter(pk__in=plans)
    hours = HoursEntry.objects.filter(worker__in=workers)
    of_workers: list[QuerySet[Model]] = [each._default_manager.filter(worker__in=workers) for each in RECORDS.values()]
    cranes, employers, sites = _each_of(jobs, "crane_id", "employer_id", "site_id")
    worked = _each_of(hours, "crane_id", "employer_id", "site_id", "model_id")
    cranes, employers, sites = cranes | worked[0], employers | worked[1], sites | worked[2]
    employers |= set(Employment.objects.filter(worker__in=workers).values_list("employer_id", flat=True))
    models = {
        *Crane.objects.filter(pk__in=cranes).values_list("model_id", flat=True),
        *worked[3],
        *Assessment.objects.filter(worker__in=workers).values_list("model_id", flat=True),
    }
    makers = set(CraneModel.objects.filter(pk__in=models).values_list("maker_id", flat=True))
    documents = {
        number
        for each in WITH_DOCUMENT
        for number in each._default_manager.filter(worker__in=workers).values_list("document_id", flat=True)
    } - {None}
    drawn = AssessmentSignature.objects.filter(assessment__worker__in=workers)
    documents |= set(drawn.values_list("image_id", flat=True))
    procedures = AttachedProcedure.objects.filter(job__in=plans)
    documents |= set(procedures.values_list("document_id", flat=True))
    notices = SentNotice.objects.filter(job__in=plans)
    objections = EntryObjection.objects.filter(entry__worker__in=workers)
    requests = CorrectionRequest.objects.filter(worker__in=workers)
    standards = set(jobs.values_list("standard_key", flat=True))
    assignments = Assignment.objects.filter(slot__job__in=plans)
    sets: list[QuerySet[Model]] = [
        Employer.objects.filter(pk__in=employers),
        Worker.objects.filter(pk__in=workers),
        Maker.objects.filter(pk__in=makers),
        CraneModel.objects.filter(maker__in=makers),
        FamilyDeclaration.objects.filter(maker__in=makers),
        Site.objects.filter(pk__in=sites),
        Crane.objects.filter(pk__in=cranes),
        CranePlacement.objects.filter(crane__in=cranes),
        Document.objects.filter(pk__in=documents),
        *of_workers,
        drawn,
        Countersignature.objects.filter(entry__worker__in=workers),
        objections,
        ObjectionAnswer.objects.filter(objection__in=objections),
        requests,
        CorrectionAnswer.objects.filter(request__in=requests),
        StandardVersion.objects.filter(key__in=standards),
        EmployerFigure.objects.filter(employer__in=employers, standard_key__in=standards),
        jobs,
        Slot.objects.filter(job__in=plans),
        Decision.objects.filter(pk__in=decisions),
        Refusal.objects.filter(slot__job__in=plans),
        assignments,
        AssignmentEvent.objects.filter(assignment__in=assignments),
        JobParty.objects.filter(job__in=plans),
        NoticeParticulars.objects.filter(job__in=plans),
        procedures,
        notices,
        NamedSupervisor.objects.filter(notice__in=notices),
        InspectionFile.objects.filter(job__in=plans),
        Look.objects.filter(job__in=plans),
        SigningKey.objects.all(),
    ]
    return {each.model._meta.db_table: sorted(each.values_list("pk", flat=True)) for each in sets}


def _each_of(records: QuerySet[Any], *columns: str) -> list[set[int]]:
    """Of each column the numbers in it: one statement."""
    rows = list(records.values_list(*columns).distinct())
    return [{row[place] for row in rows} - {None} for place in range(len(columns))]
