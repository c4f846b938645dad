"""Records in words, for people who look into what was known when."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.engine import evidence as engine
from registry.engine.calendar import whole_minutes
from registry.engine.evidence import Evidence, Record
from registry.language.amounts import day, duration, instant
from registry.language.words import in_words as name_in_words
from registry.language.words import language_name

KINDS = {
    "hours": gettext_lazy("hours entry"),
    "assessment": gettext_lazy("assessment"),
    "certification": gettext_lazy("certificate"),
    "status": gettext_lazy("certificate status"),
    "instruction": gettext_lazy("instruction"),
    "appointment": gettext_lazy("appointment"),
    "stand_down": gettext_lazy("stand-down"),
    "suspension": gettext_lazy("suspension of a stand-down"),
    "language": gettext_lazy("language"),
    "placement": gettext_lazy("crane placement"),
    "family": gettext_lazy("model family declaration"),
    "countersignature": gettext_lazy("countersignature of hours entry"),
    "standard": gettext_lazy("role standard"),
    "figure": gettext_lazy("employer's figure"),
    "worker": gettext_lazy("registration of the worker"),
    "model": gettext_lazy("registration of the crane model"),
    "employer": gettext_lazy("registration of the employer"),
}
"""What each kind of record is called; the keys are the prefixes of record identifiers."""

STATUSES = {
    "suspended": gettext_lazy("suspended"),
    "revoked": gettext_lazy("revoked"),
    "reinstated": gettext_lazy("reinstated"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordWords:
    """A record in words.

    ``kind`` and ``number`` are its identifier, ``happened`` the local date (and
    time where it has one) of what it tells of, ``who`` the person it is about.
    """

    kind: str
    number: int
    title: str
    who: str
    worker: int | None
    happened: str
    what: str

    @property
    def sentence(self) -> str:
        """All of it in one line."""
        named = f"{self.title} {self.number}"
        return ", ".join(each for each in (named, self.who, self.happened, self.what) if each)


def in_words(record: Record, evidence: Evidence, zone: ZoneInfo) -> RecordWords:
    """Describe a record of ``evidence``, by the days of ``zone``."""
    kind, number = split(record.id)
    person = getattr(record, "worker", None)
    happened, what = _TOLD[type(record)](record, evidence, zone)
    return RecordWords(
        kind=kind,
        number=number,
        title=str(KINDS[kind]),
        who="" if person is None else evidence.name_of(person),
        worker=None if person is None else split(person)[1],
        happened=happened,
        what=what,
    )


def split(identifier: str) -> tuple[str, int]:
    """``hours:12`` → ``("hours", 12)``."""
    kind, _colon, number = identifier.partition(":")
    return kind, int(number)


def instant_in_words(when: datetime, zone: ZoneInfo) -> str:
    """``14 Jun 2026, 07:30`` with the name of the zone."""
    return f"{instant(when, zone)} ({zone.key})"


def _model(evidence: Evidence, key: str | None) -> str:
    if key is None or key not in evidence.models:
        return ""
    return f"{evidence.models[key].maker} {evidence.models[key].designation}"


def _joined(*parts: str) -> str:
    return ", ".join(each for each in parts if each)


def _hours(entry: engine.HoursEntry, evidence: Evidence, _zone: ZoneInfo) -> tuple[str, str]:
    worked = duration(whole_minutes(entry.start, entry.end))
    # Several signatures are told apart by the person; of a late entry they came with it.
    signers = ", ".join(evidence.name_of(each.by) for each in entry.countersignatures)
    signed = _("countersigned by %(who)s") % {"who": signers} if signers else _("not countersigned")
    return instant(entry.start, entry.zone), _joined(
        worked, name_in_words(entry.operation), _model(evidence, entry.model), signed
    )


def _assessment(given: engine.Assessment, evidence: Evidence, zone: ZoneInfo) -> tuple[str, str]:
    by = _("assessed by %(who)s") % {"who": evidence.name_of(given.assessor)}
    return instant(given.assessed_at, zone), _joined(
        name_in_words(given.outcome), name_in_words(given.role), _model(evidence, given.model), by
    )


def _certification(held: engine.Certification, _evidence: Evidence, _zone: ZoneInfo) -> tuple[str, str]:
    expiry = _("expires %(day)s") % {"day": day(held.expires)} if held.expires is not None else _("without expiry")
    number = _("no. %(number)s") % {"number": held.number}
    return _("issued %(day)s") % {"day": day(held.issued)}, f"{held.scheme}, {number}, {expiry}"


def _status(change: engine.CertificationStatus, evidence: Evidence, zone: ZoneInfo) -> tuple[str, str]:
    held = next((each for each in evidence.certifications if each.id == change.certification), None)
    of = "" if held is None else f"{held.scheme}, {held.number}"
    effective = _("from %(instant)s on") % {"instant": instant(change.effective_at, zone)}
    return effective, ", ".join(each for each in (str(STATUSES[change.status]), of) if each)


def _instruction(given: engine.Instruction, _evidence: Evidence, zone: ZoneInfo) -> tuple[str, str]:
    return instant(given.completed_at, zone), _joined(name_in_words(given.topic), name_in_words(given.provider))


def _appointment(act: engine.Appointment, evidence: Evidence, zone: ZoneInfo) -> tuple[str, str]:
    by = act.maker or ""
    if act.employer is not None and act.employer in evidence.employers:
        by = evidence.employers[act.employer].name
    return _("from %(instant)s on") % {"instant": instant(act.start, zone)}, _joined(name_in_words(act.duty), by)


def _stand_down(barred: engine.StandDown, evidence: Evidence, zone: ZoneInfo) -> tuple[str, str]:
    effective = _("from %(instant)s on") % {"instant": instant(barred.start, zone)}
    at = ""
    if barred.only_at is not None and barred.only_at in evidence.employers:
        at = _("at %(employer)s alone") % {"employer": evidence.employers[barred.only_at].name}
    said = (name_in_words(barred.role or ""), _model(evidence, barred.model), at, barred.reason)
    return effective, ", ".join(each for each in said if each)


def _suspension(rests: engine.StandDownSuspension, _evidence: Evidence, zone: ZoneInfo) -> tuple[str, str]:
    if rests.end is None:
        return _("from %(instant)s on") % {"instant": instant(rests.start, zone)}, ""
    return f"{instant(rests.start, zone)} / {instant(rests.end, zone)}", ""


def _language(skill: engine.LanguageSkill, _evidence: Evidence, _zone: ZoneInfo) -> tuple[str, str]:
    return "", language_name(skill.language)


def _placement(placed: engine.CranePlacement, evidence: Evidence, zone: ZoneInfo) -> tuple[str, str]:
    until = _("open") if placed.end is None else instant(placed.end, zone)
    return f"{instant(placed.start, zone)} / {until}", _model(evidence, placed.model)


def _family(declared: engine.FamilyDeclaration, evidence: Evidence, _zone: ZoneInfo) -> tuple[str, str]:
    members = ", ".join(sorted(_model(evidence, each) for each in declared.models))
    return _("valid from %(day)s") % {"day": day(declared.valid_from)}, f"{members} ({declared.document})"


_TOLD: dict[type[Record], Callable[[Any, Evidence, ZoneInfo], tuple[str, str]]] = {
    engine.HoursEntry: _hours,
    engine.Assessment: _assessment,
    engine.Certification: _certification,
    engine.CertificationStatus: _status,
    engine.Instruction: _instruction,
    engine.Appointment: _appointment,
    engine.StandDown: _stand_down,
    engine.StandDownSuspension: _suspension,
    engine.LanguageSkill: _language,
    engine.CranePlacement: _placement,
    engine.FamilyDeclaration: _family,
}
