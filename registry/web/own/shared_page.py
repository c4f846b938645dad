"""What a shared link shows: the record as in the training transcript, laid out for a screen."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from registry.people.models import Worker
from registry.transcripts.hours_chart import SCREEN, hours_chart
from registry.transcripts.transcript import Hours, Transcript, transcript_of

MOST_ENTRIES = 50


@dataclass(frozen=True, slots=True)
class SharedPage:
    """The transcript, its chart of hours by year, and the latest entries; every entry is in the PDF."""

    transcript: Transcript
    chart: str
    latest: list[Hours]


def shared_page_of(worker: Worker, *, now: datetime) -> SharedPage:
    """The worker's whole record at ``now``."""
    transcript = transcript_of(worker, known_at=now)
    latest = sorted(transcript.hours, key=lambda each: (each.start, each.record), reverse=True)[:MOST_ENTRIES]
    return SharedPage(transcript, hours_chart(transcript.minutes_by_model_and_year, layout=SCREEN), latest)
