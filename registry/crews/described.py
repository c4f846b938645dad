"""Stored decisions and holds described for people: what pages and printed documents both say."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Model, Q
from django.utils.translation import gettext as _

from registry.crews.models import Decision, Slot
from registry.database.readers import as_the_register
from registry.engine.calendar import whole_minutes
from registry.engine.sentences import sentence
from registry.evidence.models import Appointment, Assessment, Certification, HoursEntry, Instruction, StandDown
from registry.language.amounts import day, duration, instant
from registry.language.said import authored, in_language, required_in_language, spoken
from registry.language.words import in_words, language_name
from registry.people.models import LanguageSkill

MOST_TOLD = 100
"""So many records of a group are put into words; somebody's hours may be thousands."""

_SLOTS = Slot.objects.select_related("job__site")


@dataclass(frozen=True, slots=True)
class RecordGroup:
    """Records that counted alike, or that did not for one reason; ``records`` are the latest recorded of ``number``."""

    reason: str
    records: list[str]
    number: int

    @property
    def more(self) -> int:
        """How many are not put into words."""
        return self.number - len(self.records)


class DescribedAnswer:
    """An answer of the engine (its plain JSON data), ready to be laid out."""

    def __init__(self, answer: dict[str, Any]) -> None:
        self.answer = answer
        self.zone = ZoneInfo(answer["question"]["time_zone"])

    @cached_property
    def requirements(self) -> list[dict[str, Any]]:
        """The requirements with described evidence, those the refusal rests on first, then those that are met."""
        described = describe(_records_of(self.answer["requirements"]), self.zone)
        found = [
            {
                **each,
                **_in_language(each, "found", "shortfall"),
                "required": required_in_language(each["kind"], each.get("said", {}).get("required", each["required"])),
                "sentence": authored(each["sentence"]),
                "source": _source(each["source"]),
                "counted": _group("", each["counted"], described),
                "not_counted": [_left_out(group, described) for group in each["not_counted"]],
                "percent": _percent(each),
            }
            for each in self.answer["requirements"]
        ]
        return sorted(found, key=lambda each: (each["met"] or not each["needed"], not each["met"]))

    @cached_property
    def objections(self) -> list[str]:
        """Why this window cannot be judged by the standard."""
        said = self.answer.get("said", {}).get("objections")
        return list(self.answer["objections"]) if said is None else [in_language(each) for each in said]

    @cached_property
    def remedy(self) -> dict[str, Any] | None:
        """What would cure a refusal: ``items``, each with its ``sentence``, or the ``obstacle``."""
        remedy = self.answer["remedy"]
        if remedy is None:
            return None
        items = [{**each, "sentence": spoken(_spaced(each["sentence"]), each.get("said"))} for each in remedy["items"]]
        obstacle = spoken(_spaced(remedy["obstacle"]), remedy.get("said", {}).get("obstacle"))
        return {**remedy, "items": items, "obstacle": obstacle}

    @property
    def role_title(self) -> str:
        """The role as the standard calls it."""
        return authored(self.answer["question"]["role_title"])

    @property
    def standard_title(self) -> str:
        """The role standard's title."""
        return authored(self.answer["standard"]["title"])

    @property
    def unmet(self) -> list[dict[str, Any]]:
        """What the refusal rests on."""
        return [each for each in self.requirements if each["needed"] and not each["met"]]

    @property
    def others(self) -> list[dict[str, Any]]:
        """All other requirements."""
        return [each for each in self.requirements if each["met"] or not each["needed"]]


class DescribedDecision(DescribedAnswer):
    """A decision's answer, ready to be laid out."""

    def __init__(self, decision: Decision) -> None:
        super().__init__(decision.answer)
        self.decision = decision

    @cached_property
    def refused_attempt(self) -> Slot | None:
        """The slot that somebody was refused for by this decision."""
        return _SLOTS.filter(refusals__decision=self.decision.pk).first()

    @cached_property
    def filled_a_place(self) -> Slot | None:
        """The slot that this decision filled, or confirmed somebody in."""
        decision = self.decision.pk
        by_it = Q(assignments__decision=decision) | Q(assignments__events__decision=decision)
        return _SLOTS.filter(by_it).distinct().first()

    @property
    def slot(self) -> Slot | None:
        """The slot that the decision was about, if it was about one."""
        return self.refused_attempt or self.filled_a_place


SUBJECT = re.compile(r"\b(worker|model|employer|standard):(\S+)")


EVIDENCE_CHANGED = re.compile(r"the evidence of (?P<subject>\S+) changed")
OTHER_HOLDS = frozenset(
    {sentence("the job was changed or withdrawn"), sentence("the paired erector is held or leaves")}
)
"""What the database writes as the reason when it holds an assignment (``sql/standing.sql``)."""


def readable_reason(reason: str, names: dict[str, str]) -> str:
    """A hold's reason in the language in force, with people by their names (``worker:12`` → name).

    Reasons that people wrote stay as they are.
    """
    changed = EVIDENCE_CHANGED.fullmatch(reason)
    if changed:
        return _("the evidence of %(subject)s changed") % {"subject": _named(changed["subject"], names)}
    if reason in OTHER_HOLDS:
        return _(reason)
    return SUBJECT.sub(lambda found: _named(found[0], names), reason)


def _named(subject: str, names: dict[str, str]) -> str:
    others = {"worker": _("somebody who signs"), "model": _("the crane model"), "employer": _("the employer")}
    return names.get(subject) or others.get(subject.partition(":")[0]) or _("the standard")


def _in_language(requirement: dict[str, Any], *texts: str) -> dict[str, str]:
    said = requirement.get("said", {})
    return {name: spoken(requirement[name], said.get(name)) for name in texts}


def _left_out(group: dict[str, Any], described: dict[str, str]) -> RecordGroup:
    reason = spoken(group["sentence"], group.get("said"))
    return _group(reason, group["records"], described)


def _group(reason: str, records: list[str], described: dict[str, str]) -> RecordGroup:
    return RecordGroup(reason, [described.get(key, key) for key in _told(records)], len(records))


def _told(records: list[str]) -> list[str]:
    """The records to put into words: all of a few, the latest recorded of many."""
    if len(records) <= MOST_TOLD:
        return records
    return sorted(records, key=lambda key: int(key.partition(":")[2]), reverse=True)[:MOST_TOLD]


def _source(source: dict[str, str]) -> dict[str, str]:
    return {**source, "title": authored(source["title"]), "note": authored(source["note"])}


def _spaced(text: str) -> str:
    """Older answers hold stored names as they are."""
    return text.replace("_", " ")


def _percent(requirement: dict[str, Any]) -> int | None:
    if not requirement.get("required_minutes"):
        return None
    return min(100, -(-100 * requirement["found_minutes"] // requirement["required_minutes"]))


def _records_of(requirements: Iterable[dict[str, Any]]) -> set[str]:
    found: set[str] = set()
    for each in requirements:
        found.update(_told(each["counted"]))
        for group in each["not_counted"]:
            found.update(_told(group["records"]))
    return found


@as_the_register()
def describe(records: Iterable[str], zone: ZoneInfo) -> dict[str, str]:
    """A line of words for each record identifier (``hours:12``), one statement a kind."""
    wanted: dict[str, list[int]] = defaultdict(list)
    for each in records:
        kind, _colon, key = each.partition(":")
        if kind in DESCRIBED:
            wanted[kind].append(int(key))
    found = {}
    for kind, keys in wanted.items():
        model, related, in_words = DESCRIBED[kind]
        for record in model._default_manager.select_related(*related).filter(pk__in=keys):
            found[f"{kind}:{record.pk}"] = in_words(record, zone)
    return found


def _dated(when: str, what: str) -> str:
    return _("%(when)s: %(what)s") % {"when": when, "what": what}


def _hours(record: Any, zone: ZoneInfo) -> str:
    worked = duration(whole_minutes(record.start, record.end))
    on_day = day(record.start, ZoneInfo(record.site.time_zone))
    return _dated(on_day, f"{worked}, {in_words(record.operation)}, {record.model}, {record.site}")


def _assessment(record: Any, zone: ZoneInfo) -> str:
    by = record.third_party or record.employer
    return _dated(day(record.assessed_at, zone), f"{record}, {record.model}, {record.assessor} ({by})")


def _certification(record: Any, zone: ZoneInfo) -> str:
    until = day(record.expires) if record.expires else _("no expiry")
    return f"{record}, {record.issuer}, {day(record.issued)} / {until}"


def _instruction(record: Any, zone: ZoneInfo) -> str:
    by = record.provider_name or in_words(record.provider)
    return _dated(day(record.completed_at, zone), f"{in_words(record.topic)} ({by})")


def _appointment(record: Any, zone: ZoneInfo) -> str:
    by = record.employer or record.maker
    return _dated(day(record.start, zone), f"{in_words(record.duty)} ({by})")


def _stand_down(record: Any, zone: ZoneInfo) -> str:
    return _dated(instant(record.start, zone), record.reason)


def _language(record: Any, zone: ZoneInfo) -> str:
    return language_name(record.language)


InWords = Callable[[Any, ZoneInfo], str]
DESCRIBED: dict[str, tuple[type[Model], tuple[str, ...], InWords]] = {
    "hours": (HoursEntry, ("model__maker", "site"), _hours),
    "assessment": (Assessment, ("model__maker", "assessor", "employer"), _assessment),
    "certification": (Certification, (), _certification),
    "instruction": (Instruction, (), _instruction),
    "appointment": (Appointment, ("employer", "maker"), _appointment),
    "stand_down": (StandDown, (), _stand_down),
    "language": (LanguageSkill, (), _language),
}
