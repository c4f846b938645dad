"""What is recorded about workers and until when each of it must be kept."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from registry.crews.models import AssignmentState, Decision
from registry.evidence.models import (
    Appointment,
    Assessment,
    Certification,
    CertificationStatus,
    CorrectionRequest,
    EntryObjection,
    HoursEntry,
    Instruction,
    StandDown,
    StandDownSuspension,
)
from registry.language import amounts
from registry.ledger.kinds import title_of
from registry.people.models import Employment, LanguageSkill, Worker
from registry.retention.periods import ANCHORS, DEFAULT, has_run_out, rule_for


@dataclass(frozen=True, slots=True)
class KeptRecord:
    """A record (``kind`` is its table) and the last day on which it must be kept.

    ``keep_until`` is ``None`` for as long as its end is open. ``why`` is the rule in words.
    """

    kind: str
    record: int
    keep_until: date | None
    why: str

    def must_be_kept(self, at: datetime) -> bool:
        """Whether its period has not run out at ``at``."""
        return self.keep_until is None or not has_run_out(self.keep_until, at)

    def __str__(self) -> str:
        name = f"{title_of(self.kind)} {self.record}"
        if self.keep_until is None:
            return _("%(record)s: kept while open (%(why)s)") % {"record": name, "why": self.why}
        return _("%(record)s: kept through %(day)s (%(why)s)") % {
            "record": name,
            "day": amounts.day(self.keep_until),
            "why": self.why,
        }


def what_is_kept(worker: Worker, at: datetime, *, using: str = "default") -> list[KeptRecord]:
    """The records of a worker whose period has not run out at ``at``, in a fixed number of statements."""
    return [each for each in periods_of([worker.pk], using=using)[worker.pk] if each.must_be_kept(at)]


def periods_of(workers: Sequence[int], *, using: str = "default") -> dict[int, list[KeptRecord]]:
    """Every record with a period of its own, superseded ones too, by worker; a fixed number of statements."""
    found: dict[int, list[KeptRecord]] = {worker: [] for worker in workers}
    for worker, record in _Reading(workers, using).all():
        found[worker].append(record)
    return found


def in_assignments(workers: Sequence[int], at: datetime, *, using: str = "default") -> list[AssignmentState]:
    """Assignments, held ones too, that are not over at ``at``."""
    states = AssignmentState.objects.using(using).filter(worker__in=workers, during__endswith__gt=at)
    return list(states.exclude(standing="ended").order_by("assignment_id"))


class _Reading:
    """One reading of the tables for some workers."""

    def __init__(self, workers: Sequence[int], using: str) -> None:
        self.workers, self.using = workers, using
        self.employed_until: dict[int, date | None] = {}

    def all(self) -> Iterator[tuple[int, KeptRecord]]:
        # Employment first: records whose end is open are counted from its last day.
        yield from self._employments()
        yield from self._languages()
        yield from self._hours()
        yield from self._assessments()
        yield from self._certifications()
        yield from self._instruction()
        yield from self._appointments()
        yield from self._stand_downs()
        yield from self._assignments()
        yield from self._decisions()
        yield from self._requests()

    def _rows(self, model: Any, *columns: str, worker: str = "worker") -> Iterable[tuple[Any, ...]]:
        found = model.objects.using(self.using).filter(**{f"{worker}__in": self.workers})
        return found.order_by("pk").values_list(f"{worker}_id", "pk", *columns)

    def _employments(self) -> Iterator[tuple[int, KeptRecord]]:
        rows = list(
            self._rows(Employment, "start", "end", "employer__jurisdiction", "withdrawn", "superseded_by__recorded_at")
        )
        last: dict[int, list[date | None]] = defaultdict(list)
        for worker, _record, _start, end, _jurisdiction, withdrawn, superseded in rows:
            if not withdrawn and superseded is None:
                last[worker].append(end)
        for worker, ends in last.items():
            closed = [each for each in ends if each is not None]
            self.employed_until[worker] = max(closed) if len(closed) == len(ends) else None
        for worker, record, start, end, jurisdiction, withdrawn, superseded in rows:
            if end is None and superseded is not None:
                end = max(start, _day(superseded))
            elif end is None and withdrawn:
                end = start
            yield worker, _kept(Employment, "employment", record, end, jurisdiction)

    def _floored(self, worker: int, day: date) -> date | None:
        """The anchor of a record whose own end is open: the last day of employment where that is later."""
        if worker not in self.employed_until:
            return day
        last = self.employed_until[worker]
        return None if last is None else max(day, last)

    def _languages(self) -> Iterator[tuple[int, KeptRecord]]:
        for worker, record, recorded in self._rows(LanguageSkill, "recorded_at"):
            yield worker, _kept(LanguageSkill, "language", record, self._floored(worker, _day(recorded)))

    def _hours(self) -> Iterator[tuple[int, KeptRecord]]:
        for worker, record, end, zone, jurisdiction in self._rows(
            HoursEntry, "end", "site__time_zone", "site__jurisdiction"
        ):
            yield worker, _kept(HoursEntry, "hours", record, _day(end, zone), jurisdiction)

    def _assessments(self) -> Iterator[tuple[int, KeptRecord]]:
        for worker, record, at, jurisdiction in self._rows(Assessment, "assessed_at", "employer__jurisdiction"):
            yield worker, _kept(Assessment, "assessment", record, _day(at), jurisdiction)

    def _certifications(self) -> Iterator[tuple[int, KeptRecord]]:
        for worker, record, issued, expires in self._rows(Certification, "issued", "expires"):
            yield worker, _kept(Certification, "certification", record, expires or self._floored(worker, issued))
        for worker, record, effective, expires in self._rows(
            CertificationStatus, "effective_at", "certification__expires"
        ):
            day = _day(effective)
            anchor = max(day, expires) if expires else self._floored(worker, day)
            yield worker, _kept(CertificationStatus, "certification", record, anchor)

    def _instruction(self) -> Iterator[tuple[int, KeptRecord]]:
        for worker, record, completed in self._rows(Instruction, "completed_at"):
            yield worker, _kept(Instruction, "instruction", record, _day(completed))

    def _appointments(self) -> Iterator[tuple[int, KeptRecord]]:
        for worker, record, start, end, jurisdiction in self._rows(
            Appointment, "start", "end", "employer__jurisdiction"
        ):
            anchor = _day(end) if end else self._floored(worker, _day(start))
            yield worker, _kept(Appointment, "appointment", record, anchor, jurisdiction)

    def _stand_downs(self) -> Iterator[tuple[int, KeptRecord]]:
        for worker, record, start in self._rows(StandDown, "start"):
            yield worker, _kept(StandDown, "stand_down", record, self._floored(worker, _day(start)))
        for worker, record, start in self._rows(StandDownSuspension, "stand_down__start"):
            yield worker, _kept(StandDownSuspension, "stand_down", record, self._floored(worker, _day(start)))

    def _assignments(self) -> Iterator[tuple[int, KeptRecord]]:
        for worker, record, during, zone, jurisdiction in self._rows(
            AssignmentState, "during", "job__site__time_zone", "job__site__jurisdiction"
        ):
            yield worker, _kept("crews_assignment", "assignment", record, _day(during.upper, zone), jurisdiction)

    def _decisions(self) -> Iterator[tuple[int, KeptRecord]]:
        for worker, record, end, decided, jurisdiction in self._rows(Decision, "end", "decided_at", "jurisdiction"):
            yield worker, _kept(Decision, "decision", record, _day(max(end, decided)), jurisdiction)

    def _requests(self) -> Iterator[tuple[int, KeptRecord]]:
        for worker, record, recorded, jurisdiction in self._rows(
            CorrectionRequest, "recorded_at", "employer__jurisdiction"
        ):
            yield worker, _kept(CorrectionRequest, "request", record, _day(recorded), jurisdiction)
        for worker, record, recorded, jurisdiction in self._rows(
            EntryObjection, "recorded_at", "entry__employer__jurisdiction", worker="by"
        ):
            yield worker, _kept(EntryObjection, "request", record, _day(recorded), jurisdiction)


def _day(instant: datetime, zone: str = "UTC") -> date:
    return instant.astimezone(UTC if zone == "UTC" else ZoneInfo(zone)).date()


def _kept(table: Any, kind: str, record: int, anchor: date | None, jurisdiction: str | None = None) -> KeptRecord:
    rule = rule_for(kind, jurisdiction or "")
    where = _("by default") if rule.jurisdiction == DEFAULT else rule.jurisdiction
    why = _("%(years)d years after %(anchor)s, %(where)s") % {
        "years": rule.years,
        "anchor": ANCHORS[kind],
        "where": where,
    }
    name = table if isinstance(table, str) else table._meta.db_table
    return KeptRecord(name, record, None if anchor is None else rule.keep_until(anchor), why)
