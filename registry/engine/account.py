"""The account of one requirement: figures, evidence and reasons, for people to read."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any

from registry.engine.answer import CountedInPart, LeafResult, NotCounted
from registry.engine.calendar import DAY
from registry.engine.hours_profile import WorstTotal
from registry.engine.intervals import FOREVER
from registry.engine.leaves import LeafEvaluation
from registry.engine.question import Question
from registry.engine.reasons import IN_PART
from registry.engine.sentences import (
    Sentence,
    duration,
    either,
    joined,
    listed,
    moment,
    say,
    say_many,
    sentence,
)
from registry.engine.signing import Signatures
from registry.engine.standard import (
    Appointed,
    Certified,
    Hours,
    Instructed,
    Leaf,
    NoStandDown,
    PracticalAssessment,
    SharedLanguage,
)

KINDS: dict[type[Leaf], str] = {
    Hours: "hours",
    PracticalAssessment: "assessment",
    Certified: "certification",
    Instructed: "instruction",
    Appointed: "appointment",
    SharedLanguage: "language",
    NoStandDown: "no_stand_down",
}


@dataclass(frozen=True, slots=True)
class Holds:
    """How a requirement that holds over a time is said to hold."""

    until: str
    only_from: str
    for_ever: str


HOLDS: dict[type[Leaf], Holds] = {
    PracticalAssessment: Holds(
        sentence("passed, standing until %(instant)s"),
        sentence("passed, standing only from %(instant)s"),
        sentence("passed, standing, no end"),
    ),
    Instructed: Holds(
        sentence("completed, valid until %(instant)s"),
        sentence("completed, valid only from %(instant)s"),
        sentence("completed, valid, no end"),
    ),
}
IN_FORCE = Holds(
    sentence("in force until %(instant)s"),
    sentence("in force only from %(instant)s"),
    sentence("in force, no end"),
)
"""All other requirements."""


def account_of(
    leaf: Leaf,
    evaluation: LeafEvaluation,
    question: Question,
    signatures: Signatures,
    needed: bool,
) -> LeafResult:
    """The account of ``leaf`` over the question's window."""
    fails_from = evaluation.timeline.first_gap(question.start, question.end)
    met = fails_from is None
    required, found, shortfall = _in_words(leaf, evaluation, question, fails_from)
    hours: dict[str, Any] = {}
    if isinstance(leaf, Hours):
        worst = evaluation.worst_total(question.start, question.end)
        missing = max(leaf.minimum - worst.minutes, 0)
        hours = {
            "required_minutes": leaf.minimum,
            "found_minutes": worst.minutes,
            "shortfall_minutes": missing,
            "lost_minutes": evaluation.lost_minutes,
            "in_part": _counted_in_part(evaluation, worst),
        }
        required = say("%(amount)s of hands-on hours", amount=duration(leaf.minimum))
        found = _hours_found(worst, hours["in_part"], evaluation.lost_minutes)
        shortfall = "" if met else say("%(amount)s missing", amount=duration(missing))
    return LeafResult(
        key=leaf.key,
        kind=KINDS[type(leaf)],
        sentence=leaf.sentence,
        source=leaf.source,
        met=met,
        required=required,
        found=found,
        shortfall=shortfall,
        fails_from=fails_from,
        counted=tuple(sorted(evaluation.counted)),
        not_counted=_not_counted(evaluation, signatures),
        set_by_employer=isinstance(leaf, Hours) and leaf.set_by_employer,
        needed=needed,
        **hours,
    )


def _counted_in_part(evaluation: LeafEvaluation, worst: WorstTotal) -> CountedInPart | None:
    """What of the hours counts only up to the standard's share, where that takes something off them."""
    if worst.in_part == worst.in_part_counted:
        return None
    counted = set(evaluation.counted)
    about = {reason: counted.intersection(records) for reason, records in evaluation.in_part.items()}
    reasons = tuple(reason for reason in IN_PART if about.get(reason))
    records = tuple(sorted(set[str]().union(*about.values())))
    return CountedInPart(worst.in_part, worst.in_part_counted, reasons, records)


def _hours_found(worst: WorstTotal, in_part: CountedInPart | None, lost_minutes: int) -> Sentence:
    """The total, and how much more is on record that does not count."""
    details = [] if in_part is None else [in_part.sentence]
    if lost_minutes:
        details.append(say("%(amount)s overlap or lie past the day's limit", amount=duration(lost_minutes)))
    total = duration(worst.minutes)
    return say("%(found)s (%(details)s)", found=total, details=joined(details, "; ")) if details else total


def _in_words(
    leaf: Leaf, evaluation: LeafEvaluation, question: Question, fails_from: datetime | None
) -> tuple[str, str, str]:
    """``(required, found, shortfall)``: what else than hours is there, and until when."""
    zone = question.zone
    if isinstance(leaf, NoStandDown):
        required = say("no stand-down for the role and model")
        if fails_from is None:
            return required, say("none in force"), ""
        barred = say("a stand-down is in force at %(instant)s", instant=moment(fails_from, zone))
        return required, say("in force"), barred
    if isinstance(leaf, SharedLanguage):
        wanted = either(sorted(leaf.languages)) or question.working_language or say("not stated")
        if fails_from is None:
            return wanted, say("recorded"), ""
        return wanted, say("not recorded"), say("missing")
    holds = HOLDS.get(type(leaf), IN_FORCE)
    required = say(holds.until, instant=moment(question.end, zone))
    standing = evaluation.timeline.interval_at(question.start)
    if standing is None:
        later = [start for start, _ in evaluation.timeline.intervals if start > question.start]
        if later:
            begins = say(holds.only_from, instant=moment(later[0], zone))
            return required, begins, say("not there when the window starts")
        return required, say("none that counts"), say("missing")
    if standing[1] == FOREVER:
        return required, say(holds.for_ever), ""
    found = say(holds.until, instant=moment(standing[1], zone))
    if fails_from is None:
        return required, found, ""
    days = -((question.end - standing[1]) // -DAY)
    ends = say_many(
        "ends %(count)s day before the window does", "ends %(count)s days before the window does", count=days
    )
    return required, found, ends


def _not_counted(evaluation: LeafEvaluation, signatures: Signatures) -> tuple[NotCounted, ...]:
    found: list[NotCounted] = []
    for reason, records in sorted(evaluation.not_counted.items()):
        if not records:
            continue
        if reason in ("countersigner_not_entitled", "assessor_not_entitled"):
            found += _by_signer(reason, records, signatures)
        else:
            found.append(NotCounted(reason, tuple(sorted(records))))
    return tuple(found)


def _by_signer(reason: str, records: list[str], signatures: Signatures) -> list[NotCounted]:
    """Tell a ring of mutual signatures from a signer who merely lacks documents."""
    evidence = signatures.evidence
    wanted = set(records)
    signed_by: dict[str, list[str]] = defaultdict(list)
    for entry in evidence.hours:
        if entry.id in wanted:
            last = max(entry.countersignatures, key=lambda each: (each.at, each.by))
            signed_by[last.by].append(entry.id)
    for given in evidence.assessments:
        if given.id in wanted:
            signed_by[given.assessor].append(given.id)
    found = []
    for signer, theirs in sorted(signed_by.items()):
        ring = signatures.ring_through(signer)
        if ring:
            names = [evidence.name_of(each) for each in _closed(ring)]
            signed = listed(say("%(signer)s signed for %(other)s", signer=a, other=b) for a, b in pairwise(names))
            found.append(NotCounted("sign_off_ring", tuple(sorted(theirs)), signed))
        else:
            found.append(NotCounted(reason, tuple(sorted(theirs)), evidence.name_of(signer)))
    return found


def _closed(ring: list[str]) -> list[str]:
    """The ring from signer to signed, first person last again.

    One that leads to the worker is closed by the signature for the worker.
    """
    chain = ring[::-1]
    return chain if chain[0] == chain[-1] else [chain[-1], *chain]
