"""Bringing in practical assessments."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from registry.engine.calendar import MINUTE, end_of_day, start_of_day
from registry.evidence.importing.columns import Field
from registry.evidence.importing.kind import (
    MODEL_FIELDS,
    OPERATION_SPELLINGS,
    ROLE_SPELLINGS,
    WORKER_FIELDS,
    OneByOne,
)
from registry.evidence.importing.rows import MappedRow
from registry.evidence.models import Assessment
from registry.evidence.services import (
    record_assessment,
)

OUTCOME_SPELLINGS = {
    "pass": "pass",
    "passed": "pass",
    "competent": "pass",
    "reussi": "pass",
    "not yet competent": "not_yet_competent",
    "fail": "not_yet_competent",
    "failed": "not_yet_competent",
    "pas encore competent": "not_yet_competent",
    "echec": "not_yet_competent",
}


class Assessments(OneByOne):
    """Practical assessments, by the employer or, where one is named, by a third party."""

    name = "assessments"
    fields = (
        *WORKER_FIELDS,
        *MODEL_FIELDS,
        Field("role", ("assessed as", "rôle", "fonction"), True),
        Field("operations", ("operation", "opération", "opérations"), True),
        Field("date", ("assessed on", "date of assessment", "évalué le", "date de l'évaluation"), True),
        Field("time", ("assessed at", "heure")),
        Field("site", ("job site", "chantier")),
        Field("outcome", ("result", "résultat"), True),
        Field("assessor", ("assessed by", "évaluateur", "évalué par"), True),
        Field("assessor_date_of_birth", ("assessor born", "évaluateur né le")),
        Field("third_party", ("third party", "assessed for", "organisme", "tiers")),
    )
    signatures = frozenset({"assessor", "assessor_date_of_birth"})
    shown_at = {"assessed_at": "date"}

    def write_row(self, row: MappedRow) -> bool:
        worker, model, assessor = self._worker(row, "worker"), self._model(row), self._worker(row, "assessor")
        for each in ("role", "operations", "outcome"):
            row.required(each)
        role = row.choice("role", ROLE_SPELLINGS)
        operations = row.choices("operations", OPERATION_SPELLINGS)
        outcome = row.choice("outcome", OUTCOME_SPELLINGS)
        configuration, third_party = self._configuration(row, model), row.text("third_party")
        assessed_at = self._assessed_at(row)
        if row.problems or not (worker and model and assessor and assessed_at):
            return False
        employer = None if third_party else self.context.employer
        there = Assessment.objects.filter(
            worker=worker,
            role=role,
            model=model,
            assessed_at=assessed_at,
            assessor=assessor,
            configuration=configuration,
            supersedes__isnull=True,
        ).first()
        if there is not None:
            values = (there.outcome, sorted(there.operations), there.third_party, there.employer_id)
            if values != (outcome, sorted(operations), third_party, employer and employer.pk):
                row.refuse("outcome", "assessment_is_brought_in_once")
            return False
        record_assessment(
            worker=worker,
            role=role,
            model=model,
            configuration=configuration,
            operations=operations,
            assessed_at=assessed_at,
            outcome=outcome,
            assessor=assessor,
            third_party=third_party,
            employer=employer,
            document=self.context.options.document,
            recorded_at=self.context.recorded_at,
            recorded_by=self.context.recorded_by,
        )
        return True

    def _assessed_at(self, row: MappedRow) -> datetime | None:
        row.required("date")
        day, clock, site = row.day("date"), row.clock("time"), self._site(row)
        named = site.time_zone if site else self.context.options.time_zone
        if day is None:
            return None
        if named is None:
            if not row.has("site"):
                row.refuse("site", "time_zone_is_known")
            return None
        zone = ZoneInfo(named)
        if clock is not None:
            return row.instant("time", day, clock, zone)
        if start_of_day(day, zone) <= self.context.recorded_at < end_of_day(day, zone):
            row.refuse("time", "assessment_of_today_gives_its_time")
        return end_of_day(day, zone) - MINUTE
