"""The account of one requirement: figures, evidence and reasons, for people to read."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime
from zoneinfo import ZoneInfo

from registry.eligibility.answer import LeafResult, NotCounted
from registry.eligibility.calendar import DAY
from registry.eligibility.intervals import FOREVER
from registry.eligibility.leaves import LeafEvaluation
from registry.eligibility.question import Question
from registry.eligibility.signing import Signatures
from registry.eligibility.standard import (
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


HOLDS: dict[type[Leaf], str] = {
    PracticalAssessment: "passed, standing",
    Instructed: "completed, valid",
}
"""How a requirement that holds over a time is said to hold."""


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
    minutes: dict[str, int] = {}
    if isinstance(leaf, Hours):
        lowest = evaluation.lowest_minutes(question.start, question.end)
        missing = max(leaf.minimum - lowest, 0)
        minutes = {
            "required_minutes": leaf.minimum,
            "found_minutes": lowest,
            "shortfall_minutes": missing,
        }
        required = f"{duration(leaf.minimum)} of hands-on hours"
        found = duration(lowest)
        shortfall = "" if met else f"{duration(missing)} missing"
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
        required_minutes=minutes.get("required_minutes"),
        found_minutes=minutes.get("found_minutes"),
        shortfall_minutes=minutes.get("shortfall_minutes"),
    )


def duration(minutes: int) -> str:
    """``90`` → ``1 h 30 min``."""
    hours, rest = divmod(minutes, 60)
    if not rest:
        return f"{hours} h"
    return f"{hours} h {rest} min" if hours else f"{rest} min"


def local_time(instant: datetime, zone: ZoneInfo) -> str:
    """``2026-06-14 07:30`` in the site's zone."""
    return instant.astimezone(zone).strftime("%Y-%m-%d %H:%M")


def _in_words(
    leaf: Leaf, evaluation: LeafEvaluation, question: Question, fails_from: datetime | None
) -> tuple[str, str, str]:
    """``(required, found, shortfall)``: what else than hours is there, and until when."""
    zone = question.zone
    if isinstance(leaf, NoStandDown):
        required = "no stand-down for the role and model"
        if fails_from is None:
            return required, "none in force", ""
        return required, "in force", f"a stand-down is in force at {local_time(fails_from, zone)}"
    if isinstance(leaf, SharedLanguage):
        wanted = " or ".join(sorted(leaf.languages)) or question.working_language or "not stated"
        return wanted, ("recorded" if fails_from is None else "not recorded"), ("" if fails_from is None else "missing")
    holds = HOLDS.get(type(leaf), "in force")
    required = f"{holds} until {local_time(question.end, zone)}"
    standing = evaluation.timeline.interval_at(question.start)
    if standing is None:
        later = [start for start, _ in evaluation.timeline.intervals if start > question.start]
        if later:
            begins = local_time(later[0], zone)
            return required, f"{holds} only from {begins}", "not there when the window starts"
        return required, "none that counts", "missing"
    if standing[1] == FOREVER:
        return required, f"{holds}, no end", ""
    found = f"{holds} until {local_time(standing[1], zone)}"
    if fails_from is None:
        return required, found, ""
    days = -((question.end - standing[1]) // -DAY)
    return required, found, f"ends {days} day{'s' if days > 1 else ''} before the window does"


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
            names = " for ".join(evidence.name_of(each) for each in reversed(ring))
            found.append(NotCounted("sign_off_ring", tuple(sorted(theirs)), f"{names} signed"))
        else:
            found.append(NotCounted(reason, tuple(sorted(theirs)), evidence.name_of(signer)))
    return found
