"""Which of a worker's hours count, judged a batch at a time wherever one look decides a whole batch.

Otherwise its entries are judged one by one, as :meth:`Signatures.judge_hours` does. Property tests hold
the one to the other.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import chain, compress

from registry.engine.calendar import MINUTE
from registry.engine.fast.batches import Batch, HoursGroup, Worked
from registry.engine.hours_profile import CountedEntry, HoursProfile, HoursRule, pieces_that_count
from registry.engine.intervals import NEVER
from registry.engine.minutes import Increment, Piece, days_of, increments, pieces_of
from registry.engine.signing import Signatures, stood_there


class Batched:
    """Which of a worker's entries count, and which in full, as whole batches were judged."""

    def __init__(self, worked: Worked) -> None:
        self.worked = worked
        self.counts = bytearray(len(worked.ids))
        self.in_full = bytearray(len(worked.ids))
        self.minutes_in_part = 0

    def add(self, batch: Batch, *, in_full: bool) -> None:
        """Count every entry of the batch."""
        for place in batch.places:
            self.counts[place] = 1
            self.in_full[place] = in_full
        if not in_full:
            self.minutes_in_part += sum(map(self.worked.minutes.__getitem__, batch.places))

    def last_days(self) -> Iterable[tuple[str, datetime, date]]:
        """``(entry, available at, last local day)`` of the entries that count."""
        worked = self.worked
        return compress(zip(worked.ids, worked.available, worked.last_days, strict=True), self.counts)

    def increments_with(
        self, singly: list[Piece], chosen: bytearray, day_cap: int
    ) -> tuple[list[Increment], list[str]]:
        """:func:`increments` of the chosen entries and of pieces judged singly.

        Only crowded days need to be looked at piece by piece.
        """
        worked = self.worked
        of_pieces = list(map(chosen.__getitem__, worked.places))
        added = list(compress(worked.increments, of_pieces))
        crowded = worked.crowded_days(day_cap)
        if not crowded and not singly:
            return added, []
        crowded = crowded.union(piece[4] for piece in singly)
        touching = {
            place
            for place, (_, day, _) in zip(compress(worked.places, of_pieces), added, strict=True)
            if day in crowded
        }
        pieces = [
            piece
            for place in touching
            for piece in pieces_of(worked.entries[place], worked.available[place])
            if piece[4] in crowded
        ]
        more, lost = increments([*pieces, *singly], day_cap)
        return sorted([*(each for each in added if each[1] not in crowded), *more]), lost

    def on_record(self) -> Iterator[Increment]:
        """What each entry that counts would add to its days by itself."""
        chosen = map(self.counts.__getitem__, self.worked.places)
        return compress(self.worked.increments, chosen)


@dataclass(slots=True)
class HoursThatCount:
    """A worker's entries that count as far as their signatures go; of a batch, whether in full.

    What does not count, or in part only, is noted in ``not_counted`` and ``in_part`` by the reason.
    """

    worked: Worked
    signatures: Signatures
    not_counted: dict[str, list[str]]
    in_part: dict[str, list[str]]
    batches: list[tuple[Batch, bool]] = field(default_factory=list)
    singly: list[CountedEntry] = field(default_factory=list)

    def judge(self, group: HoursGroup, may_start: datetime) -> None:
        """Add the group's entries that begin at ``may_start`` or later and count."""
        singly = list(group.signed_by_several)
        for batch in group.batches:
            if batch.start < may_start or not _are_alike(batch, self.signatures):
                singly += batch.entries
                continue
            verdict = self.signatures.judge_hours(batch.entries[0])
            if isinstance(verdict, str):
                self.not_counted[verdict] += [entry.id for entry in batch.entries]
            else:
                self.batches.append((batch, verdict.in_full_from is not None))
                if verdict.in_part_for:
                    self.in_part[verdict.in_part_for] += [entry.id for entry in batch.entries]
        for entry in singly:
            if entry.start < may_start:
                self.not_counted["before_what_must_come_first"].append(entry.id)
                continue
            verdict = self.signatures.judge_hours(entry)
            if isinstance(verdict, str):
                self.not_counted[verdict].append(entry.id)
            else:
                self.singly.append(verdict)
                if verdict.in_part_for:
                    self.in_part[verdict.in_part_for].append(entry.id)

    def on_models(self, models: frozenset[str]) -> HoursOnModels:
        """Those of them on crane models that count."""
        batched = Batched(self.worked)
        for batch, in_full in self.batches:
            if batch.entries[0].model in models:
                batched.add(batch, in_full=in_full)
        return HoursOnModels(batched, [counted for counted in self.singly if counted.entry.model in models])

    def ids_on_others(self, models: frozenset[str]) -> list[str]:
        """Identifiers of the entries on none of ``models``."""
        entries = [counted.entry for counted in self.singly if counted.entry.model not in models]
        for batch, _ in self.batches:
            if batch.entries[0].model not in models:
                entries += batch.entries
        return [entry.id for entry in entries]


@dataclass(slots=True)
class HoursOnModels:
    """Entries that count, whether judged singly or by the batch."""

    batched: Batched
    singly: list[CountedEntry]

    def profile(self, rule: HoursRule) -> HoursProfile:
        """Their total over time."""
        return profile_of(self.singly, rule, self.batched)

    def last_days(self) -> Iterator[tuple[str, datetime, date]]:
        """``(entry, available at, last local day)`` of each."""
        singly = ((entry.id, at, days_of(entry)[-1][2]) for entry, at, _, _ in self.singly)
        return chain(self.batched.last_days(), singly)

    def on_record(self) -> Iterator[Increment]:
        """What each of them would add to its days by itself."""
        singly = (
            (available_at, day, (end - start) // MINUTE)
            for counted in self.singly
            for available_at, start, end, _, day in pieces_of(counted.entry, counted.available_at)
        )
        return chain(self.batched.on_record(), singly)


def profile_of(singly: Iterable[CountedEntry], rule: HoursRule, batched: Batched) -> HoursProfile:
    """:meth:`HoursProfile.of` the entries judged singly, and of those judged by the batch."""
    pieces, in_full, minutes_in_part = pieces_that_count(singly)
    every, lost = batched.increments_with(pieces, batched.counts, rule.day_cap)
    if minutes_in_part + batched.minutes_in_part <= rule.part_minutes:
        return HoursProfile(every, every, lost, rule)
    return HoursProfile(every, batched.increments_with(in_full, batched.in_full, rule.day_cap)[0], lost, rule)


def _are_alike(batch: Batch, signatures: Signatures) -> bool:
    """Whether what is said of one entry of the batch can be said of all."""
    one = batch.entries[0]
    if batch.signer is not None and batch.signer not in (one.worker, signatures.worker):
        entitled = signatures.entitled_countersigner(batch.signer, one)
        standing = entitled.interval_at(batch.start)
        throughout = standing is not None and batch.end < standing[1]
        if not throughout and entitled != NEVER:
            return False
    if signatures.standard.plausibility.crane_not_on_site == "in_full":
        return True
    placed = signatures.evidence.placements_of.get((one.crane, one.site, one.model), [])
    return not placed or any(stood_there(placement, batch.start, batch.end) for placement in placed)
