"""What changed between two contents of a notice, and whether the rule wants to be told. Pure."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from registry.notices.rules import PARTS, Duty, NoticeRule

Facts = dict[str, dict[str, str]]
"""What a part says: item (a party, a procedure, a supervisor; ``""`` where there is one) to aspect to value.

Values are texts, stored names, ISO days and instants; a blank one is not given.
"""

NAMED = "named"
"""The aspect of an item that is only in one of the two."""

ERASED = "erased"
"""The aspect of a supervisor whose data were lawfully erased: nothing is left to compare."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One thing that is not as it was notified.

    ``before`` or ``after`` is blank where nothing was or is given. ``duty`` is
    the rule's about changes, ``None`` where no rule asks for this part.
    """

    part: str
    item: str
    aspect: str
    before: str
    after: str
    duty: Duty | None

    @property
    def needs_notice(self) -> bool:
        """Whether the rule wants the authority to be told."""
        return self.duty is not None and self.duty.asked


def compare(before: Mapping[str, Any], after: Mapping[str, Any], rule: NoticeRule | None) -> tuple[Change, ...]:
    """What is not as it was, part by part; both are contents as ``notice.schema.json`` describes them.

    When the content was drawn up, the log's proofs and the numbers of decisions
    are no part of what is notified. Hours worked since are no change either,
    but fewer hours than were notified are one.
    """
    return tuple(change for part in PARTS for change in _changes(part, before, after, rule))


def _changes(
    part: str, before: Mapping[str, Any], after: Mapping[str, Any], rule: NoticeRule | None
) -> Iterator[Change]:
    duty = rule.changes if rule is not None and rule.asked(part) is not None else None
    was, now = facts_of(before, part), facts_of(after, part)
    for item in [*was, *(each for each in now if each not in was)]:
        if item not in was or item not in now:
            there = was.get(item) or now.get(item) or {}
            name = there.get(NAMED, item)
            gone = item not in now
            yield Change(
                part=part,
                item=name,
                aspect=NAMED,
                before=name if gone else "",
                after="" if gone else name,
                duty=duty,
            )
            continue
        if ERASED in was[item] or ERASED in now[item]:
            continue
        for aspect in [*was[item], *(each for each in now[item] if each not in was[item])]:
            old, new = was[item].get(aspect, ""), now[item].get(aspect, "")
            if aspect != NAMED and old != new and not (aspect == "minutes_on_model" and int(new) >= int(old)):
                yield Change(
                    part=part, item=now[item].get(NAMED, item), aspect=aspect, before=old, after=new, duty=duty
                )


def facts_of(content: Mapping[str, Any], part: str) -> Facts:
    """What the content says about a part of :data:`~registry.notices.rules.PARTS`."""
    work, crane = content["work"], content["crane"]
    match part:
        case "parties":
            return _parties(content["parties"])
        case "address":
            return {"": {"address": content["site"]["address"]}}
        case "scope":
            return {"": {"operation": work["operation"], "scope": work["scope"]}}
        case "start":
            return {"": {"start": work["start"]}}
        case "duration":
            return {"": {"end": work["end"]}}
        case "procedures":
            return _procedures(content["procedures"])
        case "supervisors":
            return _supervisors(content["supervisors"])
        case _:
            return {"": {part: crane[part]}}


def _parties(parties: list[dict[str, str]]) -> Facts:
    found: Facts = {}
    for each in parties:
        key = _free(found, f"{each['role']}:{each['name']}")
        contact = {aspect: each[aspect] for aspect in ("contact_person", "phone", "email", "address")}
        found[key] = {NAMED: each["name"], "role": each["role"], **contact}
    return found


def _procedures(procedures: list[dict[str, Any]]) -> Facts:
    found: Facts = {}
    for each in procedures:
        found[_free(found, each["title"])] = {NAMED: each["title"], "sha256": each["sha256"]}
    return found


def _supervisors(supervisors: list[dict[str, Any]]) -> Facts:
    found: Facts = {}
    for each in supervisors:
        found[_free(found, each["worker"]["record"])] = _supervisor(each)
    return found


def _free(found: Container[str], key: str) -> str:
    """The key, with a number where two things are called alike."""
    number, free = 1, key
    while free in found:
        number += 1
        free = f"{key} ({number})"
    return free


def _supervisor(said: Mapping[str, Any]) -> dict[str, str]:
    if said.get("erased"):
        return {NAMED: said["worker"]["name"], ERASED: "erased"}
    facts = {
        NAMED: said["worker"]["name"],
        "standing": said["standing"],
        "from": said["from"],
        "until": said["until"],
    }
    facts["minutes_on_model"] = str(said["hours"]["minutes_on_model"])
    facts["appointment"] = said["appointment"]["from"] if said["appointment"] else ""
    facts["assessment"] = said["assessment"]["assessed_at"] if said["assessment"] else ""
    for each in said["certificates"]:
        # A renewed certificate often keeps its number.
        key = _free(facts, f"certificate {each['scheme']} {each['number']}")
        facts[key] = " ".join((each["status"], each["expires"] or ""))
    return facts
