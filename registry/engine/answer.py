"""The answer of the engine: permitted or refused, requirement by requirement."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from registry.engine.question import Question
from registry.engine.reasons import IN_PART, REASONS
from registry.engine.sentences import Sentence, duration, listed, said_of, say

if TYPE_CHECKING:
    from registry.engine.standard import Source

PERMITTED = "permitted"
REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class NotCounted:
    """Records that did not count, and why; ``detail`` names people where that helps."""

    reason: str
    records: tuple[str, ...]
    detail: str = ""

    @property
    def sentence(self) -> Sentence:
        """The reason in words."""
        reason = say(REASONS[self.reason])
        return say("%(reason)s (%(detail)s)", reason=reason, detail=self.detail) if self.detail else reason


@dataclass(frozen=True, slots=True)
class CountedInPart:
    """Hours that count only up to the standard's share: ``minutes`` on record, of which ``counted_minutes`` count.

    ``reasons`` are keys of :data:`~registry.engine.reasons.IN_PART`, with the ``records`` they are about.
    """

    minutes: int
    counted_minutes: int
    reasons: tuple[str, ...]
    records: tuple[str, ...]

    @property
    def sentence(self) -> Sentence:
        """``155 h signed late, of which 30 h count``."""
        return say(
            "%(amount)s %(reasons)s, of which %(counted)s count",
            amount=duration(self.minutes),
            reasons=listed(say(IN_PART[each]) for each in self.reasons),
            counted=duration(self.counted_minutes),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LeafResult:
    """One requirement's part of the answer.

    ``fails_from`` is the first instant of the window at which it is not met;
    ``needed`` says that the refusal rests on it (an unmet branch beside a met
    one does not).
    The ``*_minutes`` figures are given for hours only, in whole minutes, at the
    worst instant of the window; ``lost_minutes`` are those of counted entries that overlap
    others or lie past the day's limit when the window starts.
    """

    key: str
    kind: str
    sentence: str
    source: Source
    met: bool
    required: str
    found: str
    shortfall: str
    fails_from: datetime | None
    counted: tuple[str, ...]
    not_counted: tuple[NotCounted, ...]
    required_minutes: int | None = None
    found_minutes: int | None = None
    shortfall_minutes: int | None = None
    lost_minutes: int | None = None
    in_part: CountedInPart | None = None
    set_by_employer: bool = False
    needed: bool = False


@dataclass(frozen=True, slots=True)
class RemedyItem:
    """One thing to obtain. ``minutes`` for hours only; ``cost`` as the standard declares it."""

    kind: str
    leaf: str
    sentence: str
    cost: int
    minutes: int | None = None


@dataclass(frozen=True, slots=True)
class Remedy:
    """The cheapest set of things that would turn a refusal into a permission.

    ``items`` is empty and ``obstacle`` says why where nothing a person can
    obtain would help.
    """

    items: tuple[RemedyItem, ...] = ()
    obstacle: str = ""

    @property
    def cost(self) -> int:
        """The declared cost of all items."""
        return sum(each.cost for each in self.items)


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """The engine's answer to one question by one standard version."""

    question: Question
    outcome: str
    standard: str
    standard_version: int
    standard_title: str
    role_title: str
    requirements: tuple[LeafResult, ...]
    holds_until: datetime | None
    fails_from: datetime | None
    remedy: Remedy | None
    objections: tuple[str, ...] = ()
    doubted_signers: frozenset[str] = frozenset()
    """People some of whose signatures did not count, for want of entitlement or as a trainee's.

    Where it is empty, more evidence about those who signed cannot change the answer.
    """

    @property
    def permitted(self) -> bool:
        """Whether the worker may be assigned."""
        return self.outcome == PERMITTED

    def as_json(self) -> dict[str, Any]:
        """The answer as plain JSON data; instants as ISO 8601 in UTC.

        Texts are English. ``said`` beside them says how they were made
        (:data:`~registry.engine.sentences.Said`), so that they can be said in another
        language; the texts of the standard (titles, notes, a requirement's sentence) are
        entries of the catalogue themselves.
        """
        asked = self.question
        return {
            "outcome": self.outcome,
            "question": {
                "worker": asked.worker,
                "role": asked.role,
                "role_title": self.role_title,
                "model": asked.model,
                "configuration": asked.configuration,
                "operation": asked.operation,
                "employer": asked.employer,
                "jurisdiction": asked.jurisdiction,
                "start": _iso(asked.start),
                "end": _iso(asked.end),
                "time_zone": asked.zone.key,
                "working_language": asked.working_language,
                "known_at": _iso(asked.known_at),
            },
            "standard": {
                "id": self.standard,
                "version": self.standard_version,
                "title": self.standard_title,
            },
            "holds_until": _iso(self.holds_until),
            "fails_from": _iso(self.fails_from),
            "objections": [str(each) for each in self.objections],
            "said": {"objections": [said_of(each) for each in self.objections]},
            "requirements": [_leaf_json(each) for each in self.requirements],
            "remedy": _remedy_json(self.remedy),
        }


def _leaf_json(leaf: LeafResult) -> dict[str, Any]:
    found: dict[str, Any] = {
        "key": leaf.key,
        "kind": leaf.kind,
        "sentence": leaf.sentence,
        "source": {
            "id": leaf.source.id,
            "title": leaf.source.title,
            "kind": leaf.source.kind,
            "note": leaf.source.note,
        },
        "met": leaf.met,
        "needed": leaf.needed,
        "required": str(leaf.required),
        "found": str(leaf.found),
        "shortfall": str(leaf.shortfall),
        "said": {
            "required": said_of(leaf.required),
            "found": said_of(leaf.found),
            "shortfall": said_of(leaf.shortfall),
        },
        "fails_from": _iso(leaf.fails_from),
        "set_by_employer": leaf.set_by_employer,
        "counted": list(leaf.counted),
        "not_counted": [_not_counted_json(each) for each in leaf.not_counted],
    }
    if leaf.required_minutes is not None:
        found |= {
            "required_minutes": leaf.required_minutes,
            "found_minutes": leaf.found_minutes,
            "shortfall_minutes": leaf.shortfall_minutes,
            "lost_minutes": leaf.lost_minutes,
            "in_part": _in_part_json(leaf.in_part),
        }
    return found


def _in_part_json(part: CountedInPart | None) -> dict[str, Any] | None:
    if part is None:
        return None
    sentence = part.sentence
    return {
        "minutes": part.minutes,
        "counted_minutes": part.counted_minutes,
        "reasons": list(part.reasons),
        "records": list(part.records),
        "sentence": str(sentence),
        "said": said_of(sentence),
    }


def _not_counted_json(group: NotCounted) -> dict[str, Any]:
    sentence = group.sentence
    return {
        "reason": group.reason,
        "sentence": str(sentence),
        "said": said_of(sentence),
        "records": list(group.records),
    }


def _remedy_json(remedy: Remedy | None) -> dict[str, Any] | None:
    if remedy is None:
        return None
    return {
        "cost": remedy.cost,
        "obstacle": str(remedy.obstacle),
        "said": {"obstacle": said_of(remedy.obstacle)},
        "items": [
            {
                "kind": each.kind,
                "leaf": each.leaf,
                "sentence": str(each.sentence),
                "said": said_of(each.sentence),
                "cost": each.cost,
                "minutes": each.minutes,
            }
            for each in remedy.items
        ],
    }


def _iso(instant: datetime | None) -> str | None:
    return None if instant is None else instant.isoformat().replace("+00:00", "Z")
