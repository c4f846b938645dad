"""What is asked of the engine."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from registry.engine.calendar import INSTANT, local_date
from registry.engine.intervals import FOREVER
from registry.engine.sentences import Sentence, day_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """May this worker fill this role in this operation on this model, throughout the window?

    ``[start, end)`` are aware instants in UTC; ``zone`` is the site's time
    zone, by which calendar days are told. ``known_at`` decides by what the
    register knew at that instant (``None``: the latest).
    """

    worker: str
    role: str
    model: str
    operation: str
    employer: str
    jurisdiction: str
    start: datetime
    end: datetime
    zone: ZoneInfo
    configuration: str | None = None
    working_language: str | None = None
    known_at: datetime | None = None

    @property
    def last_day(self) -> Sentence:
        """The window's last day at the site."""
        return day_of(local_date(self.end - INSTANT, self.zone))


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The part of a question a requirement looks at, about any person at any time.

    ``[since, until)`` is the time that matters. Of the question's own worker
    it is the window; of somebody who signed, all time.
    ``signing`` marks the second case, in which no site's working language is asked for.
    """

    person: str
    role: str
    model: str
    operation: str
    employer: str | None
    zone: ZoneInfo
    since: datetime
    until: datetime = FOREVER
    configuration: str | None = None
    working_language: str | None = None
    signing: bool = False
