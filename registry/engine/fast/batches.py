"""The hours of one worker, arranged once for all questions about them.

Requirements tell entries apart by model, operation, capacity and configuration
(a *group*); judging a signature also by employer, time zone, signer, crane and
what is late (a *batch*). The entries of a batch differ only in their times, so most
often one look decides them all.

An entry's *place* is its rank by identifier.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import chain
from operator import attrgetter

from registry.engine.calendar import MINUTE
from registry.engine.evidence import Countersignature, Evidence, HoursEntry
from registry.engine.minutes import Increment, days_of

GroupKey = tuple[str, str, str, str | None]
"""``(model, operation, capacity, configuration)``."""


@dataclass(slots=True)
class Batch:
    """Entries that differ only in their times, each with at most one signature to judge.

    ``signer`` is ``None`` where no signature is to be judged, as for imports and
    mere claims. Entries and signatures all lie in ``[start, end]``.
    """

    signer: str | None
    start: datetime
    end: datetime
    entries: list[HoursEntry] = field(default_factory=list)
    places: list[int] = field(default_factory=list)


@dataclass(slots=True)
class HoursGroup:
    """Entries that no requirement tells apart.

    Those signed by several are judged one by one: when they become available
    depends on whose signature counts.
    """

    batches: list[Batch] = field(default_factory=list)
    signed_by_several: list[HoursEntry] = field(default_factory=list)
    ids: list[str] = field(default_factory=list)


class Worked:
    """One worker's entries, by place: ``entries``, ``minutes``, ``available`` and ``last_days``.

    ``increments`` has, in order of availability, what each entry adds to each of
    its days unless that day is crowded; ``places`` says of which entry each is.
    """

    def __init__(self, entries: Iterable[HoursEntry], late_after: timedelta, recorded_late_after: timedelta) -> None:
        self.entries = sorted(entries, key=attrgetter("id"))
        self.ids = [entry.id for entry in self.entries]
        self.available: list[datetime] = []
        self.groups = self._group(late_after, recorded_late_after)
        self.increments: list[Increment] = []
        self.places: list[int] = []
        self.last_days = [date.min] * len(self.entries)
        self.minutes = [0] * len(self.entries)
        self._minutes_on: dict[date, int] = defaultdict(int)
        self._overlapping = _days_with_overlaps(self.entries)
        self._crowded: dict[int, frozenset[date]] = {}
        self._lay_out()

    def _group(self, late_after: timedelta, recorded_late_after: timedelta) -> dict[GroupKey, HoursGroup]:
        groups: dict[GroupKey, HoursGroup] = defaultdict(HoursGroup)
        batches: dict[tuple[object, ...], Batch] = {}
        for place, entry in enumerate(self.entries):
            start, end = entry.start, entry.end
            available_at = end
            signer, late = None, False
            signatures = _to_judge(entry)
            if signatures:
                signature = signatures[0]
                signer, signed_at = signature.by, signature.at
                late = signature.recorded_at - end > late_after
                if signed_at > end:
                    available_at = signed_at
                elif signed_at < start:
                    start = signed_at
            self.available.append(available_at)
            if len(signatures) > 1:
                groups[_group_of(entry)].signed_by_several.append(entry)
                continue
            recorded_late = entry.recorded_at - end > recorded_late_after
            alike = _kind(entry), entry.document is None, entry.issuer is None, signer, late, recorded_late
            batch = batches.get(alike)
            if batch is None:
                batch = batches[alike] = Batch(signer, start, available_at)
                groups[_group_of(entry)].batches.append(batch)
            elif start < batch.start:
                batch.start = start
            if available_at > batch.end:
                batch.end = available_at
            batch.entries.append(entry)
            batch.places.append(place)
        for group in groups.values():
            together = chain(group.signed_by_several, *(batch.entries for batch in group.batches))
            group.ids = [entry.id for entry in together]
        return groups

    def _lay_out(self) -> None:
        """Fill in what each entry adds to its days."""
        minutes_on = self._minutes_on
        for place in sorted(range(len(self.entries)), key=self.available.__getitem__):
            available_at = self.available[place]
            for start, end, day in days_of(self.entries[place]):
                minutes = (end - start) // MINUTE
                self.increments.append((available_at, day, minutes))
                self.places.append(place)
                self.minutes[place] += minutes
                self.last_days[place] = day
                minutes_on[day] += minutes
                if not minutes:
                    # Seconds make up a minute only together with others.
                    self._overlapping.add(day)

    def crowded_days(self, day_cap: int) -> frozenset[date]:
        """Days of which some minutes may not count, because of an overlap or the cap.

        On every other day an entry adds all its minutes, whichever of the
        worker's entries count.
        """
        found = self._crowded.get(day_cap)
        if found is None:
            over = [day for day, minutes in self._minutes_on.items() if minutes > day_cap]
            found = self._crowded[day_cap] = frozenset(self._overlapping.union(over))
        return found


def worked_by(evidence: Evidence, worker: str, late_after: timedelta, recorded_late_after: timedelta) -> Worked:
    """The worker's hours, arranged at the first question and kept with the evidence."""
    key = worker, late_after, recorded_late_after
    found = evidence.arranged_hours.get(key)
    if found is None:
        entries = evidence.hours_of.get(worker, [])
        found = evidence.arranged_hours[key] = Worked(entries, late_after, recorded_late_after)
    return found


def _to_judge(entry: HoursEntry) -> tuple[Countersignature, ...]:
    """The signatures on which it depends whether the entry counts."""
    if entry.origin == "import" or (entry.origin == "paper" and entry.document is None):
        return ()
    return entry.countersignatures


def _group_of(entry: HoursEntry) -> GroupKey:
    return entry.model, entry.operation, entry.capacity, entry.configuration


_kind = attrgetter("model", "operation", "capacity", "configuration", "employer", "zone", "crane", "site", "origin")


def _days_with_overlaps(entries: Iterable[HoursEntry]) -> set[date]:
    """Days of entries that overlap another."""
    found: set[date] = set()
    last: HoursEntry | None = None
    for entry in sorted(entries, key=attrgetter("start")):
        if last is not None and entry.start < last.end:
            # An earlier entry that overlaps this one, but is not the last to end, overlaps
            # that last one too and was found with it.
            found.update(day for each in (last, entry) for _, _, day in days_of(each))
        if last is None or entry.end > last.end:
            last = entry
    return found
