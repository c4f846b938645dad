"""The crew sheet of a job: who fills which place, until when their documents hold, and the crew rules."""

from __future__ import annotations

from datetime import datetime

from django.utils import translation

from registry.crews.described import readable_reason
from registry.crews.models import Job
from registry.crews.queries import crew_of
from registry.language.said import authored
from registry.transcripts.check import Check
from registry.transcripts.printing import render


def print_crew_sheet(
    job: Job, *, printed_at: datetime, language: str = "en", paper: str = "A4", check: Check | None = None
) -> bytes:
    """The crew as it stands, as a tagged PDF.

    Raises :class:`registry.engine.bad_input.BadInput` where no version of
    the job's standard is in force.
    """
    with translation.override(language):
        crew = crew_of(job)
        standard_title = authored(crew.standard.title)
        names = {f"worker:{each.worker_id}": str(each.worker) for place in crew.slots for each in place.assignments}
        for place in crew.slots:
            for each in place.assignments:
                each.reason = readable_reason(each.reason, names)
    return render(
        template="crew_sheet.html",
        context={
            "job": job,
            "crew": crew,
            "standard_title": standard_title,
            "zone": job.site.time_zone,
            "unmet": [each for each in crew.findings if not each.met],
            "met": [each for each in crew.findings if each.met],
            "printed_at": printed_at,
            "check": check,
        },
        language=language,
        created_at=printed_at,
        paper=paper,
    )
