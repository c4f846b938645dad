"""Lines worth a second look: rules that point a person at records. They change no decision.

Each rule says in words what it looks for, threshold included. A pointer is no
accusation: late typing has good reasons, a small firm has few who may sign.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.db import connection
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from registry.crews.models import Assignment
from registry.engine.requirements.hours import Hours
from registry.engine.requirements.leaf import of_kind
from registry.equipment.models import Crane, Site
from registry.inspection.rings import rings
from registry.inspection.words import KINDS, instant_in_words, split
from registry.language.amounts import day, duration
from registry.people.models import Employment, Worker
from registry.standards.models import EmployerFigure, StandardVersion
from registry.standards.queries import parsed

NO_ACCUSATION = gettext_lazy(
    "A pointer for a person, not an accusation. It changes no decision by itself: look at the records and ask."
)
SQL = Path(__file__).parent / "sql"
RECORDS_SHOWN = 20
"""So many records are named with a pointer; the rest are counted."""

UTC_ZONE = ZoneInfo("UTC")


@dataclass(frozen=True, slots=True, kw_only=True)
class Thresholds:
    """From where on a rule points. Every default is common practice, no source."""

    late_days: int = 30
    sitting_entries: int = 20
    sitting_days: int = 10
    sitting_break_minutes: int = 10
    signed_minutes_a_day: int = 120 * 60
    signed_sites_a_day: int = 2
    ring_people: int = 2
    overlap_minutes: int = 1
    crane_minutes: int = 1
    assessment_minutes: int = 60
    fresh_days: int = 30
    fresh_entries: int = 20
    fresh_minutes: int = 80 * 60
    fresh_first_minutes: int = 15


@dataclass(frozen=True, slots=True)
class RecordNamed:
    """A record by its kind and number; ``title`` is the kind in words."""

    kind: str
    number: int

    @property
    def title(self) -> str:
        """``hours entry 12``."""
        return f"{KINDS[self.kind]} {self.number}"


@dataclass(frozen=True, slots=True)
class PersonNamed:
    """A worker by number and name."""

    id: int
    number: str
    name: str


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of a pointer, with what it counts."""

    key: str
    value: int | str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pointer:
    """One thing worth a second look; ``records_left_off`` are counted, not named."""

    rule: str
    people: tuple[PersonNamed, ...]
    records: tuple[RecordNamed, ...]
    records_left_off: int
    figures: tuple[Figure, ...]
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleWithPointers:
    """A rule in words, its threshold among them, and what it points at; ``left_off`` counts the rest."""

    key: str
    title: str
    words: str
    pointers: tuple[Pointer, ...]
    left_off: int

    def as_json(self) -> dict[str, Any]:
        """Plain JSON data."""
        return {
            "rule": self.key,
            "title": self.title,
            "words": self.words,
            "left_off": self.left_off,
            "pointers": [
                {
                    "people": [{"id": one.id, "number": one.number, "name": one.name} for one in each.people],
                    "records": [{"kind": one.kind, "number": one.number} for one in each.records],
                    "records_left_off": each.records_left_off,
                    "figures": {one.key: one.value for one in each.figures},
                    "sentence": each.sentence,
                }
                for each in self.pointers
            ],
        }


@dataclass(frozen=True, slots=True)
class _Found:
    """What a rule's statement gives for one pointer."""

    workers: list[int]
    records: list[str]
    record_count: int
    figures: dict[str, Any]


@dataclass(frozen=True, slots=True)
class _Rule:
    key: str
    title: Any
    words: Callable[[Thresholds], str]
    find: Callable[[_Look], tuple[list[_Found], int]]
    sentence: Callable[[list[str], dict[str, Any], _Names], str]


@dataclass(frozen=True, slots=True)
class _Look:
    """What is looked at: the workers (``None``: everybody), from which thresholds on, at most how many pointers."""

    workers: list[int] | None
    thresholds: Thresholds
    limit: int

    @property
    def parameters(self) -> dict[str, Any]:
        figures = {each: getattr(self.thresholds, each) for each in Thresholds.__slots__}
        return {**figures, "workers": self.workers, "limit": self.limit, "records": RECORDS_SHOWN}


@dataclass(frozen=True, slots=True)
class _Names:
    people: dict[int, PersonNamed]
    cranes: dict[int, str]
    sites: dict[int, str]


def second_look(
    *,
    workers: Collection[int] | None = None,
    thresholds: Thresholds | None = None,
    limit: int = 100,
) -> tuple[RuleWithPointers, ...]:
    """Every rule with its pointers about ``workers`` (``None``: the whole register).

    At most ``limit`` pointers a rule, the most striking first; the number of
    statements does not depend on how much there is. About a countersigner or a
    ring it points too where one of ``workers`` is among those signed for.
    """
    look = _Look(None if workers is None else sorted(workers), thresholds or Thresholds(), limit)
    found = {rule.key: rule.find(look) for rule in RULES}
    names = _names(each for pointers, _count in found.values() for each in pointers)
    return tuple(_told(rule, look, *found[rule.key], names) for rule in RULES)


def workers_of_employer(employer: int) -> set[int]:
    """Everybody whom the employer employs or employed."""
    return set(Employment.objects.current().filter(employer=employer).values_list("worker", flat=True))


def workers_of_job(job: int) -> set[int]:
    """Everybody who was put into a place of the job's crew."""
    return set(Assignment.objects.filter(slot__job=job).values_list("worker", flat=True))


def _told(rule: _Rule, look: _Look, found: list[_Found], count: int, names: _Names) -> RuleWithPointers:
    pointers = []
    for each in found:
        people = tuple(names.people[one] for one in each.workers)
        pointers.append(
            Pointer(
                rule=rule.key,
                people=people,
                records=tuple(RecordNamed(*split(one)) for one in each.records),
                records_left_off=each.record_count - len(each.records),
                figures=tuple(Figure(key, value) for key, value in each.figures.items()),
                sentence=rule.sentence([one.name for one in people], each.figures, names),
            )
        )
    return RuleWithPointers(
        key=rule.key,
        title=str(rule.title),
        words=rule.words(look.thresholds),
        pointers=tuple(pointers),
        left_off=count - len(found),
    )


def _names(found: Iterable[_Found]) -> _Names:
    people, cranes, sites = set(), set(), set()
    for each in found:
        people.update(each.workers)
        if "crane" in each.figures:
            cranes.add(each.figures["crane"])
            sites.add(each.figures["site"])
    return _Names(
        {each.pk: PersonNamed(each.pk, each.number, str(each)) for each in Worker.objects.filter(pk__in=people)},
        {each.pk: str(each) for each in Crane.objects.select_related("model__maker").filter(pk__in=cranes)},
        {each.pk: each.name for each in Site.objects.filter(pk__in=sites)},
    )


# Finding


@lru_cache
def _statement(name: str) -> str:
    text = (SQL / f"{name}.sql").read_text(encoding="utf-8")
    standing = (SQL / "standing_hours.sql").read_text(encoding="utf-8").rstrip()
    return text.format(standing_hours=standing) if "{standing_hours}" in text else text


def _by_statement(name: str) -> Callable[[_Look], tuple[list[_Found], int]]:
    def find(look: _Look) -> tuple[list[_Found], int]:
        return _rows(name, look.parameters)

    return find


def _rows(name: str, parameters: dict[str, Any]) -> tuple[list[_Found], int]:
    with connection.cursor() as cursor:
        cursor.execute(_statement(name), parameters)
        rows = cursor.fetchall()
    found = []
    for workers, records, record_count, figures, _count in rows:
        data = json.loads(figures) if isinstance(figures, str) else figures
        found.append(_Found(list(workers), list(records), record_count, data))
    return found, rows[0][-1] if rows else 0


def _find_rings(look: _Look) -> tuple[list[_Found], int]:
    with connection.cursor() as cursor:
        cursor.execute(_statement("signed_for"), look.parameters)
        edges = cursor.fetchall()
    signed_for: dict[int, list[int]] = defaultdict(list)
    for by, worker, _count, _records in edges:
        signed_for[by].append(worker)
    wanted = None if look.workers is None else set(look.workers)
    rings_found = [
        sorted(each)
        for each in rings(signed_for)
        if len(each) >= look.thresholds.ring_people and (wanted is None or wanted & each)
    ]
    rings_found.sort(key=lambda each: (len(each), each))
    found = []
    for ring in rings_found[: look.limit]:
        members = set(ring)
        within = [edge for edge in edges if edge[0] in members and edge[1] in members]
        records = [record for edge in within for record in edge[3]]
        count = sum(edge[2] for edge in within)
        figures = {"people": len(ring), "signatures": count}
        found.append(_Found(ring, records[:RECORDS_SHOWN], count, figures))
    return found, len(rings_found)


def _find_assessed_at_once(look: _Look) -> tuple[list[_Found], int]:
    return _rows("assessed_at_once", {**look.parameters, "required": json.dumps(_required_hours())})


def _required_hours() -> list[dict[str, Any]]:
    """The minutes on the model that each role standard asks for, by employer where one set its own figure."""
    figures: dict[tuple[int, str], dict[str, int]] = defaultdict(dict)
    latest = EmployerFigure.objects.order_by("employer_id", "standard_key", "setting", "-recorded_at", "-id")
    for each in latest.distinct("employer_id", "standard_key", "setting"):
        figures[each.employer_id, each.standard_key][each.setting] = each.minutes
    employers = sorted({employer for employer, _key in figures})
    found = []
    for version in StandardVersion.objects.all():
        for employer in (None, *employers):
            own = {} if employer is None else figures.get((employer, version.key), {})
            standard = parsed(version, own)
            for role in standard.roles:
                for leaf in of_kind(Hours, role.leaves()):
                    if leaf.scope not in ("model", "configuration"):
                        continue
                    found += [
                        {
                            "role": role.role,
                            "operation": operation,
                            "counted": sorted(leaf.operations or {operation}),
                            "minutes": leaf.minimum,
                            "first_day": standard.in_force_from.isoformat(),
                            "last_day": standard.in_force_until and standard.in_force_until.isoformat(),
                            "employer": employer,
                        }
                        for operation in sorted(role.operations)
                    ]
    return found


# In words


def _late_sentence(who: list[str], figures: dict[str, Any], _names: _Names) -> str:
    return ngettext(
        "%(entries)s entry of %(who)s was recorded long after the work, %(days)s days.",
        "%(entries)s entries of %(who)s were recorded long after the work, the latest %(days)s days.",
        figures["entries"],
    ) % {"entries": figures["entries"], "who": who[0], "days": figures["longest_days"]}


def _sitting_sentence(who: list[str], figures: dict[str, Any], _names: _Names) -> str:
    return _(
        "%(entries)s entries of %(who)s, for %(days)s days of work, were recorded in one sitting of "
        "%(minutes)s minutes from %(instant)s on."
    ) % {
        "entries": figures["entries"],
        "who": who[0],
        "days": figures["days"],
        "minutes": figures["minutes"],
        "instant": instant_in_words(datetime.fromisoformat(figures["from"]), UTC_ZONE),
    }


def _signed_sentence(who: list[str], figures: dict[str, Any], _names: _Names) -> str:
    return _(
        "%(who)s countersigned %(amount)s of work done on %(day)s, by %(people)s people on %(sites)s sites; "
        "%(days)s days of work are beyond the threshold."
    ) % {
        "who": who[0],
        "amount": duration(figures["minutes"]),
        "day": day(date.fromisoformat(figures["day"])),
        "people": figures["people"],
        "sites": figures["sites"],
        "days": figures["days"],
    }


def _ring_sentence(who: list[str], figures: dict[str, Any], _names: _Names) -> str:
    shown = ", ".join(who[:10])
    if len(who) > 10:
        shown = _("%(names)s and %(more)s more") % {"names": shown, "more": len(who) - 10}
    return _("%(names)s signed for one another: %(count)s signatures stay within this ring.") % {
        "names": shown,
        "count": figures["signatures"],
    }


def _overlap_sentence(who: list[str], figures: dict[str, Any], _names: _Names) -> str:
    return ngettext(
        "Entries of %(who)s on different sites overlap: %(pairs)s pair, %(minutes)s together, %(longest)s at most.",
        "Entries of %(who)s on different sites overlap: %(pairs)s pairs, %(minutes)s together, %(longest)s at most.",
        figures["pairs"],
    ) % {
        "who": who[0],
        "pairs": figures["pairs"],
        "minutes": duration(figures["minutes"]),
        "longest": duration(figures["longest"]),
    }


def _crane_sentence(who: list[str], figures: dict[str, Any], names: _Names) -> str:
    return ngettext(
        "%(minutes)s of %(who)s are recorded on %(crane)s at %(site)s while the register does not show it there: "
        "%(entries)s entry, %(before)s of them before it came.",
        "%(minutes)s of %(who)s are recorded on %(crane)s at %(site)s while the register does not show it there: "
        "%(entries)s entries, %(before)s of them before it came.",
        figures["entries"],
    ) % {
        "minutes": duration(figures["minutes"]),
        "who": who[0],
        "crane": names.cranes[figures["crane"]],
        "site": names.sites[figures["site"]],
        "entries": figures["entries"],
        "before": figures["before"],
    }


def _assessed_sentence(who: list[str], figures: dict[str, Any], _names: _Names) -> str:
    return ngettext(
        "%(assessor)s passed %(who)s %(minutes)s minute after the %(required)s that the role asks for on the model "
        "were reached.",
        "%(assessor)s passed %(who)s %(minutes)s minutes after the %(required)s that the role asks for on the model "
        "were reached.",
        figures["minutes"],
    ) % {
        "assessor": who[1],
        "who": who[0],
        "minutes": figures["minutes"],
        "required": duration(figures["required"]),
    }


def _fresh_sentence(who: list[str], figures: dict[str, Any], _names: _Names) -> str:
    said = ngettext(
        "%(who)s countersigned %(entries)s entry, %(amount)s of work, in one sitting that began %(after)s after the "
        "account was opened.",
        "%(who)s countersigned %(entries)s entries, %(amount)s of work, in one sitting that began %(after)s after the "
        "account was opened.",
        figures["entries"],
    ) % {
        "who": who[0],
        "entries": figures["entries"],
        "amount": duration(figures["minutes"]),
        "after": duration(figures["after_opening"]),
    }
    if not figures["for_the_inviter"]:
        return said
    for_whom = ngettext(
        "%(count)s of them is for the firm that invited the account, and nobody outside it has seen the person.",
        "%(count)s of them are for the firm that invited the account, and nobody outside it has seen the person.",
        figures["for_the_inviter"],
    ) % {"count": figures["for_the_inviter"]}
    return f"{said} {for_whom}"


RULES = (
    _Rule(
        "recorded_late",
        gettext_lazy("Recorded long after the work"),
        lambda given: (
            _("An hours entry, or the correction of one, recorded more than %(days)s days after the work.")
            % {"days": given.late_days}
        ),
        _by_statement("recorded_late"),
        _late_sentence,
    ),
    _Rule(
        "one_sitting",
        gettext_lazy("Many entries in one sitting"),
        lambda given: (
            _(
                "%(entries)s or more hours entries of one worker, for %(days)s or more days of work, recorded by one "
                "account with no break longer than %(minutes)s minutes. Imports from another register are left out."
            )
            % {
                "entries": given.sitting_entries,
                "days": given.sitting_days,
                "minutes": given.sitting_break_minutes,
            }
        ),
        _by_statement("one_sitting"),
        _sitting_sentence,
    ),
    _Rule(
        "countersigned_much",
        gettext_lazy("More countersigned than one person sees"),
        lambda given: (
            _(
                "One person countersigned more than %(amount)s of other people's work done on one day, or work on more "
                "than %(sites)s sites."
            )
            % {"amount": duration(given.signed_minutes_a_day), "sites": given.signed_sites_a_day}
        ),
        _by_statement("countersigned_much"),
        _signed_sentence,
    ),
    _Rule(
        "sign_off_ring",
        gettext_lazy("People who sign for one another"),
        lambda given: (
            _(
                "%(people)s or more people each of whom signed, directly or through others of them, for every other: "
                "countersignatures and assessments."
            )
            % {"people": given.ring_people}
        ),
        _find_rings,
        _ring_sentence,
    ),
    _Rule(
        "two_sites_at_once",
        gettext_lazy("On two sites at once"),
        lambda given: (
            ngettext(
                "Two hours entries of one worker on different sites overlap by %(minutes)s minute or more.",
                "Two hours entries of one worker on different sites overlap by %(minutes)s minutes or more.",
                given.overlap_minutes,
            )
            % {"minutes": given.overlap_minutes}
        ),
        _by_statement("two_sites_at_once"),
        _overlap_sentence,
    ),
    _Rule(
        "crane_not_there",
        gettext_lazy("Hours on a crane that was not there"),
        lambda given: (
            ngettext(
                "Hours on a crane that the register does not show on that site for %(minutes)s minute or more of "
                "them, before it came or after it left.",
                "Hours on a crane that the register does not show on that site for %(minutes)s minutes or more of "
                "them, before it came or after it left.",
                given.crane_minutes,
            )
            % {"minutes": given.crane_minutes}
        ),
        _by_statement("crane_not_there"),
        _crane_sentence,
    ),
    _Rule(
        "assessed_at_once",
        gettext_lazy("Assessed the moment the hours were reached"),
        lambda given: (
            _(
                "A practical assessment passed within %(minutes)s minutes of the instant at which the hours on the "
                "model that the role standard asks for were reached, worked and signed. All hours on the model are "
                "added up; periods and pauses are not looked at."
            )
            % {"minutes": given.assessment_minutes}
        ),
        _find_assessed_at_once,
        _assessed_sentence,
    ),
    _Rule(
        "fresh_account",
        gettext_lazy("Signed from a fresh account"),
        lambda given: (
            _(
                "An account opened less than %(days)s days before countersigned %(entries)s or more entries, or "
                "%(amount)s or more of work, in one sitting with no break longer than %(break)s minutes; or it signed "
                "within %(first)s minutes of being opened; or it signed for the firm that invited it, while nobody "
                "outside that firm had seen the person."
            )
            % {
                "days": given.fresh_days,
                "entries": given.fresh_entries,
                "amount": duration(given.fresh_minutes),
                "break": given.sitting_break_minutes,
                "first": given.fresh_first_minutes,
            }
        ),
        _by_statement("fresh_account"),
        _fresh_sentence,
    ),
)
"""The rules, in the order in which they are shown."""
