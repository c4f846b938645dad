"""Who records whose assessment: an employer's own assessor their own, an employer a third party's with its paper."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet

from registry.database.errors import RecordRefused, broken, refusals
from registry.database.repeating import repeating
from registry.evidence.models import Appointment, Assessment, AssessmentSignature, Document
from registry.evidence.services import record_assessment
from registry.people.models import Account, Employer, Worker
from registry.people.names import name_key
from registry.people.second_factor import has_second_factor

ASSESSOR_DUTY = "assessor"


def employers_assessed_for(assessor: Worker | int, *, at: datetime) -> QuerySet[Employer]:
    """The employers that have appointed the person as their assessor, at that instant.

    Whether the person is entitled to judge is for the role standard to say,
    when a decision weighs the assessment.
    """
    acts = Appointment.objects.current().filter(
        Q(end__isnull=True) | Q(end__gt=at), worker=assessor, duty=ASSESSOR_DUTY, start__lte=at, employer__isnull=False
    )
    return Employer.objects.filter(pk__in=acts.values("employer")).order_by("name")


@repeating
def record_own_assessment(
    *,
    assessor: Worker,
    employer: Employer,
    drawn: Document | None,
    recorded_at: datetime,
    recorded_by: Account,
    **given: Any,
) -> Assessment:
    """Record an assessment that the signed-in assessor gave for an employer, signed by name or by hand.

    ``given`` is what :func:`registry.evidence.services.record_assessment` takes.
    """
    problems = []
    if recorded_by.worker_id != assessor.pk:
        problems.append(broken("assessor_records_with_their_own_account"))
    elif not has_second_factor(recorded_by):
        problems.append(broken("a_signer_has_a_second_factor"))
    if not employers_assessed_for(assessor, at=given["assessed_at"]).filter(pk=employer.pk).exists():
        problems.append(broken("assessor_was_appointed"))
    if not given.get("signature") and drawn is None:
        problems.append(broken("assessment_is_signed"))
    if given.get("signature") and not _is_name_of(assessor, given["signature"]):
        problems.append(broken("assessment_is_signed_by_its_assessor", name=assessor))
    if problems:
        raise RecordRefused(problems)
    with transaction.atomic():
        assessment = record_assessment(
            assessor=assessor, employer=employer, recorded_at=recorded_at, recorded_by=recorded_by, **given
        )
        if drawn is not None:
            with refusals():
                AssessmentSignature.objects.create(
                    assessment=assessment, image=drawn, recorded_at=recorded_at, recorded_by=recorded_by
                )
    return assessment


def _is_name_of(assessor: Worker, signature: str) -> bool:
    """Initials may stand for the given name, nothing for the family name."""
    return set(name_key("", assessor.family_name).split()) <= set(name_key("", signature).split())


def record_third_partys_assessment(
    *, third_party: str, document: Document | None, recorded_at: datetime, recorded_by: Account, **given: Any
) -> Assessment:
    """Record what a third party's assessor attested on paper; its scan is the proof."""
    problems = []
    if not third_party.strip():
        problems.append(broken("third_party_is_named"))
    if document is None:
        problems.append(broken("third_partys_assessment_has_its_paper"))
    if problems:
        raise RecordRefused(problems)
    return record_assessment(
        third_party=third_party.strip(), document=document, recorded_at=recorded_at, recorded_by=recorded_by, **given
    )
