"""What is told of one requirement: what it asks for, what was found, what is missing."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

from registry.engine.calendar import DAY
from registry.engine.intervals import FOREVER, Timeline
from registry.engine.sentences import moment, say, say_many, sentence

if TYPE_CHECKING:
    from registry.engine.question import Question


@dataclass(frozen=True, slots=True)
class Account:
    """One requirement in words; ``figures`` are those fields of :class:`~registry.engine.answer.LeafResult`."""

    required: str
    found: str
    shortfall: str
    figures: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Holds:
    """How a requirement that holds over a time is said to hold."""

    until: str
    only_from: str
    for_ever: str


IN_FORCE = Holds(
    sentence("in force until %(instant)s"),
    sentence("in force only from %(instant)s"),
    sentence("in force, no end"),
)


def account_over_time(holds: Holds, timeline: Timeline, question: Question, fails_from: datetime | None) -> Account:
    """The account of what either is in force or not, and until when."""
    zone = question.zone
    required = say(holds.until, instant=moment(question.end, zone))
    standing = timeline.interval_at(question.start)
    if standing is None:
        later = [start for start, _ in timeline.intervals if start > question.start]
        if later:
            begins = say(holds.only_from, instant=moment(later[0], zone))
            return Account(required, begins, say("not there when the window starts"))
        return Account(required, say("none that counts"), say("missing"))
    if standing[1] == FOREVER:
        return Account(required, say(holds.for_ever), "")
    found = say(holds.until, instant=moment(standing[1], zone))
    if fails_from is None:
        return Account(required, found, "")
    days = -((question.end - standing[1]) // -DAY)
    ends = say_many(
        "ends %(count)s day before the window does", "ends %(count)s days before the window does", count=days
    )
    return Account(required, found, ends)
