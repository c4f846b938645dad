"""The kinds of records about a worker."""

from __future__ import annotations

from typing import Any

from registry.database.records import Record
from registry.evidence.models import (
    Appointment,
    Assessment,
    Certification,
    CertificationStatus,
    HoursEntry,
    Instruction,
    StandDown,
)
from registry.people.models import Employment, LanguageSkill

RECORDS: dict[str, type[Any]] = {
    each._meta.model_name or "": each
    for each in (
        HoursEntry,
        Assessment,
        Certification,
        CertificationStatus,
        Instruction,
        Appointment,
        StandDown,
        Employment,
        LanguageSkill,
    )
}
"""Every kind, by its model's name in lower case."""

WITH_DOCUMENT: tuple[type[Any], ...] = (
    HoursEntry,
    Assessment,
    Certification,
    CertificationStatus,
    Instruction,
    Appointment,
)
"""The kinds that a document can be attached to."""


def kind_of(record: Record) -> str:
    """The record's kind, as :data:`RECORDS` names it."""
    return record._meta.model_name or ""
