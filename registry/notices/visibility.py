"""Who sees a job's notice: the job's employer and inspectors. It names people and how to reach them."""

from __future__ import annotations

from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _

from registry.crews.access import NotAllowed, visible_jobs
from registry.crews.models import Job
from registry.people.models import Account


def visible_job(account: Account, job_id: int) -> Job:
    """The job whose notice the account may see.

    Raises ``Http404`` for a job it may not see at all, and :class:`NotAllowed`
    for a worker, who sees the job but not the notice.
    """
    job = get_object_or_404(visible_jobs(account), pk=job_id)
    if account.kind == "worker":
        raise NotAllowed(_("The notice is for the employer and the inspector."))
    return job
