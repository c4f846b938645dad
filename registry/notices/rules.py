"""What a jurisdiction wants to be told ahead of work on a crane. Pure: no database, no clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from registry.engine.calendar import local_date
from registry.engine.intervals import Timeline

PARTS = (
    "parties",
    "address",
    "scope",
    "start",
    "duration",
    "make",
    "type",
    "model",
    "serial_number",
    "configuration",
    "procedures",
    "supervisors",
)
"""What a notice can say, in the order in which it says it."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing the notice must say, with the clause that asks for it."""

    part: str
    sentence: str
    clause: str


@dataclass(frozen=True, slots=True)
class Duty:
    """Something to be done with the notice, where ``asked``; with its clause."""

    asked: bool
    clause: str
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NoticeRule:
    """What one jurisdiction asks, in one version; ``calendar_days`` before the first day of the activity."""

    key: str
    version: int
    title: str
    note: str
    jurisdiction: str
    in_force_from: date
    in_force_until: date | None
    source: str
    source_status: str
    operations: frozenset[str]
    operations_clause: str
    calendar_days: int
    deadline_clause: str
    deadline_sentence: str
    asks_for: tuple[Asked, ...]
    changes: Duty
    posting: Duty

    def holds_for(self, jurisdiction: str, operation: str, day: date) -> bool:
        """Whether it holds for an operation that starts in the jurisdiction on the site's ``day``."""
        until = self.in_force_until or date.max
        in_force = self.in_force_from <= day <= until
        return jurisdiction == self.jurisdiction and operation in self.operations and in_force

    def asked(self, part: str) -> Asked | None:
        """What it asks about a part of :data:`PARTS`, if anything."""
        return next((each for each in self.asks_for if each.part == part), None)


@dataclass(frozen=True, slots=True)
class Deadline:
    """The last day on which the notice is in time, and how many calendar days are left on the site's ``today``."""

    last_day: date
    today: date

    @property
    def days_left(self) -> int:
        """0 on the last day itself; below 0 once it is over."""
        return (self.last_day - self.today).days

    @property
    def over(self) -> bool:
        """Whether the last day is over."""
        return self.days_left < 0


def deadline_of(rule: NoticeRule, *, start: datetime, at: datetime, zone: ZoneInfo) -> Deadline:
    """The deadline for an activity from ``start``, as it stands at ``at``; aware instants, the site's own days."""
    return Deadline(local_date(start, zone) - timedelta(days=rule.calendar_days), local_date(at, zone))


@dataclass(frozen=True, slots=True)
class Missing:
    """A part that the rule asks for and the content lacks; ``why`` is a key of ``words.MISSING``."""

    asked: Asked
    why: str

    @property
    def part(self) -> str:
        """The part of :data:`PARTS`."""
        return self.asked.part


def missing_parts(content: Mapping[str, Any], rule: NoticeRule | None) -> tuple[Missing, ...]:
    """What the rule asks for and the content (``notice.schema.json``) does not say; nothing where no rule is known."""
    if rule is None:
        return ()
    found = ((each, _lacking(content, each.part)) for each in rule.asks_for)
    return tuple(Missing(asked, why) for asked, why in found if why is not None)


def _lacking(content: Mapping[str, Any], part: str) -> str | None:
    crane = content["crane"]
    match part:
        case "parties":
            # The notice is the employer's: without the employer among them the parties are not complete.
            return None if any(each["role"] == "employer" for each in content["parties"]) else "parties"
        case "address":
            return None if content["site"]["address"] else "address"
        case "scope":
            return None if content["work"]["scope"] else "scope"
        case "start" | "duration":
            return None
        case "procedures":
            return None if content["procedures"] else "procedures"
        case "supervisors":
            return _lacking_supervisor(content)
        case _:
            return None if crane[part] else part


def _lacking_supervisor(content: Mapping[str, Any]) -> str | None:
    standing = {each["standing"] for each in content["supervisors"]}
    if not standing:
        return "supervisors"
    if "held" in standing:
        return "supervisor_held"
    on_the_job = Timeline.of((_instant(each["from"]), _instant(each["until"])) for each in content["supervisors"])
    start, end = _instant(content["work"]["start"]), _instant(content["work"]["end"])
    return None if on_the_job.holds_throughout(start, end) else "supervisor_for_part"


def _instant(written: str) -> datetime:
    return datetime.fromisoformat(written)
