"""Notices in words: parts, what is missing and where it is cured, deadlines and changes."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.utils.dateparse import parse_datetime
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from registry.engine.calendar import local_date
from registry.language import amounts
from registry.language.words import in_words
from registry.notices.comparison import NAMED, Change
from registry.notices.models import SentNotice
from registry.notices.rules import Deadline, Missing

PARTS: dict[str, Promise] = {
    "parties": gettext_lazy("responsible parties"),
    "address": gettext_lazy("address of the site"),
    "scope": gettext_lazy("nature and scope of the work"),
    "start": gettext_lazy("start"),
    "duration": gettext_lazy("estimated duration"),
    "make": gettext_lazy("make of the crane"),
    "type": gettext_lazy("type of the crane"),
    "model": gettext_lazy("model of the crane"),
    "serial_number": gettext_lazy("serial number of the crane"),
    "configuration": gettext_lazy("configuration of the crane"),
    "procedures": gettext_lazy("work procedures for this site"),
    "supervisors": gettext_lazy("supervisor of the work and qualifications"),
}

PARTY_ROLES: dict[str, Promise] = {
    "employer": gettext_lazy("employer"),
    "owner": gettext_lazy("owner of the site"),
    "prime_contractor": gettext_lazy("prime contractor"),
    "crane_owner": gettext_lazy("owner of the crane"),
    "engineer": gettext_lazy("engineer"),
    "other": gettext_lazy("other party"),
}

WAYS: dict[str, Promise] = {
    "authoritys_form": gettext_lazy("by the authority's own form"),
    "email": gettext_lazy("by e-mail"),
    "post": gettext_lazy("by post"),
    "courier": gettext_lazy("by courier"),
    "by_hand": gettext_lazy("handed over"),
    "fax": gettext_lazy("by fax"),
}

ASPECTS: dict[str, Promise] = {
    "contact_person": gettext_lazy("contact person"),
    "phone": gettext_lazy("telephone"),
    "email": gettext_lazy("e-mail"),
    "operation": gettext_lazy("operation"),
    "scope": gettext_lazy("scope"),
    "start": gettext_lazy("start"),
    "end": gettext_lazy("end"),
    "sha256": gettext_lazy("file, by its SHA-256"),
    "standing": gettext_lazy("standing"),
    "from": gettext_lazy("on the job from"),
    "until": gettext_lazy("on the job until"),
    "minutes_on_model": gettext_lazy("hours on the model"),
    "appointment": gettext_lazy("appointment from"),
    "assessment": gettext_lazy("practical assessment of"),
    "address": gettext_lazy("address"),
}

STANDING: dict[str, Promise] = {
    "stands": gettext_lazy("stands"),
    "held": gettext_lazy("held: the place is not filled"),
}

MISSING: dict[str, tuple[Promise, Promise]] = {
    "parties": (
        gettext_lazy("The employer is not among the parties."),
        gettext_lazy("Add the employer as a party, with a telephone number or an e-mail address."),
    ),
    "address": (
        gettext_lazy("The site has no address."),
        gettext_lazy("Give the address under the particulars."),
    ),
    "scope": (
        gettext_lazy("Nothing says what is to be done."),
        gettext_lazy("Give the scope under the particulars."),
    ),
    "make": (gettext_lazy("The crane has no make."), gettext_lazy("Ask the registrar to name the maker.")),
    "type": (gettext_lazy("The crane has no type."), gettext_lazy("Ask the registrar to name the type.")),
    "model": (gettext_lazy("The crane has no model."), gettext_lazy("Ask the registrar to name the model.")),
    "serial_number": (
        gettext_lazy("The crane has no serial number."),
        gettext_lazy("Ask the registrar to enter the serial number."),
    ),
    "configuration": (
        gettext_lazy("The crane's configuration is not given."),
        gettext_lazy("Give the configuration under the particulars."),
    ),
    "procedures": (
        gettext_lazy("No work procedure for this site is attached."),
        gettext_lazy("Attach the procedure."),
    ),
    "supervisors": (
        gettext_lazy("Nobody stands as supervisor of the work."),
        gettext_lazy("Fill the supervisor's place on the job's page."),
    ),
    "supervisor_for_part": (
        gettext_lazy("Nobody stands as supervisor for part of the work."),
        gettext_lazy("Put somebody into the supervisor's place for the rest of it, on the job's page."),
    ),
    "supervisor_held": (
        gettext_lazy("A supervisor's place is held until it is decided again."),
        gettext_lazy("Decide again, or put somebody else in, on the job's page."),
    ),
}
"""Why a part is missing, and where it is cured."""


def missing_in_words(missing: Missing) -> tuple[str, str]:
    """What is missing, and where to cure it."""
    why, cure = MISSING[missing.why]
    return str(why), str(cure)


def deadline_in_words(deadline: Deadline) -> str:
    """``9 days left: the notice must reach the authority by 5 Dec 2026.``"""
    days, day = abs(deadline.days_left), amounts.day(deadline.last_day)
    if deadline.over:
        return ngettext(
            "%(days)d day too late: the notice had to reach the authority by %(day)s.",
            "%(days)d days too late: the notice had to reach the authority by %(day)s.",
            days,
        ) % {"days": days, "day": day}
    if not days:
        return _("Today is the last day: the notice must reach the authority by the end of %(day)s.") % {"day": day}
    return ngettext(
        "%(days)d day left: the notice must reach the authority by %(day)s.",
        "%(days)d days left: the notice must reach the authority by %(day)s.",
        days,
    ) % {"days": days, "day": day}


def last_day_in_words(deadline: Deadline) -> str:
    """When the last day is or was, once a notice has been sent: ``The last day, 5 Dec 2026, is in 9 days.``"""
    days, day = abs(deadline.days_left), amounts.day(deadline.last_day)
    if deadline.over:
        said = ngettext(
            "The last day, %(day)s, was %(days)d day ago.", "The last day, %(day)s, was %(days)d days ago.", days
        )
    elif not days:
        said = _("The last day, %(day)s, is today.")
    else:
        said = ngettext(
            "The last day, %(day)s, is in %(days)d day.", "The last day, %(day)s, is in %(days)d days.", days
        )
    return said % {"days": days, "day": day}


def sent_against_deadline(notice: SentNotice, deadline: Deadline, zone: ZoneInfo) -> str:
    """How a sending stands to the last day, by the site's calendar; what arrived when, the register does not know."""
    days = (deadline.last_day - local_date(notice.sent_at, zone)).days
    if days < 0:
        return ngettext("sent %(days)d day after the last day", "sent %(days)d days after the last day", -days) % {
            "days": -days
        }
    if not days:
        return _("sent on the last day")
    return ngettext("sent %(days)d day before the last day", "sent %(days)d days before the last day", days) % {
        "days": days
    }


@dataclass(frozen=True, slots=True)
class ChangeInWords:
    """A change as people read it; ``before`` and ``after`` are never blank."""

    what: str
    before: str
    after: str
    needs_notice: bool
    clause: str


def change_in_words(change: Change, zone: ZoneInfo) -> ChangeInWords:
    """A change with its values in words, instants by a clock in ``zone``."""
    part = str(PARTS[change.part])
    if change.aspect == NAMED:
        what = _("%(part)s: %(item)s") % {"part": part, "item": change.item}
        before, after = (_("named") if each else _("not named") for each in (change.before, change.after))
    else:
        aspect = _aspect(change.aspect)
        if change.item:
            what = _("%(part)s: %(item)s, %(aspect)s") % {"part": part, "item": change.item, "aspect": aspect}
        elif change.aspect == change.part:
            what = part
        else:
            what = _("%(part)s: %(aspect)s") % {"part": part, "aspect": aspect}
        before, after = (_value(change.aspect, each, zone) for each in (change.before, change.after))
    clause = change.duty.clause if change.duty is not None else ""
    return ChangeInWords(what[:1].upper() + what[1:], before, after, change.needs_notice, clause)


def _aspect(aspect: str) -> str:
    if aspect.startswith("certificate "):
        return _("certificate %(certificate)s") % {"certificate": aspect.removeprefix("certificate ")}
    known = ASPECTS.get(aspect) or PARTS.get(aspect)
    return aspect if known is None else str(known)


def _value(aspect: str, value: str, zone: ZoneInfo) -> str:
    if not value:
        return _("not given")
    if aspect.startswith("certificate "):
        status, _space, expires = value.partition(" ")
        if not expires:
            return in_words(status)
        return _("%(status)s, expires %(day)s") % {"status": in_words(status), "day": expires}
    if aspect == "standing":
        return str(STANDING[value])
    if aspect == "operation":
        return in_words(value)
    if aspect == "minutes_on_model":
        return amounts.hours_and_minutes(int(value))
    if aspect in ("start", "end", "from", "until", "appointment", "assessment"):
        instant = parse_datetime(value)
        return value if instant is None else amounts.instant(instant, zone)
    return value
