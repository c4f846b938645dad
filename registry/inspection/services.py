"""Opening a file on a job."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from registry.crews.access import NotAllowed
from registry.crews.models import Job
from registry.database.errors import refusals
from registry.database.repeating import repeating
from registry.inspection.models import InspectionFile
from registry.people.models import Account


def require_inspector(account: Account) -> None:
    """Raise :class:`NotAllowed` unless the account is an inspector's."""
    if account.kind != "inspector":
        raise NotAllowed(_("This is the inspector's work."))


@repeating
def open_file(*, job: Job, reference: str, purpose: str, opened_at: datetime, opened_by: Account) -> InspectionFile:
    """Open a file on a job under a reference of the authority's own.

    Raises :class:`NotAllowed` and :class:`~registry.database.errors.RecordRefused`.
    """
    require_inspector(opened_by)
    with refusals(), transaction.atomic():
        return InspectionFile.objects.create(
            job=job, reference=reference.strip(), purpose=purpose.strip(), recorded_at=opened_at, recorded_by=opened_by
        )
